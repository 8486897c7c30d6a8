"""Is a bath drifting? Charts of ΔL*, ΔC*, ΔH* to expectation and of the dye strength that the readings show.

A bath is learned from its dips soon after each filling, and later readings are compared with what it should give. One
rule decides: a cumulative sum with a limit of 7 standard deviations. With centre and scatter known, four charts would
together signal falsely once in 870 readings, and see a step of one and a half standard deviations after 8; but they
come from a dozen dips, which widen slack and scatter: `FALSE_IN_HUNDRED` and `SEEN_AFTER` say what that comes to.
Doubtful readings count less. ΔE itself is never charted: it is always positive. Readings beside all strengths of the
dye mean dirt, not fading. The dips just before one in question are evidence for its causes.
"""

from dataclasses import dataclass, field

import numpy as np

from dyebook.advice.causes import STATES, Seen, sure
from dyebook.advice.charts import cusum_chart, ewma_chart, individuals_chart, sd_from_moving_range
from dyebook.advice.judge import split_difference
from dyebook.errors import RecordError
from dyebook.model.inputs import rounded
from dyebook.model.predict import BathModel
from dyebook.notebook import Note

__all__ = ["DRIFT_COLUMNS", "Drift", "Trend", "compare_with_expectation", "dips_before", "find_drift"]

DRIFT_COLUMNS = ("delta_l", "delta_c", "delta_h", "log_strength")
# in standard deviations; set by simulation, as `tests/advice/test_drift.py` does again, so that four charts that err
# apart signal on about three of ten steady baths within a hundred readings, from a baseline of 6 to 30 on
_SLACK, _SLACK_OF_FEW, _LIMIT = 0.5, 3.0, 7.0
# that share for so many charts, and after how many readings half of all steps of 1.5 standard deviations are seen, both
# with centre and scatter from twelve dips
FALSE_IN_HUNDRED = {1: 0.09, 2: 0.17, 3: 0.25, 4: 0.31}
SEEN_AFTER = 12
_LEAST_BASELINE = 6
_LATE = 5  # readings that say how it is now
# no reading repeats better than this: a baseline that happens to be quiet must not make the limits tight
_LEAST_SD = {"delta_l": 0.3, "delta_c": 0.3, "delta_h": 0.3, "log_strength": 0.02}


@dataclass(frozen=True)
class Trend:
    """One charted quantity."""

    name: str  # one of `DRIFT_COLUMNS`
    # centre, sd: of the baseline
    centre: float
    sd: float
    since: int | None  # place in the history from which it has been drifting; None while it stays put
    direction: int  # 1 upward, -1 downward, 0 while it stays put
    now: float  # middle of what was read since then, less the centre; the last few readings at most
    late: float  # middle of the last few readings less the centre, drifting or not
    charts: dict = field(repr=False)  # individuals, ewma, cusum_up, cusum_down


@dataclass(frozen=True)
class Drift:
    """What the charts of one bath say."""

    cause: str  # none, bath, camera or unclear
    trends: tuple
    since: object  # when it began, as the history's `dyed_at` (or row number) says; None while all stays put
    strength: float | None  # dye left against the baseline, 1 = as made up
    top_up_g: float | None  # dye that would bring it back; needs strength, bath volume and make-up
    why: Note

    @property
    def false_in_hundred(self) -> float:
        """Share of baths that stay put which these charts together call drifting within a hundred readings."""
        return FALSE_IN_HUNDRED[len(self.trends)]

    @property
    def seen_after(self) -> int:
        """Readings within which half of all steps of 1.5 standard deviations are seen."""
        return SEEN_AFTER

    def to_dict(self):
        """Return plain values for JSON, without the charts' points."""
        return {
            "cause": self.cause,
            "since": None if self.since is None else str(self.since),
            "strength": rounded(self.strength, 3),
            "top_up_g": rounded(self.top_up_g, 2),
            "why": self.why,
            "false_in_hundred": self.false_in_hundred,
            "trends": [
                {"name": t.name, "centre": round(t.centre, 3), "sd": round(t.sd, 3), "direction": t.direction,
                 "now": round(t.now, 3)}
                for t in self.trends
            ],
        }  # fmt: skip


def find_drift(
    history,
    *,
    baseline: int = 10,
    coupon=None,
    coupon_baseline: int | None = None,
    bath_volume_l: float | None = None,
    dye_g_per_l: float | None = None,
) -> Drift:
    """Return whether a bath drifts, since when, and what to add.

    Parameters
    ----------
    history : DataFrame
        Any of `DRIFT_COLUMNS`, in order of time; optional dyed_at, the columns' uncertainties (``_u``) and beside.
    baseline
        Readings at the start that say what is usual.
    coupon : DataFrame, optional
        The check coupon's own history, delta_l, delta_c, delta_h to its first reading: a coupon that drifts too tells
        of the camera or the card.
    coupon_baseline
        Its readings at the start that say what is usual; as many as the bath's if left out.
    bath_volume_l, dye_g_per_l
        Of the bath as made up, for the grams to add.
    """
    trends = _trends(history, baseline)
    moved = [trend for trend in trends if trend.direction]
    camera = coupon is not None and any(trend.direction for trend in _trends(coupon, coupon_baseline or baseline))
    cause = _cause(moved, camera, coupon is not None)
    if not moved:
        why = Note("trouble.steady", readings=len(history), charts=len(trends), camera=camera)
        return Drift(cause, trends, None, None, None, why)
    first = min(moved, key=lambda trend: trend.since)
    since = history["dyed_at"].iloc[first.since] if "dyed_at" in history else first.since
    foul = _is_foul(history, first.since)
    strength = None if foul else _strength(trends, moved)
    known = cause != "camera" and strength is not None and strength < 1 and None not in (bath_volume_l, dye_g_per_l)
    top_up = (1 - strength) * dye_g_per_l * bath_volume_l if known else None
    ways = tuple((trend.name, trend.direction) for trend in moved)
    why = Note("trouble.drift", cause=cause, ways=ways, since=since, strength=strength, top_up_g=top_up, foul=foul)
    return Drift(cause, trends, since, strength, top_up, why)


def _strength(trends, moved):
    """Dye left, once its own chart or that of lightness has shown a drift that it explains; else None."""
    trend = next((one for one in trends if one.name == "log_strength"), None)
    if trend is None:
        return None
    if trend.direction:
        return float(np.exp(trend.now))
    lightness = next((one.direction for one in moved if one.name == "delta_l"), 0)
    sure = abs(trend.late) > 2 * trend.sd / np.sqrt(_LATE)
    return float(np.exp(trend.late)) if sure and trend.late * lightness < 0 else None


def _is_foul(history, since):
    """Whether the readings since then lie beside all that strength can do."""
    late = history.iloc[max(since, len(history) - _LATE) :]
    return "beside" in history and bool(lies_beside(late).mean() > 0.5)


def _trends(history, baseline):
    names = [name for name in DRIFT_COLUMNS if name in history and np.isfinite(history[name]).sum() > _LEAST_BASELINE]
    if not names or baseline < _LEAST_BASELINE:
        raise RecordError(
            f"{len(history)} readings with a baseline of {baseline}: too few to tell drift from scatter; "
            f"more than {_LEAST_BASELINE} are needed, {_LEAST_BASELINE} or more of them as baseline"
        )
    return tuple(_trend(name, history[name].to_numpy(float), _doubts(history, name), baseline) for name in names)


def _doubts(history, name):
    """Uncertainty (n,) of one column, 0 where it was not noted."""
    if f"{name}_u" not in history:
        return np.zeros(len(history))
    return np.nan_to_num(history[f"{name}_u"].to_numpy(float))


def _trend(name, values, doubts, baseline):
    places = np.flatnonzero(np.isfinite(values))
    x, u = values[places], doubts[places]
    start = x[: min(baseline, x.size)]
    sd = max(sd_from_moving_range(start), _LEAST_SD[name])
    centre = float(np.mean(start))
    # a reading in more doubt than those of the baseline counts by as much less
    trust = 1 / (1 + np.maximum(u**2 - np.median(u[: start.size]) ** 2, 0) / sd**2)
    counted, slack = centre + np.sqrt(trust) * (x - centre), _SLACK + _SLACK_OF_FEW / start.size
    up, down = cusum_chart(counted, centre, sd * (1 + 2 / start.size), slack, _LIMIT)
    charts = {"individuals": individuals_chart(x, centre, sd), "ewma": ewma_chart(x, centre, sd)}
    charts |= {"cusum_up": up, "cusum_down": down}
    direction, since = _signal(up, down)
    late = _middle(x[-_LATE:], trust[-_LATE:]) - centre
    if since is None:
        return Trend(name, centre, sd, None, 0, 0.0, late, charts)
    first = max(since, x.size - _LATE)
    return Trend(
        name, centre, sd, int(places[since]), direction, _middle(x[first:], trust[first:]) - centre, late, charts
    )


def _middle(x, trust):
    """Weighted median."""
    order = np.argsort(x)
    total = np.cumsum(trust[order])
    low, high = (np.searchsorted(total, total[-1] / 2 * (1 + shift)) for shift in (-1e-9, 1e-9))
    return float(x[order][low] + x[order][min(high, x.size - 1)]) / 2


def _signal(up, down):
    """Direction of a sum that is beyond its limit now, and where it last left nought."""
    direction, chart = max(((1, up), (-1, down)), key=lambda pair: pair[1].points[-1] - pair[1].upper[-1])
    if chart.points[-1] <= chart.upper[-1]:
        return 0, None
    noughts = np.flatnonzero(chart.points == 0)
    return direction, int(noughts[-1]) + 1 if noughts.size else 0


def _cause(moved, camera, coupon_known):
    if camera:
        return "camera"
    if not moved:
        return "none"
    return "bath" if coupon_known else "unclear"


_FACTORS = np.exp(np.linspace(np.log(0.25), np.log(3.0), 41))
# a reading this far beside all strengths of its bath, and beyond its own doubt, is no matter of strength
_BESIDE_DELTA_E, _BESIDE_U = 5.0, 2.0


def compare_with_expectation(model: BathModel, records):
    """Return ΔL*, ΔC*, ΔH* of readings to what a bath should give, and the log strength that explains them best.

    Parameters
    ----------
    model
        Learned from dips before the ones to be charted.
    records : DataFrame
        Settings as noted, and the readings L, a, b.

    Returns
    -------
    DataFrame
        `DRIFT_COLUMNS` and dyed_at where known, one row a record; log_strength is nan where strength hardly moves the
        colour. Where the readings' uncertainty is known (``L_sd`` and its like), the same names with ``_u``. And
        ``beside``: how far the reading lies from all colours that the strength can give, its uncertainty from ``L_u``
        and its like, with what a set-up shares, where they are known.
    """
    import pandas as pd

    records = records.reset_index(drop=True)
    read = records[["L", "a", "b"]].to_numpy(float)
    expected = model.predict(records)[["L", "a", "b"]].to_numpy(float)
    table = pd.DataFrame(split_difference(expected, read), columns=list(DRIFT_COLUMNS[:3]))
    u = _reading_u(records)
    table["log_strength"], table["log_strength_u"], table["beside"] = _log_strengths(model, records, read, u)
    if np.isfinite(u).any():
        table[["delta_l_u", "delta_c_u", "delta_h_u"]] = _turned_u(expected, u)
        # a trend is of what moves from photo to photo; to lie beside a bath's colours takes more than all of the error
        whole = _reading_u(records, "_u")
        table["beside_u"] = np.linalg.norm(np.nan_to_num(np.where(np.isfinite(whole), whole, u)), axis=1)
    else:
        del table["log_strength_u"]
    if "dyed_at" in records:
        table["dyed_at"] = records["dyed_at"]
    return table


def lies_beside(history):
    """Return which rows of `compare_with_expectation` no strength of the dye explains; bool array (n,)."""
    u = history["beside_u"].fillna(0.0).to_numpy() if "beside_u" in history else np.zeros(len(history))
    return history["beside"].to_numpy() > np.maximum(_BESIDE_DELTA_E, _BESIDE_U * u)


def _reading_u(records, ending="_sd"):
    """Standard uncertainty (n, 3) of L*, a*, b*; nan where it was not noted."""
    return records.reindex(columns=[f"{axis}{ending}" for axis in "Lab"]).to_numpy(float)


def _turned_u(expected, u):
    """Uncertainty (n, 3) of ΔL*, ΔC*, ΔH* from that of L*, a*, b*."""
    hue = np.arctan2(expected[:, 2], expected[:, 1])
    cos, sin = np.cos(hue), np.sin(hue)
    along, across = np.hypot(cos * u[:, 1], sin * u[:, 2]), np.hypot(sin * u[:, 1], cos * u[:, 2])
    return np.stack([u[:, 0], along, across], axis=1)


def _log_strengths(model, records, read, u):
    """Log factor on the noted strength whose predicted colour is nearest, finer than the grid by a parabola.

    With its uncertainty, and how far the reading lies beside that colour.
    """
    rows = records.loc[records.index.repeat(_FACTORS.size)].reset_index(drop=True)
    rows["dye_g_per_l"] = np.clip(rows["dye_g_per_l"].to_numpy(float) * np.tile(_FACTORS, len(records)), 0.002, 99)
    line = model.predict(rows)[["L", "a", "b"]].to_numpy(float).reshape(len(records), -1, 3)
    miss = np.sum((line - read[:, None]) ** 2, axis=-1)
    steps = np.log(_FACTORS)
    best = np.clip(miss.argmin(axis=1), 1, steps.size - 2)
    row = np.arange(len(records))
    before, here, after = (miss[row, best + k] for k in (-1, 0, 1))
    bend = before - 2 * here + after
    shift = np.where(bend > 1e-12, 0.5 * (before - after) / np.maximum(bend, 1e-12), 0.0)
    found = steps[best] + np.clip(shift, -1, 1) * (steps[1] - steps[0])
    # where a whole e-fold moves the colour by less than a reading's doubt, the reading says nothing of strength
    slope = (line[row, best + 1] - line[row, best - 1]) / (steps[2] - steps[0])
    moves = np.linalg.norm(slope, axis=-1)
    known = moves > 2.0
    doubt = np.linalg.norm(slope * u, axis=-1) / np.maximum(moves, 1e-9) ** 2
    beside = np.sqrt(miss.min(axis=1))
    return np.where(known, found, np.nan), np.where(known, doubt, np.nan), beside


LAST_DIPS = 4
_LEAST_DIPS = 2
# of log strength: one reading without a noted doubt, what dips scatter beyond that, and what the bath's model gets
# wrong for all of them alike
_READING_U, _SCATTER, _SHARED = 0.1, 0.05, 0.06
# how far a bath weakens before it is seen, or is made too strong; common practice, no source
_WEAKER, _STRONGER = (-0.8, -0.08), (0.08, 0.8)
_FOUL = 0.4


def dips_before(model: BathModel, dips) -> Seen | None:
    """Return evidence of the bath's last dips, or None where there are too few.

    `model`: learned from dips of the bath while it was as made up. `dips` (DataFrame): the bath's dips before the one
    in question, oldest first, with L, a, b; the last few are looked at.
    """
    last = dips.tail(LAST_DIPS)
    if len(last) < _LEAST_DIPS:
        return None
    history = compare_with_expectation(model, last)
    if _foul_share(history) > _FOUL:
        return sure("before", "off too", Note("trouble.dips_before", count=len(last), state="off too"))
    chances = _strength_chances(history, model.reading_scale)
    if chances is None:
        return None
    likeliest = STATES["before"][int(np.argmax(chances))]
    return Seen("before", tuple(chances), Note("trouble.dips_before", count=len(last), state=likeliest))


def _foul_share(history):
    """Share of dips beside the bath's colours; dirt comes in between two dips, so the latest counts most."""
    return float(np.average(lies_beside(history), weights=np.arange(1, len(history) + 1)))


def _strength_chances(history, repeats):
    """How likely the dips' strengths are under each state; None where they tell nothing of strength."""
    from scipy.stats import norm

    values = history["log_strength"].to_numpy(float)
    u = history["log_strength_u"].to_numpy(float) if "log_strength_u" in history else np.full(len(values), np.nan)
    known = np.isfinite(values)
    if not known.any():
        return None
    variance = np.where(np.isfinite(u), repeats * u, _READING_U)[known] ** 2 + _SCATTER**2
    middle = np.clip(np.average(values[known], weights=1 / variance), _WEAKER[0], _STRONGER[1])
    sd = np.sqrt(1 / np.sum(1 / variance) + _SHARED**2)
    spans = [(high - low, norm.cdf(high, middle, sd) - norm.cdf(low, middle, sd)) for low, high in (_WEAKER, _STRONGER)]
    weaker, stronger = (share / width for width, share in spans)
    chances = np.array([norm.pdf(middle, 0, sd), weaker, stronger, 0.0])
    return chances / chances.max()
