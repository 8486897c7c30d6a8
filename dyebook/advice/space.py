"""Where a search for settings may go: bounds, fixed settings, and checks of what was asked."""

import numpy as np

from dyebook.errors import ModelError
from dyebook.model.inputs import SETTINGS, Settings
from dyebook.record import FIELDS

__all__ = ["Space", "checked_target", "default_bounds"]

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
    """Return L*, a*, b* as an array.

    Raises
    ------
    ModelError
        If `target` is not three numbers that can be a colour.
    """
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
