"""The photographs that are shipped: `samples/`, the demo shop's, and the small ones of `tests/scenes`.

    python -m tests.render.pictures [samples] [demo] [scenes]

draws them anew in the physical world. They are files, and nothing draws them when the tests run.
"""

import argparse
from dataclasses import replace
from pathlib import Path

import numpy as np

from dyebook.demo.year import COUNT, FOLDER, NEWEST_WITH_PHOTO, photo_of, shop_year
from dyebook.lab import Lab
from tests.render.photo import STAMP, draw, picture, write_photo
from tests.render.plan import card_things, chart_things, make_scenes
from tests.render.scene import FINISHES, Develop, Film, Ground, Light, SceneSpec, Thing, View, shaped
from tests.render.spectra import DYES

ROOT = Path(__file__).parents[2]
SCENES = ROOT / "tests" / "scenes"
_CALM = Develop(0.8, (1.03, 0.96), 0.12, 0.0, 1.05, 22000.0, 4.0, 0.5, 0.3, 0.05, False, 86)


def _card(x_mm, y_mm, turn_deg=0.0):
    return card_things(27.0, 19.0, x_mm=x_mm, y_mm=y_mm, turn_deg=turn_deg)[0]


def _tag(film, x_mm, y_mm, turn_deg, finish="satin", holes=(-1,), half=(24.0, 13.0), seed=1, **more):
    places = tuple((side * (half[0] - 5.0), 0.0, 2.0) for side in holes)
    shape = shaped("plate", half_x=half[0], half_y=half[1], corner=3.0, thickness=1.5, holes=places)
    return Thing(shape, film, FINISHES[finish], x_mm, y_mm, 0.0, turn_deg, "part", seed=seed, **more)


_ORANGE, _RED, _BLUE, _GREEN, _VIOLET = (
    Film(((480, 46, 1.0), (560, 110, 0.06)), 0.55, 0.88, 0.003),
    Film(DYES["red"], 0.5, 0.86, 0.004),
    Film(((605, 60, 1.0), (500, 130, 0.2)), 0.42, 0.86, 0.004),
    Film(((650, 55, 0.9), (430, 50, 0.9), (540, 150, 0.2)), 0.4, 0.86, 0.004),
    Film(((555, 55, 1.0), (560, 140, 0.2)), 0.45, 0.86, 0.004),
)
_BENCH = SceneSpec(
    view=View(1600, 1067, 200.0, 8.0, 80.0, 450.0),
    light=Light("window", "daylight 5500", 0.35, 140.0, 40.0, 100.0, True),
    ground=Ground("wood", Lab(68, 8, 23), Lab(50, 12, 26), 4),
    camera="reflex",
    develop=_CALM,
)


def _pale(film, share):
    return replace(film, absorbance=film.absorbance * share)


def _piece(film, kind, sizes, finish, *place, seed):
    return Thing(shaped(kind, **sizes), film, FINISHES[finish], *place, role="part", seed=seed)


_PEN = {"length": 112.0, "radius": 5.5}
_RING = {"outer": 15.0, "inner": 9.5, "thickness": 3.5, "rounding": 0.4}
_FLAT = {"holes": (), "half": (28.0, 16.0)}
SAMPLES = {
    "orange_tags_on_wood.jpg": replace(
        _BENCH,
        seed=11,
        things=(
            _card(-58, 26, 4),
            _tag(_ORANGE, 6, 36, -8, holes=(-1, 1), seed=3),
            _tag(_pale(_ORANGE, 0.8), 8, -24, 14, seed=4),
            _tag(_pale(_ORANGE, 0.6), 66, 2, 62, seed=5),
        ),
    ),
    "pen_tag_ring_on_cloth.jpg": replace(
        _BENCH,
        seed=12,
        light=Light("tent", "LED-B3", 1.0, 60.0),
        ground=Ground("cloth", Lab(36, -2, -9), Lab(26, -1, -8), 5),
        things=(
            _card(-55, 28, -5),
            _tag(_GREEN, -38, -30, 12, "brushed", seed=6),
            _piece(_BLUE, "pen", _PEN, "satin", 34, 20, 0.0, -28.0, seed=7),
            _piece(_VIOLET, "ring", _RING, "polished", 30, -30, seed=8),
        ),
    ),
    "tags_one_streaked.jpg": replace(
        _BENCH,
        seed=13,
        light=Light("overcast", "daylight 6800", 1.0, 100.0, person=False),
        ground=Ground("paper", Lab(91, 0, 2), Lab(88, 0, 2), 6),
        things=(
            _card(-52, 22, 3),
            _tag(_BLUE, 32, 32, -6, seed=9, **_FLAT),
            _tag(_BLUE, 22, -24, 9, seed=52, pattern="streak", other=_pale(_BLUE, 0.45), **_FLAT),
        ),
    ),
    "colour_chart.jpg": replace(_BENCH, seed=14, things=chart_things(-4.0)),
}
_SHAPES = {
    "knobs": shaped("cap", radius=15.0, height=12.0, dome=1.2, edge=1.5),
    "pale knobs": shaped("cap", radius=15.0, height=12.0, dome=1.2, edge=1.5),
    "paddles": shaped("rod", length=46.0, radius=11.0),
    "tags": _tag(_BLUE, 0, 0, 0).shape,
    "grips": shaped("knurl", length=52.0, radius=9.0, share=0.6),
    "rings": shaped("ring", outer=17.0, inner=11.0, thickness=4.0),
    "pegs": shaped("rod", length=95.0, radius=5.0, groove=0.7),
}
_FINISHES = {"blasted": "blasted", "brushed": "brushed", "etched": "satin", "polished": "polished"}


def shop_scene(planned):
    """Return the scene of a batch of the demo shop."""
    number = planned.index - (COUNT - NEWEST_WITH_PHOTO - 1)
    rng, long = np.random.default_rng((1811, number)), planned.job == "pegs"
    things, finish = [_card(-44, 22 + rng.uniform(-6, 6), rng.normal(0, 5))], _FINISHES[planned.settings["finish"]]
    places = ((36, 34), (12, -12), (-8, -42)) if long else ((36, 26), (30, -28), (-30, -34))
    for k, (x, y) in enumerate(places[: 1 + int(rng.integers(0, 3))]):
        turn = rng.uniform(-6, 6) if long else rng.uniform(-25, 25)
        part = Thing(
            _SHAPES[planned.job], planned.film, FINISHES[finish], x, y, 0.0, turn, "part", seed=10 * number + k
        )
        things.append(part)
    # on blasted metal a tent's light lies as a veil that no reading takes off whole: it comes between two lamps;
    # and polished metal, which mirrors the sky's edge, into the tent
    kind = "overcast" if number % 2 and finish != "polished" else "tent"
    even = Light(kind, "daylight 5500", 1.0, 60.0 + 9 * number, person=False)
    light = Light("two_lamps", "daylight 5500", 0.18, 60.0, 45.0, 120.0, False) if finish == "blasted" else even
    kind, *labs = (("paper", Lab(90, 0, 2), Lab(87, 0, 3)), ("wood", Lab(66, 8, 24), Lab(48, 12, 26)))[number % 2]
    ground, view = Ground(kind, *labs, number), View(1200, 900, 170.0, 7.0, 85.0, 430.0)
    setup = (photo_of(planned).stem, 2000 + number, "demo", "demo", view, light, ground)
    return SceneSpec(*setup, tuple(things), "reflex", _CALM)


def _shipped(spec, path, spp):
    """Draw one photo with its stamp."""
    write_photo(picture(spec, "physical", spp).codes, spec, path, STAMP)
    print(path)


def main():
    """Draw what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", nargs="*", default=["samples", "demo", "scenes"])
    parser.add_argument("--spp", type=int, default=256)
    parser.add_argument("--into", type=Path, default=ROOT, help="the project's folder, or one like it")
    options = parser.parse_args()
    samples, demo, scenes = (options.into / f.relative_to(ROOT) for f in (ROOT / "samples", FOLDER, SCENES))
    for folder in (samples, demo, scenes):
        folder.mkdir(parents=True, exist_ok=True)
    for name, spec in SAMPLES.items() if "samples" in options.what else ():
        _shipped(spec, samples / name, options.spp)
    for planned in filter(photo_of, shop_year()) if "demo" in options.what else ():
        _shipped(shop_scene(planned), demo / photo_of(planned).name, options.spp)
    for seed in range(8) if "scenes" in options.what else ():
        for kind in ("parts", "near", "flaws", "chart"):
            (spec,) = make_scenes(seed, kind, 720, 540, camera=f"invented {seed}")
            calm = replace(spec.develop, quality=88, p3=False)
            draw(replace(spec, develop=calm), "physical", scenes, options.spp)


if __name__ == "__main__":
    main()
