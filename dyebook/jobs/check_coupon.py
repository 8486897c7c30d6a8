"""The check coupon: one piece kept unchanged and photographed each day, to catch a drifting camera, lamp or card."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np

from dyebook.book.coupons import check_readings, day_of, keep_check_day, take_back_check_day
from dyebook.book.readings import measured_values, typed_values
from dyebook.errors import BookError, PhotoError, RecordError
from dyebook.jobs.photo import read, read_options
from dyebook.lab import Lab
from dyebook.record import Measurement
from dyebook.units import shop_now

__all__ = [
    "BASELINE", "CouponDays", "camera_of", "count_from", "coupon_cameras", "coupon_days", "doubts_of", "keep_day",
    "keep_photos", "one_part", "put_right", "take_back",
]  # fmt: skip

# the first days say what is usual; the rule that separates drift from scatter needs one more
BASELINE = 6
_MARKS = "check_coupon_marks"


@dataclass(frozen=True)
class CouponDays:
    """The readings of the check coupon with one camera, a day each."""

    camera: str  # empty for readings without a learned camera
    days: tuple  # of (str, float, float, float): ISO date, L*, a*, b*, in order of time
    kept: Lab  # the colour it is held to: the mean of the first days
    differences: object  # DataFrame: delta_l, delta_c, delta_h to it, and dyed_at, the date
    judged: object  # DataFrame: those of the first days, and of all since it was last put right: what the rule looks at
    drift: object  # dyebook.advice.drift.Drift or None: None while there are too few days to decide
    # of (float, str): how the readings since it left differ from the kept colour: amount, and word such as
    # lighter
    moves: tuple
    missing: int  # days still needed to decide
    earlier: int = 0  # days before the one that is counted from
    put_right: str | None = None  # day on which lamp, card or phone were last put right
    learned_anew: str | None = None  # day within these on which the camera was learned anew

    @property
    def since(self):
        """ISO date from which it has left its kept colour; None while it stays put."""
        return None if self.drift is None else self.drift.since

    def to_dict(self):
        """Return plain values for JSON."""
        last = self.differences.iloc[-1]
        return {
            "camera": self.camera or None,
            "days": [{"day": day, "lab": list(lab)} for day, *lab in self.days],
            "kept": [round(float(value), 3) for value in self.kept],
            "last": {name: round(float(last[name]), 3) for name in ("delta_l", "delta_c", "delta_h")},
            "drifts": None if self.drift is None else self.drift.cause != "none",
            "since": self.since,
            "moves": [{"by": round(by, 3), "word": word} for by, word in self.moves],
            "days_missing": self.missing,
            "days_before": self.earlier,
            "put_right": self.put_right,
            "learned_anew": self.learned_anew,
        }


def one_part(measurement):
    """Return the only part of a measurement; PhotoError if it shows none or several."""
    count = len(measurement.parts)
    if count != 1:
        raise PhotoError(
            f"{count or 'no'} part{'' if count == 1 else 's'} seen in {measurement.photo}, where one coupon is needed; "
            "lay it alone beside the card, on a plain ground, or outline it by hand (in the shell with --part-at)"
        )
    return measurement.parts[0]


def camera_of(measurements) -> str:
    """Return the name of the learned camera that photos of the coupon were read with, empty for none.

    PhotoError if they were read with several: those readings are not compared.
    """
    names = {one.options.get("camera") or "" for one in measurements}
    if len(names) > 1:
        which = " and ".join(name or "no learned camera" for name in sorted(names))
        raise PhotoError(f"the photos were read with {which}; photograph the coupon with one camera, or name it")
    return names.pop() if names else ""


def doubts_of(measurement):
    """Return the flags of a photo of the coupon and its parts; that flaws were not sought is no doubt."""
    flags = dict.fromkeys([*measurement.flags, *(flag for part in measurement.parts for flag in part.flags)])
    return [flag for flag in flags if flag != "flaws_not_sought"]


def keep_day(book, shots, camera="", day=None, seen=...) -> CouponDays:
    """Keep what one day's photos read on the check coupon, and return all days so far.

    PhotoError if a photo shows no or several parts, or the day lies ahead; BookError if the book cannot be written.

    Parameters
    ----------
    shots : sequence of (Measurement or Lab, photo)
        A measurement with the coupon as its only part, or a bare reading; its photo as path, (name, bytes), or None.
        The day's reading is their mean.
    camera : str
        Learned camera the photos were read with; empty without.
    day : datetime.date, optional
        Today if left out. A second entry of a day takes the place of the first.
    seen : CouponDays or None, optional
        What was looked at; BookError if that day was read otherwise since. So for all that changes the days.
    """
    day = shop_now().date() if day is None else day
    if day > shop_now().date():
        raise PhotoError(f"{day.isoformat()} lies ahead; give the day the coupon was photographed, such as today")
    kept = [(_columns(seen), _photo(photo)) for seen, photo in shots]
    _refuse_outdated(book, camera, seen, day.isoformat())
    _move_in(book)
    keep_check_day(book, day.isoformat(), camera or None, kept)
    return coupon_days(book, camera)


def keep_photos(book, photos, day: date | None = None, saw=None, **asked) -> CouponDays:
    """Read photos of the check coupon and keep them as one day's reading, with the camera they were read with.

    `day` is today if left out. `saw` is called with each photo and its measurement before anything is kept.
    """
    options = read_options(book, flaws=False, **asked)
    shots = [(read(photo, options), photo) for photo in photos]
    for measurement, photo in shots if saw is not None else ():
        saw(photo, measurement)
    return keep_day(book, shots, camera_of([measurement for measurement, _ in shots]), day)


def take_back(book, camera, day, seen=...):
    """Take a day's reading back, by its camera and ISO date."""
    _refuse_outdated(book, camera, seen)
    _move_in(book)
    take_back_check_day(book, day, camera or None)


def count_from(book, camera, day, seen=...):
    """Count the coupon's days with a camera from an ISO date on, and hold them to the first of these; all with None.

    For another piece, another lamp for good, or a camera learned anew: what was usual before is so no longer.
    """
    _refuse_outdated(book, camera, seen)
    _mark(book, camera, {} if day is None else {"from": _checked_day(day)})


def put_right(book, camera, day, seen=...):
    """Note on which day (ISO date) lamp, card or phone were put right; the rule looks afresh from then; None: never.

    The coupon is held to the same colour as before.
    """
    _refuse_outdated(book, camera, seen)
    marks = book.setting(_MARKS, {}).get(camera, {})
    others = {name: value for name, value in marks.items() if name != "put_right"}
    _mark(book, camera, others if day is None else {**others, "put_right": _checked_day(day)})


def _refuse_outdated(book, camera, seen, day=None):
    """BookError where the days of a camera, or the reading of one day, are not those that were looked at."""
    if seen is ...:
        return
    now, then = (_stands(series, day) for series in (coupon_days(book, camera), seen))
    if now != then:
        raise BookError(
            f"changed by another person after you opened it: the coupon has {now} now, and had {then}; "
            "nothing of yours was written; look at both, and tap again if yours is to stand"
        )


def _stands(series, day):
    days = () if series is None else series.days
    if day is not None:
        return next(
            (f"{one}: {L:.2f}, {a:.2f}, {b:.2f}" for one, L, a, b in days if one == day), f"no reading of {day}"
        )
    right = series.put_right if days else None
    return f"days {days[0][0]} to {days[-1][0]}, put right {right or 'never'}" if days else "no days"


def _mark(book, camera, marks):
    book.set_setting(_MARKS, {**book.setting(_MARKS, {}), camera: marks})


def _checked_day(day):
    try:
        return date.fromisoformat(day).isoformat()
    except ValueError:
        raise RecordError(f"{day!r} is no day; write a date such as 2026-11-25") from None


def coupon_cameras(book):
    """Return the cameras that have read the coupon, the one that read it last first; empty text for none learned."""
    return _latest_first(_series(book))


def _latest_first(series):
    return sorted(series, key=lambda camera: max(series[camera]), reverse=True)


def coupon_days(book, camera: str | None = None):
    """Return the `CouponDays` of the check coupon; None while there are none.

    `camera`: the one that read it last if left out; empty for readings without a learned camera.
    """
    series = _series(book)
    camera = next(iter(_latest_first(series)), None) if camera is None else camera
    if camera not in series:
        return None
    days = sorted((day, *lab) for day, lab in series[camera].items())
    marks = book.setting(_MARKS, {}).get(camera, {})
    # a mark beyond the last day waits for its first reading
    counted = [one for one in days if one[0] >= marks.get("from", "")] or days
    return _judged(camera, counted, len(days) - len(counted), marks.get("put_right"))


def _judged(camera, days, earlier, right):
    import pandas as pd

    from dyebook.advice.drift import DRIFT_COLUMNS, find_drift
    from dyebook.advice.judge import split_difference

    lab = np.array([values for _, *values in days], dtype=float)
    kept = lab[:BASELINE].mean(axis=0)
    differences = pd.DataFrame(split_difference(kept[None], lab), columns=list(DRIFT_COLUMNS[:3]))
    differences["dyed_at"] = [day for day, *_ in days]
    judged = differences[(differences.index < BASELINE) | (differences["dyed_at"] >= (right or ""))]
    missing = max(0, BASELINE + 1 - len(judged))
    drift = None if missing else find_drift(judged, baseline=BASELINE)
    return CouponDays(
        camera=camera,
        days=tuple(days),
        kept=Lab(*map(float, kept)),
        differences=differences,
        judged=judged,
        drift=drift,
        moves=() if drift is None else _moves(drift, kept),
        missing=missing,
        earlier=earlier,
        put_right=right,
        learned_anew=_learned(camera, days),
    )


def _moves(drift, kept):
    """Amount and word of each trend that moved; a hue goes where its turn leads on a* and b*."""
    turn = np.array([-kept[2], kept[1]])
    axis = int(np.argmax(np.abs(turn)))
    hue = (("redder", "greener"), ("yellower", "bluer"))[axis]
    words = {
        "delta_l": ("lighter", "darker"),
        "delta_c": ("stronger in colour", "duller"),
        "delta_h": hue if turn[axis] >= 0 else hue[::-1],
    }
    # what lies within its scatter again has come back
    moved = [trend for trend in drift.trends if trend.now * trend.direction > trend.sd]
    return tuple((abs(trend.now), words[trend.name][int(trend.direction < 0)]) for trend in moved)


def _learned(camera, days):
    """Day on which the camera was learned, where that lies within its days."""
    at = next((one.learned_at[:10] for one in _cameras() if one.name == camera), "")
    return at if days[0][0] < at <= days[-1][0] else None


def _series(book):
    """Readings of the coupon by camera and day: those of the book, and what cameras have kept that it never had."""
    series = {}
    for row in check_readings(book):
        series.setdefault(row["camera"] or "", {}).setdefault(day_of(row), []).append((row["L"], row["a"], row["b"]))
    means = {camera: {day: np.mean(labs, axis=0) for day, labs in days.items()} for camera, days in series.items()}
    for camera, day, lab in _kept_with_cameras(book):
        means.setdefault(camera, {})[day] = np.array(lab)
    return {camera: {day: tuple(map(float, lab)) for day, lab in days.items()} for camera, days in means.items()}


def _kept_with_cameras(book):
    """(camera, day, lab) of days that stand in camera files, as they once did, and not in the book."""
    known = {(row["camera"], day_of(row)) for gone in (False, True) for row in check_readings(book, gone)}
    return [
        (one.name, day, tuple(lab))
        for one in _cameras()
        for day, *lab in one.coupon_days
        if (one.name, day) not in known
    ]


def _move_in(book):
    """Write into the book what cameras have kept of the coupon."""
    for camera, day, lab in _kept_with_cameras(book):
        keep_check_day(book, day, camera, [(_columns(lab), None)])


def _cameras():
    from dyebook.photo.camera.store import list_cameras

    return list_cameras()


def _columns(seen):
    if isinstance(seen, Measurement):
        one_part(seen)
        return measured_values(seen, 0)
    return {**typed_values(seen), "source": "photo"}


def _photo(photo):
    if isinstance(photo, str | Path):
        return Path(photo).name, Path(photo).read_bytes()
    return photo
