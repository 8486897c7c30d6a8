"""How bench light falls on a surface and is mirrored in it: scalar fields from normals, in units of lit white."""

from dataclasses import dataclass

import numpy as np

from dyebook.demo.spectra import FILM_INDEX

__all__ = ["Finish", "Lamp", "Surroundings", "film_factor", "film_path", "irradiance", "mirror"]


@dataclass(frozen=True)
class Lamp:
    """A lamp or window: where it stands, its share of the light on the bench, its angular size."""

    azimuth_deg: float = 120.0
    tilt_deg: float = 40.0  # from the zenith
    share: float = 0.7
    size_rad: float = 0.2

    @property
    def direction(self):
        """Unit vector from the bench to the lamp; x right, y down the picture, z to the camera."""
        azimuth, tilt = np.radians((self.azimuth_deg, self.tilt_deg))
        return np.array([np.sin(tilt) * np.cos(azimuth), np.sin(tilt) * np.sin(azimuth), np.cos(tilt)])


@dataclass(frozen=True)
class Surroundings:
    """All that a part sees: lamps, the room's even light for the rest, the dark camera above, the dim horizon."""

    lamps: tuple[Lamp, ...] = (Lamp(),)
    walls: float = 0.5  # brightness near the horizon against the zenith
    camera_dark: float = 0.35  # brightness of camera and hand, straight above, against the room

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
    blot = 0.18**2 + 4 * rough_rad**2
    sky = sky * (1 - (1 - around.camera_dark) * (0.18**2 / blot) * np.exp((up - 1) / blot))
    for lamp in around.lamps:
        towards = lamp.direction
        along = 2 * z * (normal @ towards.astype(normal.dtype)) - towards[2]
        size = lamp.size_rad**2 + 4 * rough_rad**2
        sky = sky + lamp.share / (2 * size * towards[2]) * np.exp((along - 1) / size)
    return sky * (1 - ground), ground


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
