"""Learning a bath from records and asking it for advice."""

from dataclasses import dataclass

from dyebook.advice.coupon import plan_coupon
from dyebook.advice.redip import advise_redip
from dyebook.advice.suggest import suggest_settings
from dyebook.model.predict import BathModel, learn_model

__all__ = ["LearnedBath", "learn_bath"]


@dataclass(frozen=True)
class LearnedBath(BathModel):
    """A learned bath that gives advice as well as predictions."""

    def suggest(self, target, film_um=None, ph=None, bounds=None, fixed=None, count=3):
        """Return settings that should give `target`: see `dyebook.advice.suggest.suggest_settings`."""
        return suggest_settings(self, target, film_um, ph, bounds, fixed, count)

    def redip(self, settings, reading, target, dry=None, sealed=None, **limit):
        """Return what to do with a part that is off: see `dyebook.advice.redip.advise_redip`."""
        return advise_redip(self, settings, reading, target, dry, sealed, **limit)

    def coupon(self, target, film_um=None, ph=None, bounds=None, fixed=None):
        """Return the test dip that teaches most about `target`: see `dyebook.advice.coupon.plan_coupon`."""
        return plan_coupon(self, target, film_um, ph, bounds, fixed)


def learn_bath(records, seed: int = 0) -> LearnedBath:
    """Return a bath learned from its dips.

    ModelError if the records cannot teach a bath; the message says what is needed.

    Parameters
    ----------
    records : pandas.DataFrame
        A row a dip: film_um, dye_g_per_l, bath_temp_c, dwell_min, ph (may be nan), L, a, b; optionally
        film_measured_um, film_sd_um and standard uncertainties named ``<column>_sd``.
    seed
        Of the draws; the same records and seed give the same answers.
    """
    return learn_model(records, seed, LearnedBath)
