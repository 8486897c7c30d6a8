"""The shop's own growth rate: gauge readings teach it, the published rate is the prior, Faraday's law the bound."""

import math
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from dyebook.errors import RecordError
from dyebook.notebook import Note
from dyebook.physics.answer import Answer, cautions_for
from dyebook.physics.rates import FARADAY_BOUND, RULE_SD, GrowthRate, alloy_factor, check_faraday, growth_rate

__all__ = ["GaugedRun", "OwnRate", "learn_growth_rate", "read_gauged_runs"]

GAUGE_SD_UM = 0.5  # eddy-current gauge on a part (ISO 2360), common practice
_RUN_SCATTER = 0.05  # how much like runs differ, as a share, before the shop has shown its own
_SCATTER_WORTH = 4  # how many runs that figure is worth
_FAR_SDS = 4.0  # a film so far from its charge lost its contact, or another part was gauged
_SD_PER_C = 0.02  # doubt of carrying a run over to another temperature through the model
_UNKNOWN_TEMP_C = 3.0  # how far a temperature that was not noted may be off
_SD_OTHER_ALLOY = 0.10  # doubt of carrying a run over to another alloy family


@dataclass(frozen=True)
class GaugedRun:
    """One run whose film was measured."""

    # area_dm2, current_a, minutes: what made the film
    area_dm2: float
    current_a: float
    minutes: float
    film_measured_um: float  # mean of the gauge's readings
    electrolyte_temp_c: float | None = None
    alloy: str | None = None
    gauge_sd_um: float = GAUGE_SD_UM  # standard uncertainty of that mean

    @property
    def density(self):
        """Current density, A/dm²."""
        return self.current_a / self.area_dm2

    @property
    def charge(self):
        """Charge per area, A·min/dm²."""
        return self.density * self.minutes


@dataclass(frozen=True, kw_only=True)
class OwnRate(Answer):
    """What the gauge has taught, for one alloy and temperature."""

    # um_per_a_min_dm2, um_per_a_min_dm2_sd: the rate and the uncertainty of the rate
    um_per_a_min_dm2: float
    um_per_a_min_dm2_sd: float
    film_sd_fraction: float  # uncertainty of the film of a next run, the run-to-run scatter included
    readings: int  # runs that taught it
    factor: float  # the shop's films over those of the published rate
    rate: GrowthRate = field(repr=False)  # for `plan_film(own_rate=…)`


def learn_growth_rate(
    runs, *, alloy: str | None = None, electrolyte_temp_c: float | None = None, current_density_a_per_dm2: float = 1.5
) -> OwnRate:
    """Learn the growth rate for one alloy and temperature from gauged runs.

    RecordError if a run has no charge, or its film is above what Faraday's law allows.

    Parameters
    ----------
    runs : sequence of GaugedRun
        May be empty; then the prior comes back.
    electrolyte_temp_c
        Conditions the rate is wanted for; the usual temperature of the runs without it.
    current_density_a_per_dm2
        At which the temperature model is read.

    Notes
    -----
    Each run gives the ratio of its film to that of the published rate for its own conditions. A normal prior on the
    ratio is updated by each (conjugate), those left out whose film is far from their charge, with the gauge's
    uncertainty, a run-to-run scatter that the residuals
    sharpen, and a doubt for runs at other temperatures or alloys. The result is a normal cut at Faraday's bound.
    """
    runs = list(runs)
    electrolyte_temp_c = _usual_temp_c(runs) if electrolyte_temp_c is None else electrolyte_temp_c
    base = growth_rate(current_density_a_per_dm2, electrolyte_temp_c, alloy=alloy)
    ratios, doubts = _observed(runs, alloy, electrolyte_temp_c)
    likely = np.abs(ratios - 1) <= _FAR_SDS * np.hypot(doubts, RULE_SD)
    left_out = len(ratios) - int(likely.sum())
    ratios, doubts = ratios[likely], doubts[likely]
    mean, sd, scatter = _update(ratios, doubts, float(base.sd_fraction))
    if len(ratios):
        mean, sd = _cut_normal(mean, sd, FARADAY_BOUND / base.um_per_a_min_dm2)
    film_sd = base.sd_fraction if not len(ratios) else math.hypot(sd / mean, scatter)
    basis = Note("bench.own_gauge", count=len(ratios), prior=base.basis)
    rate = GrowthRate(base.um_per_a_min_dm2 * mean, film_sd, basis, base.slowing_min)
    return OwnRate(
        um_per_a_min_dm2=float(rate.um_per_a_min_dm2),
        um_per_a_min_dm2_sd=float(base.um_per_a_min_dm2 * sd),
        film_sd_fraction=float(film_sd),
        readings=len(ratios),
        factor=mean,
        rate=rate,
        basis=basis,
        cautions=cautions_for("supply_off"),
        notes=(Note("bench.runs_left_out", count=left_out),) if left_out else (),
    )


def _usual_temp_c(runs):
    """The middle temperature of the runs; None where none has one: rate and readings must be held to one yardstick."""
    known = [run.electrolyte_temp_c for run in runs if run.electrolyte_temp_c is not None]
    return float(np.median(known)) if known else None


def _observed(runs, alloy, temp_c):
    """Ratio of each run's film to the published one, and the doubt of each besides the run scatter."""
    ratios, doubts = [], []
    for run in runs:
        if not (run.area_dm2 > 0 and run.current_a > 0 and run.minutes > 0 and run.film_measured_um > 0):
            raise RecordError(f"{run} lacks area, current, time or film; each must be above 0")
        check_faraday(run.film_measured_um, run.charge, run.gauge_sd_um)
        at = temp_c if run.electrolyte_temp_c is None else run.electrolyte_temp_c
        base = growth_rate(run.density, at, alloy=run.alloy)
        expected = float(base.film_um(run.density, run.minutes))
        ratios.append(run.film_measured_um / expected)
        doubts.append(math.hypot(run.gauge_sd_um / expected, _carry_doubt(run, alloy, temp_c)))
    return np.array(ratios), np.array(doubts)


def _carry_doubt(run, alloy, temp_c):
    doubt = 0.0
    if alloy is not None and run.alloy is not None and alloy_factor(alloy) is not alloy_factor(run.alloy):
        doubt = _SD_OTHER_ALLOY
    if temp_c is not None and run.electrolyte_temp_c is not None:
        doubt = math.hypot(doubt, _SD_PER_C * abs(temp_c - run.electrolyte_temp_c))
    elif temp_c is not None:
        doubt = math.hypot(doubt, _SD_PER_C * _UNKNOWN_TEMP_C)
    return doubt


def _update(ratios, doubts, prior_sd):
    """Mean and sd of the ratio, and the run-to-run scatter."""
    scatter, mean, sd = _RUN_SCATTER, 1.0, prior_sd
    if not len(ratios):
        return mean, sd, scatter
    for _ in range(20):
        weights = 1 / (doubts**2 + scatter**2)
        precision = 1 / prior_sd**2 + weights.sum()
        mean = (1 / prior_sd**2 + (weights * ratios).sum()) / precision
        sd = precision**-0.5
        excess = np.maximum((ratios - mean) ** 2 + sd**2 - doubts**2, 0).sum()
        scatter = math.sqrt((_SCATTER_WORTH * _RUN_SCATTER**2 + excess) / (_SCATTER_WORTH + len(ratios)))
    return float(mean), float(sd), scatter


def _cut_normal(mean, sd, upper):
    """Mean and sd of a normal restricted to 0..upper."""
    from scipy.stats import truncnorm

    cut = truncnorm(-mean / sd, (upper - mean) / sd, loc=mean, scale=sd)
    return float(cut.mean()), float(cut.std())


_COLUMNS = ("area_dm2", "current_a", "minutes", "film_measured_um")


def read_gauged_runs(path: str | Path) -> list[GaugedRun]:
    """Read gauged runs from a CSV file.

    `path`: columns area_dm2, current_a, minutes, film_measured_um; optional electrolyte_temp_c, alloy, gauge_sd_um.
    """
    import csv

    try:
        with Path(path).open(encoding="utf-8-sig", newline="") as file:
            rows = list(csv.DictReader(file))
    except OSError as error:
        raise RecordError(f"{path} cannot be opened: {error.strerror}; check its name") from None
    except (UnicodeDecodeError, csv.Error) as error:
        raise RecordError(f"{path} is no table of text ({error.args[-1]}); save it as CSV in UTF-8") from None
    lacking = [name for name in _COLUMNS if not rows or name not in rows[0]]
    if lacking:
        raise RecordError(f"{path} lacks {', '.join(lacking)}; a row per run with {', '.join(_COLUMNS)} is needed")
    return [_gauged_run(row, number) for number, row in enumerate(rows, start=2)]


def _gauged_run(row, line):
    figures = {name: _figure(row.get(name), name, line) for name in (*_COLUMNS, "electrolyte_temp_c", "gauge_sd_um")}
    missing = [name for name in _COLUMNS if figures[name] is None]
    if missing:
        raise RecordError(f"line {line} lacks {', '.join(missing)}; fill it in or take the line out")
    if figures["gauge_sd_um"] is None:
        figures["gauge_sd_um"] = GAUGE_SD_UM
    return GaugedRun(**figures, alloy=(row.get("alloy") or "").strip() or None)


def _figure(text, name, line):
    if text is None or not text.strip():
        return None
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise RecordError(f"line {line}: {name} is {text!r}; a number is needed") from None
