"""Dye baths and electrolytes of the shop: found by name, what happened to each, the rules set for a dye, their age."""

from datetime import UTC, datetime

from dyebook.book.batches import Names
from dyebook.errors import BookError, RecordError
from dyebook.physics.bathcare import bath_age, check_window
from dyebook.physics.electrolyte import bath_life
from dyebook.record import FIELDS, check_value
from dyebook.units import moment_of, shop_now

__all__ = [
    "age_of_bath", "all_baths", "bath_called", "bath_label", "baths_by_name", "baths_out_of_use", "clock_of",
    "dye_rules", "dyes_met_together", "electrolyte_called", "electrolyte_named", "events_of_bath", "find_bath",
    "life_of_electrolyte", "lot_in_use", "note_bath", "note_electrolyte", "open_lot", "outside_window", "set_dye_rules",
    "want_strength", "wanted_of_bath",
]  # fmt: skip


def bath_label(dye: str, bath: str | None) -> str:
    """Return the name of a bath as people say it, such as "Ember, bath E1"; of the dye where no bath is noted."""
    return f"{dye}, bath {bath}" if bath else dye


def all_baths(book) -> list:
    """Return every bath of the book, by dye and name: its row with ``dye``, and whether it is ``in_use``."""
    dyes = {row["id"]: row["name"] for row in book.rows("dyes")}
    last = {event["bath_id"]: event["kind"] for event in sorted(book.rows("bath_events"), key=lambda one: one["at"])}
    baths = [
        row | {"dye": dyes.get(row["dye_id"], ""), "in_use": last.get(row["id"]) != "thrown_out"}
        for row in book.rows("baths")
    ]
    return sorted(baths, key=lambda row: (row["dye"], row["name"]))


def baths_by_name(book) -> dict:
    """Return the baths in use: "dye, bath" to the bath's row as of `all_baths`, by name."""
    return {_full_name(row): row for row in all_baths(book) if row["in_use"]}


def baths_out_of_use(book) -> set:
    """Return dye and name of the baths that were taken out of use."""
    return {(row["dye"], row["name"]) for row in all_baths(book) if not row["in_use"]}


def _full_name(row):
    return f"{row['dye']}, {row['name']}"


def _names_of(row):
    """What a bath may be called, the surest first."""
    return _full_name(row), bath_label(row["dye"], row["name"]), row["name"], row["dye"]


def bath_called(book, name: str, dye: str | None = None, in_use: bool = False) -> dict:
    """Return the one bath that is called so.

    The row is as of `all_baths`.

    Parameters
    ----------
    name
        "dye, bath"; or the bath alone, or the dye alone, where that is one bath.
    dye
        Only baths of that dye.
    in_use
        Only baths that were not taken out of use.
    """
    known = [row for row in all_baths(book) if dye in (None, row["dye"]) and (row["in_use"] or not in_use)]
    for place in range(4):
        found = [row for row in known if _names_of(row)[place] == name.strip()]
        if found:
            break
    if len(found) == 1:
        return found[0]
    what = f"{len(found)} baths are called" if found else "no bath in use is called" if in_use else "no bath is called"
    names = "; ".join(_full_name(row) for row in found or known) or "none yet"
    raise BookError(f"{what} {name!r}; write it as one of: {names}")


def dyes_met_together(book, bath_id: int):
    """Return the numbers of baths of the same name that batches met together with this one: one tank of two dyes."""
    name = book.row("baths", bath_id)["name"]
    named = {row["id"] for row in book.rows("baths", name=name)} - {bath_id}
    batches = {dip["batch_id"] for dip in book.rows("dips", bath_id=bath_id)} if named else set()
    return {other for other in named if any(dip["batch_id"] in batches for dip in book.rows("dips", bath_id=other))}


def find_bath(book, dye: str, bath: str, bath_volume_l: float | None = None) -> int:
    """Return the number of a bath of a dye, made when it is new; its volume is kept where one is given."""
    if not (bath or "").strip():
        raise RecordError("the bath has no name; give it one, such as the letters on its tank")
    with book.writing() as connection:
        _, bath_id = Names(connection, book.who).dye_and_bath(dye, bath)
    if bath_volume_l is not None:
        book.correct("baths", bath_id, {"bath_volume_l": bath_volume_l})
    return bath_id


def note_bath(book, bath_id: int, kind: str, at: str | None = None, **found) -> int:
    """Note what happened to a bath; return the event's number.

    `kind`: one of `dyebook.record.BATH_EVENTS`. `**found`: `bath_volume_l`, `dye_g_per_l`, `ph`, `bath_temp_c`, `note`:
    as found or left.
    """
    at = at or shop_now().isoformat(timespec="minutes")
    return book.add("bath_events", bath_id=bath_id, kind=kind, at=at, **found)


def events_of_bath(book, bath_id: int) -> list:
    """Return what happened to a bath, oldest first."""
    return sorted(book.rows("bath_events", bath_id=bath_id), key=lambda row: (row["at"], row["id"]))


def clock_of(iso: str) -> float:
    """Return seconds since 1970; a moment without a zone is the shop's own time."""
    return moment_of(iso).timestamp()


def age_of_bath(book, bath_id: int, now: datetime | None = None):
    """Return how used a bath is against the shop's limits, a `BathAge`; None where volume or make-up are unknown."""
    bath, life = book.row("baths", bath_id), book.bath_life(bath_id)
    volume_l = next((e["bath_volume_l"] for e in reversed(life["events"]) if e["bath_volume_l"]), bath["bath_volume_l"])
    if not volume_l or life["made_up_at"] is None:
        return None
    days = ((now or datetime.now(UTC)).timestamp() - clock_of(life["made_up_at"])) / 86400
    rules = dye_rules(book, book.row("dyes", bath["dye_id"])["name"])
    limits = {name: rules.get(name) for name in ("limit_dm2_per_l", "limit_days")}
    return bath_age(life["area_dm2"], volume_l, max(days, 0.0), **limits)


_RULES = "dye_rules"  # the setting they are kept under
_WINDOWS = ("ph", "bath_temp_c")
_KNOWN_RULES = (
    *_WINDOWS,
    "dye_g_per_l",
    "uptake_mg_per_dm2",
    "limit_dm2_per_l",
    "limit_days",
    "evaporation_l_per_day",
    "tank_area_dm2",
)


def dye_rules(book, dye: str) -> dict:
    """Return what the shop has set for a dye: windows (lower, upper) of `ph` and `bath_temp_c`, recipe and limits."""
    return (book.setting(_RULES) or {}).get(dye, {})


def set_dye_rules(book, dye: str, **rules):
    """Keep the shop's rules for a dye.

    `**rules`: `ph` and `bath_temp_c` as (lower, upper), `dye_g_per_l` of its recipe, `uptake_mg_per_dm2`,
    `limit_dm2_per_l`, `limit_days`, `evaporation_l_per_day`, `tank_area_dm2`; None takes a rule away.
    """
    unknown = [name for name in rules if name not in _KNOWN_RULES]
    if unknown:
        raise ValueError(f"unknown rules {unknown}; known: {', '.join(_KNOWN_RULES)}")
    for name in _WINDOWS:
        window = rules.get(name)
        if window is not None and not window[0] < window[1]:
            raise RecordError(
                f"the window of {FIELDS[name].label} runs from {window[0]:g} to {window[1]:g}; the lower end goes first"
            )
    known = book.setting(_RULES) or {}
    kept = {name: value for name, value in {**known.get(dye, {}), **rules}.items() if value is not None}
    book.set_setting(_RULES, {**known, dye: kept}, was=known)


_WANTED = "wanted_strengths"  # the setting they are kept under, by the bath's number


def wanted_of_bath(book, bath_id: int) -> str | float:
    """Return what a bath's strength is to be: "made" (up or topped up to), "recipe", "measured" last, or g/L."""
    return (book.setting(_WANTED) or {}).get(str(bath_id), "made")


def want_strength(book, bath_id: int, wanted: str | float):
    """Keep what a bath's strength is to be, as `wanted_of_bath` returns it."""
    if not isinstance(wanted, str):
        check_value("dye_g_per_l", wanted)
    known = book.setting(_WANTED) or {}
    book.set_setting(_WANTED, {**known, str(bath_id): wanted}, was=known)


def outside_window(book, dye: str, **values) -> list:
    """Return in words which of `ph` and `bath_temp_c` lie outside the shop's window for a dye."""
    rules = dye_rules(book, dye)
    found = [check_window(name, value, *rules[name]) for name, value in values.items() if value and name in rules]
    return [words for words in found if words]


def open_lot(book, product: str, lot: str, opened_on: str | None = None) -> int:
    """Write down that a lot of a dye or another chemical was opened; return its number.

    `opened_on`: ISO date; today without it.
    """
    product, lot = (" ".join((text or "").split()) for text in (product, lot))
    if not product or not lot:
        raise RecordError("a lot needs the name of its dye or chemical and the number on its tin")
    return book.add("lots", product=product, lot=lot, opened_on=opened_on or shop_now().date().isoformat())


def lot_in_use(book, product: str, at: str | None = None) -> str | None:
    """Return the number of the lot of a dye or chemical that was opened last by a moment (ISO text; now without it)."""
    day = (at or shop_now().date().isoformat())[:10]
    opened = [row for row in book.rows("lots", product=product) if row["opened_on"][:10] <= day]
    return max(opened, key=lambda row: (row["opened_on"], row["id"]))["lot"] if opened else None


def electrolyte_named(book, name: str, bath_volume_l: float | None = None) -> int:
    """Return the number of an electrolyte, made when it is new."""
    name = " ".join((name or "").split())
    if not name:
        raise RecordError("the electrolyte has no name; give its tank one")
    found = book.rows("electrolytes", name=name)
    number = found[0]["id"] if found else book.add("electrolytes", name=name, bath_volume_l=bath_volume_l)
    if found and bath_volume_l is not None:
        book.correct("electrolytes", number, {"bath_volume_l": bath_volume_l})
    return number


def electrolyte_called(book, name: str) -> int:
    """Return the number of an electrolyte of the book; BookError with the known ones where there is none."""
    found = book.rows("electrolytes", name=" ".join(name.split()))
    if not found:
        known = ", ".join(row["name"] for row in book.rows("electrolytes")) or "none yet"
        raise BookError(f"no electrolyte is called {name!r}; the book has: {known}")
    return found[0]["id"]


def note_electrolyte(book, electrolyte_id: int, kind: str, at: str | None = None, **found) -> int:
    """Note what happened to an electrolyte; return the event's number.

    `kind`: one of `dyebook.record.ELECTROLYTE_EVENTS`. `**found`: `bath_volume_l`, `electrolyte_g_per_l`,
    `dissolved_al_g_per_l`, `chloride_mg_per_l`, `note`.
    """
    # written as the starts of runs are, which the book compares it with
    at = at or datetime.now(UTC).isoformat(timespec="seconds")
    return book.add("electrolyte_events", electrolyte_id=electrolyte_id, kind=kind, at=at, **found)


def life_of_electrolyte(book, electrolyte_id: int, discard_ah_per_l: float | None = None):
    """Return how far an electrolyte has been used, a `BathLife`; None where its volume is unknown."""
    life = book.electrolyte_life(electrolyte_id)
    volumes = [event["bath_volume_l"] for event in life["events"] if event["bath_volume_l"]]
    volume_l = volumes[-1] if volumes else book.row("electrolytes", electrolyte_id)["bath_volume_l"]
    if not volume_l:
        return None
    return bath_life(life["charge_ah"], volume_l, discard_ah_per_l=discard_ah_per_l)
