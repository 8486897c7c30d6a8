"""Spoiled batches with a known cause, made from physics: a bath's true laws, an invented run log, and painted flaws.

Nothing here knows the table of causes: a cold bath is a colder dip, a thin film a thinner film, a foreign dye another
spectrum, a lost contact a log whose current steps down. Which evidence the notebook holds is drawn too.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from tests.bench import baths, traces
from tests.bench.fault_photo import Mark, make_photo

CAUSES = (
    "sound", "thin_film", "contact_loss", "burn", "pitting", "weak_bath", "cold_bath", "short_dwell", "over_dyed",
    "ph_off", "contaminated_bath", "surface_contamination", "smut", "wrong_dye", "early_seal", "seal_bleed",
    "seal_bloom", "acid_bleed_out", "gas_pocket", "level_line", "alloy_mismatch", "uneven_run",
)  # fmt: skip
# causes that show only if the whole colour moves: drawn again while they cannot be seen
_BY_COLOUR = {
    "thin_film", "weak_bath", "cold_bath", "short_dwell", "over_dyed", "ph_off", "contaminated_bath", "smut",
    "wrong_dye", "early_seal", "seal_bleed", "seal_bloom", "alloy_mismatch",
}  # fmt: skip
_BY_FLAWS = {"pitting", "surface_contamination", "acid_bleed_out", "gas_pocket", "level_line", "uneven_run", "burn",
             "contact_loss"}  # fmt: skip
# what a cause leaves on a part besides its colour
MARKS = {
    "contact_loss": (Mark("pale_zone", 0.75, 1, (0.03, 0.2), "end"),),
    "burn": (Mark("spot", 0.6, 3, (0.005, 0.08), "edge"), Mark("pit", 0.5, 1, (0.003, 0.03)),
             Mark("pale_zone", 0.2, 1, (0.02, 0.1), "end")),
    "pitting": (Mark("pit", 1.0, 1, (0.002, 0.03)), Mark("spot", 0.15, 3)),
    "surface_contamination": (Mark("spot", 0.9, 5, (0.004, 0.06)), Mark("streak", 0.15, 2, form="long")),
    "smut": (Mark("spot", 0.2, 4),),
    "acid_bleed_out": (Mark("streak", 0.8, 2, (0.005, 0.05), form="long"), Mark("spot", 0.35, 2)),
    "gas_pocket": (Mark("pale_zone", 1.0, 2, (0.01, 0.08), form="round"),),
    "level_line": (Mark("two_tone", 1.0),),
    "uneven_run": (Mark("gradient", 1.0),),
}  # fmt: skip
# the ΔE00 that a whole colour must have moved by: a few units when weak, or the batch would pass
LEAST_DELTA_E00 = {False: 3.5, True: 7.0}
_RATE = 0.328


@dataclass
class Truth:
    """What a batch truly went through, to be spoiled by a cause."""

    settings: dict
    rinse_temp_c: float
    wait_min: float
    sealed: bool
    alloy: str
    gain: float = 1.0
    foreign: float = 0.0
    shift_nm: float = 0.0
    swap: bool = False
    grey: float = 0.0
    veil: float = 0.0
    tint: float = 0.0
    bare: float = 0.0
    flaws: tuple = ()
    uneven: float = 0.0
    one_pale: bool = False
    spread: float = 0.0
    graded: bool = False
    all_parts: bool = False
    run: str = "sound"
    charge: float = 1.0
    notes: tuple = ()
    # what ails the bath and not this part alone: share of its dye, move of its pH, how much colder it is
    left: float = 1.0
    moved_ph: float = 0.0
    colder_c: float = 0.0


def make_case(bath, cause, strong, seed):
    """One spoiled batch.

    Parameters
    ----------
    bath : baths.Bath
    cause : str
    strong : bool
    seed : int

    Returns
    -------
    dict
        record, measurement (or None), trace, before (dips of the bath before it, oldest first), cause, strong.
    """
    rng = np.random.default_rng([seed, CAUSES.index(cause), int(strong), 5])
    least = LEAST_DELTA_E00[strong]
    for _ in range(60):
        plan, truth = _plan(bath, rng)
        clean = _colour(bath, truth, rng)
        _spoil(truth, cause, rng.uniform(0.65, 1.0) if strong else rng.uniform(0.2, 0.5), rng)
        lab = _colour(bath, truth, np.random.default_rng(seed))
        if cause not in _BY_COLOUR or _far(clean, lab) > least:
            break
    trace, area = _trace(plan, truth, cause, seed, rng)
    record = _record(plan, truth, cause, area, lab, rng)
    # a cause that shows only as flaws has a photo on which at least one of them was found: else nothing tells it
    photo = make_photo(truth, lab, clean, strong, rng) if rng.random() < 0.85 or cause in _BY_FLAWS else None
    before = _before(bath, truth, cause, seed, np.random.default_rng([seed, CAUSES.index(cause), int(strong), 31]))
    case = {"record": record, "measurement": photo, "trace": trace, "before": before}
    return case | {"cause": cause, "strong": strong}


def _before(bath, truth, cause, seed, rng):
    """Up to six dips of the bath before this one: what ails a bath came on before, what ails a part did not.

    A bath fades and its pH moves from dip to dip, dirt comes in at once and stays, a heater fails within the day, a
    bath made too strong was so for all its dips. One dip in fifteen was spoiled by something else.
    """
    rows, span, since = [], rng.uniform(1.5, 12), int(rng.geometric(0.25)) - 1
    too_strong = rng.random() < 0.5
    for ago in range(int(rng.integers(0, 7)), 0, -1):
        plan, true = _plan(bath, rng)
        s, share, there = true.settings, max(0.0, 1 - ago / span), ago <= since
        if cause == "weak_bath":
            s["dye_g_per_l"] *= truth.left**share
        elif cause == "ph_off":
            s["ph"] += truth.moved_ph * share
            true.shift_nm = truth.shift_nm * share
        elif cause == "contaminated_bath" and there:
            true.foreign, true.gain = truth.foreign, truth.gain
        elif cause == "cold_bath" and 3 * ago <= since:
            s["bath_temp_c"] -= truth.colder_c
        elif cause == "over_dyed" and too_strong:
            s["dye_g_per_l"] *= truth.left
        lab = _colour(bath, true, np.random.default_rng(seed)) + rng.normal(0, 0.8, 3)
        lab = lab + (rng.random() < 1 / 15) * rng.normal(0, [10, 7, 7])
        rows.append(plan | dict(zip("Lab", np.clip(lab, [0.5, -120, -120], [100, 120, 120]), strict=True)))
    return pd.DataFrame(rows)


def _far(one, two):
    from dyebook import delta_e_00

    return float(delta_e_00(one, two))


def _plan(bath, rng):
    plan = {
        "film_um": float(bath.habit["film"]),
        "dye_g_per_l": float(np.exp(rng.uniform(np.log(0.7), np.log(5)))),
        "bath_temp_c": float(bath.habit["bath_temp_c"] + rng.uniform(-3, 3)),
        "dwell_min": float(np.exp(rng.uniform(np.log(1.2), np.log(12)))),
        "ph": float(rng.normal(5.5, 0.15)),
    }
    true = dict(plan)
    true["film_um"] *= np.exp(rng.normal(0, 0.05))
    true["dye_g_per_l"] *= np.exp(rng.normal(0, 0.03))
    true["bath_temp_c"] += rng.normal(0, 0.7)
    true["dwell_min"] = max(true["dwell_min"] + rng.normal(0, 0.05), 0.3)
    true["ph"] += rng.normal(0, 0.1)
    return plan, Truth(
        true, float(rng.uniform(10, 28)), 2.0, bool(rng.random() < 0.35), str(rng.choice(["6061", "6082"]))
    )


def _spoil(t, cause, force, rng):
    """Change what truly happened; `force` 0..1."""
    s = t.settings
    t.flaws = MARKS.get(cause, ())
    t.all_parts = cause in ("pitting", "level_line", "smut", "surface_contamination")
    if cause == "thin_film":
        s["film_um"] *= 1 - 0.55 * force
        t.charge = 1 - 0.55 * force if rng.random() < 0.5 else 1.0
        t.run = str(rng.choice(["sound", "sound", "sound", "power_break"]))
    elif cause == "contact_loss":
        s["film_um"] *= 1 - 0.7 * force
        t.run = str(
            rng.choice(["contact_lost", "contact_lost", "intermittent_contact", "sound"], p=[0.4, 0.2, 0.3, 0.1])
        )
        t.one_pale, t.uneven = bool(rng.random() < 0.6), 1.5 * force
    elif cause == "burn":
        s["film_um"] *= rng.uniform(0.8, 1.15)
        t.run = str(rng.choice(["runaway", "short", "sound"], p=[0.75, 0.12, 0.13]))
        t.uneven, t.grey = 3 * force, 0.25 * force
    elif cause == "pitting":
        t.bare, t.uneven = 0.05 * force, force
    elif cause == "weak_bath":
        t.left = 1 - 0.85 * force
        s["dye_g_per_l"] *= t.left
    elif cause == "cold_bath":
        t.colder_c = 6 + 22 * force
        s["bath_temp_c"] -= t.colder_c
    elif cause == "short_dwell":
        s["dwell_min"] *= 1 - 0.85 * force
    elif cause == "over_dyed":
        s["dwell_min"] *= 1 + 4 * force
        t.left = 1 + 1.5 * force
        s["dye_g_per_l"] *= t.left
        t.tint, t.veil = 0.1 * force, 0.01 * force
    elif cause == "ph_off":
        t.moved_ph = (0.7 + 1.6 * force) * rng.choice([-1, 1])
        s["ph"] += t.moved_ph
        t.shift_nm = rng.uniform(0, 12) * np.sign(t.moved_ph)
        t.notes = ("ph",) if rng.random() < 0.4 else ()
    elif cause == "contaminated_bath":
        t.foreign, t.gain = 0.04 + 0.5 * force, rng.uniform(0.75, 1.0)
    elif cause == "surface_contamination":
        t.uneven, t.bare = 2 * force, 0.08 * force
    elif cause == "smut":
        t.grey, t.uneven = 0.15 + 0.6 * force, 2.5 * force
        t.alloy = str(rng.choice([t.alloy, "7075", "2024"]))
    elif cause == "wrong_dye":
        t.swap = True
    elif cause == "early_seal":
        t.gain = 1 - 0.85 * force
        t.rinse_temp_c = float(rng.choice([rng.uniform(45, 85), rng.uniform(15, 30)], p=[0.75, 0.25]))
        t.wait_min = 600.0 if t.rinse_temp_c < 40 else 2.0
        t.uneven = 2 * force if rng.random() < 0.5 else 0
    elif cause == "seal_bleed":
        t.sealed, t.gain, t.shift_nm = True, 1 - 0.6 * force, rng.uniform(-6, 6)
    elif cause == "seal_bloom":
        t.sealed, t.veil, t.uneven = True, 0.015 + 0.09 * force, 1.2 * force
    elif cause == "acid_bleed_out":
        t.uneven = 1.5 * force
    elif cause == "gas_pocket":
        kind, form = str(rng.choice(["pale_zone", "spot"])), str(rng.choice(["round", "round", "crescent"]))
        t.flaws, t.uneven = (replace(t.flaws[0], kind=kind, form=form),), 1.5 * force
    elif cause == "level_line":
        t.uneven = 2.5 * force
    elif cause == "alloy_mismatch":
        s["film_um"] *= rng.uniform(0.75, 1.0)
        t.tint, t.grey, t.spread = 0.3 * force * rng.choice([-1, 1]), 0.3 * force, 4 * force
        t.alloy = str(rng.choice([t.alloy, "7075", "2024", "5083"]))
    elif cause == "uneven_run":
        t.uneven, t.spread, t.graded = 2 * force, 5 * force, True
        s["film_um"] *= np.exp(rng.normal(0, 0.1))


def _colour(bath, t, rng):
    """True colour of the batch."""
    s = t.settings
    absorbance = np.zeros(baths.NM.size)
    for spectrum, laws, strength in bath.dyes:
        own = baths.random_dye(rng, 2) if t.swap else np.interp(baths.NM - t.shift_nm, baths.NM, spectrum)
        load = strength * baths.UPTAKES[bath.world.uptake](
            s["film_um"], s["dye_g_per_l"], s["bath_temp_c"], s["dwell_min"], laws
        )
        load = float(np.squeeze(load)) * np.exp(-0.5 * ((s["ph"] - laws["ph"]) / laws["ph_width"]) ** 2)
        load *= t.gain * (0.97 if t.sealed else 1.0)
        own = bath.bunched(own, load)
        absorbance = absorbance + load * (own + t.foreign * baths.random_dye(rng, 2) if t.foreign else own)
    metal = bath.surface.metal * (1 - 0.6 * t.grey) * (1 + t.tint * (baths.NM - 560) / 180)
    over = bath.surface
    surface = baths.Surface(np.clip(metal, 0.05, 0.97), over.front, over.inner, over.veil + 0.01 * t.grey, over.spread)
    light = surface.reflect(absorbance)
    light = (1 - t.bare - t.veil) * light + t.bare * 0.7 + t.veil
    return baths.to_lab(light)


def _trace(plan, truth, cause, seed, rng):
    """The run's log, and the area that was noted."""
    log = traces.make_run(seed + 7 * CAUSES.index(cause), truth.run)
    time, current = log["time_min"], log["current_a"]
    early = current[(time > 0.2 * time[-1]) & (time < 0.45 * time[-1])]
    level = float(np.median(early)) if truth.run != "sound" else float(np.median(current))
    meant = max(level, 1e-3) * time[-1] * 0.95 if truth.run != "sound" else np.trapezoid(current, time)
    area = meant * _RATE / (plan["film_um"] * truth.charge)
    log["current_a"] = current * 1.5 / area
    area = 1.5 * np.exp(rng.normal(0, 0.05))
    frame = {name: log[name] for name in ("time_min", "current_a", "voltage_v", "electrolyte_temp_c")}
    return pd.DataFrame({name: column for name, column in frame.items() if column is not None}), float(area)


def _record(plan, truth, cause, area, lab, rng):
    record = dict(plan) | {"alloy": truth.alloy, "finish": "etched", "sealed": truth.sealed, "area_dm2": area}
    if "ph" in truth.notes:
        record["ph"] = truth.settings["ph"]
    if rng.random() < 0.6:
        record["film_measured_um"] = truth.settings["film_um"] * np.exp(rng.normal(0, 0.04))
    if rng.random() < 0.65:
        record["rinse_temp_c"] = truth.rinse_temp_c
    if rng.random() < 0.3:
        del record["alloy"]
    if rng.random() < 0.4:
        record["wait_min"] = float(truth.wait_min * np.exp(rng.normal(0, 0.8)))
    read = np.clip(lab + rng.normal(0, 0.8, 3), [0.5, -120, -120], [100, 120, 120])
    return record | dict(zip("Lab", read, strict=True))
