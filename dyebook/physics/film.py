"""Film from charge: run plans, film classes, what a film does to dimensions, and where a run stands now.

A run in progress is calculated from its start and its noted currents alone, so that a restart changes nothing.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from dyebook.errors import RecordError
from dyebook.notebook import Note
from dyebook.physics.answer import Answer, cautions_for, check_figure, positive_field
from dyebook.physics.rates import DATA_MIN, METAL_UM_PER_A_MIN_DM2, RULES, alloy_factor, check_faraday, growth_rate

__all__ = [
    "FILM_CLASSES",
    "FilmPlan",
    "GaugeCheck",
    "RunNow",
    "check_gauge",
    "diameter_growth_um",
    "film_class",
    "lost_contact_factor",
    "metal_lost_um",
    "pitch_diameter_growth_um",
    "plan_film",
    "run_now",
    "supply_plan",
]

DENSITY_WINDOW = (1.0, 2.0)  # A/dm2, common decorative window (handbooks, from memory; guidebook 1.08 to 1.61)
# ISO 7599: name, least average, least local thickness in µm; values from memory
_CLASSES = (("AA5", 5, 4), ("AA10", 10, 8), ("AA15", 15, 12), ("AA20", 20, 16), ("AA25", 25, 20))
FILM_CLASSES = tuple(name for name, _, _ in _CLASSES)
LONG_RUN_MIN = 90.0  # common practice
_SD_PER_E_FOLD_OF_TIME = 0.2  # beyond the longest published run, judgement
_FAR_DENSITY = (0.5, 6.0)  # beyond it, and beyond long runs, a film is marked as a guess
_THREAD_60_FACTOR = 4.0  # twice 1 / sin 30°: each flank moves the pitch line by film / sin(half angle), on both sides


@dataclass(frozen=True, kw_only=True)
class FilmPlan(Answer):
    """One anodise run: what is set, and the film that comes of it."""

    film_um: float
    film_um_sd: float
    minutes: float
    charge_ah: float
    current_density_a_per_dm2: float
    area_dm2: float
    current_a: float
    # rule_film_um, rule_minutes: what the plain 720 rule alone says: the film in `minutes`, and the time for `film_um`
    rule_film_um: float
    rule_minutes: float
    film_class: str | None  # ISO 7599 class whose average the expected film meets
    # diameter_growth_um, pitch_diameter_growth_um: growth of an outside diameter, and of the pitch diameter of a 60°
    # thread
    diameter_growth_um: float
    pitch_diameter_growth_um: float
    metal_lost_um: float  # metal gone from a face once the film is stripped


def plan_film(
    area_dm2: float,
    current_a: float,
    *,
    minutes: float | None = None,
    film_um: float | None = None,
    alloy: str | None = None,
    electrolyte_temp_c: float | None = None,
    rule="720",
    own_rate=None,
) -> FilmPlan:
    """Plan a run at constant current: film from time, or time from film.

    Parameters
    ----------
    minutes, film_um
        One of the two.
    electrolyte_temp_c
        Brings in the correction for temperature, density and time; the plain rule without it.
    rule : {"720", "0.30"}
    own_rate : GrowthRate, optional
        What the shop's gauge has taught; replaces rule, alloy and temperature.
    """
    area = positive_field("area_dm2", area_dm2)
    current = check_figure("the current", current_a, "A", 0, 1e5)
    density = current / area
    if density > 20:
        raise RecordError(
            f"{current:g} A on {area:g} dm² is {density:.3g} A/dm², far above any run; check area and unit"
        )
    _check_one_of(minutes, film_um, density)
    rate = own_rate or growth_rate(density, electrolyte_temp_c, alloy=alloy, rule=rule)
    if minutes is None:
        film = positive_field("film_um", film_um)
        minutes = float(rate.minutes(density, film))
        _check_reachable(minutes, film, density)
    else:
        minutes = check_figure("the time", minutes, "min", 0, 1440)
        film = float(rate.film_um(density, minutes))
    return _film_plan(area, current, minutes, film, rate, alloy)


def _film_plan(area, current, minutes, film, rate, alloy):
    density = current / area
    charge = density * minutes
    beyond = _SD_PER_E_FOLD_OF_TIME * np.log(max(minutes / DATA_MIN[1], 1.0))
    return FilmPlan(
        film_um=film,
        film_um_sd=float(film * np.hypot(rate.sd_fraction, beyond)),
        minutes=minutes,
        charge_ah=current * minutes / 60,
        current_density_a_per_dm2=density,
        area_dm2=area,
        current_a=current,
        rule_film_um=RULES["720"] * charge,
        rule_minutes=film / (RULES["720"] * density),
        film_class=film_class(film),
        diameter_growth_um=float(diameter_growth_um(film, charge)),
        pitch_diameter_growth_um=float(pitch_diameter_growth_um(film, charge)),
        metal_lost_um=float(metal_lost_um(charge)),
        basis=rate.basis,
        cautions=cautions_for("supply_off", "hydrogen", "protection", "mains"),
        notes=_plan_notes(density, minutes, alloy),
    )


def _check_one_of(minutes, film_um, density):
    if minutes is None and film_um is None:
        raise RecordError("a time or a film is needed: give the minutes to learn the film, or the film for the minutes")
    if minutes is not None and film_um is not None:
        check_faraday(float(film_um), density * float(minutes))
        raise RecordError("give either the minutes or the film, the other follows")


def _check_reachable(minutes, film, density):
    if not minutes <= 1440:
        raise RecordError(
            f"{film:g} µm at {density:.3g} A/dm² would take more than a day, or dissolve as fast as it grows; "
            "raise the current or cool the electrolyte"
        )


def _plan_notes(density, minutes, alloy):
    notes = []
    low, high = DENSITY_WINDOW
    if not low <= density <= high:
        notes.append(Note("bench.unusual_density", a_per_dm2=density, low=low, high=high))
    if not (_FAR_DENSITY[0] <= density <= _FAR_DENSITY[1] and minutes <= 2 * DATA_MIN[1]):
        notes.append(Note("bench.beyond_films", a_per_dm2=density, minutes=minutes))
    if minutes > LONG_RUN_MIN:
        notes.append(Note("bench.long_run"))
    if alloy is not None and alloy_factor(alloy).note:
        notes.append(Note("bench.alloy_note", alloy=alloy, note=alloy_factor(alloy).note))
    return tuple(notes)


def film_class(average_um: float, local_um: float | None = None) -> str | None:
    """ISO 7599 class that a film meets.

    ``"AA5"`` to ``"AA25"``, None below the lowest class. `local_um`: smallest local thickness; both conditions must
    hold where it is known.

    Examples
    --------
    >>> film_class(16, 11)
    'AA10'
    """
    local_um = average_um if local_um is None else local_um
    met = [name for name, average, local in _CLASSES if _reaches(average_um, average) and _reaches(local_um, local)]
    return met[-1] if met else None


def _reaches(film_um, limit_um):
    """Whether the film meets a limit, a rounding error apart."""
    return film_um >= limit_um * (1 - 1e-9)


_GUARD = 1.645  # one-sided 95 % of the normal law, as every match is judged
_SHARED_GAUGE = 0.5  # readings of one gauge share its own error: a mean of many is not better than this part of one


@dataclass(frozen=True, kw_only=True)
class GaugeCheck(Answer):
    """What a gauge read on parts of one run."""

    # film_measured_um, film_measured_um_sd: mean of the places, and its standard uncertainty
    film_measured_um: float
    film_measured_um_sd: float
    # film_least_um, film_least_um_sd: least local thickness
    film_least_um: float
    film_least_um_sd: float
    places: int
    met_class: str | None  # highest ISO 7599 class that both meet as read
    asked_class: str | None = None
    conforms: str | None = None  # "yes", "no" or "cannot tell" for the class asked for; None where none was


def check_gauge(readings_um, asked_class: str | None = None, gauge_sd_um: float = 0.5) -> GaugeCheck:
    """Hold gauge readings, one a place, to an ISO 7599 class such as ``"AA10"``: average and least local thickness.

    `gauge_sd_um` is the standard uncertainty of one reading.

    Notes
    -----
    Conforms where average and least both lie above their limits by 1.645 standard uncertainties, does not where one
    lies below by as much, and cannot be told otherwise (ISO 14253-1).
    """
    if not len(readings_um):
        raise RecordError("no gauge reading was given; write them as the gauge shows them, such as 11.8 12.1 12.0")
    mean, least = float(np.mean(readings_um)), float(min(readings_um))
    mean_sd = gauge_sd_um * max(len(readings_um) ** -0.5, _SHARED_GAUGE)
    conforms = None
    if asked_class is not None:
        limits = {name: (average, local) for name, average, local in _CLASSES}
        if asked_class not in limits:
            raise RecordError(f"film class {asked_class!r} is unknown; use one of {', '.join(FILM_CLASSES)}")
        average, local = limits[asked_class]
        margin = min((mean - average) / mean_sd, (least - local) / gauge_sd_um)
        conforms = "yes" if margin >= _GUARD else "no" if margin < -_GUARD else "cannot tell"
    return GaugeCheck(
        film_measured_um=mean,
        film_measured_um_sd=mean_sd,
        film_least_um=least,
        film_least_um_sd=gauge_sd_um,
        places=len(readings_um),
        met_class=film_class(mean, least),
        asked_class=asked_class,
        conforms=conforms,
        basis=Note("bench.film_classes"),
        notes=(Note("bench.one_place"),) if len(readings_um) == 1 else (),
    )


def metal_lost_um(charge_a_min_per_dm2):
    """Metal turned into film or dissolved, µm per face; gone for good when the film is stripped."""
    return METAL_UM_PER_A_MIN_DM2 * np.asarray(charge_a_min_per_dm2, float)


def diameter_growth_um(film_um, charge_a_min_per_dm2=None):
    """Growth of an outside diameter (a bore shrinks by as much).

    It is negative where more metal is lost than film built. `film_um`: float or array. `charge_a_min_per_dm2` (float or
    array, optional): the charge that made the film; by the 720 rule without it.
    """
    film = np.asarray(film_um, float)
    charge = film / RULES["720"] if charge_a_min_per_dm2 is None else charge_a_min_per_dm2
    return 2 * (film - metal_lost_um(charge))


def pitch_diameter_growth_um(film_um, charge_a_min_per_dm2=None):
    """Growth of a 60° thread's pitch diameter: four times the build-up of one face."""
    return _THREAD_60_FACTOR / 2 * diameter_growth_um(film_um, charge_a_min_per_dm2)


def lost_contact_factor(parts: int, lost: int) -> float:
    """How much thicker the other films get when some of `parts` equal parts lose contact at constant current.

    It is n / (n - m). `parts`, `lost`: 0 <= lost < parts.
    """
    if not 0 <= lost < parts:
        raise RecordError(f"{lost} of {parts} parts without contact; at least one must keep it")
    return parts / (parts - lost)


@dataclass(frozen=True, kw_only=True)
class SupplyPlan(Answer):
    """What a supply can do for a load: its current, whether it is held back, the largest area, and the run."""

    wanted_a: float
    current_a: float
    limited: bool
    largest_area_dm2: float
    run: FilmPlan


def supply_plan(
    area_dm2: float, current_density_a_per_dm2: float, film_um: float, supply_max_a: float | None = None, **conditions
) -> SupplyPlan:
    """Plan a run from area and wanted density, held back by what the supply can give.

    `**conditions`: `alloy`, `electrolyte_temp_c`, `rule`, `own_rate` of `plan_film`.
    """
    area = positive_field("area_dm2", area_dm2)
    wanted_density = positive_field("current_density_a_per_dm2", current_density_a_per_dm2)
    wanted = area * wanted_density
    limit = np.inf if supply_max_a is None else check_figure("the supply's limit", supply_max_a, "A", 0, 1e5)
    current = float(min(wanted, limit))
    run = plan_film(area, current, film_um=film_um, **conditions)
    limited = wanted > limit
    notes = (Note("bench.supply_too_small", limit_a=limit, wanted_a=wanted),) if limited else ()
    return SupplyPlan(
        wanted_a=wanted,
        current_a=current,
        limited=limited,
        largest_area_dm2=float(limit / wanted_density),
        run=run,
        basis=run.basis,
        cautions=run.cautions,
        notes=notes + run.notes,
    )


_LEAST_FILM_UM = 0.1


@dataclass(frozen=True, kw_only=True)
class RunNow(Answer):
    """Where a run stands."""

    # elapsed_min, flowed_min, left_min: since the start; with current; and to the film, 0 once it is reached
    elapsed_min: float
    flowed_min: float
    left_min: float
    ends_at: datetime  # clock time of the end; in a pause, as if the current came back now
    charge_ah: float  # charge so far
    # film_um, film_um_sd: film now
    film_um: float
    film_um_sd: float
    current_a: float  # as last noted
    done: bool
    paused: bool


def run_now(started_at: datetime, now: datetime, area_dm2: float, readings, film_um: float, *, own_rate=None) -> RunNow:
    """Where a run stands now.

    RecordError if no current has flowed, a note lies before the start, or now is before the start.

    Parameters
    ----------
    started_at, now
        Both naive or both with a zone.
    readings : sequence of (datetime, float)
        Currents noted, the set current at the start among them; each holds until the next is reached by a straight
        line, the last one holds on.
    film_um
        Target.
    own_rate
        As in `plan_film`; the plain rule without it.
    """
    elapsed = (now - started_at).total_seconds() / 60
    if elapsed < 0:
        raise RecordError("the run starts after now; check the clock of this device")
    times, currents = _noted(started_at, readings)
    charge_a_min, flowed = _charge(times, currents, elapsed)
    noted = currents[: np.searchsorted(times, elapsed, side="right")]
    last, flowing = noted[-1], noted[noted > 0][-1:]
    if not len(flowing):
        raise RecordError("no current has flowed yet; note what the supply shows")
    density = max(charge_a_min / flowed if flowed > 0 else flowing[0], 1e-9) / area_dm2
    rate = own_rate or growth_rate(density)
    film = float(rate.film_um(density, flowed))
    left = 0.0
    if film < film_um:
        ahead = plan_film(area_dm2, flowing[0], film_um=film_um, own_rate=own_rate).minutes
        least = max(film, _LEAST_FILM_UM)
        # the thinnest films are below what a plan takes, and grow in proportion
        left = ahead - plan_film(area_dm2, flowing[0], film_um=least, own_rate=own_rate).minutes * film / least
    return RunNow(
        elapsed_min=elapsed,
        flowed_min=flowed,
        left_min=left,
        ends_at=now + timedelta(minutes=left),
        charge_ah=charge_a_min / 60,
        film_um=film,
        film_um_sd=float(film * rate.sd_fraction),
        current_a=float(last),
        done=film >= film_um,
        paused=bool(last == 0),
        basis=rate.basis,
        cautions=cautions_for("supply_off", "hydrogen"),
        notes=(Note("bench.paused"),) if last == 0 else (),
    )


def _noted(started_at, readings):
    notes = [((at - started_at).total_seconds() / 60, float(current)) for at, current in readings]
    notes.sort(key=lambda note: note[0])
    if not notes:
        raise RecordError("no current is noted; note the current the supply shows")
    if notes[0][0] < -0.5:
        raise RecordError(f"a note lies {-notes[0][0]:.0f} min before the start; check its time")
    if any(current < 0 for _, current in notes):
        raise RecordError("a noted current is negative; note it as the supply shows it, without a sign")
    times, currents = (np.array(column) for column in zip(*notes, strict=True))
    times[0] = min(times[0], 0.0)
    return times, currents


def _charge(times, currents, elapsed):
    """A·min from the start to now, straight between notes, the last one holding on; and the minutes with current."""
    grid = np.unique(np.concatenate([[0.0, elapsed], times[(times > 0) & (times < elapsed)]]))
    along = np.interp(grid, times, currents)
    flows = (along[1:] > 0) | (along[:-1] > 0)
    return float(np.trapezoid(along, grid)), float(np.diff(grid)[flows].sum())
