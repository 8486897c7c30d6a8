"""What people type for a quantity is a number with a unit, never a formula."""

import time
from datetime import UTC, date, datetime, timedelta

import pytest

from dyebook.errors import RecordError
from dyebook.units import ZONE, moment_of, parse_moment, parse_quantity, shop_now, zone_named


# found by damaging tables: each once ended in an error of the library that knows the units
@pytest.mark.parametrize(
    "unit", ["²3", "³", "9 um", "* 10 um", "(um", "um)", "um + um", "nan", "- um", "<2", "9**9**9**9", "="]
)
def test_a_formula_is_no_unit(unit):
    with pytest.raises(RecordError, match="film is"):
        parse_quantity("film_um", f"12 {unit}")


@pytest.mark.parametrize(
    ("name", "text", "value"),
    [
        ("dwell_min", "1:02:30", 62.5),
        ("dwell_min", "0:30", 0.5),
        ("film_um", "0.5 mils", 12.7),
        ("film_um", "2 microns", 2.0),
        ("film_um", "0.01 mm", 10.0),
        ("film_um", "0.5 mil", 12.7),  # 1 mil = 25.4 um exactly
        ("bath_temp_c", "140 °F", 60.0),
        ("dye_g_per_l", "3 kg/m^3", 3.0),
        ("dye_g_per_l", "3 g per l", 3.0),
        ("area_dm2", "0.02 m**2", 2.0),
        ("dwell_min", "0.1 hour", 6.0),
    ],
)
def test_plain_units_are_converted(name, text, value):
    assert parse_quantity(name, text) == pytest.approx(value)


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("2026-03-28", "2026-03-28"),
        ("2026-3-1", "2026-03-01"),
        ("30.11.2026", "2026-11-30"),
        ("1.2.2026", "2026-02-01"),
        ("28/03/2026", "2026-03-28"),
        ("03/28/2026", "2026-03-28"),
        ("03/13/2026", "2026-03-13"),
        ("13/03/2026", "2026-03-13"),
        ("12/12/2026", "2026-12-12"),
        ("5/5/2026", "2026-05-05"),
        ("1950-01-01", "1950-01-01"),
        ("2200-12-31", "2200-12-31"),
        ("2026-03-28T14:30", "2026-03-28T14:30"),
    ],
)
def test_days_in_any_usual_way(text, kept):
    assert parse_moment("since", text) == kept


def test_a_day_or_a_moment_of_the_clock_is_written_as_iso_8601():
    assert parse_moment("since", date(2026, 3, 28)) == "2026-03-28"
    assert parse_moment("since", datetime(2026, 3, 28, 14, 30)) == "2026-03-28T14:30:00"


def test_days_by_their_names():
    assert parse_moment("since", "Today") == date.today().isoformat()
    assert parse_moment("since", "yesterday") == (date.today() - timedelta(days=1)).isoformat()


@pytest.mark.parametrize(
    "text", ["12/03/2026", "", "2026-02-30", "32.1.2026", "0001-01-01", "1949-12-31", "2201-01-01", "1e5", "٣.٣.٢٠٢٦"]
)
def test_what_is_no_day_is_refused(text):
    with pytest.raises(RecordError, match="since"):
        parse_moment("since", text)


@pytest.mark.parametrize("text", ["1e999", "-1e999", "1e308 m", "9" * 400])
def test_what_no_number_can_hold_is_refused(text):
    with pytest.raises(RecordError, match="beyond any measure"):
        parse_quantity("film_um", text)


@pytest.mark.parametrize("text", ["9" * 5000 + ":00", "٣:٣٠", "²:00"])
def test_what_is_no_time_is_refused(text):
    with pytest.raises(RecordError, match="not a time"):
        parse_quantity("dwell_min", text)


@pytest.fixture
def far_shop(monkeypatch):
    """A shop in Vienna whose book stands on a machine in Denver."""
    monkeypatch.setenv("TZ", "America/Denver")
    time.tzset()
    token = ZONE.set("Europe/Vienna")
    yield
    ZONE.reset(token)
    monkeypatch.undo()
    time.tzset()


# summer time begins and ends at 1:00 UTC on the last Sunday of March and of October (Directive 2000/84/EC, articles 2
# and 3)
@pytest.mark.parametrize(
    ("kept", "shown"),
    [
        ("2026-03-29T00:59:00Z", "01:59"),
        ("2026-03-29T01:00:00Z", "03:00"),
        ("2026-10-25T00:59:00Z", "02:59"),
        ("2026-10-25T01:00:00Z", "02:00"),
    ],
)
def test_a_moment_is_shown_on_the_shops_clock_through_both_changes(far_shop, kept, shown):
    assert f"{moment_of(kept):%H:%M}" == shown


def test_minutes_between_typed_times_count_the_hour_that_is_not_there(far_shop):
    before, after = (moment_of(f"2026-03-29T{clock}").timestamp() for clock in ("01:50", "03:10"))
    assert (after - before) / 60 == 20


def test_now_is_on_the_shops_clock_and_names_its_offset(far_shop):
    now = shop_now()
    assert abs(now - datetime.now(UTC)) < timedelta(minutes=1)
    assert now.utcoffset() in (timedelta(hours=1), timedelta(hours=2))
    assert datetime.now().astimezone().utcoffset() in (timedelta(hours=-7), timedelta(hours=-6))
    assert parse_moment("since", "today") == now.date().isoformat()


def test_without_a_zone_of_the_shop_the_machines_counts(far_shop):
    ZONE.set(None)
    # Mountain Standard Time is 7 hours behind UTC (15 USC 261, 49 CFR 71)
    assert f"{moment_of('2026-01-15T12:00:00Z'):%H:%M}" == "05:00"


@pytest.mark.parametrize("text", ["europe/vienna", " Europe/Vienna "])
def test_a_zone_is_known_as_it_may_be_typed(text):
    assert zone_named(text) == "Europe/Vienna"


@pytest.mark.parametrize("text", ["Vienna time", "+1", "../UTC", ""])
def test_what_is_no_zone_says_what_to_write(text):
    with pytest.raises(RecordError, match="such as Europe/Vienna"):
        zone_named(text)
