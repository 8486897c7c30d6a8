"""Density and heat of sulphuric acid and water: tables and formulas that the electrolyte sums rest on."""

from functools import cache

import numpy as np

from dyebook.errors import RecordError
from dyebook.physics.rates import MOLAR_MASS_H2SO4, MOLAR_MASS_WATER

__all__ = [
    "density_g_per_ml",
    "dilution_rise_c",
    "g_per_l_of_wt",
    "heat_capacity_kj_per_kg_k",
    "sg_20_20",
    "sg_slope_per_c",
    "wt_of_g_per_l",
    "wt_of_sg",
]

WATER_G_PER_ML = 0.99821  # 20 °C
MAX_WT_PERCENT = 98.0
MAX_SG_WT_PERCENT = 95.0  # above it density hardly changes, then falls: a hydrometer cannot tell

# wt %, specific gravity 20/4 °C. Handbook table (Perry, CRC), values from memory; held by a test to Myhre 1998
_TABLE = np.array([
    [0, WATER_G_PER_ML], [5, 1.0317], [10, 1.0661], [15, 1.1020], [20, 1.1394], [25, 1.1783], [30, 1.2185],
    [35, 1.2599], [40, 1.3028], [45, 1.3476], [50, 1.3951], [55, 1.4453], [60, 1.4983], [65, 1.5533], [70, 1.6105],
    [75, 1.6692], [80, 1.7272], [85, 1.7786], [90, 1.8144], [93, 1.8279], [95, 1.8337], [96, 1.8355], [98, 1.8361],
    [100, 1.8305],
])  # fmt: skip

# rows: powers 0..10 of the mass fraction; columns: powers 0..4 of °C (Myhre, Nielsen & Saastad,
# J. Chem. Eng. Data 43 (1998) 617, eq. 2, doi:10.1021/je980013g)
_MYHRE = np.array(
    [
        [999.8426, 0.03345402, -0.005691304, 0, 0],
        [547.2659, -5.300445, 0.01187671, 0.0005990008, 0],
        [5262.95, 37.20445, 0.1201909, -0.004148594, 1.197973e-5],
        [-62139.58, -287.767, -0.4064638, 0.01119488, 3.607768e-5],
        [409029.3, 1270.854, 0.326971, -0.01377435, -2.633585e-5],
        [-1596989, -3062.836, 0.1366499, 0.006373031, 0],
        [3857411, 4083.714, -0.1927785, 0, 0],
        [-5808064, -2844.401, 0, 0, 0],
        [5301976, 809.1053, 0, 0, 0],
        [-2682616, 0, 0, 0, 0],
        [576428.8, 0, 0, 0, 0],
    ]
)


@cache
def _curve():
    from scipy.interpolate import PchipInterpolator

    return PchipInterpolator(_TABLE[:, 0], _TABLE[:, 1])


@cache
def _fine_grid():
    """Strength in wt %, g/L and SG 20/20 on a grid fine enough for linear inversion to 1e-8."""
    wt = np.linspace(0, MAX_WT_PERCENT, 49001)
    density = _curve()(wt)
    return wt, 10 * wt * density, density / WATER_G_PER_ML


def density_g_per_ml(wt_percent):
    """Density of the acid at 20 °C, by monotone interpolation of the handbook table.

    A float or an array; RecordError outside 0..98 %.
    """
    wt = np.asarray(wt_percent, dtype=float)
    if not np.all((wt >= 0) & (wt <= MAX_WT_PERCENT)):
        raise RecordError(
            f"acid of {_worst(wt, MAX_WT_PERCENT):g} wt % is outside 0 to {MAX_WT_PERCENT:g} %; "
            "read the strength from the label of the container"
        )
    return _as_given(_curve()(wt))


def _myhre(wt, temp):
    """Density, g/mL, by the fit of Myhre et al.: 10 to 90 wt %, 0 to 50 °C; outside it is wrong by up to 0.03."""
    fraction = wt[..., None, None] / 100
    powers = fraction ** np.arange(11)[:, None] * temp[..., None, None] ** np.arange(5)
    return (powers * _MYHRE).sum(axis=(-2, -1)) / 1000


def g_per_l_of_wt(wt_percent):
    """Grams of H2SO4 in a litre at 20 °C of acid of `wt_percent` (0..98)."""
    return _as_given(10 * np.asarray(wt_percent, float) * density_g_per_ml(wt_percent))


def wt_of_g_per_l(g_per_l):
    """Strength in wt % of a solution that holds `g_per_l` at 20 °C.

    `g_per_l`: float or array, 0..1799.
    """
    wt, strength, _ = _fine_grid()
    asked = np.asarray(g_per_l, float)
    if not np.all((asked >= 0) & (asked <= strength[-1])):
        raise RecordError(
            f"{_worst(asked, strength[-1]):g} g/L is impossible: 98 % acid itself holds {strength[-1]:.0f} g/L; "
            "baths for dyeing hold 150 to 200 g/L"
        )
    return _as_given(np.interp(asked, strength, wt))


def sg_20_20(wt_percent):
    """Specific gravity 20/20 °C of acid of `wt_percent` (0..98)."""
    return _as_given(np.asarray(density_g_per_ml(wt_percent)) / WATER_G_PER_ML)


def sg_slope_per_c(wt_percent):
    """How much the specific gravity falls per °C around 20 °C; Myhre 1998 inside its range, held at its ends."""
    wt = np.clip(np.asarray(wt_percent, float), 10, 90)
    return _as_given((_myhre(wt, np.full_like(wt, 15.0)) - _myhre(wt, np.full_like(wt, 25.0))) / 10 / WATER_G_PER_ML)


def wt_of_sg(sg, sg_temp_c=20.0):
    """Strength in wt % from hydrometer readings, floats or arrays: SG against water of 20 °C, read at 0 to 50 °C.

    RecordError below water, or above 95 %, where density no longer tells the strength.

    Notes
    -----
    The reading is brought to 20 °C with the slope of that very strength, found by repetition; three rounds settle
    to 1e-6.
    """
    wt_grid, _, sg_grid = _fine_grid()
    usable = wt_grid <= MAX_SG_WT_PERCENT
    reading, temp = np.broadcast_arrays(np.asarray(sg, float), np.asarray(sg_temp_c, float))
    if not np.all((temp >= 0) & (temp <= 50)):
        raise RecordError(f"acid read at {_worst(temp, 50):g} °C; bring it between 0 and 50 °C and read again")
    wt = np.full(reading.shape, 30.0)
    for _ in range(4):
        at_20 = reading + np.asarray(sg_slope_per_c(wt)) * (temp - 20)
        wt = np.interp(at_20, sg_grid[usable], wt_grid[usable])
    highest = sg_grid[usable][-1]
    if not np.all((at_20 >= 1.0 - 1e-6) & (at_20 <= highest + 1e-6)):
        raise RecordError(
            f"specific gravity {_worst(reading, highest):g} cannot be turned into a strength (1.000 to {highest:.3f}); "
            "read again, or use the wt % on the label"
        )
    return _as_given(wt)


def heat_capacity_kj_per_kg_k(wt_percent):
    """Heat capacity near 20 °C; a parabola through 4.19, 3.62 (15 %), 3.44 (20 %), 2.49 (50 %), from memory."""
    fraction = np.asarray(wt_percent, float) / 100
    return 4.186 - 3.9 * fraction + 1.0 * fraction**2


def _dilution_heat_kj_per_mol(wt_percent):
    """Thomsen: heat set free by mixing one mole of acid with n of water, 74.73 n / (n + 1.7983); from memory."""
    fraction = np.asarray(wt_percent, float) / 100
    water_mol = (1 - fraction) / MOLAR_MASS_WATER
    acid_mol = fraction / MOLAR_MASS_H2SO4
    return 74.73 * water_mol / (water_mol + 1.7983 * acid_mol)


def dilution_rise_c(wt_from, wt_to):
    """Temperature rise in °C when acid is brought from one strength to a lower one, no heat lost.

    It is good to about 4 °C. `wt_from`, `wt_to`: float or array, 0 < wt_to <= wt_from <= 98.
    """
    per_mol = _dilution_heat_kj_per_mol(wt_to) - _dilution_heat_kj_per_mol(wt_from)
    moles_per_kg = np.asarray(wt_to, float) * 10 / MOLAR_MASS_H2SO4
    return _as_given(per_mol * moles_per_kg / heat_capacity_kj_per_kg_k(wt_to))


def _worst(values, upper):
    """The entry furthest outside 0..upper, for the message."""
    flat = np.ravel(values)
    return flat[np.nanargmax(np.maximum(-flat, flat - upper))] if not np.all(np.isnan(flat)) else np.nan


def _as_given(values):
    """A float for a scalar question, an array for an array."""
    return float(values) if np.ndim(values) == 0 else values
