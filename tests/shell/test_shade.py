"""The shade commands as a shell sees them."""

import json

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from dyebook.errors import DyebookError
from dyebook.shell.main import app

SHELL = CliRunner()


@pytest.fixture
def dips(tmp_path):
    """Five dips of an invented red: lightness falls and colour grows with the square root of dwell."""
    dwell = np.array([1.0, 2.0, 4.0, 8.0, 12.0])
    load = np.sqrt(dwell)
    table = pd.DataFrame({"film_um": 12, "dye_g_per_l": 3, "bath_temp_c": 40, "dwell_min": dwell, "ph": 5.5})
    table = table.assign(L=88 - 8 * load, a=14 * load, b=-2 + 0.3 * load)
    path = tmp_path / "dips.csv"
    table.to_csv(path, index=False)
    return path


def run(*arguments):
    return SHELL.invoke(app, [str(argument) for argument in arguments])


def test_suggest_prints_a_list_of_suggestions(dips):
    found = run(
        "suggest", "--records", dips, "--target", "68,35,-1", "--film-um", "12", "--fix", "bath_temp_c=40", "--json"
    )
    assert found.exit_code == 0, found.output
    first = json.loads(found.stdout)[0]
    assert first["settings"]["bath_temp_c"] == 40
    assert first["settings"]["film_um"] == 12
    assert 4 < first["settings"]["dwell_min"] < 10 or first["settings"]["dye_g_per_l"] != pytest.approx(3, abs=0.5)
    assert first["delta_e00"] < 3


def test_suggest_speaks_and_takes_other_units(dips):
    found = run(
        "suggest", "--records", dips, "--target", "68,35,-1", "--film-um", "0.5 mil", "--fix", "bath_temp_c=104 °F"
    )
    assert found.exit_code == 0, found.output
    assert "40 °C" in found.stdout
    assert "film 12.7 µm" in found.stdout


@pytest.mark.parametrize("option", [["--target", "68;35"], ["--target", "68,35,0", "--fix", "warm"]])
def test_wrong_usage_exits_with_two(dips, option):
    assert run("suggest", "--records", dips, *option).exit_code == 2


def test_a_missing_file_is_said(tmp_path):
    found = run("suggest", "--records", tmp_path / "none.csv", "--target", "68,35,0")
    assert isinstance(found.exception, DyebookError)
    assert "is not a file" in str(found.exception)


def test_redip_gives_the_missing_time(dips):
    part, target = "76.7,19.8,-1.6", "65.4,39.6,-1.2"
    dip = ["--dye-g-per-l", "3", "--bath-temp-c", "40", "--dwell-min", "2:00", "--film-um", "12"]
    found = run(
        "redip", "--records", dips, "--reading", part, "--target", target, *dip, "--never-dried", "--unsealed", "--json"
    )
    assert found.exit_code == 0, found.output
    advice = json.loads(found.stdout)
    assert advice["action"] == "more_time"
    assert 4 < advice["extra_dwell_min"] < 8  # the invented red has this colour after 8 minutes in all
    spoken = run("redip", "--records", dips, "--reading", part, "--target", target, *dip)
    assert "has been dry" in spoken.stdout


def test_coupon_names_a_dip(dips):
    found = run("coupon", "--records", dips, "--target", "68,35,-1", "--film-um", "12", "--json")
    assert found.exit_code == 0, found.output
    (one,) = json.loads(found.stdout)
    assert one["settings"]["film_um"] == 12
    assert one["doubt_after"] < one["doubt_before"]


def test_a_new_dye_starts_with_three(tmp_path):
    found = run("coupon", "--target", "68,35,-1", "--film-um", "12", "--dye-g-per-l", "3")
    assert found.exit_code == 0, found.output
    assert found.stdout.count("film 12.0 µm") == 3
    assert run("coupon", "--target", "68,35,-1").exit_code == 2


def test_a_bath_of_the_book_is_asked_by_name(tmp_path):
    shop = tmp_path / "shop"
    shades = {1: "60.6,-0.3,-29.2", 3: "48.0,4.9,-41.3", 6: "38.0,10.6,-47.7", 12: "29.0,18.0,-53.0"}
    settings = ("--film-um", 12, "--dye-g-per-l", 4, "--bath-temp-c", 55, "--bath", "B1", "--book", shop)
    for dwell, shade in shades.items():
        kept = run("record", "--dye", "Harbour blue", "--dwell-min", dwell, "--lab", shade, *settings)
        assert kept.exit_code == 0, kept.output
    found = run("suggest", "--book", shop, "--bath", "B1", "--target", "43,7,-45", "--film-um", 12, "--json")
    assert found.exit_code == 0, found.output
    assert json.loads(found.stdout)[0]["reachable"]


def test_suggest_without_dips_is_wrong_usage():
    assert run("suggest", "--target", "43,7,-45").exit_code == 2


def test_a_plastic_sample_is_warned_of(dips):
    asked = ["suggest", "--records", dips, "--target", "68,35,-1", "--film-um", "12", "--json"]
    assert "both lights" in run(*asked, "--sample", "plastic").stderr
    assert "both lights" not in run(*asked, "--sample", "metal").stderr
