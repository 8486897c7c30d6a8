"""What the bench asks about before it goes on: stopped without a reason, and kept with it."""

from datetime import UTC, datetime, timedelta

import pytest

from dyebook.errors import RecordError
from dyebook.jobs import gauge, wet
from dyebook.jobs import run as bench
from dyebook.jobs.photo import record_dip
from dyebook.record import DyeRecord
from dyebook.report.bench import anodised_words

START = datetime(2026, 3, 28, 9, 0, tzinfo=UTC)
PLAN = {"area_dm2": 2.0, "current_a": 3.0, "film_um": 12.0, "minutes": 24.4}
DIP = {"dye_g_per_l": 3.0, "bath_temp_c": 50.0, "dwell_min": 5.0}


@pytest.fixture
def planned(book):
    return bench.plan_run(book, **PLAN)


def _reasons(book, number):
    return book.row("runs", number)["trace"].get("reasons", [])


def test_a_broken_water_film_stands_in_the_way(book, planned):
    bench.tick_step(book, planned, "water_break_test", passed=False)
    with pytest.raises(RecordError, match="water broke"):
        bench.start_run(book, planned, at=START)
    bench.start_run(book, planned, at=START, why="etched parts, the break is at the clamp")
    (reason,) = _reasons(book, planned)
    assert reason["why"] == "etched parts, the break is at the clamp"
    assert "water broke" in reason["asked"][0]


def test_a_water_film_that_holds_at_the_next_test_lets_it_start(book, planned):
    bench.tick_step(book, planned, "water_break_test", passed=False)
    bench.tick_step(book, planned, "water_break_test", passed=True)
    bench.start_run(book, planned, at=START)
    assert _reasons(book, planned) == []


@pytest.mark.parametrize(
    ("odd", "words"), [({"electrolyte_temp_c": 35.0}, "35 °C"), ({"minutes": 600.0}, "600 min.*check the figure")]
)
def test_odd_plans_are_asked_about(book, odd, words):
    number = bench.plan_run(book, **PLAN | odd)
    with pytest.raises(RecordError, match=words):
        bench.start_run(book, number, at=START)
    bench.start_run(book, number, at=START, why="a trial")
    assert len(_reasons(book, number)) == 1


def test_a_film_far_from_the_plan_is_asked_about(book, planned):
    bench.start_run(book, planned, at=START)
    with pytest.raises(RecordError, match=r"film is 0.\d+ µm where 12 µm was planned"):
        bench.finish_run(book, planned, START + timedelta(minutes=1))
    bench.finish_run(book, planned, START + timedelta(minutes=1), why="fuse blew")
    assert _reasons(book, planned)[0]["why"] == "fuse blew"


def test_a_run_that_was_not_ended_is_asked_when_the_current_went_off(book, planned):
    bench.start_run(book, planned, at=START)
    with pytest.raises(RecordError, match="left on in the book"):
        bench.finish_run(book, planned, START + timedelta(hours=9))
    row = bench.finish_run(book, planned, minutes=24.4)
    assert row["anodise_min"] == pytest.approx(24.4)
    assert _reasons(book, planned) == []


def test_what_is_asked_is_told_with_the_run_and_the_reason_with_its_record(book):
    number = bench.plan_run(book, **PLAN, electrolyte_temp_c=35.0)
    assert "35 °C" in bench.state_of(book, book.row("runs", number)).notes[0]
    bench.start_run(book, number, at=START, why="summer, no ice")
    row = bench.note_current(book, number, 3.0, START + timedelta(minutes=9), electrolyte_temp_c=36.0)
    assert any("36 °C" in note for note in bench.state_of(book, row, START + timedelta(minutes=10)).notes)
    row = bench.finish_run(book, number, minutes=24.4)
    assert dict(anodised_words(row))["went on because"] == "summer, no ice"


def test_a_start_without_a_reading_is_marked_as_planned(book, planned):
    row = bench.start_run(book, planned, at=START)
    assert row["trace"]["notes"][0]["as_planned"]
    other = bench.plan_run(book, **PLAN)
    assert "as_planned" not in bench.start_run(book, other, 3.0, START)["trace"]["notes"][0]


def test_a_gauged_film_far_from_the_expected_is_asked_about(book, planned):
    bench.start_run(book, planned, at=START)
    bench.finish_run(book, planned, minutes=24.4)
    with pytest.raises(RecordError, match="gauge reads 2 µm where 12 µm was expected"):
        gauge.keep_gauge(book, planned, [2.0])
    gauge.keep_gauge(book, planned, [2.0, 2.2], "AA5", why="its contact was lost")
    check = gauge.gauge_check(book.row("runs", planned))
    assert (check.conforms, check.film_least_um) == ("no", 2.0)


@pytest.mark.parametrize(
    ("dip", "more", "words"),
    [({"dwell_min": 600.0}, {}, "600 min"), ({}, {"dyed_at": "2199-01-01T10:00"}, "lies in the future")],
)
def test_odd_batches_are_asked_about(book, planned, dip, more, words):
    bench.start_run(book, planned, at=START)
    bench.finish_run(book, planned, minutes=24.4)
    kept = {"dye": "Ember", "bath": "E1", "dip": DIP | dip, **more}
    with pytest.raises(RecordError, match=words):
        wet.keep_batch(book, planned, **kept)
    assert wet.keep_batch(book, planned, **kept, why="as it was") == 1
    assert words in _reasons(book, planned)[0]["asked"][0]


@pytest.mark.parametrize(
    ("odd", "words"),
    [
        ({"film_measured_um": 0.3}, "the gauge reads 0.3 µm where 12 µm was expected"),
        ({"dwell_min": 600.0}, "600 min"),
        ({"dyed_at": "2199-01-01T10:00"}, "lies in the future"),
    ],
)
def test_a_batch_without_a_run_is_asked_about_too_and_its_note_keeps_it(book, odd, words):
    kept = record_dip(book, DyeRecord(**DIP | {"dye": "Ember", "film_um": 12.0, "note": "rim"} | odd))
    assert any(words in warning for warning in kept.warnings)
    assert words in book.batch(kept.batch).note
    assert book.batch(kept.batch).note.startswith("rim; ")
    usual = record_dip(book, DyeRecord(**DIP | {"dye": "Ember", "film_um": 12.0, "film_measured_um": 10.0}))
    assert (usual.warnings, book.batch(usual.batch).note) == ((), None)


def test_the_batch_of_a_run_still_on_is_asked_about(book, planned):
    bench.start_run(book, planned, at=START)
    with pytest.raises(RecordError, match="still on"):
        wet.keep_batch(book, planned, dye="Ember", bath="E1", dip=DIP)


def test_nickel_for_the_skin_stops_at_the_seal_and_is_asked_once(book):
    book.add("orders", name="Ear studs", skin_contact=True)
    number = bench.plan_run(book, **PLAN, order="Ear studs")
    bench.start_run(book, number, at=START)
    bench.finish_run(book, number, minutes=24.4)
    wet.mark_step(book, number, "seal: hot water")
    for seal in ("seal: mid temperature", "seal: nickel acetate", "seal: cold nickel"):
        with pytest.raises(RecordError, match="worn on the skin"):
            wet.mark_step(book, number, seal)
    wet.mark_step(book, number, "seal: nickel acetate", why="release tested")
    seal = wet.seal_values("nickel_acetate", 18.0)
    assert wet.keep_batch(book, number, dye="Ember", bath="E1", dip=DIP, seal=seal) == 1


def test_a_sheet_without_nickel_lets_a_mid_temperature_seal_pass(book):
    book.add("orders", name="Ear studs", skin_contact=True)
    number = bench.plan_run(book, **PLAN, order="Ear studs")
    book.set_setting(wet.NO_NICKEL, ["mid_temperature"])
    wet.mark_step(book, number, "seal: mid temperature")
    assert wet.steps_of(book.row("runs", number))


def test_a_seal_test_is_kept_with_its_run(book, planned):
    bench.start_run(book, planned, at=START)
    bench.finish_run(book, planned, minutes=24.4)
    with pytest.raises(RecordError, match="no sealed batch"):
        wet.keep_seal_test(book, planned, 1)
    wet.keep_batch(book, planned, dye="Ember", bath="E1", dip=DIP, seal=wet.seal_values("hot_water", 30.0))
    assert wet.keep_seal_test(book, planned, 3).passes is False
    assert dict(anodised_words(book.row("runs", planned)))["seal test"] == "stain 3 of 5, fails (ISO 2143)"
