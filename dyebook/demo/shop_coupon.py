"""The invented shop's check coupon, read twice a week; a thumb once soiled the grey card, and somebody cleaned it."""

from datetime import timedelta

import numpy as np

from dyebook.jobs.check_coupon import put_right

__all__ = ["write_coupon_days"]

_DAYS, _SOILED, _CLEANED = 200, 48, 27  # days ago
_WEEKDAYS = (0, 3)  # Mondays and Thursdays
_COLOUR, _SD, _DIRT = (52.0, 38.0, 47.0), (0.3, 0.35, 0.35), 1.6


def write_coupon_days(book, now):
    """Write the coupon's readings up to yesterday, and the day on which the card was cleaned."""
    rng, coupon = np.random.default_rng(1815), book.add("coupons", name="check coupon", kind="check")
    for ago in range(_DAYS, 0, -1):
        day, scatter = now.date() - timedelta(days=ago), rng.normal(0, _SD)
        if day.weekday() not in _WEEKDAYS:
            continue
        soiled = np.array((_DIRT * (_CLEANED < ago <= _SOILED), 0, 0))
        lab = np.add(_COLOUR, scatter) + soiled
        axes = dict(zip("Lab", map(float, lab), strict=True))
        book.add("readings", coupon_id=coupon, source="photo", read_at=day.isoformat(), **axes)
    put_right(book, "", (now.date() - timedelta(days=_CLEANED)).isoformat())
