"""A second simulator of spoiled batches, to other assumptions than `faults`: other strengths, marks, doubts and gaps.

Baths, colours and the ways to change a film are `baths`'s; run logs are the second generator's. What differs: faults
are drawn by how far they move the colour rather than by a force; flaws come pit by pit, mostly without an outline and
of other kinds and sizes; a finder errs twice as often; many notebooks say next to nothing, some only have the photo,
and some write down what truly was.
"""

import numpy as np
import pandas as pd

from dyebook import delta_e_00
from tests.bench import faults, traces_plain

KINDS = ("spot", "streak", "pale_zone", "gradient", "pit", "two_tone")
# how a finder may name what a cause leaves, with the chance of each; the first line is the main mark
_MARKS = {
    "contact_loss": [{"pale_zone": 0.65, "gradient": 0.15, "spot": 0.2}],
    "burn": [{"spot": 0.4, "pit": 0.3, "pale_zone": 0.2, "two_tone": 0.1}, {"pit": 0.5, "spot": 0.5}],
    "pitting": [{"pit": 0.9, "spot": 0.1}],
    "surface_contamination": [{"spot": 0.65, "streak": 0.3, "pale_zone": 0.05}],
    "smut": [{"spot": 0.5, "streak": 0.3, "pit": 0.2}],
    "acid_bleed_out": [{"streak": 0.6, "spot": 0.3, "pale_zone": 0.1}, {"spot": 1.0}],
    "gas_pocket": [{"spot": 0.5, "pale_zone": 0.45, "two_tone": 0.05}],
    "level_line": [{"two_tone": 0.85, "gradient": 0.15}],
    "uneven_run": [{"gradient": 0.85, "pale_zone": 0.15}],
    "early_seal": [{"spot": 0.4, "gradient": 0.3, "pale_zone": 0.3}],
}
_OFTEN = {"smut": 0.35, "early_seal": 0.25}
_MANY = {"pitting": (4, 15), "surface_contamination": (1, 5), "smut": (1, 6), "burn": (1, 4)}
_EVERY_PART = {"pitting", "level_line", "smut"}
_PATCHES = {"contact_loss": 1.0, "burn": 2.0, "pitting": 0.8, "surface_contamination": 1.5, "smut": 2.0,
            "early_seal": 1.0, "acid_bleed_out": 1.0, "gas_pocket": 1.0, "level_line": 2.0,
            "uneven_run": 1.5}  # fmt: skip
_RUNS = {"contact_loss": ("contact_lost", "intermittent_contact", "sound"), "burn": ("runaway", "runaway", "short"),
         "thin_film": ("sound", "sound", "power_break", "supply_limit")}  # fmt: skip
_RANGE = {False: (3.0, 8.0), True: (7.0, 40.0)}  # ΔE00 of the colour against a sound dip


def make_case(bath, cause, strong, seed):
    """One spoiled batch in the form of `faults.make_case`."""
    rng = np.random.default_rng([seed, faults.CAUSES.index(cause), int(strong), 11])
    by_colour = cause in faults._BY_COLOUR
    low, high = _RANGE[strong]
    for _ in range(80):
        plan, truth = faults._plan(bath, rng)
        clean = faults._colour(bath, truth, rng)
        _spoil(truth, cause, rng)
        lab = faults._colour(bath, truth, np.random.default_rng(seed))
        if not by_colour or low < float(delta_e_00(clean, lab)) < high:
            break
    record = _record(plan, truth, cause, lab, rng)
    bare = "L" not in record
    photo = _photo(truth, cause, lab, clean, strong, rng) if bare or not by_colour or rng.random() < 0.7 else None
    return {"record": record, "measurement": photo, "trace": _trace(plan, truth, cause, seed, record), "cause": cause,
            "strong": strong}  # fmt: skip


def _spoil(t, cause, rng):
    """Change what truly happened, by a force drawn over the whole range."""
    force = rng.uniform(0.1, 1.0)
    faults._spoil(t, cause, force, rng)
    if cause == "early_seal":
        t.wait_min = float(rng.choice([2.0, 45.0, 400.0], p=[0.5, 0.2, 0.3]))
        t.rinse_temp_c = float(rng.uniform(45, 90)) if t.wait_min < 10 else float(rng.uniform(12, 40))
    elif cause == "contaminated_bath":
        t.foreign, t.gain = rng.uniform(0.03, 0.6), 1.0
    elif cause == "over_dyed":
        t.tint, t.veil = 0.0, 0.0
    elif cause == "ph_off":
        t.shift_nm *= 0.5
        t.notes = ("ph",) if rng.random() < 0.6 else ()
    elif cause == "seal_bloom":
        t.veil = rng.uniform(0.01, 0.12)
    elif cause == "smut":
        t.grey = rng.uniform(0.1, 0.7)
    elif cause == "cold_bath" and rng.random() < 0.2:
        t.notes = ("bath_temp_c",)
    if cause in _RUNS:
        t.run = str(rng.choice(_RUNS[cause]))


def _record(plan, truth, cause, lab, rng):
    record = dict(plan) | {"sealed": truth.sealed}
    for name in truth.notes:
        record[name] = truth.settings[name]
    if rng.random() < 0.4:
        record["film_measured_um"] = truth.settings["film_um"] * np.exp(rng.normal(0, 0.06))
    if rng.random() < 0.4:
        record["rinse_temp_c"] = truth.rinse_temp_c
    if rng.random() < 0.5:
        record["alloy"] = truth.alloy
    if rng.random() < 0.4:
        record["ph"] = np.nan
    if rng.random() < 0.3 and cause not in ("seal_bleed", "seal_bloom"):
        record["sealed"] = None
    if rng.random() < 0.3:
        record["wait_min"] = float(truth.wait_min * np.exp(rng.normal(0, 1.2)))
    record["area_dm2"] = float(1.5 * np.exp(rng.normal(0, 0.08)))
    read = np.clip(lab + rng.normal(0, 1.0, 3), [0.5, -120, -120], [100, 120, 120])
    return record if rng.random() < 0.2 else record | dict(zip("Lab", read, strict=True))


def _trace(plan, truth, cause, seed, record):
    log = traces_plain.make_run(seed + 3 * faults.CAUSES.index(cause), truth.run)
    time, current = log["time_min"], log["current_a"]
    sound = truth.run in ("sound", "supply_limit")
    level = np.median(current) if sound else np.median(current[(time > 4) & (time < max(6, log["at_min"]))])
    wanted = plan["film_um"] * truth.charge * 1.5 / faults._RATE
    meant = np.trapezoid(current, time) if sound else max(level, 1e-3) * time[-1] * 0.95
    log["current_a"] = current * wanted / meant
    frame = {name: log[name] for name in ("time_min", "current_a", "voltage_v", "electrolyte_temp_c")}
    return pd.DataFrame({name: column for name, column in frame.items() if column is not None})


def _photo(truth, cause, lab, clean, strong, rng):
    count = int(rng.choice([1, 2, 3, 6], p=[0.5, 0.15, 0.2, 0.15]))
    spoiled, drawn = int(rng.integers(count)), rng.random() < 0.4
    place = np.argsort(rng.random(count)) if not truth.graded else np.arange(count)
    parts = []
    for i in range(count):
        base = clean if truth.one_pale and i != spoiled and count > 1 else lab
        step = truth.spread * 2 * (place[i] / max(count - 1, 1) - 0.5) if count > 1 else 0
        hit = i == spoiled or cause in _EVERY_PART
        part = {"lab": list(base + rng.normal(0, 0.7, 3) + [step, 0, 0]), "lab_u": [1.0] * 3, "lab_sd": [1.5] * 3,
                "box": [100.0 + 260 * i, 50.0, 300.0 + 260 * i, 650.0], "flags": []}  # fmt: skip
        part["uniformity"] = float(rng.gamma(5, 0.2) + (_PATCHES.get(cause, 0) * rng.uniform(0.2, 1.6) if hit else 0))
        part["flaws"] = _flaws(cause, strong, part["box"], drawn, rng, i == spoiled) if hit else _false(rng)
        parts.append(part)
    return {"photo": "y.jpg", "size": [1800, 700], "parts": parts, "flags": []}


def _false(rng):
    count = rng.poisson(0.15)
    return [{"kind": str(rng.choice(KINDS)), "delta_e00": float(1 + rng.exponential(1.5)),
             "area_fraction": float(rng.uniform(0.001, 0.05))} for _ in range(count)]  # fmt: skip


def _flaws(cause, strong, box, drawn, rng, leading):
    flaws = _false(rng)
    for rank, names in enumerate(_MARKS.get(cause, ())):
        often = _OFTEN.get(cause, 1.0 if rank == 0 and leading else 0.5)
        if rng.random() > often:
            continue
        low, high = _MANY.get(cause, (1, 2))
        for _ in range(int(rng.integers(low, high + 1))):
            kind = str(rng.choice(list(names), p=list(names.values())))
            size = float(np.exp(rng.normal(np.log(9 if strong else 4.5), 0.3)))
            flaw = {"kind": kind, "delta_e00": size, "area_fraction": _area(kind, rng)}
            flaws.append(flaw | ({"box": _placed(cause, flaw["area_fraction"], box, rng)} if drawn else {}))
    return flaws


def _area(kind, rng):
    middle = {"pit": 0.001, "spot": 0.015, "streak": 0.02, "pale_zone": 0.08, "gradient": 0.6, "two_tone": 0.4}[kind]
    return float(min(1.0, middle * np.exp(rng.normal(0, 0.7))))


def _placed(cause, area, box, rng):
    """A box of that area on the part: at an end for a contact, anywhere for the rest."""
    x0, y0, x1, y1 = box
    wide, high = (x1 - x0) * min(1, np.sqrt(area) * 1.3), (y1 - y0) * min(1, np.sqrt(area) / 1.3)
    x = rng.uniform(x0, x1 - wide)
    y = y0 + 3 if cause == "contact_loss" and rng.random() < 0.8 else rng.uniform(y0, y1 - high)
    return [float(x), float(y), float(x + wide), float(y + high)]
