"""The electrolyte: how much acid and water to mix and how warm that gets, how strong a bath is, how long it lasts."""

import itertools
import math
from dataclasses import dataclass

import numpy as np

from dyebook.errors import RecordError
from dyebook.notebook import Note
from dyebook.physics.acid import (
    MAX_WT_PERCENT,
    WATER_G_PER_ML,
    density_g_per_ml,
    dilution_rise_c,
    g_per_l_of_wt,
    heat_capacity_kj_per_kg_k,
    sg_20_20,
    wt_of_g_per_l,
    wt_of_sg,
)
from dyebook.physics.answer import Answer, cautions_for, check_figure
from dyebook.physics.rates import ALUMINIUM_G_PER_AH, MOLAR_MASS_AL, MOLAR_MASS_H2SO4

__all__ = ["AcidMix", "BathCheck", "BathLife", "bath_life", "check_bath", "mix_acid", "mix_volumes", "titrate_bath"]

MAX_G_PER_L = 400.0  # no bath for aluminium films is stronger; above it a slip of the pen, and dangerous to mix
MAX_RISE_C = 40.0
PORTION_RISE_C = 30.0  # from water of 20 °C to the 50 °C at which the caution says to stop
MAX_VOLUME_L = 100_000.0
WINDOW_G_PER_L = (150.0, 200.0)  # common decorative window; handbook: 165 to 180


@dataclass(frozen=True, kw_only=True)
class AcidMix(Answer):
    """What to measure out for a bath."""

    # acid_ml, water_ml: at 20 °C; their sum is larger than the bath, because the mix contracts
    acid_ml: float
    water_ml: float
    volume_l: float  # the bath once it has cooled to 20 °C
    # g_per_l, wt_percent: strength of the bath
    g_per_l: float
    wt_percent: float
    acid_wt_percent: float  # strength of the acid used
    contraction_ml: float
    sg: float  # what a hydrometer should read in the fresh bath, 20/20 °C
    rise_c: float  # warming if all is mixed at once and no heat is lost
    portions: int  # in how many cooled portions the acid is added
    portion_acid_ml: tuple  # acid per portion; each warms the mix about equally
    portion_rise_c: float


def mix_volumes(acid_wt_percent, g_per_l, volume_l):
    """Acid and water in mL for a bath, by mass balance and density; floats or arrays.

    `acid_wt_percent` is 0 to 98; the strength wanted and the final volume are at 20 °C.
    """
    stock_g_per_l = np.asarray(g_per_l_of_wt(acid_wt_percent))
    asked = np.asarray(g_per_l, float)
    if np.any(asked > stock_g_per_l):
        raise RecordError(
            f"{asked.max():g} g/L is asked for, but the acid at hand ({np.min(acid_wt_percent):g} wt %) holds "
            f"{stock_g_per_l.min():.0f} g/L itself; ask for less or use stronger acid"
        )
    acid_l = asked * np.asarray(volume_l, float) / stock_g_per_l
    bath_kg = np.asarray(density_g_per_ml(wt_of_g_per_l(asked))) * volume_l
    water_kg = bath_kg - acid_l * np.asarray(density_g_per_ml(acid_wt_percent))
    return acid_l * 1000, np.maximum(water_kg, 0.0) / WATER_G_PER_ML * 1000


def mix_acid(
    g_per_l: float,
    volume_l: float,
    *,
    wt_percent: float | None = None,
    sg: float | None = None,
    sg_temp_c: float = 20.0,
) -> AcidMix:
    """Plan a bath of a wanted strength in H2SO4 and volume, both at 20 °C, from the acid at hand.

    `wt_percent` is the strength of that acid, at most 98 %, or `sg` its specific gravity 20/20, up to 95 %, as read at
    `sg_temp_c`. RecordError if a figure is impossible, above 400 g/L, or the acid is weaker than the bath asked for.
    """
    if (wt_percent is None) == (sg is None):
        raise RecordError("the acid's strength is needed once: its wt % from the label, or its specific gravity")
    hint = "baths for films to be dyed hold {:g} to {:g} g/L: check the figure for a slip".format(*WINDOW_G_PER_L)
    asked = check_figure("the wanted strength", g_per_l, "g/L", 0, MAX_G_PER_L, hint)
    volume = check_figure("the volume", volume_l, "L", 0, MAX_VOLUME_L)
    stock = wt_of_sg(sg, sg_temp_c) if wt_percent is None else wt_percent
    stock = check_figure("the acid at hand", stock, "wt %", 0, MAX_WT_PERCENT)
    acid_ml, water_ml = (float(part) for part in mix_volumes(stock, asked, volume))
    bath_wt = wt_of_g_per_l(asked)
    portions = _plan_portions(stock, acid_ml, water_ml)
    return AcidMix(
        acid_ml=acid_ml,
        water_ml=water_ml,
        volume_l=volume,
        g_per_l=asked,
        wt_percent=bath_wt,
        acid_wt_percent=stock,
        contraction_ml=acid_ml + water_ml - volume * 1000,
        sg=sg_20_20(bath_wt),
        rise_c=dilution_rise_c(stock, bath_wt),
        portions=len(portions),
        portion_acid_ml=tuple(acid for acid, _ in portions),
        portion_rise_c=max(rise for _, rise in portions),
        basis=Note("bench.acid_mix", sg=sg, sg_temp_c=sg_temp_c),
        cautions=_mix_cautions(len(portions)),
        notes=_mix_notes(stock, asked),
    )


def _mix_cautions(portions):
    portioned = ("cooled_portions",) if portions > 1 else ()
    return cautions_for("acid_into_water", *portioned, "protection", "cool_before_use", "hydrogen", "waste")


def _mix_notes(stock, asked):
    acid_ml, water_ml = mix_volumes(stock, asked, 1.0)
    by_volume = Note("bench.parts_by_volume", water_parts=float(water_ml / acid_ml))
    low, high = WINDOW_G_PER_L
    if low <= asked <= high:
        return (by_volume,)
    return by_volume, Note("bench.unusual_acid_strength", g_per_l=asked, low=low, high=high)


def _plan_portions(stock, acid_ml, water_ml):
    """Portions of acid (mL, rise in °C): one up to `MAX_RISE_C`, else as few as keep each to `PORTION_RISE_C`."""
    acid_g = acid_ml * density_g_per_ml(stock)
    water_g = water_ml * WATER_G_PER_ML
    if water_g <= 0:
        return ((acid_ml, 0.0),)
    shares = np.linspace(0, 1, 2001)
    wt = shares * acid_g * stock / (shares * acid_g + water_g)
    enthalpy = _warmth(stock, wt)
    if enthalpy[-1] <= MAX_RISE_C:
        return ((acid_ml, float(enthalpy[-1])),)
    count = math.ceil(enthalpy[-1] / PORTION_RISE_C)
    while True:
        cuts = np.interp(np.linspace(0, enthalpy[-1], count + 1), enthalpy, shares)
        steps = np.interp(cuts, shares, wt)
        rises = [_step_rise(stock, low, high) for low, high in itertools.pairwise(steps)]
        if max(rises) <= PORTION_RISE_C:
            return tuple(zip((np.diff(cuts) * acid_ml).tolist(), rises, strict=True))
        count += 1


def _warmth(stock, wt):
    rise = np.zeros_like(wt)
    rise[1:] = dilution_rise_c(stock, wt[1:])
    return np.maximum.accumulate(rise)


def _step_rise(stock, wt_low, wt_high):
    """Rise when acid of `stock` takes a cooled mix from one strength to the next."""
    before = 0.0
    if wt_low > 0:
        mass_share = (stock - wt_high) / (stock - wt_low)
        before = _heat_per_kg(stock, wt_low) * mass_share
    return float((_heat_per_kg(stock, wt_high) - before) / heat_capacity_kj_per_kg_k(wt_high))


def _heat_per_kg(stock, wt):
    return dilution_rise_c(stock, wt) * heat_capacity_kj_per_kg_k(wt)


_RETAINED_ALUMINIUM = 0.68  # share of the oxidised metal that stays in the film, from a coating ratio of 1.5
_ALUMINIUM_LIMIT_G_PER_L = 12.0  # troublesome above 12 to 15, trade texts


# what 1 g/L of dissolved aluminium adds to a hydrometer, read as g/L of acid: 6.34 g/L of its sulphate raise SG by
# 0.0061 (10 % solution 1.105 g/mL, handbook, value from memory), 165 g/L of acid rise by 0.00061 per g/L
_ACID_PER_ALUMINIUM = 10.0
_ACID_PER_ALUMINIUM_SD = 1.5
_BURETTE_SD_ML = 0.05  # end point and burette of class B, common practice
_TITRANT_SD = 0.01  # of the standard solution and of the pipette together, common practice


@dataclass(frozen=True, kw_only=True)
class BathCheck(Answer):
    """A bath's free acid `g_per_l` with its doubt, as a hydrometer shows it or as titrated, and its aluminium."""

    g_per_l: float
    g_per_l_sd: float
    wt_percent: float | None = None  # of the free acid alone; None for a titration
    aluminium_g_per_l: float | None = None
    aluminium_g_per_l_sd: float | None = None


def titrate_bath(
    sample_ml: float, free_ml: float, total_ml: float | None = None, *, naoh_mol_per_l: float = 1.0
) -> BathCheck:
    """Free acid and dissolved aluminium from burette readings of bath pipetted into a flask.

    `free_ml` is the soda to the end point with fluoride added, which holds the aluminium back: the free acid alone.
    `total_ml` is the soda to the end point without it: aluminium takes three more per atom.

    Notes
    -----
    H2SO4 + 2 NaOH and Al3+ + 3 NaOH: g/L = mL x mol/L / mL of sample x 98.079 / 2, and x 26.982 / 3.
    """
    sample = check_figure("the sample", sample_ml, "mL", 0, 1000)
    free = check_figure("the soda for the free acid", free_ml, "mL", 0, 1000)
    molar = check_figure("the soda's strength", naoh_mol_per_l, "mol/L", 0, 20)
    per_ml = molar / sample
    acid = MOLAR_MASS_H2SO4 / 2 * per_ml
    found = {"g_per_l": acid * free, "g_per_l_sd": acid * math.hypot(_BURETTE_SD_ML, _TITRANT_SD * free)}
    if total_ml is not None:
        total = check_figure("the soda in all", total_ml, "mL", 0, 1000)
        if total < free:
            raise RecordError(
                f"the soda in all is {total:g} mL, less than the {free:g} mL for the free acid; swap them or repeat"
            )
        metal = MOLAR_MASS_AL / 3 * per_ml
        spread = math.hypot(math.sqrt(2) * _BURETTE_SD_ML, _TITRANT_SD * (total - free))
        found |= {"aluminium_g_per_l": metal * (total - free), "aluminium_g_per_l_sd": metal * spread}
    return BathCheck(**found, basis=Note("bench.titration"), cautions=cautions_for("protection", "fluoride", "waste"))


def check_bath(
    sg: float, sg_temp_c: float = 20.0, sg_sd: float = 0.001, aluminium_g_per_l: float | None = None
) -> BathCheck:
    """Strength of a bath from its specific gravity 20/20, read at `sg_temp_c` with the standard uncertainty `sg_sd`.

    What dissolved aluminium, by titration, adds to the reading is taken off. Without it all is read as acid.
    """
    wt = wt_of_sg(sg, sg_temp_c)
    slope = (g_per_l_of_wt(wt + 0.01) - g_per_l_of_wt(wt)) / (sg_20_20(wt + 0.01) - sg_20_20(wt))
    metal = 0.0 if aluminium_g_per_l is None else check_figure("the aluminium", aluminium_g_per_l, "g/L", -1e-9, 50)
    free = g_per_l_of_wt(wt) - _ACID_PER_ALUMINIUM * metal
    if free < 0:
        raise RecordError(f"{metal:g} g/L of aluminium alone reads above SG {sg:g}; check both, or titrate")
    return BathCheck(
        g_per_l=free,
        g_per_l_sd=math.hypot(slope * sg_sd, _ACID_PER_ALUMINIUM_SD * metal),
        wt_percent=wt_of_g_per_l(free),
        aluminium_g_per_l=aluminium_g_per_l,
        basis=Note("bench.hydrometer", aluminium_g_per_l=aluminium_g_per_l),
        cautions=cautions_for("aluminium_reads_as_acid", "protection", "waste"),
    )


@dataclass(frozen=True, kw_only=True)
class BathLife(Answer):
    """How far a bath has been used: charge per volume, dissolved aluminium by mass balance, and what is left."""

    ah_per_l: float
    aluminium_g_per_l: float
    aluminium_g_per_l_sd: float
    discard_ah_per_l: float
    left_ah: float
    worn_out: bool


def bath_life(charge_ah: float, volume_l: float, *, discard_ah_per_l: float | None = None) -> BathLife:
    """How much of a bath's life has been used, from all charge that has gone through it.

    `discard_ah_per_l` is the shop's own discard point; by default it is where dissolved aluminium is worked out to
    reach 12 g/L.
    """
    charge = check_figure("the charge", charge_ah, "A·h", -1e-9, 1e9)
    volume = check_figure("the volume", volume_l, "L", 0, MAX_VOLUME_L)
    per_ah = ALUMINIUM_G_PER_AH * (1 - _RETAINED_ALUMINIUM)
    discard = _ALUMINIUM_LIMIT_G_PER_L / per_ah if discard_ah_per_l is None else discard_ah_per_l
    discard = check_figure("the discard point", discard, "A·h/L", 0, 1e6)
    used = charge / volume
    return BathLife(
        ah_per_l=used,
        aluminium_g_per_l=used * per_ah,
        aluminium_g_per_l_sd=0.3 * used * per_ah,
        discard_ah_per_l=discard,
        left_ah=max(discard - used, 0.0) * volume,
        worn_out=used >= discard,
        basis=Note("bench.dissolved_aluminium", own_point=discard_ah_per_l is not None),
        cautions=cautions_for("waste", "protection"),
    )
