"""Strength of a dye bath over time: noted at its events, reckoned between them from all that went through it."""

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from dyebook.book.life import dips_in_bath
from dyebook.errors import RecordError
from dyebook.jobs.dye_rules import dye_rules
from dyebook.jobs.uptake import loads_of_dips
from dyebook.physics.bathcare import DRAG_OUT_ML_PER_DM2, estimate_strength
from dyebook.physics.dye_loss import LossCheck, learn_loss

__all__ = ["MADE", "NOTED_SD", "StrengthLine", "StrengthPoint", "clock_of", "strength_line"]

_USUAL_FILM_UM = 10.0
NOTED_SD = 0.05  # of a strength as noted, common practice
_EVAPORATION_SD = 0.3  # of the shop's own figure a day; judgement, no source
_DAY_S = 86400
# events after which a strength is what somebody made it, not what was found
MADE = ("made_up", "topped_up")


@dataclass(frozen=True)
class StrengthPoint:
    """Strength of a bath at one moment: `at` (ISO text), g/L, its doubt, and `kind`: an event's, "dip" or "now"."""

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
        Oldest first; noted at events, reckoned after each dip and now.
    noted_g_per_l : float or None
        The newest strength that somebody noted.
    dyed_dm2, film_um : float
        Area dyed since then, and its mean film.
    without_area : int
        Dips since then whose area nobody noted: they are not reckoned.
    uptake_mg_per_dm2, uptake_mg_per_dm2_sd : float or None
        Dye that the dips since then took, else all dips of the bath, else what a usual dip would take, per area.
    lost_g, lost_g_sd : float
        Dye lost since then to films and on its own, without drag-out.
    bath_volume_l : float or None
        As last noted.
    present_volume_l : float or None
        Level now, where one was noted since the strength.
    basis : str
        What uptake and loss rest on.
    """

    points: tuple
    noted_g_per_l: float | None = None
    dyed_dm2: float = 0.0
    film_um: float = _USUAL_FILM_UM
    without_area: int = 0
    uptake_mg_per_dm2: float | None = None
    uptake_mg_per_dm2_sd: float | None = None
    lost_g: float = 0.0
    lost_g_sd: float = 0.0
    bath_volume_l: float | None = None
    present_volume_l: float | None = None
    basis: str = ""

    @property
    def now(self):
        """The newest point; None of an empty line."""
        return self.points[-1] if self.points else None


def strength_line(book, bath_id, model=None, now=None, newest=False):
    """Return the strength of a bath over time, a `StrengthLine`; without points when nobody noted one yet.

    Parameters
    ----------
    book : dyebook.book.store.Book
    bath_id : int
    model : dyebook.model.predict.BathModel, optional
        The learned bath, which shares the uptake out over its dips.
    now : datetime, optional
        With its zone.
    newest : bool
        Only points from the newest noted strength on; what earlier checks teach still counts.
    """
    bath = book.row("baths", bath_id)
    events = book.rows("bath_events", bath_id=bath_id)
    dips = _dips_that_count(book, bath_id, events)
    rules = dye_rules(book, book.row("dyes", bath["dye_id"])["name"])
    loads, link = loads_of_dips(dips, rules.get("uptake_mg_per_dm2"), model)
    moments = [dip | {"load": load, "is_dip": True} for dip, load in zip(dips, loads, strict=True)]
    moments += [event | {"is_dip": False} for event in events]
    moments.sort(key=lambda row: (clock_of(row["at"]), row["is_dip"]))
    evaporation = rules.get("evaporation_l_per_day", 0.0)
    rate = learn_loss(link, _Walk(bath["bath_volume_l"], evaporation).checks(moments))
    if newest:
        moments = _from_newest(moments)
    walk = _Walk(bath["bath_volume_l"], evaporation, rate)
    usual = _mean_load(dips, loads) if dips else 1.0 if "uptake_mg_per_dm2" in rules else _USUAL_FILM_UM
    return walk.line(moments, now or datetime.now(UTC), usual)


def _dips_that_count(book, bath_id, events):
    """Dips since somebody first noted a strength; all of them where there are none since."""
    noted = [event["at"][:10] for event in events if event["dye_g_per_l"] is not None]
    # the day before: moments may be told in another zone
    since = (date.fromisoformat(min(noted)) - timedelta(days=1)).isoformat() if noted else None
    with book.reading() as connection:
        return dips_in_bath(connection, bath_id, since) or dips_in_bath(connection, bath_id)


def _from_newest(moments):
    """Moments from the newest noted strength on, its volume that of the last event that told one."""
    noted = [place for place, row in enumerate(moments) if not row["is_dip"] and row["dye_g_per_l"] is not None]
    if not noted:
        return moments
    told = [row["bath_volume_l"] for row in moments[: noted[-1] + 1] if not row["is_dip"] and row["bath_volume_l"]]
    first = moments[noted[-1]]
    return [first | {"bath_volume_l": told[-1] if told else None}, *moments[noted[-1] + 1 :]]


def _mean_load(dips, loads):
    """Load of the bath's dips, each by its area where that is known."""
    weights = [dip["area_dm2"] or 1.0 for dip in dips]
    return sum(w * load for w, load in zip(weights, loads, strict=True)) / sum(weights)


def clock_of(iso):
    """Return seconds since 1970; a moment without a zone is the shop's own time."""
    moment = datetime.fromisoformat(iso)
    return moment.timestamp() if moment.tzinfo else moment.astimezone().timestamp()


@dataclass
class _Since:
    """What has happened since a strength was noted; grows as the walk goes on."""

    clock: float
    g_per_l: float
    volume_l: float | None
    dyed_dm2: float = 0.0
    film_sum: float = 0.0
    load_dm2: float = 0.0
    without_area: int = 0
    level_l: float | None = None
    level_clock: float = 0.0
    level_dm2: float = 0.0

    def dip(self, row):
        area = row["area_dm2"]
        if not area:
            self.without_area += 1
            return
        self.dyed_dm2 += area
        self.film_sum += area * (row["film_um"] or _USUAL_FILM_UM)
        self.load_dm2 += area * row["load"]

    def level(self, clock, volume_l):
        self.level_l, self.level_clock, self.level_dm2 = volume_l, clock, self.dyed_dm2

    @property
    def film_um(self):
        return self.film_sum / self.dyed_dm2 if self.dyed_dm2 else _USUAL_FILM_UM

    def gram_days(self, clock, mean_g=None):
        return (self.g_per_l * self.volume_l if mean_g is None else mean_g) * max(clock - self.clock, 0.0) / _DAY_S

    def volumes(self, clock, evaporation):
        """Water lost to the air since the newest level, and the volume now where a level was noted since."""
        lost = evaporation * max(clock - (self.level_clock if self.level_l else self.clock), 0.0) / _DAY_S
        if self.level_l is None:
            return lost, None
        dragged = DRAG_OUT_ML_PER_DM2 * (self.dyed_dm2 - self.level_dm2) / 1000
        return lost, self.level_l - dragged - lost


@dataclass
class _Walk:
    """A walk along the moments of a bath; the volume is what was last noted."""

    volume_l: float | None
    evaporation: float
    rate: object = None

    def checks(self, moments):
        """Yield what each strength that was found, not made, tells about losses."""
        since, volume_l = None, self.volume_l
        for row in moments:
            if row["is_dip"]:
                if since is not None:
                    since.dip(row)
                continue
            volume_l = row["bath_volume_l"] or volume_l
            if row["dye_g_per_l"] is not None:
                if since is not None and row["kind"] not in MADE and since.volume_l and not since.without_area:
                    yield _check(since, row, self.evaporation)
                since = _Since(clock_of(row["at"]), row["dye_g_per_l"], volume_l)
            elif since is not None and row["bath_volume_l"]:
                since.level(clock_of(row["at"]), row["bath_volume_l"])

    def line(self, moments, now, usual_load):
        points, since, volume_l, gone = [], None, self.volume_l, False
        for row in moments:
            clock = clock_of(row["at"])
            if row["is_dip"]:
                if since is not None:
                    since.dip(row)
                    points += self._reckoned(since, clock, row["at"], "dip") if row["area_dm2"] else []
                continue
            gone = row["kind"] == "thrown_out"
            volume_l = row["bath_volume_l"] or volume_l
            if row["dye_g_per_l"] is not None:
                since = _Since(clock, row["dye_g_per_l"], volume_l)
                points.append(StrengthPoint(row["at"], since.g_per_l, NOTED_SD * since.g_per_l, row["kind"]))
            elif since is not None and row["bath_volume_l"]:
                since.level(clock, row["bath_volume_l"])
                points += self._reckoned(since, clock, row["at"], row["kind"])
        if since is None:
            return StrengthLine(tuple(points), bath_volume_l=volume_l, basis=self.rate.basis)
        if self._moves() and not gone:
            points += self._reckoned(since, now.timestamp(), now.isoformat(timespec="minutes"), "now")
        return self._told(points, since, now.timestamp(), usual_load)

    def _moves(self):
        """Whether the strength changes while nobody dips."""
        return self.evaporation > 0 or self.rate.per_day > 0

    def _reckoned(self, since, clock, at, kind):
        """The point after what happened, as a list of one; of none where the volume is not known."""
        if not since.volume_l:
            return []
        lost_g, lost_sd = self.rate.lost_g(since.load_dm2, since.gram_days(clock))
        evaporated, present = since.volumes(clock, self.evaporation)
        use = {"lost_g": lost_g, "lost_g_sd": lost_sd, "evaporated_l": evaporated, "present_volume_l": present}
        known = {"dyed_dm2": since.dyed_dm2, "uptake_mg_per_dm2": 0.0}
        try:
            strength, sd, left_l = estimate_strength(since.g_per_l, since.volume_l, **known, **use)
        except RecordError:
            # reckoned empty: what uptake rests on is at its end, which the line shows as nothing left
            return [StrengthPoint(at, 0.0, since.g_per_l, kind)]
        sd = math.hypot(sd, NOTED_SD * since.g_per_l, strength * _EVAPORATION_SD * evaporated / left_l)
        return [StrengthPoint(at, strength, sd, kind)]

    def _told(self, points, since, clock, usual_load):
        load = since.load_dm2 / since.dyed_dm2 if since.dyed_dm2 else usual_load
        each, each_sd = (1000 * part for part in self.rate.lost_g(load, 0.0))
        lost, lost_sd = self.rate.lost_g(since.load_dm2, since.gram_days(clock)) if since.volume_l else (0.0, 0.0)
        told = {"uptake_mg_per_dm2": each, "uptake_mg_per_dm2_sd": each_sd, "lost_g": lost, "lost_g_sd": lost_sd}
        seen = {"dyed_dm2": since.dyed_dm2, "film_um": since.film_um, "without_area": since.without_area}
        present = since.volumes(clock, self.evaporation)[1]
        told["bath_volume_l"] = since.volume_l
        return StrengthLine(
            tuple(points), since.g_per_l, present_volume_l=present, basis=self.rate.basis, **seen, **told
        )


def _check(since, row, evaporation):
    """What is gone between two noted strengths, less what drops carried out."""
    clock = clock_of(row["at"])
    dragged_l = DRAG_OUT_ML_PER_DM2 * since.dyed_dm2 / 1000
    evaporated, present = since.volumes(clock, evaporation)
    present = present or since.volume_l - dragged_l - evaporated
    before, after = since.g_per_l * since.volume_l, row["dye_g_per_l"] * (row["bath_volume_l"] or present)
    dragged_g = since.g_per_l * dragged_l
    sd = math.hypot(NOTED_SD * before, NOTED_SD * after, 0.5 * dragged_g)
    return LossCheck(before - after - dragged_g, sd, since.load_dm2, since.gram_days(clock, (before + after) / 2))
