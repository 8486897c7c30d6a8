"""Growth rates: how much film a charge gives, by rule, by temperature and density, by alloy, and Faraday's bound.

The SI values are written out so that the shell starts at once; a test holds them to `scipy.constants`.
"""

import re
from dataclasses import dataclass, replace

import numpy as np

from dyebook.errors import RecordError
from dyebook.notebook import Note
from dyebook.record import check_value

__all__ = [
    "ALUMINIUM_G_PER_AH", "A_PER_DM2_OF_ASF", "FARADAY_BOUND", "FARADAY_C_PER_MOL", "METAL_UM_PER_A_MIN_DM2",
    "MOLAR_MASS_H2SO4", "MOLAR_MASS_WATER", "OXIDE_FORMATION_KJ_PER_AH", "REACTION_KJ_PER_AH", "RULES", "UM_PER_MIL",
    "GrowthRate", "alloy_factor", "check_faraday", "film_um_per_a_min_dm2", "growth_rate",
]  # fmt: skip

FARADAY_C_PER_MOL = 96485.33212331001  # SI 2019
GAS_J_PER_MOL_K = 8.31446261815324  # SI 2019
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
_WATER_ENTHALPY_KJ_PER_MOL = -285.83  # formation of liquid water, CODATA key values, from memory
_WATER_PER_OXIDE = 3


def film_um_per_a_min_dm2(density_g_per_cm3):
    """Film of that density as a whole, in µm per A·min/dm², that Faraday's law gives for pure Al2O3.

    Examples
    --------
    >>> round(film_um_per_a_min_dm2(3.0), 4)
    0.3522
    """
    oxide_cm = _COULOMB_PER_CM2 * MOLAR_MASS_AL2O3 / (_ELECTRONS_PER_OXIDE * FARADAY_C_PER_MOL * density_g_per_cm3)
    return oxide_cm * 1e4


# no sulphuric film is lighter than 2.4 g/cm3 as a whole (ISO 2106 practice, from memory), so more film than this per
# charge cannot be
FARADAY_BOUND = film_um_per_a_min_dm2(2.4)
METAL_UM_PER_A_MIN_DM2 = (
    _COULOMB_PER_CM2 * MOLAR_MASS_AL / (_ELECTRONS_PER_AL * FARADAY_C_PER_MOL * DENSITY_AL_G_PER_CM3) * 1e4
)
ALUMINIUM_G_PER_AH = 3600 * MOLAR_MASS_AL / (_ELECTRONS_PER_AL * FARADAY_C_PER_MOL)
OXIDE_FORMATION_KJ_PER_AH = 3600 * -_OXIDE_ENTHALPY_KJ_PER_MOL / (_ELECTRONS_PER_OXIDE * FARADAY_C_PER_MOL)
# 2 Al + 3 H2O -> Al2O3 + 3 H2: the hydrogen carries away what its water took to form
REACTION_KJ_PER_AH = OXIDE_FORMATION_KJ_PER_AH * (
    1 - _WATER_PER_OXIDE * _WATER_ENTHALPY_KJ_PER_MOL / _OXIDE_ENTHALPY_KJ_PER_MOL
)


# µm per A·min/dm2. "720": minutes = 720 x mil / (A/ft2), trade magazines; "0.30": European short rule, common practice
RULES = {"720": UM_PER_MIL / (720 * A_PER_DM2_OF_ASF), "0.30": 0.30}
RULE_SD = 0.12  # how far shops lie from the model at known conditions, as a share; twice the misfit of published films
FAR_SD = 0.20  # just outside the conditions that were published; more the further
_SD_PER_E_FOLD = 0.4  # of density beyond them, judgement
_SD_PER_C_BEYOND = 0.03  # of temperature beyond them, judgement
# where no temperature is given: tanks stand within about so much of 20 °C (handbook window 15.6 to 26.7 °C), and a run
# takes about so long
_UNKNOWN_TEMP_SD_C = 6.0
_USUAL_MIN = 36.0
_USUAL_DENSITY = 1.5

# Least squares of the logarithm to the film thickness of Ajeel & Mohammad, Eng. & Technol. 26(11) 2008 (AA6063, 1 to
# 4 A/dm2, 10 to 30 °C, 12 to 60 min; the coding of their variables is inferred), its centre and points along one axis:
# all within 8 %. A test leaves each out in turn, and holds the model to films that had no part in it.
_FASTEST = 0.379  # µm per A·min/dm2 at high density, before the film has thickened
_LOSS_A_PER_DM2 = 0.339  # density that dissolution eats up at 20 °C
# 95 kJ/mol; for pore walls in 2 M acid 83.3 ± 2.1 is published (Russ. J. Inorg. Chem. 66 (2021) 258)
_LOSS_PER_C = 0.133
_SLOWING_MIN = 365.0
DATA_TEMP_C = (15.0, 30.0)
DATA_DENSITY = (1.0, 4.0)
DATA_MIN = (12.0, 60.0)


@dataclass(frozen=True)
class GrowthRate:
    """How film follows from charge; scalars or arrays that broadcast."""

    um_per_a_min_dm2: float  # float or array: at the start of the run
    sd_fraction: float  # float or array: standard uncertainty of a film worked out with it, as a share of the film
    basis: Note
    # time at which growth per charge has fallen to a half on average; infinite for the plain rules
    slowing_min: float = float("inf")

    def film_um(self, current_density_a_per_dm2, minutes):
        """Film after `minutes` at a constant density."""
        minutes = np.asarray(minutes, float)
        return self.um_per_a_min_dm2 * current_density_a_per_dm2 * minutes / (1 + minutes / self.slowing_min)

    def minutes(self, current_density_a_per_dm2, film_um):
        """Time to reach `film_um` at a constant density; infinite where dissolution stops the film below it."""
        film = np.asarray(film_um, float)
        speed = self.um_per_a_min_dm2 * np.asarray(current_density_a_per_dm2, float) - film / self.slowing_min
        with np.errstate(divide="ignore"):
            return np.where(speed > 0, film / np.maximum(speed, 0.0), np.inf)


def growth_rate(
    current_density_a_per_dm2=None, electrolyte_temp_c=None, *, alloy: str | None = None, rule="720"
) -> GrowthRate:
    """The best rate for what is known about the run.

    Parameters
    ----------
    current_density_a_per_dm2 : float or array, optional
        Needed with a temperature.
    electrolyte_temp_c : float or array, optional
        Without it the plain rule is used; with it, the model of temperature, density and time.
    alloy
        Designation such as ``"6061"``, or ``"cast"``.
    rule : {"720", "0.30"}
        Plain rule to use without a temperature; its doubt then holds what temperature and density would have changed.

    Notes
    -----
    Model: rate = 0.379 / (1 + 0.339 exp(0.133 (T - 20)) / j), film = rate·j·t / (1 + t/365 min): dissolution takes a
    share that grows with temperature and falls with density, and a thick film grows a little slower.
    """
    if rule not in RULES:
        raise RecordError(f"rule {rule!r} is unknown; use {' or '.join(RULES)}")
    if electrolyte_temp_c is None:
        sd = _plain_rule_sd(RULES[rule], current_density_a_per_dm2 or _USUAL_DENSITY)
        rate = GrowthRate(RULES[rule], sd, Note("bench.plain_rule", rule=rule, rate=RULES[rule]))
    elif rule != "720":
        raise RecordError("the 0.30 rule knows no temperature; leave the temperature out, or leave the rule out")
    else:
        rate = _model_rate(current_density_a_per_dm2, electrolyte_temp_c)
    if alloy is None:
        return rate
    family = alloy_factor(alloy)
    return replace(
        rate,
        um_per_a_min_dm2=rate.um_per_a_min_dm2 * family.factor,
        sd_fraction=np.hypot(rate.sd_fraction, family.sd),
        basis=Note("bench.alloy_rate", rate=rate.basis, alloy=alloy, factor=family.factor, source=family.source),
    )


def _loss(density, temp_c):
    """What dissolution takes, over what stays."""
    return _LOSS_A_PER_DM2 * np.exp(_LOSS_PER_C * (temp_c - 20)) / density


def _plain_rule_sd(rule_rate, density):
    """Doubt of a rule that knows no temperature: its miss at 20 °C, what the temperature may be, and of any shop."""
    loss = _loss(density, 20.0)
    miss = _FASTEST / (1 + loss) / (1 + _USUAL_MIN / _SLOWING_MIN) / rule_rate - 1
    warmth = _LOSS_PER_C * loss / (1 + loss) * _UNKNOWN_TEMP_SD_C
    return float(np.sqrt(miss**2 + warmth**2 + RULE_SD**2))


def _model_rate(density, temp_c):
    temp = np.asarray(temp_c, float)
    for value in (temp.min(), temp.max()):
        check_value("electrolyte_temp_c", float(value))
    density = np.asarray(density, float)
    rate = _FASTEST / (1 + _loss(density, temp))
    beyond_c = np.abs(temp - np.clip(temp, *DATA_TEMP_C))
    beyond_folds = np.abs(np.log(density / np.clip(density, *DATA_DENSITY)))
    inside = (beyond_c == 0) & (beyond_folds == 0)
    sd = np.where(inside, RULE_SD, FAR_SD)
    sd = np.sqrt(sd**2 + (_SD_PER_C_BEYOND * beyond_c) ** 2 + (_SD_PER_E_FOLD * beyond_folds) ** 2)
    one = rate.ndim == 0
    where = (float(temp), float(density)) if one else None
    basis = Note("bench.film_model", where=where, outside=not inside.all())
    return GrowthRate(*((float(rate), float(sd)) if one else (rate, sd)), basis, _SLOWING_MIN)


@dataclass(frozen=True)
class AlloyFamily:
    """Film of an alloy family relative to 6063: pattern of its names, factor, uncertainty, source."""

    pattern: str
    factor: float
    sd: float
    source: str
    note: str = ""


_RULE_OF_THUMB = "rule of thumb, no source"
_DULL = "copper alloys give thinner, duller films (handbook)"
ALLOYS = (
    AlloyFamily(r"1\d{3}", 1.0, 0.02, _RULE_OF_THUMB, "brightest, clearest film (handbook)"),
    AlloyFamily(r"2\d{3}", 0.725, 0.08, _RULE_OF_THUMB, _DULL),
    AlloyFamily(r"3\d{3}", 0.97, 0.04, _RULE_OF_THUMB, "slightly grey film"),
    AlloyFamily(r"5\d{3}", 1.0, 0.04, _RULE_OF_THUMB, "duller above 2 % magnesium (handbook)"),
    AlloyFamily(r"606[03]|6463", 1.0, 0.0, "reference alloy", "clear film"),
    AlloyFamily(r"6\d{3}", 0.975, 0.02, _RULE_OF_THUMB, "near-clear, slightly grey film"),
    AlloyFamily(r"7\d{3}", 0.925, 0.05, _RULE_OF_THUMB, "yellow-grey cast, draws more current at the same voltage"),
    AlloyFamily(r"cast.*|a?3\d\d(\.\d)?|4\d{3}|.*si.*", 0.65, 0.1, _RULE_OF_THUMB, "silicon alloys turn grey"),
)
_UNKNOWN = AlloyFamily(".*", 1.0, 0.15, "unknown alloy, wide uncertainty", "unknown alloy: measure a test piece")


def alloy_factor(alloy: str) -> AlloyFamily:
    """Family of an alloy, with its factor on the film.

    It is a family with factor 1 and a wide uncertainty where the name is unknown. `alloy`: such as ``"6061"``,
    ``"AA7075-T6"``, ``"A356"``, ``"cast"``.
    """
    name = str(alloy).strip().lower()
    name = re.sub(r"^(en[ -]?aw[ -]?|aa[ -]?|al[ -]?(?=\d))", "", name).split("-")[0].split()[0:1]
    bare = name[0] if name else ""
    return next((family for family in ALLOYS if re.fullmatch(family.pattern, bare)), _UNKNOWN)


def check_faraday(film_um: float, charge_a_min_per_dm2: float, film_sd_um: float = 0.0):
    """Refuse a film thicker than its charge can make.

    `film_sd_um`: standard uncertainty of the film; three times it is allowed. RecordError if the film lies above
    Faraday's law for a whole-film density of 2.4 g/cm³.
    """
    most = FARADAY_BOUND * charge_a_min_per_dm2
    if film_um - 3 * film_sd_um > most:
        raise RecordError(
            f"a film of {film_um:.3g} µm is unphysical: {charge_a_min_per_dm2:.3g} A·min/dm² can make at most "
            f"{most:.3g} µm (Faraday's law); check area, current, time and the gauge"
        )
