"""The tank warms: joule and reaction heat against its volume, and what cooling that takes."""

import math
from dataclasses import dataclass

import numpy as np

from dyebook.errors import RecordError
from dyebook.notebook import Note
from dyebook.physics.acid import density_g_per_ml, heat_capacity_kj_per_kg_k, wt_of_g_per_l
from dyebook.physics.answer import Answer, cautions_for, check_figure, positive_field
from dyebook.physics.rates import REACTION_KJ_PER_AH, growth_rate
from dyebook.record import check_value

__all__ = ["TankPlan", "run_heat_kj", "tank_capacity_kj_per_k", "warm_tank"]

_ICE_KJ_PER_KG = 334.0
_WATER_KJ_PER_KG_K = 4.19
_DEFAULT_G_PER_L = 165.0
BOILING_C = 100.0  # of water; acid of 165 g/L boils a degree or two above
_LEAST_BOIL_MIN = 1.0  # what would boil sooner is no tank, or a slip of a unit
_JOULE_SD = 0.15  # voltage and current wander over a run, and the wall takes some; judgement, no source
_REACTION_SD = 0.3  # how much dissolves again in the acid, which warms too; judgement, no source


@dataclass(frozen=True, kw_only=True)
class TankPlan(Answer):
    """How warm a run makes the tank."""

    # end_temp_c, rise_c, rise_c_sd: electrolyte at the end, and its rise
    end_temp_c: float
    rise_c: float
    rise_c_sd: float
    heat_kj: float
    joule_kj: float
    reaction_kj: float
    growth_at_end: float  # growth rate at the end over that at the start, 1 when nothing warms
    largest_current_a: float  # current that stays within the allowed temperature for this time without more cooling
    largest_area_dm2: float  # the load that takes it at the current density of the run
    cooling_w: float  # average cooling needed to stay within it
    ice_kg: float  # or ice, in closed bottles, melting down to the allowed temperature


def run_heat_kj(voltage_v, current_a, minutes):
    """Joule heat and heat of reaction of a run.

    `voltage_v`, `current_a`, `minutes`: float or array.

    Notes
    -----
    The reaction is 2 Al + 3 H2O -> Al2O3 + 3 H2: the oxide's heat of formation, less that of the water it is made from.
    """
    joule = np.asarray(voltage_v, float) * current_a * np.asarray(minutes, float) * 0.06
    reaction = REACTION_KJ_PER_AH * np.asarray(current_a, float) * minutes / 60
    return joule, reaction


def tank_capacity_kj_per_k(volume_l, electrolyte_g_per_l=_DEFAULT_G_PER_L):
    """Heat that warms the electrolyte by one degree, from its density and heat capacity; the tank wall not counted."""
    wt = wt_of_g_per_l(electrolyte_g_per_l)
    return volume_l * density_g_per_ml(wt) * heat_capacity_kj_per_kg_k(wt)


def warm_tank(
    volume_l: float,
    voltage_v: float,
    current_a: float,
    minutes: float,
    *,
    start_temp_c: float = 20.0,
    allowed_temp_c: float = 22.0,
    room_temp_c: float = 20.0,
    loss_w_per_k: float = 0.0,
    current_density_a_per_dm2: float = 1.5,
    electrolyte_g_per_l: float = _DEFAULT_G_PER_L,
) -> TankPlan:
    """Work out how warm a run makes the tank, and what would keep it cool.

    `loss_w_per_k`: heat the tank gives to the room per degree; 0 is the worst case. A bare 2-litre beaker loses a few
    W/K. `current_density_a_per_dm2`: for the growth rate at the end and the largest load.
    """
    volume = check_figure("the volume", volume_l, "L", 0, 1e5)
    voltage = check_figure("the voltage", voltage_v, "V", 0, 200)
    current = check_figure("the current", current_a, "A", 0, 1e5)
    time = check_figure("the time", minutes, "min", 0, 1440)
    loss_w_per_k = check_figure("the heat lost to the room", loss_w_per_k, "W/°C", -1e-9, 1e6)
    for temp in (start_temp_c, allowed_temp_c, room_temp_c):
        check_value("electrolyte_temp_c", temp)
    capacity = tank_capacity_kj_per_k(volume, electrolyte_g_per_l)
    joule, reaction = (float(part) for part in run_heat_kj(voltage, current, time))
    end = _end_temp(start_temp_c, room_temp_c, joule + reaction, capacity, time, loss_w_per_k)
    boils_min = (BOILING_C - start_temp_c) * capacity / (joule + reaction) * time
    if boils_min < _LEAST_BOIL_MIN:
        raise RecordError(
            f"{voltage:g} V and {current:g} A would boil {volume:g} L in {boils_min * 60:.0f} s; no tank is run so: "
            "check volume, voltage and current"
        )
    boils = end >= BOILING_C
    end = min(end, BOILING_C)
    wide = math.hypot(_JOULE_SD * joule, _REACTION_SD * reaction) / (joule + reaction)
    allowed_kj = _heat_to_reach(allowed_temp_c, start_temp_c, room_temp_c, capacity, time, loss_w_per_k)
    largest = max(allowed_kj, 0.0) / (joule + reaction) * current
    excess_kj = max(joule + reaction - allowed_kj, 0.0)
    return TankPlan(
        end_temp_c=end,
        rise_c=end - start_temp_c,
        rise_c_sd=wide * abs(end - start_temp_c),
        heat_kj=joule + reaction,
        joule_kj=joule,
        reaction_kj=reaction,
        growth_at_end=_growth_ratio(start_temp_c, end, current_density_a_per_dm2),
        largest_current_a=largest,
        largest_area_dm2=largest / positive_field("current_density_a_per_dm2", current_density_a_per_dm2),
        cooling_w=excess_kj * 1000 / (time * 60),
        ice_kg=excess_kj / (_ICE_KJ_PER_KG + _WATER_KJ_PER_KG_K * max(allowed_temp_c, 0.0)),
        basis=Note("bench.tank_heat", loss_w_per_k=loss_w_per_k),
        cautions=cautions_for("hot_electrolyte", "hydrogen", "supply_off"),
        notes=_heat_notes(boils, end, allowed_temp_c),
    )


def _heat_notes(boils, end_temp_c, allowed_temp_c):
    if boils:
        return (Note("bench.would_boil", boiling_c=BOILING_C),)
    too_warm = Note("bench.too_warm", end_temp_c=end_temp_c, allowed_temp_c=allowed_temp_c)
    return (too_warm,) if end_temp_c > allowed_temp_c else ()


def _end_temp(start, room, heat_kj, capacity, minutes, loss_w_per_k):
    """Closed solution of C dT/dt = P - U (T - room)."""
    if loss_w_per_k == 0:
        return start + heat_kj / capacity
    tau_min = capacity * 1000 / loss_w_per_k / 60
    steady = room + heat_kj * 1000 / (minutes * 60) / loss_w_per_k
    return steady + (start - steady) * math.exp(-minutes / tau_min)


def _heat_to_reach(allowed, start, room, capacity, minutes, loss_w_per_k):
    """Heat over the run that ends exactly at the allowed temperature; the end is linear in it."""
    idle = _end_temp(start, room, 0.0, capacity, minutes, loss_w_per_k)
    per_kj = _end_temp(start, room, 1.0, capacity, minutes, loss_w_per_k) - idle
    return (allowed - idle) / per_kj


def _growth_ratio(start_temp_c, end_temp_c, density):
    temps = np.clip([start_temp_c, end_temp_c], -10, 60)
    rates = growth_rate(density, temps).um_per_a_min_dm2
    return float(rates[1] / rates[0])
