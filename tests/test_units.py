"""What people type for a quantity is a number with a unit, never a formula."""

from datetime import date, timedelta

import pytest

from dyebook.errors import RecordError
from dyebook.units import parse_moment, parse_quantity


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
        ("5/5/2026", "2026-05-05"),
        ("1950-01-01", "1950-01-01"),
        ("2200-12-31", "2200-12-31"),
        ("2026-03-28T14:30", "2026-03-28T14:30"),
    ],
)
def test_days_in_any_usual_way(text, kept):
    assert parse_moment("since", text) == kept


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
