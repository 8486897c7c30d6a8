"""From a target shade to the settings that are most likely to give it, and what else a bath can say of a shade.

Every setting is scored by the mean CIEDE2000 to the target over the bath's posterior draws, so that doubt counts
against a setting by itself: of two settings that should give the shade, the one nearer to what has been dipped wins.
The search looks over a cube of the free settings, then takes smaller and smaller steps. Beside it stand a bath's
colours along its dwell, and how far a shade moves from daylight to lamp light.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from dyebook.advice.judge import Shade
from dyebook.errors import ModelError
from dyebook.lab import Lab, delta_e_00, describe_colour, describe_difference
from dyebook.model.inputs import SETTINGS, Settings, rounded
from dyebook.model.predict import BathModel, mode_colours, one_thread
from dyebook.notebook import Drawn, Note
from dyebook.record import FIELDS, Reading

__all__ = [
    "REACH_DELTA_E00", "SLIPS", "Aim", "DepthRun", "Space", "Suggestion", "as_dipped", "checked_target",
    "default_bounds", "lamp_shifts", "rounded_fields", "run_through_depth", "sample_caution", "suggest_settings",
]  # fmt: skip

# CIEDE2000 up to which half of the judges accept a match (ISO/TR 28642, value from memory)
REACH_DELTA_E00 = 1.8
# out of reach is said only when six draws in seven agree
_BENEFIT = 0.15
# how much a shade that moves by 1 CIEDE2000 per 10 s or 1 degree costs against one that does not
_FORGIVENESS = 0.05
_FIRST_DRAWS, _NEXT_DRAWS = 16, 32
_CANDIDATES, _SEEDS, _TRIES, _ROUNDS = 256, 8, 14, 4
_APART = 0.35
_CLOSE = 0.5  # to a dip on record, in large ordinary changes of the settings; judgement, no source
# how a shop meets what it means to do, standard uncertainties: min by the clock, °C, share of the strength, pH; common
# practice, no source. A film is met as well as its source says.
SLIPS = {"dwell_min": 0.05, "bath_temp_c": 0.7, "dye_g_per_l": 0.02, "ph": 0.05}
_RELATIVE = ("dye_g_per_l", "film_um")
# how far the shades that are asked of a bath lie beside its course, in ΔE, and how far along it they may lie, in steps
# of `_COURSE`; judgement, no source
_OFF_COURSE, _LONG_COURSE = 1.0, 5.0
_COURSE = {"film_um": 0.1, "dye_g_per_l": 0.1, "bath_temp_c": 2.0, "dwell_min": 0.1}
# slips and readings are drawn this often for each draw of the bath
_REPEATS = 8


@dataclass(frozen=True)
class Suggestion(Drawn):
    """Settings for one dip and what to expect of it."""

    settings: dict  # film_um, dye_g_per_l, bath_temp_c, dwell_min, ph
    lab: Lab  # expected colour
    # delta_e00, delta_e00_p90: CIEDE2000 to expect to the likely target, as the shop will dip (`SLIPS`), and
    # the value below which the true difference of part and target stays nine times in ten
    delta_e00: float
    delta_e00_p90: float
    reachable: bool  # False where no setting within the bounds should come closer than 1.8
    why: str  # the reasons in words
    # per_10_s, per_degree: CIEDE2000 by which 10 s or 1 °C too much moves the shade
    per_10_s: float
    per_degree: float
    # lamp_a, lamp_led: CIEDE2000 by which the shade moves from daylight to lamp light (`dyebook.advice.suggest`)
    lamp_a: float
    lamp_led: float
    miss: str  # the expected difference in words, such as "a little greener"

    def to_dict(self):
        """Return plain numbers, the entry of the suggest contract."""
        return rounded_fields(self)


def rounded_fields(result) -> dict:
    """Return the fields of a result as plain values for JSON: colours to a hundredth, other figures to a thousandth."""
    coarse = ("lab", "lamp_a", "lamp_led")
    return {name: rounded(value, 2 if name in coarse else 3) for name, value in vars(result).items()}


def suggest_settings(
    model: BathModel,
    target,
    film_um: float | None = None,
    ph: float | None = None,
    bounds: dict | None = None,
    fixed: dict | None = None,
    count: int = 3,
) -> list[Suggestion]:
    """Return settings that should give a target shade, best first.

    Parameters
    ----------
    target : Reading, its dict of the measure contract, Shade, or sequence of 3 floats
        What the dips' readings share with the target's, of one set-up, cancels; three numbers share nothing.
    film_um
        Film of the part; free when left out.
    ph
        pH of the bath; the records' usual one when left out.
    bounds
        (low, high) by setting, in place of `dyebook.advice.suggest.default_bounds`.
    fixed
        Settings that cannot be moved.
    count
        How many distinct answers at most.
    """
    aim = Aim.of(target, model)
    space = Space(model, film_um, ph, bounds or {}, fixed or {})
    if not 1 <= int(count) <= 20:
        raise ModelError(f"count is {count}; between 1 and 20 answers can be given")
    with one_thread():
        first, gap, likely = _first_look(model, aim, space)
        refined = _refine(model, likely, space, first)
        return _answers(model, aim, likely, space, refined, gap, int(count))


@dataclass(frozen=True)
class Aim:
    """A target as the learned bath sees it."""

    lab: np.ndarray  # (3,): as the set-up of the bath's dips would read it
    covariance: np.ndarray  # (3, 3): of what the dips do not share with its reading
    unshared: bool  # whether that includes what camera and shape do to the dips' colours, or to the target's

    @classmethod
    def of(cls, target, model: BathModel) -> "Aim":
        """Return a Reading, its dict, a `Shade` or three numbers as an aim; ModelError if it is no colour."""
        lab, seen = checked_target(target), model.training.seen
        shade = Shade.of(target) if isinstance(target, (Shade, Reading, Mapping)) else Shade(lab)
        if shade.setup is not None and shade.setup in (seen.setup, *seen.shifts):
            shift = model.seen_by(shade.setup)
            parts = [shade.parts[name] for name in ("photo", "own") if name in shade.parts]
            return cls(lab - shift.mean(axis=0), sum(parts, np.cov(shift.T)), False)
        parts = sum(shade.parts.values(), np.diag(seen.shared_sd**2))
        return cls(lab, parts, bool(np.any(parts)) and (seen.setup is not None or shade.is_read))

    def likely(self, colours):
        """Return the likeliest target (3,), given equally likely colours (s, n, 3) of n dips from all that a bath does.

        Where its reading is unsure, as in lightness under a lamp, the bath's own colours say more: beforehand the
        target is any of them, give or take `_OFF_COURSE`, or more where none comes as near as the reading asks for.
        """
        if not self.covariance.any():
            return self.lab
        middle = colours.mean(axis=0)
        apart = colours - middle
        beside = np.einsum("sni,snj->nij", apart, apart) / len(colours) + _OFF_COURSE**2 * np.eye(3)
        off = self.lab - middle
        square = np.zeros(1)
        for _ in range(2):
            beside = beside * max(1.0, square.min() / 3)
            total = beside + self.covariance
            solved = np.linalg.solve(total, off[:, :, None])[:, :, 0]
            square = (off * solved).sum(axis=1)
        log_weight = -square / 2 - np.linalg.slogdet(total)[1] / 2
        weight = np.exp(log_weight - log_weight.max())
        moved = middle + (beside @ solved[:, :, None])[:, :, 0]
        return weight @ moved / weight.sum()

    def draws(self, colours, course, rng):
        """Return equally likely targets (s, 3), given the colours (s, 3) of a dip and how they move along its course.

        A bath is asked for shades that it nearly makes: beforehand the target lies on the course (k, 3) of the settings
        that may move, off it by `_OFF_COURSE` or by as much as is seen, and by what is not known of the bath. A reading
        then says no more of it than it is sure of (the product of two normal laws).
        """
        off = self.lab - colours.mean(axis=0)
        beside = off - course.T @ np.linalg.lstsq(course.T, off, rcond=None)[0] if len(course) else off
        prior = _LONG_COURSE**2 * course.T @ course + np.cov(colours.T)
        prior = prior + max(_OFF_COURSE**2, float(beside @ beside)) * np.eye(3)
        unsure = np.eye(3) - prior @ np.linalg.inv(prior + self.covariance)
        left = unsure @ prior
        values, vectors = np.linalg.eigh((left + left.T) / 2)
        noise = rng.standard_normal((len(colours), 3)) @ (vectors * np.sqrt(np.maximum(values, 0))).T
        return self.lab - unsure @ off + noise


def _first_look(model, aim, space):
    """Well-spread promising points of the cube, how near the bath comes in a hopeful draw, and the likely target."""
    from scipy.stats import qmc

    own = space.unit(model.training.settings)
    own = own[:: max(1, len(own) // 64)]
    if not space.free:
        points = own[:1]
    else:
        points = np.vstack([qmc.Sobol(len(space.free), scramble=False).random(_CANDIDATES), own])
    draws = model.colour_draws(space.settings(points), most=_FIRST_DRAWS)
    likely = aim.likely(draws)
    miss = delta_e_00(likely, draws)
    gap = float(np.quantile(miss.min(axis=1), _BENEFIT))
    return points[_spread(points, miss.mean(axis=0), _SEEDS, 0.15)], gap, likely


def _spread(points, score, most, apart):
    """Indices of the best points, no two closer than `apart` in the cube."""
    chosen = []
    for i in np.argsort(score):
        if all(np.max(np.abs(points[i] - points[j]), initial=0) >= apart for j in chosen):
            chosen.append(i)
    return chosen[:most]


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


def _answers(model, aim, likely, space, points, gap, count):
    settings = space.settings(points)
    draws = model.colour_draws(settings)
    longer = delta_e_00(draws, model.colour_draws(_shifted(settings, "dwell_min", 1 / 6))).mean(axis=0)
    warmer = delta_e_00(draws, model.colour_draws(_shifted(settings, "bath_temp_c", 1.0))).mean(axis=0)
    miss = delta_e_00(likely, draws)
    score = miss.mean(axis=0) + _FORGIVENESS * (longer + warmer)
    gap = min(gap, float(np.quantile(miss.min(axis=1), _BENEFIT)))
    chosen = _spread(points, score, count, _APART)
    lamps = lamp_shifts(model, settings[chosen])
    moves = [(longer[i], warmer[i], lamps["a"][k], lamps["led"][k]) for k, i in enumerate(chosen)]
    made = as_dipped(model, settings[chosen], draws[:, chosen])
    course = _course(model, settings[chosen], space.free)
    return [
        _suggestion(model, aim, likely, settings[[i]], made[:, k], course[:, k], gap, moves[k])
        for k, i in enumerate(chosen)
    ]


def as_dipped(model: BathModel, settings, draws):
    """Return equally likely colours (draws, n, 3) of dips as a shop makes them, from those of perfect dips.

    Slips move a colour in proportion, each draw by its own course over the setting.
    """
    rng = np.random.default_rng(0)
    draws = np.repeat(draws, _REPEATS, axis=0)
    made = draws.copy()
    for name, sd in (*SLIPS.items(), ("film_um", model.training.film_relative_sd)):
        step = sd * getattr(settings, name) if name in _RELATIVE else sd
        moved = np.repeat(model.colour_draws(_shifted(settings, name, step)), _REPEATS, axis=0)
        made += rng.standard_normal((*draws.shape[:2], 1)) * (moved - draws)
    return made


def _course(model, settings, free):
    """How the likeliest colours of n dips move by a step of each free setting, shape (k, n, 3)."""
    here, moved = model.colour_draws(settings, most=_FIRST_DRAWS).mean(axis=0), []
    for name in (name for name in free if name in _COURSE):
        step = _COURSE[name] * (1 if name == "bath_temp_c" else getattr(settings, name))
        moved.append(model.colour_draws(_shifted(settings, name, step), most=_FIRST_DRAWS).mean(axis=0) - here)
    return np.reshape(moved, (len(moved), *here.shape))


def _shifted(settings, name, step):
    return settings.moved(**{name: getattr(settings, name) + step})


# a black on less film shows a hue at some angle or in strong light; common practice, no source
_TRUE_BLACK_UM = 12.0


def _suggestion(model, aim, target, setting, draws, course, gap, moves):
    """One answer; `draws` (s, 3) are its colours as dipped, `moves` the shifts by 10 s, 1 degree and two lamps."""
    lab = Lab(*(float(value) for value in draws.mean(axis=0)))
    values = {name: float(getattr(setting, name)[0]) for name in SETTINGS}
    expected = float(delta_e_00(target, draws).mean())
    p90 = float(np.quantile(delta_e_00(aim.draws(draws, course, np.random.default_rng(1)), draws), 0.9))
    moves = [float(move) for move in moves]
    words = describe_difference(target, lab)
    reachable = gap <= REACH_DELTA_E00
    why = Note(
        "shade.suggestion",
        delta_e00=expected,
        delta_e00_p90=p90,
        reachable=reachable,
        miss=words,
        per_10_s=moves[0],
        per_degree=moves[1],
        footing=_footing(model, values),
        unshared=aim.unshared,
        thin_black=describe_colour(target) == "black" and values["film_um"] < _TRUE_BLACK_UM,
    )
    return Suggestion(values, lab, expected, p90, reachable, why, *moves, words)


def _footing(model, values):
    """What an answer rests on: whether its settings lie among the dips on record."""
    here = Settings(**{name: np.array([value]) for name, value in values.items()}).scaled()
    seen = model.training.settings.scaled()
    outside = (here[0] < seen.min(axis=0) - 0.25) | (here[0] > seen.max(axis=0) + 0.25)
    names = tuple(name for name, out in zip(SETTINGS, outside, strict=True) if out)
    if names:
        return Note("shade.outside", names=names)
    distance = np.sqrt(np.min(np.sum((seen - here) ** 2, axis=1)))
    return Note("shade.close" if distance < _CLOSE else "shade.between")


# what a bench can do; strengths reach beyond what was dipped by these factors
_TEMP_BOUNDS_C = (20.0, 65.0)
_DWELL_BOUNDS_MIN = (0.5, 20.0)
_DYE_FACTORS = (0.4, 2.5)
_DYE_LIMITS_G_PER_L = (0.1, 15.0)
_FILM_FACTORS = (0.6, 1.5)
_FILM_LIMITS_UM = (4.0, 26.0)
_LOGARITHMIC = ("film_um", "dye_g_per_l", "dwell_min")


def default_bounds(model):
    """Return the bounds of a search for each setting, from what a bench can do and what has been dipped."""
    seen = model.training.settings
    dye = (seen.dye_g_per_l.min() * _DYE_FACTORS[0], seen.dye_g_per_l.max() * _DYE_FACTORS[1])
    film = (seen.film_um.min() * _FILM_FACTORS[0], seen.film_um.max() * _FILM_FACTORS[1])
    return {
        "film_um": tuple(float(v) for v in np.clip(film, *_FILM_LIMITS_UM)),
        "dye_g_per_l": tuple(float(v) for v in np.clip(dye, *_DYE_LIMITS_G_PER_L)),
        "bath_temp_c": _TEMP_BOUNDS_C,
        "dwell_min": _DWELL_BOUNDS_MIN,
    }


def checked_target(target):
    """Return L*, a*, b* of a Reading, its dict, a `Shade` or three numbers as an array."""
    if isinstance(target, (Shade, Reading)):
        target = target.lab
    elif isinstance(target, Mapping):
        target = target.get("lab")
    lab = np.asarray(target, dtype=float).ravel() if not isinstance(target, str) else np.array([])
    if lab.size != 3 or not np.isfinite(lab).all():
        raise ModelError(f"the target is {target!r}; three numbers L*, a*, b* are needed")
    for name, value in zip(("L", "a", "b"), lab, strict=True):
        high = 100 if name == "L" else FIELDS[name].upper
        if not FIELDS[name].lower <= value <= high:
            raise ModelError(
                f"the target's {name}* is {value:g}; it must lie between {FIELDS[name].lower:g} and {high:g}: "
                "give CIELAB under D65, not sRGB codes"
            )
    return lab


class Space:
    """The settings that may move, as a unit cube."""

    def __init__(self, model, film_um, ph, bounds, fixed):
        self.fixed = {"ph": model.usual.ph if ph is None else ph}
        if film_um is not None:
            self.fixed["film_um"] = film_um
        self.fixed.update(fixed)
        self.fixed = {name: _checked_setting(name, value) for name, value in self.fixed.items()}
        limits = {**default_bounds(model), **{name: _checked_bounds(name, pair) for name, pair in bounds.items()}}
        if "ph" in bounds and ph is None and "ph" not in fixed:
            del self.fixed["ph"]
        self.free = [name for name in SETTINGS if name not in self.fixed and name in limits]
        self.limits = [limits[name] for name in self.free]
        self.low = np.array([_coordinate(name, limits[name][0]) for name in self.free])
        self.high = np.array([_coordinate(name, limits[name][1]) for name in self.free])

    def settings(self, unit):
        """Return settings at points (n, d) of the unit cube."""
        columns = {name: np.full(len(unit), value) for name, value in self.fixed.items()}
        at = self.low + unit * (self.high - self.low)
        for i, name in enumerate(self.free):
            # through a logarithm and back a bound may be passed by a hair
            columns[name] = np.clip(np.exp(at[:, i]) if name in _LOGARITHMIC else at[:, i], *self.limits[i])
        return Settings(**columns)

    def unit(self, settings):
        """Return points of the cube nearest to settings."""
        span = np.maximum(self.high - self.low, 1e-9)
        columns = [(_coordinate(n, getattr(settings, n)) - self.low[i]) / span[i] for i, n in enumerate(self.free)]
        return np.clip(np.stack(columns, axis=1), 0, 1) if columns else np.zeros((len(settings), 0))


def _coordinate(name, value):
    return np.log(value) if name in _LOGARITHMIC else np.asarray(value, dtype=float)


def _checked_setting(name, value):
    if name not in SETTINGS:
        raise ModelError(f"{name!r} is no setting of a dip; known: {', '.join(SETTINGS)}")
    row = FIELDS[name]
    try:
        number = float(value)
    except (TypeError, ValueError):
        raise ModelError(f"{name} is {value!r}; a number {row.unit} is needed") from None
    if not row.lower <= number <= row.upper:
        raise ModelError(f"{name} is {number:g} {row.unit}; it must lie between {row.lower:g} and {row.upper:g}")
    return number


def _checked_bounds(name, pair):
    low, high = (_checked_setting(name, value) for value in pair)
    if low > high:
        raise ModelError(f"the bounds of {name} are {low:g} and {high:g}; the lower one comes first")
    return low, high


LAMPS = ("a", "led")
_OTHER_SURFACES = ("plastic", "paper", "cloth", "paint")


def lamp_shifts(model: BathModel, settings):
    """Return how far the colour of dips moves from D65 to lamp light, each seen against that light's own white.

    Parameters
    ----------
    settings : Settings of n dips

    Returns
    -------
    dict of ndarray, shape (n,)
        CIEDE2000 for CIE illuminant A (``"a"``) and LED-B3 (``"led"``).

    Notes
    -----
    The spectrum behind it is inferred from colours under one light, so this is a guide to where to look, not a
    measurement.
    """
    shape = model.shape_of(settings)
    day = mode_colours(model.draws, shape)
    return {lamp: np.asarray(delta_e_00(day, mode_colours(model.draws, shape, lamp))).mean(axis=0) for lamp in LAMPS}


def sample_caution(kind: str | None):
    """Return a caution when a sample is not dyed metal, or empty text.

    `kind`: such as ``"metal"``, ``"plastic"``, ``"paper"``, ``"cloth"``.
    """
    if kind is None or kind.lower() not in _OTHER_SURFACES:
        return ""
    return Note("shade.other_surface", kind=kind)


_SHORTEST_MIN, _LONGEST_MIN = 0.25, 30.0
# settings other than the dwell that lie this near, in large ordinary changes, belong to the same curve
_ALIKE = 0.6


@dataclass(frozen=True)
class DepthRun:
    """Colours of dips that differ in nothing but their dwell, from pale to deep."""

    settings: dict  # what stays the same; its dwell_min is the one asked about
    dwell_min: np.ndarray  # (k,): rising
    lab: np.ndarray  # (k, 3): expected colours
    # lightness_low, lightness_high: (k,): L* between which the colour lies eight times in ten
    lightness_low: np.ndarray
    lightness_high: np.ndarray
    delta_e00: np.ndarray  # (k,): expected CIEDE2000 to the target
    nearest: int  # where that is least
    miss: str  # how the nearest differs from the target, in words
    # dip_dwell_min, dip_lightness: (n,): the dips on record
    dip_dwell_min: np.ndarray
    dip_lightness: np.ndarray
    dip_alike: np.ndarray  # bool (n,): whether a dip's other settings are near to these


def run_through_depth(model: BathModel, settings: dict, target, count: int = 25) -> DepthRun:
    """Return a bath's colours along the dwell.

    Parameters
    ----------
    settings
        film_um, dye_g_per_l, bath_temp_c, dwell_min, ph of one dip; all but the dwell stay.
    target : sequence of 3 floats
        L*, a*, b*.
    count
        How many dwells, evenly in their logarithm from a quarter of a minute to half an hour.
    """
    target = checked_target(target)
    if missing := [name for name in SETTINGS if name not in settings]:
        raise ModelError(f"a dip's {', '.join(missing)} is not given; all of {', '.join(SETTINGS)} are needed")
    dwell = np.geomspace(_SHORTEST_MIN, _LONGEST_MIN, count)
    same = {name: np.full(count, float(settings[name])) for name in SETTINGS}
    draws = model.colour_draws(Settings(**{**same, "dwell_min": dwell}))
    miss = delta_e_00(target, draws).mean(axis=0)
    nearest, lab = int(np.argmin(miss)), draws.mean(axis=0)
    low, high = np.quantile(draws[..., 0], (0.1, 0.9), axis=0)
    words = describe_difference(target, lab[nearest])
    seen = model.training
    dips = seen.settings.dwell_min, seen.lab[:, 0], _alike(seen.settings, settings)
    return DepthRun(dict(settings), dwell, lab, low, high, miss, nearest, words, *dips)


def _alike(seen, settings):
    """Whether dips on record (n,) were made at these settings but for the dwell."""
    here = Settings(**{name: np.array([float(settings[name])]) for name in SETTINGS}).scaled()
    apart = np.delete(seen.scaled() - here, SETTINGS.index("dwell_min"), axis=1)
    return np.linalg.norm(apart, axis=1) < _ALIKE
