"""The physics of uptake as one log-linear expression with its slopes, for fitting.

The same laws as `dyebook.physics.uptake`, written in logarithms so that values and slopes cost one pass.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from dyebook.model.parameters import UPTAKE, parameter_values
from dyebook.physics.constants import GAS_J_PER_MOL_K
from dyebook.physics.uptake import ZERO_C_K

__all__ = ["Load", "SettingLogs"]

REFERENCE_FILM_UM = 12.0
REFERENCE_DYE_G_PER_L = 2.0
REFERENCE_TEMP_C = 40.0
_SPREAD = np.array([row.spread for row in UPTAKE])


@dataclass(frozen=True)
class SettingLogs:
    """Settings of n dips as the laws use them: logarithms, and inverse temperature in mol/kJ."""

    film: np.ndarray
    dye: np.ndarray
    cold: np.ndarray
    dwell: np.ndarray
    ph: np.ndarray
    cold_per_degree: np.ndarray

    @classmethod
    def of(cls, settings):
        """Return the logs of `Settings`."""
        kelvin = settings.bath_temp_c + ZERO_C_K
        per = 1e3 / GAS_J_PER_MOL_K
        return cls(
            np.log(settings.film_um / REFERENCE_FILM_UM),
            np.log(settings.dye_g_per_l / REFERENCE_DYE_G_PER_L),
            per / kelvin - per / (REFERENCE_TEMP_C + ZERO_C_K),
            np.log(settings.dwell_min),
            settings.ph,
            -per / kelvin**2,
        )

    def __getitem__(self, rows):
        return SettingLogs(*(value[rows] for value in vars(self).values()))


class Load:
    """Log of dye taken up by n dips, up to a constant, for uptake coordinates z of shape (..., 12).

    Attributes
    ----------
    value : ndarray, shape (..., n)
    """

    def __init__(self, z, logs):
        self.logs = logs
        values = (value[..., None] for value in parameter_values(UPTAKE, z))
        (half, self.exponent, self.time_constant, self.energy, self.capacity_energy, self.order, self.sharpness,
         self.rate_film, self.capacity_film, self.rate_dye, self.best_ph, self.curvature) = values  # fmt: skip
        self.strength = self.exponent * (logs.dye - np.log(half / REFERENCE_DYE_G_PER_L))
        self.log_time = (
            logs.dwell
            - np.log(self.time_constant)
            - self.energy * logs.cold
            - self.rate_film * logs.film
            + self.rate_dye * logs.dye
        )
        self.turn = self.order * self.sharpness * self.log_time
        self.unfilled = np.logaddexp(0, -self.turn)
        self.off_ph = logs.ph - self.best_ph
        self.value = (
            self.capacity_film * logs.film
            - np.logaddexp(0, -self.strength)
            - self.capacity_energy * logs.cold
            - self.unfilled / self.sharpness
            - 0.5 * self.curvature * self.off_ph**2
        )

    @cached_property
    def bare(self):
        """d value / d strength: the share of places still bare."""
        return 1 / (1 + np.exp(np.minimum(self.strength, 50)))

    @cached_property
    def growing(self):
        """d value / d log time."""
        return self.order / (1 + np.exp(np.minimum(self.turn, 50)))

    def by_parameter(self):
        """Return d value / d coordinate, shape (..., n, 12)."""
        logs, growing, bare = self.logs, self.growing, self.bare
        like = np.zeros_like(self.value)
        columns = [
            -bare * self.exponent,
            bare * self.strength,
            -growing,
            -growing * logs.cold,
            like - logs.cold,
            growing * self.log_time,
            self.unfilled / self.sharpness + growing * self.log_time,
            -growing * logs.film,
            like + logs.film,
            growing * logs.dye,
            self.curvature * self.off_ph,
            -0.5 * self.curvature * self.off_ph**2,
        ]
        return np.stack(columns, axis=-1) * _SPREAD

    def by_setting(self):
        """Return d value / d (log film, log dye, temperature in °C, log dwell, pH), shape (..., n, 5)."""
        growing = self.growing
        columns = [
            self.capacity_film - self.rate_film * growing,
            self.bare * self.exponent + self.rate_dye * growing,
            -(self.capacity_energy + self.energy * growing) * self.logs.cold_per_degree,
            growing,
            -self.curvature * self.off_ph,
        ]
        return np.stack(columns, axis=-1)
