"""Whether the baths of the book drift, and whether it is the camera that does: each bath's and the coupon's history.

Why a batch of the book came out as it did, and whether it is in tolerance, by all that the book knows of it.
"""

from dataclasses import dataclass

from dyebook.book.life import replaced_batches
from dyebook.errors import BookError, ModelError, PhotoError, RecordError
from dyebook.jobs.baths import bath_label
from dyebook.jobs.check_coupon import BASELINE
from dyebook.jobs.progress import say_nothing
from dyebook.lab import Lab
from dyebook.record import FIELDS, is_empty

__all__ = [
    "BathDrift",
    "Case",
    "bath_named",
    "case_of",
    "coupon_history",
    "drift_in_book",
    "fresh_dips",
    "judge_batch",
    "target_for",
]

# a bath is learned as made up from the dips that came soonest after it was made up or topped up: this share of all,
# and no fewer than so many
_FRESH_SHARE, _LEAST_FRESH = 0.4, 8
_LEAST_LOG = 10
_USUAL_TOLERANCE = 2.0


@dataclass(frozen=True)
class Case:
    """A batch with all that is at hand about it.

    Attributes
    ----------
    batch : int
    record : dict
        Settings as noted, and the reading.
    model : LearnedBath or None
        The bath as made up.
    measurement : dict or None
    trace : DataFrame or None
    before : Seen or None
        How the bath's dips before it came out.
    missing : tuple of str
        What is not at hand, in words.
    """

    batch: int
    record: dict
    model: object
    measurement: dict | None
    trace: object
    before: object
    missing: tuple

    def causes(self, answers=None):
        """Return the causes, most probable first, see `dyebook.advice.diagnose.diagnose`."""
        from dyebook.advice.diagnose import diagnose

        return diagnose(self.record, **self._evidence(), answers=answers)

    def kinds(self):
        """Return the kinds of evidence that are at hand, and what else makes a question idle."""
        from dyebook.advice.evidence import checked_record, gather, kinds_of

        return kinds_of(checked_record(self.record), gather(self.record, **self._evidence()))

    def _evidence(self):
        return {name: getattr(self, name) for name in ("model", "measurement", "trace", "before")}


def case_of(book, number, learn=None, progress=None):
    """Return the `Case` of a batch in the book.

    Parameters
    ----------
    book : dyebook.book.store.Book
    number : int
    learn : callable, optional
        Takes a table of dips and returns a learned bath; `dyebook.learn_bath` without it.
    progress : callable, optional
        Called with words where a stage begins.

    Returns
    -------
    Case

    Raises
    ------
    BookError
        If there is no such batch.
    """
    row, missing, tell = book.batch(number), [], progress or say_nothing
    record = {name: getattr(row, name, None) for name in FIELDS}
    if row.lab is not None:
        record |= dict(zip("Lab", row.lab, strict=True)) | _uncertainty(row.lab_u)
    record = {name: value for name, value in record.items() if not is_empty(value)}
    tell(f"Learning the bath behind batch {number}")
    model, before = _bath_behind(book, row, learn, missing)
    tell(f"Looking at the photo of batch {number} again")
    measurement = _photo_of(book, number)
    trace = _log_of(book, number)
    if row.lab is None:
        missing.append("its colour was never read")
    if measurement is None:
        missing.append("no photo that shows flaws")
    if trace is None:
        missing.append("no log of its run")
    if "film_measured_um" not in record:
        missing.append("no gauge has read its film")
    return Case(number, record, model, measurement, trace, before, tuple(missing))


def _uncertainty(u):
    return {} if u is None else {f"{axis}_sd": value for axis, value in zip("Lab", u, strict=True)}


def _bath_behind(book, row, learn, missing):
    """The bath as made up, and how the dips before this one came out; None, None where it cannot be learned."""
    from dyebook.advice.drift import dips_before
    from dyebook.advice.learn import learn_bath

    dips = book.frame(dye=row.dye, bath=row.bath)
    spoiled = {*stripped(book), row.batch}
    dips = in_time(dips[dips["L"].notna() & ~dips["batch"].isin(spoiled)])
    try:
        model = (learn or learn_bath)(fresh_dips(book, row.dye, row.bath, dips))
    except ModelError as error:
        missing.append(f"the bath cannot be learned ({error})")
        return None, None
    moment = row.dyed_at or row.added_at
    start = max((at for at in filled_at(book, row.dye, row.bath) if at <= moment), default="")
    earlier = dips[(dips["dyed_at"].fillna("") < moment) & (dips["dyed_at"].fillna("") >= start)]
    return model, dips_before(model, earlier.drop(columns="dyed_at"))


def in_time(dips):
    """Return dips in order of time, those without a date as they were written down."""
    return dips.assign(_at=dips["dyed_at"].fillna("")).sort_values(["_at", "batch"]).drop(columns="_at")


def stripped(book):
    """Return the numbers of batches that were stripped and done again: they say nothing of their bath."""
    with book.reading() as connection:
        return replaced_batches(connection)


def filled_at(book, dye, bath):
    """Return the moments (ISO texts) at which a bath was made up or topped up, in order."""
    dyes = {row["name"]: row["id"] for row in book.rows("dyes")}
    for row in book.rows("baths"):
        if row["name"] == bath and row["dye_id"] == dyes.get(dye):
            events = book.rows("bath_events", bath_id=row["id"])
            return sorted(event["at"] for event in events if event["kind"] in ("made_up", "topped_up"))
    return []


def fresh_dips(book, dye, bath, dips):
    """Return the dips of a bath that came soonest after it was made up or topped up, without their dates.

    Parameters
    ----------
    book : dyebook.book.store.Book
    dye, bath : str
    dips : DataFrame
        In order of time.

    Returns
    -------
    DataFrame
        Where nobody noted when the bath was filled, its first dips.
    """
    import pandas as pd

    count = max(_LEAST_FRESH, round(_FRESH_SHARE * len(dips)))
    filled = pd.to_datetime(pd.Series(filled_at(book, dye, bath), dtype=object), utc=True, format="ISO8601")
    moments = pd.to_datetime(dips["dyed_at"], errors="coerce", utc=True, format="ISO8601")
    if filled.empty or moments.isna().all():
        return dips.head(count).drop(columns="dyed_at")
    ages = [min((moment - at for at in filled if at <= moment), default=pd.NaT) for moment in moments]
    order = pd.Series(ages, index=dips.index, dtype="timedelta64[ns]").sort_values(kind="stable").index
    return dips.loc[order].head(count).drop(columns="dyed_at")


def _photo_of(book, number):
    """The newest photo of a batch as a measurement, its flaws looked for anew; None without one."""
    readings = [row for row in book.rows("readings", batch_id=number) if row["photo_id"] and row["outline"]]
    if not readings:
        return None
    own = [row for row in readings if row["photo_id"] == readings[-1]["photo_id"]]
    parts = [_part_of(row) for row in own]
    try:
        seen = _look_again(book, own)
    except (PhotoError, BookError):
        return {"parts": parts}
    for part, looked in zip(parts, seen["parts"], strict=True):
        part |= {name: looked[name] for name in ("flaws", "uniformity")}
    return {"parts": parts}


def _part_of(row):
    across, down = zip(*row["outline"], strict=True)
    return {
        "lab": [row["L"], row["a"], row["b"]],
        "lab_u": [row[f"{axis}_sd"] for axis in "Lab"],
        "uniformity": row["uniformity"],
        "flaws": row["flaws"] or None,
        "flags": row["flags"] or [],
        "outline": row["outline"],
        "box": [min(across), min(down), max(across), max(down)],
    }


def _look_again(book, rows):
    """Measure the parts of a kept photo once more, with a look for flaws."""
    from dyebook.photo.measure import measure

    photo = book.row("photos", rows[-1]["photo_id"])
    card = rows[-1]["card"] or {}
    content = book.photo_bytes(photo["sha256"])
    outlines = [row["outline"] for row in rows]
    known = {"card_at": card.get("quad"), "card_lab": card.get("lab"), "no_card": card.get("quad") is None}
    if card.get("kind") == "chart":  # found anew: all of its patches tell of the camera
        known = {}
    return measure(content, **known, part_at=outlines, flaws=True).to_dict()


def _log_of(book, number):
    """The log of the batch's run as a table; None where only notes by hand were kept."""
    import pandas as pd

    run_id = book.row("batches", number)["run_id"]
    told = (book.row("runs", run_id)["trace"] if run_id else None) or {}
    if told.get("by_hand") or len(told.get("time_min") or ()) < _LEAST_LOG:
        return None
    names = ("time_min", "current_a", "voltage_v", "electrolyte_temp_c")
    return pd.DataFrame({name: told[name] for name in names if told.get(name) is not None})


def target_for(book, number):
    """Return the target row of a batch: of the order it belongs to, else of its newest verdict; None without one."""
    order_id = book.row("batches", number)["order_id"]
    mine = book.rows("targets", order_id=order_id) if order_id else []
    decided = [row["target_id"] for row in book.rows("verdicts", batch_id=number) if row["target_id"]]
    return mine[-1] if mine else book.row("targets", decided[-1]) if decided else None


def judge_batch(book, number, target=None, tolerance=None, measure="00"):
    """Return the `Verdict` of a batch against its target.

    Parameters
    ----------
    book : dyebook.book.store.Book
    number : int
    target : sequence of 3 floats, optional
        Instead of the target that the book has for it.
    tolerance : float, optional
    measure : str
        See `dyebook.advice.judge.judge_shade`.

    Returns
    -------
    Verdict

    Raises
    ------
    RecordError
        If the batch was never read, or there is no target.
    """
    from dyebook.advice.judge import Shade, judge_shade

    row, kept = book.batch(number), None if target is not None else target_for(book, number)
    if row.lab is None:
        raise RecordError(f"batch {number} has no reading yet; photograph it beside the grey card first")
    if target is None and kept is None:
        raise RecordError(f"the book knows no target of batch {number}; say which shade it was to have")
    sample = _sample_reading(book, kept)
    wanted = Shade(target, (0.0, 0.0, 0.0)) if kept is None else _kept_shade(kept, sample)
    together = sample is not None and sample["photo_id"] in _photos_read(book, number)
    limit = tolerance or (kept or {}).get("tolerance_de00") or _USUAL_TOLERANCE
    part = Shade(row.lab, row.lab_u, row.wet, row.sealed)
    return judge_shade(wanted, part, limit, measure=measure, together=together)


def _sample_reading(book, target):
    sample_id = (target or {}).get("sample_id")
    readings = book.rows("readings", sample_id=sample_id) if sample_id else []
    return readings[-1] if readings else None


def _kept_shade(target, sample):
    """A kept target with the doubt of the sample it was read from; none for a stated shade."""
    from dyebook.advice.judge import Shade

    u = (0.0, 0.0, 0.0) if sample is None else tuple(sample[f"{axis}_sd"] for axis in "Lab")
    state = {} if sample is None else {"wet": sample["wet"], "sealed": sample["sealed"]}
    return Shade(Lab(target["L"], target["a"], target["b"]), None if None in u else u, **state)


def _photos_read(book, number):
    return {row["photo_id"] for row in book.rows("readings", batch_id=number) if row["photo_id"]}


_LEAST_DIPS, _BASELINE = 9, (6, 12)


@dataclass(frozen=True)
class BathDrift:
    """One bath's charts.

    Attributes
    ----------
    label : str
    history : DataFrame
        Differences to what the bath as made up should have given, a row a dip, with ``batch`` and ``dyed_at``.
    drift : Drift
    filled : tuple of str
        When the bath was made up or topped up.
    """

    label: str
    history: object
    drift: object
    filled: tuple


def drift_in_book(book, dye, bath, learn=None, progress=None):
    """Return the `BathDrift` of a bath.

    Parameters
    ----------
    book : dyebook.book.store.Book
    dye, bath : str
    learn, progress : callable, optional
        As in `dyebook.jobs.trouble.case_of`.

    Returns
    -------
    BathDrift

    Raises
    ------
    RecordError
        If too few of its dips were read.
    """
    from dyebook.advice.drift import compare_with_expectation, find_drift
    from dyebook.advice.learn import learn_bath

    label, dips = bath_label(dye, bath), book.frame(dye=dye, bath=bath)
    dips = in_time(dips[dips["L"].notna() & ~dips["batch"].isin(stripped(book))])
    if len(dips) < _LEAST_DIPS:
        raise RecordError(f"{len(dips)} dips of {label} were read; {_LEAST_DIPS} are needed to tell drift from scatter")
    tell = progress or say_nothing
    tell(f"Learning {label} from its dips when it was fresh")
    try:
        model = (learn or learn_bath)(fresh_dips(book, dye, bath, dips))
    except ModelError as error:
        raise RecordError(f"{label} cannot be learned: {error}") from None
    tell(f"Reckoning what {label} should have given")
    filled = filled_at(book, dye, bath)
    lately = dips[dips["dyed_at"].fillna("") >= filled[-1]] if filled else dips
    charted = lately if len(lately) >= _LEAST_DIPS else dips
    history = compare_with_expectation(model, charted.drop(columns="dyed_at"))
    history = history.assign(dyed_at=charted["dyed_at"].str[:10].to_numpy(), batch=charted["batch"].to_numpy())
    baseline = min(max(len(history) // 3, _BASELINE[0]), _BASELINE[1])
    bath_row = _bath_row(book, dye, bath)
    volume = (bath_row and bath_row["bath_volume_l"]) or _volume_noted(book, bath_row)
    made_up = float(charted["dye_g_per_l"].median())
    known = {"baseline": baseline, "bath_volume_l": volume, "dye_g_per_l": made_up}
    coupon = coupon_history(book)
    found = find_drift(history, coupon=coupon, coupon_baseline=BASELINE, **known)
    if found.cause == "bath" and coupon["dyed_at"].iloc[0] > str(found.since):
        # a coupon that was first read after the drift began cannot say that it was not the camera
        found = find_drift(history, **known)
    return BathDrift(label, history, found, tuple(filled))


def bath_named(book, name):
    """Return dye and name of the bath that somebody calls `name`: a bath, or a dye that has but one.

    Raises
    ------
    RecordError
        If there is none, or several.
    """
    dyes = {row["id"]: row["name"] for row in book.rows("dyes")}
    baths = [(dyes.get(row["dye_id"]), row["name"]) for row in book.rows("baths")]
    found = [pair for pair in baths if pair[1] == name] or [pair for pair in baths if pair[0] == name]
    if len(found) != 1:
        known = ", ".join(sorted(bath for _, bath in baths)) or "none"
        raise RecordError(f"{len(found)} baths are called {name!r}; name one of the book's: {known}")
    return found[0]


def _bath_row(book, dye, bath):
    dyes = {row["name"]: row["id"] for row in book.rows("dyes")}
    return next((row for row in book.rows("baths", name=bath) if row["dye_id"] == dyes.get(dye)), None)


def _volume_noted(book, bath_row):
    events = book.rows("bath_events", bath_id=bath_row["id"]) if bath_row else []
    return next((event["bath_volume_l"] for event in reversed(events) if event["bath_volume_l"]), None)


def coupon_history(book):
    """Return how the check coupon's readings have moved, a row a day, with the camera that read it last.

    Returns
    -------
    DataFrame or None
        delta_l, delta_c, delta_h, dyed_at (the day it was read); None while there are too few days to tell drift.
    """
    from dyebook.jobs.check_coupon import coupon_days

    told = coupon_days(book)
    return None if told is None or told.missing else told.judged
