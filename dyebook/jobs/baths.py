"""Dye baths and electrolytes as the shop keeps them: what happened to each, how strong it is, how used it is."""

import math
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

from dyebook.book.life import dips_in_bath
from dyebook.book.names import Names
from dyebook.errors import RecordError
from dyebook.physics.bathcare import check_window, estimate_strength, reckon_age, top_up_bath
from dyebook.physics.electrolyte_use import bath_life

__all__ = [
    "StrengthLine",
    "StrengthPoint",
    "age_of_bath",
    "baths_by_name",
    "dye_rules",
    "electrolyte_named",
    "find_bath",
    "life_of_electrolyte",
    "note_bath",
    "note_electrolyte",
    "outside_window",
    "plan_top_up",
    "set_dye_rules",
    "strength_line",
]

_RULES = "dye_rules"
_KNOWN_RULES = ("ph", "bath_temp_c", "uptake_mg_per_dm2", "limit_dm2_per_l", "limit_days")
_USUAL_FILM_UM = 10.0
_NOTED_SD = 0.05  # of a strength as noted, common practice


def baths_by_name(book):
    """Return the baths in use: "dye, bath" to the bath's row with ``dye``, by name; those thrown out are left out."""
    dyes = {row["id"]: row["name"] for row in book.rows("dyes")}
    last = {event["bath_id"]: event["kind"] for event in sorted(book.rows("bath_events"), key=lambda one: one["at"])}
    baths = [row | {"dye": dyes.get(row["dye_id"], "")} for row in book.rows("baths")]
    used = [row for row in baths if last.get(row["id"]) != "thrown_out"]
    return {f"{row['dye']}, {row['name']}": row for row in sorted(used, key=lambda row: (row["dye"], row["name"]))}


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


def dye_rules(book, dye):
    """Return what the shop has set for a dye: windows (lower, upper) of `ph` and `bath_temp_c`, uptake and limits."""
    return (book.setting(_RULES) or {}).get(dye, {})


def set_dye_rules(book, dye, **rules):
    """Keep the shop's rules for a dye.

    Parameters
    ----------
    book : dyebook.book.store.Book
    dye : str
    **rules
        `ph` and `bath_temp_c` as (lower, upper), `uptake_mg_per_dm2`, `limit_dm2_per_l`, `limit_days`; None takes a
        rule away.
    """
    unknown = [name for name in rules if name not in _KNOWN_RULES]
    if unknown:
        raise ValueError(f"unknown rules {unknown}; known: {', '.join(_KNOWN_RULES)}")
    for name in ("ph", "bath_temp_c"):
        window = rules.get(name)
        if window is not None and not window[0] < window[1]:
            raise RecordError(
                f"the window of {name} runs from {window[0]:g} to {window[1]:g}; the lower end goes first"
            )
    kept = {name: value for name, value in {**dye_rules(book, dye), **rules}.items() if value is not None}
    book.set_setting(_RULES, {**(book.setting(_RULES) or {}), dye: kept})


def outside_window(book, dye, **values):
    """Return in words which of `ph` and `bath_temp_c` lie outside the shop's window for a dye."""
    rules = dye_rules(book, dye)
    found = [check_window(name, value, *rules[name]) for name, value in values.items() if value and name in rules]
    return [words for words in found if words]


@dataclass(frozen=True)
class StrengthPoint:
    """Strength of a bath at one moment: `at` (ISO text), g/L and its uncertainty, and `kind`, an event's or "dip"."""

    at: str
    dye_g_per_l: float
    dye_g_per_l_sd: float
    kind: str


@dataclass(frozen=True)
class StrengthLine:
    """Strength of a bath over time.

    Attributes
    ----------
    points : tuple of StrengthPoint
        Oldest first; noted at events, reckoned after each dip.
    noted_g_per_l : float or None
        The newest strength that somebody noted.
    dyed_dm2, film_um : float
        Area dyed since the last noted strength, and its mean film.
    without_area : int
        Dips since then whose area nobody noted: they are not reckoned.
    bath_volume_l : float or None
        As last noted.
    """

    points: tuple
    noted_g_per_l: float | None = None
    dyed_dm2: float = 0.0
    film_um: float = _USUAL_FILM_UM
    without_area: int = 0
    bath_volume_l: float | None = None


def strength_line(book, bath_id, newest=False):
    """Return the strength of a bath over time, a `StrengthLine`; without points when nobody noted one yet.

    With `newest`, only from the newest noted strength on, which is quick also where thousands of dips went before.
    """
    bath = book.row("baths", bath_id)
    events = [row | {"is_dip": False} for row in book.rows("bath_events", bath_id=bath_id)]
    noted = [row for row in events if row["dye_g_per_l"] is not None]
    if not noted:
        return StrengthLine(())
    last = max(noted, key=lambda row: _clock(row["at"]))
    volume_l = bath["bath_volume_l"]
    if newest:
        volumes = [row["bath_volume_l"] for row in sorted(events, key=lambda row: _clock(row["at"]))]
        volume_l = next((one for one in reversed(volumes) if one), volume_l)
        events = [row for row in events if _clock(row["at"]) >= _clock(last["at"])]
    with book.reading() as connection:
        # a day early, as moments with and without a zone sort apart; what lies before the note is passed over below
        dips = dips_in_bath(connection, bath_id, _day_before(last["at"]) if newest else None)
    moments = sorted(
        [*events, *(dip | {"is_dip": True} for dip in dips)], key=lambda row: (_clock(row["at"]), row["is_dip"])
    )
    uptake = dye_rules(book, book.row("dyes", bath["dye_id"])["name"]).get("uptake_mg_per_dm2")
    return _walk(moments, volume_l, uptake)


def _day_before(iso):
    return (datetime.fromisoformat(iso) - timedelta(days=1)).date().isoformat()


def _clock(iso):
    """Seconds since 1970; a moment without a zone is the shop's own time."""
    moment = datetime.fromisoformat(iso)
    return moment.timestamp() if moment.tzinfo else moment.astimezone().timestamp()


def _walk(moments, volume_l, uptake):
    points, start, dyed, weighted, unknown = [], None, 0.0, 0.0, 0
    for row in moments:
        if not row["is_dip"]:
            volume_l = row["bath_volume_l"] or volume_l
            if row["dye_g_per_l"] is not None:
                start, dyed, weighted, unknown = row["dye_g_per_l"], 0.0, 0.0, 0
                points.append(StrengthPoint(row["at"], start, _NOTED_SD * start, row["kind"]))
        elif start is not None:
            area = row["area_dm2"]
            unknown += area is None
            dyed += area or 0.0
            weighted += (area or 0.0) * (row["film_um"] or _USUAL_FILM_UM)
            if area and volume_l:
                points.append(_after_dip(row["at"], start, volume_l, dyed, weighted / dyed, uptake))
    film_um = weighted / dyed if dyed else _USUAL_FILM_UM
    return StrengthLine(tuple(points), start, dyed, film_um, unknown, volume_l)


def plan_top_up(line, target_g_per_l, full_volume_l, *, dyed_dm2=0.0, evaporated_l=0.0, uptake_mg_per_dm2=None):
    """Plan a top-up from the newest strength noted and what has happened since.

    Parameters
    ----------
    line : StrengthLine
        Without a noted strength the bath is taken to have stood at its target.
    target_g_per_l, full_volume_l : float
    dyed_dm2, evaporated_l : float
        Since then.
    uptake_mg_per_dm2 : float, optional
        The shop's own figure for the dye.

    Returns
    -------
    dyebook.physics.bathcare.TopUp
    """
    start = line.noted_g_per_l or target_g_per_l
    use = {"dyed_dm2": dyed_dm2, "film_um": line.film_um, "evaporated_l": evaporated_l}
    strength, sd, present = estimate_strength(start, full_volume_l, uptake_mg_per_dm2=uptake_mg_per_dm2, **use)
    sd = math.hypot(sd, _NOTED_SD * start)
    plan = top_up_bath(target_g_per_l, full_volume_l, measured_g_per_l=strength, present_volume_l=present)
    uptake = "uptake: rule of thumb" if uptake_mg_per_dm2 is None else "uptake: your figure"
    basis = f"{start:g} g/L when last noted, less what area dyed and drag-out took; {uptake}"
    return replace(plan, strength_g_per_l_sd=sd, dye_g_sd=sd * present, basis=basis)


def _after_dip(at, start, volume_l, dyed, film_um, uptake):
    try:
        strength, sd, _ = estimate_strength(start, volume_l, dyed_dm2=dyed, film_um=film_um, uptake_mg_per_dm2=uptake)
    except RecordError:
        # reckoned empty: the rule of thumb is at its end, which the line shows as nothing left
        strength, sd = 0.0, start
    return StrengthPoint(at, strength, math.hypot(sd, _NOTED_SD * start), "dip")


def age_of_bath(book, bath_id, now=None):
    """Return how used a bath is against the shop's limits, a `BathAge`; None where volume or make-up are unknown."""
    bath = book.row("baths", bath_id)
    life = book.bath_life(bath_id)
    volume_l = next((e["bath_volume_l"] for e in reversed(life["events"]) if e["bath_volume_l"]), bath["bath_volume_l"])
    if not volume_l or life["made_up_at"] is None:
        return None
    days = ((now or datetime.now(UTC)).timestamp() - _clock(life["made_up_at"])) / 86400
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
