"""A pause is a step of the current; a run that was ended too early goes on."""

from datetime import timedelta

import pytest

from dyebook.errors import RecordError
from dyebook.jobs import run as bench
from dyebook.jobs.run import bench_runs, pause_run, resume_run, state_of

START = bench.this_moment() - timedelta(hours=2)


@pytest.fixture
def on(book):
    number = bench.plan_run(book, area_dm2=2.0, current_a=3.0, film_um=12.0, minutes=24.4)
    bench.start_run(book, number, at=START)
    return number


def _at(minutes):
    return START + timedelta(minutes=minutes)


def test_no_film_grows_in_a_pause(book, on):
    pause_run(book, on, _at(10))
    row = book.row("runs", on)
    stand = bench.where_is(book, row, _at(30))
    assert stand.paused
    # 3 A for 10 min, to the second at which it was switched off
    assert stand.charge_ah * 60 == pytest.approx(30, abs=0.05)
    assert stand.film_um == pytest.approx(bench.where_is(book, row, _at(10)).film_um, abs=0.02)
    assert stand.ends_at - _at(30) == pytest.approx(timedelta(minutes=14.4), abs=timedelta(minutes=0.1))


def test_it_goes_on_as_before_and_ends_with_the_time_that_counted(book, on):
    pause_run(book, on, _at(10))
    resume_run(book, on, at=_at(20))
    row = bench.finish_run(book, on, _at(25))
    assert row["charge_ah"] * 60 == pytest.approx(45, abs=0.1)
    assert row["anodise_min"] == pytest.approx(15, abs=0.05)
    assert row["current_density_a_per_dm2"] == pytest.approx(1.5, abs=0.01)


def test_a_run_ended_too_early_goes_on(book, on):
    bench.finish_run(book, on, _at(12))
    resume_run(book, on, 2.0, _at(15))
    row = book.row("runs", on)
    assert row["anodise_min"] is None
    assert row["film_um"] == 12
    stand = bench.where_is(book, row, _at(20))
    # 3 A for 12 min, nothing for 3, 2 A for 5
    assert stand.charge_ah * 60 == pytest.approx(46, abs=0.1)
    assert state_of(book, row, _at(20)).state == "on"


def test_what_is_on_cannot_be_resumed(book, on):
    with pytest.raises(RecordError, match="not paused"):
        resume_run(book, on)


def test_a_run_with_its_batch_does_not_go_on(book, on):
    bench.finish_run(book, on, _at(24))
    book.add("batches", run_id=on)
    with pytest.raises(RecordError, match="has its batch"):
        resume_run(book, on)


def test_no_run_starts_without_current(book):
    number = bench.plan_run(book, area_dm2=2.0, current_a=3.0, film_um=12.0, minutes=24.4)
    with pytest.raises(RecordError, match="above 0"):
        bench.start_run(book, number, 0.0)


def test_states_follow_the_run(book, on):
    assert [state_of(book, row, _at(1)).state for row in bench_runs(book)] == ["on"]
    pause_run(book, on, _at(5))
    assert state_of(book, book.row("runs", on), _at(6)).state == "paused"
    ended = bench.finish_run(book, on, _at(8), why="the supply failed")
    assert state_of(book, ended).state == "ended"
    bench.tick_step(book, on, "water_break_test", passed=False)
    assert state_of(book, ended).not_prepared == ("clean", "water_break_test", "contacts")
