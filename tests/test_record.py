"""Figures that no bench can have are refused, at the edge of what it can; what is empty is not measured."""

import math

import pytest

from dyebook.errors import RecordError
from dyebook.record import FIELDS, check_value

# the last value that is taken, and one beyond: the pH scale, water's boiling point, and what a bench-top line can hold
# (common practice, no source); a slip of the pen or of the unit lies beyond
EDGES = [
    ("ph", 14, 14.1), ("ph", 0, -0.1), ("bath_temp_c", 100, 101), ("bath_temp_c", 0, -1), ("rinse_temp_c", 100, 101),
    ("film_um", 150, 151), ("film_um", 0.1, 0.09), ("film_measured_um", 150, 151), ("film_measured_um", 0.1, 0.09),
    ("film_sd_um", 50, 51), ("area_dm2", 1000, 1001), ("area_dm2", 0.001, 0.0009), ("dwell_min", 600, 601),
    ("dwell_min", 0.02, 0.01), ("dye_g_per_l", 100, 101), ("dye_g_per_l", 0.001, 0.0009), ("wait_min", 1e5, 100_001),
    ("current_density_a_per_dm2", 20, 21), ("current_density_a_per_dm2", 0.01, 0.009), ("electrolyte_temp_c", 60, 61),
    ("electrolyte_temp_c", -10, -11), ("seal_stain", 5, 6), ("L", 105, 106), ("a", 150, 151), ("b", -150, -151),
    ("voltage_v", 200, 201), ("electrolyte_g_per_l", 500, 501), ("al_g_per_l", 50, 51), ("seal_temp_c", 130, 131),
]  # fmt: skip


@pytest.mark.parametrize(("name", "last", "beyond"), EDGES)
def test_a_figure_is_taken_to_its_edge_and_refused_beyond(name, last, beyond):
    assert check_value(name, last) == last
    with pytest.raises(RecordError, match="it must lie between"):
        check_value(name, beyond)


def test_what_is_empty_is_not_measured():
    assert all(math.isnan(check_value("film_um", empty)) for empty in ("", None, math.nan, "nan"))
    assert check_value("alloy", "") is None
    assert check_value("wet", "") is None


def test_a_heading_is_the_label_with_its_unit():
    assert FIELDS["film_um"].heading == "Film, µm"
    assert FIELDS["alloy"].heading == "Alloy"
