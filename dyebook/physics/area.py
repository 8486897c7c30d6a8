"""Wetted area of parts built from plain shapes, also as people type them: ``rod diameter=10 length=2in x4``.

All lengths are in mm, all areas in dm².
"""

import itertools
import math
import re
from dataclasses import dataclass
from inspect import signature

from dyebook.errors import RecordError
from dyebook.notebook import Note
from dyebook.physics.answer import Answer, cautions_for
from dyebook.units import parse_quantity

__all__ = ["SHAPES", "AreaSum", "Shape", "parse_shape", "shape_area_dm2", "sum_areas"]

_MM2_PER_DM2 = 1e4
_MAX_MM = 1e5


# height of the sharp 60° triangle over the pitch, and what ISO 68-1 leaves of its flanks: an eighth is cut off at the
# crest, a quarter at the root, which are flat there
_SHARP = math.sqrt(3) / 2
_FLANK = 5 / 8
# full 90° grooves have √2 of the cylinder; knurls are pressed to about three quarters of that (common practice)
_KNURL_MORE = 0.75 * (math.sqrt(2) - 1)


def _thread_more(diameter_mm, pitch_mm):
    """Surface of an outside ISO thread over its cylinder, less 1: flats and flanks turned about the axis (Pappus).

    The helix is not counted: at usual pitches it adds about 1 in 1000.
    """
    if not pitch_mm > 0:
        raise RecordError("the thread has a length but no pitch; give its pitch, such as 1.5 for M10")
    core_mm = diameter_mm - 2 * _FLANK * _SHARP * pitch_mm
    _fits(2 * _FLANK * _SHARP * pitch_mm, diameter_mm, "the thread's pitch", "the diameter")
    along = diameter_mm / 8 + core_mm / 4 + 2 * _FLANK * (diameter_mm + core_mm) / 2
    return along / diameter_mm - 1


def _rod(
    diameter_mm,
    length_mm,
    bore_diameter_mm=0.0,
    bore_depth_mm=0.0,
    thread_pitch_mm=0.0,
    thread_length_mm=0.0,
    knurl_length_mm=0.0,
):
    """Solid round bar, both ends wetted; a blind bore adds its wall (its floor replaces the mouth).

    A thread or a knurl outside, over its own length, adds to the cylinder.
    """
    _fits(bore_diameter_mm, diameter_mm, "the bore's diameter", "the diameter")
    _fits(bore_depth_mm, length_mm, "the bore's depth", "the length")
    _fits(thread_length_mm + knurl_length_mm, length_mm, "thread and knurl", "the length")
    more = thread_length_mm * (_thread_more(diameter_mm, thread_pitch_mm) if thread_length_mm else 0.0)
    wall = math.pi * bore_diameter_mm * bore_depth_mm
    around = length_mm + more + _KNURL_MORE * knurl_length_mm
    return math.pi * diameter_mm * around + 2 * _disc(diameter_mm) + wall


def _hexagon(across_flats_mm, length_mm, bore_diameter_mm=0.0, bore_depth_mm=0.0):
    """Hexagonal bar, both ends wetted; a blind bore adds its wall."""
    _fits(bore_diameter_mm, across_flats_mm, "the bore's diameter", "the hexagon")
    _fits(bore_depth_mm, length_mm, "the bore's depth", "the length")
    faces = 2 * math.sqrt(3) * across_flats_mm * length_mm + math.sqrt(3) * across_flats_mm**2
    return faces + math.pi * bore_diameter_mm * bore_depth_mm


def _angle(leg_mm, other_leg_mm, thickness_mm, length_mm):
    """L profile, both ends wetted."""
    _fits(thickness_mm, min(leg_mm, other_leg_mm), "the thickness", "the shorter leg")
    section = thickness_mm * (leg_mm + other_leg_mm - thickness_mm)
    return 2 * (leg_mm + other_leg_mm) * length_mm + 2 * section


def _tube(diameter_mm, inside_diameter_mm, length_mm):
    """Open tube, wetted inside and out."""
    _fits(inside_diameter_mm, diameter_mm, "the inside diameter", "the outside diameter")
    walls = math.pi * (diameter_mm + inside_diameter_mm) * length_mm
    return walls + 2 * (_disc(diameter_mm) - _disc(inside_diameter_mm))


def _plate(length_mm, width_mm, thickness_mm, holes=0.0, hole_diameter_mm=0.0):
    """Flat plate with all edges; each through hole loses two discs and gains its wall."""
    _fits(hole_diameter_mm, min(length_mm, width_mm), "the holes' diameter", "the plate")
    _fits(holes * _disc(hole_diameter_mm), length_mm * width_mm, "the holes' area", "the plate's")
    faces = 2 * (length_mm * width_mm + (length_mm + width_mm) * thickness_mm)
    return faces + holes * (math.pi * hole_diameter_mm * thickness_mm - 2 * _disc(hole_diameter_mm))


def _disc_part(diameter_mm, thickness_mm):
    """Round blank with its edge."""
    return 2 * _disc(diameter_mm) + math.pi * diameter_mm * thickness_mm


def _ring(diameter_mm, section_mm):
    """Ring of round section; `diameter_mm` is its outside."""
    _fits(2 * section_mm, diameter_mm, "twice the section", "the diameter")
    return math.pi**2 * (diameter_mm - section_mm) * section_mm


def _ball(diameter_mm):
    """Full sphere."""
    return math.pi * diameter_mm**2


def _cap(diameter_mm, length_mm, wall_mm):
    """Cap or cup: a tube closed at one end, wetted inside and out; wall and floor of one thickness."""
    _fits(2 * wall_mm, diameter_mm, "twice the wall", "the diameter")
    _fits(wall_mm, length_mm, "the wall", "the length")
    inside = diameter_mm - 2 * wall_mm
    # the floor inside and the rim together make up one disc of the outside diameter
    return math.pi * diameter_mm * length_mm + 2 * _disc(diameter_mm) + math.pi * inside * (length_mm - wall_mm)


def _cone(diameter_mm, length_mm, tip_diameter_mm=0.0):
    """Straight cone or its stump, both ends wetted."""
    slant = math.hypot(length_mm, (diameter_mm - tip_diameter_mm) / 2)
    mantle = math.pi * (diameter_mm + tip_diameter_mm) / 2 * slant
    return mantle + _disc(diameter_mm) + _disc(tip_diameter_mm)


def _turned(profile, bore_diameter_mm=0.0):
    """Turned part from (diameter, length) steps, end to end; a through bore loses two discs and gains its wall."""
    if not profile:
        raise RecordError("a turned part needs at least one step of diameter and length")
    for diameter, length in profile:
        _check_length("diameter", diameter)
        _check_length("length", length)
        _fits(bore_diameter_mm, diameter, "the bore's diameter", "every diameter")
    diameters = [0.0, *(diameter for diameter, _ in profile), 0.0]
    walls = sum(math.pi * diameter * length for diameter, length in profile)
    shoulders = sum(abs(_disc(a) - _disc(b)) for a, b in itertools.pairwise(diameters))
    length = sum(length for _, length in profile)
    return walls + shoulders + math.pi * bore_diameter_mm * length - 2 * _disc(bore_diameter_mm)


def _patch(area_mm2):
    """Anything whose area is known, such as a jig's wetted part."""
    return area_mm2


def _disc(diameter_mm):
    return math.pi * diameter_mm**2 / 4


SHAPES = {
    "rod": _rod,
    "tube": _tube,
    "plate": _plate,
    "disc": _disc_part,
    "ring": _ring,
    "ball": _ball,
    "cap": _cap,
    "cone": _cone,
    "hexagon": _hexagon,
    "angle": _angle,
    "turned": _turned,
    "area": _patch,
}
_OPTIONAL = {
    name
    for shape in SHAPES.values()
    for name, item in signature(shape).parameters.items()
    if item.default is not item.empty
}
_PLAIN_SD = 0.02  # measures with a rule; judgement, as the next three
_THREAD_SD, _KNURL_SD = 0.05, 0.12
_DEEP = 3.0  # a bore deeper than so many diameters grows little film at its bottom: current hardly reaches in
_BOTH_ENDS = 2.0  # a bore open at both ends is reached from both


@dataclass(frozen=True)
class Shape:
    """One shape of a load."""

    kind: str  # one of `SHAPES`
    sizes: dict  # its measures in mm, by the names of the shape
    count: int = 1  # how many alike
    label: str = ""  # what the maker calls it


def shape_area_dm2(kind: str, **sizes) -> float:
    """Wetted area of one shape in dm².

    `kind`: one of `SHAPES`. `**sizes`: lengths in mm; `profile` of a turned part is a list of (diameter, length).

    Examples
    --------
    >>> round(shape_area_dm2("ball", diameter_mm=100), 4)
    3.1416
    """
    if kind not in SHAPES:
        raise RecordError(f"shape {kind!r} is unknown; use one of {', '.join(SHAPES)}")
    known = signature(SHAPES[kind]).parameters
    wrong = [name for name in sizes if name not in known]
    missing = [name for name, item in known.items() if item.default is item.empty and name not in sizes]
    if wrong or missing:
        raise RecordError(
            f"a {kind} is given by {', '.join(map(_plain, known))}; "
            + "; ".join(filter(None, [_listed("unknown", wrong), _listed("missing", missing)]))
        )
    for name, value in sizes.items():
        if name != "profile":
            _check_length(name, value, optional=name in _OPTIONAL)
    return SHAPES[kind](**sizes) / _MM2_PER_DM2


def _listed(word, names):
    return f"{word}: {', '.join(map(_plain, names))}" if names else ""


def _plain(name):
    """A measure's name without its unit, such as "bore diameter"."""
    return name.removesuffix("_mm2").removesuffix("_mm").replace("_", " ")


def _check_length(name, value, optional=False):
    upper = _MAX_MM**2 if name.endswith("mm2") else _MAX_MM
    lower_ok = value >= 0 if optional else value > 0
    if not (lower_ok and value <= upper):
        raise RecordError(f"{_plain(name)} is {value!r}; a length above 0 is needed, in mm")


def _fits(inner, outer, inner_name, outer_name):
    if inner > outer:
        raise RecordError(f"{inner_name} of {inner:g} does not fit into {outer_name} of {outer:g}; check both")


@dataclass(frozen=True, kw_only=True)
class AreaSum(Answer):
    """Wetted area of a load: the sum, its uncertainty, and each line."""

    area_dm2: float
    area_dm2_sd: float
    lines: tuple


def sum_areas(shapes, jig_dm2: float = 0.0) -> AreaSum:
    """Add up the wetted area of a load.

    Its uncertainty comes from measures to about 2 % of each area, more on threads and knurls, and of walls deep in a
    bore what little of the current reaches them. `jig_dm2`: wetted aluminium of the jig; it takes current like a part.
    Titanium takes none worth counting.
    """
    if not shapes and not jig_dm2 > 0:
        raise RecordError("no shape is given; at least one part is needed for an area")
    if jig_dm2 < 0:
        raise RecordError(f"the jig's area is {jig_dm2:g} dm²; it cannot be negative")
    lines = [_line(shape) for shape in shapes]
    total = sum(line["area_dm2"] for line in lines) + jig_dm2
    blind, deep = ([line["label"] for line in lines if line[name]] for name in ("blind", "deep"))
    notes = [Note("bench.blind_bore", labels=blind)] if blind else []
    notes += [Note("bench.deep_bore", labels=deep, diameters=_DEEP)] if deep else []
    return AreaSum(
        area_dm2=total,
        area_dm2_sd=math.sqrt(sum(line["area_dm2_sd"] ** 2 for line in lines) + (0.1 * jig_dm2) ** 2),
        lines=tuple(lines),
        basis=Note("bench.plain_shapes"),
        cautions=cautions_for("trapped_acid") if blind else cautions_for(),
        notes=tuple(notes),
    )


def _line(shape):
    if not shape.count >= 1:
        raise RecordError(f"{shape.count} pieces of {shape.kind}; at least 1 is needed")
    each = shape_area_dm2(shape.kind, **shape.sizes)
    dark = _deep_walls_mm2(shape.kind, shape.sizes) / _MM2_PER_DM2
    return {
        "label": shape.label or shape.kind,
        "kind": shape.kind,
        "count": int(shape.count),
        "each_dm2": each,
        "area_dm2": each * shape.count,
        # half of what lies deep may be covered or not
        "area_dm2_sd": shape.count * math.hypot(each * _share_sd(shape.sizes), 0.5 * dark),
        "deep": dark > 0,
        "blind": shape.kind == "cap" or shape.sizes.get("bore_depth_mm", 0) > 0,
    }


def _share_sd(sizes):
    rough = (("thread_length_mm", _THREAD_SD), ("knurl_length_mm", _KNURL_SD))
    return max([_PLAIN_SD, *(sd for name, sd in rough if sizes.get(name, 0) > 0)])


def _deep_walls_mm2(kind, sizes):
    """Walls of a bore, blind or through, that lie deeper than current reaches."""
    if kind == "cap":
        wide, deep, ends = sizes["diameter_mm"] - 2 * sizes["wall_mm"], sizes["length_mm"] - sizes["wall_mm"], 1.0
    elif kind == "tube":
        wide, deep, ends = sizes["inside_diameter_mm"], sizes["length_mm"], _BOTH_ENDS
    elif kind == "turned":
        wide, deep, ends = sizes.get("bore_diameter_mm", 0), sum(step[1] for step in sizes["profile"]), _BOTH_ENDS
    else:
        wide, deep, ends = sizes.get("bore_diameter_mm", 0), sizes.get("bore_depth_mm", 0), 1.0
    return math.pi * wide * max(deep - ends * _DEEP * wide, 0.0)


def parse_shape(text: str) -> Shape:
    """Read one shape.

    `text`: kind, then measures as name=value (mm, or with a unit), then ``x4`` for four alike. A turned part is
    ``turned profile=20x30,12x15``: diameter × length of each step.

    Examples
    --------
    >>> parse_shape("ball diameter=10 x2")
    Shape(kind='ball', sizes={'diameter_mm': 10.0}, count=2, label='ball diameter=10 x2')
    """
    kind, *words = text.split() or [""]
    if kind not in SHAPES:
        raise RecordError(f"shape {kind!r} is unknown; use one of {', '.join(SHAPES)}")
    count, sizes = 1, {}
    for word in words:
        if re.fullmatch(r"x\d+", word):
            count = int(word[1:])
            continue
        name, equals, value = word.partition("=")
        if not equals:
            raise RecordError(
                f"{word!r} in {text!r} cannot be read; write name=value, such as diameter=10 or length=2in"
            )
        sizes.update([_measure(kind, name, value)])
    return Shape(kind, sizes, count, text)


def _measure(kind, name, value):
    known = signature(SHAPES[kind]).parameters
    full = next((option for option in (name, f"{name}_mm", f"{name}_mm2") if option in known), None)
    if full is None:
        raise RecordError(f"a {kind} has no {name!r}; it is given by {', '.join(known)}")
    if full == "profile":
        return full, [_step(step) for step in value.split(",")]
    if full == "holes":
        return full, parse_quantity("holes_mm", value)
    return full, parse_quantity(full, value)


def _step(text):
    diameter, cross, length = text.partition("x")
    if not cross:
        raise RecordError(f"the step {text!r} cannot be read; write diameter x length, such as 20x30")
    return parse_quantity("diameter_mm", diameter), parse_quantity("length_mm", length)
