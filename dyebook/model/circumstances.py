"""What else differs from dip to dip: alloy, finish, electrolyte temperature, seal, wetness and the date.

Each becomes a few columns whose coefficients are standard normal beforehand. Alloys and finishes get partially pooled
offsets of log load: a level with few records stays near the others. The date lets the bath's strength walk, on from the
latest dip too. A seal or a wet surface may also change the hue.
"""

from dataclasses import dataclass

import numpy as np

from dyebook.record import is_empty

__all__ = ["Circumstances"]

_WORDS = ("alloy", "finish")
_STATES = ("sealed", "wet")
# standard deviations of log load
_LEVEL_SD = 0.15
_STATE_SD = 0.15
_FILM_HEAT_SD_PER_C = 0.03
_WALK_SD_PER_ROOT_DAY = 0.015
# a seal may move the hue about as much as three ordinary changes of a setting
_STATE_HUE = 3.0
_MOST_KNOTS = 8
_YES = ("true", "1", "1.0", "yes")
_NO = ("false", "0", "0.0", "no")


@dataclass(frozen=True)
class Circumstances:
    """The circumstances that vary among records, and what is usual.

    Attributes
    ----------
    levels : dict
        Alloys and finishes seen, where there are several.
    usual : dict
        The most common state or level, or the median, of every circumstance that varies.
    knots_day : ndarray
        Days since 1970 between which the bath's strength walks; the last is the latest dip. Empty without dates.
    shared : int
        Columns that stepped coupons add to the records; no other dip has a share in them.
    """

    levels: dict
    usual: dict
    knots_day: np.ndarray
    shared: int = 0

    @classmethod
    def learn(cls, frame):
        """Return the circumstances that vary among the rows of a DataFrame."""
        levels, usual = {}, {}
        for name in _WORDS:
            seen = [text for text in _texts(frame, name) if text]
            if len(set(seen)) > 1:
                levels[name] = tuple(sorted(set(seen)))
                usual[name] = max(levels[name], key=seen.count)
        for name in _STATES:
            seen = _states(frame, name)
            seen = seen[np.isfinite(seen)]
            if seen.size and np.ptp(seen) > 0:
                usual[name] = float(np.mean(seen) > 0.5)
        heat = _numbers(frame, "electrolyte_temp_c")
        if np.isfinite(heat).sum() > 1 and np.nanmax(heat) - np.nanmin(heat) > 0.5:
            usual["electrolyte_temp_c"] = float(np.nanmedian(heat))
        return cls(levels, usual, _knots(_days(frame)))

    def encode(self, frame):
        """Return columns for log load (n, q) and columns that may also move the hue (n, r)."""
        load, hue = [np.zeros((len(frame), 0))], [np.zeros((len(frame), 0))]
        for name, levels in self.levels.items():
            texts = [text or self.usual[name] for text in _texts(frame, name)]
            load.append(_LEVEL_SD * np.array([[text == level for level in levels] for text in texts], dtype=float))
        if "electrolyte_temp_c" in self.usual:
            heat = _numbers(frame, "electrolyte_temp_c") - self.usual["electrolyte_temp_c"]
            load.append(_FILM_HEAT_SD_PER_C * np.nan_to_num(heat)[:, None])
        for name in _STATES:
            if name in self.usual:
                state = _states(frame, name)
                state = np.where(np.isfinite(state), state, self.usual[name])[:, None]
                load.append(_STATE_SD * state)
                hue.append(_STATE_HUE * state)
        load.append(self._walk(_days(frame)))
        load.append(np.zeros((len(frame), self.shared)))
        return np.hstack(load), np.hstack(hue)

    def _walk(self, days):
        """Steps of a random walk counted back from the latest dip, and the one that goes on from there.

        No record has a share in the last step, so that it stays as unsure as it was: a dip long after the latest one
        on record is less sure, and one without a date is as of that latest one.
        """
        if not self.knots_day.size:
            return np.zeros((len(days), 0))
        days = np.where(np.isfinite(days), days, self.knots_day[-1])[:, None]
        early, late = self.knots_day[:-1], self.knots_day[1:]
        back = np.sqrt(late - early) * np.clip((late - days) / np.maximum(late - early, 1e-9), 0, 1)
        onwards = np.sqrt(np.maximum(days - self.knots_day[-1], 0))
        return _WALK_SD_PER_ROOT_DAY * np.hstack([back, onwards])


def _texts(frame, name):
    if name not in frame.columns:
        return [""] * len(frame)
    return ["" if is_empty(value) else str(value).strip() for value in frame[name]]


def _states(frame, name):
    """1, 0, or nan where nobody noted the state."""
    texts = [text.lower() for text in _texts(frame, name)]
    return np.array([1.0 if text in _YES else 0.0 if text in _NO else np.nan for text in texts])


def _numbers(frame, name):
    import pandas as pd

    if name not in frame.columns:
        return np.full(len(frame), np.nan)
    return pd.to_numeric(frame[name], errors="coerce").to_numpy(dtype=float)


def _days(frame):
    import pandas as pd

    if "dyed_at" not in frame.columns:
        return np.full(len(frame), np.nan)
    times = pd.to_datetime(frame["dyed_at"], errors="coerce", utc=True, format="ISO8601")
    return ((times - pd.Timestamp(0, tz="UTC")) / pd.Timedelta(days=1)).to_numpy(dtype=float)


def _knots(days):
    days = np.unique(days[np.isfinite(days)])
    if days.size < 2 or np.ptp(days) < 1:
        return days[-1:]
    return np.unique(np.quantile(days, np.linspace(0, 1, min(_MOST_KNOTS, days.size))))
