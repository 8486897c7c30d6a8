"""How well readings know their own error, alone and against each other, on photographs of both dyed worlds.

    python -m tests.bench.errors score [--world physical simple] [--setups 0:48] [--fresh]
    python -m tests.bench.errors fit [--world physical] [--rounds 40] [--out FILE]

Photographs come from `tests.bench.worlds`. `score` prints, by state (usual camera, learned camera, no card,
overexposed), and by light, finish and shape, how often 2 u covers the truth, and the mean interval score (95 %), beside
those of the single formula which readings went by before they had parts; what the difference of two photographs of one
part misses; and what the judge says of pairs whose true difference is spread over 0 to 8: one of them is moved by a
known step, its error kept. `fit` finds the `Sizes` by composite likelihood of Student's t (4 degrees: errors of
photographs have long tails) over single readings and pairs within a set-up: near and far in colour, of one photo or
two, of one shape or not. What a set-up shares was then chosen by hand on both worlds: 2 u covers .92 to .98 at the
least interval score.
"""

import argparse
import json
import os
import pickle
import tempfile
from collections import defaultdict
from dataclasses import asdict, replace
from itertools import combinations
from pathlib import Path

import cv2
import numpy as np
from scipy.optimize import minimize

from dyebook.advice.judge import _SAME_WAY, CAMERA_LENGTH_DELTA_E, Shade, difference_covariance, judge
from dyebook.errors import DyebookError
from dyebook.lab import LUMINANCE, decode_srgb, delta_e_00, encode_srgb
from dyebook.photo.camera.profile import learn_camera
from dyebook.photo.file.read import read_photo
from dyebook.photo.measure import look_at
from dyebook.photo.reading import level_log_sd
from dyebook.photo.shared import Sizes, error_parts
from dyebook.record import ReadOptions
from tests.bench.scenes import first_end

FOLDER = Path(os.environ.get("DYEBOOK_WORLDS") or Path(tempfile.gettempdir()) / "dyebook-worlds")
KINDS = ("parts", "near", "repeat1", "repeat2", "twin", "rack", "flaws")
STATES = ("usual", "learned", "no card", "overexposed")
# degrees of freedom of the law that errors are fitted by; and what is left as it is where the state does not show it
FREEDOM = 4.0
OF_STATE = {
    "usual": lambda name: not name.startswith(("no_card", "clipped")),
    "no card": lambda name: name.startswith("no_card"),
    "overexposed": lambda name: name.startswith("clipped"),
}
# how much the classes of pairs weigh: photos, shapes, distance in colour
WEIGHTS = {
    ("two", "same", "repeat"): 3.0,
    ("one", "same", "near"): 1.0,
    ("two", "same", "near"): 1.0,
    ("two", "unlike", "near"): 1.0,
    ("one", "unlike", "near"): 0.5,
    ("two", "same", "mid"): 0.5,
    ("two", "unlike", "mid"): 0.3,
    ("one", "same", "mid"): 0.3,
    ("one", "unlike", "mid"): 0.3,
}
NEAR, MID = 15.0, 45.0
TOLERANCE = 2.0


# -- Readings --


def rows_of(world, setups, fresh=False):
    """Return a row (dict) for each part, photograph and state; kept beside the photographs."""
    rows = []
    for seed in setups:
        kept = FOLDER / world / f"s{seed:03d}-errors.pkl"
        if fresh or not kept.exists():
            found = [row for state in STATES for row in _read_set_up(world, seed, state)]
            if found:
                kept.write_bytes(pickle.dumps(found))
        if kept.exists():
            rows += pickle.loads(kept.read_bytes())
    return rows


def _read_set_up(world, seed, state):
    camera = _camera_of(FOLDER / world / f"s{seed:03d}-chart.json") if state == "learned" else None
    if state == "learned" and camera is None:
        return
    for kind in KINDS:
        file = FOLDER / world / f"s{seed:03d}-{kind}.json"
        if file.exists() and file.with_suffix(".jpg").exists() and file.with_suffix(".png").exists():
            yield from _read_photo(json.loads(file.read_text(encoding="utf-8")), file, state, camera)


def _camera_of(file):
    if not file.exists():
        return None
    truth = json.loads(file.read_text(encoding="utf-8"))
    try:
        return learn_camera(read_photo(file.with_suffix(".jpg")), truth["setup"], chart_at=truth["chart_at"])
    except DyebookError:
        return None


def _read_photo(truth, file, state, camera):
    parts = [part for part in truth["parts"] if not part["bands"] and not part["flaws"]]
    card = {} if state == "no card" else {"card_at": truth["card"]["quad"], "card_lab": truth["card"]["lab"]}
    options = ReadOptions(
        **card, part_at=[part["outline"] for part in parts], camera=camera, no_card=not card, flaws=False
    )
    data = _brightened(file) if state == "overexposed" else file.with_suffix(".jpg").read_bytes()
    try:
        look = look_at(data, options, file.stem)
    except DyebookError:
        return
    for part, one in zip(parts, look.evidence, strict=True):
        told = {name: truth[name] for name in ("world", "setup", "light")}
        yield told | {
            "photo": file.stem, "state": state, "finish": part["finish"], "shape": part["kind"], "true": part["lab"],
            "lab": list(one.reading.lab), "basis": one.basis, "key": one.reading.shape_key,
        }  # fmt: skip


def _brightened(file):
    """The photograph with the lighter films overexposed, as JPEG."""
    light = decode_srgb(cv2.imread(str(file.with_suffix(".jpg"))) / 255.0)
    parts = light[cv2.imread(str(file.with_suffix(".png")), cv2.IMREAD_UNCHANGED) % 128 > 0]
    gain = np.random.default_rng(len(parts)).uniform(0.9, 1.6) / max(np.quantile(parts.max(axis=1), 0.9), 0.05)
    codes = np.round(encode_srgb(np.clip(light * np.clip(gain, 1.0, 3.5), 0, 1)) * 255).astype(np.uint8)
    return cv2.imencode(".jpg", codes, [cv2.IMWRITE_JPEG_QUALITY, 92])[1].tobytes()


# -- Scores --


def _old_u(row):
    """Standard uncertainty by the single formula of the time before parts."""
    basis, lab = row["basis"], np.array(row["lab"])
    luminance = max(float(basis.film @ LUMINANCE), 1e-3)
    exposure = np.hypot(0.03, (0.1 if basis.is_fitted else 0.22) * basis.distance)
    share = np.hypot(np.hypot(level_log_sd(basis.spread), exposure), 0.012 / luminance)
    lightness = 116 / 3 * max(luminance, 0.008856) ** (-2 / 3) * share * luminance
    usual = 1.5 + 0.085 * np.hypot(*lab[1:])
    camera = np.array((1.5, usual, usual) if basis.camera_u is None else basis.camera_u)
    lost = np.hypot(basis.clipped * np.array([6, 11, 11]), basis.beyond * np.array([4, 14, 9]))
    return np.hypot(np.hypot(camera, [lightness, *(np.abs(lab[1:]) / 3 * min(share, 1.0))]), lost)


def _interval_score(error, u):
    """Mean interval score (95 %) per axis, Gneiting and Raftery (2007), eq. 43."""
    return (4 * u + 2 / 0.05 * np.maximum(np.abs(error) - 2 * u, 0)).mean(axis=0)


def _coverage_line(name, rows, sizes):
    if len(rows) < 12:
        return
    error = np.array([_error(row) for row in rows])
    total = np.array([sum(error_parts(row["basis"], sizes).values()) for row in rows])
    u, old = np.sqrt(np.diagonal(total, axis1=1, axis2=2)), np.array([_old_u(row) for row in rows])
    figures = [(np.abs(error) <= 2 * u).mean(axis=0), (np.abs(error) <= 2 * old).mean(axis=0)]
    scores = [_interval_score(error, u), _interval_score(error, old)]
    cells = [" ".join(f"{v:.2f}" for v in one) for one in figures] + [
        " ".join(f"{v:.0f}" for v in one) for one in scores
    ]
    print(f"| {name} | {len(rows)} | {' | '.join(cells)} |")


def _pairs(rows, wanted):
    by_setup = defaultdict(list)
    for row in rows:
        by_setup[row["setup"]].append(row)
    return [pair for some in by_setup.values() for pair in combinations(some, 2) if wanted(*pair)]


def _is_repeat(one, other):
    return one["photo"] != other["photo"] and one["true"] == other["true"] and one["shape"] == other["shape"]


def _is_unlike(one, other):
    far = np.linalg.norm(np.subtract(one["true"], other["true"]))
    return one["photo"] != other["photo"] and one["key"] != other["key"] and far < NEAR


def _is_near(one, other):
    near = np.linalg.norm(np.subtract(one["true"], other["true"])) < NEAR
    same = (one["key"], one["finish"]) == (other["key"], other["finish"])
    return near and same and one["photo"] == other["photo"]


def _shade(row, sizes, lab=None):
    shape = f"{row['key']}, {row['finish']}"
    parts = error_parts(row["basis"], sizes)
    return Shade(row["lab"] if lab is None else lab, parts, setup=row["setup"], photo=row["photo"], shape=shape)


def _moved(lab, distance, rng):
    """A step from a colour in a random direction, of a CIEDE2000."""
    way, low, high = rng.normal(size=3), 0.0, 60.0
    way /= np.linalg.norm(way)
    for _ in range(24):
        middle = (low + high) / 2
        low, high = (middle, high) if delta_e_00(lab, lab + middle * way) < distance else (low, middle)
    return low * way


def _judged(name, pairs, sizes, rng, most=120, steps=3):
    """Print what the judge says of pairs moved to true differences from 0 to 8."""
    if len(pairs) < 12:
        return
    told = []
    for k in rng.permutation(len(pairs))[:most]:
        one, other = pairs[k]
        for distance in rng.uniform(0, 8, steps):
            step = _moved(np.array(one["true"]), distance, rng)
            lab = np.array(one["true"]) + step + _error(other)
            if 0 < lab[0] < 104:
                found = judge(_shade(one, sizes), _shade(other, sizes, lab), TOLERANCE)
                told.append((distance, found.verdict))
    true, said = np.array([distance for distance, _ in told]), np.array([verdict for _, verdict in told])
    share = lambda among, verdict: (said[among] == verdict).mean() if among.any() else np.nan  # noqa: E731
    right = [
        (true[said == verdict] <= TOLERANCE).mean() if (said == verdict).any() else np.nan for verdict in ("in", "out")
    ]
    print(
        f"| {name} | {len(true)} | {right[0]:.2f} | {1 - right[1]:.2f} | {share(true <= 1, 'in'):.2f} "
        f"| {share((true >= 2) & (true <= 4), 'in'):.2f} | {share(true >= 4, 'out'):.2f} |"
    )


def score(options):
    """Print all tables of each world."""
    for world in options.world:
        rows = rows_of(world, options.setups, options.fresh)
        _head(f"{world} world", "readings", "within 2 u: L a b", "before", "interval score", "before")
        for state in STATES:
            some = [row for row in rows if row["state"] == state]
            _coverage_line(state, some, options.sizes)
            for key in ("light", "finish", "shape"):
                for value in sorted({row[key] for row in some}):
                    _coverage_line(f"{state}, {value}", [row for row in some if row[key] == value], options.sizes)
        usual = [row for row in rows if row["state"] == "usual"]
        groups = {}
        for name, wanted in (("one part", _is_repeat), ("near, of one photo and shape", _is_near)):
            groups[name] = _pairs(usual, wanted)
            for light in sorted({row["light"] for row in usual}):
                groups[f"{name}, {light}"] = [pair for pair in groups[name] if pair[0]["light"] == light]
        groups["unlike shapes"] = _pairs(usual, _is_unlike)
        _head("difference of two readings", "pairs", "ΔE00 median", "p90", "within 2 u: L a b", "interval score", "u")
        for name, pairs in groups.items():
            _difference_line(name, pairs, options.sizes)
        _head("judged, tolerance 2", "pairs", "in right", "out right", "within 1 in", "2 to 4 in", "4 on out")
        rng = np.random.default_rng(5)
        for name, pairs in groups.items():
            _judged(name, pairs, options.sizes, rng)


def _head(*names):
    print(f"\n| {' | '.join(names)} |\n|{'---|' * len(names)}")


def _difference_line(name, pairs, sizes):
    missed = [
        float(delta_e_00(one["true"], np.add(one["true"], _error(other) - _error(one))))
        for one, other in pairs
        if 0 < (np.add(one["true"], _error(other) - _error(one)))[0] < 104
    ]
    if not missed:
        return
    error = np.array([_error(other) - _error(one) for one, other in pairs])
    both = (difference_covariance(_shade(one, sizes), _shade(other, sizes)) for one, other in pairs)
    u = np.sqrt([covariance.diagonal() for covariance in both])
    covered, score = (np.abs(error) <= 2 * u).mean(axis=0), _interval_score(error, u)
    cells = (" ".join(f"{v:.2f}" for v in row) for row in (covered, score, np.median(u, axis=0)))
    print(f"| {name} | {len(missed)} | {np.median(missed):.2f} | {np.quantile(missed, 0.9):.2f} | ", end="")
    print(" | ".join(cells), "|")


def _error(row):
    return np.subtract(row["lab"], row["true"])


# -- Fit --


def _loss(error, covariance):
    """Mean negative log likelihood of Student's t in three dimensions."""
    covariance = covariance + 1e-6 * np.eye(3)
    square = np.einsum("ni,ni->n", error, np.linalg.solve(covariance, error[:, :, None])[:, :, 0])
    log_size = np.linalg.slogdet(covariance)[1]
    return float((log_size / 2 + (FREEDOM + 3) / 2 * np.log1p(square / FREEDOM)).mean())


def _classes(rows, rng, most=250):
    """Indices (n, 2) of pairs within a set-up, by class."""
    by_setup, classes = defaultdict(list), defaultdict(list)
    for k, row in enumerate(rows):
        by_setup[row["setup"]].append(k)
    for some in by_setup.values():
        for i, j in combinations(some, 2):
            one, other = rows[i], rows[j]
            far = np.linalg.norm(np.subtract(one["lab"], other["lab"]))
            near = "repeat" if _is_repeat(one, other) else "near" if far < NEAR else "mid" if far < MID else "far"
            shape = "same" if (one["key"], one["finish"]) == (other["key"], other["finish"]) else "unlike"
            classes["one" if one["photo"] == other["photo"] else "two", shape, near].append((i, j))
    return {name: rng.permutation(classes[name])[:most] for name in WEIGHTS if len(classes[name]) > 15}


def _root(matrices):
    values, vectors = np.linalg.eigh((matrices + matrices.swapaxes(1, 2)) / 2)
    return (vectors * np.sqrt(np.maximum(values, 0))[:, None, :]) @ vectors.swapaxes(1, 2)


def _shared(one, other):
    """The judge's geometric mean, of many pairs of covariances at once."""
    thinnest = (1e-8 + _SAME_WAY**2 * np.trace(one + other, axis1=1, axis2=2) / 2)[:, None, None] * np.eye(3)
    root = _root(one + thinnest)
    inverse = np.linalg.inv(root)
    return root @ _root(inverse @ (other + thinnest) @ inverse) @ root - thinnest


def _difference(rows, parts, i, j):
    """The judge's covariance of the difference, of many pairs at once."""
    labs = np.array([row["lab"] for row in rows])
    near = np.exp(-0.5 * (np.linalg.norm(labs[i] - labs[j], axis=1) / CAMERA_LENGTH_DELTA_E) ** 2)
    alike = lambda *names: np.array([all(rows[a][n] == rows[b][n] for n in names) for a, b in zip(i, j, strict=True)])  # noqa: E731
    share = {"camera": near, "shape": alike("key", "finish"), "photo": alike("photo"), "own": np.zeros(len(i))}
    total = np.zeros((len(i), 3, 3))
    for name, part in parts.items():
        total += part[i] + part[j] - 2 * share[name][:, None, None] * _shared(part[i], part[j])
    return total


def fit(options):
    """Print the sizes that the photographs make likeliest, state by state."""
    sizes = options.sizes
    rows = [row for world in options.world for row in rows_of(world, options.setups, options.fresh)]
    for row in rows:
        row["setup"] = f"{row['world']} {row['setup']}"
    for state, is_free in OF_STATE.items():
        some = [row for row in rows if row["state"] == state]
        free = [name for name in asdict(sizes) if is_free(name)]
        sizes = _likeliest(some, sizes, free, options.rounds)
        print(state, {name: round(getattr(sizes, name), 4) for name in free}, flush=True)
    if options.out:
        options.out.write_text(json.dumps(asdict(sizes)), encoding="utf-8")


def _likeliest(rows, sizes, free, rounds):
    error = np.array([_error(row) for row in rows])
    classes = _classes(rows, np.random.default_rng(0))

    def loss(logs):
        tried = replace(sizes, **dict(zip(free, np.exp(logs), strict=True)))
        by_row = [error_parts(row["basis"], tried) for row in rows]
        parts = {name: np.array([one[name] for one in by_row]) for name in by_row[0]}
        total = 2 * _loss(error, sum(parts.values()))
        for name, (i, j) in ((name, pairs.T) for name, pairs in classes.items()):
            total += WEIGHTS[name] * _loss(error[i] - error[j], _difference(rows, parts, i, j))
        return total

    start = np.log([getattr(sizes, name) for name in free])
    found = minimize(
        loss, start, method="L-BFGS-B", bounds=[(-7, 4)] * len(free), options={"maxiter": rounds, "eps": 1e-3}
    )
    return replace(sizes, **dict(zip(free, np.exp(found.x).tolist(), strict=True)))


def main():
    """Score or fit."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=["score", "fit"])
    parser.add_argument("--world", nargs="+", choices=["physical", "simple"], default=["physical", "simple"])
    parser.add_argument("--setups", type=first_end, default=range(48), help="first:end")
    parser.add_argument("--fresh", action="store_true", help="read the photographs anew")
    parser.add_argument("--rounds", type=int, default=40, help="of the fit")
    parser.add_argument("--out", type=Path, help="write the sizes that were fitted")
    options = parser.parse_args(namespace=argparse.Namespace(sizes=Sizes()))
    {"score": score, "fit": fit}[options.what](options)


if __name__ == "__main__":
    main()
