"""Photographs of both worlds, made and scored: photo, card, parts, near shades, twins, strips, flaws, learned cameras.

    python -m tests.bench.worlds make [--world physical|simple] [--setups 0:48] [--jobs 1] [--spp 160] [--size 1200]
    python -m tests.bench.worlds score [--world physical simple] [--setups 0:48] [--learned] [--weights DIR]
    python -m tests.bench.worlds leave-out [--only card part flaw sizes] [--setups 24:48] [--weights DIR]

`make` draws nine photographs a set-up (camera × light) into DYEBOOK_WORLDS/WORLD (else the temp folder's
dyebook-worlds) and leaves out what is there already, so that it can be stopped and started again; the physical world
needs `pip install -e '.[render]'`, and takes 1.3 s a photograph on a large GPU, minutes on two CPU cores.
DYEBOOK_CAMERAS names a folder of measured sensitivities; without it sensors are invented. `score` prints one row for
each world, light, finish and shape. `leave-out` fits what `tests.bench.refit` can to each world and scores the other
by it, beside the house's own weights; fits that DIR holds already are taken as they are.
"""

import argparse
import sys
import tempfile
import time
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor, as_completed
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np

from dyebook.errors import DyebookError
from dyebook.lab import delta_e_00, lab_to_linear_rgb, linear_rgb_to_lab
from dyebook.photo.camera.profile import learn_camera
from dyebook.photo.card.card import card_at, fill_polygon
from dyebook.photo.file.read import read_photo
from dyebook.photo.measure import look_at
from dyebook.record import ReadOptions
from tests.bench import refit
from tests.bench.scenes import WORLDS, card_overlap, first_end, photographs
from tests.bench.twin import by_twin
from tests.render import draw, make_scenes
from tests.render.photo import maker_matrix
from tests.render.plan import KINDS
from tests.render.spectra import body_reflectance, film_readings, film_reflectance, sensor_weights

MISSED, FOUND = 15.0, 0.6


def _draw(seed, kind, world, spp, size):
    """Draw one occasion; return its names."""
    names = []
    for spec in make_scenes(seed, kind, size, size * 3 // 4):
        if not (WORLDS / world / f"{spec.name}.json").exists():
            draw(spec, world, WORLDS / world, spp)
        names.append(spec.name)
    return names


def make(options):
    """Draw what is missing."""
    start, failed = time.perf_counter(), 0
    plan = [(seed, kind, world) for world in options.world for seed in options.setups for kind in KINDS]
    for world in options.world:
        (WORLDS / world).mkdir(parents=True, exist_ok=True)
    with ProcessPoolExecutor(options.jobs, get_context("spawn")) as pool:
        jobs = {pool.submit(_draw, *one, options.spp, options.size): one for one in plan}
        for done, job in enumerate(as_completed(jobs), start=1):
            try:
                job.result()
            except Exception as error:  # noqa: BLE001  one scene that fails costs that scene
                failed += 1
                print(f"{jobs[job]}: {type(error).__name__}: {error}", file=sys.stderr)
            if done % 10 == 0 or done == len(jobs):
                print(
                    f"{done} of {len(jobs)} occasions, {time.perf_counter() - start:.0f} s, {failed} failed",
                    file=sys.stderr,
                )


def _score_photo(truth, path, camera):
    """Rows of a photo: a dict for each part and each thing it can be asked."""
    parts = [part for part in truth["parts"] if not part["bands"]]
    common = {"world": truth["world"], "light": truth["light"], "photo": truth["kind"], "setup": truth["setup"]}
    rows, data, labels = [], path.read_bytes(), cv2.imread(str(path.with_suffix(".png")), cv2.IMREAD_UNCHANGED)
    card = truth["card"]
    given = ReadOptions(
        tuple(map(tuple, card["quad"])), tuple(card["lab"]), [part["outline"] for part in parts], camera
    )
    try:
        readings = look_at(data, given, path.name).measurement.parts
    except DyebookError as error:
        print(f"{path.name}: {error}", file=sys.stderr)
        readings = [None] * len(parts)
    try:
        look = look_at(data, ReadOptions(card_lab=tuple(card["lab"])), path.name)
    except DyebookError:
        look = None
    for index, (part, reading) in enumerate(zip(parts, readings, strict=True)):
        row = common | {
            "finish": part["finish"],
            "shape": part["kind"],
            "role": part["role"],
            "in_gamut": part["in_gamut"],
        }
        number = truth["parts"].index(part) + 1
        mask = labels % 128 == number
        row |= {
            "index": index,
            "pair": part["pair"],
            "true": part["lab"],
            "missed": MISSED,
            "gains": _by_gains(data, card, mask, part),
        }
        if reading is not None:
            error = np.array(reading.lab) - part["lab"]
            row |= {
                "read": list(reading.lab),
                "u": list(reading.lab_u),
                "missed": float(delta_e_00(part["lab"], reading.lab)),
                "covered": (np.abs(error) <= 2 * np.array(reading.lab_u)).tolist(),
            }
        row |= {
            "flaw": part["flaws"][0]["kind"] if part["flaws"] else "",
            "flaw_given": _flaws(reading, labels, number),
        }
        row |= _found(look, mask, part, labels, number)
        rows.append(row)
    quad = None if look is None else look.card.quad
    right = quad is not None and card_overlap(quad, card["quad"]) > 0.7
    false = 0 if look is None else len(look.measurement.parts) - sum(row["found"] for row in rows)
    rows.append(common | {"role": "photo", "card": bool(right), "false_parts": max(0, false)})
    return rows


def _by_gains(data, card, mask, part):
    """Error of the part's median pixel with the card's gains alone: what light, camera and veil leave to correct."""
    photo = read_photo(data)
    gains = card_at(photo, card["quad"], card["lab"]).gains
    light = photo.crop((0, 0, *photo.size))[mask]
    return float(delta_e_00(part["lab"], linear_rgb_to_lab(np.median(light, axis=0) * gains)))


def _flaws(reading, labels, number):
    """How many flaws a reading names, and whether one of them covers the true one."""
    if reading is None:
        return 0, False
    true = (labels == number + 128).astype(np.uint8)
    masks = [fill_polygon(np.array(flaw.outline), (0, 0, *labels.shape[::-1]), 1) for flaw in reading.flaws]
    wide = cv2.dilate(true, np.ones((3, 3), np.uint8)) > 0
    return len(masks), any(max(_overlap(m, true > 0), _overlap(m, wide)) >= 0.2 for m in masks)


def _overlap(one, other):
    return (one & other).sum() / max(1, (one | other).sum())


def _found(look, mask, part, labels, number):
    """What the automatic chain makes of a part."""
    best, at = 0.0, None
    for reading in () if look is None else look.measurement.parts:
        share = _overlap(fill_polygon(np.array(reading.outline), (0, 0, *labels.shape[::-1])), mask)
        best, at = max((best, at), (share, reading), key=lambda pair: pair[0])
    found = best > FOUND
    within = found and float(delta_e_00(part["lab"], at.lab)) < 3
    return {"found": found, "within": within, "flaw_auto": _flaws(at if found else None, labels, number)}


def _score_strip(truth, path):
    """Errors of a stepped coupon's bands."""
    strip = next((part for part in truth["parts"] if part["bands"]), None)
    if strip is None:
        return []
    options = ReadOptions(
        tuple(map(tuple, truth["card"]["quad"])),
        tuple(truth["card"]["lab"]),
        [strip["outline"]],
        steps=len(strip["bands"]),
    )
    try:
        read = [part.lab for part in look_at(path.read_bytes(), options, path.name).measurement.parts]
    except DyebookError:
        return []
    true = [band["lab"] for band in strip["bands"]]
    errors = delta_e_00(np.array(true), np.array(read)) if len(true) == len(read) else [MISSED]
    return [{"world": truth["world"], "light": truth["light"], "role": "band", "missed": float(e)} for e in errors]


def _score_set_up(world, seed, learned):
    """All rows of a set-up."""
    cv2.setNumThreads(1)
    camera, rows = None, []
    if learned:
        for truth, path in photographs(world, [seed], ["chart"]):
            try:
                camera = learn_camera(read_photo(path), truth["setup"], chart_at=truth["chart_at"])
            except DyebookError as error:
                print(f"{path.name}: {error}", file=sys.stderr)
    for truth, path in photographs(world, [seed], ["parts", "near", "repeat", "twin", "flaws", "rack"]):
        rows += _score_photo(truth, path, camera) + by_twin(truth, path, camera, ("told", "usual"))
    for truth, path in photographs(world, [seed], ["steps"]):
        rows += _score_strip(truth, path)
    return rows


def _row(name, rows):
    """Print one line of figures of parts."""
    parts = [row for row in rows if row["role"] in ("part", "twin")]
    if not parts:
        return
    missed = np.array([row["missed"] for row in parts])
    gains = np.array([row["gains"] for row in parts])
    inside = np.array([row["in_gamut"] for row in parts])
    covered = np.mean([row["covered"] for row in parts if "covered" in row] or [[np.nan] * 3], axis=0)
    share = lambda key: np.mean([row[key] for row in parts])  # noqa: E731
    within = " ".join(f"{value:.2f}" for value in covered)
    best = f"{np.median(missed[inside]):.1f}" if inside.any() else ""
    print(
        f"| {name} | {len(parts)} | {np.median(gains):.1f} | {best} | {_spread(missed, ' | ')} | {within} "
        f"| {share('found'):.2f} | {share('within'):.2f} |"
    )


def _spread(values, between=", p90 "):
    """Median and 90th percentile in words."""
    return f"{np.median(values):.1f}{between}{np.quantile(values, 0.9):.1f}"


def _gaps(rows):
    """Errors of the difference of two near shades, all and of the same shape; differences between repeats."""
    photos, repeats = defaultdict(list), defaultdict(list)
    for row in rows:
        if row.get("read") and row["photo"] == "near":
            photos[row["setup"], row["pair"]].append(row)
        if row.get("read") and row["photo"] == "repeat":
            repeats[row["setup"], tuple(row["true"]), row["shape"]].append(row["read"])
    gaps = [
        (
            np.linalg.norm(np.subtract(a["read"], b["read"]) - np.subtract(a["true"], b["true"])),
            a["shape"] == b["shape"],
        )
        for a, b in (both for both in photos.values() if len(both) == 2)
    ]
    again = [float(delta_e_00(*both)) for both in repeats.values() if len(both) == 2]
    return gaps, again


def _print(rows):
    """Print the tables of one world."""
    print("\n| | parts | card's gains alone | in gamut | all | p90 | within 2 u: L a b | found | found, within 3 |")
    print("|---|---|---|---|---|---|---|---|---|")
    _row("all", rows)
    for key in ("light", "finish", "shape", "photo"):
        for value in sorted({row[key] for row in rows if row.get(key)}):
            _row(f"{key} {value}", [row for row in rows if row.get(key) == value])
    gaps, again = _gaps(rows)
    if gaps:
        same = [gap for gap, alike in gaps if alike]
        print(f"near shades: median {_spread([gap for gap, _ in gaps])} of {len(gaps)}; ", end="")
        print(f"of one shape {_spread(same)} of {len(same)}")
    if again:
        print(f"one part in two photographs: median {_spread(again)} of {len(again)}")
    bands = [row["missed"] for row in rows if row["role"] == "band"]
    if bands:
        print(f"bands of stepped coupons: median {_spread(bands)} of {len(bands)}")
    for way, told in (("told", "told"), ("usual", "taken as usual")):
        beside = [row["missed"] for row in rows if row["role"] == "by twin" and row["way"] == way]
        if beside:
            print(f"by the bare twin, its own Lab {told}: median {_spread(beside)} of {len(beside)}")
    photos = [row for row in rows if row["role"] == "photo"]
    print(
        f"card found {np.mean([row['card'] for row in photos]):.3f} of {len(photos)}, "
        f"false parts a photo {np.mean([row['false_parts'] for row in photos]):.2f}"
    )
    for key in ("flaw_given", "flaw_auto"):
        parts = [row for row in rows if row["role"] == "part" and row["photo"] == "flaws"]
        flawed, sound = ([row[key] for row in parts if bool(row["flaw"]) == true] for true in (True, False))
        if flawed:
            print(
                f"{key}: found {np.mean([hit for _, hit in flawed]):.2f} of {len(flawed)}, "
                f"false a sound part {np.mean([count for count, _ in sound]):.2f} of {len(sound)}"
            )


def _stages(setups):
    """Print what a flat piece in even light already misses: by its clear surface, and by the camera behind that."""
    gloss, camera = [], []
    for spec in (spec for seed in setups for kind in ("parts", "near", "twin") for spec in make_scenes(seed, kind)):
        weights, matrix = sensor_weights(spec.camera, spec.light.spectrum, fine=True), maker_matrix(spec)
        card = spec.card.material
        gains = lab_to_linear_rgb(card.lab) / (matrix @ (body_reflectance(card) @ weights))
        for part in spec.parts:
            film, shine, _ = film_reflectance(part.material, part.finish)
            true = film_readings(part.material, part.finish)
            seen = linear_rgb_to_lab(matrix @ ((film + shine) @ weights) * gains)
            gloss.append(float(delta_e_00(true["lab"], true["lab_sci"])))
            camera.append(float(delta_e_00(true["lab_sci"], seen)))
    print(f"a flat piece in even light misses by its clear surface {_spread(gloss)}, by the camera {_spread(camera)}")


def _start(weights):
    """Begin a worker, which reads by weights of its own where there are any."""
    if weights is not None:
        refit.use_weights(weights)


def score(options):
    """Score each world."""
    for world in options.world:
        rows = []
        with ProcessPoolExecutor(options.jobs, get_context("spawn"), _start, (options.weights,)) as pool:
            for some in pool.map(partial(_score_set_up, world, learned=options.learned), options.setups):
                rows += some
        if not rows:
            print(f"{world}: no photographs in {WORLDS / world}; make them first")
            continue
        print(f"\n### {world} world{', cameras learned from charts' if options.learned else ''}")
        _print(rows)
        _stages(options.setups)


def leave_out(options):
    """Fit to each world alone, and score the other by it and by the house's own weights."""
    folder = options.weights or Path(tempfile.mkdtemp())
    for world, other in (("physical", "simple"), ("simple", "physical")):
        fits, setups = {name: refit.FITS[name] for name in options.only}, {other: refit.SETUPS[other]}
        for name, fit in fits.items():
            if not (folder / other / fit.file).exists() and not refit.make_anew(fit, setups, folder / other):
                raise SystemExit(f"{name} could not be fitted to the {other} world")
        for weights, words in ((None, "the house's own"), (folder / other, f"fitted to the {other} world")):
            print(f"\n## {world} world, {', '.join(fits)} {words}")
            score(argparse.Namespace(**vars(options) | {"world": [world], "weights": weights}))


def main():
    """Make or score."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=["make", "score", "leave-out"])
    parser.add_argument("--world", nargs="+", choices=["physical", "simple"], default=["physical", "simple"])
    parser.add_argument("--setups", type=first_end, default=range(48), help="first:end")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--spp", type=int, default=160, help="paths a pixel")
    parser.add_argument("--size", type=int, default=1200, help="width in pixels")
    parser.add_argument("--learned", action="store_true", help="learn each set-up's camera from its chart first")
    parser.add_argument("--weights", type=Path, help="folder of `tests.bench.refit --out`")
    parser.add_argument(
        "--only", nargs="+", choices=["card", "part", "flaw", "sizes"], default=["card", "part", "flaw"]
    )
    options = parser.parse_args()
    {"make": make, "score": score, "leave-out": leave_out}[options.what](options)


if __name__ == "__main__":
    main()
