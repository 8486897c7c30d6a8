"""The photographs that are shipped: `samples/`, the demo shop's, and the small ones of `tests/scenes`.

    python -m tests.bench.pictures [samples] [demo] [scenes]
    python -m tests.bench.pictures readings

draws them anew in the physical world. They are files, and nothing draws them when the tests run. What lies in them
stands in `pictures.json`. `readings` notes what the chain reads from the small ones (`tests/photo/test_unchanged.py`).
"""

import argparse
import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

from dyebook.demo.year import COUNT, FOLDER, NEWEST_WITH_PHOTO, photo_of, shop_year
from dyebook.lab import Lab
from dyebook.photo.file.read import read_photo
from dyebook.photo.measure import look_at
from dyebook.record import ReadOptions
from tests.render.photo import STAMP, draw, picture, write_photo
from tests.render.plan import card_things, chart_things, make_scenes
from tests.render.scene import FINISHES, Develop, Film, Ground, Light, SceneSpec, Thing, View, read_table, shaped

ROOT = Path(__file__).parents[2]
SCENES = ROOT / "tests" / "scenes"
READINGS = SCENES / "readings.json"
_TABLE = read_table(Path(__file__).with_name("pictures.json"))
_FILMS = {name: Film(*values) for name, values in _TABLE["films"].items()}
_CALM = Develop(0.8, (1.03, 0.96), 0.12, 0.0, 1.05, 22000.0, 4.0, 0.5, 0.3, 0.05, False, 86)


def _card(x_mm, y_mm, turn_deg):
    return card_things(27.0, 19.0, x_mm=x_mm, y_mm=y_mm, turn_deg=turn_deg)[0]


def _part(film, shape, finish, at, seed):
    (kind, sizes), (x, y, turn) = _TABLE["shapes"][shape], at
    return Thing(shaped(kind, **sizes), film, FINISHES[finish], x, y, 0.0, turn, "part", seed=seed)


def _sample_part(film, shape, at, seed, finish="satin", dye=1.0, streak=None):
    film = _FILMS[film]
    part = _part(replace(film, absorbance=film.absorbance * dye), shape, finish, at, seed)
    pale = replace(film, absorbance=film.absorbance * (streak or 1))
    return replace(part, pattern="streak", other=pale) if streak else part


def _ground(kind, first, second, seed):
    return Ground(kind, Lab(*first), Lab(*second), seed)


def _sample(seed, bench, card=None, parts=(), turn_deg=0.0):
    bench = _TABLE["benches"][bench]
    light, ground, view = Light(*bench["light"]), _ground(*bench["ground"]), View(1600, 1067, 200.0, 8.0, 80.0, 450.0)
    things = (_card(*card), *(_sample_part(**row) for row in parts)) if card else chart_things(turn_deg)
    return SceneSpec("scene", seed, "parts", "", view, light, ground, things, "reflex", _CALM)


SAMPLES = {name: _sample(**row) for name, row in _TABLE["samples"].items()}


def shop_scene(planned):
    """Return the scene of a batch of the demo shop."""
    number = planned.index - (COUNT - NEWEST_WITH_PHOTO - 1)
    rng, long = np.random.default_rng((1811, number)), planned.job == "pegs"
    finish = _TABLE["finishes"][planned.settings["finish"]]
    things = [_card(-44, 22 + rng.uniform(-6, 6), rng.normal(0, 5))]
    places = ((36, 34), (12, -12), (-8, -42)) if long else ((36, 26), (30, -28), (-30, -34))
    for k, place in enumerate(places[: 1 + int(rng.integers(0, 3))]):
        turn = rng.uniform(-6, 6) if long else rng.uniform(-25, 25)
        things.append(_part(planned.film, planned.job, finish, (*place, turn), 10 * number + k))
    # on blasted metal a tent's light lies as a veil that no reading takes off whole: it comes between two lamps;
    # and polished metal, which mirrors the sky's edge, into the tent
    kind = "overcast" if number % 2 and finish != "polished" else "tent"
    even = Light(kind, "daylight 5500", 1.0, 60.0 + 9 * number, person=False)
    light = Light("two_lamps", "daylight 5500", 0.18, 60.0, 45.0, 120.0, False) if finish == "blasted" else even
    grounds = ("paper", (90, 0, 2), (87, 0, 3)), ("wood", (66, 8, 24), (48, 12, 26))
    ground, view = _ground(*grounds[number % 2], number), View(1200, 900, 170.0, 7.0, 85.0, 430.0)
    setup = (photo_of(planned).stem, 2000 + number, "demo", "demo", view, light, ground)
    return SceneSpec(*setup, tuple(things), "reflex", _CALM)


def _shipped(what):
    """Each photo's path in the project, and its scene."""
    if what == "samples":
        return {ROOT / "samples" / name: spec for name, spec in SAMPLES.items()}
    if what == "demo":
        return {FOLDER / photo_of(planned).name: shop_scene(planned) for planned in filter(photo_of, shop_year())}
    kinds = ("parts", "near", "flaws", "chart")
    specs = [make_scenes(seed, kind, 720, 540, camera=f"invented {seed}")[0] for seed in range(8) for kind in kinds]
    calm = [replace(spec, develop=replace(spec.develop, quality=88, p3=False)) for spec in specs]
    return {SCENES / f"{spec.name}.jpg": spec for spec in calm}


def _stamped(codes):
    """A copy that says in small words in a corner that it was rendered."""
    codes, size = codes.copy(), codes.shape[1] / 1600
    place = round(14 * size), codes.shape[0] - round(14 * size)
    for ink, width in ((0, 3), (255, 1)):
        how = (cv2.FONT_HERSHEY_SIMPLEX, 0.9 * size, (ink,) * 3, max(width, round(width * size)), cv2.LINE_AA)
        cv2.putText(codes, STAMP, place, *how)
    return codes


def read_scene(name):
    """Return what the chain reads from a scene of `tests/scenes`: card and parts found by themselves, and the readings
    of the true parts."""
    truth = json.loads((SCENES / f"{name}.json").read_text(encoding="utf-8"))
    photo = read_photo(SCENES / f"{name}.jpg")
    found = look_at(photo, ReadOptions()).measurement.to_dict()
    outlines = [part["outline"] for part in truth["parts"]]
    given = ReadOptions(card_at=truth["card"]["quad"], part_at=outlines, card_lab=truth["card"]["lab"])
    parts = []
    for part in look_at(photo, given).measurement.to_dict()["parts"]:
        values = {"lab": part["lab"], **part["lab_u_parts"]}
        rounded = {what: [round(value, 3) for value in row] for what, row in values.items()}
        words = [part["setup"]["key"], part["shape_key"], *sorted(part["flags"]), *(f["kind"] for f in part["flaws"])]
        parts.append(rounded | {"words": words})
    card = [round(value, 1) for corner in found["card"]["quad"] for value in corner]
    return {"card": card, "boxes": [part["box"] for part in found["parts"]], "parts": parts}


def learned_chart(name):
    """Return what a chart of `tests/scenes` teaches of its camera: the error of each patch left out of the fit."""
    from dyebook.photo.camera.profile import learn_camera

    return [round(float(value), 2) for value in learn_camera(read_photo(SCENES / f"{name}.jpg"), name).loo_delta_e00]


def main():
    """Draw what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", nargs="*", default=["samples", "demo", "scenes"])
    parser.add_argument("--spp", type=int, default=256)
    options = parser.parse_args()
    for what in options.what:
        if what == "readings":
            names = [f"s{seed:03d}-{kind}" for seed in range(8) for kind in ("parts", "flaws")]
            lines = [f'"{name}": {json.dumps(read_scene(name))}' for name in names]
            lines += [f'"{name}": {json.dumps(learned_chart(name))}' for name in ("s000-chart", "s004-chart")]
            READINGS.write_text("{\n" + ",\n".join(lines) + "\n}\n", encoding="utf-8")
            continue
        for path, spec in _shipped(what).items():
            if what == "scenes":
                draw(spec, "physical", path.parent, options.spp)
            else:
                write_photo(_stamped(picture(spec, "physical", options.spp).codes), spec, path)
            print(path)


if __name__ == "__main__":
    main()
