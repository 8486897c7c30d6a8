"""Why did it come out like this? Weighs all that is at hand by the table of causes."""

import math
from dataclasses import dataclass

import numpy as np

from dyebook.advice.cause_words import WORDS
from dyebook.advice.causes import CAUSES, FLAW_KINDS, IDS, USUAL, shares
from dyebook.advice.evidence import checked_record, gather, kinds_of
from dyebook.advice.questions import QUESTIONS, chance_of_yes, next_test
from dyebook.errors import RecordError
from dyebook.notebook import Drawn

__all__ = ["Cause", "diagnose", "weigh"]

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
        Id of a question in `dyebook.advice.questions` -> True or False.
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
