"""Shops whose closed loop goes through rendered photographs: what they dye, and the photographs of it with their truth.

A shop is one set-up of `tests.render` (camera, light, bench, finish) and one bath of `tests.bench.baths`: its law of
uptake, with the dyes of `tests.render.spectra`, so that the film that a dip makes is a film of the scene and its true
Lab is the scene's. Twelve photographs a shop: six dips, a stepped strip of five bands, a customer's sample, and parts
whose true difference to the sample is spread over 0.5 to 8, four of the sample's shape in each of two photographs and
three of another shape in each of two more. `tests.bench.loop` makes, reads and scores them.
"""

import json
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import cached_property, partial
from multiprocessing import get_context

import cv2
import numpy as np
import pandas as pd

from dyebook.errors import DyebookError
from dyebook.lab import delta_e_00
from dyebook.photo.card.card import fill_polygon
from dyebook.photo.measure import look_at
from dyebook.record import ReadOptions
from tests.bench import baths
from tests.bench.scenes import WORLDS
from tests.render import draw, make_scenes
from tests.render.plan import card_things
from tests.render.scene import FINISHES, Film, Thing, shaped
from tests.render.shapes import mesh_of
from tests.render.spectra import DYES, film_readings

__all__ = ["BANDS_MIN", "LAB", "SLIPS", "PhotographedShop", "SceneShop", "Shop", "make_photographs"]

# how a shop meets its settings: standard deviations of min, °C, relative strength and pH
SLIPS = {"dwell_min": 0.05, "bath_temp_c": 0.7, "dye_g_per_l": 0.02, "ph": 0.05}
BANDS_MIN = (12.0, 6.0, 3.0, 1.5, 0.75)
DIPS, LAWS = 6, baths.TUNING + baths.HELD_OUT
# set-ups of shops are none of those that anything was fitted on
_FIRST_SETUP = 600
_USUAL_MIN = 4.0
LAB = ["L", "a", "b"]
# overlap over union from which a reading is that of a part
_FOUND = 0.6
_BAND = shaped("plate", half_x=14.0, half_y=8.0, corner=1.0, thickness=1.0)


class Shop:
    """A bath, and a person who meets settings as well as people do."""

    def __init__(self, world, bath, rng):
        self.world, self.bath, self.rng = world, bath, rng
        self.dip = {
            "film_um": float(bath.habit["film"]),
            "dye_g_per_l": float(np.exp(rng.uniform(np.log(0.8), np.log(5)))),
            "bath_temp_c": float(bath.habit["bath_temp_c"]),
            "ph": 5.5,
        }

    def plan(self, dwells):
        """Dips as they are meant."""
        return pd.DataFrame([{**self.dip, "dwell_min": float(dwell)} for dwell in dwells])

    def slipped(self, meant, strip=False):
        """What the shop does for it; a strip is slipped once."""
        count = 1 if strip else len(meant)
        normal = {name: self.rng.normal(0, sd, count) for name, sd in SLIPS.items() if name != "dwell_min"}
        return meant.assign(
            film_um=meant["film_um"] * np.exp(self.rng.normal(0, self.world.film_error, count)),
            dye_g_per_l=meant["dye_g_per_l"] * (1 + normal["dye_g_per_l"]),
            bath_temp_c=meant["bath_temp_c"] + normal["bath_temp_c"],
            ph=meant["ph"] + normal["ph"],
            dwell_min=np.maximum(meant["dwell_min"] + self.rng.normal(0, SLIPS["dwell_min"], len(meant)), 0.1),
        )

    def noted(self, meant, readings):
        """Records."""
        rows = meant.assign(film_sd_um=meant["film_um"] * self.world.film_error)
        rows = rows if self.world.ph_known else rows.assign(ph=np.nan)
        return pd.concat([rows, pd.DataFrame([_told(reading) for reading in readings])], axis=1)


def _told(reading):
    """What a record says of a reading: the colour, what changes from photo to photo, the total."""
    parts = reading["lab_cov_parts"]
    moving = np.sqrt(np.diag(np.add(parts["photo"], parts["own"])))
    names = dict(zip(LAB, reading["lab"], strict=True)) | {"setup": reading["setup"]["key"]}
    names |= {f"{axis}_sd": sd for axis, sd in zip(LAB, moving, strict=True)}
    return names | {f"{axis}_u": u for axis, u in zip(LAB, reading["lab_u"], strict=True)}


class SceneShop(Shop):
    """A shop of rendered photographs: its dips, meant and as they truly happened, and the scenes."""

    def __init__(self, number):
        world = LAWS[number % len(LAWS)]
        super().__init__(world, world.bath(5000 + number), np.random.default_rng((number, 4711)))
        self.number, self.card_rng = number, np.random.default_rng((number, 4713))
        picked = self.rng.choice(list(DYES), self.world.dyes, replace=False)
        self.bands = [DYES[str(name)] for name in picked]
        finish = FINISHES[str(self.rng.choice(["satin", "blasted", "brushed", "polished"], p=[0.34, 0.26, 0.22, 0.18]))]
        self.finish = replace(finish, index=self.rng.uniform(1.5, 1.65))
        self.base = Film((), 1.0, self.rng.uniform(0.74, 0.93), self.rng.uniform(0.001, 0.01))
        usual = self._loads(self.plan([_USUAL_MIN]))[:, 0].sum()
        self.scale = np.exp(self.rng.uniform(np.log(0.12), np.log(1.1))) / usual
        self.shape, self.other_shape = self._shapes()
        self.meant = self.plan(np.exp(self.rng.uniform(np.log(0.7), np.log(15), DIPS)))
        spoiled = np.where(self.rng.random(DIPS) < self.world.spoiled, self.rng.normal(0, 0.4, DIPS), 0)
        self.dipped = self.films(self.slipped(self.meant), np.exp(spoiled))
        self.bands_of_strip = self.films(self.slipped(self.plan(BANDS_MIN), strip=True))
        self.sample = self.films(self.plan([np.exp(self.rng.uniform(np.log(1), np.log(12)))]))[0]
        self.alike = [self._away(wanted) for wanted in self.rng.permutation(np.linspace(0.5, 8, 8))]
        self.unlike = [self._away(wanted) for wanted in self.rng.permutation(np.linspace(0.5, 8, 6))]

    def _shapes(self):
        u = self.rng.uniform
        caps = (
            shaped("cap", radius=u(9, 14), height=u(6, 13), dome=u(0.2, 1.5), edge=u(0.6, 2)),
            shaped("plate", half_x=u(13, 19), half_y=u(8, 12), corner=u(1, 4), thickness=u(1, 2.5)),
            shaped("ring", outer=u(11, 16), inner=u(6, 8), thickness=u(2, 5), rounding=u(0.1, 1)),
        )
        body = shaped("rod", length=u(40, 62), radius=u(4, 7))
        return caps[int(self.rng.integers(3))], body

    # -- The bath --

    def _loads(self, frame):
        """Load (dyes, n) of dips with exact settings."""
        names = ("film_um", "dye_g_per_l", "bath_temp_c", "dwell_min", "ph")
        film, dye, temp, dwell, ph = (frame[name].to_numpy(float) for name in names)
        return np.array([
            strength * baths.UPTAKES[self.world.uptake](film, dye, temp, dwell, laws)
            * np.exp(-0.5 * ((ph - laws["ph"]) / laws["ph_width"]) ** 2)
            for _, laws, strength in self.bath.dyes
        ])  # fmt: skip

    def films(self, frame, spoiled=1.0):
        """Films of the scene that dips with exact settings make."""
        loads = self.scale * self._loads(frame) * spoiled
        return [self._film(column) for column in loads.T]

    def _film(self, loads):
        bands = (
            (peak, sigma, float(weight * load))
            for bands, load in zip(self.bands, loads, strict=True)
            for peak, sigma, weight in bands
        )
        return replace(self.base, bands=tuple(bands))

    def lab(self, film):
        """True Lab of a film."""
        return np.array(film_readings(film, self.finish)["lab"])

    def _away(self, wanted):
        """A film `wanted` CIEDE2000 from the sample's: another amount of dye and another mix."""
        way = self.rng.normal(0, 0.5) + self.rng.normal(0, 0.35, len(self.sample.bands))
        low, high, here = 0.0, 12.0, self.lab(self.sample)
        for _ in range(24):
            step = (low + high) / 2
            bands = ((p, s, float(w * np.exp(step * d))) for (p, s, w), d in zip(self.sample.bands, way, strict=True))
            film = replace(self.base, bands=tuple(bands))
            low, high = (step, high) if delta_e_00(here, self.lab(film)) < wanted else (low, step)
        return film

    # -- The photographs --

    @cached_property
    def photographs(self):
        """Films, shape and pattern of each photograph, by its name."""
        told = {f"dip{k + 1}": ([film], self.shape) for k, film in enumerate(self.dipped)}
        told |= {"sample": ([self.sample], self.shape), "strip": (self.bands_of_strip, _BAND)}
        told |= {f"alike{k + 1}": (self.alike[4 * k : 4 * k + 4], self.shape) for k in range(2)}
        return told | {f"unlike{k + 1}": (self.unlike[3 * k : 3 * k + 3], self.other_shape) for k in range(2)}

    def scenes(self, width=1200):
        """Return the scene of each photograph."""
        base = make_scenes(_FIRST_SETUP + self.number, "parts", width, width * 3 // 4)[0]
        half, rim = self.card_rng.uniform((24, 17), (30, 21)), float(self.card_rng.choice([0, 4]))
        base = replace(base, setup=f"h{self.number:03d}", things=card_things(*half, rim_mm=rim))
        return [self._scene(base, index, *told) for index, told in enumerate(self.photographs.items())]

    def _scene(self, base, index, name, told):
        rng = np.random.default_rng((self.number, 4712, index))
        films, shape = told
        parts = [Thing(shape, film, self.finish, role="part", seed=int(rng.integers(2**31))) for film in films]
        balance = tuple(map(float, np.exp(rng.normal(0, 0.06, 2))))
        return replace(
            base,
            name=f"{base.setup}-{name}",
            kind=name.rstrip("0123456789"),
            seed=int(rng.integers(2**31)),
            things=_laid(rng, base.things, parts, base.view),
            develop=replace(base.develop, exposure=rng.uniform(0.62, 0.95), balance=balance),
        )


def _laid(rng, cards, parts, view):
    """Card and parts where there is room, each turned as it comes to lie."""
    half = np.array([0.5, 0.5 * view.height / view.width]) * view.width_mm * 0.93
    for _ in range(400):
        placed, taken = [], []
        for things in (cards, *([part] for part in parts)):
            at = _place(rng, things, half, taken)
            if at is None:
                break
            placed += [replace(thing, **at) for thing in things]
        else:
            return tuple(placed)
    raise ValueError(f"{len(parts)} parts of {parts[0].shape.kind} find no room")


def _place(rng, things, half, taken):
    """A free place for things that lie upon each other, or None; noted in `taken`."""
    size = np.max([mesh_of(thing.shape).size_mm[:2] / 2 for thing in things], axis=0)
    for _ in range(60):
        turn = float(rng.normal(0, 6) if things[0].role == "card" else rng.uniform(0, 360))
        c, s = abs(np.cos(np.radians(turn))), abs(np.sin(np.radians(turn)))
        box = np.array([[c, s], [s, c]]) @ size
        at = rng.uniform(-1, 1, 2) * np.maximum(half - box - 1, 0)
        if all(np.any(np.abs(at - other) > box + reach + 2.5) for other, reach in taken):
            taken.append((at, box))
            return {"x_mm": float(at[0]), "y_mm": float(at[1]), "turn_deg": turn}
    return None


def _draw_shop(number, world, spp, size):
    """Draw what is missing of a shop; return its name."""
    folder = photographs_of(world)
    for spec in SceneShop(number).scenes(size):
        if not (folder / f"{spec.name}.json").exists():
            draw(spec, world, folder, spp)
    return f"h{number:03d}"


def photographs_of(world):
    """The folder of a world's shops."""
    return WORLDS / f"{world}-shops"


def make_photographs(world, shops, jobs=1, spp=160, size=1200):
    """Draw the photographs of shops that are not there yet."""
    photographs_of(world).mkdir(parents=True, exist_ok=True)
    with ProcessPoolExecutor(jobs, get_context("spawn")) as pool:
        for name in pool.map(partial(_draw_shop, world=world, spp=spp, size=size), shops):
            print(name, flush=True)


class PhotographedShop(SceneShop):
    """A shop whose photographs are read, card and parts found by themselves; `tapped` counts those that a hand showed.

    What its next dip reads is its true colour with the whole error, and the error's parts, of that photographed part of
    one shape which is nearest to it in true colour: no photograph of it can have been made beforehand.
    """

    def __init__(self, number, world):
        super().__init__(number)
        self.readings, self.tapped, self.light = {}, 0, ""
        for name, (films, _) in self.photographs.items():
            file = photographs_of(world) / f"h{number:03d}-{name}.json"
            truth = json.loads(file.read_text(encoding="utf-8"))
            apart = [part["lab"] - self.lab(film) for part, film in zip(truth["parts"], films, strict=True)]
            if np.abs(apart).max() > 0.01:
                raise ValueError(f"{file.name} shows other films than this plan; make it anew")
            self.readings[name], tapped = _read(truth, file.with_suffix(".jpg"))
            self.tapped, self.light = self.tapped + tapped, truth["light"]
        self.sample_read = self.readings["sample"][0]
        self.sample_lab = self.lab(self.sample)
        self.rng = np.random.default_rng((number, 4714))

    def records(self, count):
        """Photographed dips; of "coupon" the strip's bands."""
        if count == "coupon":
            return self.noted(self.plan(BANDS_MIN), self.readings["strip"]).assign(coupon="strip")
        return self.noted(self.meant[:count], [self.readings[f"dip{k + 1}"][0] for k in range(count)])

    def make(self, settings):
        """True Lab of one dip made with slips."""
        return self.lab(self.films(self.slipped(pd.DataFrame([settings]).assign(ph=5.5)))[0])

    def read(self, lab):
        """Return what a dip of this true Lab reads."""
        alike = [(part, true) for kind, true, part in self.others() if kind == "one shape"]
        nearest, true = min(alike, key=lambda pair: float(delta_e_00(pair[1], lab)))
        moved = np.clip(np.array(nearest["lab"]) + lab - true, (0, -128, -128), (100, 128, 128))
        return nearest | {"lab": tuple(map(float, moved)), "photo_sha256": "of the next dip"}

    def others(self):
        """Yield kind, true Lab and reading of the parts that are judged."""
        told = (("one shape", "alike", self.alike, 4), ("unlike shapes", "unlike", self.unlike, 3))
        for kind, name, films, size in told:
            for k, film in enumerate(films):
                yield kind, self.lab(film), self.readings[f"{name}{k // size + 1}"][k % size]


def _read(truth, path):
    """The reading of each part of a photograph as a dict, and how many of them had to be shown."""
    card, outlines = {"card_lab": tuple(truth["card"]["lab"])}, [part["outline"] for part in truth["parts"]]
    labels = cv2.imread(str(path.with_suffix(".png")), cv2.IMREAD_UNCHANGED)
    try:
        found = look_at(path, ReadOptions(**card, flaws=False)).measurement.parts
    except DyebookError:
        card["card_at"], found = tuple(map(tuple, truth["card"]["quad"])), ()
    shown = [(fill_polygon(np.array(one.outline), (0, 0, *labels.shape[::-1])), one) for one in found]
    readings = [_of_part(labels == number + 1, shown) for number in range(len(outlines))]
    missing = [k for k, reading in enumerate(readings) if reading is None]
    if missing:
        options = ReadOptions(**card, part_at=[outlines[k] for k in missing], flaws=False)
        for k, reading in zip(missing, look_at(path, options).measurement.parts, strict=True):
            readings[k] = reading.to_dict()
    return readings, len(missing)


def _of_part(mask, shown):
    for area, reading in shown:
        if (area & mask).sum() > _FOUND * (area | mask).sum():
            return reading.to_dict()
    return None
