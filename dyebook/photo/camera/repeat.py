"""How well the shop repeats a reading: one coupon, photographed again and again."""

import math
from dataclasses import dataclass

import numpy as np

from dyebook.errors import PhotoError
from dyebook.lab import delta_e_00, delta_e_76

__all__ = ["Repeatability", "gauge_share", "repeatability"]

_FEWEST = 3
# below this many a standard deviation is a rough guess: 95 % of them lie within a factor of 1.6 of the truth
_FEW = 10
_CLASSES = 1.41  # distinct classes per ratio of standard deviations: the root of two, as gauge studies write it


@dataclass(frozen=True)
class Repeatability:
    """Spread of repeated readings of one piece."""

    count: int  # readings
    lab: tuple[float, float, float]  # their mean
    sd: tuple[float, float, float]  # standard deviation of one reading per L*, a*, b* (n − 1)
    # mcdm, mcdm_00: mean colour difference from the mean, by CIELAB distance and by CIEDE2000
    mcdm: float
    mcdm_00: float
    # grr_percent, ndc: gauge share of the total spread per axis, and number of classes it separates; nan without a
    # spread of batches
    grr_percent: tuple[float, float, float] = (math.nan,) * 3
    ndc: tuple[float, float, float] = (math.nan,) * 3
    flags: tuple[str, ...] = ()


def repeatability(readings, batch_sd=None) -> Repeatability:
    """Return how well readings of one unchanged piece agree.

    `readings` (n, 3): L*, a*, b*, n at least 3; ten or more are better. `batch_sd` (sequence of 3 floats, optional):
    standard deviation of the shop's batches per L*, a*, b*, for the gauge share.

    Notes
    -----
    MCDM = mean of ΔE(mean, reading), the measure of repeatability of ASTM E2214. For noise of the same σ on each
    axis it is 2 sqrt(2 / π) σ = 1.596 σ when readings are many.
    """
    readings = np.asarray(readings, dtype=float).reshape(-1, 3)
    if len(readings) < _FEWEST:
        raise PhotoError(f"{len(readings)} readings of the coupon; at least {_FEWEST} are needed, {_FEW} are better")
    mean = readings.mean(axis=0)
    sd = readings.std(axis=0, ddof=1)
    share, classes = ((math.nan,) * 3, (math.nan,) * 3) if batch_sd is None else gauge_share(sd, batch_sd)
    return Repeatability(
        count=len(readings),
        lab=tuple(map(float, mean)),
        sd=tuple(map(float, sd)),
        mcdm=float(delta_e_76(mean, readings).mean()),
        mcdm_00=float(delta_e_00(mean, readings).mean()),
        grr_percent=tuple(map(float, share)),
        ndc=tuple(map(float, classes)),
        flags=("few_readings",) if len(readings) < _FEW else (),
    )


def gauge_share(repeat_sd, batch_sd):
    """Return the gauge's share of the total spread in percent, and the number of distinct classes.

    Both have shape (3,). `repeat_sd`, `batch_sd` (3,): standard deviations of repeated readings, and of the pieces
    themselves.

    Notes
    -----
    %GRR = 100 GRR / TV with TV² = GRR² + PV²; ndc = 1.41 PV / GRR. Below 10 % is good, 10 to 30 % marginal, above
    not fit; five classes or more are wanted (common gauge-study practice). One operator and one set-up: what is
    here called GRR is the repeatability alone.
    """
    gauge, pieces = np.asarray(repeat_sd, dtype=float), np.asarray(batch_sd, dtype=float)
    if np.any(pieces <= 0):
        raise ValueError(f"batch_sd is {pieces.tolist()}; each must be above 0")
    with np.errstate(divide="ignore"):
        return 100 * gauge / np.hypot(gauge, pieces), _CLASSES * pieces / gauge
