"""What can be written down: the one table of fields, what a value of each may be, and the plain records made of them.

`FIELDS` drives columns, CSV headers, shell options, widgets and range checks; `SETTINGS` are those that are set,
`READ` those that are read. `nan` (or None in text fields) means "not measured", never 0. NumPy stays out of here, so
that the shell can offer the fields as options without waiting for it.
"""

from __future__ import annotations

import math
import re
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from numbers import Real
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from dyebook.errors import RecordError
from dyebook.notebook import Drawn
from dyebook.units import parse_quantity, zone_named

if TYPE_CHECKING:
    from dyebook.lab import Lab

__all__ = [
    "BATH_EVENTS", "DEMO_MARK", "ELECTROLYTE_EVENTS", "FIELDS", "GEOMETRIES", "READ", "SETTINGS", "SHOP_SETTINGS",
    "DyeRecord", "Field", "Flaw", "Measurement", "ReadOptions", "Reading", "ShopSetting", "check_lab", "check_setting",
    "check_text", "check_tolerance", "check_value", "figure_in", "geometry_named", "is_empty", "parse_value",
]  # fmt: skip


@dataclass(frozen=True)
class Field:
    """One quantity that a record can hold."""

    name: str  # name with its unit, the same as argument, column, header, option and widget key
    unit: str  # unit as printed; empty for pure numbers and words
    label: str  # what people call it
    meaning: str  # one sentence for help texts
    # lower, upper: values outside are refused as slips of the pen
    lower: float = -math.inf
    upper: float = math.inf
    required: bool = False  # True for the settings without which a dip cannot be repeated
    kind: type = float  # `float`, `str` or `bool`
    table: str = ""  # table of the book that holds it; empty where it follows from others
    example: str = ""  # how it may be typed, where that helps

    @property
    def heading(self) -> str:
        """The label as a heading with its unit, such as "Film, µm"."""
        return self.label[:1].upper() + self.label[1:] + (f", {self.unit}" if self.unit else "")


_run, _dip, _batch, _reading = (partial(Field, table=name) for name in ("runs", "dips", "batches", "readings"))
_ROWS = (
    Field("dye", "", "dye", "name of the dye", required=True, kind=str, table="dyes"),
    Field("bath", "", "bath", "the made-up tank, where a dye has several", kind=str, table="baths"),
    _run("film_um", "µm", "film", "film thickness as planned or from charge", 0.1, 150, True, example="12 or 0.5 mil"),
    _dip("dye_g_per_l", "g/L", "dye strength", "dye in the bath", 0.001, 100, True),
    _dip("bath_temp_c", "°C", "bath temperature", "dye bath during the dip", 0, 100, True, example="40 or 104 °F"),
    _dip("dwell_min", "min", "time in dye", "how long the part was in the dye", 0.02, 600, True, example="5 or 5:30"),
    _dip("ph", "", "bath pH", "pH of the dye bath", 0, 14),
    _reading("L", "", "L*", "lightness of the reading", 0, 105),
    _reading("a", "", "a*", "green to red", -150, 150),
    _reading("b", "", "b*", "blue to yellow", -150, 150),
    _reading("L_sd", "", "L* uncertainty", "standard uncertainty of L*", 0, 50),
    _reading("a_sd", "", "a* uncertainty", "standard uncertainty of a*", 0, 50),
    _reading("b_sd", "", "b* uncertainty", "standard uncertainty of b*", 0, 50),
    _run("film_measured_um", "µm", "film by gauge", "film thickness as a gauge read it", 0.1, 150),
    _run("film_sd_um", "µm", "film uncertainty", "standard uncertainty of the film", 0, 50),
    _run("area_dm2", "dm²", "area", "wetted area of the batch", 0.001, 1000),
    _run("current_density_a_per_dm2", "A/dm²", "current density", "anodising current per area", 0.01, 20),
    _run("electrolyte_temp_c", "°C", "electrolyte temperature", "acid during the run", -10, 60),
    _run("alloy", "", "alloy", "alloy designation such as 6061", kind=str),
    _run("finish", "", "finish", "surface before anodising: polished, brushed, blasted, etched", kind=str),
    Field("rinse_temp_c", "°C", "rinse temperature", "rinse between anodising and dye", 0, 100, table="rinses"),
    _dip("wait_min", "min", "wait before dye", "between that rinse and the dye, in water or dry", 0, 100_000),
    _dip("dye_lot", "", "dye lot", "lot number on the tin that the dye came from", kind=str),
    Field("seal_stain", "", "seal test stain", "dye spot test of the seal: 0 no stain to 5 deep", 0, 5, table="seals"),
    Field("jig_place", "", "place on rack", "where on the rack the part hung", kind=str, table="parts"),
    Field("contact_marks", "", "contact marks", "where the clamp held the part", kind=str, table="parts"),
    _reading("wet", "", "read wet", "true if the part was wet when it was read", kind=bool),
    _reading("sealed", "", "read sealed", "true if the part was sealed when it was read", kind=bool),
    _batch("dyed_at", "", "dyed at", "date and time of the dip, ISO 8601", kind=str, example="2026-03-28T14:30"),
    Field("coupon", "", "stepped coupon", "strip of which this dip is one band", kind=str),
    _batch("note", "", "note", "anything worth remembering", kind=str),
)

FIELDS = {row.name: row for row in _ROWS}
SETTINGS = tuple(row.name for row in _ROWS if row.table not in ("", "readings"))
READ = tuple(row.name for row in _ROWS if row.table == "readings")

# figures of the bench that are no field of a record, with what the book holds of them
_FIGURES = {
    name: Field(name, unit, label, label, lower, upper)
    for name, unit, label, lower, upper in (
        ("voltage_v", "V", "voltage", 0, 200),
        ("current_a", "A", "current", 0, 100_000),
        ("volume_l", "L", "volume", 0, 100_000),
        ("bath_volume_l", "L", "volume", 0.01, 100_000),
        ("electrolyte_g_per_l", "g/L", "electrolyte strength", 0, 500),
        ("al_g_per_l", "g/L", "dissolved aluminium", 0, 50),
        ("seal_temp_c", "°C", "seal temperature", 0, 130),
    )
}
_CHECKED = {name: row for name, row in FIELDS.items() if row.kind is float and row.table != "readings"} | _FIGURES


def figure_in(name: str) -> str | None:
    """Return the figure that a longer name ends in, such as "bath_temp_c" of "enter_bath_temp_c"; None without one."""
    return max((one for one in _CHECKED if f"_{name}".endswith(f"_{one}")), key=len, default=None)


# what can happen to a dye bath and to an electrolyte: the name it is kept under, and what people call it
BATH_EVENTS = {
    "made_up": "made up",
    "topped_up": "topped up",
    "ph_moved": "pH moved",
    "filtered": "filtered",
    "measured": "measured",
    "thrown_out": "taken out of use",
}
ELECTROLYTE_EVENTS = {
    "made_up": "made up",
    "topped_up": "topped up",
    "titrated": "titrated",
    "diluted": "diluted",
    "thrown_out": "taken out of use",
}

# how an instrument looks at a surface (CIE 15:2018, 5.2): at 45 degrees, or under all-round light with or without the
# mirror reflection
_GEOMETRY_NAMES = {
    "45/0": ("45 0", "0 45", "45 0a", "45a 0"),
    "d/8 included": ("d 8 included", "d8 included", "di 8", "8 di", "sci", "spin"),
    "d/8 excluded": ("d 8 excluded", "d8 excluded", "de 8", "8 de", "sce", "spex"),
}
GEOMETRIES = tuple(_GEOMETRY_NAMES)

_YES = frozenset({"yes", "y", "true", "1", "1.0"})
_NO = frozenset({"no", "n", "false", "0", "0.0"})


def check_value(name: str, value) -> float | str | bool | None:
    """Return `value` as the field's own type, or say what is wrong with it.

    `nan` stands for a number, None for words or flags, that were not measured. `name`: a name in `FIELDS`, or a figure
    as of `figure_in`. `value` (object): a number, text, bool or None; None and empty text mean "not measured".
    """
    row = FIELDS.get(name) or _FIGURES.get(name)
    if row is None:
        raise ValueError(f"unknown field {name!r}; known: {', '.join(FIELDS)}")
    empty = is_empty(value) or value == ""
    if row.kind is bool:
        return None if empty else _as_truth(name, value)
    if row.kind is not float:
        return None if empty else check_text(row.label, row.kind(value))
    if empty:
        return math.nan
    try:
        number = float(value)
    except (TypeError, ValueError):
        raise RecordError(f"{row.label} is {value!r}; a number{_in_unit(row, 'in ')} is needed") from None
    if math.isnan(number):
        return math.nan
    if not row.lower <= number <= row.upper:
        raise RecordError(
            f"{row.label} is {number:g}{_in_unit(row)}; it must lie between {row.lower:g} and {row.upper:g}"
            f"{_in_unit(row)}; check the figure{' and its unit' * bool(row.unit)}"
        )
    return number


def geometry_named(text: str | None) -> str | None:
    """Return one of `GEOMETRIES` for its name or a usual short form; RecordError where it is none of them."""
    if not text:
        return None
    word = re.sub(r"[\s:°_-]+", " ", text.strip().lower().replace("/", " ")).strip()
    for geometry, names in _GEOMETRY_NAMES.items():
        if word in names:
            return geometry
    raise RecordError(f"{text!r} is no geometry known here; write {', '.join(GEOMETRIES)}")


def parse_value(name: str, text: str | bool | None) -> float | str | bool | None:
    """Return what a person typed for a field, as `check_value` does: other units are converted, a decimal comma is one.

    Examples
    --------
    >>> parse_value("bath_temp_c", "104 °F")
    40.0
    """
    text = text.strip() if isinstance(text, str) else text
    if text and FIELDS[name].kind is float:
        text = parse_quantity(name, text) if FIELDS[name].unit else str(text).replace(",", ".")
    return check_value(name, text)


def check_text(label: str, text: str) -> str:
    """Return text that can be kept; RecordError, with `label` for what it is, where half a character is in it."""
    try:
        text.encode("utf-8")
    except UnicodeEncodeError as error:
        piece = text[max(0, error.start - 10) : error.end + 10]
        raise RecordError(f"{label} holds a broken character in {piece!r}; type it anew as UTF-8 text") from None
    return text


def _as_truth(name, value):
    """True or False of a flag, or of the word for it."""
    if not isinstance(value, str):
        return bool(value)
    word = value.strip().lower()
    if word in _YES or word in _NO:
        return word in _YES
    raise RecordError(f"{FIELDS[name].label} is {value!r}; yes or no is needed")


def _in_unit(row, word=""):
    return f" {word}{row.unit}" if row.unit else ""


def is_empty(value) -> bool:
    """Return whether a value was not measured: None, nan, or pandas' own marks for the same."""
    # asked of pandas only where it is loaded already: it takes 0.4 s
    marks = (None, getattr(sys.modules.get("pandas"), "NA", None))
    return any(value is mark for mark in marks) or (isinstance(value, (Real, datetime)) and value != value)


@dataclass(frozen=True)
class ShopSetting:
    """One thing that a shop sets once for its book; only an owner may."""

    label: str  # what people call it
    meaning: str
    example: str  # what may be typed
    check: Callable  # returns what is kept (any JSON value) of what was typed or given; RecordError says what is needed
    default: object = None  # what holds until it is set, and again when it is set to nothing
    choices: tuple[str, ...] = ()  # all that may be typed, where these are few


_LONGEST_NAME = 80
_LONGEST_ADDRESS = 200  # more makes a printed code too fine for a phone


def _checked_name(text):
    name = check_text("the shop's name", str(text)).strip()
    if len(name) > _LONGEST_NAME or not name.isprintable():
        raise RecordError(f"the shop's name is {name!r}; one line of at most {_LONGEST_NAME} characters is needed")
    return name


def check_lab(what: str, given) -> list[float]:
    """Return the own Lab of `what`, typed as "L, a, b" or given as three numbers; RecordError if it is none."""
    numbers = given.replace(";", ",").split(",") if isinstance(given, str) else list(given)
    if len(numbers) != 3:
        raise RecordError(f"{what}'s own colour is {given!r}; L*, a*, b* are needed, such as 49.5, 0, 0")
    lab = [check_value(axis, number) for axis, number in zip("Lab", numbers, strict=True)]
    if not all(map(math.isfinite, lab)) or lab[0] == 0:
        raise RecordError(f"{what}'s own colour is {given!r}; L*, a*, b* with L* above 0 are needed")
    return lab


def _checked_photos(text):
    place = check_text("the place of photos", str(text)).strip()
    if "://" not in place and not Path(place).is_absolute():
        raise RecordError(
            f"the place of photos is {place!r}; a whole path or a URL is needed, such as s3://shop/photos"
        )
    return place


def check_tolerance(given) -> float:
    """Return a tolerance (CIEDE2000) as a number; RecordError unless it is above 0 and at most 50."""
    try:
        tolerance = float(str(given).replace(",", "."))
    except ValueError:
        tolerance = math.nan
    if not 0 < tolerance <= 50:
        raise RecordError(f"the tolerance is {given}; a number above 0 and at most 50 is needed")
    return tolerance


def _checked_address(text):
    address = str(text).strip()
    parts = urlsplit(address)
    if parts.scheme not in ("http", "https") or not parts.netloc or len(address) > _LONGEST_ADDRESS:
        raise RecordError(f"{address!r} is no address; write it as the phone's browser needs it, http://name:8640")
    return address


def _one_of(what, known, text):
    word = str(text).strip().lower()
    if word not in known:
        raise RecordError(f"the {what} is {text!r}; one of {', '.join(known)} is needed")
    return word


_PAPERS = ("a4", "letter")
# by the names under which books keep them
SHOP_SETTINGS = {
    "shop": ShopSetting(
        "Name of the shop", "Stands on cards, notes and reports.", "Gannet & Sons", _checked_name, default=""
    ),
    "card_lab": ShopSetting(
        "The grey card's own Lab",
        "As an instrument read it (D65, 2°); photos of all commands and pages are read by it. 49.5, 0, 0 until set.",
        "48.9, 0.1, -0.4",
        partial(check_lab, "the card"),
    ),
    # 2.0: what most customers take as the same shade side by side; common practice, no source
    "tolerance_de00": ShopSetting(
        "Usual tolerance, ΔE00",
        "Holds where an order names none. Below 1 is not seen, up to 3 is seen side by side, up to 10 at a glance.",
        "1.5",
        check_tolerance,
        default=2.0,
    ),
    "photos": ShopSetting(
        "Place of the photos",
        "Folder or URL that every station reaches, for a book on a server; other books keep photos beside their file.",
        "s3://shop/photos",
        _checked_photos,
    ),
    "paper": ShopSetting(
        "Paper",
        "Sheets, pages and labels are made for it.",
        "letter",
        partial(_one_of, "paper", _PAPERS),
        default="a4",
        choices=_PAPERS,
    ),
    "other_units": ShopSetting(
        "°F, mil and gallons too",
        "Beside our units on the pages.",
        "yes",
        partial(_one_of, "word", ("no", "yes")),
        default="no",
        choices=("no", "yes"),
    ),
    "time_zone": ShopSetting(
        "Time zone",
        "All times are shown and typed in it. The clock of this machine until set; for one that stands elsewhere.",
        "Europe/Vienna",
        zone_named,
    ),
    "address": ShopSetting(
        "Address at which phones open this book",
        "Printed codes lead there.",
        "http://bench.local:8640",
        _checked_address,
        default="",
    ),
}


# the setting that marks a book as the demo, whose photos are rendered
DEMO_MARK = "demo"


def check_setting(name: str, given: object) -> object:
    """Return what a book keeps for one of `SHOP_SETTINGS`: None where nothing is given, so that the default holds."""
    is_nothing = given is None or (isinstance(given, str) and not given.strip())
    return None if is_nothing else SHOP_SETTINGS[name].check(given)


@dataclass(frozen=True)
class Flaw:
    """One place on a part that differs from the rest of it."""

    kind: str  # spot, streak, pale_zone, gradient, pit or two_tone
    box: tuple[float, ...]  # x0, y0, x1, y1 in pixels of the upright photo
    outline: tuple  # tuple of (x, y): polygon in pixels of the upright photo
    delta_e00: float  # difference to the sound surface beside it
    area_fraction: float  # share of the part's area, 0..1


@dataclass(frozen=True)
class Reading(Drawn):
    """One measured colour with its evidence."""

    lab: Lab  # colour of the dyed film, D65, 2-degree observer
    lab_sd: tuple[float, ...]  # spread over the part per L*, a*, b*
    lab_u: tuple[float, ...]  # standard uncertainty per L*, a*, b*
    outline: tuple = ()  # tuple of (x, y): the part, in pixels of the upright photo
    box: tuple[float, ...] = ()  # x0, y0, x1, y1 of the outline
    uniformity: float = math.nan  # robust CIEDE2000 spread over the part once shading is removed; nan when unknown
    area_mm2: float = math.nan  # nan without a scale in the photo
    flags: tuple[str, ...] = ()  # doubts, names in `dyebook.flags.FLAGS`
    flaws: tuple[Flaw, ...] = ()
    lab_sci: Lab | None = None  # specular included: with what the clear surface reflects; None where not worked out
    # what the error is made of: covariances (3 × 3, L*, a*, b*) named camera, shape, photo, own, whose sum has the
    # squares of `lab_u` on its diagonal; empty where only the total is known
    lab_cov_parts: dict = field(default_factory=dict, hash=False)
    # ``name``, as the maker calls the set-up, or None, and ``key``, by which it is known again
    setup: dict = field(default_factory=lambda: {"name": None, "key": None}, hash=False)
    # photo_sha256, shape_key, finish: by which other readings share these parts: the photo's file, the form of the
    # outline, the surface as told
    photo_sha256: str | None = None
    shape_key: str | None = None
    finish: str | None = None

    def to_dict(self):
        """Return the reading as plain lists and numbers, the `parts` entry of the measure contract."""
        return {
            "outline": [_rounded(point) for point in self.outline],
            "box": _rounded(self.box),
            "lab": _rounded(self.lab, 3),
            "lab_sci": None if self.lab_sci is None else _rounded(self.lab_sci, 3),
            "lab_sd": _rounded(self.lab_sd, 3),
            "lab_u": _rounded(self.lab_u, 3),
            "lab_cov_parts": {name: [_rounded(row, 5) for row in cov] for name, cov in self.lab_cov_parts.items()},
            "lab_u_parts": {
                name: [round(math.sqrt(cov[axis][axis]), 3) for axis in range(3)]
                for name, cov in self.lab_cov_parts.items()
            },
            "setup": dict(self.setup),
            "photo_sha256": self.photo_sha256,
            "shape_key": self.shape_key,
            "finish": self.finish,
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
    """All that was read from one photo: its card, its parts, and the doubts."""

    photo: str  # name of the photo as given
    size: tuple[int, ...]  # width and height of the upright photo
    card_kind: str  # grey, chart, mat or none
    card_quad: tuple | None  # tuple of (x, y) or None: corners of the card's grey area in the upright photo
    card_lab: Lab  # the card's own colour
    parts: tuple[Reading, ...] = ()  # left to right, or in the order of the polygons given
    # flags, warnings: doubts by name, and notes in words
    flags: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    # the `ReadOptions` it was read with, as plain values: `camera` is a name, `flat` the SHA-256 of its file
    options: dict = field(default_factory=dict)
    # what would lower the largest ± most: ``step``, a name of `dyebook.report.photo.STEPS`, and ± ``now`` and ``then``
    next_step: dict | None = None

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
            "options": self.options,
            "next_step": self.next_step,
        }


@dataclass(frozen=True)
class ReadOptions:
    """How a photo is read: all that `dyebook.measure` goes by beside the photo itself; hashable."""

    # tuple of four (x, y), optional: corners of the card's grey area in pixels of the upright photo; card or chart is
    # found by itself without it
    card_at: tuple | None = None
    # tuple of 3 floats, optional: the card's own Lab (D65, 2 degrees); 49.5, 0, 0 without it
    card_lab: tuple | None = None
    # tuple of polygons, optional: outlines of the parts, each of (x, y); no others are searched
    part_at: tuple | None = None
    camera: object = None  # str or dyebook.photo.camera.profile.CameraProfile, optional: a learned camera, or its name
    flat: object = None  # path or bytes, optional: photo of plain paper in the same light and frame
    no_card: bool = False  # go on without a card; the colours are then a guess, and flagged
    # length of the photo mat's ruler line by calipers; 100 if the printer kept to scale
    mat_line_mm: float | None = None
    flaws: bool = True  # look for spots, streaks and other flaws too; a little quicker without
    # the part is a stepped coupon of so many bands, 2 to 20; they become the parts, from the longest dwell on
    steps: int | None = None
    setup: str | None = None  # what the maker calls the set-up; it is recognised by itself without
    finish: str | None = None  # surface of the parts before anodising
    # tuple of (x, y), optional: outline of the bare twin, an undyed anodised piece of the parts' shape and finish
    twin_at: tuple | None = None
    twin_lab: tuple | None = None  # tuple of 3 floats, optional: the twin's own Lab, specular component excluded

    def __post_init__(self):
        for name in ("card_at", "card_lab", "part_at", "twin_at", "twin_lab"):
            object.__setattr__(self, name, _as_tuples(getattr(self, name)))
        for name in ("setup", "finish"):
            object.__setattr__(self, name, (getattr(self, name) or "").strip() or None)

    def to_dict(self, camera: str | None, flat: str | None) -> dict:
        """Return plain values for JSON, with the name of the camera and the SHA-256 of the plain paper's photo."""
        return {**vars(self), "camera": camera, "flat": flat}


def _as_tuples(value):
    """Nested sequences or an array of numbers as tuples, all the way down."""
    value = value.tolist() if hasattr(value, "tolist") else value
    return tuple(map(_as_tuples, value)) if isinstance(value, list | tuple) else value


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
    dye_lot: str | None = None
    seal_stain: float = math.nan
    jig_place: str | None = None
    contact_marks: str | None = None
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
