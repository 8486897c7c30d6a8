"""Why did it come out like this? Weighs all that is at hand by the table of causes, and picks what to ask next.

Each piece of evidence multiplies the probability of a cause by how often that cause shows it, to a power of its kind.
Flaws count by how clear they are, on how many parts, where, in what form, and of which kind there are most; a look that
found none counts, none taken does not. The question or test put next is the one whose answer is expected to say most
(in bits) about which cause it was, among those that suit the part: a sealed or a sound part is not dipped again.
"""

import math
from dataclasses import dataclass

import numpy as np

from dyebook.advice.causes import CAUSES, FLAW_KINDS, IDS, USUAL, shares
from dyebook.advice.evidence import checked_record, gather, kinds_of
from dyebook.errors import RecordError
from dyebook.notebook import Drawn, Note

__all__ = ["MOST_QUESTIONS", "QUESTIONS", "Cause", "Question", "diagnose", "next_question", "next_test", "weigh"]

MOST_QUESTIONS = 5
_NO = 0.08
_WORTH_BITS = 0.03


@dataclass(frozen=True)
class Question:
    """How the causes answer one question with yes or no; what is asked stands in `dyebook.report.trouble`."""

    yes: dict[str, float]  # cause -> how often the answer is yes; every other cause `_NO`
    # kinds of evidence that already answer it, or make it idle: see `dyebook.advice.evidence.kinds_of`. ``sound``
    # stands for a part that is likely sound and better left alone.
    instead_of: tuple[str, ...] = ()


_PALE_BATH = {"weak_bath": 0.9, "cold_bath": 0.9, "ph_off": 0.75, "contaminated_bath": 0.6, "wrong_dye": 0.7}
QUESTIONS = {
    "film_thin": Question({"thin_film": 0.93, "contact_loss": 0.85, "burn": 0.45, "uneven_run": 0.3, "alloy_mismatch":
        0.4}, ("film",)),
    "takes_more": Question({"weak_bath": 0.6, "cold_bath": 0.7, "short_dwell": 0.95, "ph_off": 0.5, "sound": 0.7,
        "thin_film": 0.25, "early_seal": 0.04, "contact_loss": 0.2, "surface_contamination": 0.4, "uneven_run": 0.6,
        "pitting": 0.6}, ("sealed", "sound")),
    "coupon_off": Question(_PALE_BATH | {"over_dyed": 0.3}),
    "thermometer": Question({"cold_bath": 0.93}, ("noted cold",)),
    "ph_read": Question({"ph_off": 0.93, "contaminated_bath": 0.25}, ("ph",)),
    "area": Question({"thin_film": 0.6, "uneven_run": 0.15, "burn": 0.02}),
    "clock": Question({"short_dwell": 0.92}),
    "long_unused": Question({"weak_bath": 0.85, "contaminated_bath": 0.5, "ph_off": 0.4, "sound": 0.25, "cold_bath":
        0.25, "short_dwell": 0.25, "thin_film": 0.25}),
    "warm_rinse": Question({"early_seal": 0.65}, ("rinse",)),
    "waited": Question({"early_seal": 0.5}, ("wait",)),
    "loose": Question({"contact_loss": 0.88, "burn": 0.3}),
    "rough": Question({"pitting": 0.92, "burn": 0.75}, ("pit",)),
    "bare_edges": Question({"burn": 0.88}),
    "wipes_white": Question({"seal_bloom": 0.9, "smut": 0.15}),
    "wipes_colour": Question({"over_dyed": 0.85, "seal_bleed": 0.3}),
    "seal_coloured": Question({"seal_bleed": 0.93, "seal_bloom": 0.3}),
    "at_holes": Question({"acid_bleed_out": 0.93, "gas_pocket": 0.3}),
    "prints": Question({"surface_contamination": 0.9, "smut": 0.2}),
    "hollow": Question({"gas_pocket": 0.92}),
    "level": Question({"level_line": 0.95}),
    "jig": Question({"uneven_run": 0.9, "contact_loss": 0.2, "alloy_mismatch": 0.2}),
    "same_metal": Question({"alloy_mismatch": 0.9, "smut": 0.35}),
    "other_dye": Question({"wrong_dye": 0.9, "contaminated_bath": 0.6}),
    "grey_cloth": Question({"smut": 0.85}),
}  # fmt: skip


def yes_share(name, cause):
    """Return how often a cause answers a question with yes."""
    return QUESTIONS[name].yes.get(cause, _NO)


def next_question(probabilities: dict, kinds=(), answers: dict | None = None):
    """Return the id of the question that separates the causes best, None when none is worth asking.

    Parameters
    ----------
    probabilities
        Cause -> probability.
    kinds : collection of str
        Kinds of evidence that are at hand.
    answers
        Questions asked already; after `MOST_QUESTIONS` nothing more is asked.
    """
    if len(answers or {}) >= MOST_QUESTIONS:
        return None
    return _best(probabilities, kinds, answers or {})


def next_test(probabilities: dict, kinds=(), answers: dict | None = None) -> Note | str:
    """Return the test that would separate the leading causes best; empty when no test would teach anything."""
    name = _best(probabilities, kinds, answers or {})
    return "" if name is None else Note("trouble.test", question=name)


def _best(probabilities, kinds, answers):
    worth = {
        name: _bits(probabilities, name)
        for name, question in QUESTIONS.items()
        if name not in answers and not set(question.instead_of) & set(kinds)
    }
    name = max(worth, key=worth.get, default=None)
    return name if name is not None and worth[name] > _WORTH_BITS else None


def _bits(probabilities, name):
    """Expected information (bits) about the cause in the answer."""
    causes, share = zip(*probabilities.items(), strict=True)
    share = np.asarray(share)
    yes = np.array([yes_share(name, cause) for cause in causes])
    return float(_entropy(share @ yes) - share @ _entropy(yes))


def _entropy(p):
    p = np.clip(p, 1e-9, 1 - 1e-9)
    return -(p * np.log2(p) + (1 - p) * np.log2(1 - p))


# how much each kind of evidence counts for: rows are broad, and what a colour or a film may be after a change is drawn
# from ranges wider than most faults, so these say less than they know; number, place and form of one flaw come
# together, so these say more. Rounded from the likeliest powers on tuning baths of two simulators that agree on them,
# the colour's down, as a bath's model can be wrong in ways that no tuning bath shows; those of film, dwell and the
# leading flaw, and the share of sound batches, by the second simulator's alone, and judged by the first
_POWER = {
    "colour": 1.6, "film": 1.4, "rinse": 1.5, "wait": 1.5, "temp": 1.5, "ph": 1.5, "alloy": 1.5, "dwell": 0.5,
    "count": 0.8, "extent": 0.8, "place": 0.8, "form": 0.8, "leads": 0.5, "parts": 0.9, "even": 0.9,
}  # fmt: skip
_USUAL_POWER = 1.2
# median ΔE00 of true flaws and of what a finder takes for one, and their spread in the logarithm
_TRUE, _MISTAKEN = (7.0, 0.6), (2.5, 0.5)
_CLARITY = (0.05, 20.0)
# nothing is surer than this: the table does not know every way to spoil a part
_FLOOR = 0.002
_ALIKE = 0.7
# evidence that is named: how much it speaks for a cause, and how many pieces
_TELLING, _MOST_NAMED = 0.2, 3
# from here on a part is taken for sound when a test is picked: nothing is done to it to find out
_LIKELY = 0.5
# how much likelier faults of the seal are for a part read sealed, unsealed, or of unknown state
_SEALED = {True: 1.8, False: 0.02, None: 0.8}


@dataclass(frozen=True)
class Cause(Drawn):
    """One possible cause."""

    id: str
    probability: float  # all causes together sum to 1
    because: Note  # the evidence for it, and what it cannot be told apart from
    remedy: Note
    caution: Note
    next_test: Note | str  # what would separate the leading causes; empty when nothing would

    @property
    def name(self) -> Note:
        """What people call it."""
        return Note("trouble.name", cause=self.id)

    def to_dict(self) -> dict:
        """Return plain values for JSON."""
        return vars(self) | {"probability": round(self.probability, 4)}


def diagnose(record, model=None, measurement=None, trace=None, answers: dict | None = None, before=None) -> list[Cause]:
    """Return possible causes of how a batch came out, most probable first.

    Every cause of the table is among them, ``sound`` too; probabilities sum to 1.

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
    answers
        Id of a question in `dyebook.advice.diagnose` -> True or False.
    before : Seen, optional
        How the bath's dips just before this one came out.
    """
    answers = dict(answers or {})
    unknown = [name for name in answers if name not in QUESTIONS]
    if unknown:
        raise RecordError(f"unknown questions {', '.join(unknown)}; known: {', '.join(QUESTIONS)}")
    record = checked_record(record)
    seen = gather(record, model, measurement, trace, before)
    probabilities, weights = weigh(seen, answers, record.get("sealed"))
    order = np.argsort(-probabilities, kind="stable")
    kinds = kinds_of(record, seen)
    if IDS[order[0]] == "sound" and probabilities[order[0]] > _LIKELY:
        kinds.add("sound")
    test = next_test(dict(zip(IDS, probabilities, strict=True)), kinds, answers)
    alike = _alike(order, probabilities, weights)
    return [_cause(IDS[i], float(probabilities[i]), seen, weights, i, alike, test) for i in order]


def weigh(seen, answers: dict | None = None, sealed: bool | None = None):
    """Return probabilities (22,) in the table's order, and the log weight (k, 22) of each piece of evidence."""
    prior = np.array([CAUSES[name].prior for name in IDS])
    prior = prior * np.where([CAUSES[name].sealed_only for name in IDS], _SEALED[sealed], 1.0)
    prior /= prior.sum()
    weights = np.array([_log_weight(item) for item in seen]).reshape(len(seen), len(IDS))
    total = np.log(prior) + weights.sum(axis=0)
    for name, yes in (answers or {}).items():
        share = np.array([yes_share(name, cause) for cause in IDS])
        total = total + np.log(share if yes else 1 - share)
    probabilities = np.exp(total - total.max())
    probabilities = probabilities / probabilities.sum()
    probabilities = (1 - _FLOOR * len(IDS)) * probabilities + _FLOOR * prior * len(IDS)
    return probabilities / probabilities.sum(), weights


def _log_weight(item):
    """Log likelihood (22,) of one piece of evidence, up to a constant, with the power of its kind."""
    power = _POWER.get(item.kind, _USUAL_POWER)
    if item.kind in FLAW_KINDS:
        return power * _flaw_weight(item)
    table = np.array([shares(name, item.kind) for name in IDS])
    return power * np.log(np.maximum(table @ np.asarray(item.likelihoods), 1e-9))


def _flaw_weight(item):
    """Log likelihood (22,) of a kind of flaw being reported so clearly, on so many of the parts looked at, or not."""
    shown, parts, size = item.likelihoods
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


def _alike(order, probabilities, weights):
    """Causes that the evidence at hand does not separate from the first."""
    first = order[0]
    total = weights.sum(axis=0) if len(weights) else np.zeros(len(IDS))
    near = [i for i in order if abs(total[i] - total[first]) < _ALIKE and probabilities[i] > 0.5 * probabilities[first]]
    return near if len(near) > 1 else []


def _cause(name, probability, seen, weights, column, alike, test):
    lift = weights[:, column] - weights.mean(axis=1) if len(weights) else np.zeros(0)
    speaking = dict.fromkeys(seen[k].note for k in np.argsort(-lift) if lift[k] > _TELLING)
    because = Note(
        "trouble.because",
        cause=name,
        evidence=tuple(speaking)[:_MOST_NAMED],
        alike=tuple(IDS[i] for i in alike if i != column) if column in alike else (),
        pits_without_log=name in ("pitting", "burn") and _pits_without_log(seen),
    )
    remedy, caution = Note("trouble.remedy", cause=name), Note("trouble.caution", cause=name)
    return Cause(name, probability, because, remedy, caution, test)


def _pits_without_log(seen):
    """Whether pits were seen and no log says whether the current ran away."""
    kinds = {item.kind: item for item in seen}
    return "event" not in kinds and "pit" in kinds and kinds["pit"].likelihoods[0] > 0
