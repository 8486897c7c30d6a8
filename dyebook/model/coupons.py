"""Stepped coupons: the bands of one strip share one film and one bath, and so also what is wrong about these.

Six dwells off one strip tell the shape of the uptake well and its height no better than one dip does. What the bands
share becomes two unknowns a strip, for its film and for its bath, and leaves the scatter of each band alone.
"""

import numpy as np

from dyebook.model.load import Load, SettingLogs
from dyebook.model.parameters import UPTAKE

__all__ = ["coupon_groups", "share_errors"]

# settings whose error the bands have in common; each band has its own time by the clock
_OF_FILM, _OF_BATH = ("film_um",), ("dye_g_per_l", "bath_temp_c", "ph")
_PLACES = {"film_um": 0, "dye_g_per_l": 1, "bath_temp_c": 2, "ph": 4}
# log load by which one strip differs from the next at equal settings: the middle of the prior of a dip's own scatter
_STRIP_SD = 0.03
# unknowns cost time: strips beyond so many, the oldest, are weighted down instead
_MOST_STRIPS = 60


def coupon_groups(frame):
    """Return the rows of each stepped coupon, strips of one row left out.

    Parameters
    ----------
    frame : pandas.DataFrame
        Column ``coupon`` names the strip a row is a band of; empty for a dip of its own.

    Returns
    -------
    list of ndarray of int
        In the order of their first rows.
    """
    if "coupon" not in frame.columns:
        return []
    rows = {}
    for place, value in enumerate(frame["coupon"]):
        name = "" if value is None or value != value else str(value).strip()
        if name:
            rows.setdefault(name, []).append(place)
    return [np.array(places) for places in rows.values() if len(places) > 1]


def share_errors(groups, settings, sd, relative_sd):
    """Return the columns of what strips share, and the uncertainties left to each record.

    Parameters
    ----------
    groups : list of ndarray of int
        Rows of each strip.
    settings : Settings of n dips
    sd : dict of ndarray, shape (n,)
        Standard uncertainty of each setting.
    relative_sd : ndarray, shape (n, 5)
        The same, of log film, log dye, °C, log dwell and pH.

    Returns
    -------
    columns : ndarray, shape (n, 2 * strips)
        Shifts of log load per unit of a standard-normal unknown.
    sd : dict of ndarray, shape (n,)

    Notes
    -----
    How log load answers to a setting is taken from the usual bath, z = 0: bands of one strip differ in dwell alone, so
    it is the course along the strip that matters here, and not its exact height.
    """
    if not groups:
        return np.zeros((len(settings), 0)), sd
    answer = Load(np.zeros(len(UPTAKE)), SettingLogs.of(settings)).by_setting() * relative_sd
    left = {name: np.array(np.broadcast_to(value, len(settings)), dtype=float) for name, value in sd.items()}
    columns = []
    for rows in groups[-_MOST_STRIPS:]:
        film = _column(answer, rows, _OF_FILM)
        bath = np.hypot(_column(answer, rows, _OF_BATH), np.where(np.isin(np.arange(len(answer)), rows), _STRIP_SD, 0))
        columns += [film, bath]
        for name in _PLACES:
            left[name][rows] = 0.0
    for rows in groups[:-_MOST_STRIPS]:
        for name in _PLACES:
            # the mean of k bands is then as unsure as one dip
            left[name][rows] *= np.sqrt(len(rows))
    return np.stack(columns, axis=1), left


def _column(answer, rows, names):
    """Shift (n,) of log load by one standard error of some settings, on the rows of one strip."""
    out = np.zeros(len(answer))
    part = answer[rows][:, [_PLACES[name] for name in names]]
    sign = np.sign(part[:, 0]) if len(names) == 1 else 1.0
    out[rows] = sign * np.linalg.norm(part, axis=1)
    return out
