"""The shade commands as a shell sees them."""

import json

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from dyebook.cli import app
from dyebook.errors import DyebookError

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
