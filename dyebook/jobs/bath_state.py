"""A dye bath as it stands: strength over time, what films take, age, level, and whether it has left its window."""

from dataclasses import dataclass

from dyebook.errors import BookError
from dyebook.jobs.bath_line import bath_line
from dyebook.jobs.baths import age_of_bath, baths_by_name
from dyebook.jobs.dye_rules import dye_rules, outside_window
from dyebook.physics.answer import Answer
from dyebook.physics.cautions import cautions_for

__all__ = ["BathState", "bath_called", "bath_state"]


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
        As for `dyebook.jobs.bath_line.bath_line`.
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
