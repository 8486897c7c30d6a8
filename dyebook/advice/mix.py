"""Two dyes for one shade: both in one bath, or one bath after the other, predicted from the single baths.

Absorbances add. What single baths cannot tell is how two dyes compete for the same places in the film; that doubt is
part of every figure here, and a coupon should settle it before work is dipped.
"""

from dataclasses import dataclass

import numpy as np

from dyebook.advice.suggest import REACH_DELTA_E00, Aim, Space, rounded_fields
from dyebook.errors import ModelError
from dyebook.lab import Lab, delta_e_00, describe_difference
from dyebook.model.forward import Film
from dyebook.model.inputs import SETTINGS
from dyebook.notebook import Note

__all__ = ["COMPETITION_SD", "KINDS", "MixSuggestion", "mix_colours", "suggest_mix"]

# how far competition and displacement may move each dye's load (log); judgement, no source
COMPETITION_SD = 0.2
_CANDIDATES, _SEEDS, _TRIES, _ROUNDS = 1024, 10, 16, 5
# in a mix a dye may be much weaker than it ever was alone
_WEAKER = 0.2
_SHARED = ("film_um", "bath_temp_c", "dwell_min", "ph")
_LIGHTS = ("d65", "a", "led")
KINDS = ("together", "after")


@dataclass(frozen=True)
class MixSuggestion:
    """Two dips, or one dip in two dyes, and what to expect."""

    dyes: tuple  # in the order of the dips
    kind: str  # together or after
    settings: tuple  # one for each dye
    lab: Lab
    delta_e00: float
    delta_e00_p90: float
    reachable: bool
    why: Note
    # lamp_a, lamp_led: CIEDE2000 by which the shade moves from daylight to lamp light (`dyebook.advice.suggest`)
    lamp_a: float = float("nan")
    lamp_led: float = float("nan")
    trust: str = ""  # how far to trust the prediction
    miss: str = ""  # how the likeliest colour differs, in words, such as "a little greener"
    likeliest_delta_e00: float = float("nan")  # CIEDE2000 of the likeliest colour to the target, doubt left aside

    def to_dict(self):
        """Return plain values for JSON."""
        return rounded_fields(self)


def mix_colours(first, first_settings, second, second_settings, factors=(1.0, 1.0), light="d65"):
    """Return the likeliest colours (n, 3) of films dyed in two baths.

    Parameters
    ----------
    first_settings, second_settings : Settings of n dips
    factors : pair of float
        On the load of each dye.
    light : {"d65", "a", "led"}
    """
    one, surface_one = first.absorbance(first_settings)
    two, surface_two = second.absorbance(second_settings)
    return Film((surface_one + surface_two) / 2, factors[0] * one + factors[1] * two).lab(light)


def suggest_mix(
    models, target, film_um: float | None = None, kind="together", bounds: dict | None = None, fixed=None
) -> MixSuggestion:
    """Return the best way to a target with two dyes.

    Parameters
    ----------
    models : dict of BathModel by dye, two of them
        Dipped in that order when `kind` is ``"after"``.
    target : sequence of 3 floats, Reading, its dict, or Shade
        How sure it is counts in the p90, as for `dyebook.advice.suggest.suggest_settings`.
    film_um
        The film; the first bath's usual one when left out.
    kind : {"together", "after"}
    bounds
        (low, high) by setting, for both dyes.
    fixed : dict of dict, optional
        By dye, settings that cannot move; what two dyes in one bath share is that of the first.
    """
    if len(models) != 2 or kind not in KINDS:
        raise ModelError(f"{len(models)} dyes and kind {kind!r} given; two dyes, 'together' or 'after', are needed")
    names, baths = tuple(models), tuple(models.values())
    film = baths[0].usual.film_um if film_um is None else film_um
    fixed = fixed or {}
    spaces = tuple(_space(bath, film, bounds or {}, fixed.get(name, {})) for name, bath in models.items())
    aim = Aim.of(target, baths[0])
    pair = _Search(baths, spaces, kind, aim.lab).best()
    return _answer(names, baths, kind, aim, pair)


def _space(bath, film_um, bounds, fixed):
    from dyebook.advice.suggest import default_bounds

    low, high = default_bounds(bath)["dye_g_per_l"]
    return Space(bath, film_um, None, {"dye_g_per_l": (low * _WEAKER, high), **bounds}, fixed)


class _Search:
    """Settings of both dips from one point of a unit cube; when together, all but the strength is shared."""

    def __init__(self, baths, spaces, kind, target):
        self.baths, self.spaces, self.target = baths, spaces, target
        self.together = kind == "together"
        self.sizes = [len(space.free) for space in spaces]

    def pair(self, unit):
        """Settings (n,) of each dip."""
        split = self.sizes[0]
        first = self.spaces[0].settings(unit[:, :split])
        second = self.spaces[1].settings(unit[:, split:])
        if self.together:
            second = second.moved(**{name: getattr(first, name) for name in _SHARED})
        return first, second

    def miss(self, unit):
        """CIEDE2000 of the likeliest colour to the target."""
        first, second = self.pair(unit)
        return delta_e_00(self.target, mix_colours(self.baths[0], first, self.baths[1], second))

    def best(self):
        """The best pair of settings found: a look over the cube, then smaller and smaller steps."""
        from scipy.stats import qmc

        if not sum(self.sizes):
            return self.pair(np.zeros((1, 0)))
        points = qmc.Sobol(sum(self.sizes), scramble=False).random(_CANDIDATES)
        points = points[np.argsort(self.miss(points))[:_SEEDS]]
        rng, size = np.random.default_rng(0), 0.12
        for _ in range(_ROUNDS):
            steps = rng.standard_normal((len(points), _TRIES, points.shape[1])) * size
            steps[:, 0] = 0
            trial = np.clip(points[:, None] + steps, 0, 1)
            miss = self.miss(trial.reshape(-1, points.shape[1])).reshape(len(points), _TRIES)
            points, size = trial[np.arange(len(points)), miss.argmin(axis=1)], size * 0.5
        return self.pair(points[[int(np.argmin(self.miss(points)))]])


def _answer(names, baths, kind, aim, pair):
    target = aim.lab
    day, lamp, led = (mix_colours(baths[0], pair[0], baths[1], pair[1], light=light)[0] for light in _LIGHTS)
    alone, draws = _draws(baths, pair, day, 0.0), _draws(baths, pair, day, 1.0)
    miss = delta_e_00(target, draws)
    nearest = float(delta_e_00(target, day))
    asked = np.random.default_rng(1).multivariate_normal(target, aim.covariance, len(draws), method="eigh")
    p90 = float(np.quantile(delta_e_00(asked, draws), 0.9))
    words, reachable = describe_difference(target, day), nearest <= REACH_DELTA_E00
    why = Note("shade.mix", kind=kind, delta_e00=float(miss.mean()), reachable=reachable, miss=words)
    alone_p90, together_p90 = (float(np.quantile(delta_e_00(day, some), 0.9)) for some in (alone, draws))
    settings = tuple({name: float(getattr(dip, name)[0]) for name in SETTINGS} for dip in pair)
    return MixSuggestion(
        names,
        kind,
        settings,
        Lab(*map(float, day)),
        float(miss.mean()),
        p90,
        reachable,
        why,
        float(delta_e_00(day, lamp)),
        float(delta_e_00(day, led)),
        Note("shade.mix_trust", alone_p90=alone_p90, together_p90=together_p90),
        words,
        nearest,
    )


def _draws(baths, pair, lab, competing):
    """Equally likely colours (s, 3): each bath's own doubt, and that of their competition times `competing`."""
    rng = np.random.default_rng(0)
    draws = np.tile(lab, (256, 1))
    for at, (bath, dip) in enumerate(zip(baths, pair, strict=True)):
        own = bath.colour_draws(dip)[:, 0]
        draws = draws + rng.choice(own - own.mean(axis=0), len(draws))
        factors = [1.0, 1.0]
        factors[at] = np.exp(COMPETITION_SD)
        step = mix_colours(baths[0], pair[0], baths[1], pair[1], factors)[0] - lab
        draws = draws + competing * rng.standard_normal((len(draws), 1)) * step
    return draws
