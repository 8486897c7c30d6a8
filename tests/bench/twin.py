"""How near parts come by their bare twin, by light: laid anywhere in the frame, and laid beside the part.

    python -m tests.bench.twin [--world physical simple] [--setups 0:24] [--learned]
    python -m tests.bench.twin --beside [--setups 0:12]

Photographs come from `tests.bench.worlds`: parts and twin lie anywhere, anyhow turned. `--beside` draws each part once
more in the simple world, alone with its twin beside it, the same way round (some seconds a photograph). Rows: read
without the twin, by it with its own Lab told, and with the usual one; median / 90th percentile of CIEDE2000, how often
2 u covers L*, a*, b*, and the median of ± of L*.
"""

import argparse
import json
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

from dyebook.errors import DyebookError
from dyebook.lab import delta_e_00
from dyebook.photo.camera.profile import learn_camera
from dyebook.photo.file.read import read_photo
from dyebook.photo.measure import look_at
from dyebook.record import ReadOptions
from tests.bench.scenes import WORLDS, first_end
from tests.render import draw, make_scenes
from tests.render.shapes import mesh_of

WAYS = ("without", "told", "usual")
# mm between part and twin, and from the card's middle to both
_GAP, _FROM_CARD = 4.0, 45.0


def by_twin(truth, path, camera=None, ways=WAYS):
    """Return a row for each part of a photograph with a twin and each way to read it."""
    bare = [part for part in truth["parts"] if part["role"] == "twin"]
    parts = [part for part in truth["parts"] if part["role"] == "part"]
    if not bare or not parts:
        return []
    card, rows, data = truth["card"], [], path.read_bytes()
    for way in ways:
        asked = ReadOptions(
            card["quad"],
            card["lab"],
            [part["outline"] for part in parts],
            camera,
            flaws=False,
            twin_at=None if way == "without" else bare[0]["outline"],
            twin_lab=bare[0]["lab"] if way == "told" else None,
        )
        for part, read in zip(parts, look_at(data, asked, path.name).measurement.parts, strict=True):
            error, u = np.subtract(read.lab, part["lab"]), np.array(read.lab_u)
            rows.append(
                {
                    "role": "by twin",
                    "world": truth["world"],
                    "light": truth["light"],
                    "way": way,
                    "missed": float(delta_e_00(part["lab"], read.lab)),
                    "covered": (np.abs(error) <= 2 * u).tolist(),
                    "u": u.tolist(),
                    "unlike": "twin_unlike" in read.flags,
                }
            )
    return rows


def beside(seed):
    """Yield scenes of each part of a twin's photograph, alone with its twin beside it, where there is room."""
    for spec in make_scenes(seed, "twin"):
        bare = next((thing for thing in spec.things if thing.role == "twin"), None)
        half = np.array([0.5, 0.5 * spec.view.height / spec.view.width]) * spec.view.width_mm * 0.93
        card = np.array([spec.card.x_mm, spec.card.y_mm])
        rest = [thing for thing in spec.things if thing.role not in ("part", "twin")]
        for number, part in enumerate(thing for thing in spec.things if thing.role == "part" and bare):
            size, turn = mesh_of(part.shape).size_mm[:2], np.radians(part.turn_deg)
            across = np.array([-np.sin(turn), np.cos(turn)] if size[1] <= size[0] else [np.cos(turn), np.sin(turn)])
            at = [np.array([part.x_mm, part.y_mm]) + side * across * (size.min() + _GAP) for side in (1, -1)]
            at = [one for one in at if np.all(np.abs(one) < half - size.min() / 2)]
            at = [one for one in at if np.linalg.norm(one - card) > _FROM_CARD]
            if at:
                twin = replace(bare, x_mm=float(at[0][0]), y_mm=float(at[0][1]), turn_deg=part.turn_deg)
                yield replace(spec, name=f"{spec.setup}-beside{number}", things=(*rest, part, twin))


def _row(name, rows):
    missed = np.array([row["missed"] for row in rows])
    covered = " ".join(f"{value:.2f}" for value in np.mean([row["covered"] for row in rows], axis=0))
    wide = 2 * np.median([row["u"][0] for row in rows])
    unlike = np.mean([row["unlike"] for row in rows])
    print(
        f"| {name} | {len(rows)} | {np.median(missed):.1f} / {np.quantile(missed, 0.9):.1f} | {covered} | {wide:.1f} "
        f"| {unlike:.2f} |",
        flush=True,
    )


def _photos(options):
    """Yield world, truth, path and learned camera of the photographs."""
    if options.beside:
        with tempfile.TemporaryDirectory() as folder:
            for seed in options.setups:
                for spec in beside(seed):
                    path, truth = draw(spec, "simple", Path(folder))
                    yield "beside, simple", truth, Path(path), None
        return
    for world in options.world:
        for seed in options.setups:
            path = WORLDS / world / f"s{seed:03d}-twin.json"
            if path.exists():
                camera, chart = None, path.with_name(f"s{seed:03d}-chart.json")
                if options.learned and chart.exists():
                    at = json.loads(chart.read_text(encoding="utf-8"))["chart_at"]
                    try:
                        camera = learn_camera(read_photo(chart.with_suffix(".jpg")), "chart", chart_at=at)
                    except DyebookError as error:
                        print(f"{chart.name}: {error}")
                yield world, json.loads(path.read_text(encoding="utf-8")), path.with_suffix(".jpg"), camera


def main():
    """Score."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--world", nargs="+", choices=["physical", "simple"], default=["physical", "simple"])
    parser.add_argument("--setups", type=first_end, default=range(24), help="first:end")
    parser.add_argument("--learned", action="store_true", help="learn each set-up's camera from its chart first")
    parser.add_argument("--beside", action="store_true", help="draw each part with its twin beside it, and score those")
    options = parser.parse_args()
    found = {}
    for world, truth, path, camera in _photos(options):
        found.setdefault(world, []).extend(by_twin(truth, path, camera))
    for world, rows in found.items():
        print(f"\n| {world} | parts | ΔE00 | within 2 u: L a b | ± of L* | unlike |\n|---|---|---|---|---|---|")
        for way in WAYS:
            own = [row for row in rows if row["way"] == way]
            _row(way, own)
            for light in dict.fromkeys(row["light"] for row in own):
                _row(f"{way}, {light}", [row for row in own if row["light"] == light])


if __name__ == "__main__":
    main()
