"""A bath along its own depth: what longer and longer dips give, and where that comes nearest to a target."""

from dataclasses import dataclass

import numpy as np

from dyebook.advice.space import checked_target
from dyebook.errors import ModelError
from dyebook.lab import delta_e_00, describe_difference
from dyebook.model.inputs import SETTINGS, Settings

__all__ = ["DepthRun", "run_through_depth"]

_SHORTEST_MIN, _LONGEST_MIN = 0.25, 30.0
# settings other than the dwell that lie this near, in large ordinary changes, belong to the same curve
_ALIKE = 0.6


@dataclass(frozen=True)
class DepthRun:
    """Colours of dips that differ in nothing but their dwell, from pale to deep.

    Attributes
    ----------
    settings : dict
        What stays the same; its dwell_min is the one asked about.
    dwell_min : ndarray, shape (k,)
        Rising.
    lab : ndarray, shape (k, 3)
        Expected colours.
    lightness_low, lightness_high : ndarray, shape (k,)
        L* between which the colour lies eight times in ten.
    delta_e00 : ndarray, shape (k,)
        Expected CIEDE2000 to the target.
    nearest : int
        Where that is least.
    miss : str
        How the nearest differs from the target, in words.
    dip_dwell_min, dip_lightness : ndarray, shape (n,)
        The dips on record.
    dip_alike : ndarray of bool, shape (n,)
        Whether a dip's other settings are near to these.
    """

    settings: dict
    dwell_min: np.ndarray
    lab: np.ndarray
    lightness_low: np.ndarray
    lightness_high: np.ndarray
    delta_e00: np.ndarray
    nearest: int
    miss: str
    dip_dwell_min: np.ndarray
    dip_lightness: np.ndarray
    dip_alike: np.ndarray


def run_through_depth(model, settings, target, count=25):
    """Return a bath's colours along the dwell.

    Parameters
    ----------
    model : BathModel
    settings : dict
        film_um, dye_g_per_l, bath_temp_c, dwell_min, ph of one dip; all but the dwell stay.
    target : sequence of 3 floats
        L*, a*, b*.
    count : int
        How many dwells, evenly in their logarithm from a quarter of a minute to half an hour.

    Returns
    -------
    DepthRun

    Raises
    ------
    ModelError
        If a setting is missing or the target is no colour.
    """
    target = checked_target(target)
    if missing := [name for name in SETTINGS if name not in settings]:
        raise ModelError(f"a dip's {', '.join(missing)} is not given; all of {', '.join(SETTINGS)} are needed")
    dwell = np.geomspace(_SHORTEST_MIN, _LONGEST_MIN, count)
    same = {name: np.full(count, float(settings[name])) for name in SETTINGS}
    draws = model.colour_draws(Settings(**{**same, "dwell_min": dwell}))
    miss = delta_e_00(target, draws).mean(axis=0)
    nearest, lab = int(np.argmin(miss)), draws.mean(axis=0)
    low, high = np.quantile(draws[..., 0], (0.1, 0.9), axis=0)
    words = describe_difference(target, lab[nearest])
    seen = model.training
    dips = seen.settings.dwell_min, seen.lab[:, 0], _alike(seen.settings, settings)
    return DepthRun(dict(settings), dwell, lab, low, high, miss, nearest, words, *dips)


def _alike(seen, settings):
    """Whether dips on record (n,) were made at these settings but for the dwell."""
    here = Settings(**{name: np.array([float(settings[name])]) for name in SETTINGS}).scaled()
    apart = np.delete(seen.scaled() - here, SETTINGS.index("dwell_min"), axis=1)
    return np.linalg.norm(apart, axis=1) < _ALIKE
