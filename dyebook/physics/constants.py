"""Constants of film growth: SI values, atomic weights, and the bounds that follow from Faraday's law.

The SI values are written out so that the shell starts at once; a test holds them to `scipy.constants`.
"""

__all__ = [
    "ALUMINIUM_G_PER_AH",
    "A_PER_DM2_OF_ASF",
    "FARADAY_BOUND",
    "FARADAY_C_PER_MOL",
    "HYDROGEN_L_PER_AH",
    "METAL_UM_PER_A_MIN_DM2",
    "MOLAR_MASS_AL",
    "MOLAR_MASS_AL2O3",
    "MOLAR_MASS_H2SO4",
    "MOLAR_MASS_WATER",
    "OXIDE_FORMATION_KJ_PER_AH",
    "UM_PER_MIL",
    "film_um_per_a_min_dm2",
]

FARADAY_C_PER_MOL = 96485.33212331001  # SI 2019
GAS_J_PER_MOL_K = 8.31446261815324  # SI 2019
ATMOSPHERE_PA = 101325.0
MOLAR_MASS_AL = 26.98154  # g/mol, IUPAC
MOLAR_MASS_AL2O3 = 101.960  # g/mol, IUPAC
MOLAR_MASS_H2SO4 = 98.079
MOLAR_MASS_WATER = 18.015
DENSITY_AL_G_PER_CM3 = 2.699
UM_PER_MIL = 25.4
A_PER_DM2_OF_ASF = 1 / 9.290304  # a square foot is 9.290304 dm2 exactly

_COULOMB_PER_CM2 = 0.6  # one A·min/dm2
_ELECTRONS_PER_OXIDE = 6
_ELECTRONS_PER_AL = 3
_OXIDE_ENTHALPY_KJ_PER_MOL = -1675.7  # formation of corundum, CODATA key values, from memory


def film_um_per_a_min_dm2(density_g_per_cm3, efficiency=1.0, porosity=0.0):
    """Film per charge that Faraday's law gives for pure Al2O3.

    Parameters
    ----------
    density_g_per_cm3 : float or array
        Of the oxide itself, or of the film as a whole when `porosity` is 0.
    efficiency : float or array, 0..1
        Share of the charge whose oxide stays on the part.
    porosity : float or array, 0..1

    Returns
    -------
    float or array
        µm per A·min/dm².

    Examples
    --------
    >>> round(film_um_per_a_min_dm2(3.0), 4)
    0.3522
    """
    oxide_cm = _COULOMB_PER_CM2 * MOLAR_MASS_AL2O3 / (_ELECTRONS_PER_OXIDE * FARADAY_C_PER_MOL * density_g_per_cm3)
    return efficiency * oxide_cm * 1e4 / (1 - porosity)


# no sulfuric film is lighter than 2.4 g/cm3 as a whole (ISO 2106 practice, from memory), so more film than this per
# charge cannot be
FARADAY_BOUND = film_um_per_a_min_dm2(2.4)
METAL_UM_PER_A_MIN_DM2 = (
    _COULOMB_PER_CM2 * MOLAR_MASS_AL / (_ELECTRONS_PER_AL * FARADAY_C_PER_MOL * DENSITY_AL_G_PER_CM3) * 1e4
)
ALUMINIUM_G_PER_AH = 3600 * MOLAR_MASS_AL / (_ELECTRONS_PER_AL * FARADAY_C_PER_MOL)
HYDROGEN_L_PER_AH = 3600 / (2 * FARADAY_C_PER_MOL) * GAS_J_PER_MOL_K * 298.15 / ATMOSPHERE_PA * 1000
OXIDE_FORMATION_KJ_PER_AH = 3600 * -_OXIDE_ENTHALPY_KJ_PER_MOL / (_ELECTRONS_PER_OXIDE * FARADAY_C_PER_MOL)
