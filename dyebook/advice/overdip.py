"""A part that more time in its own bath does not bring to its shade: which bath to dip it in next.

The part's own reading says what is in its film already; what another bath adds is predicted as for a mix of two dyes.
"""

from dataclasses import replace

import numpy as np

from dyebook.advice.mix import COMPETITION_SD, mix_colours
from dyebook.advice.redip import ACCEPT_DELTA_E00, WORTH_IT, Redip, advise_redip, part_stands
from dyebook.advice.space import checked_target
from dyebook.lab import Lab, delta_e_00, describe_difference
from dyebook.model.inputs import SETTINGS, Settings

__all__ = ["advise_next"]

_DWELLS_MIN = np.geomspace(0.25, 20.0, 60)
# another bath must come nearer than more time in the same one by this much: it is less sure, and more work
_BETTER_BY = 0.5
_WET = (
    "Keep the part wet, rinse it well between the baths, and try a coupon first: how two dyes get along is not known."
)


def advise_next(models, bath, settings, reading, target, dry=None, sealed=None, fixed=None, tolerance=ACCEPT_DELTA_E00):
    """Return what to do with a part that is off: accept it, more time, another bath next, or strip it.

    Parameters
    ----------
    models : dict of BathModel
        Every bath that could take the part, by name.
    bath : str
        The one it was dyed in.
    settings, reading, target, dry, sealed, tolerance
        As for `dyebook.advice.redip.advise_redip`.
    fixed : dict of dict, optional
        By bath, settings of today, such as dye_g_per_l and bath_temp_c; else the middle of what was dipped there.

    Returns
    -------
    Redip
        With `bath` and `settings` where another bath comes next.

    Raises
    ------
    ModelError
        If a colour or setting is impossible.
    """
    target, reading = checked_target(target), checked_target(reading)
    told = advise_redip(models[bath], settings, reading, target, dry, sealed, tolerance)
    closed = dry or sealed
    if told.action == "accept" or closed or len(models) < 2:
        return told
    same = advise_redip(models[bath], settings, reading, target, False, False, tolerance)
    if same.action == "more_time" and same.delta_e00 <= tolerance:
        return told
    others = [name for name in models if name != bath]
    tried = [_dip_next(models, bath, name, settings, reading, target, (fixed or {}).get(name, {})) for name in others]
    best = min(tried, key=lambda one: one.delta_e00)
    if best.delta_e00 > (1 - WORTH_IT) * told.delta_e00_now or best.delta_e00 > same.delta_e00 - _BETTER_BY:
        return told
    return best if dry is not None and sealed is not None else _ask_first(best)


def _ask_first(best):
    """The question that comes before another bath: only an open film takes more dye."""
    why = f"{best.bath} next may help; first say whether the part has been dry since the dye, and whether it is sealed"
    return replace(best, action="ask", why=why, caution="", bath="", settings={})


def _dip_next(models, first, second, settings, reading, target, fixed):
    """The best dwell in one other bath, as advice."""
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
    why = (
        f"the part is ΔE00 {now:.1f} from the target, {describe_difference(target, reading)}; more time in its own "
        f"bath does not get there, {second} next should leave ΔE00 {expected:.1f}; predicted from the single baths"
    )
    p90 = float(np.quantile(miss[:, best], 0.9))
    return Redip("next_bath", 0.0, lab, expected, p90, now, why, _WET, second, chosen)


def _dips_of(model, start, fixed):
    """Dips of every dwell in a bath as it stands, on the part's own film."""
    seen = model.training.settings
    middle = {name: float(np.median(getattr(seen, name))) for name in SETTINGS} | fixed
    middle["film_um"] = float(start.film_um[0])
    columns = {name: np.full(len(_DWELLS_MIN), middle[name]) for name in SETTINGS}
    return Settings(**{**columns, "dwell_min": _DWELLS_MIN})
