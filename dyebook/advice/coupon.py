"""Which test dip teaches a bath most, and what to dip first with an unknown dye."""

from dataclasses import dataclass

import numpy as np

from dyebook.advice.suggest import Space, rounded_fields, suggest_settings
from dyebook.errors import ModelError
from dyebook.lab import Lab
from dyebook.model.inputs import LAB_SD, SETTINGS, Settings
from dyebook.model.predict import BathModel
from dyebook.notebook import Note

__all__ = ["Coupon", "plan_coupon", "starting_plan"]

_CANDIDATES = 256
# settings are met with some error, which blurs what a coupon says (log load)
_DIP_SD = 0.04
_STARTING_DWELLS_MIN = (1.5, 6.0, 6.0)
_STARTING_TEMPS_C = (40.0, 40.0, 55.0)


@dataclass(frozen=True)
class Coupon:
    """A test dip."""

    settings: dict
    lab: Lab | None  # colour to expect; None for an unknown dye
    # doubt_before, doubt_after: standard deviation of the colour at the target's dip, in CIELAB, now and once the
    # coupon is read; nan for a starting plan
    doubt_before: float
    doubt_after: float
    why: Note

    def to_dict(self):
        """Return plain values for JSON."""
        return rounded_fields(self)


def plan_coupon(model: BathModel, target, film_um=None, ph=None, bounds=None, fixed=None) -> Coupon:
    """Return the test dip that most reduces the doubt about the dip suggested for a target.

    `model`, `target`, `film_um`, `ph`, `bounds`, `fixed`: as for `dyebook.advice.suggest.suggest_settings`.

    Notes
    -----
    For colours t at the target's dip and c at the coupon, jointly normal over the posterior draws, the covariance of t
    once c is read with noise R is C_tt - C_tc (C_cc + R)^-1 C_ct.
    """
    from scipy.stats import qmc

    best = suggest_settings(model, target, film_um, ph, bounds, fixed, 1)[0]
    space = Space(model, film_um, ph, bounds or {}, fixed or {})
    if not space.free:
        raise ModelError("every setting is fixed; leave one free so that a coupon can differ")
    trial = space.settings(qmc.Sobol(len(space.free), scramble=False).random(_CANDIDATES))
    aim = Settings(**{name: np.array([value]) for name, value in best.settings.items()})
    before = model.colour_draws(aim)[:, 0]
    draws = model.colour_draws(trial)
    left = np.array([_left_after(before, draws[:, i]) for i in range(len(trial))])
    chosen = int(np.argmin(left))
    now = float(np.sqrt(np.trace(np.cov(before.T))))
    why = Note("shade.coupon", before=now, after=float(left[chosen]))
    settings = {name: float(getattr(trial, name)[chosen]) for name in SETTINGS}
    return Coupon(settings, Lab(*map(float, draws[:, chosen].mean(axis=0))), now, float(left[chosen]), why)


def _left_after(aim, coupon):
    """Standard deviation of `aim` draws (s, 3) once `coupon` draws (s, 3) have been read with ordinary noise."""
    joint = np.cov(np.hstack([aim, coupon]).T)
    step = _DIP_SD * np.linalg.norm(coupon.mean(axis=0) - [95, 0, 0])
    noise = np.diag(np.square(LAB_SD)) + np.eye(3) * step**2 / 3
    gain = joint[:3, 3:] @ np.linalg.solve(joint[3:, 3:] + noise, joint[3:, :3])
    return np.sqrt(max(np.trace(joint[:3, :3] - gain), 0.0))


def starting_plan(film_um: float, dye_g_per_l: float, bath_temp_c: float | None = None) -> list[Coupon]:
    """Return three coupons for a dye without a dip.

    A short and a long dip tell the curve of depth; the third tells how much warmth, or else strength, matters.

    Parameters
    ----------
    film_um
        The film the work will have.
    dye_g_per_l
        The strength the maker names, or that the bath has.
    bath_temp_c
        Where the bath is kept; 40 and 55 °C otherwise.
    """
    if not (film_um > 0 and dye_g_per_l > 0):
        raise ModelError(f"film is {film_um:g} µm and strength {dye_g_per_l:g} g/L; both must be above 0")
    temps = _STARTING_TEMPS_C if bath_temp_c is None else (bath_temp_c,) * 3
    strengths = (dye_g_per_l, dye_g_per_l, dye_g_per_l if bath_temp_c is None else dye_g_per_l / 2)
    reasons = ("first_short", "first_long", "first_warmer" if bath_temp_c is None else "first_weaker")
    columns = zip(temps, _STARTING_DWELLS_MIN, strengths, reasons, strict=True)
    return [
        Coupon(
            {"film_um": film_um, "dye_g_per_l": strength, "bath_temp_c": temp, "dwell_min": dwell},
            None, np.nan, np.nan, Note(f"shade.{reason}"),
        )
        for temp, dwell, strength, reason in columns
    ]  # fmt: skip
