"""Closed loop of shops: photographed dips, a customer's sample, the suggested dip as a shop makes it, and the verdict.

    python -m tests.bench.loop drawn [--shops 500:600] [--dips 6,3,1] [--coupon] [--stated] [--set all]
    python -m tests.bench.loop make [--world physical|simple] [--shops 0:24] [--jobs 1] [--spp 160] [--size 1200]
    python -m tests.bench.loop photographed [--world physical|simple] [--shops 0:24] [--dips 6,3] [--coupon]

A shop photographs some dips of one bath in one set-up, and the bath is learned from those photos. A customer's sample
is photographed apart. The suggested dip, of which only the time is free, is made with a shop's slips (`SLIPS`) and
photographed; it joins the records for a second dip. Every shop then judges parts whose true difference to the sample is
spread over 0 to 8, of the sample's shape and of another one. `--coupon`: one strip of five bands in one photo and
nothing else. `--stated`: the target is the sample's true Lab, as an instrument would give it.

`photographed` reads the photographs that `make` drew (`tests.bench.shops`), card and parts found by themselves. `drawn`
draws readings from the parts of an error (`Bench`), whose sizes stand in `SIZES`; its baths are those of
`tests.bench.baths`. Shares and quantiles carry 90 % intervals; `score` is the mean interval score of the stated
p90 as a one-sided interval, p90 + 10 max(0, true - p90) (Gneiting & Raftery 2007, equation 43), lower is better.
"""

from pathlib import Path

import numpy as np
import pandas as pd
from scipy.stats import beta

from dyebook import delta_e_00, judge, learn_bath
from tests.bench import baths
from tests.bench.command import command_line, numbers
from tests.bench.scenes import first_end
from tests.bench.shops import BANDS_MIN, LAB, PhotographedShop, Shop, make_photographs

# standard deviations of the parts of an error: log light of shape, photo and own pixels; L*, a*, b* of the camera at a
# chroma of 50, of the tint of a shape, of the photo's balance and of a part's pixels
SIZES = {
    "shape_log": 0.06, "photo_log": 0.025, "own_log": 0.012,
    "camera": (1.2, 4.0, 4.0), "shape": (0.4, 0.4, 0.4), "photo": (0.1, 0.35, 0.35), "own": (0.2, 0.25, 0.25),
}  # fmt: skip
TRUE_DIFFERENCES = (0.0, 8.0)
JUDGED = 6
SHAPES = ("cap", "body")
# lights without one direction
CALM = ("tent", "overcast")


def _gain(lab):
    """DLab / d log light."""
    return np.array([(lab[0] + 16) / 3, lab[1] / 3, lab[2] / 3])


class Bench:
    """One set-up: what it does to colours, and readings of it as `judge` takes them."""

    def __init__(self, name, rng):
        self.name, self.rng, self.photos = name, rng, 0
        self.offset, self.slope = rng.standard_normal(3), rng.standard_normal((3, 3))
        self.shapes = {shape: (rng.normal(0, SIZES["shape_log"]), rng.normal(0, SIZES["shape"])) for shape in SHAPES}

    def read(self, labs, shape="cap"):
        """Readings of parts in one photo."""
        self.photos += 1
        log = self.rng.normal(0, SIZES["photo_log"])
        balance = self.rng.normal(0, SIZES["photo"])
        return [self._reading(np.asarray(lab, float), shape, log, balance) for lab in labs]

    def _reading(self, lab, shape, photo_log, balance):
        gain, size = _gain(lab), np.asarray(SIZES["camera"]) * (0.2 + 0.8 * np.hypot(*lab[1:]) / 50)
        # a smooth error of colour: alike at colours near each other
        camera = size * (0.8 * self.offset + 0.6 * self.slope @ ((lab - [50, 0, 0]) / 30) / np.sqrt(3))
        own = self.rng.normal(0, SIZES["own_log"]) * gain + self.rng.normal(0, SIZES["own"])
        shape_log, tint = self.shapes[shape]
        read = lab + camera + (shape_log + photo_log) * gain + tint + balance + own
        outer = np.outer(gain, gain)
        parts = {
            "camera": np.diag(size**2),
            "shape": SIZES["shape_log"] ** 2 * outer + np.diag(np.square(SIZES["shape"])),
            "photo": SIZES["photo_log"] ** 2 * outer + np.diag(np.square(SIZES["photo"])),
            "own": SIZES["own_log"] ** 2 * outer + np.diag(np.square(SIZES["own"])),
        }
        total = np.sqrt(np.diag(sum(parts.values())))
        return {
            "lab": (float(np.clip(read[0], 0, 100)), float(read[1]), float(read[2])),
            "lab_u": total.tolist(),
            "lab_cov_parts": {name: value.tolist() for name, value in parts.items()},
            "setup": {"name": self.name, "key": self.name},
            "photo_sha256": f"{self.name} {self.photos}",
            "shape_key": shape,
            "finish": None,
        }


class DrawnShop(Shop):
    """A shop whose readings are drawn."""

    def __init__(self, world, seed):
        super().__init__(world, world.bath(seed), np.random.default_rng([seed, 2]))
        self.number, self.light, self.tapped = seed, "drawn", 0
        self.bench = Bench(f"{world.name} {seed}", self.rng)
        self.sample_lab = self.bath.truth(self.plan([np.exp(self.rng.uniform(np.log(1), np.log(12)))]))[0]
        self.sample_read = self.bench.read([self.sample_lab])[0]

    def records(self, count):
        """Dips, each in a photo of its own; of "coupon" five bands of one strip in one photo."""
        if count == "coupon":
            meant = self.plan(BANDS_MIN)
            true = self.bath.truth(self.slipped(meant, strip=True))
            return self.noted(meant, self.bench.read(true)).assign(coupon="strip")
        spread = np.exp(self.rng.uniform(np.log(0.7), np.log(15), count))
        meant = self.plan(spread)
        true = self.bath.truth(self.slipped(meant))
        spoiled = self.rng.random(count) < self.world.spoiled
        true = true + spoiled[:, None] * self.rng.normal(0, [10, 7, 7], (count, 3))
        return self.noted(meant, [self.bench.read([lab])[0] for lab in true])

    def make(self, settings):
        """True Lab of one dip made with slips."""
        meant = pd.DataFrame([settings]).assign(ph=5.5)
        return self.bath.truth(self.slipped(meant))[0]

    def read(self, lab):
        """Return what a dip of this true Lab reads, in a photo of its own."""
        return self.bench.read([lab])[0]

    def others(self):
        """Yield kind, true Lab and reading of parts up to 8 ΔE00 from the sample, in a random direction of colour."""
        for kind, shape in (("one shape", "cap"), ("unlike shapes", "body")):
            for wanted in self.rng.uniform(*TRUE_DIFFERENCES, JUDGED):
                lab = _away(self.sample_lab, wanted, self.rng)
                yield kind, lab, self.bench.read([lab], shape)[0]


def shop_rows(shop, dips, stated=False):
    """Figures of one shop: first and second dip, and judged pairs; `dips` may be "coupon"."""
    records, sample, sample_read = shop.records(dips), shop.sample_lab, shop.sample_read
    row = {"world": shop.world.name, "light": shop.light, "shop": shop.number, "dips": dips}
    row["nearest"] = _nearest_miss(shop, records, sample, sample_read)
    pairs = []
    for turn in ("first", "second"):
        best = _suggest(records, shop, tuple(sample) if stated else sample_read)
        true = shop.make(best.settings)
        read = shop.read(true)
        row |= {
            turn: float(delta_e_00(sample, true)),
            f"{turn}_p90": best.delta_e00_p90,
            f"{turn}_said": best.delta_e00,
        }
        pairs.append(_judged(sample, true, sample_read, read, "one shape"))
        records = pd.concat([records, shop.noted(pd.DataFrame([best.settings]), [read])], ignore_index=True)
    return row, pairs


def _suggest(records, shop, target):
    free = {name: shop.dip[name] for name in ("dye_g_per_l", "bath_temp_c")}
    ph = shop.dip["ph"] if shop.world.ph_known else None
    return learn_bath(records).suggest(target, film_um=shop.dip["film_um"], ph=ph, fixed=free, count=1)[0]


def _nearest_miss(shop, records, sample, sample_read):
    """The miss of the kept dip that looks nearest to the sample, made again."""
    near = int(np.argmin(delta_e_00(sample_read["lab"], records[LAB].to_numpy(float))))
    return float(delta_e_00(sample, shop.make(shop.plan([records["dwell_min"].iloc[near]]).iloc[0].to_dict())))


def _judged(sample, true, sample_read, read, kind):
    found, truly = judge(sample_read, read), float(delta_e_00(sample, true))
    error = abs(found.delta_e00 - truly)
    return {"kind": kind, "true": truly, "verdict": found.verdict, "error": error, "u": found.delta_e00_u}


def _away(lab, wanted, rng):
    """A colour `wanted` CIEDE2000 from `lab`."""
    way = rng.standard_normal(3)
    way /= np.linalg.norm(way)
    steps = np.linspace(0, 40, 400)
    found = delta_e_00(lab, lab + steps[:, None] * way)
    return np.clip(lab + np.interp(wanted, found, steps) * way, [1, -128, -128], [99, 128, 128])


def share(hits):
    """A share with its 90 % interval (Clopper-Pearson), as text."""
    hits = np.asarray(hits, bool)
    n, k = len(hits), int(hits.sum())
    if not n:
        return "  -  (none)"
    low = beta.ppf(0.05, k, n - k + 1) if k else 0.0
    high = beta.ppf(0.95, k + 1, n - k) if k < n else 1.0
    return f"{k / n:.2f} ({low:.2f}-{high:.2f}, n={n})"


def quantiles(values, draws=400):
    """Median and p90 with 90 % intervals (bootstrap), as text."""
    values = np.asarray(values, float)
    picks = np.random.default_rng(0).choice(values, (draws, len(values)))
    out = []
    for q in (0.5, 0.9):
        low, high = np.quantile(np.quantile(picks, q, axis=1), (0.05, 0.95))
        out.append(f"{np.quantile(values, q):.2f} ({low:.2f}-{high:.2f})")
    return " / ".join(out)


def print_dips(rows):
    """Print dips and their p90."""
    for dips, part in rows.groupby("dips", sort=False):
        print(f"-- {dips} photographed {'and nothing else' if dips == 'coupon' else 'dips'}, {len(part)} shops")
        for turn in ("first", "second"):
            miss, p90 = part[turn], part[f"{turn}_p90"]
            score = float((p90 + 10 * np.maximum(0, miss - p90)).mean())
            print(
                f"{turn} dip, true ΔE00 median / p90: {quantiles(miss)}; p90 covers {share(miss <= p90)}, "
                f"said {part[f'{turn}_said'].median():.2f} / {p90.median():.2f}, score {score:.2f}"
            )
        print(f"nearest kept dip made again: {quantiles(part['nearest'])}")


def print_verdicts(pairs):
    """Print what the judge says, by shape."""
    for name in ("one shape", "unlike shapes"):
        part = pairs[pairs["kind"] == name]
        true, said = part["true"], part["verdict"]
        print(f"-- {name}, {len(part)} pairs; error of a difference median / p90: {quantiles(part['error'])}")
        print(
            f"said in and right {share(true[said == 'in'] <= 2)}; said out and right {share(true[said == 'out'] > 2)}"
        )
        for low, high, verdict in ((0, 1, "in"), (2, 4, "in"), (4, 99, "out")):
            inside = (true >= low) & (true < high)
            print(f"truly {low} to {high}, said {verdict}: {share(said[inside] == verdict)}")


def shops_of(options, world):
    """Yield the shops asked for: of a dyed world's photographs, or with readings drawn."""
    worlds = {"tuning": baths.TUNING, "held-out": baths.HELD_OUT, "all": baths.TUNING + baths.HELD_OUT}[options.set]
    for number in options.shops:
        yield DrawnShop(worlds[number % len(worlds)], number) if world is None else PhotographedShop(number, world)


def score(options, world=None):
    """Run the shops and print the tables."""
    counts = [*numbers(options.dips), *(["coupon"] if options.coupon else [])]
    rows, pairs, tapped = [], [], 0
    for shop in shops_of(options, world):
        tapped += shop.tapped
        for count in counts:
            row, judged = shop_rows(shop, count, options.stated)
            rows.append(row)
            pairs += [pair | {"light": shop.light} for pair in judged]
        others = [(shop.sample_lab, true, shop.sample_read, read, kind) for kind, true, read in shop.others()]
        pairs += [_judged(*pair) | {"light": shop.light} for pair in others]
    rows, pairs = pd.DataFrame(rows), pd.DataFrame(pairs)
    print(f"{tapped} parts had to be shown")
    print_dips(rows)
    print_verdicts(pairs)
    calm = pairs["light"].isin(CALM)
    for name, some in (("-- tent and overcast", pairs[calm]), ("-- other lights", pairs[~calm])):
        if world is not None and len(some):
            print(name)
            print_verdicts(some)
    print(rows.pivot_table(index="world", columns="dips", values="first", aggfunc="median").round(2).to_string())
    if options.rows:
        rows.to_csv(options.rows, index=False)
        pairs.to_csv(Path(options.rows).with_suffix(".pairs.csv"), index=False)


def main():
    """Make photographs, or run the shops and print the tables."""
    parser = command_line(__doc__)
    parser.add_argument("what", choices=["drawn", "make", "photographed"])
    parser.add_argument("--shops", type=first_end, default=range(24), help="first:end")
    parser.add_argument("--dips", default="6,3")
    parser.add_argument("--coupon", action="store_true")
    parser.add_argument("--stated", action="store_true")
    parser.add_argument("--set", default="all", choices=["tuning", "held-out", "all"])
    parser.add_argument("--rows", help="write the figures of every shop to this CSV file, of pairs beside it")
    parser.add_argument("--world", choices=["physical", "simple"], default="physical")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--spp", type=int, default=160, help="paths a pixel")
    parser.add_argument("--size", type=int, default=1200, help="width in pixels")
    options = parser.parse_args()
    if options.what == "make":
        make_photographs(options.world, options.shops, options.jobs, options.spp, options.size)
    else:
        score(options, None if options.what == "drawn" else options.world)


if __name__ == "__main__":
    main()
