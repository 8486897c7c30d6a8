"""Spoiled batches with a known cause, made from physics: a bath's true laws, an invented run log, and painted flaws.

Nothing here knows the table of causes: a cold bath is a colder dip, a thin film a thinner film, a foreign dye another
spectrum, a lost contact a log whose current steps down. Which evidence the notebook holds is drawn too.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import traces
import worlds

CAUSES = (
    "sound", "thin_film", "contact_loss", "burn", "pitting", "weak_bath", "cold_bath", "short_dwell", "over_dyed",
    "ph_off", "contaminated_bath", "surface_contamination", "smut", "wrong_dye", "early_seal", "seal_bleed",
    "seal_bloom", "acid_bleed_out", "gas_pocket", "level_line", "alloy_mismatch", "uneven_run",
)  # fmt: skip
_FLAWS = ("spot", "streak", "pale_zone", "gradient", "pit", "two_tone")
_MISTAKEN = {"spot": "pit", "pit": "spot", "streak": "spot", "pale_zone": "gradient", "gradient": "pale_zone",
             "two_tone": "gradient"}  # fmt: skip
# causes that show only if the whole colour moves: drawn again while nobody could see them
_BY_COLOUR = {
    "thin_film", "weak_bath", "cold_bath", "short_dwell", "over_dyed", "ph_off", "contaminated_bath", "smut",
    "wrong_dye", "early_seal", "seal_bleed", "seal_bloom", "alloy_mismatch",
}  # fmt: skip
_BY_FLAWS = {"pitting", "surface_contamination", "acid_bleed_out", "gas_pocket", "level_line", "uneven_run"}
_RATE = 0.328


@dataclass
class Truth:
    """What a batch truly went through, to be spoiled by a cause."""

    settings: dict
    rinse_temp_c: float
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
    run: str = "sound"
    charge: float = 1.0
    notes: tuple = ()


def make_case(bath, cause, strong, seed):
    """One spoiled batch.

    Parameters
    ----------
    bath : worlds.Bath
    cause : str
    strong : bool
    seed : int

    Returns
    -------
    dict
        record, measurement (or None), trace, cause, strong.
    """
    rng = np.random.default_rng([seed, CAUSES.index(cause), int(strong), 5])
    least = 6.0 if strong else 2.5
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
    photo = _photo(truth, lab, clean, strong, rng) if rng.random() < 0.85 or cause in _BY_FLAWS else None
    return {"record": record, "measurement": photo, "trace": trace, "cause": cause, "strong": strong}


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
    return plan, Truth(true, float(rng.uniform(10, 28)), bool(rng.random() < 0.35), str(rng.choice(["6061", "6082"])))


def _spoil(t, cause, force, rng):
    """Change what truly happened; `force` 0..1."""
    s = t.settings
    if cause == "thin_film":
        s["film_um"] *= 1 - 0.55 * force
        t.charge = 1 - 0.55 * force if rng.random() < 0.5 else 1.0
        t.run = str(rng.choice(["sound", "sound", "sound", "power_break"]))
    elif cause == "contact_loss":
        s["film_um"] *= 1 - 0.7 * force
        t.run = str(
            rng.choice(["contact_lost", "contact_lost", "intermittent_contact", "sound"], p=[0.4, 0.2, 0.3, 0.1])
        )
        t.flaws = (("pale_zone", 0.75),)
        t.one_pale, t.uneven = bool(rng.random() < 0.6), 1.5 * force
    elif cause == "burn":
        s["film_um"] *= rng.uniform(0.8, 1.15)
        t.run = str(rng.choice(["runaway", "short", "sound"], p=[0.75, 0.12, 0.13]))
        t.flaws, t.uneven, t.grey = (("spot", 0.6), ("pit", 0.5), ("pale_zone", 0.2)), 3 * force, 0.25 * force
    elif cause == "pitting":
        t.flaws, t.bare, t.uneven = (("pit", 1.0), ("spot", 0.15)), 0.05 * force, force
    elif cause == "weak_bath":
        s["dye_g_per_l"] *= 1 - 0.85 * force
    elif cause == "cold_bath":
        s["bath_temp_c"] -= 6 + 22 * force
    elif cause == "short_dwell":
        s["dwell_min"] *= 1 - 0.85 * force
    elif cause == "over_dyed":
        s["dwell_min"] *= 1 + 4 * force
        s["dye_g_per_l"] *= 1 + 1.5 * force
        t.tint, t.veil = 0.1 * force, 0.01 * force
    elif cause == "ph_off":
        away = (0.7 + 1.6 * force) * rng.choice([-1, 1])
        s["ph"] += away
        t.shift_nm = rng.uniform(0, 12) * np.sign(away)
        t.notes = ("ph",) if rng.random() < 0.4 else ()
    elif cause == "contaminated_bath":
        t.foreign, t.gain = 0.15 + 0.8 * force, rng.uniform(0.75, 1.0)
    elif cause == "surface_contamination":
        t.flaws, t.uneven, t.bare = (("spot", 0.9), ("streak", 0.15)), 2 * force, 0.08 * force
    elif cause == "smut":
        t.grey, t.uneven, t.flaws = 0.15 + 0.6 * force, 2.5 * force, (("spot", 0.2),)
        t.alloy = str(rng.choice([t.alloy, "7075", "2024"]))
    elif cause == "wrong_dye":
        t.swap = True
    elif cause == "early_seal":
        t.gain = 1 - 0.85 * force
        t.rinse_temp_c = float(rng.choice([rng.uniform(45, 85), rng.uniform(15, 30)], p=[0.75, 0.25]))
        t.uneven = 2 * force if rng.random() < 0.5 else 0
    elif cause == "seal_bleed":
        t.sealed, t.gain, t.shift_nm = True, 1 - 0.6 * force, rng.uniform(-6, 6)
    elif cause == "seal_bloom":
        t.sealed, t.veil, t.uneven = True, 0.015 + 0.09 * force, 1.2 * force
    elif cause == "acid_bleed_out":
        t.flaws, t.uneven = (("streak", 0.8), ("spot", 0.35)), 1.5 * force
    elif cause == "gas_pocket":
        t.flaws, t.uneven = ((str(rng.choice(["pale_zone", "spot"])), 1.0),), 1.5 * force
    elif cause == "level_line":
        t.flaws, t.uneven = (("two_tone", 1.0),), 2.5 * force
    elif cause == "alloy_mismatch":
        s["film_um"] *= rng.uniform(0.75, 1.0)
        t.tint, t.grey, t.spread = 0.3 * force * rng.choice([-1, 1]), 0.3 * force, 4 * force
        t.alloy = str(rng.choice([t.alloy, "7075", "2024", "5083"]))
    elif cause == "uneven_run":
        t.flaws, t.uneven, t.spread = (("gradient", 1.0),), 2 * force, 5 * force
        s["film_um"] *= np.exp(rng.normal(0, 0.1))


def _colour(bath, t, rng):
    """True colour of the batch."""
    s = t.settings
    absorbance = np.zeros(worlds.NM.size)
    for spectrum, laws, strength in bath.dyes:
        own = worlds.random_dye(rng, 2) if t.swap else np.interp(worlds.NM - t.shift_nm, worlds.NM, spectrum)
        load = strength * worlds.UPTAKES[bath.world.uptake](
            s["film_um"], s["dye_g_per_l"], s["bath_temp_c"], s["dwell_min"], laws
        )
        load = float(np.squeeze(load)) * np.exp(-0.5 * ((s["ph"] - laws["ph"]) / laws["ph_width"]) ** 2)
        load *= t.gain * (0.97 if t.sealed else 1.0)
        absorbance = absorbance + load * (own + t.foreign * worlds.random_dye(rng, 2) if t.foreign else own)
    metal = bath.surface.metal * (1 - 0.6 * t.grey) * (1 + t.tint * (worlds.NM - 560) / 180)
    over = bath.surface
    surface = worlds.Surface(np.clip(metal, 0.05, 0.97), over.front, over.inner, over.veil + 0.01 * t.grey, over.spread)
    light = surface.reflect(absorbance)
    light = (1 - t.bare - t.veil) * light + t.bare * 0.7 + t.veil
    return worlds.to_lab(light)


def _trace(plan, truth, cause, seed, rng):
    """The run's log, and the area that somebody noted."""
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
    read = np.clip(lab + rng.normal(0, 0.8, 3), [0.5, -120, -120], [100, 120, 120])
    return record | dict(zip("Lab", read, strict=True))


def _photo(truth, lab, clean, strong, rng):
    count = int(rng.choice([1, 1, 1, 3, 4, 5]))
    spoiled = int(rng.integers(count))
    parts = []
    for i in range(count):
        base = clean if truth.one_pale and i != spoiled and count > 1 else lab
        colour = base + rng.normal(0, 0.5, 3) + truth.spread * rng.normal(0, [0.8, 0.3, 0.3])
        flaws = _painted(truth.flaws if i == spoiled else (), strong, rng)
        even = np.exp(rng.normal(-0.3, 0.4)) + (truth.uneven * rng.uniform(0.5, 1.3) if i == spoiled else 0)
        parts.append({"lab": list(colour), "lab_u": [0.8] * 3, "lab_sd": [1.0] * 3, "uniformity": float(even),
                      "flags": [], "flaws": flaws})  # fmt: skip
    return {"photo": "x.jpg", "parts": parts, "flags": []}


def _painted(flaws, strong, rng):
    """Flaws that a finder reports: some missed, some mistaken, some that are not there; never all missed."""
    seen = [kind for kind, share in flaws if rng.random() < share * (0.9 if strong else 0.65)]
    seen = seen or [kind for kind, share in flaws[:1]]
    kinds = [_MISTAKEN[kind] if rng.random() < 0.12 else kind for kind in seen]
    found = [(kind, rng.uniform(4, 14) if strong else rng.uniform(2.5, 7)) for kind in kinds]
    found += [(str(rng.choice(_FLAWS)), rng.uniform(1.5, 4)) for _ in range(rng.poisson(0.1))]
    return [{"kind": kind, "delta_e00": size, "area_fraction": 0.02} for kind, size in found]
