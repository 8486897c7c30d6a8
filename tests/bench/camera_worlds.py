"""Simulated cameras in front of a chart: measured sensitivities, makers' matrices, odd tone curves, noise, fall-off."""

from dataclasses import dataclass

import numpy as np

from tests.render.scene import TABLES
from tests.render.spectra import NM, camera_matrix, camera_names, reflectance_lab, sensor_weights, training_reflectances

__all__ = ["World", "random_world", "shoot"]

_NAMED = [name for group in TABLES["lights"].values() for name in group]


@dataclass(frozen=True)
class World:
    """One camera in one light: claimed light of any reflectances, through `shoot`."""

    camera: str
    light: str
    matrix: np.ndarray
    gains: np.ndarray
    contrast: float
    shoulder: float
    flare: float
    linear: bool
    noise: float


def chart_reflectances():
    """Reflectances of the chart on the grid, shape (24, 81)."""
    return training_reflectances()[:24]


def random_world(seed):
    """Return a world drawn at random; cameras of the folder named by DYEBOOK_CAMERAS, invented ones without."""
    rng = np.random.default_rng(seed)
    cameras = camera_names()
    camera = cameras[rng.integers(len(cameras))]
    light = _NAMED[rng.integers(len(_NAMED))]
    raw = rng.random() < 0.2
    matrix = np.eye(3) if raw else camera_matrix(camera, rng.random())
    vivid = np.eye(3) + (0 if raw else rng.uniform(-0.05, 0.25)) * (np.eye(3) - 1 / 3)
    cast = np.exp(rng.normal(0, 0.5 if raw else 0.06, 3))
    return World(
        camera=camera,
        light=light,
        matrix=vivid @ matrix,
        gains=cast,
        contrast=1.0 if raw else rng.uniform(0.8, 1.4),
        shoulder=0.0 if raw else rng.uniform(0, 0.5),
        flare=max(rng.normal(0, 0.006), 0.0),
        linear=bool(raw and rng.random() < 0.6),
        noise=rng.uniform(0.002, 0.02),
    )


def shoot(world, reflectances, exposure, rng):
    """Return claimed light (n, 3) of reflectances, and which of them are clipped."""
    seen = (reflectances @ sensor_weights(world.camera, world.light, fine=True) + world.flare) @ world.matrix.T
    lit = exposure * np.maximum(seen, 0) * world.gains
    if not world.linear:
        # an S-curve about mid grey with a shoulder towards white
        lit = 0.18 * (lit / 0.18) ** world.contrast
        lit = lit * (1 + world.shoulder) / (1 + world.shoulder * lit)
    lit = lit * (1 + rng.normal(0, world.noise / 15, lit.shape)) + rng.normal(0, 0.0003, lit.shape)
    codes = np.clip(lit if world.linear else np.maximum(lit, 0) ** (1 / 2.2), 0, 1)
    codes = np.round(codes * 255) / 255
    claimed = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
    return claimed, (codes >= 0.996).any(axis=1)


def printed_chart(rng):
    """Reflectances of one printed chart and the table's Lab: a real chart is near its table, not on it."""
    spectra = chart_reflectances()
    tilt = 1 + rng.normal(0, 0.012, (24, 1)) + rng.normal(0, 0.012, (24, 1)) * np.linspace(-1, 1, len(NM))
    return spectra * tilt, reflectance_lab(spectra)
