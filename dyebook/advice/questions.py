"""What to ask or try next: questions and tests with how often each cause answers yes, picked by what they separate."""

from dataclasses import dataclass

import numpy as np

__all__ = ["MOST_QUESTIONS", "QUESTIONS", "Question", "chance_of_yes", "next_question", "next_test"]

MOST_QUESTIONS = 5
_NO = 0.08
_WORTH_BITS = 0.03


@dataclass(frozen=True)
class Question:
    """Something a person can look at (or, when `work` is true, do).

    Attributes
    ----------
    text : str
        A question with yes or no for an answer.
    yes : dict
        Cause -> how often the answer is yes; every other cause `_NO`.
    work : str
        What to do to find out; empty when looking is enough.
    instead_of : tuple of str
        Kinds of evidence that already answer it, or make it idle: see `dyebook.advice.evidence.kinds_of`. ``sound``
        stands for a part that is likely sound and better left alone.
    """

    text: str
    yes: dict
    work: str = ""
    instead_of: tuple = ()


_PALE_BATH = {"weak_bath": 0.9, "cold_bath": 0.9, "ph_off": 0.75, "contaminated_bath": 0.6, "wrong_dye": 0.7}
QUESTIONS = {
    "film_thin": Question(
        "Does the gauge read less film than planned?",
        {"thin_film": 0.93, "contact_loss": 0.85, "burn": 0.45, "uneven_run": 0.3, "alloy_mismatch": 0.4},
        "gauge the film at several places: too thin means the run, right means the dye or the seal", ("film",),
    ),
    "takes_more": Question(
        "Did a second dip of 2 minutes darken it?",
        {"weak_bath": 0.6, "cold_bath": 0.7, "short_dwell": 0.95, "ph_off": 0.5, "sound": 0.7, "thin_film": 0.25,
         "early_seal": 0.04, "contact_loss": 0.2, "surface_contamination": 0.4, "uneven_run": 0.6, "pitting": 0.6},
        "a second dip of 2 minutes, never dried, unsealed, the bath at its temperature and strength: no change means "
        "the film is full or its pores are closed",
        ("sealed", "sound"),
    ),
    "coupon_off": Question(
        "Does a check coupon of known film come out off too, in the same way?", _PALE_BATH | {"over_dyed": 0.3},
        "dip a check coupon of known film: if it is off too, it is the bath",
    ),
    "thermometer": Question(
        "Does a second thermometer, in the stirred bath, read lower than noted?", {"cold_bath": 0.93},
        "check the bath with a second thermometer, stirred, at the depth of the part",
        ("noted cold",),
    ),
    "ph_read": Question(
        "Does a freshly calibrated meter read another pH than noted?", {"ph_off": 0.93, "contaminated_bath": 0.25},
        "calibrate the meter and read the bath's pH again", ("ph",),
    ),
    "clock": Question("Can the dip have been shorter than noted?", {"short_dwell": 0.92}),
    "long_unused": Question(
        "Has the bath dyed much, or stood long, since it was last topped up?",
        {"weak_bath": 0.85, "contaminated_bath": 0.5, "ph_off": 0.4, "sound": 0.25, "cold_bath": 0.25,
         "short_dwell": 0.25, "thin_film": 0.25},
    ),
    "warm_rinse": Question("Was the rinse before the dye warm to the hand?", {"early_seal": 0.65}, "", ("rinse",)),
    "waited": Question(
        "Did the part stand in water, or lie dry, for more than a quarter of an hour before the dye?",
        {"early_seal": 0.5}, "", ("wait",),
    ),
    "loose": Question(
        "Is the mark of the clamp pale or loose, or did the part move in the run?",
        {"contact_loss": 0.88, "burn": 0.3},
    ),
    "rough": Question(
        "Do the marks feel rough or hollow under a fingernail?", {"pitting": 0.92, "burn": 0.75}, "", ("pit",),
    ),
    "bare_edges": Question(
        "Are there powdery or bare places ringed dark, at edges or near the clamp?", {"burn": 0.88},
    ),
    "wipes_white": Question(
        "Does a white or grey veil come off on a soft wet cloth?", {"seal_bloom": 0.9, "smut": 0.15},
    ),
    "wipes_colour": Question(
        "Does colour come off on a wet cloth, or is there a metallic sheen?", {"over_dyed": 0.85, "seal_bleed": 0.3},
    ),
    "seal_coloured": Question("Was the part paler after the seal than before, or the seal coloured?",
                              {"seal_bleed": 0.93, "seal_bloom": 0.3}),
    "at_holes": Question("Do the marks start at holes, threads or seams?", {"acid_bleed_out": 0.93, "gas_pocket": 0.3}),
    "prints": Question("Do the marks look like fingers, drops or smears with sharp edges?",
                       {"surface_contamination": 0.9, "smut": 0.2}),
    "hollow": Question("Is the pale place round or a crescent, on an underside or in a hollow?", {"gas_pocket": 0.92}),
    "level": Question("Is there one straight edge that was level in the bath?", {"level_line": 0.95}),
    "jig": Question("Does the shade change steadily along the part or across the jig?",
                    {"uneven_run": 0.9, "contact_loss": 0.2, "alloy_mismatch": 0.2}),
    "same_metal": Question("Can the metal be another alloy or temper than usual?",
                           {"alloy_mismatch": 0.9, "smut": 0.35}),
    "other_dye": Question("Can it have been another bath, or has another dye got into this one?",
                          {"wrong_dye": 0.9, "contaminated_bath": 0.6}),
    "grey_cloth": Question("Did a white cloth turn grey on the part before the run?", {"smut": 0.85}),
}  # fmt: skip


def chance_of_yes(name, cause):
    """Return how often a cause answers a question with yes."""
    return QUESTIONS[name].yes.get(cause, _NO)


def next_question(chances, kinds=(), answers=None):
    """Return the id of the question that separates the causes best, None when none is worth asking.

    Parameters
    ----------
    chances : dict
        Cause -> probability.
    kinds : collection of str
        Kinds of evidence that are at hand.
    answers : dict, optional
        Questions asked already; after `MOST_QUESTIONS` nothing more is asked.
    """
    if len(answers or {}) >= MOST_QUESTIONS:
        return None
    return _best(chances, kinds, answers or {})


def next_test(chances, kinds=(), answers=None):
    """Return in words the test that would separate the leading causes best.

    Parameters
    ----------
    chances : dict
    kinds : collection of str
    answers : dict, optional

    Returns
    -------
    str
        Empty when no test would teach anything.
    """
    name = _best(chances, kinds, answers or {})
    if name is None:
        return ""
    question = QUESTIONS[name]
    return question.work or question.text


def _best(chances, kinds, answers):
    worth = {
        name: _bits(chances, name)
        for name, question in QUESTIONS.items()
        if name not in answers and not set(question.instead_of) & set(kinds)
    }
    name = max(worth, key=worth.get, default=None)
    return name if name is not None and worth[name] > _WORTH_BITS else None


def _bits(chances, name):
    """Expected information (bits) about the cause in the answer."""
    causes, share = zip(*chances.items(), strict=True)
    share = np.asarray(share)
    yes = np.array([chance_of_yes(name, cause) for cause in causes])
    return float(_entropy(share @ yes) - share @ _entropy(yes))


def _entropy(p):
    p = np.clip(p, 1e-9, 1 - 1e-9)
    return -(p * np.log2(p) + (1 - p) * np.log2(1 - p))
