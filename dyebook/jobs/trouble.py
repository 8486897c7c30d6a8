"""What came out wrong: why a batch came out as it did, whether it is in tolerance, and whether its bath drifts.

A bath is judged against itself as made up: it is learned from the dips that came soonest after it was filled, and its
later dips are compared with what those lead to expect. The check coupon says whether it is the camera that drifts.
"""

from dataclasses import dataclass, replace

from dyebook.book.life import replaced_batches
from dyebook.book.setups import setup_names, setup_of
from dyebook.errors import BookError, ModelError, PhotoError, RecordError
from dyebook.jobs import say_nothing
from dyebook.jobs.bath_state import bath_state
from dyebook.jobs.baths import all_baths, bath_label, events_of_bath
from dyebook.jobs.check_coupon import BASELINE
from dyebook.jobs.orders import target_of
from dyebook.jobs.photo import options_as_kept, read
from dyebook.jobs.strength import learn_dips
from dyebook.jobs.verdict import judge_against
from dyebook.notebook import Note
from dyebook.record import BATH_EVENTS, FIELDS, is_empty

__all__ = [
    "BathDrift", "Case", "case_of", "coupon_history", "drift_in_book", "filled_at", "fresh_dips", "judge_batch",
    "target_for",
]  # fmt: skip

# a bath is learned as made up from the dips that came soonest after it was made up or topped up: this share of all,
# and no fewer than so many
_FRESH_SHARE, _LEAST_FRESH = 0.4, 8
# a drift is told from scatter by so many dips, of which the first third, within these limits, say what is usual
_LEAST_CHARTED, _BASELINE = 9, (6, 12)
_LEAST_LOG = 10
# after these a bath is no longer what it was
_CHANGES_A_BATH = set(BATH_EVENTS) - {"measured"}
# what a target that was only stated has besides its shade
_STATED = {"sample_id": None, "batch_id": None, "tolerance_de00": None}


@dataclass(frozen=True)
class Case:
    """A batch with all that is at hand about it."""

    batch: int
    record: dict  # settings as noted, and the reading
    model: object  # LearnedBath or None: the bath as made up
    measurement: dict | None
    trace: object  # DataFrame or None
    before: object  # Seen or None: how the bath's dips before it came out
    missing: tuple[str, ...]  # what is not at hand, in words

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


def case_of(book, number: int, learn=learn_dips, progress=say_nothing, read=read) -> Case:
    """Return the `Case` of a batch in the book."""
    row, missing = book.batch(number), []
    record = {name: getattr(row, name, None) for name in FIELDS}
    if row.lab is not None:
        record |= dict(zip("Lab", row.lab, strict=True)) | _uncertainty(row.lab_u)
    record = {name: value for name, value in record.items() if not is_empty(value)}
    progress(f"Learning the bath behind batch {number}")
    model, before = _bath_behind(book, row, learn, missing)
    progress(f"Looking at the photo of batch {number} again")
    measurement = _photo_of(book, number, read)
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

    dips, filled = _dips_in_time(book, row.dye, row.bath, but=row.batch), filled_at(book, row.dye, row.bath)
    try:
        model = _learn_fresh(learn, row.dye, row.bath, dips, filled)
    except ModelError as error:
        missing.append(f"the bath cannot be learned ({error})")
        return None, None
    moment, changed = row.dyed_at or row.added_at, filled_at(book, row.dye, row.bath, _CHANGES_A_BATH)
    start = max((at for at in changed if at <= moment), default="")
    earlier = dips[(dips["dyed_at"].fillna("") < moment) & (dips["dyed_at"].fillna("") >= start)]
    return model, dips_before(model, earlier.drop(columns="dyed_at"))


def _dips_in_time(book, dye, bath, but=None):
    """Dips of a bath that were read, in order of time, those without a date as they were written down.

    Batches that were stripped and done again say nothing of their bath, nor does the one that is asked about.
    """
    dips = book.frame(dye=dye, bath=bath)
    with book.reading() as connection:
        left_out = {*replaced_batches(connection), but}
    dips = dips[dips["L"].notna() & ~dips["batch"].isin(left_out)]
    return dips.assign(_at=dips["dyed_at"].fillna("")).sort_values(["_at", "batch"]).drop(columns="_at")


def filled_at(book, dye: str, bath: str | None, kinds=("made_up", "topped_up")) -> list:
    """Return the moments (ISO texts) at which a bath was made up or topped up, or events of other `kinds`, in order."""
    row = _bath_row(book, dye, bath)
    events = events_of_bath(book, row["id"]) if row else []
    return [event["at"] for event in events if event["kind"] in kinds]


def _bath_row(book, dye, bath):
    return next((row for row in all_baths(book) if (row["dye"], row["name"]) == (dye, bath)), None)


def _learn_fresh(learn, dye, bath, dips, filled):
    return learn(f"fresh dips of {bath_label(dye, bath)}", fresh_dips(dips, filled))


def fresh_dips(dips, filled):
    """Return the dips of a bath that came soonest after it was made up or topped up, without their dates.

    Where it was never noted when the bath was filled, its first dips. `dips` (DataFrame): in order of time. `filled`
    (sequence of str): when it was made up or topped up, ISO texts in order.
    """
    import pandas as pd

    count = max(_LEAST_FRESH, round(_FRESH_SHARE * len(dips)))
    filled = pd.to_datetime(pd.Series(filled, dtype=object), utc=True, format="ISO8601")
    moments = pd.to_datetime(dips["dyed_at"], errors="coerce", utc=True, format="ISO8601")
    if filled.empty or moments.isna().all():
        return dips.head(count).drop(columns="dyed_at")
    ages = [min((moment - at for at in filled if at <= moment), default=pd.NaT) for moment in moments]
    order = pd.Series(ages, index=dips.index, dtype="timedelta64[ns]").sort_values(kind="stable").index
    return dips.loc[order].head(count).drop(columns="dyed_at")


def _photo_of(book, number, read):
    """The newest photo of a batch as a measurement, its flaws looked for anew; None without one."""
    readings = [row for row in book.rows("readings", batch_id=number) if row["photo_id"] and row["outline"]]
    if not readings:
        return None
    own = [row for row in readings if row["photo_id"] == readings[-1]["photo_id"]]
    names = setup_names(book)
    parts = [_part_of(row, setup_of(row, names)) for row in own]
    try:
        seen = _look_again(book, own, read)
    except (PhotoError, BookError):
        return {"parts": parts}
    for part, looked in zip(parts, seen["parts"], strict=True):
        part |= {name: looked[name] for name in ("flaws", "uniformity")}
    return {"parts": parts}


def _part_of(row, setup):
    across, down = zip(*row["outline"], strict=True)
    return {
        "lab": [row["L"], row["a"], row["b"]],
        "lab_u": [row[f"{axis}_sd"] for axis in "Lab"],
        "lab_cov_parts": row["error_parts"],
        "setup": {"key": setup},
        "uniformity": row["uniformity"],
        "flaws": row["flaws"] or None,
        "flags": row["flags"] or [],
        "outline": row["outline"],
        "box": [min(across), min(down), max(across), max(down)],
    }


def _look_again(book, rows, read):
    """Measure the parts of a kept photo once more, as they were read, with a look for flaws."""
    photo, card = book.row("photos", rows[-1]["photo_id"]), rows[-1]["card"] or {}
    options = options_as_kept(rows[-1], book.photo_bytes)
    if card.get("kind") != "chart":
        options = replace(options, card_at=card.get("quad"), no_card=card.get("quad") is None)
    options = replace(options, part_at=[row["outline"] for row in rows])
    return read(book.photo_bytes(photo["sha256"]), options).to_dict()


def _log_of(book, number):
    """The log of the batch's run as a table; None where only notes by hand were kept."""
    import pandas as pd

    run_id = book.row("batches", number)["run_id"]
    log = (book.row("runs", run_id)["trace"] if run_id else None) or {}
    if log.get("by_hand") or len(log.get("time_min") or ()) < _LEAST_LOG:
        return None
    names = ("time_min", "current_a", "voltage_v", "electrolyte_temp_c")
    return pd.DataFrame({name: log[name] for name in names if log.get(name) is not None})


def target_for(book, number: int):
    """Return the target row of a batch: of the order it belongs to, else of its newest verdict; None without one."""
    order_id = book.row("batches", number)["order_id"]
    target = target_of(book, order_id) if order_id else None
    if target is not None:
        return target
    decided = [row["target_id"] for row in book.rows("verdicts", batch_id=number) if row["target_id"]]
    return book.row("targets", decided[-1]) if decided else None


def judge_batch(book, number: int, target=None, tolerance: float | None = None, limits=None):
    """Return the `Verdict` of a batch against its target.

    `target` (sequence of 3 floats, optional): instead of the target that the book has for it; `limits` likewise.
    """
    row, kept = book.batch(number), None if target is not None else target_for(book, number)
    if row.lab is None:
        raise RecordError(f"batch {number} has no reading yet; photograph it beside the grey card first")
    if target is None and kept is None:
        raise RecordError(f"the book knows no target of batch {number}; say which shade it was to have")
    stated = None if target is None else {**dict(zip("Lab", target, strict=True)), **_STATED}
    return judge_against(book, row, kept or stated, tolerance, limits)


@dataclass(frozen=True)
class BathDrift:
    """One bath's charts."""

    label: str
    # DataFrame: differences to what the bath as made up should have given, a row a dip, with ``batch`` and ``dyed_at``
    history: object
    drift: object  # Drift
    filled: tuple[str, ...]  # when the bath was made up or topped up


def drift_in_book(book, dye: str, bath: str | None, learn=learn_dips, progress=say_nothing) -> BathDrift:
    """Return the `BathDrift` of a bath."""
    from dyebook.advice.drift import compare_with_expectation

    label, dips, filled = bath_label(dye, bath), _dips_in_time(book, dye, bath), filled_at(book, dye, bath)
    if len(dips) < _LEAST_CHARTED:
        raise RecordError(
            f"{len(dips)} dips of {label} were read; {_LEAST_CHARTED} are needed to tell drift from scatter"
        )
    progress(f"Learning {label} from its dips when it was fresh")
    try:
        model = _learn_fresh(learn, dye, bath, dips, filled)
    except ModelError as error:
        raise RecordError(f"{label} cannot be learned: {error}") from None
    progress(f"Working out what {label} should have given")
    lately = dips[dips["dyed_at"].fillna("") >= filled[-1]] if filled else dips
    charted = lately if len(lately) >= _LEAST_CHARTED else dips
    history = compare_with_expectation(model, charted.drop(columns="dyed_at"))
    history = history.assign(dyed_at=charted["dyed_at"].str[:10].to_numpy(), batch=charted["batch"].to_numpy())
    drift = _with_own_top_up(book, _bath_row(book, dye, bath), learn, _find_drift(history, coupon_history(book)))
    return BathDrift(label, history, drift, tuple(filled))


def _find_drift(history, coupon):
    from dyebook.advice.drift import find_drift

    known = {"baseline": min(max(len(history) // 3, _BASELINE[0]), _BASELINE[1])}
    found = find_drift(history, coupon=coupon, coupon_baseline=BASELINE, **known)
    if found.cause == "bath" and coupon["dyed_at"].iloc[0] > str(found.since):
        # a coupon that was first read after the drift began cannot say that it was not the camera
        return find_drift(history, **known)
    return found


def _with_own_top_up(book, row, learn, drift):
    """A `Drift` of a bath of the book: how much brings it back is said by the bath itself, as everywhere."""
    if row is None or drift.cause == "camera" or drift.strength is None or drift.strength >= 1:
        return drift
    plan = bath_state(book, row, learn, newest=True).top_up
    grams = plan.dye_g if plan and plan.dye_g else None
    return replace(drift, top_up_g=grams, why=Note(drift.why.code, **drift.why.values | {"top_up_g": grams}))


def coupon_history(book):
    """Return how the check coupon's readings have moved, a row a day, with the camera that read it last.

    delta_l, delta_c, delta_h, dyed_at (the day it was read); None while there are too few days to tell drift.
    """
    from dyebook.jobs.check_coupon import coupon_days

    days = coupon_days(book)
    return None if days is None or days.missing else days.judged
