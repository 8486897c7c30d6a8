"""Strength of a dye bath over time: noted at its events, worked out between them from all that went through it.

What the films of a dip took up is a load times what one unit of load weighs. The learned bath shares the loads out
where there is one; the shop's own strength checks then say what a unit weighs and what the bath loses on its own
(`dyebook.physics.bathcare.learn_loss`). From the newest noted strength on, dips, drops carried out and water lost to
the air give the strength now, and with it the top-up that brings the bath back.
"""

import math
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta

import numpy as np

from dyebook.book.life import dips_in_bath
from dyebook.errors import RecordError
from dyebook.jobs.baths import all_baths, clock_of, dye_rules, wanted_of_bath
from dyebook.physics.bathcare import (
    DRAG_OUT_ML_PER_DM2,
    GIVEN_SD_FRACTION,
    UPTAKE_MG_PER_DM2_UM,
    UPTAKE_SD_FRACTION,
    LossCheck,
    UptakeLink,
    estimate_strength,
    learn_loss,
    mg_per_dm2_of_absorbance,
    top_up_bath,
)
from dyebook.units import shop_now

__all__ = [
    "LEAST_DIPS",
    "MOST_DIPS",
    "NOTED_SD",
    "StrengthLine",
    "StrengthPoint",
    "learn_dips",
    "loads_of_dips",
    "strength_line",
    "strengths_today",
    "top_up_of",
]

# a bath is learned from its newest dips: with 150 of 400 the next dips are predicted 2 % worse, in half the time
MOST_DIPS = 150
# fewer dips than this say little about how loads differ
LEAST_DIPS = 8
NOTED_SD = 0.05  # share of a strength as noted, common practice
_EVAPORATION_SD = 0.3  # share of the shop's own figure a day; judgement, no source
_TEXTBOOK_SD = 0.7  # share of what a textbook dye weighs; judgement, no source
_USUAL_FILM_UM = 10.0
_DAY_S = 86400
# events after which a strength is what the shop made it, not what it found
_MADE = ("made_up", "topped_up")
_NUMBERS = ("film_um", "dye_g_per_l", "bath_temp_c", "dwell_min", "ph")


@dataclass(frozen=True)
class StrengthPoint:
    """Strength of a bath at one moment: `at` (ISO text), g/L, its doubt, and `kind`: an event's, "dip" or "now"."""

    at: str
    dye_g_per_l: float
    dye_g_per_l_sd: float
    kind: str


@dataclass(frozen=True)
class StrengthLine:
    """Strength of a bath over time."""

    points: tuple[StrengthPoint, ...]  # oldest first; noted at events, worked out after each dip and now
    noted_g_per_l: float | None = None  # the newest strength that was noted
    # what a top-up brings back, and whose word that is: "set", "recipe" or the kind of an event; empty where not known
    wanted_g_per_l: float | None = None
    wanted_as: str = ""
    # dyed_dm2, film_um: area dyed since the newest noted strength, and its mean film
    dyed_dm2: float = 0.0
    film_um: float = _USUAL_FILM_UM
    without_area: int = 0  # dips since then whose area was not noted: they are not worked out
    # uptake_mg_per_dm2, uptake_mg_per_dm2_sd: dye that the dips since then took, else all dips of the bath, else what a
    # usual dip would take, per area
    uptake_mg_per_dm2: float | None = None
    uptake_mg_per_dm2_sd: float | None = None
    # lost_g, lost_g_sd: dye lost since then to films and on its own, without drag-out
    lost_g: float = 0.0
    lost_g_sd: float = 0.0
    bath_volume_l: float | None = None  # as last noted
    present_volume_l: float | None = None  # level now, where one was noted since the strength
    basis: str = ""  # what uptake and loss rest on

    @property
    def now(self):
        """The newest point; None of an empty line."""
        return self.points[-1] if self.points else None


def learn_dips(_label, dips):
    """Return the bath that a table of dips teaches, asked as of today; ModelError where they cannot teach one.

    What `learn` is wherever it is not given; one that is given takes the bath's label and its dips too.
    """
    from dyebook.advice.learn import learn_bath

    return learn_bath(dips).as_of(shop_now().date().isoformat())


def strength_line(book, bath_id: int, model=None, now: datetime | None = None, newest: bool = False) -> StrengthLine:
    """Return the strength of a bath over time, a `StrengthLine`; without points while no strength was noted.

    `model` (dyebook.model.predict.BathModel, optional): the learned bath, which shares the uptake out over its dips.
    `newest`: only points from the newest noted strength on; what earlier checks teach still counts.
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
    rate = learn_loss(link, _loss_checks(bath["bath_volume_l"], moments, evaporation))
    usual = _mean_load(dips, loads) if dips else 1.0 if "uptake_mg_per_dm2" in rules else _USUAL_FILM_UM
    balance = _Balance(bath["bath_volume_l"], evaporation, rate, usual)
    line = balance.line(moments, now or datetime.now(UTC), newest)
    wanted, wanted_as = _wanted(wanted_of_bath(book, bath_id), rules, [row for row in moments if not row["is_dip"]])
    return replace(line, wanted_g_per_l=wanted, wanted_as=wanted_as)


def _wanted(asked, rules, events):
    """Strength wanted of a bath, and by whose word; what was asked for first, then as made, then as noted."""
    if not isinstance(asked, str):
        return asked, "set"
    noted = [(row["dye_g_per_l"], row["kind"]) for row in events if row["dye_g_per_l"] is not None]
    made = [one for one in noted if one[1] in _MADE]
    recipe = [(rules["dye_g_per_l"], "recipe")] if "dye_g_per_l" in rules else []
    found = {"recipe": recipe, "made": made, "measured": [one for one in noted if one[1] not in _MADE]}
    return (found[asked] or made or noted or [(None, "")])[-1]


def _dips_that_count(book, bath_id, events):
    """Dips since a strength was first noted; all of them where there are none since."""
    noted = [event["at"][:10] for event in events if event["dye_g_per_l"] is not None]
    # the day before: moments may be written in another zone
    since = (date.fromisoformat(min(noted)) - timedelta(days=1)).isoformat() if noted else None
    with book.reading() as connection:
        return dips_in_bath(connection, bath_id, since) or dips_in_bath(connection, bath_id)


def _mean_load(dips, loads):
    """Load of the bath's dips, each by its area where that is known."""
    weights = [dip["area_dm2"] or 1.0 for dip in dips]
    return sum(w * load for w, load in zip(weights, loads, strict=True)) / sum(weights)


@dataclass
class _Since:
    """What has happened since a strength was noted; grows along the moments."""

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


def _walk(volume_l, moments):
    """Yield each moment, the `_Since` that a strength noted then brings to its end, and the one that holds after it."""
    since = None
    for row in moments:
        ended = None
        if row["is_dip"]:
            if since is not None:
                since.dip(row)
        else:
            volume_l = row["bath_volume_l"] or volume_l
            if row["dye_g_per_l"] is not None:
                ended, since = since, _Since(clock_of(row["at"]), row["dye_g_per_l"], volume_l)
            elif since is not None and row["bath_volume_l"]:
                since.level(clock_of(row["at"]), row["bath_volume_l"])
        yield row, ended, since


def _loss_checks(volume_l, moments, evaporation):
    """Yield what each strength that was found, not made, says of losses."""
    for row, ended, _ in _walk(volume_l, moments):
        if ended is not None and row["kind"] not in _MADE and ended.volume_l and not ended.without_area:
            yield _loss_check(ended, row, evaporation)


def _loss_check(since, row, evaporation):
    """What is gone between two noted strengths, less what drops carried out."""
    clock = clock_of(row["at"])
    dragged_l = DRAG_OUT_ML_PER_DM2 * since.dyed_dm2 / 1000
    evaporated, present = since.volumes(clock, evaporation)
    present = present or since.volume_l - dragged_l - evaporated
    before, after = since.g_per_l * since.volume_l, row["dye_g_per_l"] * (row["bath_volume_l"] or present)
    dragged_g = since.g_per_l * dragged_l
    sd = math.hypot(NOTED_SD * before, NOTED_SD * after, 0.5 * dragged_g)
    return LossCheck(before - after - dragged_g, sd, since.load_dm2, since.gram_days(clock, (before + after) / 2))


@dataclass(frozen=True)
class _Balance:
    """What a bath's line is worked out with: its volume, water lost to the air a day, losses of dye, a usual load."""

    volume_l: float | None
    evaporation: float
    rate: object
    usual_load: float

    def line(self, moments, now, newest):
        points, since = [], None
        for row, _, since in _walk(self.volume_l, moments):
            if row["is_dip"]:
                points += self._point(since, clock_of(row["at"]), row["at"], "dip") if row["area_dm2"] else []
            elif row["dye_g_per_l"] is not None:
                noted = StrengthPoint(row["at"], since.g_per_l, NOTED_SD * since.g_per_l, row["kind"])
                points = [noted] if newest else [*points, noted]
            elif row["bath_volume_l"]:
                points += self._point(since, clock_of(row["at"]), row["at"], row["kind"])
        events = [row for row in moments if not row["is_dip"]]
        if since is None:
            volumes = [row["bath_volume_l"] for row in events if row["bath_volume_l"]]
            return StrengthLine((), bath_volume_l=volumes[-1] if volumes else self.volume_l, basis=self.rate.basis)
        moves = self.evaporation > 0 or self.rate.per_day > 0
        if moves and events[-1]["kind"] != "thrown_out":
            points += self._point(since, now.timestamp(), now.isoformat(timespec="minutes"), "now")
        return self._summed(tuple(points), since, now.timestamp())

    def _point(self, since, clock, at, kind):
        """The point after what happened, as a list of one; of none where strength or volume are not known."""
        if since is None or not since.volume_l:
            return []
        lost_g, lost_sd = self.rate.lost_g(since.load_dm2, since.gram_days(clock))
        evaporated, present = since.volumes(clock, self.evaporation)
        use = {"lost_g": lost_g, "lost_g_sd": lost_sd, "evaporated_l": evaporated, "present_volume_l": present}
        known = {"dyed_dm2": since.dyed_dm2, "uptake_mg_per_dm2": 0.0}
        try:
            strength, sd, left_l = estimate_strength(since.g_per_l, since.volume_l, **known, **use)
        except RecordError:
            # empty by the sums: what uptake rests on is at its end, which the line shows as nothing left
            return [StrengthPoint(at, 0.0, since.g_per_l, kind)]
        sd = math.hypot(sd, NOTED_SD * since.g_per_l, strength * _EVAPORATION_SD * evaporated / left_l)
        return [StrengthPoint(at, strength, sd, kind)]

    def _summed(self, points, since, clock):
        load = since.load_dm2 / since.dyed_dm2 if since.dyed_dm2 else self.usual_load
        each, each_sd = (1000 * part for part in self.rate.lost_g(load, 0.0))
        lost, lost_sd = self.rate.lost_g(since.load_dm2, since.gram_days(clock)) if since.volume_l else (0.0, 0.0)
        return StrengthLine(
            points,
            noted_g_per_l=since.g_per_l,
            dyed_dm2=since.dyed_dm2,
            film_um=since.film_um,
            without_area=since.without_area,
            uptake_mg_per_dm2=each,
            uptake_mg_per_dm2_sd=each_sd,
            lost_g=lost,
            lost_g_sd=lost_sd,
            bath_volume_l=since.volume_l,
            present_volume_l=since.volumes(clock, self.evaporation)[1],
            basis=self.rate.basis,
        )


def loads_of_dips(dips, own_mg_per_dm2: float | None = None, model=None):
    """Return the load of each dip, as from `dips_in_bath`, and the `UptakeLink` of what one unit of load weighs.

    `own_mg_per_dm2` is the shop's own figure for the dye, at a usual dip. In a bath of two dyes the load that the dip
    would have had alone is split by their strengths: both compete for the same places (Langmuir, like affinities).
    """
    loads, link = _loads_alone(dips, own_mg_per_dm2, model)
    return [load * dip["share"] for load, dip in zip(loads, dips, strict=True)], link


def _loads_alone(dips, own_mg_per_dm2, model):
    """Loads and link as if each dye had been alone in its bath."""
    own = None if own_mg_per_dm2 is None else f"your figure of {own_mg_per_dm2:g} mg/dm²"
    loads = None if model is None else _absorbances(dips, model)
    if loads and own:
        usual = sorted(loads)[len(loads) // 2]
        return loads, UptakeLink(own_mg_per_dm2 / usual, GIVEN_SD_FRACTION, f"{own}, shared out by the learned bath")
    if loads:
        each = float(mg_per_dm2_of_absorbance(1.0))
        source = f"the learned bath's absorbance and a textbook dye, {each:.3g} mg/dm² for an absorbance of 1"
        return loads, UptakeLink(each, _TEXTBOOK_SD, source)
    if own:
        return [1.0] * len(dips), UptakeLink(own_mg_per_dm2, GIVEN_SD_FRACTION, own)
    films = [dip["film_um"] or _USUAL_FILM_UM for dip in dips]
    source = f"rule of thumb, {UPTAKE_MG_PER_DM2_UM:g} mg/dm² per µm of film"
    return films, UptakeLink(UPTAKE_MG_PER_DM2_UM, UPTAKE_SD_FRACTION, source)


def _absorbances(dips, model):
    """Peak absorbance of each dip as the learned bath has it; the middle one where a setting was not noted."""
    import pandas as pd

    from dyebook.model.inputs import read_settings

    table = pd.DataFrame(dips, columns=[*_NUMBERS, "alloy", "finish"])
    table[list(_NUMBERS)] = table[list(_NUMBERS)].astype(float)
    whole = table[["dye_g_per_l", "bath_temp_c", "dwell_min"]].notna().all(axis=1).to_numpy()
    if not whole.any():
        return None
    settings = read_settings(table[whole], model.usual, model.training.circumstances)
    peaks = model.absorbance(settings)[0].max(axis=1)
    loads = np.full(len(table), float(np.median(peaks)))
    loads[whole] = peaks
    return loads.tolist()


def top_up_of(
    line: StrengthLine,
    full_volume_l: float | None,
    *,
    target_g_per_l: float | None = None,
    measured_g_per_l: float | None = None,
    present_l: float | None = None,
    **since,
):
    """Return the strength wanted of a bath, and the `TopUp` to it from a measured strength or the one worked out.

    Without a target, as it is wanted of the bath. `measured_g_per_l` and `present_l` are strength and volume now, where
    they were looked at; `since` are `dyed_dm2` since the newest noted strength, where it is not what the book has, and
    `evaporated_l` besides what the line knows.
    """
    target = target_g_per_l or line.wanted_g_per_l
    if target is None or full_volume_l is None:
        raise RecordError("wanted strength and volume are needed: note how the bath was made up, or give them")
    if measured_g_per_l is not None:
        known = {"measured_g_per_l": measured_g_per_l, "present_volume_l": present_l}
        return target, top_up_bath(target, full_volume_l, **known)
    return target, _top_up_from_line(line, target, full_volume_l, present_l, **since)


def _top_up_from_line(line, target_g_per_l, full_volume_l, present_l, dyed_dm2=None, evaporated_l=0.0):
    """Top-up from the newest noted strength and what happened since; without one the bath stood at its target."""
    start = line.noted_g_per_l or target_g_per_l
    dyed = line.dyed_dm2 if dyed_dm2 is None else dyed_dm2
    more = dyed - line.dyed_dm2
    use = {"dyed_dm2": dyed, "film_um": line.film_um, "evaporated_l": evaporated_l}
    if line.uptake_mg_per_dm2 is not None:
        use |= {"uptake_mg_per_dm2": 0.0, "lost_g": line.lost_g + line.uptake_mg_per_dm2 * more / 1000}
        use["lost_g_sd"] = line.lost_g_sd + line.uptake_mg_per_dm2_sd * abs(more) / 1000
    if present_l is None and line.present_volume_l is not None:
        present_l = line.present_volume_l - evaporated_l
    strength, sd, present = estimate_strength(start, full_volume_l, present_volume_l=present_l, **use)
    sd = math.hypot(sd, NOTED_SD * start)
    plan = top_up_bath(target_g_per_l, full_volume_l, measured_g_per_l=strength, present_volume_l=present)
    uptake = line.basis or "rule of thumb, 0.2 mg/dm² per µm of film"
    basis = f"{start:g} g/L when last noted, less what area dyed, drag-out and time took; dye taken up: {uptake}"
    return replace(plan, strength_g_per_l_sd=sd, dye_g_sd=sd * present, basis=basis)


def strengths_today(book, frames):
    """Return the strength of each bath today in g/L, where it is known.

    Dips of several baths, or of none that is named, are as strong as the last of them was noted. `frames` (dict of
    DataFrame): dips as of `Book.frame`, by any label; those of one dye and one bath each.
    """
    numbers = {(row["dye"], row["name"]): row["id"] for row in all_baths(book)}
    found = {}
    for label, frame in frames.items():
        pairs = set(zip(frame["dye"], frame["bath"], strict=True))
        bath_id = numbers.get(pairs.pop()) if len(pairs) == 1 else None
        found[label] = _strength_today(book, bath_id, frame)
    return {label: strength for label, strength in found.items() if strength is not None}


def _strength_today(book, bath_id, dips):
    """Strength of a bath today in g/L, or None where nothing tells it.

    What was noted last counts: a made-up, topped-up or measured strength, or else the strength that the last dip was
    written down with, less what that dip itself took by the sums. Many shops go on writing the strength a
    bath was made up to; the model has learned on that scale, and its drift knows how the bath has weakened since. The
    line itself would count that loss twice.
    """
    line = () if bath_id is None else strength_line(book, bath_id, newest=True).points
    points = [point for point in line if point.kind != "now"]
    last = _last_dip(dips)
    if last is None:
        return points[-1].dye_g_per_l if points else None
    if not points:
        return last[1]
    dipped_since = points[-1].kind == "dip" if last[0] is None else last[0] >= clock_of(points[0].at)
    if not dipped_since:
        return points[-1].dye_g_per_l
    taken = points[-1].dye_g_per_l / points[-2].dye_g_per_l if points[-1].kind == "dip" else 1.0
    return last[1] * taken if taken > 0 else last[1]


def _last_dip(dips):
    """Clock (None where no dip has one) and strength of the last dip."""
    known = dips[dips["dye_g_per_l"].notna()]
    if known.empty:
        return None
    clocks = [clock_of(text) if isinstance(text, str) else None for text in known["dyed_at"]]
    dated = [place for place, clock in enumerate(clocks) if clock is not None]
    place = max(dated, key=lambda one: (clocks[one], one)) if dated else len(known) - 1
    return clocks[place], float(known["dye_g_per_l"].iloc[place])
