"""The check coupon: one piece kept unchanged and photographed each day, to catch a drifting camera, lamp or card."""

from dataclasses import dataclass
from datetime import date

import numpy as np

from dyebook.errors import PhotoError

__all__ = ["CouponDays", "coupon_days", "keep_day"]

# the first days say what is usual; the rule that tells drift from scatter needs one more
_BASELINE = 6


@dataclass(frozen=True)
class CouponDays:
    """The readings of one check coupon with one camera, a day each.

    Attributes
    ----------
    camera : str
    days : tuple of (str, float, float, float)
        ISO date, L*, a*, b*, in order of time.
    differences : DataFrame
        delta_l, delta_c, delta_h to the mean of the first days, and dyed_at, the date.
    drift : dyebook.advice.drift.Drift or None
        None while there are too few days to tell.
    missing : int
        Days still needed until it can be told.
    """

    camera: str
    days: tuple
    differences: object
    drift: object
    missing: int

    def to_dict(self):
        """Return plain values for JSON."""
        last = self.differences.iloc[-1]
        return {
            "camera": self.camera,
            "days": [{"day": day, "lab": list(lab)} for day, *lab in self.days],
            "last": {name: round(float(last[name]), 3) for name in ("delta_l", "delta_c", "delta_h")},
            "drifts": None if self.drift is None else self.drift.cause != "none",
            "since": None if self.drift is None or self.drift.since is None else str(self.drift.since),
            "days_missing": self.missing,
        }


def keep_day(camera, labs, day=None):
    """Keep what one day's photos read on the check coupon, and return all days so far.

    Parameters
    ----------
    camera : str
        Name of the learned camera the photos were read with.
    labs : sequence of Lab
        One reading a photo; their mean is the day's.
    day : datetime.date, optional
        Today if left out. A second entry of a day takes the place of the first.

    Returns
    -------
    CouponDays

    Raises
    ------
    PhotoError
        If there is no such camera, or the day lies ahead.
    """
    from dyebook.photo.camera_store import note_day

    day = date.today() if day is None else day
    if day > date.today():
        raise PhotoError(f"{day.isoformat()} lies ahead; give the day the coupon was photographed, such as today")
    return _told(note_day(camera, day.isoformat(), np.mean(labs, axis=0)))


def coupon_days(camera):
    """Return all days of the check coupon kept with a camera; None while there are none."""
    from dyebook.photo.camera_store import load_camera

    profile = load_camera(camera)
    return _told(profile) if profile.coupon_days else None


def _told(profile):
    import pandas as pd

    from dyebook.advice.drift import find_drift
    from dyebook.advice.expectation import DRIFT_COLUMNS
    from dyebook.advice.verdict import split_difference

    lab = np.array([values for _, *values in profile.coupon_days], dtype=float)
    usual = lab[:_BASELINE].mean(axis=0, keepdims=True)
    differences = pd.DataFrame(split_difference(usual, lab), columns=list(DRIFT_COLUMNS[:3]))
    differences["dyed_at"] = [day for day, *_ in profile.coupon_days]
    missing = max(0, _BASELINE + 1 - len(lab))
    drift = None if missing else find_drift(differences, baseline=_BASELINE)
    return CouponDays(profile.name, profile.coupon_days, differences, drift, missing)
