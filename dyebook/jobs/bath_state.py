"""How dye baths stand: strength over time, age and level, the top-up that is due, and what has left its window.

`bath_state` is the one answer to how a bath is doing, for shell, bench, the pages of baths and the printed log. The
learned bath shares its uptake out over its dips, so a bath has the same strength wherever it is shown.
"""

from dataclasses import dataclass, field

from dyebook.errors import ModelError, RecordError
from dyebook.jobs import say_nothing
from dyebook.jobs.baths import (
    age_of_bath,
    all_baths,
    bath_label,
    baths_by_name,
    clock_of,
    dye_rules,
    events_of_bath,
    outside_window,
)
from dyebook.jobs.strength import (
    LEAST_DIPS,
    MOST_DIPS,
    StrengthLine,
    learn_dips,
    strength_line,
    strengths_today,
    top_up_of,
)
from dyebook.physics.answer import Answer, cautions_for
from dyebook.physics.bathcare import UPTAKE_MG_PER_DM2_UM
from dyebook.record import is_empty

__all__ = ["BathState", "Stands", "bath_line", "bath_state", "bath_states", "stands_today", "temp_today"]

# a bath is topped up once a tenth of its dye is gone; common practice, no source
_TOP_UP_AT = 0.9
_MOST = 12


def bath_line(book, bath_id: int, learn=learn_dips, now=None, newest: bool = False) -> StrengthLine:
    """Return the strength of a bath over time, a `StrengthLine`.

    `newest`: only points from the newest noted strength on.
    """
    bath = book.row("baths", bath_id)
    dye = book.row("dyes", bath["dye_id"])["name"]
    dips = book.frame(dye=dye, bath=bath["name"], newest=MOST_DIPS)
    try:
        model = learn(bath_label(dye, bath["name"]), dips) if len(dips) >= LEAST_DIPS else None
    except ModelError:
        # dips all of them alike, for instance: the line's basis says what uptake rests on instead
        model = None
    return strength_line(book, bath_id, model, now, newest)


@dataclass(frozen=True)
class Stands:
    """How a bath stands today, for what is asked of it; None where it is not known."""

    # its strength as its dips are written down: on that scale it was learned, and is asked
    asked_g_per_l: float | None = None
    now_g_per_l: float | None = None  # what it holds: the strength that every page and command shows
    bath_temp_c: float | None = None  # as of `temp_today`
    window_temp_c: tuple | None = None  # (float, float) or None
    bath_volume_l: float | None = None

    @property
    def scale(self) -> float:
        """What the bath holds over what is written down."""
        return self.now_g_per_l / self.asked_g_per_l if self.now_g_per_l and self.asked_g_per_l else 1.0

    def held(self) -> dict:
        """Return the settings that the bath has by itself: they move only with work."""
        known = {"dye_g_per_l": self.asked_g_per_l, "bath_temp_c": self.bath_temp_c}
        return {name: value for name, value in known.items() if value is not None}


def stands_today(book, frames: dict, learn=learn_dips) -> dict:
    """Return how the baths of some dips stand, `Stands` by label; `learn` as for `bath_line`."""
    asked, named = strengths_today(book, frames), {(row["dye"], row["name"]): row for row in all_baths(book)}
    return {label: _stands(book, named, label, dips, asked.get(label), learn) for label, dips in frames.items()}


def _stands(book, named, label, dips, asked, learn):
    pairs = set(zip(dips["dye"], dips["bath"], strict=True))
    row = named.get(pairs.pop()) if len(pairs) == 1 else None
    if row is None:
        return Stands(asked, asked)
    line = bath_line(book, row["id"], learn, newest=True)
    window, now = dye_rules(book, row["dye"]).get("bath_temp_c"), line.now.dye_g_per_l if line.now else asked
    volume = line.bath_volume_l or row["bath_volume_l"]
    return Stands(asked, now, temp_today(book, row), window and tuple(window), volume)


def temp_today(book, row: dict) -> float | None:
    """Return how warm a bath, a row of `all_baths`, is taken to be: as last found, by a dip or a note, in its window.

    None where neither is known.
    """
    window = dye_rules(book, row["dye"]).get("bath_temp_c")
    found = [(clock_of(one["at"]), one["bath_temp_c"]) for one in events_of_bath(book, row["id"])]
    dips = book.batches(1, dye=row["dye"], bath=row["name"])
    found += [(clock_of(one.dyed_at), one.bath_temp_c) for one in dips if one.dyed_at]
    temps = [temp for _, temp in sorted(found, key=lambda one: one[0]) if not is_empty(temp)]
    if window is None:
        return temps[-1] if temps else None
    return min(max(temps[-1], window[0]), window[1]) if temps else sum(window) / 2


@dataclass(frozen=True, kw_only=True)
class BathState(Answer):
    """A dye bath as it stands; what follows `points` is for Python only."""

    bath: str  # "dye, bath"
    # strength_g_per_l, strength_g_per_l_sd: now; None while no strength was noted
    strength_g_per_l: float | None = None
    strength_g_per_l_sd: float | None = None
    wanted_g_per_l: float | None = None  # what a top-up brings back
    uptake_mg_per_dm2: float | None = None
    uptake_mg_per_dm2_sd: float | None = None
    # bath_volume_l, present_volume_l: at its line; and now, where the level was noted
    bath_volume_l: float | None = None
    present_volume_l: float | None = None
    depth_mm: float | None = None  # depth without a load, where the tank's area is known
    dm2_per_l: float | None = None
    days: float | None = None
    worn_out: bool = False
    without_area: int = 0  # dips since the last noted strength whose area is not known
    points: tuple[dict, ...] = ()  # ``at, dye_g_per_l, dye_g_per_l_sd, kind``, oldest first
    bath_id: int = field(repr=False)
    dye: str = field(repr=False)
    name: str = field(repr=False)
    line: StrengthLine = field(repr=False)
    age: object = field(default=None, repr=False)  # dyebook.physics.bathcare.BathAge or None
    # (float, float) or None: the shop's window for its dye
    window_temp_c: tuple | None = field(default=None, repr=False)
    # dyebook.physics.bathcare.TopUp or None: what would bring it back now
    top_up: object = field(default=None, repr=False)
    # area until a tenth of its dye is gone; 0 or less when it is
    due_in_dm2: float | None = field(default=None, repr=False)
    # BatchRow or None: the newest batch that went through it, of those looked at
    last: object = field(default=None, repr=False)
    lab: object = field(default=None, repr=False)  # Lab or None: the newest shade that was read of it


def bath_state(book, row: dict, learn=learn_dips, now=None, newest=False, **seen) -> BathState:
    """Return how a bath stands, a `BathState`.

    Parameters
    ----------
    row
        As of `dyebook.jobs.baths.all_baths`.
    learn, now, newest
        As for `bath_line`.
    **seen
        `last` and `lab` of the batches that were looked at.
    """
    line, age = bath_line(book, row["id"], learn, now, newest), age_of_bath(book, row["id"], now)
    rules = dye_rules(book, row["dye"])
    volume, floor = line.present_volume_l or row["bath_volume_l"], rules.get("tank_area_dm2")
    top_up, due = _next_top_up(line)
    return BathState(
        bath=f"{row['dye']}, {row['name']}",
        strength_g_per_l=line.now and line.now.dye_g_per_l,
        strength_g_per_l_sd=line.now and line.now.dye_g_per_l_sd,
        wanted_g_per_l=line.wanted_g_per_l,
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
        bath_id=row["id"],
        dye=row["dye"],
        name=row["name"],
        line=line,
        age=age,
        window_temp_c=rules.get("bath_temp_c"),
        top_up=top_up,
        due_in_dm2=due,
        **seen,
    )


def _next_top_up(line):
    """What would bring a bath back now, and the area until a tenth of its dye is gone."""
    wanted, volume_l = line.wanted_g_per_l, line.bath_volume_l
    if not wanted or not volume_l:
        return None, None
    per_dm2 = line.uptake_mg_per_dm2 or UPTAKE_MG_PER_DM2_UM * line.film_um
    spare_g = (line.now.dye_g_per_l - _TOP_UP_AT * wanted) * volume_l
    try:
        _, plan = top_up_of(line, volume_l, target_g_per_l=wanted)
    except RecordError:
        # empty by the sums: only a measured strength can say how much to add
        return None, 0.0
    return plan, spare_g * 1000 / per_dm2


def _basis(line, age):
    noted = "noted strengths, between them area dyed and drag-out" if line.points else "its strength is not noted"
    return f"{noted}; dye taken up: {line.basis}" + (f"; age: {age.basis}" if age else "")


def _notes(book, row, line, age):
    """What wants doing: worn out, off its window, dips that cannot be worked out."""
    events = events_of_bath(book, row["id"])
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


def bath_states(book, recent, learn=learn_dips, progress=say_nothing):
    """Return the `BathState` of each bath in use, the one dipped last first.

    At most a dozen, their lines from the newest noted strength on. `recent` (sequence of BatchRow): the newest batches,
    newest first.
    """
    last, read = {}, {}
    for row in recent:
        last.setdefault((row.dye, row.bath), row)
        if row.lab is not None:
            read.setdefault((row.dye, row.bath), row.lab)
    order = {names: place for place, names in enumerate(last)}
    named = [((row["dye"], row["name"]), row) for row in baths_by_name(book).values()]
    named.sort(key=lambda one: (order.get(one[0], len(order)), one[1]["id"]))
    states = []
    for names, row in named[:_MOST]:
        progress(f"Looking at {bath_label(*names)}")
        states.append(bath_state(book, row, learn, newest=True, last=last.get(names), lab=read.get(names)))
    return states
