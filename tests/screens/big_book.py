"""A book of many batches, written in bulk: a shop's work of decades in a few seconds."""

from datetime import datetime, timedelta

import numpy as np

from dyebook.book.schema import Batch, Bath, BathEvent, Dip, Dye, Order, Reading, Run, Target
from dyebook.book.store import open_book

__all__ = ["fill_big_book"]

_CHUNK = 20_000


def fill_big_book(place, count=100_000, baths=10, now=None):
    """Write `count` batches in so many baths, all read, the newest of them today; return the place."""
    now = now or datetime.now()
    with open_book(place, who="Ada") as book, book.writing() as connection:
        put = _writer(connection, {"added_at": now.isoformat(timespec="seconds"), "added_by": "Ada", "version": 1})
        put(Dye, [{"id": one, "name": f"Dye {one}"} for one in range(1, baths + 1)])
        put(Bath, [{"id": one, "name": f"B{one}", "dye_id": one} for one in range(1, baths + 1)])
        made_up = (now - timedelta(days=30)).isoformat(timespec="minutes")
        event = {"at": made_up, "kind": "made_up", "dye_g_per_l": 3.0, "bath_volume_l": 50.0}
        put(BathEvent, [{"bath_id": one, **event} for one in range(1, baths + 1)])
        put(Order, [{"id": 1, "name": "Lamp knobs", "due_on": now.date().isoformat()}])
        put(Target, [{"order_id": 1, "name": "Lamp knobs, as agreed", "L": 40.0, "a": 20.0, "b": 10.0}])
        rng = np.random.default_rng(4)
        for first in range(1, count + 1, _CHUNK):
            _write_chunk(put, rng, now, range(first, min(first + _CHUNK, count + 1)), count, baths)
    return place


def _writer(connection, kept):
    """A function that writes rows of one shape past the mapper, which takes a third of the time."""

    def put(table, rows):
        names = [*rows[0], *kept]
        marks = ", ".join("?" * len(names))
        sql = f"INSERT INTO {table.__tablename__} ({', '.join(names)}) VALUES ({marks})"
        connection.exec_driver_sql(sql, [(*row.values(), *kept.values()) for row in rows])

    return put


def _write_chunk(put, rng, now, numbers, count, baths):
    films = rng.uniform(5, 20, len(numbers)).round(1).tolist()
    labs = np.column_stack([rng.uniform(20, 90, len(numbers)), rng.normal(0, 30, (len(numbers), 2))]).round(2).tolist()
    put(Run, [{"id": n, "film_um": film, "area_dm2": 5.0} for n, film in zip(numbers, films, strict=True)])
    put(Batch, [{"id": n, "run_id": n, "order_id": None, "dyed_at": _moment(now, count - n)} for n in numbers])
    dip = {"position": 1, "dye_g_per_l": 3.0, "bath_temp_c": 50.0, "dwell_min": 6.0, "ph": 5.5}
    put(Dip, [{"batch_id": n, "dye_id": n % baths + 1, "bath_id": n % baths + 1, **dip} for n in numbers])
    state = {"source": "typed", "wet": False, "sealed": True, "L_sd": 1.0, "a_sd": 1.0, "b_sd": 1.0}
    axes = [dict(zip(("L", "a", "b"), lab, strict=True)) for lab in labs]
    put(Reading, [{"batch_id": n, **lab, **state} for n, lab in zip(numbers, axes, strict=True)])


def _moment(now, places_ago):
    return (now - timedelta(minutes=places_ago * 20)).isoformat(timespec="minutes")
