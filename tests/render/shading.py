"""How bench light falls on a surface and is mirrored in it: scalar fields from normals, in units of lit white."""

from dataclasses import dataclass

import numpy as np

from dyebook.demo.spectra import FILM_INDEX

__all__ = ["Finish", "Lamp", "Surroundings", "film_factor", "film_path", "irradiance", "mirror"]

CAMERA_RAD = 0.25  # half the angle that camera, hands and head take up above the bench


@dataclass(frozen=True)
class Lamp:
    """A lamp or window: where it stands, its share of the light on the bench, its angular size."""

    azimuth_deg: float = 120.0
    tilt_deg: float = 40.0  # from the zenith
    share: float = 0.7
    size_rad: float = 0.2
    length_rad: float = 0.0  # how far a tube or window stretches sideways beyond that
    lie_deg: float = 0.0  # which way it stretches

    @property
    def direction(self):
        """Unit vector from the bench to the lamp; x right, y down the picture, z to the camera."""
        azimuth, tilt = np.radians((self.azimuth_deg, self.tilt_deg))
        return np.array([np.sin(tilt) * np.cos(azimuth), np.sin(tilt) * np.sin(azimuth), np.cos(tilt)])

    @property
    def sideways(self):
        """Unit vector along which the lamp stretches, square to its direction."""
        towards, lie = self.direction, np.radians(self.lie_deg)
        across = np.cross(towards, (0.0, 0.0, 1.0)) if towards[2] < 0.999 else np.array([1.0, 0.0, 0.0])
        across = across / np.linalg.norm(across)
        return np.cos(lie) * across + np.sin(lie) * np.cross(towards, across)


@dataclass(frozen=True)
class Surroundings:
    """All that a part sees: lamps, the room's even light for the rest, the dark camera above, the dim horizon."""

    lamps: tuple[Lamp, ...] = (Lamp(),)
    walls: float = 0.5  # brightness near the horizon against the zenith
    camera_dark: float = 0.35  # brightness of camera and hand, straight above, against the room
    lean: float = 0.0  # how much brighter one side of the room is, 0..1
    lean_deg: float = 0.0

    @property
    def room(self):
        """Share of the light that comes from the room."""
        return 1 - sum(lamp.share for lamp in self.lamps)


@dataclass(frozen=True)
class Finish:
    """How a surface throws light back."""

    metallic: float = 0.45  # share of the body colour that follows the mirror direction
    lobe_rad: float = 0.35  # roughness of the metal under the film
    gloss: float = 0.056  # reflectance of the first surface, straight on
    gloss_rad: float = 0.06  # its roughness
    brush: float = 0.0  # tilt of brushed grooves, rad
    grain: float = 0.0  # speckle of the body colour


def irradiance(normal, around):
    """Return the light on a surface, 1 for one that lies flat on the bench.

    Parameters
    ----------
    normal : ndarray, shape (..., 3)
        Unit normals, z to the camera.
    around : Surroundings

    Returns
    -------
    ndarray, shape (...)
    """
    z = normal[..., 2]
    light = around.room * (0.5 + 0.5 * z)
    for lamp in around.lamps:
        towards = lamp.direction
        light = light + lamp.share * np.maximum(normal @ towards.astype(normal.dtype), 0) / towards[2]
    return light


def mirror(normal, around, rough_rad):
    """Return what a mirror of some roughness shows of the surroundings.

    Parameters
    ----------
    normal : ndarray, shape (..., 3)
    around : Surroundings
    rough_rad : float
        Standard deviation of the slopes of the surface.

    Returns
    -------
    sky : ndarray, shape (...)
        Light from lamps and room, 1 = lit white.
    ground : ndarray, shape (...)
        Share, 0..1, of the mirrored bench, whose own colour the caller adds.
    """
    z = normal[..., 2]
    up = 2 * z * z - 1  # height of the mirrored direction
    blur = 0.12 + 1.5 * rough_rad
    ground = np.clip(0.5 - up / (2 * blur), 0, 1)
    ground = ground * ground * (3 - 2 * ground)
    height = np.clip(up, 0, 1)
    sky = around.room * (around.walls + (1 - around.walls) * height)
    if around.lean:
        side = np.radians(around.lean_deg)
        sky = sky * (1 + around.lean * 2 * z * (normal[..., 0] * np.cos(side) + normal[..., 1] * np.sin(side)))
    blot = CAMERA_RAD**2 + 4 * rough_rad**2
    sky = sky * (1 - (1 - around.camera_dark) * (CAMERA_RAD**2 / blot) * np.exp((up - 1) / blot))
    for lamp in around.lamps:
        towards = lamp.direction
        along = 2 * z * (normal @ towards.astype(normal.dtype)) - towards[2]
        size = lamp.size_rad**2 + 4 * rough_rad**2
        sky = sky + _lamp_image(normal, lamp, along, size)
    return sky * (1 - ground), ground


def _lamp_image(normal, lamp, along, size):
    """Brightness of a lamp's blurred image: `along` is the cosine off its middle, `size` its variance."""
    z = normal[..., 2]
    peak = lamp.share / (2 * lamp.direction[2])
    if not lamp.length_rad:
        return peak / size * np.exp((along - 1) / size)
    sideways = lamp.sideways.astype(normal.dtype)
    aside = 2 * z * (normal @ sideways) - sideways[2]
    long = size + lamp.length_rad**2
    off = (along - 1) / size + 0.5 * aside**2 * (1 / size - 1 / long)
    return peak / np.sqrt(size * long) * np.exp(np.minimum(off, 0))


def film_path(normal, around):
    """Return the length of the double pass through a film, 1 for a flat piece; shape (...)."""
    towards = around.lamps[0].direction

    def depth(cosine):
        return 1 / np.sqrt(1 - (1 - np.clip(cosine, 0, 1) ** 2) / FILM_INDEX**2)

    to_lamp = normal @ towards.astype(normal.dtype)
    return 1 + 0.5 * (depth(normal[..., 2]) - 1) + 0.5 * (depth(to_lamp) - depth(towards[2]))


def film_factor(normal, around, finish, ground_level):
    """Return the brightness of the body colour, 1 for a flat piece of the same film beside the card; shape (...).

    Parameters
    ----------
    normal : ndarray, shape (..., 3)
    around : Surroundings
    finish : Finish
    ground_level : float
        Brightness of the bench against white, seen in steep flanks.

    Returns
    -------
    ndarray, shape (...)
    """
    matt = irradiance(normal, around)
    if not finish.metallic:
        return matt
    flat = np.array([0, 0, 1.0], dtype=normal.dtype)
    lobe, flat_lobe = (
        sky + 0.7 * ground_level * ground
        for sky, ground in (mirror(n, around, finish.lobe_rad) for n in (normal, flat))
    )
    ratio = lobe / flat_lobe
    ratio = np.where(ratio > 1, 1 + 1.6 * np.tanh((ratio - 1) / 1.6), ratio)  # a rough lobe never blazes
    return (1 - finish.metallic) * matt + finish.metallic * ratio
