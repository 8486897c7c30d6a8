"""What each way of going wrong does to the colour that a learned bath should give.

Every change is simulated on the bath itself: a colder dip is a colder dip of this bath, dirt is another spectrum in
this film, bloom a white veil over it. How likely the reading is after each change is then read off many such dips,
whose strengths are drawn from broad ranges and whose bath is drawn from what the records leave open; a colour beyond
all of them is most likely another dye.
"""

from dataclasses import dataclass

import numpy as np

from dyebook.model.forward import colours_with_slopes, film_of, prior_spectrum
from dyebook.model.inputs import PH_UNKNOWN_SD, SETTINGS, read_settings
from dyebook.model.predict import BathModel
from dyebook.physics.optics import BANDS_NM, reflectance_to_lab

__all__ = ["CHANGES", "Change", "change_likelihoods", "simulate_changes"]

# what the notebook says of a dip and what was so: film by a gauge or as planned, strength, dwell as shares;
# temperature, time and pH as a small shop's instruments read (domain practice, no source); a pH that was not noted is
# as unsure as in learning
_FILM_GAUGE_SD, _FILM_PLAN_SD, _DYE_SD, _DWELL_SD = 0.05, 0.07, 0.05, 0.03
_TEMP_SD_C, _DWELL_SD_MIN, _PH_SD = 0.9, 0.06, 0.12
# beyond all that, two dips of one recipe differ by about this much on each axis
_REPEAT_SD = 0.6
_SOME, _MANY_TIMES = 250, 4
# one reading in ten is further off than its doubt says
_WIDE_SHARE, _WIDE = 0.1, 2.5
# how often a colour lies anywhere at all after a change, which no simulation foresees: hardly ever with nothing wrong,
# most often with another dye; judged, no source
_STRAY_DENSITY, _STRAY_SHARE = 1e-6, 0.03
_STRAY_SHARES = {"as set": 0.005, "foreign dye": 0.1, "another dye": 0.4}


@dataclass(frozen=True)
class Change:
    """One change."""

    moves: dict  # setting -> (low, high) of a factor on it, drawn evenly; for bath_temp_c and ph of a step
    # callable or None: takes (rng, absorbance (n, 31), reflect) and returns the reflectance (n, 31) of the changed film
    film: object = None
    blur: float = 0.7  # added to the doubt of the reading where the simulated colours lie far apart, CIELAB units


def _less(low, high):
    return lambda rng, a, reflect: reflect(a * rng.uniform(low, high, (len(a), 1)))


def _shifted(rng, a, reflect):
    """Spectrum moved along the wavelengths, as pH and age do to some dyes."""
    step = rng.uniform(2, 15, len(a)) * rng.choice([-1, 1], len(a))
    moved = np.array([np.interp(BANDS_NM - by, BANDS_NM, row) for by, row in zip(step, a, strict=True)])
    return reflect(moved * rng.uniform(0.55, 1.15, (len(a), 1)))


def _random_dyes(rng, count):
    shapes = np.exp(prior_spectrum(rng.standard_normal((count, 14))))
    return shapes / shapes.max(axis=1, keepdims=True)


def _foreign(rng, a, reflect):
    share = np.exp(rng.uniform(np.log(0.03), np.log(0.45), (len(a), 1)))
    peak = a.max(axis=1, keepdims=True)
    return reflect(a * rng.uniform(0.7, 1.05, (len(a), 1)) + share * peak * _random_dyes(rng, len(a)))


def _other(rng, a, reflect):
    peak = a.max(axis=1, keepdims=True) * np.exp(rng.normal(0, 0.7, (len(a), 1)))
    return reflect(peak * _random_dyes(rng, len(a)))


def _greyed(rng, a, reflect):
    """A darker metal: a part of its light is lost, whatever the wavelength."""
    return reflect(a - 0.5 * np.log10(1 - rng.uniform(0.05, 0.6, (len(a), 1))))


def _tinted(rng, a, reflect):
    """Another metal under a film that takes more or less dye."""
    tint = rng.normal(0, 0.12, (len(a), 1)) * (BANDS_NM - 560) / 180
    level = 1 - np.abs(rng.normal(0, 0.12, (len(a), 1)))
    metal = np.clip(level * (1 + tint), 0.1, 1.3)
    return reflect(a * rng.uniform(0.75, 1.1, (len(a), 1)) - 0.5 * np.log10(metal))


def _veiled(rng, a, reflect):
    veil = np.exp(rng.uniform(np.log(0.006), np.log(0.14), (len(a), 1)))
    return (1 - veil) * reflect(a) + 0.9 * veil


def _bare(rng, a, reflect):
    bare = rng.uniform(0.005, 0.12, (len(a), 1))
    return (1 - bare) * reflect(a) + bare * reflect(np.zeros_like(a))


CHANGES = {
    "as set": Change({}),
    "thinner film": Change({"film_um": (0.25, 0.92)}),
    "weaker bath": Change({"dye_g_per_l": (0.08, 0.9)}),
    "colder bath": Change({"bath_temp_c": (-30.0, -3.0)}),
    "shorter dip": Change({"dwell_min": (0.08, 0.9)}),
    "less taken up": Change({}, _less(0.1, 0.92)),
    "a little bled": Change({}, _less(0.4, 0.95)),
    "more dye": Change({"dwell_min": (1.2, 5.0), "dye_g_per_l": (1.0, 2.5)}),
    "pH moved": Change({"ph": (-2.4, 2.4)}),
    "hue shifted": Change({}, _shifted, 0.85),
    "foreign dye": Change({}, _foreign, 1.5),
    "another dye": Change({}, _other, 3.6),
    "greyed": Change({}, _greyed),
    "other metal": Change({}, _tinted, 0.9),
    "veiled": Change({}, _veiled),
    "bare in places": Change({}, _bare),
}


def simulate_changes(model: BathModel, record: dict, seed: int = 0, noted_ph: float | None = None):
    """Return colours (n, 3) that each change would give, by its name.

    `record`: settings as noted; a film measured by gauge is taken instead of the planned one, and is then no change any
    more. `noted_ph`: where it is known to which pH the bath had moved from the record's.
    """
    rng = np.random.default_rng(seed)
    moved = [name for name, change in CHANGES.items() if change.moves]
    starts = dict(zip(moved, range(_SOME, _SOME * (len(moved) + 1), _SOME), strict=True))
    settings = _scattered(model, record, _SOME * (len(moved) + 1), rng)
    places = {name: np.arange(_SOME) + starts.get(name, 0) for name in CHANGES}
    gauged = _is_known(record, "film_measured_um")
    for name in moved:
        _move(settings, places[name], CHANGES[name].moves, rng, gauged)
    if noted_ph is not None:
        settings["ph"][places["pH moved"]] = noted_ph + rng.normal(0, _PH_SD, _SOME)
    absorbance, reflect, drawn = _dip(model, settings, rng)
    plain = reflectance_to_lab(reflect(absorbance, slice(None)))
    out = {}
    for name, change in CHANGES.items():
        # a changed film starts from dips as set, several from each where its simulated colours lie far apart
        rows = np.tile(places[name], _MANY_TIMES if change.blur > 1 else 1)
        lab = drawn[rows]
        if change.film is not None:
            changed = change.film(rng, absorbance[rows], lambda a, rows=rows: reflect(a, rows))
            lab = lab + reflectance_to_lab(changed) - plain[rows]
        out[name] = lab + rng.normal(0, _REPEAT_SD, lab.shape)
    return out


def change_likelihoods(simulated: dict, lab, error):
    """Return how likely a reading is after each change, per cubed CIELAB unit, in the order of `CHANGES`.

    `simulated`: from `simulate_changes`. `lab` (3,), `error` (3, 3): the reading and the covariance of its error.
    """
    blurs = (np.eye(3) * change.blur**2 for change in CHANGES.values())
    found = [_density(lab - simulated[name], error + blur) for name, blur in zip(CHANGES, blurs, strict=True)]
    stray = np.array([_STRAY_SHARES.get(name, _STRAY_SHARE) for name in CHANGES])
    return (1 - stray) * np.array(found) + stray * _STRAY_DENSITY


def _density(away, cov):
    root = np.linalg.cholesky(cov)
    square = np.sum(np.linalg.solve(root, away.T) ** 2, axis=0)
    near = np.exp(-0.5 * square)
    far = np.exp(-0.5 * square / _WIDE**2) / _WIDE**3
    size = (2 * np.pi) ** 1.5 * np.prod(np.diag(root))
    return float(np.mean((1 - _WIDE_SHARE) * near + _WIDE_SHARE * far) / size)


def _is_known(record, name):
    value = record.get(name)
    return value is not None and value == value


def _scattered(model, record, count, rng):
    """Settings as they may truly have been: dict of arrays (count,)."""
    import pandas as pd

    around = {key: record[key] for key in ("alloy", "finish", "sealed", "wet", "electrolyte_temp_c")
              if record.get(key) is not None}  # fmt: skip
    row = pd.DataFrame([around | {key: record.get(key, np.nan) for key in SETTINGS}])
    usual = read_settings(row, model.usual, model.training.circumstances)
    base = {name: np.repeat(getattr(usual, name), count) for name in SETTINGS}
    gauged = _is_known(record, "film_measured_um")
    if gauged:
        base["film_um"][:] = record["film_measured_um"]
    base["film_um"] *= np.exp(rng.normal(0, _FILM_GAUGE_SD if gauged else _FILM_PLAN_SD, count))
    base["dye_g_per_l"] *= np.exp(rng.normal(0, _DYE_SD, count))
    base["bath_temp_c"] += rng.normal(0, _TEMP_SD_C, count)
    base["dwell_min"] *= np.exp(rng.normal(0, _DWELL_SD, count))
    base["dwell_min"] += rng.normal(0, np.minimum(_DWELL_SD_MIN, 0.3 * base["dwell_min"]), count)
    base["ph"] += rng.normal(0, _PH_SD if _is_known(record, "ph") else PH_UNKNOWN_SD, count)
    return base | {"around": usual.around.repeat(count, axis=0), "hue": usual.hue.repeat(count, axis=0)}


def _move(settings, rows, moves, rng, gauged):
    for name, (low, high) in moves.items():
        drawn = rng.uniform(low, high, rows.size)
        if name in ("bath_temp_c", "ph"):
            settings[name][rows] += drawn
        elif not (name == "film_um" and gauged):
            settings[name][rows] *= drawn


def _dip(model, settings, rng):
    """Absorbance (n, 31) of the likeliest films, how they reflect, and colours (n, 3) of baths drawn at random."""
    from dyebook.model.forward import Film
    from dyebook.model.inputs import Settings

    settings = settings | {
        "dye_g_per_l": np.maximum(settings["dye_g_per_l"], 0.005),
        "bath_temp_c": np.clip(settings["bath_temp_c"], 1, 99),
        "dwell_min": np.maximum(settings["dwell_min"], 0.02),
    }
    shape = model.shape_of(Settings(**settings))
    count = len(settings["ph"])
    weights = np.array([len(part.departures) for part in model.draws], float)
    which = rng.choice(len(model.draws), count, p=weights / weights.sum())
    absorbance, surface = np.empty((count, BANDS_NM.size)), np.empty((count, 5))
    drawn = np.empty((count, 3))
    for k, part in enumerate(model.draws):
        rows = np.flatnonzero(which == k)
        if not rows.size:
            continue
        lab, slopes, by_load, _ = colours_with_slopes(part.mode, shape[rows], part.hyper)
        lab = lab + by_load * rng.normal(0, part.hyper.load_noise, (rows.size, 1))
        away = part.departures[rng.integers(len(part.departures), size=rows.size)]
        drawn[rows] = lab + np.einsum("nip,np->ni", slopes, away)
        absorbance[rows] = film_of(part.mode, shape[rows], part.hyper).absorbance
        surface[rows] = part.mode[shape.layout.surface]
    drawn[:, 0] = np.clip(drawn[:, 0], 0, 100)

    def reflect(a, rows):
        return Film(surface[rows], a[:, None, :]).reflectance[:, 0]

    return absorbance, reflect, drawn
