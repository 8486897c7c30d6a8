"""Figures that no bench can have are refused, at the edge of what it can; what is empty is not measured."""

import math
from collections import Counter

import pytest

from dyebook.errors import RecordError
from dyebook.lab import Lab
from dyebook.record import (
    _CHECKED,
    FIELDS,
    DyeRecord,
    Flaw,
    Measurement,
    Reading,
    ReadOptions,
    check_lab,
    check_setting,
    check_text,
    check_tolerance,
    check_value,
    figure_in,
    geometry_named,
    parse_value,
)

READ_FIGURES = {name: row for name, row in FIELDS.items() if row.kind is float and row.table == "readings"}

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
    ("rinse_temp_c", 0, -1), ("wait_min", 0, -1), ("film_sd_um", 0, -1), ("seal_stain", 0, -1), ("L", 0, -1),
    ("a", -150, -151), ("b", 150, 151), ("L_sd", 0, -1), ("L_sd", 50, 51), ("a_sd", 0, -1), ("a_sd", 50, 51),
    ("b_sd", 0, -1), ("b_sd", 50, 51), ("voltage_v", 0, -1), ("current_a", 0, -1), ("current_a", 1e5, 100_001),
    ("volume_l", 0, -1), ("volume_l", 1e5, 100_001), ("bath_volume_l", 0.01, 0.009), ("bath_volume_l", 1e5, 100_001),
    ("electrolyte_g_per_l", 0, -1), ("al_g_per_l", 0, -1), ("seal_temp_c", 0, -1),
]  # fmt: skip


@pytest.mark.parametrize(("name", "last", "beyond"), EDGES)
def test_a_figure_is_taken_to_its_edge_and_refused_beyond(name, last, beyond):
    assert check_value(name, last) == last
    with pytest.raises(RecordError, match="it must lie between"):
        check_value(name, beyond)


def test_every_figure_has_both_its_edges_above():
    assert Counter(name for name, _, _ in EDGES) == dict.fromkeys(_CHECKED | READ_FIGURES, 2)


def test_what_is_empty_is_not_measured():
    assert all(math.isnan(check_value("film_um", empty)) for empty in ("", None, math.nan, "nan"))
    assert check_value("alloy", "") is None
    assert check_value("wet", "") is None


def test_a_heading_is_the_label_with_its_unit():
    assert FIELDS["film_um"].heading == "Film, µm"
    assert FIELDS["alloy"].heading == "Alloy"


@pytest.mark.parametrize(
    ("name", "figure"),
    [("enter_bath_temp_c", "bath_temp_c"), ("new_bath_volume_l", "bath_volume_l"), ("volume_l", "volume_l"),
     ("ph", "ph"), ("graph", None), ("L", None)],
)  # fmt: skip
def test_a_longer_name_ends_in_the_longest_figure(name, figure):
    assert figure_in(name) == figure


@pytest.mark.parametrize(
    ("name", "typed", "value"),
    [("bath_temp_c", "104 °F", 40.0), ("ph", "5,5", 5.5), ("seal_stain", " 2 ", 2.0), ("alloy", " 6061 ", "6061"),
     ("film_um", 12, 12.0), ("wet", "yes", True), ("wet", False, False), ("film_um", "", math.nan)],
)  # fmt: skip
def test_what_is_typed_is_read_by_its_field(name, typed, value):
    assert parse_value(name, typed) == pytest.approx(value, nan_ok=True)


def test_an_infinite_or_unknown_figure_is_none():
    with pytest.raises(RecordError, match="it must lie between"):
        check_value("film_um", math.inf)
    with pytest.raises(ValueError, match="unknown field 'colour'"):
        check_value("colour", 1)


def test_half_a_character_is_shown_with_what_stands_beside_it():
    with pytest.raises(RecordError) as refused:
        check_text("note", "a long word before \ud83d and many words after it")
    assert "'rd before \\ud83d and many '" in str(refused.value)
    with pytest.raises(RecordError, match=r"note holds a broken character in 'ab\\ud83d'"):
        check_text("note", "ab\ud83d")


@pytest.mark.parametrize(
    ("text", "geometry"),
    [("45°:0°", "45/0"), ("45/0a", "45/0"), ("SCI", "d/8 included"), ("de_8", "d/8 excluded"), ("", None)],
)
def test_an_instruments_geometry_by_its_usual_names(text, geometry):
    """CIE 15:2018, 5.2."""
    assert geometry_named(text) == geometry


def test_a_cards_own_colour_is_three_numbers_above_black():
    assert check_lab("the card", "48.9; 0.1; -0.4") == [48.9, 0.1, -0.4]
    for wrong in ("49.5, 0", "0, 0, 0", (50, math.nan, 0)):
        with pytest.raises(RecordError, match="the card's own colour is"):
            check_lab("the card", wrong)


def test_what_a_shop_sets_is_bounded():
    """A name fits a label, an address a printed code; a tolerance is a colour difference that somebody could mean."""
    assert check_setting("shop", "n" * 80) == "n" * 80
    address = "http://bench.local/".ljust(200, "x")
    assert check_setting("address", address) == address
    assert check_tolerance("1,5") == 1.5
    assert check_tolerance(50) == 50
    assert check_setting("shop", "  ") is None
    assert check_setting("paper", "Letter") == "letter"
    assert check_setting("photos", "s3://shop/photos") == "s3://shop/photos"
    for name, wrong in (
        ("shop", "n" * 81), ("shop", "a\nb"), ("address", address + "x"), ("address", "bench.local"),
        ("tolerance_de00", 50.1), ("tolerance_de00", 0), ("tolerance_de00", "ten"), ("paper", "a5"),
        ("photos", "beside the book"),
    ):  # fmt: skip
        with pytest.raises(RecordError):
            check_setting(name, wrong)


def test_a_reading_as_plain_numbers_keeps_the_digits_that_its_places_need():
    """Pixels to a hundredth, L*, a*, b* to a thousandth, covariances and shares to a hundred-thousandth."""
    outline, seventh = ((1 / 7, 2 / 7), (3, 4)), 1 / 7
    flaw = Flaw("spot", (seventh,) * 4, outline, seventh, seventh)
    cov = tuple(tuple(seventh * (row == column) for column in range(3)) for row in range(3))
    reading = Reading(
        Lab(*(seventh,) * 3), (seventh,) * 3, (seventh,) * 3, outline, (seventh,) * 4, seventh, seventh,
        flaws=(flaw,), lab_cov_parts={"own": cov}, lab_sci=Lab(1 + seventh, 0, 0),
    )  # fmt: skip
    plain = Measurement("p.jpg", (4, 3), "grey", outline, Lab(seventh, 0, 0), (reading,)).to_dict()
    assert plain["card"] == {"kind": "grey", "quad": [[0.14, 0.29], [3, 4]], "lab": [0.143, 0, 0]}
    (part,) = plain["parts"]
    assert part["outline"] == [[0.14, 0.29], [3, 4]]
    assert part["box"] == [0.14] * 4
    assert part["lab"] == part["lab_sd"] == part["lab_u"] == [0.143] * 3
    assert part["lab_sci"] == [1.143, 0, 0]
    assert part["uniformity"] == part["area_mm2"] == 0.143
    assert part["lab_cov_parts"] == {"own": [[0.14286, 0, 0], [0, 0.14286, 0], [0, 0, 0.14286]]}
    assert part["lab_u_parts"] == {"own": [0.378] * 3}  # √(1/7)
    assert part["flaws"] == [
        {"kind": "spot", "box": [0.14] * 4, "outline": [[0.14, 0.29], [3, 4]], "delta_e00": 0.143,
         "area_fraction": 0.14286}
    ]  # fmt: skip
    bare = Reading(Lab(50, 0, 0), (1, 1, 1), (1, 1, 1)).to_dict()
    assert (bare["uniformity"], bare["lab_sci"], bare["setup"]) == (None, None, {"name": None, "key": None})
    assert len({reading, reading}) == 1  # its dicts have no say in its hash


def test_options_of_reading_are_told_alike_however_they_are_given():
    given = ReadOptions(card_at=[[1, 2], [3, 4]], setup="  window ", finish=" ")
    assert given == ReadOptions(card_at=((1, 2), (3, 4)), setup="window")
    assert hash(given) == hash(ReadOptions(card_at=((1, 2), (3, 4)), setup="window"))
    assert given.to_dict("phone", None) | {"camera": None} == vars(given)
    assert given.flaws is True
    assert given.no_card is False


def test_a_dip_cannot_be_repeated_without_what_makes_its_colour():
    whole = {"dye": "Ember", "film_um": 12.0, "dye_g_per_l": 3.0, "bath_temp_c": 40.0, "dwell_min": 5.0}
    assert DyeRecord(**whole).dwell_min == 5.0
    for name, row in FIELDS.items():
        assert row.required == (name in whole), name
    for name in whole:
        with pytest.raises(RecordError, match=f"lacks {FIELDS[name].label}"):
            DyeRecord(**{**whole, name: None})
