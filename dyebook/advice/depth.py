"""A bath's own line of depth: the colours that more or less dye in the film would give."""

import numpy as np

from dyebook.model.inputs import SETTINGS, read_settings
from dyebook.record import FIELDS

__all__ = ["depth_line", "expected_draws"]

_LESS = np.exp(np.linspace(np.log(1 / 60), 0, 25))
_MORE = np.exp(np.linspace(0, np.log(12), 16))
_FINE = 8


def _frame(record, factors, name):
    """Rows of the record with one setting multiplied, inside what can be set."""
    import pandas as pd

    base = {key: record[key] for key in ("alloy", "finish", "sealed", "wet", "electrolyte_temp_c", "dyed_at")
            if record.get(key) is not None}  # fmt: skip
    rows = pd.DataFrame([base | {key: record.get(key, np.nan) for key in SETTINGS}] * len(factors))
    row = FIELDS[name]
    rows[name] = np.clip(rows[name].to_numpy(float) * factors, max(row.lower, 0.02), row.upper)
    return rows


def expected_draws(model, record):
    """Return equally likely colours (n, 3) that the settings on record should give."""
    settings = read_settings(_frame(record, [1.0], "dwell_min"), model.usual, model.training.circumstances)
    return model.colour_draws(settings)[:, 0]


def depth_line(model, record):
    """Return colours (k, 3) along the line of depth, and on which side of the expected colour each lies (k,).

    Parameters
    ----------
    model : BathModel
    record : dict
        Settings of the dip.

    Returns
    -------
    line : ndarray, shape (k, 3)
    sides : ndarray, shape (k,)
        -1 for less dye, 1 for more.

    Notes
    -----
    Less by a shorter dwell, more by a longer dwell and a stronger bath: what thin films, weak, cold or short dips do
    keeps to this line; other dyes and dirt leave it.
    """
    import pandas as pd

    pieces = [(_LESS, "dwell_min"), (_LESS, "dye_g_per_l"), (_MORE, "dwell_min"), (_MORE, "dye_g_per_l")]
    rows = pd.concat([_frame(record, factors, name) for factors, name in pieces], ignore_index=True)
    colours = model.predict(rows)[["L", "a", "b"]].to_numpy(float)
    ends = np.cumsum([len(factors) for factors, _ in pieces])[:-1]
    fine = [_finer(piece) for piece in np.split(colours, ends)]
    sides = [np.full(len(piece), side) for piece, side in zip(fine, (-1.0, -1.0, 1.0, 1.0), strict=True)]
    return np.concatenate(fine), np.concatenate(sides)


def _finer(points):
    at = np.linspace(0, len(points) - 1, _FINE * (len(points) - 1) + 1)
    return np.stack([np.interp(at, np.arange(len(points)), column) for column in points.T], axis=1)
