"""What to do with a dyed part that is off: accept it, give it more time, dip it in another bath next, or strip it.

The part's own reading says where on its bath's curve it stands, and what is in its film already; the curve from there
on, or what another bath adds (predicted as for a mix of two dyes), is added to that reading.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from dyebook.advice.judge import Shade, Verdict, difference_covariance, judge
from dyebook.advice.mix import COMPETITION_SD, mix_colours
from dyebook.advice.suggest import checked_target
from dyebook.errors import ModelError
from dyebook.lab import Lab, delta_e_00, describe_difference
from dyebook.model.inputs import SETTINGS, Settings, read_settings, rounded
from dyebook.model.predict import BathModel
from dyebook.notebook import Note
from dyebook.record import SHOP_SETTINGS, Reading

__all__ = ["Redip", "advise_next", "advise_redip"]

# a further dip must promise to take off at least this share of the miss
WORTH_IT = 0.3
# CIEDE2000 that passes where no tolerance is given
_TOLERANCE = SHOP_SETTINGS["tolerance_de00"].default
_LONGEST_MIN = 20.0
_STEPS = 60


@dataclass(frozen=True)
class Redip:
    """Advice on one part."""

    # more_time, next_bath, accept, strip, or ask (when the state of the surface is not known, or the readings cannot
    # tell whether the part is off at all)
    action: str
    extra_dwell_min: float  # how much longer in the same bath; 0 when none helps
    lab: Lab  # colour to expect afterwards
    # delta_e00, delta_e00_p90: expected CIEDE2000 to the target afterwards, and its 90 % figure
    delta_e00: float
    delta_e00_p90: float
    delta_e00_now: float
    why: Note
    caution: Note | str
    bath: str = ""  # which bath comes next; empty where none does
    settings: dict = field(default_factory=dict)  # of that dip

    def to_dict(self):
        """Return plain values for JSON."""
        return {
            "action": self.action,
            "extra_dwell_min": round(self.extra_dwell_min, 2),
            "lab": rounded(self.lab, 2),
            "delta_e00": round(self.delta_e00, 2),
            "delta_e00_p90": round(self.delta_e00_p90, 2),
            "delta_e00_now": round(self.delta_e00_now, 2),
            "why": self.why,
            "caution": self.caution,
            "next_bath": self.bath or None,
            "next_settings": rounded(self.settings, 3) or None,
        }


def advise_redip(
    model: BathModel,
    settings: dict,
    reading,
    target,
    dry: bool | None = None,
    sealed: bool | None = None,
    tolerance: float = _TOLERANCE,
) -> Redip:
    """Return what to do with a part whose colour is off.

    Parameters
    ----------
    settings
        How the part was dipped: dye_g_per_l, bath_temp_c, dwell_min, and film_um, ph where known. The next dip is at
        the same settings.
    reading, target : sequence of 3 floats, Reading, its dict, or Shade
        L*, a*, b* of the part now, and of the shade to reach; how sure they are counts as for
        `dyebook.advice.judge.judge`.
    dry, sealed
        Whether the part has ever been dry since it was dyed, and whether it is sealed; None when not known.
    tolerance
        CIEDE2000 that passes.

    Notes
    -----
    The part's own reading says where on the bath's curve it stands: the dwell at which the bath would have given that
    colour. The curve from there on is added to the reading, so a bath's overall error cancels; what the readings of
    part and shade do not share stays in the p90.
    """
    verdict = judge(*_shades(target, reading), tolerance)
    unsure = _unsure(target, reading)
    target, reading = _colours(target, reading)
    now = verdict.delta_e00
    curve, extra = _way_ahead(model, settings, reading)
    miss = delta_e_00(target, curve)
    best = int(np.argmin(miss.mean(axis=0) + 1e-3 * extra))
    after = Lab(*(float(v) for v in curve[:, best].mean(axis=0)))
    state = _Outlook(verdict, float(miss[:, best].mean()), extra[best], dry, sealed)
    action, why, caution = _decide(state, target, reading)
    if action != "more_time":
        return Redip(action, 0.0, Lab(*map(float, reading)), now, now, now, why, caution)
    p90 = float(np.quantile(delta_e_00(target, curve[:, best] + unsure(len(curve))), 0.9))
    return Redip(action, float(extra[best]), after, state.after, p90, now, why, caution)


@dataclass(frozen=True)
class _Outlook:
    """How the part stands now, how far it is after the best further dip, and what is known of its surface."""

    verdict: Verdict
    after: float
    extra_min: float
    dry: bool | None
    sealed: bool | None

    @property
    def now(self):
        return self.verdict.delta_e00

    @property
    def helps(self):
        return self.extra_min > 0 and self.after < (1 - WORTH_IT) * self.now


def part_stands(model: BathModel, settings: dict, reading):
    """Return the dip, as `Settings` of one, that would have given a part the colour it has.

    `settings`: how the part was dipped; all but its dwell are kept. `reading`: sequence of 3 floats.
    """
    import pandas as pd

    if not isinstance(settings, dict) or not {"dye_g_per_l", "bath_temp_c", "dwell_min"} <= set(settings):
        raise ModelError("settings of the part need dye_g_per_l, bath_temp_c and dwell_min, as it was dipped")
    base = pd.DataFrame([{name: settings.get(name, np.nan) for name in (*SETTINGS, "film_measured_um")}])
    dip = read_settings(base, model.usual, model.training.circumstances)
    dwell = np.geomspace(max(settings["dwell_min"] / 8, 0.1), settings["dwell_min"] * 4, _STEPS)
    found = model.colour_draws(dip[np.zeros(len(dwell), dtype=int)].moved(dwell_min=dwell))
    nearest = int(np.argmin(delta_e_00(reading, found).mean(axis=0)))
    return dip.moved(dwell_min=dwell[[nearest]])


def _way_ahead(model, settings, reading):
    """Colours (draws, k, 3) of the part after extra minutes (k,) in the same bath."""
    stands = part_stands(model, settings, reading)
    extra = np.concatenate([[0.0], np.geomspace(0.1, _LONGEST_MIN, _STEPS)])
    dip = stands[np.zeros(len(extra), dtype=int)]
    curve = model.colour_draws(dip.moved(dwell_min=dip.dwell_min + extra))
    return reading + curve - curve[:, :1], extra


def _shades(*colours):
    """Colours as `Shade`s; ModelError where one cannot be a colour."""
    read = (Shade, Reading, Mapping)
    return [Shade.of(one if isinstance(one, read) else checked_target(one)) for one in colours]


def _unsure(target, reading):
    """A function that draws errors (n, 3) of the difference between two colours."""
    covariance = difference_covariance(*_shades(target, reading))
    rng = np.random.default_rng(1)
    return lambda count: rng.multivariate_normal(np.zeros(3), covariance, count, method="eigh")


def _colours(*colours):
    """L*, a*, b* of each, as arrays."""
    return [checked_target(shade.lab) for shade in _shades(*colours)]


def _decide(state, target, reading):
    """Action, reason and caution."""
    off = Note("shade.part_off", delta_e00=state.now, difference=describe_difference(target, reading))
    verdict = state.verdict
    if verdict.verdict == "in":
        return "accept", Note("shade.accept", off=off, tolerance=verdict.tolerance), ""
    if verdict.verdict == "cannot_tell" and state.now <= verdict.tolerance:
        return "ask", Note("shade.look_first", off=off, decides="; ".join(verdict.would_decide)), ""
    if state.sealed or not state.helps:
        stuck = "sealed" if state.sealed else "too_dark" if reading[0] < target[0] else "hue"
        return "strip", Note("shade.strip", off=off, reason=stuck), Note("shade.strip_care")
    if state.dry is None or state.sealed is None:
        return "ask", Note("shade.ask", off=off), ""
    why = Note("shade.more_time", off=off, minutes=state.extra_min, delta_e00=state.after)
    # a film that dried clean keeps its affinity for long (Kuroda and Uji 1967); whether it was clean, a dip shows
    return "more_time", why, Note("shade.dried_care" if state.dry else "shade.more_time_care")


_DWELLS_MIN = np.geomspace(0.25, _LONGEST_MIN, _STEPS)
# another bath must come nearer than more time in the same one by this much: it is less sure, and more work
_BETTER_BY = 0.5


def advise_next(
    models, bath: str, settings, reading, target, dry=None, sealed=None, fixed=None, tolerance=_TOLERANCE
) -> Redip:
    """Return what to do with a part that is off: accept it, more time, another bath next, or strip it.

    Parameters
    ----------
    models : dict of BathModel
        Every bath that could take the part, by name.
    bath
        The one it was dyed in.
    settings, reading, target, dry, sealed, tolerance
        As for `dyebook.advice.redip.advise_redip`.
    fixed : dict of dict, optional
        By bath, settings of today, such as dye_g_per_l and bath_temp_c; else the middle of what was dipped there.
    """
    advice = advise_redip(models[bath], settings, reading, target, dry, sealed, tolerance)
    closed = dry or sealed
    if advice.why.code in ("shade.accept", "shade.look_first") or closed or len(models) < 2:
        return advice
    same = advise_redip(models[bath], settings, reading, target, False, False, tolerance)
    if same.action == "more_time" and same.delta_e00 <= tolerance:
        return advice
    others = [name for name in models if name != bath]
    tried = [_dip_next(models, bath, name, settings, reading, target, (fixed or {}).get(name, {})) for name in others]
    best = min(tried, key=lambda one: one.delta_e00)
    if best.delta_e00 > (1 - WORTH_IT) * advice.delta_e00_now or best.delta_e00 > same.delta_e00 - _BETTER_BY:
        return advice
    return best if dry is not None and sealed is not None else _ask_first(best)


def _ask_first(best):
    """The question that comes before another bath: only an open film takes more dye."""
    why = Note("shade.ask_before_next", bath=best.bath)
    return replace(best, action="ask", why=why, caution="", bath="", settings={})


def _dip_next(models, first, second, settings, reading, target, fixed):
    """The best dwell in one other bath, as advice."""
    unsure = _unsure(target, reading)
    target, reading = _colours(target, reading)
    start = part_stands(models[first], settings, reading)
    dips = _dips_of(models[second], start, fixed)
    start = start[np.zeros(len(dips), dtype=int)]
    pair = models[first], start, models[second], dips
    before = mix_colours(*pair, (1.0, 0.0))
    after = mix_colours(*pair)
    crowded = mix_colours(*pair, (1.0, np.exp(-COMPETITION_SD)))
    own = models[second].colour_draws(dips)
    rng = np.random.default_rng(0)
    competing = rng.standard_normal((len(own), 1, 1)) * (crowded - after)
    draws = reading + after - before + (own - own.mean(axis=0)) + competing
    miss = delta_e_00(target, draws)
    best = int(np.argmin(miss.mean(axis=0)))
    lab = Lab(*(float(value) for value in draws[:, best].mean(axis=0)))
    now, expected = float(delta_e_00(target, reading)), float(miss[:, best].mean())
    chosen = {name: float(getattr(dips, name)[best]) for name in SETTINGS}
    off = Note("shade.part_off", delta_e00=now, difference=describe_difference(target, reading))
    why = Note("shade.next_bath", off=off, bath=second, delta_e00=expected)
    p90 = float(np.quantile(delta_e_00(target, draws[:, best] + unsure(len(draws))), 0.9))
    return Redip("next_bath", 0.0, lab, expected, p90, now, why, Note("shade.next_bath_care"), second, chosen)


def _dips_of(model, start, fixed):
    """Dips of every dwell in a bath as it stands, on the part's own film."""
    seen = model.training.settings
    middle = {name: float(np.median(getattr(seen, name))) for name in SETTINGS} | fixed
    middle["film_um"] = float(start.film_um[0])
    columns = {name: np.full(len(_DWELLS_MIN), middle[name]) for name in SETTINGS}
    return Settings(**{**columns, "dwell_min": _DWELLS_MIN})
