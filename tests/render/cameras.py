"""Cameras: what a sensor sees of a spectrum, and the 3x3 its maker gave it."""

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from dyebook.demo.spectra import WAVELENGTH_NM, _resampled, illuminant, standard_observer, training_reflectances
from dyebook.lab import WHITE_D65, lab_to_linear_rgb

__all__ = ["Camera", "camera_matrix", "default_camera", "ideal_camera", "load_cameras", "random_camera", "sensor_rgb"]

_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])


@dataclass(frozen=True, eq=False)
class Camera:
    """A sensor: sensitivities (81, 3) on the grid of `spectra`, filter and lens included."""

    name: str
    sensitivities: np.ndarray


@cache
def ideal_camera():
    """Return a camera that sees as the CIE 1931 observer does; its colours are exact under D65."""
    return Camera("ideal", standard_observer())


@cache
def default_camera():
    """Return the measured camera that colour-science ships."""
    return Camera("measured reflex", _resampled("MSDS_CAMERA_SENSITIVITIES", "Nikon 5100 (NPL)"))


def random_camera(seed):
    """Return an invented sensor: three skewed bands with leaks, cut by an infrared filter.

    Parameters
    ----------
    seed : int

    Returns
    -------
    Camera
    """
    rng = np.random.default_rng(seed)
    peaks = np.array([602, 535, 460]) + rng.normal(0, 6, 3)
    left = np.array([32, 40, 30]) * rng.uniform(0.85, 1.15, 3)
    right = np.array([42, 38, 32]) * rng.uniform(0.85, 1.15, 3)
    nm = WAVELENGTH_NM[:, None]
    width = np.where(nm < peaks, left, right)
    bands = np.exp(-0.5 * np.abs((nm - peaks) / width) ** rng.uniform(1.8, 2.4))
    leaks = rng.uniform(0.02, 0.09, (3, 3))
    np.fill_diagonal(leaks, 1.0)
    cut = 1 / (1 + np.exp((WAVELENGTH_NM - rng.uniform(655, 690)) / 8)) / (1 + np.exp(-(WAVELENGTH_NM - 412) / 6))
    return Camera(f"invented {seed}", bands @ leaks.T * cut[:, None])


def load_cameras(folder):
    """Return the cameras of a folder of CSV files with the columns ``wavelength_nm,R,G,B``, by file name.

    Parameters
    ----------
    folder : path
        Files without these columns are passed over.

    Returns
    -------
    dict of str to Camera

    Raises
    ------
    FileNotFoundError
        If no file in the folder has them.
    """
    cameras = {}
    for path in sorted(Path(folder).glob("*.csv")):
        with path.open(encoding="utf-8") as lines:
            if next(lines, "").strip() != "wavelength_nm,R,G,B":
                continue
            table = np.loadtxt(lines, delimiter=",", ndmin=2)
        columns = [np.interp(WAVELENGTH_NM, table[:, 0], c, left=0, right=0) for c in table[:, 1:4].T]
        cameras[path.stem] = Camera(path.stem, np.stack(columns, axis=-1))
    if not cameras:
        raise FileNotFoundError(f"no file wavelength_nm,R,G,B in {folder}")
    return cameras


def sensor_rgb(camera, light, reflectance):
    """Return sensor values of reflectances (..., 81) under a light (81,), 1 for perfect white in each channel."""
    weights = camera.sensitivities * light[:, None]
    return np.asarray(reflectance) @ (weights / weights.sum(axis=0))


def raw_white(camera, light):
    """Return what the sensor gives for perfect white before any balance, the strongest channel 1; shape (3,)."""
    white = (camera.sensitivities * light[:, None]).sum(axis=0)
    return white / white.max()


def _adapted_rgb(light, reflectances):
    """Linear Rec. 709 of reflectances seen under a light and adapted (Bradford) to D65."""
    weights = standard_observer() * light[:, None]
    weights = weights / weights[:, 1].sum()
    white = weights.sum(axis=0)
    adapt = np.linalg.inv(_BRADFORD) @ np.diag((_BRADFORD @ WHITE_D65) / (_BRADFORD @ white)) @ _BRADFORD
    return _xyz_to_rgb(reflectances @ weights @ adapt.T)


@cache
def _rgb_columns():
    """The matrix XYZ to linear Rec. 709, read off the house's own conversion."""
    from dyebook.lab import lab_to_xyz

    lab = np.array([[60.0, 0, 0], [60, 30, 0], [60, 0, 30]])
    return np.linalg.solve(lab_to_xyz(lab), lab_to_linear_rgb(lab))


def _xyz_to_rgb(xyz):
    return xyz @ _rgb_columns()


def _fit_matrix(camera, light):
    """Least-squares 3x3 from balanced sensor values to linear Rec. 709; rows sum to 1, so grey stays grey."""
    colours = training_reflectances()
    seen, wanted = sensor_rgb(camera, light, colours), _adapted_rgb(light, colours)
    # weights near a cube root's slope, so that dark colours count as they look
    weight = 1 / np.maximum(wanted.mean(axis=1, keepdims=True), 0.03) ** (2 / 3)
    rows = []
    for channel in range(3):
        others = [c for c in range(3) if c != channel]
        design = (seen[:, others] - seen[:, [channel]]) * weight
        goal = (wanted[:, channel] - seen[:, channel]) * weight[:, 0]
        part, *_ = np.linalg.lstsq(design, goal, rcond=None)
        row = np.zeros(3)
        row[others], row[channel] = part, 1 - part.sum()
        rows.append(row)
    return np.array(rows)


@cache
def _standard_matrix(camera, name):
    return _fit_matrix(camera, illuminant(name))


def camera_matrix(camera, warmth):
    """Return the maker's 3x3 from balanced sensor values to linear Rec. 709.

    Parameters
    ----------
    camera : Camera
    warmth : float
        0 uses the matrix fitted under D65, 1 that under illuminant A, between them a mix.

    Returns
    -------
    ndarray, shape (3, 3)
    """
    return (1 - warmth) * _standard_matrix(camera, "D65") + warmth * _standard_matrix(camera, "A")
