"""A second simulator of spoiled batches that shares nothing with `faults` but run logs and the names of causes.

A shop has tanks of its own dyes (bands in wavenumber), its own laws of uptake (two sites, or a front that slows), a
pH that works as a step and not as a bell, and its own finish. It reads colours through the loop's bench, whose errors
have the parts that a photo's reading states (`loop.Bench`), or by an instrument. Nothing is drawn from the table of
causes, nor in its sizes: sound batches have the slips that any shop has, in film, bath, clock, rinse, metal and flaws;
faults are drawn by how far they move the colour; a finder errs often; many notebooks say next to nothing.
"""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from dyebook import delta_e_00
from tests.bench import baths, loop, traces_plain

CAUSES = (
    "sound", "thin_film", "contact_loss", "burn", "pitting", "weak_bath", "cold_bath", "short_dwell", "over_dyed",
    "ph_off", "contaminated_bath", "surface_contamination", "smut", "wrong_dye", "early_seal", "seal_bleed",
    "seal_bloom", "acid_bleed_out", "gas_pocket", "level_line", "alloy_mismatch", "uneven_run",
)  # fmt: skip
KINDS = ("spot", "streak", "pale_zone", "gradient", "pit", "two_tone")
# ΔE00 by which a fault of the whole colour has moved it, when weak and when strong
RANGE = {False: (3.0, 8.0), True: (7.0, 40.0)}
# slips that move a colour by more are a fault, and nobody would call the batch sound
MOST_OF_SLIPS = 4.0
_BY_COLOUR = {"thin_film", "weak_bath", "cold_bath", "short_dwell", "over_dyed", "ph_off", "contaminated_bath", "smut",
              "wrong_dye", "early_seal", "seal_bleed", "seal_bloom", "alloy_mismatch"}  # fmt: skip
_IN_THE_TANK = {"weak_bath", "cold_bath", "over_dyed", "ph_off", "contaminated_bath", "wrong_dye"}
# how a finder may name what a cause leaves, with the chance of each; the first line is the main mark
_MARKS = {
    "contact_loss": [{"pale_zone": 0.6, "gradient": 0.2, "spot": 0.2}],
    "burn": [{"spot": 0.45, "pit": 0.25, "pale_zone": 0.2, "two_tone": 0.1}, {"pit": 0.5, "spot": 0.5}],
    "pitting": [{"pit": 0.85, "spot": 0.15}],
    "surface_contamination": [{"spot": 0.65, "streak": 0.25, "pale_zone": 0.1}],
    "smut": [{"spot": 0.5, "streak": 0.35, "pit": 0.15}],
    "acid_bleed_out": [{"streak": 0.65, "spot": 0.25, "pale_zone": 0.1}, {"spot": 1.0}],
    "gas_pocket": [{"spot": 0.45, "pale_zone": 0.5, "two_tone": 0.05}],
    "level_line": [{"two_tone": 0.8, "gradient": 0.2}],
    "uneven_run": [{"gradient": 0.85, "pale_zone": 0.15}],
    "early_seal": [{"spot": 0.4, "gradient": 0.3, "pale_zone": 0.3}],
}
_OFTEN = {"smut": 0.35, "early_seal": 0.25}
_MANY = {"pitting": (3, 14), "surface_contamination": (1, 6), "smut": (1, 5), "burn": (1, 4)}
_EVERY_PART = {"pitting", "level_line", "smut"}
_PATCHES = {"contact_loss": 1.0, "burn": 2.0, "pitting": 0.7, "surface_contamination": 1.6, "smut": 1.6,
            "early_seal": 0.8, "acid_bleed_out": 1.0, "gas_pocket": 1.0, "level_line": 2.2,
            "uneven_run": 1.6}  # fmt: skip
_RUNS = {"contact_loss": ("contact_lost", "contact_lost", "intermittent_contact", "sound"),
         "burn": ("runaway", "runaway", "runaway", "short", "sound"),
         "thin_film": ("sound", "sound", "sound", "power_break", "supply_limit")}  # fmt: skip
_RATE = 0.31  # µm per A·min/dm², as Spathis' ratio and Faraday give it: not the table's


@dataclass(frozen=True)
class Shop:
    """How shops of one kind are drawn."""

    name: str
    law: str  # {"two_sites", "slowing_front"}
    by_photo: bool
    dyes: int = 1
    matte: bool = False

    def bath(self, seed):
        """A tank drawn with `seed`."""
        return Tank(self, np.random.default_rng([seed, sum(map(ord, self.name)), 77]))


def _spectrum(rng):
    """Absorbance of a unit load: Gaussian bands in wavenumber, which are skewed in wavelength, and a tail."""
    kayser = 1e7 / baths.NM
    main = rng.uniform(15_200, 23_800)
    out = 0.0
    for rank in range(int(rng.integers(1, 4))):
        middle = main if rank == 0 else main + rng.choice([-1, 1]) * rng.uniform(1_200, 4_500)
        out = out + (1.0 if rank == 0 else rng.uniform(0.2, 0.8)) * np.exp(
            -0.5 * ((kayser - middle) / rng.uniform(900, 1_900)) ** 2
        )
    return out / out.max() + rng.uniform(0, 0.04) * (kayser / 2e4) ** 3


def _two_sites(film, dye, temp, dwell, ph, law):
    """Sips isotherm; a fast outer and a slow inner site, both quicker when warm; film to a power."""
    pull = (law["k"] * dye) ** law["m"]
    quick = law["rate"] * law["q10"] ** ((temp - 40) / 10)
    reach = law["share"] * -np.expm1(-3 * quick * dwell) + (1 - law["share"]) * -np.expm1(-0.25 * quick * dwell)
    return (film / 12) ** law["film"] * pull / (1 + pull) * reach * _taken(ph, law)


def _slowing_front(film, dye, temp, dwell, ph, law):
    """A front whose speed falls as a power of time, in a film that it cannot leave; strength counts by its root."""
    quick = law["rate"] * law["q10"] ** ((temp - 40) / 10)
    depth = 12 * quick**0.6 * dwell ** (0.25 + 0.3 * law["m"]) * (dye / 2) ** (0.3 + 0.4 * law["share"])
    return film / 12 * np.tanh(depth / film) * _taken(ph, law)


def _taken(ph, law):
    """An acid dye is taken up less as the film loses its charge, above a pH of its own, and below 4.2."""
    high, low = (1 / (1 + np.exp(side * law["step"] * (ph - at))) for side, at in ((1, law["high"]), (-1, 4.2)))
    return high * low


LAWS = {"two_sites": _two_sites, "slowing_front": _slowing_front}


class Tank:
    """One bath of one shop, what it gives, and how the shop notes it."""

    def __init__(self, world, rng):
        self.world, self.rng = world, rng
        self.dyes = [(_spectrum(rng), rng.uniform(0.35, 1.3) * (1 if i == 0 else 0.6), _law(rng), rng.normal(0, 4))
                     for i in range(world.dyes)]  # fmt: skip
        slope = rng.uniform(-0.08, 0.03) * (baths.NM - 550) / 170
        self.metal = (rng.uniform(0.55, 0.75) if world.matte else rng.uniform(0.78, 0.9)) * (1 + slope)
        self.front, self.back = rng.uniform(0.03, 0.05), rng.uniform(0.05, 0.5) if world.matte else 0.1
        self.usual = {
            "film_um": float(rng.choice([8.0, 10.0, 12.0, 15.0, 20.0])),
            "bath_temp_c": float(rng.uniform(35, 60)),
            "ph": float(rng.uniform(5.0, 6.0)),
            "dye_g_per_l": float(np.exp(rng.uniform(np.log(1), np.log(6)))),
        }
        self.bench = loop.Bench(f"{world.name} bench", rng)

    def colour(self, true):
        """True Lab of what `true` (`Truth`) went through."""
        depth, s = np.zeros(baths.NM.size), true.settings
        for spectrum, strength, law, by_ph in self.dyes:
            load = strength * LAWS[self.world.law](s["film_um"], s["dye_g_per_l"], s["bath_temp_c"], s["dwell_min"],
                                                   s["ph"], law)  # fmt: skip
            moved = np.interp(baths.NM - true.shift_nm - by_ph * (s["ph"] - self.usual["ph"]), baths.NM, spectrum)
            own = true.other if true.other is not None else moved
            depth = depth + load * true.gain * own + (load * true.foreign[0] * true.foreign[1] if true.foreign else 0)
        metal = np.clip(self.metal * true.metal * (1 + true.tint * (baths.NM - 560) / 180), 0.03, 0.97)
        through = metal * 10 ** (-2 * depth)
        light = (1 - self.front) * (1 - self.back) * through / (1 - self.back * through)
        light = (1 - true.bare - true.veil) * light + true.bare * 0.65 + 0.92 * true.veil
        return baths.to_lab(light)

    def read(self, labs, rng, bench=None, shape="cap"):
        """Readings of parts in one photo, or by an instrument, as dicts with their own doubt."""
        if self.world.by_photo:
            return (bench or self.bench).read(labs, shape)
        u = rng.uniform(0.3, 0.9)
        return [{"lab": list(lab + rng.normal(0, u, 3)), "lab_u": [u] * 3} for lab in labs]

    def slipped(self, plan, rng):
        """What truly became of a plan: slips as any shop has them, a few of them large."""
        wide = 1.0 + 1.5 * (rng.random() < 0.1)
        return {
            "film_um": plan["film_um"] * np.exp(rng.normal(-0.02, 0.06 * wide)),
            "dye_g_per_l": plan["dye_g_per_l"] * np.exp(rng.normal(-0.04, 0.06 * wide)),
            "bath_temp_c": plan["bath_temp_c"] + rng.normal(-0.3, 1.0 * wide),
            "dwell_min": max(plan["dwell_min"] * np.exp(rng.normal(0, 0.02)) + rng.normal(0, 0.08 * wide), 0.15),
            "ph": plan["ph"] + rng.normal(0, 0.15 * wide),
        }

    def plan(self, rng):
        """Settings of one ordinary batch, as noted."""
        film, strength = np.exp(rng.normal(0, 0.12)), np.exp(rng.normal(0, 0.25))
        return self.usual | {
            "film_um": float(self.usual["film_um"] * film),
            "dye_g_per_l": float(self.usual["dye_g_per_l"] * strength),
            "bath_temp_c": float(self.usual["bath_temp_c"] + rng.uniform(-4, 4)),
            "dwell_min": float(np.exp(rng.uniform(np.log(1.0), np.log(14)))),
            "ph": float(round(self.usual["ph"] + rng.normal(0, 0.12), 1)),
        }

    def records(self, count, rng):
        """The shop's notebook: ordinary dips, each in a photo of its own or by the instrument."""
        rows = []
        for _ in range(count):
            plan = self.plan(rng)
            true = Truth(self.slipped(plan, rng), metal=float(np.exp(rng.normal(0, 0.015))))
            rows.append(plan | _told(self.read([self.colour(true)], rng)[0]))
        frame = pd.DataFrame(rows)
        return frame.assign(ph=frame["ph"].where(rng.random(count) < 0.6))


def _law(rng):
    return {
        "k": np.exp(rng.uniform(np.log(0.15), np.log(1.5))), "m": rng.uniform(0.5, 1.0), "share": rng.uniform(0.2, 0.7),
        "rate": np.exp(rng.uniform(np.log(0.08), np.log(0.6))), "q10": rng.uniform(1.25, 1.9),
        "film": rng.uniform(0.3, 1.0), "step": rng.uniform(1.0, 3.0), "high": rng.uniform(6.3, 7.6),
    }  # fmt: skip


def _told(reading):
    """What a record says of a reading: the colour, what changes from photo to photo, the total where it has parts."""
    told, parts, u = dict(zip("Lab", reading["lab"], strict=True)), reading.get("lab_cov_parts"), reading["lab_u"]
    if parts:
        told |= {f"{axis}_u": total for axis, total in zip("Lab", u, strict=True)}
        told["setup"], u = reading["setup"]["key"], np.sqrt(np.diag(np.add(parts["photo"], parts["own"])))
    return told | {f"{axis}_sd": float(one) for axis, one in zip("Lab", u, strict=True)}


@dataclass
class Truth:
    """What a batch truly went through."""

    settings: dict
    metal: float = 1.0
    gain: float = 1.0
    shift_nm: float = 0.0
    other: object = None
    foreign: tuple = ()
    tint: float = 0.0
    veil: float = 0.0
    bare: float = 0.0
    rinse_temp_c: float = 18.0
    wait_min: float = 3.0
    sealed: bool = False
    alloy: str = "6061"
    run: str = "sound"
    charge: float = 1.0
    one_pale: bool = False
    graded: bool = False
    noted: dict = field(default_factory=dict)
    # what went wrong, for dips that share it: factors on settings, move of pH, how much colder
    moved: dict = field(default_factory=dict)
    moved_ph: float = 0.0
    colder_c: float = 0.0


def make_case(bath, cause, strong, seed):
    """One spoiled batch in the form of `faults.make_case`."""
    rng = np.random.default_rng([seed, CAUSES.index(cause), int(strong), 23])
    low, high = RANGE[strong]
    for _ in range(200):
        plan = bath.plan(rng)
        true = _ordinary(bath, plan, rng)
        clean = bath.colour(true)
        _spoil(true, cause, rng)
        lab = bath.colour(true)
        if _is_meant(bath, plan, clean, lab, cause, low, high):
            break
    bench = bath.bench
    if rng.random() < 0.15:  # read elsewhere than the bath's dips were
        bench = loop.Bench(f"{bath.world.name} elsewhere", rng)
    photo, reading = _photo(bath, true, cause, lab, clean, strong, bench, rng)
    record = _record(plan, true, cause, reading, rng)
    if "L" in record and cause in _BY_COLOUR | {"sound"} and rng.random() < 0.3:
        photo = None
    case = {"record": record, "measurement": photo, "trace": _trace(plan, true, cause, seed, record)}
    case["before"] = _before(bath, true, cause, np.random.default_rng([seed, CAUSES.index(cause), int(strong), 37]))
    return case | {"cause": cause, "strong": strong, "by_photo": bath.world.by_photo}


def _before(bath, true, cause, rng):
    """What the notebook tells of the bath's dips before, oldest first; in a quarter of all shops nothing.

    Whatever stood in the tank stood there before, since some dip or creeping up to this one; of a fault of hands,
    metal, run, rinse or seal one in eight was met by the dips before too, where the same hands did the same.
    """
    sudden, since, span = rng.random() < 0.5, int(rng.integers(0, 9)), float(np.exp(rng.uniform(-0.5, 2.3)))
    lasting = cause in _IN_THE_TANK or rng.random() < 0.125
    if cause in ("cold_bath", "wrong_dye", "over_dyed"):  # put right, or done, within the day
        sudden, since = True, int(rng.integers(0, 4)) * int(rng.random() < 0.6)
    rows = []
    for ago in range(int(rng.integers(2, 9)) * int(rng.random() < 0.75), 0, -1):
        plan = bath.plan(rng)
        was = Truth(bath.slipped(plan, rng), metal=float(np.exp(rng.normal(0, 0.015))))
        come = float(ago <= since) if sudden else float(np.exp(-ago / span))
        if lasting and come:
            _share_fault(was, true, come)
        if rng.random() < 0.05:
            _spoil(was, str(rng.choice(CAUSES[1:])), rng)
        rows.append(plan | _told(bath.read([bath.colour(was)], rng)[0]))
    return pd.DataFrame(rows)


def _share_fault(was, true, come):
    """Give an earlier dip what ailed the later one, as far as it had come by then."""
    for name, factor in true.moved.items():
        was.settings[name] *= factor**come
    for name in ("gain", "metal"):
        setattr(was, name, getattr(true, name) ** come)
    for name in ("shift_nm", "tint", "veil", "bare"):
        setattr(was, name, getattr(true, name) * come)
    was.settings["ph"] += true.moved_ph * come
    was.settings["bath_temp_c"] -= true.colder_c * come
    was.foreign = (true.foreign[0] * come, true.foreign[1]) if true.foreign else ()
    was.other = true.other if come > 0.5 else None


def _is_meant(bath, plan, clean, lab, cause, low, high):
    """Whether a batch is what it is drawn as: slips alone leave it near its plan, and a fault moves it by so much."""
    if float(delta_e_00(bath.colour(Truth(dict(plan))), clean)) > MOST_OF_SLIPS:
        return False
    moved = float(delta_e_00(clean, lab))
    # a wrong dye is as far off as it happens to be
    return cause not in _BY_COLOUR or low < moved < (100.0 if cause == "wrong_dye" else high)


def _ordinary(bath, plan, rng):
    return Truth(
        bath.slipped(plan, rng),
        metal=float(np.exp(rng.normal(0, 0.015))),
        rinse_temp_c=float(rng.choice([rng.uniform(8, 28), rng.uniform(28, 38)], p=[0.85, 0.15])),
        wait_min=float(np.exp(rng.normal(np.log(4), 0.9))),
        sealed=bool(rng.random() < 0.3),
        alloy=str(rng.choice(["6061", "6082", "5005"], p=[0.8, 0.12, 0.08])),
    )


def _spoil(t, cause, rng):
    """Change what truly happened, by a force over the whole range."""
    force, s = rng.uniform(0.08, 1.0), t.settings
    if cause == "thin_film":
        t.moved = {"film_um": 1 - 0.65 * force}
        t.charge = 1 - 0.65 * force if rng.random() < 0.5 else 1.0
    elif cause == "contact_loss":
        t.moved = {"film_um": 1 - 0.8 * force}
        t.one_pale = bool(rng.random() < 0.55)
    elif cause == "burn":
        t.moved = {"film_um": rng.uniform(0.7, 1.2)}
        t.metal *= 1 - 0.3 * force * rng.random()
    elif cause == "pitting":
        t.bare = 0.06 * force * rng.random()
    elif cause == "weak_bath":
        t.moved = {"dye_g_per_l": 1 - 0.9 * force}
    elif cause == "cold_bath":
        t.colder_c = 4 + 24 * force
        s["bath_temp_c"] -= t.colder_c
        t.noted = {"bath_temp_c": s["bath_temp_c"]} if rng.random() < 0.15 else {}
    elif cause == "short_dwell":
        t.moved = {"dwell_min": 1 - 0.9 * force}
    elif cause == "over_dyed":
        s["dwell_min"] *= 1 + 5 * force * rng.random()
        t.moved = {"dye_g_per_l": 1 + 2 * force * rng.random()}
    elif cause == "ph_off":
        t.moved_ph = rng.choice([-1, 1]) * (0.6 + 2.0 * force)
        s["ph"] += t.moved_ph
        t.noted = {"ph": s["ph"] + rng.normal(0, 0.1)} if rng.random() < 0.5 else {}
    elif cause == "contaminated_bath":
        t.foreign = (rng.uniform(0.03, 0.6), _spectrum(rng))
    elif cause == "surface_contamination":
        t.bare = 0.08 * force * rng.random()
    elif cause == "smut":
        t.metal *= 1 - 0.6 * force
        t.alloy = str(rng.choice([t.alloy, "7075", "2024"], p=[0.5, 0.25, 0.25]))
    elif cause == "wrong_dye":
        t.other = _spectrum(rng) * rng.uniform(0.5, 1.5)
    elif cause == "early_seal":
        t.gain = 1 - 0.9 * force
        hot = rng.random() < 0.6
        t.rinse_temp_c = float(rng.uniform(42, 90)) if hot else t.rinse_temp_c
        t.wait_min = t.wait_min if hot else float(rng.uniform(20, 600))
    elif cause == "seal_bleed":
        t.sealed, t.gain, t.shift_nm = True, 1 - 0.6 * force, rng.normal(0, 4)
    elif cause == "seal_bloom":
        t.sealed, t.veil = True, 0.01 + 0.13 * force
    elif cause == "alloy_mismatch":
        t.moved = {"film_um": rng.uniform(0.7, 1.0)}
        t.tint, t.metal = 0.3 * force * rng.choice([-1, 1]), t.metal * (1 - 0.35 * force * rng.random())
        t.alloy = str(rng.choice([t.alloy, "7075", "2024", "5083"]))
    elif cause == "uneven_run":
        t.graded = True
        t.moved = {"film_um": np.exp(rng.normal(0, 0.12))}
    for name, factor in t.moved.items():
        s[name] *= factor
    if cause in _RUNS:
        t.run = str(rng.choice(_RUNS[cause]))


def _record(plan, true, cause, reading, rng):
    record = dict(plan) | {"sealed": true.sealed, "area_dm2": float(1.5 * np.exp(rng.normal(0, 0.08)))}
    if rng.random() < 0.5:
        record["ph"] = np.nan
    record |= true.noted
    seldom = {
        "film_measured_um": (0.4, true.settings["film_um"] * np.exp(rng.normal(0, 0.06))),
        "rinse_temp_c": (0.45, true.rinse_temp_c + rng.normal(0, 2)),
        "alloy": (0.5, true.alloy),
        "wait_min": (0.35, float(true.wait_min * np.exp(rng.normal(0, 0.3)))),
    }
    record |= {name: value for name, (often, value) in seldom.items() if rng.random() < often}
    if rng.random() < 0.3 and cause not in ("seal_bleed", "seal_bloom"):
        record["sealed"] = None
    # the colour is in the record, with or without its doubt, or in the photo alone
    told = _told(reading)
    way = rng.choice(["with", "without", "photo"], p=[0.45, 0.35, 0.2])
    kept = {name: value for name, value in told.items() if way == "with" or name in tuple("Lab")}
    return record if way == "photo" else record | kept


def _trace(plan, true, cause, seed, record):
    log = traces_plain.make_run(seed + 3 * CAUSES.index(cause), true.run)
    time, current = log["time_min"], log["current_a"]
    sound = true.run in ("sound", "supply_limit")
    level = np.median(current) if sound else np.median(current[(time > 4) & (time < max(6, log["at_min"]))])
    wanted = plan["film_um"] * true.charge * 1.5 / _RATE
    meant = np.trapezoid(current, time) if sound else max(level, 1e-3) * time[-1] * 0.95
    log["current_a"] = current * wanted / meant
    frame = {name: log[name] for name in ("time_min", "current_a", "voltage_v", "electrolyte_temp_c")}
    return pd.DataFrame({name: column for name, column in frame.items() if column is not None})


def _photo(bath, true, cause, lab, clean, strong, bench, rng):
    """The photo's measurement, and the reading of the spoiled part."""
    count = int(rng.choice([1, 2, 3, 5], p=[0.5, 0.15, 0.2, 0.15]))
    spoiled, drawn = int(rng.integers(count)), rng.random() < 0.4
    place = np.linspace(-1, 1, count) if true.graded and count > 1 else rng.normal(0, 0.25, count)
    slope = rng.uniform(2, 9) if true.graded else 1.5 if cause != "alloy_mismatch" else rng.uniform(1.5, 9)
    labs = [(clean if true.one_pale and i != spoiled and count > 1 else lab) + [slope * place[i], 0, 0]
            for i in range(count)]  # fmt: skip
    read = bath.read(labs, rng, bench, "body" if rng.random() < 0.25 else "cap")
    parts = []
    for i, one in enumerate(read):
        hit = i == spoiled or cause in _EVERY_PART
        part = one | {"lab_sd": [1.5] * 3, "flags": [], "box": [100.0 + 260 * i, 50.0, 300.0 + 260 * i, 650.0]}
        part["uniformity"] = float(rng.gamma(4, 0.3) + (_PATCHES.get(cause, 0) * rng.uniform(0.2, 1.6) if hit else 0))
        part["flaws"] = _flaws(cause, strong, part["box"], drawn, rng, i == spoiled) if hit else _false(rng)
        parts.append(part)
    return {"photo": "y.jpg", "size": [1800, 700], "parts": parts, "flags": []}, read[spoiled]


def _false(rng):
    """Flaws that are none: a scratch, dust, a reflection."""
    return [{"kind": str(rng.choice(KINDS)), "delta_e00": float(1 + rng.exponential(1.6)),
             "area_fraction": float(rng.uniform(0.001, 0.05))} for _ in range(rng.poisson(0.2))]  # fmt: skip


def _flaws(cause, strong, box, drawn, rng, leading):
    flaws = _false(rng)
    for rank, names in enumerate(_MARKS.get(cause, ())):
        if rng.random() > _OFTEN.get(cause, 1.0 if rank == 0 and leading else 0.5):
            continue
        low, high = _MANY.get(cause, (1, 2))
        for _ in range(int(rng.integers(low, high + 1))):
            kind = str(rng.choice(list(names), p=list(names.values())))
            size = float(np.exp(rng.normal(np.log(9 if strong else 4.5), 0.35)))
            flaw = {"kind": kind, "delta_e00": size, "area_fraction": _area(kind, rng)}
            flaws.append(flaw | ({"box": _placed(cause, flaw["area_fraction"], box, rng)} if drawn else {}))
    return flaws


def _area(kind, rng):
    middle = {"pit": 0.001, "spot": 0.015, "streak": 0.02, "pale_zone": 0.08, "gradient": 0.6, "two_tone": 0.4}[kind]
    return float(min(1.0, middle * np.exp(rng.normal(0, 0.7))))


def _placed(cause, area, box, rng):
    """A box of that area on the part: at an end for a contact, anywhere for the rest."""
    x0, y0, x1, y1 = box
    wide, high = (x1 - x0) * min(1, np.sqrt(area) * 1.3), (y1 - y0) * min(1, np.sqrt(area) / 1.3)
    x = rng.uniform(x0, x1 - wide)
    y = y0 + 3 if cause == "contact_loss" and rng.random() < 0.8 else rng.uniform(y0, y1 - high)
    return [float(x), float(y), float(x + wide), float(y + high)]


TUNING = (
    Shop("two sites, instrument", "two_sites", by_photo=False),
    Shop("two sites, photo", "two_sites", by_photo=True),
    Shop("blend of two sites, photo", "two_sites", by_photo=True, dyes=2),
)
HELD_OUT = (
    Shop("front, photo", "slowing_front", by_photo=True),
    Shop("matte front, instrument", "slowing_front", by_photo=False, matte=True),
    Shop("blend, front, photo", "slowing_front", by_photo=True, dyes=2),
    Shop("matte front, photo", "slowing_front", by_photo=True, matte=True),
)
