"""How the baths on the bench stand today: what they are asked to be, how strong they are, when they want topping up."""

from dataclasses import dataclass

from dyebook.errors import RecordError
from dyebook.jobs.bath_line import bath_line
from dyebook.jobs.baths import age_of_bath, bath_label, baths_by_name
from dyebook.jobs.dye_rules import dye_rules
from dyebook.jobs.progress import say_nothing
from dyebook.jobs.strength_line import StrengthLine
from dyebook.jobs.top_up import plan_top_up
from dyebook.physics.bathcare import UPTAKE_MG_PER_DM2_UM

__all__ = ["BathCare", "bath_cares"]

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
    line : dyebook.jobs.strength_line.StrengthLine
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
        As for `dyebook.jobs.bath_line.bath_line`.
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
