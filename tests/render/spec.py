"""What a rendered photograph shows, as plain data; `render` turns it into pixels and exact truth."""

from dataclasses import dataclass, field

from dyebook.demo.spectra import Film, Metal, Paint
from dyebook.lab import Lab
from tests.render.cameras import Camera, default_camera
from tests.render.shading import Finish, Surroundings
from tests.render.view import View

__all__ = ["Body", "Card", "Development", "FallOff", "Flaw", "Ground", "SceneSpec"]

GREY = Lab(49.5, 0.0, 0.0)
PAPER = Lab(94.0, 0.0, 1.0)
FLAW_KINDS = ("spot", "streak", "pale_zone", "gradient", "pit", "two_tone")


@dataclass(frozen=True)
class Flaw:
    """A fault of the colour: where on the body's own frame, how large, and the material it shows."""

    kind: str  # one of FLAW_KINDS
    x_mm: float
    y_mm: float
    size_mm: float
    material: Film | Metal
    seed: int = 0


@dataclass(frozen=True)
class Body:
    """A thing on the bench. Parts have a Film and `is_part`; all else is clutter."""

    shape: object
    material: Film | Paint | Metal
    x_mm: float = 0.0
    y_mm: float = 0.0
    turn_deg: float = 0.0
    finish: Finish = field(default_factory=Finish)
    flaws: tuple[Flaw, ...] = ()
    is_part: bool = True
    ink: str = ""  # "ruler", "weave", "pencil" or "shaft": see `marks`
    opacity: float = 1.0
    pair: int = -1  # parts of nearly one shade share a number
    seed: int = 0


@dataclass(frozen=True)
class Card:
    """A plain grey card lying on the bench, sizes of its grey area."""

    lab: Lab = GREY
    width_mm: float = 60.0
    height_mm: float = 45.0
    x_mm: float = 0.0
    y_mm: float = 0.0
    turn_deg: float = 0.0
    border_mm: float = 0.0
    border_lab: Lab = PAPER
    marks: bool = False  # a line of small print and corner marks on the border
    sheen: float = 0.01  # light gradient across the card
    seed: int = 0


@dataclass(frozen=True)
class Ground:
    """The bench top: one of `grounds.KINDS` in one or two colours."""

    kind: str = "table"
    lab: Lab = GREY
    second: Lab = GREY
    turn_deg: float = 0.0
    seed: int = 0


@dataclass(frozen=True)
class FallOff:
    """How the light changes over the picture: a slope, a hot-spot of the lamp, the lens, a hand's shadow."""

    slope: float = 0.0  # relative change across the picture's width
    slope_azimuth_deg: float = 0.0
    hot: float = 0.0  # extra light in the middle of the hot-spot
    hot_at: tuple[float, float] = (0.5, 0.5)  # shares of width and height
    hot_size: float = 0.35  # share of the width
    vignette: float = 0.0  # loss in the corners
    hand: float = 0.0  # darkness of a hand's soft shadow in one corner
    hand_at: tuple[float, float] = (1.0, 1.0)


@dataclass(frozen=True)
class Development:
    """From sensor values to the file: exposure, balance, tone, noise, blur, sharpening, JPEG."""

    exposure: float = 0.9  # what perfect white reaches, 1 = the sensor's limit
    balance: tuple[float, float] = (1.0, 1.0)  # errors of the red and blue gains
    preset: str = ""  # balance for this light instead of the light that shines
    contrast: float = 0.0  # S-curve, 0 = plain sRGB, 0.35 = a vivid phone
    lift: float = 0.0  # code level of black
    saturation: float = 1.0
    full_well: float = 20000.0  # electrons at the limit; fewer are noisier; 0 = no noise
    read_noise: float = 4.0  # electrons
    blur_px: float = 0.5
    sharpen: float = 0.0
    quality: int = 92
    turn: int = 1  # EXIF orientation the file is written with: 1, 3, 6 or 8


@dataclass(frozen=True)
class SceneSpec:
    """A whole photograph."""

    seed: int = 0
    view: View = field(default_factory=View)
    ground: Ground = field(default_factory=Ground)
    around: Surroundings = field(default_factory=Surroundings)
    light: str = "daylight 5500"
    falloff: FallOff = field(default_factory=FallOff)
    card: Card | None = field(default_factory=Card)
    bodies: tuple[Body, ...] = ()
    camera: Camera = field(default_factory=default_camera)
    development: Development = field(default_factory=Development)

    @property
    def parts(self):
        """The dyed parts, in drawing order."""
        return tuple(body for body in self.bodies if body.is_part)
