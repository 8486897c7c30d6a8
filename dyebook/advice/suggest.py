"""From a target shade to the settings that are most likely to give it.

Every setting is judged by the mean CIEDE2000 to the target over the bath's posterior draws, so that doubt counts
against a setting by itself: of two settings that should give the shade, the one nearer to what has been dipped wins.
"""

from dataclasses import dataclass

import numpy as np

from dyebook.advice.light import lamp_shifts
from dyebook.advice.space import Space, checked_target
from dyebook.errors import ModelError
from dyebook.lab import Lab, delta_e_00, describe_difference
from dyebook.model.inputs import SETTINGS, Settings
from dyebook.notebook import Drawn
from dyebook.record import FIELDS

__all__ = ["REACH_DELTA_E00", "Suggestion", "suggest_settings"]

# CIEDE2000 up to which half of the judges accept a match (ISO/TR 28642, value from memory)
REACH_DELTA_E00 = 1.8
# out of reach is said only when six draws in seven agree
_BENEFIT = 0.15
# how much a shade that moves by 1 CIEDE2000 per 10 s or 1 degree costs against one that does not
_FORGIVENESS = 0.05
_FIRST_DRAWS, _NEXT_DRAWS = 16, 32
_CANDIDATES, _SEEDS, _TRIES, _ROUNDS = 256, 8, 14, 4
_APART = 0.35


@dataclass(frozen=True)
class Suggestion(Drawn):
    """Settings for one dip and what to expect of it.

    Attributes
    ----------
    settings : dict
        film_um, dye_g_per_l, bath_temp_c, dwell_min, ph.
    lab : Lab
        Expected colour.
    delta_e00, delta_e00_p90 : float
        Expected CIEDE2000 of the dip to the target, and the value it stays below nine times in ten.
    reachable : bool
        False where no setting within the bounds should come closer than 1.8.
    why : str
        The reasons in words.
    per_10_s, per_degree : float
        CIEDE2000 by which 10 s or 1 °C too much moves the shade.
    lamp_a, lamp_led : float
        CIEDE2000 by which the shade moves from daylight to lamp light (`dyebook.advice.light`).
    miss : str
        The expected difference in words, such as "a little greener".
    """

    settings: dict
    lab: Lab
    delta_e00: float
    delta_e00_p90: float
    reachable: bool
    why: str
    per_10_s: float
    per_degree: float
    lamp_a: float
    lamp_led: float
    miss: str

    def to_dict(self):
        """Return plain numbers, the entry of the suggest contract."""
        return {
            "settings": {name: round(value, 3) for name, value in self.settings.items()},
            "lab": [round(value, 2) for value in self.lab],
            "delta_e00": round(self.delta_e00, 3),
            "delta_e00_p90": round(self.delta_e00_p90, 3),
            "reachable": self.reachable,
            "why": self.why,
            "per_10_s": round(self.per_10_s, 3),
            "per_degree": round(self.per_degree, 3),
            "lamp_a": round(self.lamp_a, 2),
            "lamp_led": round(self.lamp_led, 2),
            "miss": self.miss,
        }


def suggest_settings(model, target, film_um=None, ph=None, bounds=None, fixed=None, count=3):
    """Return settings that should give a target shade, best first.

    Parameters
    ----------
    model : BathModel
    target : sequence of 3 floats
        L*, a*, b*, D65, 2 degrees.
    film_um : float, optional
        Film of the part; free when left out.
    ph : float, optional
        pH of the bath; the records' usual one when left out.
    bounds : dict, optional
        (low, high) by setting, in place of `dyebook.advice.space.default_bounds`.
    fixed : dict, optional
        Settings that cannot be moved.
    count : int
        How many distinct answers at most.

    Returns
    -------
    list of Suggestion

    Raises
    ------
    ModelError
        If the target is no colour, or a bound or fixed setting is impossible.
    """
    target = checked_target(target)
    space = Space(model, film_um, ph, bounds or {}, fixed or {})
    if not 1 <= int(count) <= 20:
        raise ModelError(f"count is {count}; between 1 and 20 answers can be given")
    first, gap = _first_look(model, target, space)
    refined = _refine(model, target, space, first)
    return _answers(model, target, space, refined, gap, int(count))


def _first_look(model, target, space):
    """Well-spread promising points of the cube, and how near the bath comes to the target in a hopeful draw."""
    from scipy.stats import qmc

    own = space.unit(model.training.settings)
    own = own[:: max(1, len(own) // 64)]
    if not space.free:
        points = own[:1]
    else:
        points = np.vstack([qmc.Sobol(len(space.free), scramble=False).random(_CANDIDATES), own])
    miss = delta_e_00(target, model.colour_draws(space.settings(points), most=_FIRST_DRAWS))
    score = miss.mean(axis=0)
    return _spread(points, score, _SEEDS, 0.15), float(np.quantile(miss.min(axis=1), _BENEFIT))


def _spread(points, score, most, apart):
    """The best points, no two closer than `apart` in the cube."""
    chosen = []
    for i in np.argsort(score):
        if all(np.max(np.abs(points[i] - points[j]), initial=0) >= apart for j in chosen):
            chosen.append(i)
        if len(chosen) == most:
            break
    return points[chosen]


def _refine(model, target, space, points):
    """Local search from each point by ever smaller steps; returns as many points."""
    rng = np.random.default_rng(0)
    size = 0.12
    if not space.free:
        return points
    for _ in range(_ROUNDS):
        steps = rng.standard_normal((len(points), _TRIES, len(space.free))) * size
        steps[:, 0] = 0
        trial = np.clip(points[:, None, :] + steps, 0, 1)
        draws = model.colour_draws(space.settings(trial.reshape(-1, trial.shape[-1])), most=_NEXT_DRAWS)
        score = delta_e_00(target, draws).mean(axis=0).reshape(len(points), _TRIES)
        points = trial[np.arange(len(points)), score.argmin(axis=1)]
        size *= 0.45
    return points


def _shifted(settings, name, step):
    return settings.moved(**{name: getattr(settings, name) + step})


def _answers(model, target, space, points, gap, count):
    settings = space.settings(points)
    draws = model.colour_draws(settings)
    miss = delta_e_00(target, draws)
    longer = delta_e_00(draws, model.colour_draws(_shifted(settings, "dwell_min", 1 / 6))).mean(axis=0)
    warmer = delta_e_00(draws, model.colour_draws(_shifted(settings, "bath_temp_c", 1.0))).mean(axis=0)
    score = miss.mean(axis=0) + _FORGIVENESS * (longer + warmer)
    gap = min(gap, float(np.quantile(miss.min(axis=1), _BENEFIT)))
    chosen = _distinct(points, score, count)
    lamps = lamp_shifts(model, settings[chosen])
    return [
        _suggestion(
            model, target, settings[[i]], draws[:, i], gap, (longer[i], warmer[i], lamps["a"][k], lamps["led"][k])
        )
        for k, i in enumerate(chosen)
    ]


def _distinct(points, score, count):
    chosen = []
    for i in np.argsort(score):
        if not chosen or all(np.max(np.abs(points[i] - points[j]), initial=0) >= _APART for j in chosen):
            chosen.append(i)
    return chosen[:count]


def _suggestion(model, target, setting, draws, gap, moves):
    """One answer; `draws` (s, 3) are its colours, `moves` the shifts by 10 s, 1 degree and two lamps."""
    lab = Lab(*(float(value) for value in draws.mean(axis=0)))
    values = {name: float(getattr(setting, name)[0]) for name in SETTINGS}
    miss = delta_e_00(target, draws)
    expected, p90 = float(miss.mean()), float(np.quantile(miss, 0.9))
    moves = [float(move) for move in moves]
    words = describe_difference(target, lab)
    said = [_expectation(expected, p90, gap, words)]
    said.append(f"10 s longer moves the colour by ΔE00 {moves[0]:.1f}, 1 °C warmer by {moves[1]:.1f}")
    said.append(_neighbourhood(model, values))
    return Suggestion(values, lab, expected, p90, gap <= REACH_DELTA_E00, "; ".join(said), *moves, words)


def _expectation(expected, p90, gap, words):
    if gap <= REACH_DELTA_E00:
        return f"expected within ΔE00 {expected:.1f} of the target, nine times in ten within {p90:.1f}"
    return f"this bath does not reach the target: its nearest shade is about ΔE00 {expected:.1f} away, {words}"


def _neighbourhood(model, values):
    here = Settings(**{name: np.array([value]) for name, value in values.items()}).scaled()
    seen = model.training.settings.scaled()
    outside = (here[0] < seen.min(axis=0) - 0.25) | (here[0] > seen.max(axis=0) + 0.25)
    names = [FIELDS[name].label for name, out in zip(SETTINGS, outside, strict=True) if out]
    if names:
        return f"{' and '.join(names)} outside what has been dipped"
    distance = np.sqrt(np.min(np.sum((seen - here) ** 2, axis=1)))
    return "close to a dip on record" if distance < 0.5 else "between dips on record"
