"""The book as one tidy table, a row a dip and state of the surface, with the names of `dyebook.record.FIELDS`."""

import numpy as np
import pandas as pd
from sqlalchemy import String, cast, exists, func, or_, select

from dyebook.book.batches import HOMES, with_filters, with_first
from dyebook.book.coupons import coupon_names, of_coupon
from dyebook.book.schema import Batch, Bath, Dip, Dye, Reading, Run, Setup
from dyebook.book.setups import setup_called
from dyebook.record import FIELDS

__all__ = ["COLUMNS", "make_frame"]

_LAB, _LAB_SD, _LAB_U = ["L", "a", "b"], ["L_sd", "a_sd", "b_sd"], ["L_u", "a_u", "b_u"]
COLUMNS = ("batch", *FIELDS, *_LAB_U, "setup")


def make_frame(connection, dye=None, bath=None, unsealed_only=False, dry_only=False, newest=None, **filters):
    """Return what was set and what was read, ready for `learn_bath`.

    Parameters
    ----------
    connection : sqlalchemy.Connection
    dye, bath : str, optional
        Only dips in this dye, this bath.
    unsealed_only, dry_only : bool
        True to leave out readings after the seal, or of wet parts; readings whose state was not noted stay.
    newest : int, optional
        Only so many dips of each dye in each bath, those that were read and written down last.
    **filters
        As in `Book.batches`.

    Returns
    -------
    DataFrame
        Columns `batch` and the names of `FIELDS`, `setup`, and ``L_u`` and its like. The readings of one dip in one
        state are averaged; ``L_u`` is the standard uncertainty of that average, ``L_sd`` what of it changes from photo
        to photo; the rest is shared within a set-up. A dip that was never read is not in it, and neither is a reading
        of a batch with several dips that does not say which dip it shows.
    """
    some = _chosen(connection, newest, dye, bath, filters)
    names = dict(connection.execute(select(Setup.key, Setup.name).where(Setup.deleted_at.is_(None))).all())
    readings = pd.concat([_readings(connection, chosen, names) for chosen in some])
    if unsealed_only:
        readings = readings[readings["sealed"] != True]  # noqa: E712 (None means unknown and stays)
    if dry_only:
        readings = readings[readings["wet"] != True]  # noqa: E712
    dips = pd.concat([_dips(connection, chosen, dye, bath, filters) for chosen in some])
    frame = dips.merge(_averaged(readings), on="dip_id").reindex(columns=list(COLUMNS))
    return _typed(frame)


def _chosen(connection, newest, dye, bath, filters):
    """Which dips to look at: None for all, a query, or lists of numbers, as a list of one or several of these."""
    if newest is not None:
        numbers = sorted(_newest_read(connection, newest, dye, bath, filters))
        return [numbers[first : first + _AT_ONCE] for first in range(0, max(len(numbers), 1), _AT_ONCE)]
    return [None if dye is None and bath is None else _with_steps(select(Dip.id), dye, bath, filters)]


# numbers in one question; a database takes some ten thousand, and each stands in it several times
_AT_ONCE = 4000
_READ = (*_LAB, *_LAB_SD, "wet", "sealed", "photo_id", "setup_key", "error_parts")
# variances of L*, a*, b*: what is not told apart, of each reading, of each photo, and shared within a set-up
_KINDS = ("whole", "own", "photo", "shared")
_VARIANCES = {kind: [f"{axis}_{kind}" for axis in _LAB] for kind in _KINDS}


def _with_steps(query, dye, bath, filters):
    """A query of standing dips with what filters may ask of, narrowed by them."""
    query = (
        query.select_from(Dip)
        .join(Batch, Batch.id == Dip.batch_id)
        .outerjoin(Run, Run.id == Batch.run_id)
        .join(Dye, Dye.id == Dip.dye_id)
        .outerjoin(Bath, Bath.id == Dip.bath_id)
        .where(Dip.deleted_at.is_(None))
    )
    return with_filters(query, dye=dye, bath=bath, **filters)


def _newest_read(connection, count, dye, bath, filters):
    """Numbers of the newest dips of each dye in each bath that some reading shows; a query a bath, by its index."""
    shown = exists().where(
        Reading.batch_id == Dip.batch_id,
        Reading.deleted_at.is_(None),
        or_(Reading.dip_id.is_(None), Reading.dip_id == Dip.id),
    )
    query = _with_steps(select(Dip.id), dye, bath, filters).where(shown).order_by(Dip.id.desc()).limit(count)
    numbers = []
    for dye_id, bath_id in connection.execute(select(Dip.dye_id, Dip.bath_id).distinct()).all():
        own = query.where(Dip.dye_id == dye_id, Dip.bath_id.is_not_distinct_from(bath_id))
        numbers += connection.execute(own).scalars()
    return numbers


def _readings(connection, chosen, names):
    """Standing readings, of the chosen dips where some are, with the dip each shows and what its set-up is called.

    That is the one it names, else the only one its batch had.
    """
    batches = None if chosen is None else select(Dip.batch_id).where(Dip.id.in_(chosen))
    only = (
        select(Dip.batch_id, func.min(Dip.id).label("dip_id"))
        .where(Dip.deleted_at.is_(None), *([] if batches is None else [Dip.batch_id.in_(batches)]))
        .group_by(Dip.batch_id)
        .having(func.count() == 1)
        .subquery()
    )
    query = (
        select(
            func.coalesce(Reading.dip_id, only.c.dip_id).label("dip_id"),
            *(getattr(Reading, name) for name in _READ),
            Reading.measured_with["asked"]["setup"].as_string(),
        )
        .outerjoin(only, only.c.batch_id == Reading.batch_id)
        .where(Reading.deleted_at.is_(None), *([] if batches is None else [Reading.batch_id.in_(batches)]))
        # one that no dip of its bath could give waits for somebody's yes
        .where(func.coalesce(cast(Reading.flags, String), "").not_like('%"unlike_bath"%'))
        .order_by(Reading.id)
    )
    frame = pd.DataFrame(connection.execute(query).all(), columns=["dip_id", *_READ, "asked"])
    frame["setup"] = [
        setup_called(key, said, names) for key, said in zip(frame["setup_key"], frame["asked"], strict=True)
    ]
    return frame.dropna(subset=["dip_id"]).astype({"wet": object, "sealed": object})


def _averaged(readings):
    """Mean of the readings of each dip in each state, its uncertainty, and its set-up where that is one.

    What changes from reading to reading, or from photo to photo, lessens with their number; what readings share, and
    what was not told apart, does not.
    """
    table = _with_variances(readings.astype(dict.fromkeys((*_LAB, *_LAB_SD), float)))
    for state in ("wet", "sealed"):
        table[state] = table[state].map(_CODES)
    groups = table.groupby(["dip_id", "wet", "sealed"])
    means = groups[[*_LAB, *(name for names in _VARIANCES.values() for name in names)]].mean()
    count, photos = groups.size(), groups["photo_id"].nunique().clip(lower=1)
    whole, own, photo, shared = (means[_VARIANCES[kind]].to_numpy() for kind in _KINDS)
    moving = whole + own / count.to_numpy()[:, None] + photo / photos.to_numpy()[:, None]
    means[_LAB_SD], means[_LAB_U] = np.sqrt(moving), np.sqrt(moving + shared)
    one = groups["setup"].nunique(dropna=False) == 1
    means["setup"] = groups["setup"].first().where(one, None).astype(object)
    means = means.reset_index()
    for state in ("wet", "sealed"):
        means[state] = pd.Series([_STATES[code] for code in means[state]], dtype=object)
    return means


def _with_variances(table):
    """The variances of `_KINDS` of each reading; nan where none is known."""
    known = table[_LAB_SD].notna().all(axis=1)
    variances = np.zeros((len(table), len(_KINDS), 3))
    variances[:, 0] = (table[_LAB_SD] ** 2).where(known)
    for place, parts in enumerate(table["error_parts"]):
        if parts:
            of = {name: np.diagonal(cov) for name, cov in parts.items()}
            variances[place] = np.zeros(3), of["own"], of["photo"], of["camera"] + of["shape"]
    names = [name for names in _VARIANCES.values() for name in names]
    return table.assign(**dict(zip(names, variances.reshape(len(table), len(names)).T, strict=True)))


# of the state of a surface; unknown comes last
_STATES = (False, True, None)
_CODES = {state: code for code, state in enumerate(_STATES)}


def _dips(connection, chosen, dye, bath, filters):
    """Settings of every standing dip, of the chosen ones where some are, one row each."""
    columns, coupons = [table.c[name] for name, table in HOMES.items()], coupon_names(chosen)
    query = _with_steps(select(Dip.id, Batch.id, Dye.name, Bath.name, coupons.c.coupon, *columns), dye, bath, filters)
    query = with_first(query.outerjoin(coupons, of_coupon(coupons))).order_by(Dip.id)
    if chosen is not None:
        query = query.where(Dip.id.in_(chosen))
    rows = connection.execute(query).all()
    return pd.DataFrame(rows, columns=["dip_id", "batch", "dye", "bath", "coupon", *HOMES])


def _typed(frame):
    for name, row in FIELDS.items():
        if row.kind is float:
            frame[name] = frame[name].astype(float)
    return frame.reset_index(drop=True)
