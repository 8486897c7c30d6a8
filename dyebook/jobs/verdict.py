"""Batches, samples and targets of a book as `dyebook.advice.judge` takes them, and the verdicts on them.

The readings of a batch are averaged in one state of the surface, and only like with like: those in the target's own
photo where there are such, else those of its set-up or of its instrument's geometry, else all. The mean keeps of each
part of the error what its readings share. Two set-ups that have both read the check coupon are linked by it: their
step is offered, and taken off verdicts where a maker said so.
"""

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from dyebook.advice.judge import CAMERA_LENGTH_DELTA_E, Shade, Verdict, judge, own_error
from dyebook.book.coupons import check_readings
from dyebook.book.setups import setup_names, setup_of
from dyebook.errors import BookError, RecordError
from dyebook.lab import Lab, delta_e_76, lab_to_lch
from dyebook.notebook import Note
from dyebook.record import check_tolerance

__all__ = [
    "UNLIKE_BATH", "CouponStep", "batch_shade", "coupon_steps", "judge_against", "judge_perfect", "keep_limits",
    "limits_of", "mean_shade", "reading_shades", "take_step", "target_shade", "through_coupon", "unlike_bath",
    "vouch_for",
]  # fmt: skip

# what makes readings alike, the closest first
_ALIKE = ("photo", "setup", "geometry")


def judge_against(book, row, target: dict, tolerance: float | None = None, limits=None) -> Verdict:
    """Return the `Verdict` on a batch that was read, against any target of the book.

    Parameters
    ----------
    row : BatchRow
    target
        Its row.
    tolerance
        Instead of the target's own; the shop's where it has none.
    limits
        Light and dark limit sample instead of those of the target's order, as `dyebook.advice.judge.judge` takes them.
    """
    if tolerance is None:
        tolerance = target["tolerance_de00"] or book.setting("tolerance_de00")
    beside = {photo["sha256"] for photo in book.rows("photos", batch_id=row.batch)}
    wanted = target_shade(book, target, row.finish, beside)
    part, tolerance = batch_shade(book, row, wanted), check_tolerance(tolerance)
    limits = limits or limits_of(book, target.get("order_id"))
    found, linked = judge(wanted, part, tolerance, limits), through_coupon(book, part, wanted)
    if linked is None:
        return found
    # offered beside the verdict, and in its place only where a maker said so
    pair, other = _pair(part.setup, wanted.setup), judge(wanted, linked, tolerance, limits)
    taken = pair in book.setting(_TAKEN, [])
    if taken:
        found, other = other, found
    told = {"verdict": other.verdict, "delta_e00": other.delta_e00, "u": other.delta_e00_u, "taken": taken}
    told |= {"step": tuple(np.subtract(part.lab, linked.lab)), "pair": pair}
    return replace(found, notes=(*found.notes, Note("trouble.through_coupon", **told)))


# setting: light and dark limit sample by the number of their order, each L*, a*, b* and where it is one the batch
_LIMITS = "order_limits"


def limits_of(book, order_id: int | None) -> tuple | None:
    """Return the light and the dark limit sample of an order as shades; None without."""
    kept = (book.setting(_LIMITS) or {}).get(str(order_id))
    return kept and tuple(_limit(book, *one) for one in kept)


def _limit(book, L, a, b, batch=None):
    row = batch and book.batch(batch)
    return batch_shade(book, row) if row and row.lab is not None else Shade((L, a, b))


def keep_limits(book, order_id: int, limits=None, seen=...) -> None:
    """Keep light and dark limit sample of an order, each L*, a*, b* or the number of a batch; None forgets them.

    With `seen`, what `limits_of` gave, BookError where they are others now.
    """
    known, now = book.setting(_LIMITS) or {}, limits_of(book, order_id)
    if seen is not ... and (seen and [one.lab for one in seen]) != (now and [one.lab for one in now]):
        there = " and ".join(f"{L:g}, {a:g}, {b:g}" for L, a, b in (one.lab for one in now or ())) or "none"
        raise BookError(
            f"changed by another person after you opened it: the limit samples are {there} now; nothing of yours was "
            "written; look again, and tap once more if yours are to stand"
        )
    kept = {number: pair for number, pair in known.items() if number != str(order_id)}
    if limits is not None:
        kept[str(order_id)] = [[*book.batch(one).lab, one] if isinstance(one, int) else list(one) for one in limits]
    book.set_setting(_LIMITS, kept, was=known)


# setting: pairs of set-ups whose step on the check coupon is taken off verdicts
_TAKEN = "coupon_steps_taken"


@dataclass(frozen=True)
class CouponStep:
    """What two set-ups read apart on the check coupon."""

    # here, there: by what their readings are known; `setup_of`
    here: str
    there: str
    step: Lab  # here less there
    u: tuple  # its standard uncertainty, from what moves between the coupon's photos
    taken: bool  # off verdicts, as a maker said

    def to_dict(self) -> dict:
        """Return plain values for JSON."""
        return {**vars(self), **{name: [round(value, 3) for value in getattr(self, name)] for name in ("step", "u")}}


def coupon_steps(book) -> list[CouponStep]:
    """Return the `CouponStep` of each two set-ups that have read the check coupon, in order of their names."""
    means, taken = _coupon_means(book), book.setting(_TAKEN, [])
    steps = []
    for here, there in combinations(sorted(means), 2):
        u = np.sqrt(np.diag(_moves(means[here], means[there])))
        step = Lab(*map(float, np.subtract(means[here].lab, means[there].lab)))
        steps.append(CouponStep(here, there, step, tuple(map(float, u)), [here, there] in taken))
    return steps


def take_step(book, here: str, there: str, taken: bool = True) -> None:
    """Let the step of two set-ups on the check coupon be taken off verdicts between them, or no longer."""
    pair, pairs = _pair(here, there), book.setting(_TAKEN, [])
    if taken and not set(pair) <= set(_coupon_means(book)):
        raise RecordError(f"{here} and {there} have not both read the check coupon; photograph it in each")
    rest = [one for one in pairs if one != pair]
    book.set_setting(_TAKEN, [*rest, pair] if taken else rest, pairs)


def _pair(here, there):
    return sorted((here, there))


def _coupon_means(book):
    """The mean reading of the check coupon by set-up."""
    by_setup = {}
    for shade in reading_shades(book, check_readings(book)):
        by_setup.setdefault(shade.setup, []).append(shade)
    return {setup: mean_shade(shades) for setup, shades in by_setup.items() if setup is not None}


def _moves(*shades):
    """Covariance of what changes from photo to photo, of several readings together."""
    return sum(shade.parts.get(name, np.zeros((3, 3))) for shade in shades for name in ("photo", "own"))


def through_coupon(book, part: Shade, wanted: Shade) -> Shade | None:
    """Return a shade as the other's set-up would have read it, by the check coupon that both have read; None without.

    Notes
    -----
    The coupon's readings differ by S, known to cov(S) from what moves between its photos. Camera and lamp err alike
    within `CAMERA_LENGTH_DELTA_E` of its colour: of a part further off only the share k of S is taken away, and
    (1 - k²) of both cameras' parts stays as its own doubt, beside k² cov(S) (conditional mean and covariance of the
    normal law, for errors whose covariance over colours is k). The coupon tells nothing of another shape.
    """
    if None in (part.setup, wanted.setup) or part.setup == wanted.setup:
        return None
    means = _coupon_means(book)
    if not {part.setup, wanted.setup} <= set(means):
        return None
    here, there = means[part.setup], means[wanted.setup]
    k = float(np.exp(-0.5 * (float(delta_e_76(here.lab, part.lab)) / CAMERA_LENGTH_DELTA_E) ** 2))
    none = np.zeros((3, 3))
    cameras = sum(side.parts.get("camera", none) for side in (part, wanted))
    own = part.parts.get("own", none) + k**2 * _moves(here, there) + (1 - k**2) * cameras
    parts = {**part.parts, "own": own, "camera": wanted.parts.get("camera", none)}
    lab = np.subtract(part.lab, k * np.subtract(here.lab, there.lab))
    return replace(part, lab=lab, parts=parts, setup=wanted.setup, shape=None)


def target_shade(book, target: dict, finish: str | None = None, beside=()) -> Shade:
    """Return a target of the book as it was read, of a sample or of a batch; exact where it was stated.

    `target`: its row. `finish`: taken to be that of a sample whose finish was not noted. `beside`: photos (SHA-256) of
    what it is compared with: the sample's newest reading in one of them counts, and not the one that was agreed on.
    """
    lab = target["L"], target["a"], target["b"]
    read = book.rows("readings", sample_id=target["sample_id"]) if target["sample_id"] else []
    if read:
        shades = reading_shades(book, read, finish)
        if there := [one for one in shades if one.photo in beside]:
            return there[-1]
        shade = min(shades, key=lambda one: float(delta_e_76(one.lab, lab)))
    elif target["batch_id"] and (row := book.batch(target["batch_id"])).lab is not None:
        shade = batch_shade(book, row)
    else:
        return Shade(lab)
    return Shade.of(shade, lab=lab)


def batch_shade(book, row, like: Shade | None = None) -> Shade:
    """Return what a batch's readings say together.

    `row` (BatchRow): of a batch that was read. `like`: what it is to be compared with: the readings most like it count.
    """
    beside = {photo["sha256"] for photo in book.rows("photos", batch_id=row.batch)}
    # a reading that names no photo came from the only one there is
    photo = beside.pop() if len(beside) == 1 else None
    shades = reading_shades(book, book.rows("readings", batch_id=row.batch), row.finish, photo)
    shades = [one for one in shades if (one.wet, one.sealed) == (row.wet, row.sealed)]
    for name in _ALIKE:
        alike = [one for one in shades if like is not None and getattr(one, name) == getattr(like, name)]
        if alike and getattr(like, name) is not None:
            shades = alike
            break
    return mean_shade(shades)


def reading_shades(book, rows: list[dict], finish: str | None = None, photo: str | None = None) -> list[Shade]:
    """Return rows of the table of readings as shades; `finish` and `photo` (SHA-256) where a row names none."""
    names = setup_names(book)
    photos = {number: book.row("photos", number)["sha256"] for number in {row["photo_id"] for row in rows} - {None}}
    return [_shade_of(row, setup_of(row, names), photos.get(row["photo_id"], photo), finish) for row in rows]


# standard uncertainty of an instrument's reading against another of its geometry, the part laid on anew; common
# practice, no source
_INSTRUMENT_U = (0.3, 0.3, 0.3)


def _shade_of(row, setup, photo, finish):
    photo = photo if row["source"] == "photo" else None
    u = [row[f"{axis}_sd"] for axis in "Lab"]
    u = _INSTRUMENT_U if row["source"] == "instrument" and None in u else u
    # of a reading kept before its parts were told apart nothing is known to be shared
    error = row["error_parts"] or own_error(u)
    told = {name: row[name] for name in ("shape_key", "wet", "sealed", "geometry")}
    told |= {"lab": (row["L"], row["a"], row["b"]), "lab_cov_parts": error, "finish": row["finish"] or finish}
    return Shade.of({**told, "setup": {"key": setup}, "photo_sha256": photo})


def mean_shade(shades: list[Shade]) -> Shade:
    """Return the mean of readings of one thing, the newest last.

    `shades`: in one state of the surface.

    Notes
    -----
    An error that differs from reading to reading lessens with their number: ``own`` with that of the readings,
    ``photo`` of the photos, ``camera`` of the set-ups, ``shape`` of the shapes in each. A total whose parts are not
    known stays as it is, for most of it is shared.
    """
    if len(shades) == 1:
        return shades[0]
    differ = {
        "own": range(len(shades)),
        "photo": [one.photo for one in shades],
        "camera": [one.setup for one in shades],
        "shape": [(one.setup, one.shape) for one in shades],
    }
    told_apart = all(len(one.parts) > 2 for one in shades)
    parts = {}
    for name, marks in differ.items():
        known = [one.parts[name] for one in shades if name in one.parts]
        if known:
            parts[name] = sum(known) / len(shades) / (len(set(marks)) if told_apart else 1)
    lab = [sum(axis) / len(shades) for axis in zip(*(one.lab for one in shades), strict=True)]
    newest, common = shades[-1], {}
    for name in (*_ALIKE, "shape"):
        common[name] = getattr(newest, name) if len({getattr(one, name) for one in shades}) == 1 else None
    return Shade(lab, parts, wet=newest.wet, sealed=newest.sealed, **common)


def judge_perfect(target: Shade, tolerance: float) -> Verdict:
    """Return what could be said at best of a part that matches a target: read as that was, in another photo."""
    part = Shade.of(target, photo=None) if target.is_read else Shade(target.lab)
    return judge(target, part, check_tolerance(tolerance))


UNLIKE_BATH = "unlike_bath"
# a reading is asked about where its hue is further than this from each that its bath has given, in degrees; judgement:
# of the demo's 85 readings none is, put to another dye's bath 244 of 317 are
_STRANGE_HUE = 40.0
# CIELAB chroma under which a colour has no hue to speak of; pale and nearly black dips are of any bath
_LEAST_CHROMA = 10.0
_LEAST_READ, _NEWEST = 3, 150


def unlike_bath(book, dye, bath, lab) -> Lab | None:
    """Return the colour nearest in hue that a bath has given, where no dip of it could have given one that was read.

    None where it fits, or where fewer than three readings of the bath tell.
    """
    dips = book.frame(dye=dye, bath=bath, newest=_NEWEST) if dye and bath else ()
    if lab is None or not len(dips):
        return None
    given, read = lab_to_lch(dips[["L", "a", "b"]].to_numpy()), lab_to_lch(lab)
    coloured = given[:, 1] >= _LEAST_CHROMA
    if coloured.sum() < _LEAST_READ or read[1] < _LEAST_CHROMA:
        return None
    away = np.where(coloured, np.abs((given[:, 2] - read[2] + 180) % 360 - 180), np.inf)
    nearest = int(away.argmin())
    return Lab(*dips[["L", "a", "b"]].iloc[nearest]) if away[nearest] > _STRANGE_HUE else None


def vouch_for(book, batch_id: int, sure: bool = True):
    """Keep that the readings of a batch are what its bath gave; or, not `sure`, a doubt that leaves them unlearned."""
    for row in book.rows("readings", batch_id=batch_id):
        flags = [flag for flag in row["flags"] or () if flag != UNLIKE_BATH]
        flags += [] if sure else [UNLIKE_BATH]
        if flags != (row["flags"] or []):
            book.correct("readings", row["id"], {"flags": flags})
