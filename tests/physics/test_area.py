"""Areas against closed forms worked in another way, and limits where shapes meet."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dyebook.errors import RecordError
from dyebook.physics.area import Shape, parse_shape, shape_area_dm2, sum_areas

LENGTHS = st.floats(1, 500)


def test_closed_forms():
    assert shape_area_dm2("ball", diameter_mm=100) == pytest.approx(math.pi)
    assert shape_area_dm2("plate", length_mm=100, width_mm=100, thickness_mm=100) == pytest.approx(6)
    assert shape_area_dm2("rod", diameter_mm=100, length_mm=100) == pytest.approx(1.5 * math.pi)
    assert shape_area_dm2("ring", diameter_mm=120, section_mm=20) == pytest.approx(math.pi**2 * 100 * 20 / 1e4)
    assert shape_area_dm2("disc", diameter_mm=100, thickness_mm=0.001) == pytest.approx(math.pi / 2, rel=1e-4)


@given(LENGTHS, LENGTHS)
def test_a_turned_part_of_one_step_is_a_rod(diameter, length):
    turned = shape_area_dm2("turned", profile=[(diameter, length)])
    assert turned == pytest.approx(shape_area_dm2("rod", diameter_mm=diameter, length_mm=length))


@given(LENGTHS, LENGTHS, st.floats(0.05, 0.95))
def test_a_bored_turned_part_is_a_tube(diameter, length, share):
    bore = share * diameter
    turned = shape_area_dm2("turned", profile=[(diameter, length)], bore_diameter_mm=bore)
    tube = shape_area_dm2("tube", diameter_mm=diameter, inside_diameter_mm=bore, length_mm=length)
    assert turned == pytest.approx(tube)


@given(LENGTHS, LENGTHS, LENGTHS, LENGTHS)
def test_a_step_adds_one_shoulder(d1, l1, d2, l2):
    """Seen from the ends, a stepped part shows the largest disc twice."""
    turned = shape_area_dm2("turned", profile=[(d1, l1), (d2, l2)])
    walls = math.pi * (d1 * l1 + d2 * l2)
    assert turned * 1e4 == pytest.approx(walls + 2 * math.pi / 4 * max(d1, d2) ** 2)


@given(LENGTHS, LENGTHS)
def test_a_straight_cone_is_a_rod(diameter, length):
    cone = shape_area_dm2("cone", diameter_mm=diameter, length_mm=length, tip_diameter_mm=diameter)
    assert cone == pytest.approx(shape_area_dm2("rod", diameter_mm=diameter, length_mm=length))


def test_a_thin_cap_is_wetted_twice():
    cap = shape_area_dm2("cap", diameter_mm=100, length_mm=50, wall_mm=1e-6)
    assert cap * 1e4 == pytest.approx(2 * (math.pi * 100 * 50 + math.pi / 4 * 100**2), rel=1e-6)


def test_holes_in_thick_plate_add_and_in_thin_plate_take():
    sheet = {"length_mm": 100, "width_mm": 50}
    thin = [shape_area_dm2("plate", thickness_mm=1, holes=h, hole_diameter_mm=10, **sheet) for h in (0, 4)]
    thick = [shape_area_dm2("plate", thickness_mm=20, holes=h, hole_diameter_mm=10, **sheet) for h in (0, 4)]
    assert thin[1] < thin[0]
    assert thick[1] > thick[0]
    assert (thick[1] - thick[0]) * 1e4 == pytest.approx(4 * (math.pi * 10 * 20 - 2 * math.pi * 25))


@given(st.floats(0.1, 10), LENGTHS, LENGTHS)
def test_area_grows_with_the_square(scale, diameter, length):
    small = shape_area_dm2("rod", diameter_mm=diameter, length_mm=length)
    assert shape_area_dm2("rod", diameter_mm=diameter * scale, length_mm=length * scale) == pytest.approx(
        small * scale**2
    )


def test_a_load_with_jig_and_blind_bores():
    load = sum_areas([parse_shape("rod diameter=10 length=50 bore_diameter=5 bore_depth=20 x3")], jig_dm2=0.2)
    rod = math.pi * 10 * 50 + math.pi / 2 * 100 + math.pi * 5 * 20
    assert load.area_dm2 == pytest.approx(3 * rod / 1e4 + 0.2)
    assert "blind bore" in load.notes[0]
    assert any("acid" in text for text in load.cautions)


def test_inches_and_mm_agree():
    inches = sum_areas([parse_shape("tube diameter=1in inside_diameter=0.5in length=2in")])
    assert inches.area_dm2 == pytest.approx(
        shape_area_dm2("tube", diameter_mm=25.4, inside_diameter_mm=12.7, length_mm=50.8)
    )


def test_turned_profile_in_words():
    assert parse_shape("turned profile=20x30,12x15 x2") == Shape(
        "turned", {"profile": [(20.0, 30.0), (12.0, 15.0)]}, 2, "turned profile=20x30,12x15 x2"
    )


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("blob size=1", "blob"),
        ("rod diameter=10", "missing: length"),
        ("rod diameter=0 length=5", "above 0"),
        ("rod diameter=-1 length=5", "above 0"),
        ("rod diameter=ten length=5", "diameter is 'ten'"),
        ("rod width=10 length=5", "width"),
        ("rod 10 5", "name=value"),
        ("tube diameter=10 inside_diameter=11 length=5", "fit"),
        ("turned profile=20", "step"),
        ("plate length=10 width=10 thickness=1 holes=9 hole_diameter=5", "fit"),
        ("rod diameter=10 length=5 x0", "at least 1"),
    ],
)
def test_shapes_that_cannot_be(text, words):
    with pytest.raises(RecordError, match=words):
        sum_areas([parse_shape(text)])


def test_an_empty_load_is_refused():
    with pytest.raises(RecordError, match="no shape"):
        sum_areas([])
