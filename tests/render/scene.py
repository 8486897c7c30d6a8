"""What a photograph shows, as plain data; millimetres, z up, the bench at z = 0 and its middle at the picture's."""

import json
from dataclasses import dataclass, replace
from pathlib import Path

from dyebook.demo.year import Film
from dyebook.lab import Lab


def read_table(path):
    """Return a JSON file, lists as tuples."""
    frozen = lambda data: tuple(map(frozen, data)) if isinstance(data, list) else data  # noqa: E731
    named = lambda data: {key: frozen(value) for key, value in data.items()}  # noqa: E731
    return json.loads(path.read_text(encoding="utf-8"), object_hook=named)


TABLES = read_table(Path(__file__).with_name("tables.json"))
GROUND = Lab(55.0, 0.0, 0.0)


@dataclass(frozen=True)
class Paint:
    """Paint, paper, cloth, plastic or wood of a given Lab under D65, or of a reflectance on the grid of `spectra`."""

    lab: Lab | tuple
    veil = 0.0  # as of a Film


@dataclass(frozen=True)
class Finish:
    """How a surface scatters: roughness (GGX alpha) along and across, the even share, the clear surface upon it."""

    along: float = 0.25
    across: float = 0.25
    even: float = 0.15  # share of the light below the surface that leaves in all directions alike
    index: float = 1.55  # refractive index of the clear surface, 1 for none
    gloss: float = 0.08  # its roughness
    name: str = ""


FINISHES = {name: Finish(*values, name) for name, values in TABLES["finishes"].items()}


@dataclass(frozen=True)
class Shape:
    """A kind of `shapes.MAKERS` with its sizes in millimetres, (name, size) pairs."""

    kind: str
    sizes: tuple = ()


def shaped(kind, **sizes):
    return Shape(kind, tuple(sizes.items()))


@dataclass(frozen=True)
class Thing:
    """Anything on the bench; `role` is part, twin (undyed part), card, patch (of a chart) or clutter."""

    shape: Shape
    material: Film | Paint
    finish: Finish = FINISHES["paint"]
    x_mm: float = 0.0
    y_mm: float = 0.0
    z_mm: float = 0.0
    turn_deg: float = 0.0
    role: str = "clutter"
    pattern: str = ""  # of `patterns.PATTERNS`, shows `other` in places; "steps:3,2,2": lengths of bands
    other: Film | Paint | None = None
    wear: float = 0.0  # dust, scratches and fingerprints, 0 to 1
    pair: int = -1  # parts of nearly one shade share a number
    seed: int = 0

    def film_at(self, share):
        """The film between this thing's two, mixed in absorbance."""
        one, two = self.material, self.other or self.material
        absorbance = one.absorbance + share * (two.absorbance - one.absorbance)
        return replace(one, absorbance=absorbance, metal=one.metal + share * (two.metal - one.metal))


@dataclass(frozen=True)
class View:
    """A camera above the bench that looks at its middle."""

    width: int = 1200
    height: int = 900
    width_mm: float = 200.0  # what the picture's width covers
    tilt_deg: float = 8.0
    azimuth_deg: float = 90.0
    distance_mm: float = 420.0


@dataclass(frozen=True)
class Light:
    """Where light comes from: a kind of the tables, its spectrum, how bright the room is beside the lamps."""

    kind: str = "tent"  # or "even", the same from everywhere, for checks
    spectrum: str = "D65"
    room: float = 0.3  # share of the bench's light that the room gives back
    azimuth_deg: float = 40.0
    height_deg: float = 55.0
    size_mm: float = 120.0
    person: bool = True  # the photographer is mirrored


@dataclass(frozen=True)
class Ground:
    """The bench top: a ground of the tables, in one or two colours."""

    kind: str = "plain"
    lab: Lab = GROUND
    second: Lab = GROUND
    seed: int = 0


@dataclass(frozen=True)
class Develop:
    """From sensor values to the file."""

    exposure: float = 0.85  # what perfect white reaches where the card lies, 1 = the sensor's limit
    balance: tuple = (1.0, 1.0)  # errors of the red and blue gains
    contrast: float = 0.0  # S-curve: 0 plain sRGB, 0.35 a vivid phone
    lift: float = 0.0  # code of black
    saturation: float = 1.0
    full_well: float = 20000.0  # electrons at the limit; 0 for no noise
    read_noise: float = 4.0
    blur_px: float = 0.5
    sharpen: float = 0.0
    vignette: float = 0.0
    p3: bool = False
    quality: int = 90


@dataclass(frozen=True)
class SceneSpec:
    name: str = "scene"
    seed: int = 0
    kind: str = "parts"
    setup: str = ""
    view: View = View()
    light: Light = Light()
    ground: Ground = Ground()
    things: tuple[Thing, ...] = ()
    camera: str = "ideal"
    develop: Develop = Develop()

    @property
    def parts(self):
        return tuple(thing for thing in self.things if thing.role in ("part", "twin"))

    @property
    def card(self):
        return next((thing for thing in self.things if thing.role == "card"), None)
