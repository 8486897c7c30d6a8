"""The electrolyte in use: how strong it is, and how long it lasts."""

from dataclasses import dataclass

from dyebook.physics.acid import g_per_l_of_wt, sg_20_20, wt_of_sg
from dyebook.physics.answer import Answer, check_figure
from dyebook.physics.cautions import cautions_for
from dyebook.physics.constants import ALUMINIUM_G_PER_AH
from dyebook.physics.electrolyte import MAX_VOLUME_L

__all__ = ["BathCheck", "BathLife", "bath_life", "check_bath"]

_RETAINED_ALUMINIUM = 0.68  # share of the oxidised metal that stays in the film, from a coating ratio of 1.5
_ALUMINIUM_LIMIT_G_PER_L = 12.0  # troublesome above 12 to 15, trade texts


@dataclass(frozen=True, kw_only=True)
class BathCheck(Answer):
    """A bath's strength as a hydrometer shows it: `g_per_l` ± `g_per_l_sd`, `wt_percent`, and mL of acid to add."""

    g_per_l: float
    g_per_l_sd: float
    wt_percent: float


def check_bath(sg, sg_temp_c=20.0, sg_sd=0.001):
    """Strength of a bath from its specific gravity.

    Parameters
    ----------
    sg : float
        Reading, 20/20.
    sg_temp_c : float
        Temperature of the bath when read, °C.
    sg_sd : float
        Standard uncertainty of the reading.

    Returns
    -------
    BathCheck
    """
    wt = wt_of_sg(sg, sg_temp_c)
    slope = (g_per_l_of_wt(wt + 0.01) - g_per_l_of_wt(wt)) / (sg_20_20(wt + 0.01) - sg_20_20(wt))
    return BathCheck(
        g_per_l=g_per_l_of_wt(wt),
        g_per_l_sd=float(slope * sg_sd),
        wt_percent=wt,
        basis="handbook density at 20 °C, reading brought to 20 °C with the slope of Myhre 1998; fresh acid assumed",
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


def bath_life(charge_ah, volume_l, *, discard_ah_per_l=None, aluminium_start_g_per_l=0.0):
    """How much of a bath's life has been used.

    Parameters
    ----------
    charge_ah : float
        All charge that has gone through the bath, A·h.
    volume_l : float
    discard_ah_per_l : float, optional
        The shop's own discard point; by default where dissolved aluminium is reckoned to reach 12 g/L.
    aluminium_start_g_per_l : float
        Aluminium that the bath was made up with.

    Returns
    -------
    BathLife
    """
    charge = check_figure("the charge", charge_ah, "A·h", -1e-9, 1e9)
    volume = check_figure("the volume", volume_l, "L", 0, MAX_VOLUME_L)
    per_ah = ALUMINIUM_G_PER_AH * (1 - _RETAINED_ALUMINIUM)
    room = _ALUMINIUM_LIMIT_G_PER_L - aluminium_start_g_per_l
    discard = room / per_ah if discard_ah_per_l is None else discard_ah_per_l
    discard = check_figure("the discard point", discard, "A·h/L", 0, 1e6)
    used = charge / volume
    origin = "12 g/L of aluminium" if discard_ah_per_l is None else "your own discard point"
    return BathLife(
        ah_per_l=used,
        aluminium_g_per_l=aluminium_start_g_per_l + used * per_ah,
        aluminium_g_per_l_sd=0.3 * used * per_ah,
        discard_ah_per_l=discard,
        left_ah=max(discard - used, 0.0) * volume,
        worn_out=used >= discard,
        basis=f"Faraday's law with about a third of the oxidised metal dissolving, drag-out neglected; {origin}",
        cautions=cautions_for("waste", "protection"),
    )
