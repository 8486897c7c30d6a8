"""A run in progress, reckoned from its start alone, so that a reload or a restart changes nothing."""

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from dyebook.errors import RecordError
from dyebook.physics.answer import Answer
from dyebook.physics.cautions import cautions_for
from dyebook.physics.film import plan_film
from dyebook.physics.rates import growth_rate

__all__ = ["RunNow", "run_now"]

_LEAST_FILM_UM = 0.1


@dataclass(frozen=True, kw_only=True)
class RunNow(Answer):
    """Where a run stands.

    Attributes
    ----------
    elapsed_min, flowed_min, left_min : float
        Since the start; with current; and to the film, 0 once it is reached.
    ends_at : datetime
        Clock time of the end; in a pause, as if the current came back now.
    charge_ah : float
        Charge so far.
    film_um, film_um_sd : float
        Film now.
    current_a : float
        As last noted.
    done, paused : bool
    """

    elapsed_min: float
    flowed_min: float
    left_min: float
    ends_at: datetime
    charge_ah: float
    film_um: float
    film_um_sd: float
    current_a: float
    done: bool
    paused: bool


def run_now(started_at, now, area_dm2, readings, film_um, *, alloy=None, electrolyte_temp_c=None, own_rate=None):
    """Where a run stands now.

    Parameters
    ----------
    started_at, now : datetime
        Both naive or both with a zone.
    area_dm2 : float
    readings : sequence of (datetime, float)
        Currents noted, the set current at the start among them; each holds until the next is reached by a straight
        line, the last one holds on.
    film_um : float
        Target.
    alloy, electrolyte_temp_c, own_rate
        As in `plan_film`.

    Returns
    -------
    RunNow

    Raises
    ------
    RecordError
        If no current has flowed, a note lies before the start, or now is before the start.
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
    rate = own_rate or growth_rate(density, electrolyte_temp_c, alloy=alloy)
    film = float(rate.film_um(density, flowed))
    left = 0.0
    if film < film_um:
        conditions = {"alloy": alloy, "electrolyte_temp_c": electrolyte_temp_c, "own_rate": own_rate}
        ahead = plan_film(area_dm2, flowing[0], film_um=film_um, **conditions).minutes
        least = max(film, _LEAST_FILM_UM)
        # the thinnest films are below what a plan takes, and grow in proportion
        left = ahead - plan_film(area_dm2, flowing[0], film_um=least, **conditions).minutes * film / least
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
        notes=(_PAUSED,) if last == 0 else (),
    )


_PAUSED = "paused: its end is reckoned as if the current came back now; films run again after a break may blister"


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
