"""Shapes as people type them: ``rod diameter=10 length=2in x4``."""

import re
from inspect import signature

from dyebook.errors import RecordError
from dyebook.physics.area import SHAPES, Shape
from dyebook.units import parse_quantity

__all__ = ["parse_shape"]


def parse_shape(text):
    """Read one shape.

    Parameters
    ----------
    text : str
        Kind, then measures as name=value (mm, or with a unit), then ``x4`` for four alike. A turned part is
        ``turned profile=20x30,12x15``: diameter × length of each step.

    Returns
    -------
    Shape

    Raises
    ------
    RecordError
        If a word cannot be read.

    Examples
    --------
    >>> parse_shape("ball diameter=10 x2")
    Shape(kind='ball', sizes={'diameter_mm': 10.0}, count=2, label='ball diameter=10 x2')
    """
    kind, *words = text.split()
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
