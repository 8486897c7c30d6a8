"""Baths of a book asked as they are today: their strength, their age, and each other."""

import json

import pandas as pd
import pytest
from typer.testing import CliRunner

from dyebook.book.store import open_book
from dyebook.jobs import baths
from dyebook.jobs.shade import baths_named, learn_book
from dyebook.jobs.strength import strength_line, strengths_today
from dyebook.record import DyeRecord
from dyebook.shell.main import app

SHELL = CliRunner()
BLUE = {1: (60.6, -0.3, -29.2), 3: (48.0, 4.9, -41.3), 6: (38.0, 10.6, -47.7), 12: (29.0, 18.0, -53.0)}
STRAW = {1: (85.0, -4.0, 25.0), 3: (82.0, -2.0, 42.0), 6: (79.0, 1.0, 55.0), 12: (75.0, 5.0, 68.0)}
LABEL = "Harbour blue, bath B1"


def _dye(book, dye, bath, shades, day=1, area_dm2=5.0):
    for dwell, lab in shades.items():
        settings = {"film_um": 12, "dye_g_per_l": 4, "bath_temp_c": 55, "dwell_min": dwell, "area_dm2": area_dm2}
        number = book.add_batch(DyeRecord(dye, bath=bath, dyed_at=f"2026-03-{day:02d}T10:00", **settings))
        book.add_reading(number, lab)


@pytest.fixture
def place(tmp_path):
    with open_book(tmp_path / "shop") as book:
        _dye(book, "Harbour blue", "B1", BLUE)
        _dye(book, "Straw", "S1", STRAW, day=2)
    return tmp_path / "shop"


@pytest.fixture
def book(place):
    with open_book(place) as opened:
        yield opened


def _today(book):
    return strengths_today(book, baths_named(book, "B1"))[LABEL]


def test_without_notes_a_bath_is_as_its_last_dip_was(book):
    assert _today(book) == 4.0


def test_a_note_after_the_last_dip_counts(book):
    bath = baths.find_bath(book, "Harbour blue", "B1", 2.0)
    baths.note_bath(book, bath, "measured", "2026-03-05T08:00", dye_g_per_l=2.6)
    assert _today(book) == 2.6


def test_a_note_before_the_dips_does_not_undo_what_they_say(book):
    bath = baths.find_bath(book, "Harbour blue", "B1", 2.0)
    baths.note_bath(book, bath, "made_up", "2026-02-01T08:00", dye_g_per_l=8.0, bath_volume_l=2.0)
    points = strength_line(book, bath).points
    assert _today(book) == pytest.approx(4.0 * points[-1].dye_g_per_l / points[-2].dye_g_per_l)
    assert 3.0 < _today(book) < 4.0


def test_shops_that_write_the_estimated_strength_get_the_estimated_strength(book, tmp_path):
    bath = baths.find_bath(book, "Moss", "M1", 2.0)
    baths.note_bath(book, bath, "made_up", "2026-02-01T08:00", dye_g_per_l=4.0, bath_volume_l=2.0)
    _dye(book, "Moss", "M1", {6: (50, -20, 20)})
    found = strengths_today(book, baths_named(book, "M1"))
    assert found["Moss, bath M1"] == pytest.approx(strength_line(book, bath).points[-1].dye_g_per_l)


def test_suggestions_keep_to_todays_strength_unless_asked(book):
    bath = baths.find_bath(book, "Harbour blue", "B1", 2.0)
    baths.note_bath(book, bath, "measured", "2026-03-05T08:00", dye_g_per_l=2.6)
    learned = learn_book(book)
    target = (43, 7, -45)
    kept = learned.suggest_in(LABEL, target, film_um=12)[0]
    given = learned.suggest_in(LABEL, target, {"dye_g_per_l": 3.3}, film_um=12)[0]
    free = learned.suggest_in(LABEL, target, free=True, film_um=12, bounds={"dye_g_per_l": (5, 6)})[0]
    assert kept.settings["dye_g_per_l"] == 2.6
    assert given.settings["dye_g_per_l"] == 3.3
    assert 5 <= free.settings["dye_g_per_l"] <= 6
    first = learned.suggest(target, film_um=12).suggestions[0]
    assert first[0] == LABEL
    assert first[1].settings["dye_g_per_l"] == 2.6


def test_the_longer_nobody_dipped_the_less_sure(book):
    """These dips are of a spring long gone by: the same bath asked on the day of the dips is surer."""
    frame = baths_named(book, "B1")[LABEL]
    model = learn_book(book).models[LABEL]
    asked = pd.DataFrame([{"film_um": 12, "dye_g_per_l": 4, "bath_temp_c": 55, "dwell_min": 6}])
    assert model.as_of(frame["dyed_at"].iloc[-1]).predict(asked)["L_sd"].iloc[0] < model.predict(asked)["L_sd"].iloc[0]


def test_two_baths_one_after_the_other_stay_as_strong_as_they_are(book):
    advice = learn_book(book).suggest((50, -25, 5), film_um=12)
    assert not any(one.reachable for _, one in advice.suggestions)
    after = next(mix for mix in advice.mixes if mix.kind == "after")
    assert [dip["dye_g_per_l"] for dip in after.settings] == [4.0, 4.0]
    assert after.lamp_a > 0
    assert "coupon" in after.trust


def _run(*arguments):
    return SHELL.invoke(app, [str(argument) for argument in arguments])


def test_all_baths_are_asked_in_the_shell(place):
    found = _run("suggest", "--all", "--book", place, "--target", "43,7,-45", "--film-um", 12, "--json")
    assert found.exit_code == 0, found.output
    answer = json.loads(found.stdout)
    assert [one["bath"] for one in answer["baths"]] == [LABEL, "Straw, bath S1"]
    assert answer["mixes"] == []
    assert "taken at 4 g/L" in found.stderr
    spoken = _run("suggest", "--all", "--book", place, "--target", "50,-25,5", "--film-um", 12).stdout
    assert "Two dyes:" in spoken
    assert "How far to trust it" in spoken
    assert "From daylight to lamp light" in spoken


def test_one_bath_points_to_the_others_where_it_does_not_go(place):
    found = _run("suggest", "--bath", "S1", "--book", place, "--target", "43,7,-45", "--film-um", 12)
    assert "suggest --all" in found.stderr


def test_two_dyes_by_name(place, tmp_path):
    asked = ("--book", place, "--target", "50,-25,5", "--film-um", 12)
    found = _run("mix", "--bath", "B1", "--bath", "S1", *asked, "--json")
    assert found.exit_code == 0, found.output
    answer = json.loads(found.stdout)
    assert {one["kind"] for one in answer} == {"together", "after"}
    assert answer[0]["delta_e00"] <= answer[1]["delta_e00"]
    assert "Straw, bath S1" in _run("mix", "--bath", "B1", "--bath", "S1", *asked).stdout
    assert _run("mix", "--bath", "B1", *asked).exit_code == 2
    assert _run("mix", "--bath", "B1", "--bath", "B1", *asked).exit_code == 2


def test_the_next_bath_in_the_shell(place):
    """A straw part that should be green: blue over it."""
    part = ("--reading", "82,-2,42", "--target", "58,-22,8", "--dye-g-per-l", 4, "--bath-temp-c", 55, "--dwell-min", 3)
    asked = ("redip", "--bath", "S1", "--book", place, *part, "--film-um", 12)
    advice = json.loads(_run(*asked, "--never-dried", "--unsealed", "--json").stdout)
    assert advice["action"] == "next_bath"
    assert advice["next_bath"] == LABEL
    assert advice["next_settings"]["dye_g_per_l"] == 4.0
    assert "Harbour blue, bath B1: 55 °C" in _run(*asked, "--never-dried", "--unsealed").stdout
    assert json.loads(_run(*asked, "--json").stdout)["action"] == "ask"
