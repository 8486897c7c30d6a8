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


def test_an_m10_thread_has_half_as_much_again_as_its_cylinder():
    """M10 x 1.5 (ISO 68-1 profile: flats P/8 and P/4, flanks 5/8 P long): about 48 % more, worked out by Pappus."""
    bare, cut = (shape_area_dm2("rod", diameter_mm=10, length_mm=100, **more) for more in ({}, _M10))
    assert (cut - bare) / (math.pi * 10 * 100 / 1e4) == pytest.approx(0.48, abs=0.01)


_M10 = {"thread_pitch_mm": 1.5, "thread_length_mm": 100}


def test_a_fine_thread_on_a_thick_bar_tends_to_the_flat_profile():
    """Unrolled, an ISO profile is P/8 + P/4 + 2 x 5/8 P long for each P."""
    more = {"thread_pitch_mm": 0.01, "thread_length_mm": 100}
    bare, cut = (shape_area_dm2("rod", diameter_mm=100, length_mm=100, **options) for options in ({}, more))
    assert (cut - bare) / (math.pi * 100 * 100 / 1e4) == pytest.approx(0.625, abs=1e-3)


def test_a_knurl_lies_between_the_cylinder_and_full_grooves():
    bare, cut = (shape_area_dm2("rod", diameter_mm=20, length_mm=50, knurl_length_mm=k) for k in (0, 50))
    share = (cut - bare) / (math.pi * 20 * 50 / 1e4)
    assert 0 < share < math.sqrt(2) - 1


def test_hexagon_and_angle_by_other_ways():
    """A hexagon is six triangles and six faces; an L is a rectangle with a rectangle taken out, of the same girth."""
    side = 17 / math.sqrt(3)
    by_triangles = 2 * 6 * (math.sqrt(3) / 4 * side**2) + 6 * side * 30
    assert shape_area_dm2("hexagon", across_flats_mm=17, length_mm=30) * 1e4 == pytest.approx(by_triangles)
    left = 30 * 20 - (30 - 3) * (20 - 3)
    angle = shape_area_dm2("angle", leg_mm=30, other_leg_mm=20, thickness_mm=3, length_mm=100)
    assert angle * 1e4 == pytest.approx(2 * left + 2 * (30 + 20) * 100)


def test_doubts_grow_with_threads_knurls_and_deep_bores():
    def share(words):
        load = sum_areas([parse_shape(words)])
        return load.area_dm2_sd / load.area_dm2, " ".join(load.notes)

    plain, _ = share("rod diameter=20 length=60")
    assert plain == pytest.approx(0.02)
    assert plain < share("rod diameter=20 length=60 thread_pitch=1.5 thread_length=30")[0]
    assert plain < share("rod diameter=20 length=60 knurl_length=30")[0]
    bored = "rod diameter=20 length=60 bore_diameter=6 bore_depth"
    shallow, calm = share(f"{bored}=18")
    deep, warned = share(f"{bored}=55")
    assert shallow == pytest.approx(plain)
    assert "little film" not in calm
    # half of the wall beyond three diameters may be covered or not: 37 mm of a 6 mm bore
    dark_dm2 = math.pi * 6 * 37 / 1e4 / sum_areas([parse_shape(f"{bored}=55")]).area_dm2
    assert deep == pytest.approx(math.hypot(plain, 0.5 * dark_dm2))
    assert "little film" in warned
    assert "little film" not in share("tube diameter=20 inside_diameter=10 length=60")[1]
    assert "little film" in share("tube diameter=8 inside_diameter=6 length=60")[1]


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
        ("rod diameter=2 length=20 thread_pitch=3 thread_length=9", "fit"),
        ("rod diameter=9 length=20 thread_pitch=1 thread_length=15 knurl_length=15", "fit"),
        ("rod diameter=10 length=20 thread_length=9", "pitch"),
        ("angle leg=9 other_leg=5 thickness=6 length=20", "fit"),
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


def test_the_slant_of_a_cone_is_a_hypotenuse():
    # radii 40 and 10 mm, height 40 mm: slant 50 mm by Pythagoras; mantle π (r + s) l and both discs, in dm²
    area = math.pi * ((40 + 10) * 50 + 40**2 + 10**2) / 1e4
    found = shape_area_dm2("cone", diameter_mm=80, length_mm=40, tip_diameter_mm=20)
    assert found == pytest.approx(area)


@given(LENGTHS, LENGTHS)
def test_a_disc_is_a_short_rod(diameter, thickness):
    disc = shape_area_dm2("disc", diameter_mm=diameter, thickness_mm=thickness)
    assert disc == pytest.approx(shape_area_dm2("rod", diameter_mm=diameter, length_mm=thickness))


@given(LENGTHS, LENGTHS, st.floats(0.01, 0.45), st.floats(0.01, 0.95))
def test_a_cap_is_a_rod_with_a_hole_in_it(diameter, length, thin, share):
    """Wall by wall: outside, floor, rim, and the hole's own wall and floor."""
    wall = min(thin * diameter, share * length)
    hole, deep = diameter - 2 * wall, length - wall
    outside = math.pi * diameter * length + math.pi / 4 * diameter**2
    rim = math.pi / 4 * (diameter**2 - hole**2)
    inside = math.pi * hole * deep + math.pi / 4 * hole**2
    cap = shape_area_dm2("cap", diameter_mm=diameter, length_mm=length, wall_mm=wall)
    assert cap * 1e4 == pytest.approx(outside + rim + inside)


def test_a_bore_adds_its_wall_to_a_bar_of_any_section():
    for kind, sizes in (("rod", {"diameter_mm": 20}), ("hexagon", {"across_flats_mm": 20})):
        solid = shape_area_dm2(kind, **sizes, length_mm=60)
        bored = shape_area_dm2(kind, **sizes, length_mm=60, bore_diameter_mm=8, bore_depth_mm=30)
        assert (bored - solid) * 1e4 == pytest.approx(math.pi * 8 * 30)
