"""How the baths on the bench stand today: what they are asked to be, how strong they are, when they want topping up.

The one strength of a dye bath, wherever it is shown: its line, uptake shared out by the learned bath.

A dye bath as it stands: strength over time, what films take, age, level, and whether it has left its window.
"""

from dataclasses import dataclass
from datetime import date

from dyebook.errors import BookError, ModelError, RecordError
from dyebook.jobs.baths import age_of_bath, bath_label, baths_by_name
from dyebook.jobs.progress import say_nothing
from dyebook.jobs.strength import LEAST_DIPS, StrengthLine, dye_rules, outside_window, plan_top_up, strength_line
from dyebook.physics.answer import Answer, cautions_for
from dyebook.physics.bathcare import UPTAKE_MG_PER_DM2_UM

__all__ = [
    "MOST_DIPS",
    "BathCare",
    "BathState",
    "bath_called",
    "bath_cares",
    "bath_line",
    "bath_state",
    "learned_or_none",
]

# a bath is learned from its newest dips: with 150 of 400 the next dips are predicted 2 % worse, in half the time
MOST_DIPS = 150


def bath_line(book, bath_id, learn=None, now=None, newest=False):
    """Return the strength of a bath over time, a `StrengthLine`.

    Parameters
    ----------
    book : dyebook.book.store.Book
    bath_id : int
    learn : callable, optional
        Takes the bath's label and its newest dips, returns the learned bath or None; `learned_or_none` without it.
    now : datetime, optional
        With its zone.
    newest : bool
        Only points from the newest noted strength on.
    """
    bath = book.row("baths", bath_id)
    dye = book.row("dyes", bath["dye_id"])["name"]
    dips = book.frame(dye=dye, bath=bath["name"], newest=MOST_DIPS)
    # without a learned bath the line's basis says what uptake rests on instead
    model = (learn or learned_or_none)(bath_label(dye, bath["name"]), dips) if len(dips) >= LEAST_DIPS else None
    return strength_line(book, bath_id, model, now, newest)


def learned_or_none(_label, dips):
    """Return the bath as its dips teach it, as of today; None where they cannot, all of them alike for instance."""
    from dyebook.advice.learn import learn_bath

    try:
        return learn_bath(dips).as_of(date.today().isoformat())
    except ModelError:
        return None


@dataclass(frozen=True, kw_only=True)
class BathState(Answer):
    """A dye bath as it stands.

    Attributes
    ----------
    bath : str
        "dye, bath".
    strength_g_per_l, strength_g_per_l_sd : float or None
        Now; None while nobody noted one.
    uptake_mg_per_dm2, uptake_mg_per_dm2_sd : float or None
    bath_volume_l, present_volume_l : float or None
        At its line; and now, where the level was noted.
    depth_mm : float or None
        Depth without a load, where the tank's area is known.
    dm2_per_l, days : float or None
    worn_out : bool
    without_area : int
        Dips since the last noted strength whose area is not known.
    points : tuple of dict
        ``at, dye_g_per_l, dye_g_per_l_sd, kind``, oldest first.
    """

    bath: str
    strength_g_per_l: float | None = None
    strength_g_per_l_sd: float | None = None
    uptake_mg_per_dm2: float | None = None
    uptake_mg_per_dm2_sd: float | None = None
    bath_volume_l: float | None = None
    present_volume_l: float | None = None
    depth_mm: float | None = None
    dm2_per_l: float | None = None
    days: float | None = None
    worn_out: bool = False
    without_area: int = 0
    points: tuple = ()


def bath_called(book, name):
    """Return the label and row of a bath in use by "dye, bath", or by the bath alone where that is one."""
    known = baths_by_name(book)
    found = [label for label, row in known.items() if name.strip() in (label, row["name"])]
    if len(found) != 1:
        what = f"{len(found)} baths are called" if found else "no bath in use is called"
        raise BookError(f"{what} {name!r}; write it as one of: {'; '.join(known) or 'none yet'}")
    return found[0], known[found[0]]


def bath_state(book, label, row, learn=None, now=None):
    """Return how a bath stands.

    Parameters
    ----------
    book : dyebook.book.store.Book
    label : str
    row : dict
        As in `baths_by_name`.
    learn : callable, optional
        As for `dyebook.jobs.bath_state.bath_line`.
    now : datetime, optional
        With its zone.

    Returns
    -------
    state : BathState
    line : StrengthLine
    """
    line, age = bath_line(book, row["id"], learn, now), age_of_bath(book, row["id"], now)
    volume = line.present_volume_l or row["bath_volume_l"]
    floor = dye_rules(book, row["dye"]).get("tank_area_dm2")
    last = line.now
    state = BathState(
        bath=label,
        strength_g_per_l=last and last.dye_g_per_l,
        strength_g_per_l_sd=last and last.dye_g_per_l_sd,
        uptake_mg_per_dm2=line.uptake_mg_per_dm2,
        uptake_mg_per_dm2_sd=line.uptake_mg_per_dm2_sd,
        bath_volume_l=row["bath_volume_l"],
        present_volume_l=line.present_volume_l,
        depth_mm=volume / floor * 100 if volume and floor else None,
        dm2_per_l=age and age.dm2_per_l,
        days=age and age.days,
        worn_out=bool(age and age.worn_out),
        without_area=line.without_area,
        points=tuple(vars(point) for point in line.points),
        basis=_basis(line, age),
        cautions=cautions_for("dye", "hot_bath", "waste"),
        notes=_notes(book, row, line, age),
    )
    return state, line


def _basis(line, age):
    noted = "noted strengths, between them area dyed and drag-out" if line.points else "nobody has noted its strength"
    return f"{noted}; dye taken up: {line.basis}" + (f"; age: {age.basis}" if age else "")


def _notes(book, row, line, age):
    """What wants doing: worn out, off its window, dips that cannot be reckoned."""
    events = book.rows("bath_events", bath_id=row["id"])
    newest = {
        name: next((event[name] for event in reversed(events) if event[name] is not None), None)
        for name in ("ph", "bath_temp_c")
    }
    notes = [f"as last noted, {problem}" for problem in outside_window(book, row["dye"], **newest)]
    if age is not None and age.worn_out:
        notes.insert(0, "worn out by your limits")
    if line.without_area:
        notes.append(f"{line.without_area} dips since its last noted strength have no area; they are not in the line")
    return tuple(notes)


# a bath is topped up once a tenth of its dye is gone; common practice, no source
_TOP_UP_AT = 0.9
_MOST = 12


@dataclass(frozen=True)
class BathCare:
    """One bath as it stands.

    Attributes
    ----------
    bath_id : int
    dye, bath : str
    last : BatchRow or None
        The newest batch that went through it, of those looked at.
    lab : Lab or None
        The newest shade that was read of it.
    asked_temp_c : (float, float) or None
        The shop's window for its dye; both the same where only the last dip tells.
    line : dyebook.jobs.strength.StrengthLine
        From the newest strength that was noted.
    wanted_g_per_l : float or None
        As it was last noted.
    age : dyebook.physics.bathcare.BathAge or None
    top_up : dyebook.physics.bathcare.TopUp or None
        What would bring it back now.
    due_in_dm2 : float or None
        Area until a tenth of its dye is gone; 0 or less when it is.
    """

    bath_id: int
    dye: str
    bath: str
    last: object
    lab: object
    asked_temp_c: tuple | None
    line: StrengthLine
    wanted_g_per_l: float | None
    age: object = None
    top_up: object = None
    due_in_dm2: float | None = None


def bath_cares(book, recent, learn=None, progress=None):
    """Return a `BathCare` of each bath in use, the one dipped last first.

    Parameters
    ----------
    book : dyebook.book.store.Book
    recent : sequence of BatchRow
        The newest batches, newest first.
    learn : callable, optional
        As for `dyebook.jobs.bath_state.bath_line`.
    progress : callable, optional
        Called with words where a bath begins.

    Returns
    -------
    list of BathCare
        At most a dozen.
    """
    last, read = {}, {}
    for row in recent:
        last.setdefault((row.dye, row.bath), row)
        if row.lab is not None:
            read.setdefault((row.dye, row.bath), row.lab)
    order = {names: place for place, names in enumerate(last)}
    named = [((row["dye"], row["name"]), row) for row in baths_by_name(book).values()]
    named.sort(key=lambda one: (order.get(one[0], len(order)), one[1]["id"]))
    cares, tell = [], progress or say_nothing
    for names, bath in named[:_MOST]:
        tell(f"Looking at {bath_label(*names)}")
        cares.append(_care_of(book, bath, last.get(names), read.get(names), learn))
    return cares


def _care_of(book, bath, last, lab, learn):
    rules = dye_rules(book, bath["dye"])
    asked = rules.get("bath_temp_c") or (last and (last.bath_temp_c, last.bath_temp_c))
    line = bath_line(book, bath["id"], learn, newest=True)
    wanted = line.noted_g_per_l
    top_up, due = _next_top_up(line, wanted)
    age = age_of_bath(book, bath["id"])
    return BathCare(bath["id"], bath["dye"], bath["name"], last, lab, asked, line, wanted, age, top_up, due)


def _next_top_up(line, wanted):
    """What would bring a bath back now, and the area until a tenth of its dye is gone."""
    volume_l = line.bath_volume_l
    if not wanted or not volume_l:
        return None, None
    per_dm2 = line.uptake_mg_per_dm2 or UPTAKE_MG_PER_DM2_UM * line.film_um
    spare_g = (line.points[-1].dye_g_per_l - _TOP_UP_AT * wanted) * volume_l
    try:
        plan = plan_top_up(line, wanted, volume_l)
    except RecordError:
        # reckoned empty: only a measured strength can say how much to add
        return None, 0.0
    return plan, spare_g * 1000 / per_dm2
