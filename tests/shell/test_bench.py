"""The bench commands keep their contract: keys, basis, cautions, other units."""

import json
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from dyebook.errors import RecordError
from dyebook.shell.bench import add_commands

SAMPLES = Path(__file__).parents[2] / "samples"
COMMANDS = ("acid", "electrolyte", "area", "film", "heat", "growth", "trace", "dyebath", "seal")


def _invoke(*words):
    app = typer.Typer()
    add_commands(app)
    return CliRunner().invoke(app, [str(word) for word in words])


def _run(*words):
    result = _invoke(*words)
    if result.exception and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert result.exit_code == 0, result.output
    return result.output


def _json(*words):
    answer = json.loads(_run(*words, "--json"))
    assert isinstance(answer["basis"], str)
    assert answer["cautions"]
    assert all(isinstance(text, str) for text in answer["cautions"])
    return answer


def test_acid_contract():
    answer = _json("acid", "--wt", 96, "--g-per-l", 165, "--volume-l", 2)
    assert {"acid_ml", "water_ml", "volume_l", "g_per_l", "wt_percent", "rise_c", "portions"} <= set(answer)
    assert answer["acid_ml"] == pytest.approx(187.2, abs=0.5)
    assert answer["wt_percent"] == pytest.approx(14.98, abs=0.02)
    battery = _json("acid", "--sg", 1.28, "--sg-temp-c", 20, "--g-per-l", 165, "--volume-l", 2)
    assert battery["acid_ml"] == pytest.approx(692, abs=8)


def test_film_contract():
    words = ("film", "--area-dm2", 1.5, "--current-a", 2.1)
    answer = _json(*words, "--film-um", 12, "--alloy", 6061, "--electrolyte-temp-c", 20)
    assert {"film_um", "film_um_sd", "minutes", "charge_ah", "current_density_a_per_dm2"} <= set(answer)
    answer = _json(*words, "--minutes", 40)
    assert answer["film_um"] == pytest.approx(0.32774 * 56, rel=1e-4)
    assert answer["charge_ah"] == pytest.approx(1.4)


def test_trace_contract():
    answer = _json("trace", SAMPLES / "trace_contact_lost.csv", "--area-dm2", 1.5, "--supply-max-a", 3)
    assert {"charge_ah", "minutes", "film_um", "film_um_sd", "events"} <= set(answer)
    assert answer["events"][0]["kind"] == "contact_lost"
    assert answer["events"][0]["time_min"] == pytest.approx(14.5, abs=1)


def test_other_units():
    metric = _json("film", "--area-dm2", 1.5, "--current-a", 2.1, "--film-um", 12.7)
    mil = _json("film", "--area-dm2", "23.2500465 in2", "--current-a", "2100 mA", "--film-um", "0.5 mil")
    assert mil["minutes"] == pytest.approx(metric["minutes"], rel=1e-4)
    gallons = _json("acid", "--wt", 96, "--g-per-l", "22 oz/gal", "--volume-l", "1 gal")
    assert gallons["volume_l"] == pytest.approx(3.78541)
    assert gallons["g_per_l"] == pytest.approx(164.8, abs=0.1)
    warm = _json("film", "--area-dm2", 1, "--current-a", 1.5, "--minutes", "20:00", "--electrolyte-temp-c", "68 °F")
    assert (
        warm["film_um"]
        == _json("film", "--area-dm2", 1, "--current-a", 1.5, "--minutes", 20, "--electrolyte-temp-c", 20)["film_um"]
    )


@pytest.mark.parametrize(
    "words",
    [
        ("electrolyte", "--sg", 1.11),
        ("electrolyte", "--charge-ah", 100, "--volume-l", 2),
        ("area", "rod diameter=10 length=50 x4", "ball diameter=1in"),
        ("heat", "--volume-l", 2, "--voltage-v", 15, "--current-a", 3, "--minutes", 40),
        ("growth", SAMPLES / "gauged_runs.csv", "--alloy", "6061"),
        ("film", "--area-dm2", 1.5, "--current-a", 2, "--minutes", 40, "--readings", SAMPLES / "gauged_runs.csv"),
        ("trace", SAMPLES / "trace_sound.csv", "--column", "current_a=current_a"),
        ("dyebath", "--dye-g-per-l", 3, "--volume-l", 2),
        ("dyebath", "--dye-g-per-l", 3, "--volume-l", 2, "--measured-g-per-l", 2.5, "--present-l", 1.9),
        ("dyebath", "--dye-g-per-l", 3, "--volume-l", 2, "--dyed-dm2", 40),
        ("seal", "--film-um", "0.5 mil", "--kind", "nickel_acetate", "--skin-or-food"),
    ],
)
def test_every_command_answers_in_json_and_in_words(words):
    _json(*words)
    text = _run(*words)
    assert "Basis:" in text
    assert "Caution:" in text
    assert "nan" not in text.split()


@pytest.mark.parametrize("command", COMMANDS)
def test_every_help_has_an_example(command):
    assert f"dyebook {command}" in " ".join(_run(command, "--help").replace("│", " ").split())


@pytest.mark.parametrize(
    "words",
    [
        ("acid", "--wt", 98, "--g-per-l", 2000, "--volume-l", 2),
        ("film", "--area-dm2", 0, "--current-a", 2, "--minutes", 40),
        ("film", "--area-dm2", "1 kg", "--current-a", 2, "--minutes", 40),
        ("trace", SAMPLES / "none.csv"),
        ("trace", SAMPLES / "trace_sound.csv", "--column", "current_a"),
    ],
)
def test_bad_input_is_one_error(words):
    with pytest.raises(RecordError) as caught:
        _run(*words)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    "words",
    [
        ("acid", "--g-per-l", 165, "--volume-l", 2),
        ("acid", "--wt", 96, "--sg", 1.28, "--g-per-l", 165, "--volume-l", 2),
        ("film", "--area-dm2", 1.5, "--current-a", 2.1),
        ("electrolyte",),
        ("electrolyte", "--charge-ah", 100),
    ],
)
def test_a_choice_that_was_not_made_is_wrong_usage(words):
    result = _invoke(*words)
    assert result.exit_code == 2
    assert "give --" in result.stderr or "once: --wt" in result.stderr
