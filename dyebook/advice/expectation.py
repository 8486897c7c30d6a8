"""Readings of a bath against what it should have given: signed differences, and the dye strength that explains them."""

import numpy as np

from dyebook.advice.verdict import split_difference

__all__ = ["DRIFT_COLUMNS", "compare_with_expectation", "lies_beside"]

DRIFT_COLUMNS = ("delta_l", "delta_c", "delta_h", "log_strength")
_FACTORS = np.exp(np.linspace(np.log(0.25), np.log(3.0), 41))
# a reading this far beside all strengths of its bath, and beyond its own doubt, is no matter of strength
_BESIDE_DELTA_E, _BESIDE_U = 5.0, 2.0


def lies_beside(history):
    """Return which rows of `compare_with_expectation` no strength of the dye explains; bool array (n,)."""
    u = history["beside_u"].fillna(0.0).to_numpy() if "beside_u" in history else np.zeros(len(history))
    return history["beside"].to_numpy() > np.maximum(_BESIDE_DELTA_E, _BESIDE_U * u)


def compare_with_expectation(model, records):
    """Return ΔL*, ΔC*, ΔH* of readings to what a bath should give, and the log strength that explains them best.

    Parameters
    ----------
    model : BathModel
        Learned from dips before the ones to be charted.
    records : DataFrame
        Settings as noted, and the readings L, a, b.

    Returns
    -------
    DataFrame
        `DRIFT_COLUMNS` and dyed_at where known, one row a record; log_strength is nan where strength hardly moves the
        colour. Where the readings' uncertainty is known (``L_sd`` and its like), the same names with ``_u``. And
        ``beside``: how far the reading lies from all colours that the strength can give.
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
        table["beside_u"] = np.linalg.norm(np.nan_to_num(u), axis=1)
    else:
        del table["log_strength_u"]
    if "dyed_at" in records:
        table["dyed_at"] = records["dyed_at"]
    return table


def _reading_u(records):
    """Standard uncertainty (n, 3) of L*, a*, b*; nan where nobody noted it."""
    names = ["L_sd", "a_sd", "b_sd"]
    return records.reindex(columns=names).to_numpy(float)


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
