"""The invented shop's bench: its electrolyte, the runs behind its batches, gauge readings, the life of its baths."""

from datetime import UTC, datetime, timedelta

import numpy as np

from dyebook.demo.year import BATH_LIFE, DYE_RULES
from dyebook.jobs import baths, run, wet
from dyebook.physics.rates import growth_rate
from dyebook.physics.trace.events import report_trace
from dyebook.physics.trace.read import make_trace

__all__ = ["TANK", "lay_out_bench", "run_of", "set_up_tank", "write_baths"]

TANK = "Tank by the window"
_TANK_L = 12.0
_G_PER_L = 170.0
_DENSITY = 1.5
# the shop's films fall a little short of the published ones, so it runs a little longer
_SHOP_FACTOR = 0.94
_GAUGED_EVERY = 4
_GAUGE_SD_UM = 0.3
_VOLTS = 14.5
_PREPARED_NEWEST = 20
# bath, days ago, what happened, share of the made-up strength, pH, note
_CHECKS = (
    ("E1", 250, "measured", 0.64, 5.6, "against a row of dilutions in test tubes"),
    ("E1", 170, "measured", 0.47, 5.6, None),
    ("E1", 162, "filtered", None, None, None),
    ("B1", 251, "measured", 0.92, 5.6, None),
    ("B1", 140, "measured", 0.92, 5.5, None),
    ("L1", 72, "measured", 0.79, 5.7, None),
    ("L1", 40, "ph_moved", None, 5.8, "back up with a few drops of dilute ammonia"),
    ("E1", 80, "measured", 0.75, 5.4, None),
    ("E1", 79, "ph_moved", None, 5.5, None),
    ("H2", 30, "filtered", None, None, None),
)
_STRENGTH = {"E1": 3.0, "B1": 4.0, "H2": 2.0, "L1": 5.0}
_BATH_L = 2.0
_DYE_TANK_DM2 = 1.4


def set_up_tank(book, moment):
    """Write the electrolyte and its life into the book; return its number.

    `moment`: takes days ago and returns a date as ISO text.
    """
    tank = baths.electrolyte_named(book, TANK, _TANK_L)
    for days_ago, kind, found in (
        (366, "made_up", {"electrolyte_g_per_l": _G_PER_L, "bath_volume_l": _TANK_L, "dissolved_al_g_per_l": 0.0}),
        (180, "titrated", {"electrolyte_g_per_l": 161.0, "dissolved_al_g_per_l": 1.9}),
        (178, "topped_up", {"electrolyte_g_per_l": _G_PER_L, "bath_volume_l": _TANK_L}),
        (20, "titrated", {"electrolyte_g_per_l": 164.0, "dissolved_al_g_per_l": 3.4}),
    ):
        baths.note_electrolyte(book, tank, kind, moment(days_ago), **found)
    return tank


def run_of(planned, dyed_at: str, tank: int) -> dict:
    """Return the columns that the book has of a batch's run, besides the settings of its record.

    `dyed_at`: ISO text. `tank`: number of the electrolyte.
    """
    rng = np.random.default_rng([1813, planned.index])
    area, film = planned.settings["area_dm2"], planned.settings["film_um"]
    current = _DENSITY * area
    temp = round(20 + rng.normal(0, 0.6), 1)
    published = growth_rate(_DENSITY, temp, alloy=planned.settings["alloy"])
    minutes = round(float(published.minutes(_DENSITY, film / _SHOP_FACTOR)), 1)
    started = datetime.fromisoformat(dyed_at).astimezone(UTC) - timedelta(minutes=minutes + 6)
    plan = {"minutes": minutes, "film_um": film, "current_a": current, "film_by": "gauge"}
    note = {"at": started.isoformat(), "current_a": current, "voltage_v": _VOLTS}
    trace = {"plan": plan, "notes": [note]}
    columns = {
        "current_a": current,
        "current_density_a_per_dm2": _DENSITY,
        "voltage_v": _VOLTS,
        "charge_ah": current * minutes / 60,
        "anodise_min": minutes,
        "film_from_charge_um": film,
        "film_sd_um": 0.08 * film,
        "electrolyte_id": tank,
        "electrolyte_temp_c": temp,
        "started_at": started.isoformat(),
    }
    if "film_measured_um" in planned.settings:
        return columns | _lost_contact(trace, current, minutes, area, rng)
    trace |= {"time_min": [0.0, minutes], "current_a": [current, current], "by_hand": True}
    if planned.index % _GAUGED_EVERY == 0 and planned.replaces is None:
        trace["gauge_um"] = [round(float(v), 1) for v in rng.normal(planned.true_film_um, _GAUGE_SD_UM, 3)]
        columns["film_measured_um"] = round(sum(trace["gauge_um"]) / 3, 2)
    return columns | {"trace": trace}


def _lost_contact(trace, current, minutes, area, rng):
    """The log of the one run whose rack lost contact: the current fell, and no one looked."""
    time = np.arange(0, minutes, 0.25)
    lost = time > 0.12 * minutes
    amps = np.where(lost, 0.3, 1.0) * current + rng.normal(0, 0.01, len(time))
    amps *= np.minimum(1, (time + 0.05) / 1.5)
    log = make_trace(time, amps)
    report = report_trace(log, area_dm2=area)
    events = [event.to_dict() for event in report.events]
    kept = {"time_min": time.tolist(), "current_a": amps.round(3).tolist(), "by_hand": False, "rows": len(time)}
    return {"charge_ah": report.charge_ah, "trace": {**trace, **kept, "events": events, "gauge_um": [4.8]}}


def write_baths(book, moment):
    """Write what happened to the dye baths, what the shop found in them, and its rules for the dyes.

    `moment`: takes days ago and returns a date as ISO text.
    """
    numbers = {row["name"]: row["id"] for row in book.rows("baths")}
    for _, bath, days_ago, kind, strength, ph, note in BATH_LIFE:
        found = {"dye_g_per_l": strength, "ph": ph, "note": note, "bath_volume_l": _BATH_L}
        baths.note_bath(book, numbers[bath], kind, moment(days_ago), **found)
    for bath, days_ago, kind, share, ph, note in _CHECKS:
        strength = None if share is None else round(share * _STRENGTH[bath], 2)
        baths.note_bath(book, numbers[bath], kind, moment(days_ago), dye_g_per_l=strength, ph=ph, note=note)
    for bath_id in numbers.values():
        book.correct("baths", bath_id, {"bath_volume_l": _BATH_L})
    for dye, ph, temps, days in DYE_RULES:
        baths.set_dye_rules(book, dye, ph=ph, bath_temp_c=temps, limit_days=days, tank_area_dm2=_DYE_TANK_DM2)


def lay_out_bench(book, numbers, tank: int, now: datetime):
    """Write the preparation of the newest runs, a run that waits for its dye, and one that is planned.

    `numbers` (list of int): the batches, oldest first.
    """
    for number in numbers[-_PREPARED_NEWEST:]:
        _prepare(book, book.row("batches", number)["run_id"])
    began = now.astimezone(UTC).replace(microsecond=0) - timedelta(minutes=50)
    common = {"film_by": "gauge", "electrolyte_id": tank, "electrolyte_temp_c": 20.2, "voltage_v": _VOLTS}
    ferrules = {"area_dm2": 7.6, "current_a": 11.4, "film_um": 15.0, "minutes": 38.4, "alloy": "6082"}
    waiting = run.plan_run(book, **ferrules, **common, finish="brushed", order="Paddle ferrules")
    _prepare(book, waiting)
    run.start_run(book, waiting, at=began)
    run.note_current(book, waiting, 11.2, at=began + timedelta(minutes=15), electrolyte_temp_c=21.0)
    run.finish_run(book, waiting, began + timedelta(minutes=38.4))
    wet.mark_step(book, waiting, "cold rinse", at=began + timedelta(minutes=39))
    wet.mark_step(book, waiting, "cold rinse", ended=True, at=began + timedelta(minutes=41))
    studs = {"area_dm2": 1.2, "current_a": 1.8, "film_um": 10.0, "minutes": 24.6, "alloy": "6061"}
    run.tick_step(book, run.plan_run(book, **studs, **common, finish="polished", order="Ear studs"), "clean")


def _prepare(book, run_id):
    for kind in ("clean", "etch", "desmut", "contacts"):
        run.tick_step(book, run_id, kind)
    run.tick_step(book, run_id, "water_break_test", passed=True)
