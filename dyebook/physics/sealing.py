"""Rinse, dye and seal: steps with timers, each default marked with the class of its source."""

from dataclasses import dataclass, replace

from dyebook.errors import RecordError
from dyebook.notebook import Note
from dyebook.physics.answer import Answer, cautions_for
from dyebook.physics.rates import alloy_factor
from dyebook.record import check_value

__all__ = [
    "PREPARATION",
    "RINSE_MIN",
    "SEALS",
    "SealKind",
    "SealPlan",
    "SealTest",
    "Step",
    "judge_seal",
    "plan_seal",
    "seal_kind",
    "wet_steps",
]


@dataclass(frozen=True)
class Step:
    """One step to tick: its name, what to do, its timer in minutes (None: until done), source class, cautions."""

    name: str
    what: str
    minutes: float | None
    source: str
    cautions: tuple = ()


# fmt: off
PREPARATION = (
    Step("clean", "degrease; no glove or finger on the surface from here on", None, "handbook", ("caustic",)),
    Step("etch", "short and even, rinse at once; skip it on polished work", None, "handbook", ("caustic",)),
    Step("desmut", "until no grey comes off on a white cloth", None, "handbook", ("desmut",)),
    Step("rinse", "cold, twice after acid or caustic; flush bores, neutralise acid in them with bicarbonate and rinse "
         "again: what stays in them spoils the next bath", None, "handbook", ("trapped_acid",)),
    Step("finish", "note it: polished, brushed, blasted, etched", None, "usual practice"),
    Step("water-break test", "rinse water must run off as one sheet; clean again if it breaks", 0.5, "handbook"),
    Step("contacts", "strip and clean every contact, clamp firmly, hang so that air can leave", None, "handbook"),
)
# fmt: on


@dataclass(frozen=True)
class SealKind:
    """Defaults of one way to seal."""

    name: str
    # min_per_um, min_per_um_range: usual minutes per µm, and their range
    min_per_um: float
    min_per_um_range: tuple
    # temp_c, ph: lower and upper end of the window
    temp_c: tuple
    ph: tuple
    source: str
    cautions: tuple
    # holds nickel, or may: then the maker can say that the safety data sheet of the product names none
    nickel: bool = False
    may_be_free: bool = False  # there are products of this kind without nickel
    note: str = ""


_USUAL = "usual practice"  # values from memory
_HANDBOOK = "window from a handbook, time usual practice"
_BLEEDS = (
    "dyes bleed more than in hot water; such seals hold nickel, magnesium, lithium and others (handbook): taken as "
    "nickel until the safety data sheet of yours names none"
)
# fmt: off
_KINDS = (
    SealKind("hot_water", 2.5, (2.0, 3.0), (96, 100), (5.5, 6.5), _USUAL, ("hot_bath",),
             note="clean soft water; may bleed a little dye"),
    SealKind("mid_temperature", 1.5, (1.0, 2.0), (71, 88), (5.3, 6.0), _HANDBOOK, ("nickel", "hot_bath"),
             nickel=True, may_be_free=True, note=_BLEEDS),
    SealKind("nickel_acetate", 1.5, (1.0, 2.0), (85, 93.3), (5.3, 5.5), _HANDBOOK, ("nickel", "hot_bath"),
             nickel=True, note="holds dyes best"),
    SealKind("cold_nickel", 1.0, (0.8, 1.2), (21, 32), (5.5, 6.5), _HANDBOOK, ("fluoride", "nickel"),
             nickel=True, note="needs up to 24 h to complete"),
)
# fmt: on
SEALS = {kind.name: kind for kind in _KINDS}


def seal_kind(name: str, no_nickel: bool = False) -> SealKind:
    """Return a way to seal as it is at hand.

    `no_nickel`: the maker says that the safety data sheet of the product names no nickel.
    """
    if name not in SEALS:
        raise RecordError(f"seal {name!r} is unknown; use one of {', '.join(SEALS)}")
    kind = SEALS[name]
    if not no_nickel or not kind.nickel:
        return kind
    if not kind.may_be_free:
        raise RecordError(f"a {name.replace('_', ' ')} seal holds nickel by its name; choose hot_water, or another")
    cautions = tuple(caution for caution in kind.cautions if caution != "nickel")
    return replace(kind, nickel=False, cautions=cautions, note="dyes bleed more than in hot water")


@dataclass(frozen=True, kw_only=True)
class SealPlan(Answer):
    """Time and window of a seal."""

    kind: str
    minutes: float
    minutes_low: float
    minutes_high: float
    # temp_c, ph: lower and upper end of the window
    temp_c: tuple
    ph: tuple


def plan_seal(
    film_um: float,
    kind: str = "hot_water",
    *,
    min_per_um: float | None = None,
    skin_or_food: bool = False,
    no_nickel: bool = False,
) -> SealPlan:
    """Time to seal a film by one of `SEALS`, at the shop's own `min_per_um` where it has one.

    `skin_or_food`: worn on the skin or used with food; a seal that holds nickel is then flagged. `no_nickel` as in
    `seal_kind`.
    """
    film = check_value("film_um", film_um)
    seal = seal_kind(kind, no_nickel)
    rate = seal.min_per_um if min_per_um is None else min_per_um
    if not 0 < rate <= 60:
        raise RecordError(f"{rate:g} min per µm; a number above 0 and at most 60 is needed")
    low, high = seal.min_per_um_range if min_per_um is None else (rate, rate)
    flagged = seal.nickel and skin_or_food
    return SealPlan(
        kind=kind,
        minutes=rate * film,
        minutes_low=low * film,
        minutes_high=high * film,
        temp_c=seal.temp_c,
        ph=seal.ph,
        basis=Note("bench.seal_rate", min_per_um=rate, source=seal.source if min_per_um is None else ""),
        cautions=cautions_for(*_skin(flagged), *seal.cautions, "waste"),
        notes=(seal.note, *((Note("bench.nickel_worn"),) if flagged else ())),
    )


def _skin(flagged):
    return ("nickel_skin",) if flagged else ()


_DEEPEST_STAIN, _DEEPEST_THAT_PASSES = 5, 2  # ISO 2143, values from memory
_THINNEST_UM = 3.0  # scope of ISO 2143


@dataclass(frozen=True, kw_only=True)
class SealTest(Answer):
    """A dye spot test of a seal: its stain, 0 none to 5 deepest, and whether it passes; None where it cannot tell."""

    stain: int
    passes: bool | None


def judge_seal(stain: int, film_um: float | None = None, alloy: str | None = None, kind: str | None = None) -> SealTest:
    """Judge a seal by a dye spot after acid (ISO 2143), its `stain` as graded beside the scale.

    Film, alloy and kind of the part, where they are known: thin films, alloys of more than 2 % copper or 4 % silicon
    are outside the test, and seals that hold nickel hide a poor seal from it.
    """
    if stain not in range(_DEEPEST_STAIN + 1):
        raise RecordError(f"the stain is {stain}; grade it from 0, none, to {_DEEPEST_STAIN}, as deep as unsealed")
    outside = []
    if film_um is not None and film_um < _THINNEST_UM:
        outside.append(Note("bench.seal_test_thin", film_um=film_um, least_um=_THINNEST_UM))
    if alloy is not None and alloy_factor(alloy).pattern.startswith(("2", "cast")):
        outside.append(Note("bench.seal_test_alloy", alloy=alloy))
    weak = [Note("bench.seal_test_nickel")] if kind in SEALS and SEALS[kind].nickel else []
    return SealTest(
        stain=stain,
        passes=None if outside else stain <= _DEEPEST_THAT_PASSES,
        basis=Note("bench.seal_test", most=_DEEPEST_THAT_PASSES),
        cautions=cautions_for("protection", "dye", "waste"),
        notes=(*outside, *weak, Note("bench.seal_test_deep")),
    )


def wet_steps(film_um: float, dwell_min: float, seal: str = "hot_water", **seal_options) -> tuple[Step, ...]:
    """The steps from anodising to the sealed part, in order, with their timers.

    `seal`: one of `SEALS`. `**seal_options`: `min_per_um`, `skin_or_food`, `no_nickel` of `plan_seal`.
    """
    plan = plan_seal(film_um, seal, **seal_options)
    dwell = check_value("dwell_min", dwell_min)
    low, high = plan.temp_c
    kind = seal_kind(seal, seal_options.get("no_nickel", False))
    flagged = _skin(kind.nickel and seal_options.get("skin_or_food"))
    return (
        Step("cold rinse", _RINSE, RINSE_MIN, "usual practice"),
        Step("bores", _BORES, 1, "handbook", ("trapped_acid",)),
        Step("dye", "straight from the rinse, never dried; move the part", dwell, "your recipe", ("dye", "hot_bath")),
        Step("rinse", "cold, until the water runs clear", 1, "handbook"),
        Step(
            f"seal: {seal.replace('_', ' ')}",
            f"{low:g} to {high:g} °C, pH {plan.ph[0]:g} to {plan.ph[1]:g}",
            plan.minutes,
            kind.source,
            (*flagged, *kind.cautions),
        ),
        Step("dry and look", "wipe gently, photograph it with the card", None, "usual practice"),
    )


RINSE_MIN = 2.0  # of the cold rinse after a run; common practice, no source
_RINSE = "at once, water below 30 °C: hot water closes the pores early"
_BORES = "flush bores, threads and folds, dip them into bicarbonate solution until no gas comes, rinse again, all cold"
