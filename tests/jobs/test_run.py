"""A run on the bench: what goes into the book, and what comes out of it again after a restart."""

from datetime import UTC, datetime, timedelta

import pytest

from dyebook.book.store import open_book
from dyebook.errors import RecordError
from dyebook.jobs import gauge, wet
from dyebook.jobs import run as bench
from dyebook.physics.rates import RULES, growth_rate
from dyebook.physics.trace.events import report_trace
from dyebook.physics.trace.read import make_trace

START = datetime(2026, 3, 28, 9, 0, tzinfo=UTC)
PLAN = {"area_dm2": 2.0, "current_a": 3.0, "film_um": 12.0, "minutes": 25.0}


def _later(minutes):
    return START + timedelta(minutes=minutes)


def _run(book, **more):
    run_id = bench.plan_run(book, **{**PLAN, **more})
    bench.start_run(book, run_id, at=START)
    return run_id


def test_a_run_goes_on_over_a_restart(tmp_path):
    with open_book(tmp_path / "shop.dyebook") as book:
        run_id = _run(book)
        bench.note_current(book, run_id, 2.0, _later(10))
        before = bench.where_is(book, book.row("runs", run_id), _later(20))
    with open_book(tmp_path / "shop.dyebook") as book:
        (row,) = bench.open_runs(book)
        after = bench.where_is(book, row, _later(20))
    assert after == before
    # 3 A falling to 2 A over 10 min, then 2 A for 10 min
    assert after.charge_ah == pytest.approx((25 + 20) / 60)
    # the 720 rule: 0.310 µm per A·min/dm² (rule of the trade, as in the physics tests)
    assert after.film_um == pytest.approx(RULES["720"] * 45 / 2)


def test_the_time_of_the_film_is_told_before_and_after(book):
    row = book.row("runs", _run(book))
    # 12 µm at 1.5 A/dm² by the 720 rule
    whole = 12 / (RULES["720"] * 1.5)
    for minutes in (0.05, 5, 60):
        stand = bench.where_is(book, row, _later(minutes))
        assert bench.whole_time_min(book, row, stand) == pytest.approx(whole, abs=0.02)


def test_the_end_writes_charge_time_film_and_doubt(book):
    run_id = _run(book)
    row = bench.finish_run(book, run_id, _later(24))
    assert (row["anodise_min"], row["charge_ah"]) == (24, pytest.approx(1.2))
    assert row["film_um"] == row["film_from_charge_um"] == pytest.approx(RULES["720"] * 36)
    # without the electrolyte's temperature the rule's doubt is about a quarter, see the physics tests
    assert row["film_sd_um"] == pytest.approx(growth_rate(1.5).sd_fraction * row["film_um"])
    assert row["trace"]["time_min"] == [0, 24]
    assert bench.open_runs(book) == []
    with pytest.raises(RecordError, match="is not on"):
        bench.note_current(book, run_id, 2.0)


def test_nothing_starts_twice(book):
    run_id = _run(book)
    with pytest.raises(RecordError, match="already"):
        bench.start_run(book, run_id)


def test_the_two_rules_are_never_mixed(book):
    films = []
    for rule in ("720", "0.30"):
        row = book.row("runs", _run(book, film_by=rule))
        films.append(bench.where_is(book, row, _later(20)).film_um)
    assert films == [pytest.approx(RULES[rule] * 30) for rule in ("720", "0.30")]


def test_gauge_readings_teach_the_next_film(book):
    for _ in range(8):
        run_id = _run(book)
        row = bench.finish_run(book, run_id, _later(24))
        gauge.keep_gauge(book, run_id, [0.9 * row["film_um"]] * 3)
    learned = gauge.own_rate(book)
    assert learned.readings == 8
    assert learned.factor == pytest.approx(0.9, abs=0.02)
    assert learned.film_sd_fraction < 0.08
    assert "your 8 gauge readings" in learned.basis
    row = book.row("runs", _run(book, film_by="gauge"))
    assert bench.where_is(book, row, _later(20)).film_um == pytest.approx(learned.um_per_a_min_dm2 * 30)


def test_more_film_than_faraday_allows_is_refused(book):
    run_id = _run(book)
    bench.finish_run(book, run_id, _later(24))
    with pytest.raises(RecordError, match="unphysical"):
        gauge.keep_gauge(book, run_id, [30.0])
    assert book.row("runs", run_id)["film_measured_um"] is None


def test_a_log_takes_the_place_of_the_notes(book):
    run_id = _run(book)
    bench.finish_run(book, run_id, _later(24))
    trace = make_trace(range(31), [2.0] * 31)
    row = bench.keep_log(book, run_id, trace, report_trace(trace, area_dm2=2.0))
    assert row["charge_ah"] == pytest.approx(1.0)
    assert row["anodise_min"] == 30
    assert row["current_density_a_per_dm2"] == pytest.approx(1.0)
    assert row["trace"]["rows"] == 31
    assert row["trace"]["plan"]["film_um"] == 12


def test_ticks_are_kept_and_taken_back(book):
    run_id = bench.plan_run(book, **PLAN)
    bench.tick_step(book, run_id, "clean")
    bench.tick_step(book, run_id, "water_break_test", passed=True)
    bench.untick_step(book, run_id, "clean")
    assert [(row["kind"], row["passed"]) for row in book.rows("preparations", run_id=run_id)] == [
        ("water_break_test", True)
    ]


def test_the_batch_of_a_run_has_dip_rinse_and_seal(book):
    run_id = _run(book)
    film = bench.finish_run(book, run_id, _later(24))["film_um"]
    wet.mark_step(book, run_id, "cold rinse", at=_later(25))
    assert wet.wait_of(wet.mark_step(book, run_id, "cold rinse", ended=True, at=_later(27))) is None
    assert wet.wait_of(wet.mark_step(book, run_id, "dye", at=_later(30))) == 3
    row = wet.mark_step(book, run_id, "dye", ended=True, at=_later(36))
    begun, ended = wet.steps_of(row)["dye"]
    assert ended - begun == timedelta(minutes=6)
    dip = {"dye_g_per_l": 3.0, "bath_temp_c": 50.0, "dwell_min": 6.0, "ph": 5.5, "wait_min": wet.wait_of(row)}
    seal = {"kind": "hot_water", "dwell_min": 30.0}
    number = wet.keep_batch(book, run_id, dye="Ember", bath="E1", dip=dip, rinse={"rinse_temp_c": 15.0}, seal=seal)
    batch = book.batch(number)
    assert (batch.dye, batch.bath, batch.film_um, batch.dwell_min, batch.wait_min) == ("Ember", "E1", film, 6, 3)
    assert book.rows("seals", batch_id=number)[0]["kind"] == "hot_water"
    assert wet.finished_runs(book)[0]["batch"] == number


def test_a_batch_without_its_settings_is_refused(book):
    run_id = _run(book)
    with pytest.raises(RecordError, match="time in dye"):
        wet.keep_batch(book, run_id, dye="Ember", bath=None, dip={"dye_g_per_l": 3.0, "bath_temp_c": 50.0})
    assert book.batches() == []


@pytest.mark.parametrize("seen", [{"voltage_v": -14.0}, {"electrolyte_temp_c": 300.0}])
def test_an_impossible_note_is_refused(book, seen):
    number = _run(book)
    with pytest.raises(RecordError, match="must lie between"):
        bench.note_current(book, number, 3.0, **seen)
