"""Why did it come out like this? Weighs all that is at hand by the table of causes.

What to ask or try next: questions and tests with how often each cause answers yes, picked by what they separate.
"""

import math
from dataclasses import dataclass

import numpy as np

from dyebook.advice.causes import CAUSES, FLAW_KINDS, IDS, USUAL, WORDS, shares
from dyebook.advice.evidence import checked_record, gather, kinds_of
from dyebook.errors import RecordError
from dyebook.notebook import Drawn

__all__ = [
    "MOST_QUESTIONS",
    "QUESTIONS",
    "Cause",
    "Question",
    "chance_of_yes",
    "diagnose",
    "next_question",
    "next_test",
    "weigh",
]

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


# how much each kind of evidence counts for: rows are broad, and what a colour or a film may be after a change is drawn
# from ranges wider than most faults, so these say less than they know; number, place and form of one flaw come
# together, so these say more. Rounded from the likeliest powers on tuning baths of two simulators that agree on them,
# the colour's down, as a bath's model can be wrong in ways that no tuning bath shows
_POWER = {
    "colour": 1.6, "film": 1.8, "rinse": 1.5, "wait": 1.5, "temp": 1.5, "ph": 1.5, "alloy": 1.5, "dwell": 1.5,
    "count": 0.8, "extent": 0.8, "place": 0.8, "form": 0.8, "leads": 0.8, "parts": 0.9, "even": 0.9,
}  # fmt: skip
_USUAL_POWER = 1.2
# median ΔE00 of true flaws and of what a finder takes for one, and their spread in the logarithm
_TRUE, _MISTAKEN = (7.0, 0.6), (2.5, 0.5)
_CLARITY = (0.05, 20.0)
# nothing is surer than this: the table does not know every way to spoil a part
_FLOOR = 0.002
_ALIKE = 0.7
# evidence that is worth a word: how much it speaks for a cause, and how many pieces
_TELLING, _MOST_TOLD = 0.2, 3
# from here on a part is taken for sound when a test is picked: nothing is done to it to find out
_LIKELY = 0.5
_PITS = "Pits come from chloride and from a burn; without the run's log both stay possible"
# how much likelier faults of the seal are for a part read sealed, unsealed, or nobody knows
_SEALED = {True: 1.8, False: 0.02, None: 0.8}


@dataclass(frozen=True)
class Cause(Drawn):
    """One possible cause.

    Attributes
    ----------
    id : str
    probability : float
        All causes together sum to 1.
    because : str
        The evidence for it, in words, and what cannot be told apart.
    remedy, caution : str
    next_test : str
        What would separate the leading causes.
    """

    id: str
    probability: float
    because: str
    remedy: str
    caution: str
    next_test: str

    @property
    def name(self):
        """What people call it."""
        return WORDS[self.id].name

    def to_dict(self):
        """Return plain values for JSON."""
        return vars(self) | {"probability": round(self.probability, 4)}


def diagnose(record, model=None, measurement=None, trace=None, answers=None, before=None):
    """Return possible causes of how a batch came out, most probable first.

    Parameters
    ----------
    record : dict, Series or DataFrame of one row
        Settings as they were set and the reading L, a, b; where known film_measured_um, area_dm2, alloy, finish,
        rinse_temp_c, wait_min, sealed.
    model : BathModel, optional
        What the bath should have given.
    measurement : Measurement or dict, optional
        The photo: flaws, and differences from part to part.
    trace : DataFrame, optional
        The run's log: time_min, current_a, optional voltage_v, electrolyte_temp_c.
    answers : dict, optional
        Id of a question in `dyebook.advice.diagnose` -> True or False.
    before : Seen, optional
        How the bath's dips just before this one came out.

    Returns
    -------
    list of Cause
        Every cause of the table, ``sound`` among them; probabilities sum to 1.

    Raises
    ------
    RecordError
        If the record is none, a figure is impossible or a question unknown.
    """
    answers = dict(answers or {})
    unknown = [name for name in answers if name not in QUESTIONS]
    if unknown:
        raise RecordError(f"unknown questions {', '.join(unknown)}; known: {', '.join(QUESTIONS)}")
    record = checked_record(record)
    seen = gather(record, model, measurement, trace, before)
    chances, weights = weigh(seen, answers, record.get("sealed"))
    order = np.argsort(-chances, kind="stable")
    kinds = kinds_of(record, seen)
    if IDS[order[0]] == "sound" and chances[order[0]] > _LIKELY:
        kinds.add("sound")
    test = next_test(dict(zip(IDS, chances, strict=True)), kinds, answers)
    alike = _alike(order, chances, weights)
    return [_cause(IDS[i], float(chances[i]), seen, weights, i, alike, test) for i in order]


def weigh(seen, answers=None, sealed=None):
    """Return probabilities (22,) in the table's order, and the log weight (k, 22) of each piece of evidence.

    Parameters
    ----------
    seen : list of k Seen
    answers : dict, optional
    sealed : bool, optional
    """
    prior = np.array([CAUSES[name].prior for name in IDS])
    prior = prior * np.where([CAUSES[name].sealed_only for name in IDS], _SEALED[sealed], 1.0)
    prior /= prior.sum()
    weights = np.array([_log_weight(item) for item in seen]).reshape(len(seen), len(IDS))
    total = np.log(prior) + weights.sum(axis=0)
    for name, yes in (answers or {}).items():
        share = np.array([chance_of_yes(name, cause) for cause in IDS])
        total = total + np.log(share if yes else 1 - share)
    chances = np.exp(total - total.max())
    chances = chances / chances.sum()
    chances = (1 - _FLOOR * len(IDS)) * chances + _FLOOR * prior * len(IDS)
    return chances / chances.sum(), weights


def _log_weight(item):
    """Log likelihood (22,) of one piece of evidence, up to a constant, with the power of its kind."""
    power = _POWER.get(item.kind, _USUAL_POWER)
    if item.kind in FLAW_KINDS:
        return power * _flaw_weight(item)
    table = np.array([shares(name, item.kind) for name in IDS])
    return power * np.log(np.maximum(table @ np.asarray(item.chances), 1e-9))


def _flaw_weight(item):
    """Log likelihood (22,) of a kind of flaw being reported so clearly, on so many of the parts looked at, or not."""
    shown, parts, size = item.chances
    false = USUAL[item.kind]
    share = np.array([CAUSES[name].predicts.get(item.kind, 0.0) for name in IDS])
    if not shown:
        return np.log((1 - share) * (1 - false) ** parts)
    by_chance = math.comb(parts, shown) * false**shown * (1 - false) ** (parts - shown)
    several = np.array([CAUSES[name].several for name in IDS])
    on_so_many = 1.0 if parts == 1 else 1 - several if shown == 1 else several / (parts - 1)
    return np.log(share * on_so_many * _clarity(size) + (1 - share) * by_chance)


def _clarity(size):
    """How much likelier a flaw of that ΔE00 is to be one than to be a mistake."""
    size = max(size, 0.5)
    true, mistaken = (np.exp(-0.5 * (np.log(size / at) / wide) ** 2) / wide for at, wide in (_TRUE, _MISTAKEN))
    return float(np.clip(true / mistaken, *_CLARITY))


def _alike(order, chances, weights):
    """Causes that the evidence at hand does not separate from the first."""
    first = order[0]
    total = weights.sum(axis=0) if len(weights) else np.zeros(len(IDS))
    near = [i for i in order if abs(total[i] - total[first]) < _ALIKE and chances[i] > 0.5 * chances[first]]
    return near if len(near) > 1 else []


def _cause(name, chance, seen, weights, column, alike, test):
    words = WORDS[name]
    lift = weights[:, column] - weights.mean(axis=1) if len(weights) else np.zeros(0)
    told = dict.fromkeys(seen[k].words for k in np.argsort(-lift) if lift[k] > _TELLING)
    because = "; ".join(list(told)[:_MOST_TOLD]) or "nothing at hand speaks for or against it"
    if column in alike:
        others = ", ".join(WORDS[IDS[i]].name for i in alike if i != column)
        because += f". Nothing at hand separates this from: {others}"
    if name in ("pitting", "burn") and _pits_without_log(seen):
        because += f". {_PITS}"
    return Cause(name, chance, f"{words.name}: {because}.", words.remedy, words.caution, test)


def _pits_without_log(seen):
    """Whether pits were seen and no log says whether the current ran away."""
    kinds = {item.kind: item for item in seen}
    return "event" not in kinds and "pit" in kinds and kinds["pit"].chances[0] > 0
