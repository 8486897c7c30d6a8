"""What a dye bath loses: to films, by what they hold; to drops; and on its own. Learned from the shop's own checks.

A load is how much dye a dip puts into a film, on any scale that is proportional to it; what one unit of it weighs per
area is the link that strength checks teach.
"""

import math
from dataclasses import dataclass

import numpy as np

__all__ = ["LossCheck", "LossRate", "UptakeLink", "learn_loss", "mg_per_dm2_of_absorbance"]

# 350 g/mol and 20 000 L/(mol·cm) at the peak: textbook order of size of dyes, a factor two either way
_MOLAR_MASS_G_PER_MOL = 350.0
_EXTINCTION_L_PER_MOL_CM = 2.0e4
_CM2_PER_DM2 = 100.0
# a warm bath kept for months may lose some of its colour by itself, most do not; judgement, no source
_AGEING_SHARE = 0.2
_AGEING_SD_PER_DAY = 0.002
_AGEING_MOST_PER_DAY = 0.02
_GRID = 121
_WIDE = 4.0


def mg_per_dm2_of_absorbance(absorbance):
    """Return the dye per area, mg/dm², that absorbs so much at its peak in one pass (decadic).

    Notes
    -----
    Beer-Lambert: amount per area = A / ε, with ε = 20 000 L/(mol·cm) and 350 g/mol, 1.75 mg/dm² for A = 1. Azo and
    anthraquinone dyes lie within a factor two or so.
    """
    mol_per_cm2 = np.asarray(absorbance, float) / (_EXTINCTION_L_PER_MOL_CM * 1000)
    return mol_per_cm2 * _CM2_PER_DM2 * _MOLAR_MASS_G_PER_MOL * 1000


@dataclass(frozen=True)
class UptakeLink:
    """What one unit of load weighs before any check: mg/dm², relative standard uncertainty, and where it is from."""

    mg_per_dm2: float
    sd_fraction: float
    source: str


@dataclass(frozen=True)
class LossCheck:
    """Two strengths of one filling, and what happened between them.

    Attributes
    ----------
    lost_g, lost_g_sd : float
        Dye gone from the first to the second, less what drops carried out.
    load_dm2 : float
        Sum of area times load of the dips between.
    gram_days : float
        Mean dye in the bath times days.
    """

    lost_g: float
    lost_g_sd: float
    load_dm2: float
    gram_days: float


@dataclass(frozen=True)
class LossRate:
    """What a unit of load takes, mg/dm², and what a bath loses a day on its own, with their covariance.

    Attributes
    ----------
    mg_per_dm2, per_day : float
    covariance : tuple of 3 floats
        Variance of `mg_per_dm2`, covariance, variance of `per_day`.
    checks : int
        How many checks taught it.
    basis : str
    """

    mg_per_dm2: float
    per_day: float
    covariance: tuple
    checks: int
    basis: str

    def lost_g(self, load_dm2, gram_days):
        """Return the dye lost, g, and its standard uncertainty."""
        grams = load_dm2 / 1000
        taken, shared, aged = self.covariance
        variance = grams**2 * taken + 2 * grams * gram_days * shared + gram_days**2 * aged
        return self.mg_per_dm2 * grams + self.per_day * gram_days, math.sqrt(max(variance, 0.0))


def learn_loss(link, checks=()):
    """Learn what a bath loses from checks of its strength.

    Parameters
    ----------
    link : UptakeLink
        What is believed beforehand.
    checks : sequence of LossCheck

    Returns
    -------
    LossRate
        Without checks, the link as it is, and nothing lost on its own.

    Notes
    -----
    Posterior on a grid: log-normal prior on the weight of a load; nothing lost on its own, or else a half-normal share
    a day; normal errors of the checks.
    """
    checks = [check for check in checks if check.load_dm2 > 0 or check.gram_days > 0]
    if not checks:
        variance = (link.mg_per_dm2 * link.sd_fraction) ** 2
        return LossRate(link.mg_per_dm2, 0.0, (variance, 0.0, 0.0), 0, link.source)
    spread = math.sqrt(math.log1p(link.sd_fraction**2))
    steps = np.linspace(-_WIDE, _WIDE, _GRID)
    weight = link.mg_per_dm2 * np.exp(spread * steps)[:, None]
    per_day = np.linspace(0, _AGEING_MOST_PER_DAY, 4 * _GRID)[None, :]
    log = -0.5 * steps[:, None] ** 2 + _log_prior_of_ageing(per_day)
    for check in checks:
        expected = weight * check.load_dm2 / 1000 + per_day * check.gram_days
        log = log - 0.5 * ((check.lost_g - expected) / check.lost_g_sd) ** 2
    share = np.exp(log - log.max())
    share /= share.sum()
    mean, daily = float((share * weight).sum()), float((share * per_day).sum())
    covariance = tuple(
        float((share * left * right).sum())
        for left, right in ((weight - mean, weight - mean), (weight - mean, per_day - daily), (per_day - daily,) * 2)
    )
    return LossRate(mean, daily, covariance, len(checks), _basis(link.source, len(checks), daily))


def _log_prior_of_ageing(per_day):
    """Log prior of each step of the grid: the first, 0, has the share of baths that do not age."""
    slab = np.exp(-0.5 * (per_day / _AGEING_SD_PER_DAY) ** 2)
    slab[..., 0] = 0
    prior = _AGEING_SHARE * slab / slab.sum()
    prior[..., 0] = 1 - _AGEING_SHARE
    return np.log(prior)


def _basis(source, count, per_day):
    alone = f"; on its own it loses {100 * per_day:.2g} % a day" if per_day > 1e-4 else ""
    return f"your {count} strength check{'s' if count > 1 else ''}, with {source} as the prior{alone}"
