"""Simulated dye baths whose laws are not the model's: spectra at 5 nm, other isotherms, kinetics, surfaces and errors.

A world draws baths; a bath gives the true colour of any dip, habitual records with honest and dishonest errors, and
targets that it can reach. Nothing here is imported from dyebook except the contract's column names.
"""

from dataclasses import dataclass, field
from functools import cache

import numpy as np
import pandas as pd

NM = np.arange(380.0, 751.0, 5.0)
GAS = 8.314
BOUNDS = {"film_um": (5.0, 22.0), "dye_g_per_l": (0.3, 10.0), "bath_temp_c": (20.0, 65.0), "dwell_min": (0.5, 20.0)}


@cache
def _cie():
    """D65 weights for X/Xn, Y/Yn, Z/Zn: Wyman, Sloan & Shirley 2013 lobes times colour-science's D65."""
    import colour

    d65 = colour.SDS_ILLUMINANTS["D65"]
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    power = np.interp(NM, d65.wavelengths, d65.values)
    curves = np.stack([np.interp(NM, cmfs.wavelengths, column) for column in cmfs.values.T])
    weights = curves * power
    return weights.T / weights.sum(axis=1)


def to_lab(reflectance):
    """CIELAB of spectra (..., 75)."""
    ratio = np.maximum(reflectance @ _cie(), 1e-6)
    f = np.where(ratio > 0.008856, np.cbrt(ratio), 7.787 * ratio + 16 / 116)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)


def random_dye(rng, bands):
    """Absorbance of a unit load: skewed bands over a tail."""
    spectrum = np.zeros(NM.size)
    main = rng.uniform(420, 650)
    for i in range(bands):
        centre = main if i == 0 else rng.uniform(410, 660)
        width = rng.uniform(24, 55)
        skew = rng.uniform(0.7, 1.5)
        side = np.where(centre > NM, width * skew, width / skew)
        spectrum += (1.0 if i == 0 else rng.uniform(0.15, 0.8)) * np.exp(
            -0.5 * np.abs((NM - centre) / side) ** rng.uniform(1.8, 2.2)
        )
    shoulder = rng.uniform(0, 0.4)
    spectrum += shoulder * np.exp(-0.5 * ((NM - main + rng.uniform(35, 60)) / 28) ** 2)
    return spectrum / spectrum.max() + rng.uniform(0.003, 0.03) * (550 / NM) ** rng.uniform(0, 4)


@dataclass
class Surface:
    """What lies over and under the dye."""

    metal: np.ndarray
    front: float
    inner: float
    veil: float
    spread: float

    def reflect(self, absorbance):
        """Light out for single-pass absorbance: paths are averaged over directions inside the film."""
        total = 0.0
        nodes, weights = np.polynomial.legendre.leggauss(5)
        for node, weight in zip(nodes, weights, strict=True):
            path = 1 + self.spread * (node + 1)
            bare = self.metal * 10 ** (-2 * absorbance * path)
            total = total + weight / 2 * (1 - self.front) * (1 - self.inner) * bare / (1 - self.inner * bare)
        return self.front * 0.6 + self.veil + total


def random_surface(rng, odd=False):
    """Bright sheet, or (odd) matte, grey, tinted metal."""
    base = 0.87 - 0.035 * (NM - 400) / 300
    if not odd:
        return Surface(base * rng.uniform(0.9, 1.0), 0.056, 0.06, rng.uniform(0, 0.02), rng.uniform(0, 0.05))
    tint = 1 + rng.uniform(-0.12, 0.12) * (NM - 550) / 150
    level = rng.uniform(0.5, 0.85)
    return Surface(
        np.clip(base * level * tint, 0.1, 0.95),
        rng.uniform(0, 0.07),
        rng.uniform(0.2, 0.6),
        rng.uniform(0.01, 0.06),
        rng.uniform(0.1, 0.5),
    )


def _arrhenius(temp, energy):
    return np.exp(-energy * 1e3 / GAS * (1 / (temp + 273.15) - 1 / 313.15))


def uptake_freundlich_second_order(film, dye, temp, dwell, rng):
    """Freundlich plateau with a warm-bath gain, second-order kinetics whose rate grows with what is still missing."""
    n, energy, k = rng["n"], rng["energy"], rng["k"]
    end = film**0.9 * dye**n * np.exp(0.006 * (temp - 40))
    rate = k * _arrhenius(temp, energy) * (end / (12**0.9 * 2**n)) ** 0.5
    return end * rate * dwell / (1 + rate * dwell)


def uptake_outer_layer(film, dye, temp, dwell, rng):
    """Dye stays in the outer film: Elovich growth, log(1 + t), nearly blind to thickness; Temkin in strength."""
    rate = rng["k"] * 4 * _arrhenius(temp, rng["energy"])
    return 12 * (film / 12) ** 0.2 * np.log1p(rng["n"] * 8 * dye) / np.log1p(rng["n"] * 16) * np.log1p(rate * dwell) / 2


def uptake_crank_langmuir(film, dye, temp, dwell, rng):
    """The textbook: Langmuir times Fickian diffusion."""
    diffusion = rng["k"] * 30 * _arrhenius(temp, rng["energy"])
    x = diffusion * dwell / film**2
    odd = ((2 * np.arange(40) + 1) * np.pi) ** 2
    share = 1 - np.sum(8 / odd * np.exp(-odd * np.asarray(x)[..., None] / 4), axis=-1)
    half = rng["half"] * np.exp(0.01 * (temp - 40))
    return film * dye / (dye + half) * share


def uptake_stretched(film, dye, temp, dwell, rng):
    """Redlich-Peterson isotherm, stretched exponential in time, a boundary layer that slows weak baths."""
    theta = dye / (rng["half"] + dye ** (0.6 + 0.4 * rng["n"]))
    rate = rng["k"] * _arrhenius(temp, rng["energy"]) * (dye / 2) ** 0.25 * (12 / film) ** 0.8
    return film * theta * -np.expm1(-((rate * dwell) ** (0.55 + 0.4 * rng["n"])))


def uptake_moving_front(film, dye, temp, dwell, rng):
    """A sharp front eats into the film by a square-root law and stops at the metal; pores close slowly when hot."""
    speed = np.sqrt(2 * rng["k"] * 40 * _arrhenius(temp, rng["energy"]) * dye ** (0.3 + 0.6 * rng["n"]) / 2)
    closing = np.log1p(np.exp((temp - 62) / 3)) * 0.02
    eff = -np.expm1(-closing * dwell) / closing
    depth = speed * np.sqrt(eff)
    return film * (1 - np.exp(-((depth / film) ** 4))) ** 0.25 * (dye / (dye + 0.3)) ** 0.3


UPTAKES = {
    "freundlich": uptake_freundlich_second_order,
    "outer": uptake_outer_layer,
    "textbook": uptake_crank_langmuir,
    "stretched": uptake_stretched,
    "front": uptake_moving_front,
}


@dataclass
class World:
    """How baths of one kind are drawn.

    `film_error` is the relative error of the recorded film, `reading` the standard error of a reading in Lab,
    `spoiled` the share of spoiled batches, `bunching` how much the spectrum broadens with load.
    """

    name: str
    uptake: str
    dyes: int = 1
    odd_surface: bool = False
    film_error: float = 0.04
    reading: float = 0.5
    spoiled: float = 0.0
    bunching: float = 0.0
    ph_known: bool = True
    knobs: dict = field(default_factory=dict)

    def bath(self, seed):
        """A bath drawn with `seed`."""
        rng = np.random.default_rng([seed, sum(map(ord, self.name))])
        return Bath(self, rng)


class Bath:
    """One bath with its true laws."""

    def __init__(self, world, rng):
        self.world, self.rng = world, rng
        self.surface = random_surface(rng, world.odd_surface)
        self.dyes = []
        for i in range(world.dyes):
            laws = {
                "n": rng.uniform(0.25, 0.75),
                "energy": rng.uniform(20, 50),
                "k": np.exp(rng.uniform(np.log(0.03), np.log(0.4))),
                "half": np.exp(rng.uniform(np.log(0.4), np.log(5))),
                "ph": rng.uniform(5.0, 6.2),
                "ph_width": rng.uniform(0.9, 2.5),
            }
            strength = np.exp(rng.uniform(np.log(0.04), np.log(0.25))) * (1 if i == 0 else rng.uniform(0.4, 1))
            self.dyes.append((random_dye(rng, int(rng.integers(1, 4))), laws, strength))
        self.habit = {"bath_temp_c": rng.uniform(30, 58), "film": rng.choice([8.0, 10.0, 12.0, 15.0, 18.0])}

    def truth(self, frame):
        """True Lab (n, 3) of settings given exactly."""
        film, dye, temp, dwell, ph = (
            frame[n].to_numpy(float) for n in ("film_um", "dye_g_per_l", "bath_temp_c", "dwell_min", "ph")
        )
        absorbance = np.zeros((len(frame), NM.size))
        for spectrum, laws, strength in self.dyes:
            load = strength * UPTAKES[self.world.uptake](film, dye, temp, dwell, laws)
            load = load * np.exp(-0.5 * ((ph - laws["ph"]) / laws["ph_width"]) ** 2)
            absorbance = absorbance + load[:, None] * self.bunched(spectrum, load[:, None])
        return to_lab(self.surface.reflect(absorbance))

    def bunched(self, spectrum, load):
        """The spectrum of a dye whose molecules bunch as the load grows; broadcasts."""
        share = self.world.bunching * load / (1 + load)
        return (1 - share) * spectrum + share * np.interp(NM + 25, NM, spectrum)

    def records(self, count, rng):
        """Habitual records: one temperature give or take 4 degrees, a few strengths, films and dwells as they come."""
        strengths = np.exp(rng.uniform(np.log(0.5), np.log(6), size=2 if count < 10 else 3))
        true = pd.DataFrame(
            {
                "film_um": self.habit["film"] * np.exp(rng.normal(0, 0.15, count)),
                "dye_g_per_l": rng.choice(strengths, count),
                "bath_temp_c": self.habit["bath_temp_c"] + rng.uniform(-4, 4, count),
                "dwell_min": np.exp(rng.uniform(np.log(0.7), np.log(15), count)),
                "ph": rng.normal(5.5, 0.2, count),
            }
        )
        return self.noted(true, rng)

    def noted(self, true, rng):
        """What the notebook says of dips really made with `true` settings."""
        count, world = len(true), self.world
        lab = self.truth(true)
        spoiled = rng.random(count) < world.spoiled
        lab = lab + spoiled[:, None] * rng.normal(0, [10, 7, 7], (count, 3)) + rng.normal(0, world.reading, (count, 3))
        noted = true.copy()
        noted["film_um"] = true["film_um"] * np.exp(rng.normal(0, world.film_error, count))
        noted["bath_temp_c"] = true["bath_temp_c"] + rng.normal(0, 0.7, count)
        noted["dwell_min"] = np.maximum(true["dwell_min"] + rng.normal(0, 0.05, count), 0.1)
        noted["ph"] = true["ph"] + rng.normal(0, 0.1, count) if world.ph_known else np.nan
        return noted.assign(L=np.clip(lab[:, 0], 0, 100), a=lab[:, 1], b=lab[:, 2])

    def target(self, rng):
        """A shade that the bath reaches on its usual film, at some setting that need not be habitual."""
        settings = pd.DataFrame(
            {
                "film_um": [self.habit["film"]],
                "dye_g_per_l": [np.exp(rng.uniform(np.log(0.5), np.log(6)))],
                "bath_temp_c": [np.clip(self.habit["bath_temp_c"] + rng.uniform(-12, 8), 20, 63)],
                "dwell_min": [np.exp(rng.uniform(np.log(1), np.log(14)))],
                "ph": [5.5],
            }
        )
        return self.truth(settings)[0]


TUNING = (
    World("textbook", "textbook"),
    World("other isotherm", "freundlich"),
    World("outer layer", "outer", reading=0.4),
    World("blend, noisy, spoiled", "freundlich", dyes=2, reading=1.0, spoiled=0.1),
    World("film from charge", "stretched", film_error=0.12, ph_known=False),
    World("matte grey", "stretched", odd_surface=True, reading=0.6),
)
HELD_OUT = (
    World("moving front", "front", reading=0.6),
    World("bunching dye, odd metal", "textbook", odd_surface=True, bunching=0.5, reading=0.5),
    World("blend of layers", "outer", dyes=2, reading=0.7, spoiled=0.08, film_error=0.08),
    World("front, spoiled, from charge", "front", odd_surface=True, film_error=0.12, reading=0.8, spoiled=0.1),
)
