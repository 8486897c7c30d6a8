"""Closed loop: habitual records, a target, a suggestion, and the true colour of the dip as a shop makes it.

    python -m tests.bench.suggest [--set tuning|held-out|all] [--seeds 8] [--first-seed 1000] [--counts 3,6,24]

`--perfect` makes dips without slips. Peers get the same records and the same grid of settings: the nearest past batch,
ridge regressions (linear and quadratic) and scikit-learn's Gaussian process, all from settings to Lab.
"""

import time
import warnings

import numpy as np
import pandas as pd
from scipy.stats import qmc

from dyebook import delta_e_00, learn_bath
from tests.bench import baths
from tests.bench.command import command_line, numbers

COLUMNS = ["film_um", "dye_g_per_l", "bath_temp_c", "dwell_min", "ph"]
LAB = ["L", "a", "b"]


def features(frame):
    """What a careful person would regress on."""
    ph = frame["ph"].to_numpy(float)
    return np.column_stack(
        [
            np.log(frame["film_um"]),
            np.log(frame["dye_g_per_l"]),
            1000 / (frame["bath_temp_c"] + 273.15),
            np.log(frame["dwell_min"]),
            np.where(np.isfinite(ph), ph, 5.5),
        ]
    )


def grid(film_um, ph, size=2048):
    """Settings that every peer may choose from."""
    unit = qmc.Sobol(3, seed=0).random(size)
    low = np.array([np.log(0.3), 20, np.log(0.5)])
    high = np.array([np.log(10), 65, np.log(20)])
    at = low + unit * (high - low)
    return pd.DataFrame(
        {
            "film_um": film_um,
            "dye_g_per_l": np.exp(at[:, 0]),
            "bath_temp_c": at[:, 1],
            "dwell_min": np.exp(at[:, 2]),
            "ph": ph,
        }
    )


def nearest_batch(records, target, settings):
    """The past batch with the nearest colour, dipped again as noted."""
    best = int(np.argmin(delta_e_00(target, records[LAB].to_numpy(float))))
    return records[COLUMNS].iloc[[best]].fillna({"ph": 5.5}).reset_index(drop=True)


def regression(make):
    """A peer that predicts Lab on the grid and takes the nearest."""

    def peer(records, target, settings):
        x = features(records)
        mean, sd = x.mean(axis=0), np.maximum(x.std(axis=0), 1e-3)
        model = make(len(records)).fit((x - mean) / sd, records[LAB].to_numpy(float))
        guess = model.predict((features(settings) - mean) / sd)
        return settings.iloc[[int(np.argmin(delta_e_00(target, guess)))]].reset_index(drop=True)

    return peer


def ridge(degree):
    """Ridge on polynomial features."""
    from sklearn.linear_model import RidgeCV
    from sklearn.pipeline import make_pipeline
    from sklearn.preprocessing import PolynomialFeatures

    return lambda count: make_pipeline(
        PolynomialFeatures(degree, include_bias=False), RidgeCV(np.geomspace(1e-3, 1e3, 13))
    )


def gaussian_process(count):
    """scikit-learn's Gaussian process with a length per setting and a noise term."""
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import RBF, ConstantKernel, WhiteKernel

    kernel = ConstantKernel(1.0) * RBF(np.ones(5), (0.2, 50)) + WhiteKernel(0.05, (1e-4, 1))
    return GaussianProcessRegressor(kernel, normalize_y=True, n_restarts_optimizer=0)


PEERS = {
    "nearest": nearest_batch,
    "ridge 1": regression(ridge(1)),
    "ridge 2": regression(ridge(2)),
    "gp": regression(gaussian_process),
}


def slipped(dip, film_error, rng):
    """A dip as a shop makes it: 3 s by the clock, 0.7 °C, 2 % of the strength, pH 0.05, the film as its source says."""
    return dip.assign(
        film_um=dip["film_um"] * np.exp(rng.normal(0, film_error, len(dip))),
        dye_g_per_l=dip["dye_g_per_l"] * (1 + rng.normal(0, 0.02, len(dip))),
        bath_temp_c=dip["bath_temp_c"] + rng.normal(0, 0.7, len(dip)),
        dwell_min=np.maximum(dip["dwell_min"] + rng.normal(0, 0.05, len(dip)), 0.1),
        ph=dip["ph"] + rng.normal(0, 0.05, len(dip)),
    )


def loop(world, seed, count, peers, perfect=False):
    """One closed loop: a dict of figures."""
    bath = world.bath(seed)
    rng = np.random.default_rng([seed, count, 77])
    records, target = bath.records(count, rng), bath.target(rng)
    film = bath.habit["film"]
    ph = 5.5 if world.ph_known else None
    start = time.perf_counter()
    model = learn_bath(records)
    learned = time.perf_counter()
    best = model.suggest(target, film_um=film, ph=ph)[0]
    suggested = time.perf_counter()
    dip = pd.DataFrame([best.settings]).assign(ph=5.5)
    slips = np.random.default_rng([seed, count, 78])
    made = dip if perfect else slipped(dip, world.film_error, slips)
    miss = float(delta_e_00(target, bath.truth(made)[0]))
    row = {
        "world": world.name, "seed": seed, "n": count, "ours": miss, "said": best.delta_e00, "p90": best.delta_e00_p90,
        "reachable": best.reachable, "learn_s": learned - start, "suggest_s": suggested - learned,
    }  # fmt: skip
    noted = bath.noted(dip, rng)
    again = learn_bath(pd.concat([records, noted], ignore_index=True)).suggest(target, film_um=film, ph=ph)[0]
    dip = pd.DataFrame([again.settings]).assign(ph=5.5)
    row["second"] = float(delta_e_00(target, bath.truth(dip if perfect else slipped(dip, world.film_error, slips))[0]))
    row["wrongly_reached"], row["far"] = beyond(bath, model, target, film)
    settings = grid(film, 5.5)
    for name in peers:
        row[name] = float(delta_e_00(target, bath.truth(PEERS[name](records, target, settings))[0]))
    return row


def beyond(bath, model, target, film):
    """Whether a target that the bath misses by 5 or more is called reachable, and whether there is one to ask about."""
    settings = grid(film, 5.5, 1024)
    truth = bath.truth(settings)
    for turn in (40, -40, 90):
        angle = np.radians(turn)
        away = (target[0], *(np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]]) @ target[1:]))
        if delta_e_00(away, truth).min() >= 5:
            return bool(model.suggest(away, film_um=film, count=1)[0].reachable), True
    return False, False


def table(rows, peers):
    """Print the figures by number of records, and by world."""
    for count, part in rows.groupby("n"):
        medians = part.groupby("world")[["ours", "second", *peers]].median()
        p90 = part.groupby("world")["ours"].quantile(0.9)
        line = f"n={count:3d}  median {medians['ours'].mean():.2f}  p90 {p90.mean():.2f}"
        line += f"  second {medians['second'].mean():.2f}"
        line += f"  covered {100 * (part['ours'] <= part['p90']).mean():.0f} %  said {part['said'].median():.2f}"
        line += f"  called reachable: {100 * part['reachable'].mean():.0f} % of the reachable"
        far = part[part["far"]]
        line += f", {100 * far['wrongly_reached'].mean():.0f} % of {len(far)} out of reach"
        line += f"  learn {part['learn_s'].median():.2f} s  suggest {part['suggest_s'].median():.3f} s"
        if peers:
            ratio = medians["ours"] / medians[list(peers)].min(axis=1)
            line += f"  ratio {ratio.mean():.2f} (worst {ratio.max():.2f})  " + "  ".join(
                f"{name} {medians[name].mean():.2f}" for name in peers
            )
        print(line)
    by_world = rows.pivot_table(index="world", columns="n", values="ours", aggfunc="median").round(2)
    print(by_world.to_string())


def main():
    """Run the loops and print the table."""
    parser = command_line(__doc__)
    parser.add_argument("--set", default="all", choices=["tuning", "held-out", "all"])
    parser.add_argument("--seeds", type=int, default=8)
    parser.add_argument("--first-seed", type=int, default=1000)
    parser.add_argument("--counts", default="3,6,24")
    parser.add_argument("--no-peers", action="store_true")
    parser.add_argument("--perfect", action="store_true", help="dips without slips")
    parser.add_argument("--rows", help="write the figures of every loop to this CSV file")
    options = parser.parse_args()
    warnings.filterwarnings("ignore", module="sklearn")
    chosen = {"tuning": baths.TUNING, "held-out": baths.HELD_OUT, "all": baths.TUNING + baths.HELD_OUT}[options.set]
    peers = () if options.no_peers else tuple(PEERS)
    seeds = range(options.first_seed, options.first_seed + options.seeds)
    counts = numbers(options.counts)
    rows = pd.DataFrame(
        [loop(world, seed, n, peers, options.perfect) for world in chosen for seed in seeds for n in counts]
    )
    table(rows, peers)
    if options.rows:
        rows.to_csv(options.rows, index=False)


if __name__ == "__main__":
    main()
