"""What is written down: the plain records, their fields from the one table (`dyebook.fields`), here for all to use."""

import math
from dataclasses import dataclass, field

from dyebook.errors import RecordError
from dyebook.fields import FIELDS, Field, check_text, check_value, is_empty
from dyebook.lab import Lab
from dyebook.notebook import Drawn

__all__ = ["FIELDS", "DyeRecord", "Field", "Flaw", "Measurement", "Reading", "check_text", "check_value", "is_empty"]


@dataclass(frozen=True)
class Flaw:
    """One place on a part that differs from the rest of it.

    Attributes
    ----------
    kind : str
        spot, streak, pale_zone, gradient, pit or two_tone.
    box : tuple of float
        x0, y0, x1, y1 in pixels of the upright photo.
    outline : tuple of (x, y)
        Polygon in pixels of the upright photo.
    delta_e00 : float
        Difference to the sound surface beside it.
    area_fraction : float
        Share of the part's area, 0..1.
    """

    kind: str
    box: tuple
    outline: tuple
    delta_e00: float
    area_fraction: float


@dataclass(frozen=True)
class Reading(Drawn):
    """One measured colour with its evidence.

    Attributes
    ----------
    lab : Lab
        Colour of the dyed film, D65, 2-degree observer.
    lab_sd : tuple of float
        Spread over the part per L*, a*, b*.
    lab_u : tuple of float
        Standard uncertainty per L*, a*, b*.
    outline : tuple of (x, y)
        The part, in pixels of the upright photo.
    box : tuple of float
        x0, y0, x1, y1 of the outline.
    uniformity : float
        Robust CIEDE2000 spread over the part once shading is removed; nan when unknown.
    area_mm2 : float
        nan without a scale in the photo.
    flags : tuple of str
        Doubts, names in `dyebook.flags.FLAGS`.
    flaws : tuple of Flaw
    """

    lab: Lab
    lab_sd: tuple
    lab_u: tuple
    outline: tuple = ()
    box: tuple = ()
    uniformity: float = math.nan
    area_mm2: float = math.nan
    flags: tuple = ()
    flaws: tuple = ()

    def to_dict(self):
        """Return the reading as plain lists and numbers, the `parts` entry of the measure contract."""
        return {
            "outline": [_rounded(point) for point in self.outline],
            "box": _rounded(self.box),
            "lab": _rounded(self.lab, 3),
            "lab_sd": _rounded(self.lab_sd, 3),
            "lab_u": _rounded(self.lab_u, 3),
            "uniformity": _number(self.uniformity),
            "area_mm2": _number(self.area_mm2),
            "flags": list(self.flags),
            "flaws": [
                {
                    "kind": flaw.kind,
                    "box": _rounded(flaw.box),
                    "outline": [_rounded(point) for point in flaw.outline],
                    "delta_e00": _number(flaw.delta_e00),
                    "area_fraction": _number(flaw.area_fraction, 5),
                }
                for flaw in self.flaws
            ],
        }


@dataclass(frozen=True)
class Measurement(Drawn):
    """All that one photo told: its card, its parts, and the doubts.

    Attributes
    ----------
    photo : str
        Name of the photo as given.
    size : tuple of int
        Width and height of the upright photo.
    card_kind : str
        grey, chart, mat or none.
    card_quad : tuple of (x, y) or None
        Corners of the card's grey area in the upright photo.
    card_lab : Lab
        The card's own colour.
    parts : tuple of Reading
        Left to right, or in the order of the polygons given.
    flags, warnings : tuple of str
        Doubts by name, and notes in words.
    asked : dict
        By what means it was read, where it was not the usual way: `camera` (name), `flat` (SHA-256 of the photo of
        plain paper), `card_at`, `mat_line_mm`. A book keeps it, so that it can be read in the same way again.
    """

    photo: str
    size: tuple
    card_kind: str
    card_quad: tuple | None
    card_lab: Lab
    parts: tuple = ()
    flags: tuple = ()
    warnings: tuple = ()
    asked: dict = field(default_factory=dict)

    def to_dict(self):
        """Return the JSON object of the measure contract."""
        quad = None if self.card_quad is None else [_rounded(point) for point in self.card_quad]
        return {
            "photo": self.photo,
            "size": [int(side) for side in self.size],
            "card": {"kind": self.card_kind, "quad": quad, "lab": _rounded(self.card_lab, 3)},
            "parts": [part.to_dict() for part in self.parts],
            "flags": list(self.flags),
            "warnings": list(self.warnings),
        }


@dataclass(frozen=True)
class DyeRecord:
    """One dip as it was set, with what was read afterwards; nan = not measured."""

    dye: str
    film_um: float
    dye_g_per_l: float
    bath_temp_c: float
    dwell_min: float
    ph: float = math.nan
    bath: str | None = None
    film_measured_um: float = math.nan
    film_sd_um: float = math.nan
    area_dm2: float = math.nan
    current_density_a_per_dm2: float = math.nan
    electrolyte_temp_c: float = math.nan
    alloy: str | None = None
    finish: str | None = None
    rinse_temp_c: float = math.nan
    wait_min: float = math.nan
    wet: bool | None = None
    sealed: bool | None = None
    dyed_at: str | None = None
    note: str | None = None
    readings: tuple = field(default=())

    def __post_init__(self):
        for name, value in vars(self).items():
            if name != "readings":
                object.__setattr__(self, name, check_value(name, value))
        missing = [row.label for name, row in FIELDS.items() if row.required and is_empty(getattr(self, name))]
        if missing:
            raise RecordError(f"the record lacks {', '.join(missing)}; a dip cannot be repeated without")


def _rounded(values, digits=2):
    return [_number(value, digits) for value in values]


def _number(value, digits=3):
    """A rounded plain float, or None where nothing was measured."""
    value = float(value)
    return round(value, digits) if math.isfinite(value) else None
