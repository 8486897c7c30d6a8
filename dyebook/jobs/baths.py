"""Dye baths and electrolytes as the shop keeps them: what happened to each, and how used it is."""

from datetime import UTC, datetime

from dyebook.book.tables import Names
from dyebook.errors import BookError, RecordError
from dyebook.jobs.strength import clock_of, dye_rules
from dyebook.physics.bathcare import reckon_age
from dyebook.physics.electrolyte import bath_life

__all__ = [
    "age_of_bath",
    "bath_label",
    "baths_by_name",
    "dyes_met_together",
    "electrolyte_called",
    "electrolyte_named",
    "find_bath",
    "life_of_electrolyte",
    "note_bath",
    "note_electrolyte",
]


def bath_label(dye, bath):
    """Return the name of a bath as people say it, such as "Ember, bath E1"; of the dye where no bath is noted."""
    return f"{dye}, bath {bath}" if bath else dye


def baths_by_name(book):
    """Return the baths in use: "dye, bath" to the bath's row with ``dye``, by name; those thrown out are left out."""
    dyes = {row["id"]: row["name"] for row in book.rows("dyes")}
    last = {event["bath_id"]: event["kind"] for event in sorted(book.rows("bath_events"), key=lambda one: one["at"])}
    baths = [row | {"dye": dyes.get(row["dye_id"], "")} for row in book.rows("baths")]
    used = [row for row in baths if last.get(row["id"]) != "thrown_out"]
    return {f"{row['dye']}, {row['name']}": row for row in sorted(used, key=lambda row: (row["dye"], row["name"]))}


def dyes_met_together(book, bath_id):
    """Return the numbers of baths of the same name that batches met together with this one: one tank of two dyes."""
    name = book.row("baths", bath_id)["name"]
    named = {row["id"] for row in book.rows("baths", name=name)} - {bath_id}
    batches = {dip["batch_id"] for dip in book.rows("dips", bath_id=bath_id)} if named else set()
    return {other for other in named if any(dip["batch_id"] in batches for dip in book.rows("dips", bath_id=other))}


def find_bath(book, dye, bath, bath_volume_l=None):
    """Return the number of a bath of a dye, made when it is new; its volume is kept where one is given."""
    if not (bath or "").strip():
        raise RecordError("the bath has no name; give it one, such as the letters on its tank")
    with book.writing() as connection:
        _, bath_id = Names(connection, book.who).dye_and_bath(dye, bath)
    if bath_volume_l is not None:
        book.correct("baths", bath_id, {"bath_volume_l": bath_volume_l})
    return bath_id


def note_bath(book, bath_id, kind, at=None, **told):
    """Note what happened to a bath; return the event's number.

    Parameters
    ----------
    book : dyebook.book.store.Book
    bath_id : int
    kind : {"made_up", "topped_up", "ph_moved", "filtered", "measured", "thrown_out"}
    at : str, optional
        ISO text; now without it.
    **told
        `bath_volume_l`, `dye_g_per_l`, `ph`, `bath_temp_c`, `note`: as found or left.
    """
    return book.add("bath_events", bath_id=bath_id, kind=kind, at=at or _now(), **told)


def _now():
    return datetime.now().isoformat(timespec="minutes")


def age_of_bath(book, bath_id, now=None):
    """Return how used a bath is against the shop's limits, a `BathAge`; None where volume or make-up are unknown."""
    bath = book.row("baths", bath_id)
    life = book.bath_life(bath_id)
    volume_l = next((e["bath_volume_l"] for e in reversed(life["events"]) if e["bath_volume_l"]), bath["bath_volume_l"])
    if not volume_l or life["made_up_at"] is None:
        return None
    days = ((now or datetime.now(UTC)).timestamp() - clock_of(life["made_up_at"])) / 86400
    rules = dye_rules(book, book.row("dyes", bath["dye_id"])["name"])
    limits = {name: rules.get(name) for name in ("limit_dm2_per_l", "limit_days")}
    return reckon_age(life["area_dm2"], volume_l, max(days, 0.0), **limits)


def electrolyte_named(book, name, bath_volume_l=None):
    """Return the number of an electrolyte, made when it is new."""
    name = " ".join((name or "").split())
    if not name:
        raise RecordError("the electrolyte has no name; give its tank one")
    found = book.rows("electrolytes", name=name)
    number = found[0]["id"] if found else book.add("electrolytes", name=name, bath_volume_l=bath_volume_l)
    if found and bath_volume_l is not None:
        book.correct("electrolytes", number, {"bath_volume_l": bath_volume_l})
    return number


def electrolyte_called(book, name):
    """Return the number of an electrolyte of the book; BookError with the known ones where there is none."""
    found = book.rows("electrolytes", name=" ".join(name.split()))
    if not found:
        known = ", ".join(row["name"] for row in book.rows("electrolytes")) or "none yet"
        raise BookError(f"no electrolyte is called {name!r}; the book has: {known}")
    return found[0]["id"]


def note_electrolyte(book, electrolyte_id, kind, at=None, **told):
    """Note what happened to an electrolyte; return the event's number.

    Parameters
    ----------
    book : dyebook.book.store.Book
    electrolyte_id : int
    kind : {"made_up", "topped_up", "titrated", "diluted", "thrown_out"}
    at : str, optional
        ISO text; now without it.
    **told
        `bath_volume_l`, `electrolyte_g_per_l`, `dissolved_al_g_per_l`, `chloride_mg_per_l`, `note`.
    """
    # written as the starts of runs are, which the book compares it with
    at = at or datetime.now(UTC).isoformat(timespec="seconds")
    return book.add("electrolyte_events", electrolyte_id=electrolyte_id, kind=kind, at=at, **told)


def life_of_electrolyte(book, electrolyte_id, discard_ah_per_l=None):
    """Return how far an electrolyte has been used, a `BathLife`; None where its volume is unknown."""
    life = book.electrolyte_life(electrolyte_id)
    volumes = [event["bath_volume_l"] for event in life["events"] if event["bath_volume_l"]]
    volume_l = volumes[-1] if volumes else book.row("electrolytes", electrolyte_id)["bath_volume_l"]
    if not volume_l:
        return None
    return bath_life(life["charge_ah"], volume_l, discard_ah_per_l=discard_ah_per_l)
