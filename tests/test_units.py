"""What people type for a quantity is a number with a unit, never a formula."""

import pytest

from dyebook.errors import RecordError
from dyebook.units import parse_quantity


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
