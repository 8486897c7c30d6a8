"""How the bath's dips just before one came out: a bath that fades or is foul shows it in more than one batch."""

import numpy as np

from dyebook.advice.causes import STATES
from dyebook.advice.expectation import compare_with_expectation, lies_beside
from dyebook.advice.seen import Seen, sure

__all__ = ["LAST_DIPS", "dips_before"]

LAST_DIPS = 4
_LEAST_DIPS = 2
# of log strength: one reading whose doubt nobody noted, what dips scatter beyond that, and what the bath's model gets
# wrong for all of them alike
_READING_U, _SCATTER, _SHARED = 0.1, 0.05, 0.06
# how far a bath weakens before somebody sees it, or is made too strong; common practice, no source
_WEAKER, _STRONGER = (-0.8, -0.08), (0.08, 0.8)
_FOUL = 0.4
_WORDS = {"as usual": "as they should", "weaker": "as from a weaker bath", "stronger": "as from a stronger bath"}


def dips_before(model, dips):
    """Return evidence of the bath's last dips, or None where there are too few.

    Parameters
    ----------
    model : BathModel
        Learned from dips of the bath while it was as made up.
    dips : DataFrame
        The bath's dips before the one in question, oldest first, with L, a, b; the last few are looked at.

    Returns
    -------
    Seen or None
    """
    last = dips.tail(LAST_DIPS)
    if len(last) < _LEAST_DIPS:
        return None
    history = compare_with_expectation(model, last)
    count = f"the {len(last)} dips before it came out"
    if _foul_share(history) > _FOUL:
        return sure("before", "off too", f"{count} off too, beside all that this dye's strength can do")
    chances = _strength_chances(history, _repeats(model))
    if chances is None:
        return None
    likeliest = STATES["before"][int(np.argmax(chances))]
    return Seen("before", tuple(chances), f"{count} {_WORDS[likeliest]}")


def _foul_share(history):
    """Share of dips beside the bath's colours; dirt comes in between two dips, so the latest counts most."""
    return float(np.average(lies_beside(history), weights=np.arange(1, len(history) + 1)))


def _repeats(model):
    """How much better (or worse) than their stated doubt the bath's readings repeat, as the fit has found."""
    parts = [(part.hyper.reading_scale, len(part.departures)) for part in model.draws]
    scales, weights = zip(*parts, strict=True)
    return float(np.average(scales, weights=weights))


def _strength_chances(history, repeats):
    """How likely the dips' strengths are under each state; None where they tell nothing of strength."""
    from scipy.stats import norm

    values = history["log_strength"].to_numpy(float)
    u = history["log_strength_u"].to_numpy(float) if "log_strength_u" in history else np.full(len(values), np.nan)
    known = np.isfinite(values)
    if not known.any():
        return None
    variance = np.where(np.isfinite(u), repeats * u, _READING_U)[known] ** 2 + _SCATTER**2
    middle = np.clip(np.average(values[known], weights=1 / variance), _WEAKER[0], _STRONGER[1])
    sd = np.sqrt(1 / np.sum(1 / variance) + _SHARED**2)
    spans = [(high - low, norm.cdf(high, middle, sd) - norm.cdf(low, middle, sd)) for low, high in (_WEAKER, _STRONGER)]
    weaker, stronger = (share / width for width, share in spans)
    chances = np.array([norm.pdf(middle, 0, sd), weaker, stronger, 0.0])
    return chances / chances.max()
