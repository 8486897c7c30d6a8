"""Scenes drawn at random: what lies on the bench, in which light, by which camera; the same for the same seed."""

from dataclasses import replace

import numpy as np

from dyebook.lab import Lab
from tests.render.patterns import FLAWS
from tests.render.scene import FINISHES, TABLES, Develop, Film, Ground, Light, Paint, SceneSpec, Thing, View, shaped
from tests.render.shapes import mesh_of
from tests.render.spectra import DYES, camera_names, training_reflectances

GREY, PAPER = Lab(49.5, 0.0, 0.0), Lab(92, 0, 1)


def make_scenes(seed, kind="parts", width=1200, height=900, camera=None):
    """Return the photographs (SceneSpec) of one occasion: for "repeat" two, moved and turned between them, else one.

    A seed fixes the set-up (light, bench, and camera where none is given): its chart, parts, twin and repeats share it.
    """
    base = replace(_set_up(seed, width, height, camera), kind=kind)
    number = list(KINDS).index(kind)
    rng = np.random.default_rng((seed, number if kind != "repeat" else 0))
    things, count = KINDS[kind](rng), 2 if kind == "repeat" else 1
    scenes = []
    for take in range(count):
        own = np.random.default_rng((seed, number, take, 7))
        name, noise = f"{base.setup}-{kind}" + (f"{take + 1}" if count > 1 else ""), int(own.integers(2**31))
        laid = things if kind == "chart" else _laid(own, things, base, rows=kind == "rack")
        balance = tuple(float(v) for v in np.exp(own.normal(0, 0.06, 2)))
        develop = replace(base.develop, exposure=own.uniform(0.62, 0.95), balance=balance)
        scenes.append(replace(base, name=name, seed=noise, things=laid, develop=develop))
    return scenes


def _set_up(seed, width, height, camera):
    """Camera, light and bench of a seed; kinds of light take turns."""
    rng = np.random.default_rng((seed, 991))
    kind = list(TABLES["spectra_of_light"])[seed % len(TABLES["spectra_of_light"])]
    spectrum = str(rng.choice(TABLES["lights"][str(rng.choice(TABLES["spectra_of_light"][kind]))]))
    sizes = [rng.uniform(*ends) for ends in ((0.12, 0.45), (20, 160), (38, 70), (50, 160))]
    shone = Light(kind, spectrum, *sizes, bool(kind != "tent" or rng.random() < 0.3))
    ground = str(rng.choice(list(TABLES["grounds"]), p=[0.08, 0.14, 0.16, 0.2, 0.18, 0.1, 0.14]))
    labs = np.add(TABLES["grounds"][ground], rng.normal(0, (7, 3, 4)))
    colours = [Lab(*map(float, lab)) for lab in np.clip(labs, (8, -40, -40), (95, 40, 40))]
    develop = Develop(
        contrast=float(rng.choice([0.0, 0.1, 0.2, 0.3])),
        lift=float(rng.choice([0, 0, 0.01])),
        saturation=rng.uniform(1.0, 1.18),
        full_well=float(np.exp(rng.uniform(np.log(4000), np.log(30000)))),
        blur_px=rng.uniform(0.4, 0.8),
        sharpen=float(rng.choice([0.0, 0.3, 0.6])),
        vignette=rng.uniform(0, 0.12),
        p3=bool(rng.random() < 0.25),
        quality=int(rng.integers(82, 94)),
    )
    place = rng.uniform(170, 230), float(abs(rng.normal(0, 12))), rng.normal(90, 25), rng.uniform(340, 520)
    camera = camera or str(rng.choice(camera_names()))
    view, bench = View(width, height, *place), Ground(ground, *colours, seed)
    return SceneSpec("", 0, "", f"s{seed:03d}", view, shone, bench, (), camera, develop)


def random_film(rng):
    """Return a film from pale to near black: one dye, or two mixed."""
    names = ["grey"] if rng.random() < 0.08 else rng.choice(list(DYES), size=1 + (rng.random() < 0.4), replace=False)
    shares = rng.dirichlet(np.full(len(names), 2.0))
    bands = tuple(
        (float(peak + rng.normal(0, 8)), float(sigma * rng.uniform(0.85, 1.2)), float(weight * share))
        for name, share in zip(names, shares, strict=True)
        for peak, sigma, weight in DYES[str(name)]
    )
    absorbance = float(np.exp(rng.uniform(np.log(0.05), np.log(1.5))))
    return Film(bands, absorbance, rng.uniform(0.74, 0.93), rng.uniform(0.001, 0.01))


def _near(rng, film):
    """A film a few ΔE from another: a little more or less dye, a slightly moved mix."""
    bands = tuple((peak, sigma, float(weight * np.exp(rng.normal(0, 0.05)))) for peak, sigma, weight in film.bands)
    return replace(film, bands=bands, absorbance=film.absorbance * float(np.exp(rng.normal(0, 0.13))))


def _shape(rng):
    kind = str(rng.choice(list(TABLES["shapes"]), p=[0.27, 0.15, 0.14, 0.17, 0.1, 0.11, 0.06]))
    sizes = {name: rng.uniform(*ends) for name, ends in TABLES["shapes"][kind].items()}
    if kind == "plate":
        a, b, r = sizes["half_x"], sizes["half_y"], sizes.pop("hole")
        sizes["holes"] = tuple((side * (a - r - 3), 0.0, r) for side in (-1, 1))[: int(rng.integers(0, 3))]
        sizes |= {"corner": rng.uniform(0.6, 0.6 * b), "thickness": rng.uniform(0.8, 2.5)}
        sizes["bow"] = max(0.0, rng.normal(0, 0.15))
    elif kind == "ring":
        sizes["inner"] *= sizes["outer"]
    elif kind == "cap":
        sizes["ribs"] = int(rng.choice([0, 0, 24, 36]))
    elif kind == "rod":
        sizes["groove"] = float(rng.choice([0, 0, sizes["groove"]]))
    return shaped(kind, **sizes)


def _finish(rng):
    base, wider = FINISHES[str(rng.choice(TABLES["dyed"], p=[0.34, 0.26, 0.22, 0.18]))], rng.uniform(0.8, 1.25)
    even, index = base.even * rng.uniform(0.7, 1.3), rng.uniform(1.5, 1.65)
    return replace(base, along=base.along * wider, across=base.across * wider, even=even, index=index)


def _seed(rng):
    return int(rng.integers(2**31))


def _part(rng, **given):
    wear = float(rng.choice([0, 0, 0, 0.4]))
    own = Thing(_shape(rng), random_film(rng), _finish(rng), role="part", wear=wear, seed=_seed(rng))
    return replace(own, **given)


def card_things(half_x=30.0, half_y=22.5, lab=GREY, rim_mm=0.0, rim_lab=PAPER, **placed):
    """Return a grey card, and the border with small print that it lies on where `rim_mm` is not 0."""
    card = Thing(shaped("sheet", half_x=half_x, half_y=half_y), Paint(lab), z_mm=0.6, role="card", **placed)
    if not rim_mm:
        return (card,)
    ink = Paint(Lab(20, 0, 0) if rim_lab.L > 50 else Lab(85, 0, 0))
    under = shaped("sheet", half_x=half_x + rim_mm, half_y=half_y + rim_mm)
    return (card, Thing(under, Paint(rim_lab), z_mm=0.3, role="rim", pattern="print", other=ink, **placed))


def _card(rng):
    """A grey card, half of them on a border."""
    half = rng.uniform(24, 33), rng.uniform(17, 24)
    lab, seed = Lab(49.5 + float(rng.choice([0, 0, 4, -6])), 0.0, 0.0), _seed(rng)
    rim = rng.uniform(2.5, 6) if rng.random() < 0.5 else 0.0
    return [*card_things(*half, lab, rim, PAPER if rim and rng.random() < 0.7 else Lab(14, 0, 0), seed=seed)]


def plain_scene(part, light="D65", noise=0.0, seed=0, **overrides):
    """Return a plain scene for tests: a flat tag of a film or of a Lab (then matt paint) beside a grey card under a
    lamp in a bright room, seen from above by the ideal camera; `noise` is perfect white's, overrides are its fields."""
    light = light if isinstance(light, str) else f"{'daylight' if light >= 4000 else 'blackbody'} {light}"
    film = isinstance(part, Film)
    shape = shaped("plate", half_x=22.0, half_y=15.0, corner=2.0, thickness=2.0)
    finish = replace(FINISHES["satin" if film else "paint"], name="")
    tag = Thing(shape, part if film else Paint(Lab(*part)), finish, x_mm=35.0, role="part")
    view, lamp = View(960, 720, 160.0, 0.0), Light("lamp", light, 0.5, 40.0, 50.0, 150.0, False)
    how = Develop(0.9, full_well=1 / noise**2 if noise else 0.0, read_noise=0.0, blur_px=0.0, quality=97)
    things = (*card_things(x_mm=-35.0), tag)
    return replace(SceneSpec("plain", seed, "plain", "plain", view, lamp, Ground(), things, "ideal", how), **overrides)


def _clutter(rng):
    picked = rng.choice(len(TABLES["clutter"]), int(rng.integers(0, 4)), replace=False)
    return [_clutter_thing(**TABLES["clutter"][k], seed=_seed(rng)) for k in picked]


def _clutter_thing(kind, sizes, lab, finish="paint", printed=False, **placed):
    ink = {"pattern": "print", "other": Paint(Lab(18, 0, -2))} if printed else {}
    return Thing(shaped(kind, **sizes), Paint(Lab(*lab)), FINISHES[finish], **ink, **placed)


def _parts(rng):
    return [*_card(rng), *(_part(rng) for _ in range(int(rng.integers(2, 6)))), *_clutter(rng)]


def _near_pairs(rng):
    things = _card(rng)
    for pair in range(2):
        first = _part(rng, pair=pair)
        same = {"shape": first.shape} if rng.random() < 0.6 else {}
        things += [first, _part(rng, pair=pair, material=_near(rng, first.material), finish=first.finish, **same)]
    return things


def _twin(rng):
    """Parts of one shape and finish in several shades, and an undyed piece of the same."""
    first = _part(rng, wear=0.0)
    metal = {"metal": first.material.metal, "veil": first.material.veil}
    films = (replace(random_film(rng), **metal) for _ in range(int(rng.integers(1, 3))))
    others = [replace(first, material=film, seed=_seed(rng)) for film in films]
    bare = replace(first, material=replace(first.material, absorbance=0.0), role="twin", seed=_seed(rng))
    return [*_card(rng), first, *others, bare]


def _flawed(rng, part):
    kind, film = str(rng.choice(FLAWS)), part.material
    share = float(np.exp(rng.choice([-1, 1]) * rng.uniform(0.25, 0.8)))
    other = replace(film, absorbance=film.absorbance * share)
    if kind == "pale_zone":
        other = replace(film, absorbance=film.absorbance * rng.uniform(0.3, 0.7))
    elif kind == "pit":
        other = replace(film, absorbance=0.1, metal=film.metal * 0.12)
    return replace(part, pattern=kind, other=other)


def _flaws(rng):
    parts = [_part(rng, material=replace(random_film(rng), absorbance=rng.uniform(0.2, 1.0))) for _ in range(4)]
    return [*_card(rng), *(_flawed(rng, part) if k % 2 == 0 else part for k, part in enumerate(parts))]


def _steps(rng):
    film = replace(random_film(rng), absorbance=rng.uniform(0.5, 1.3))
    count = int(rng.integers(4, 8))
    shape = shaped("plate", half_x=rng.uniform(45, 60), half_y=rng.uniform(7, 10), corner=1.0)
    strip = _part(rng, material=film, shape=shape, wear=0.0)
    pale = replace(film, absorbance=film.absorbance * rng.uniform(0.08, 0.2))
    return [*_card(rng), replace(strip, pattern="steps:" + ",".join("1" * count), other=pale), _part(rng)]


def _rack(rng):
    """A load of one job: one shape and finish, a shade that varies a little."""
    shape = _shape(rng)
    while mesh_of(shape).size_mm[:2].max() > 42:
        shape = _shape(rng)
    first, count = _part(rng, shape=shape, wear=0.0), int(rng.integers(6, 11))
    rest = [replace(first, material=_near(rng, first.material), seed=_seed(rng)) for _ in range(count)]
    return [*_card(rng), first, *rest]


def chart_things(turn_deg=-6.0):
    """Return a 24-patch chart (reflectances of ISO 17321-1) on its dark frame, patches in reading order."""
    pitch, turn = 20.0, np.radians(turn_deg)
    axes = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    frame = shaped("plate", half_x=68.0, half_y=48.0, corner=3.0, thickness=1.0)
    things, sheet = [Thing(frame, Paint(Lab(16, 0, 0)), turn_deg=turn_deg)], shaped("sheet", half_x=8.5, half_y=8.5)
    for patch, reflectance in enumerate(training_reflectances()[:24]):
        x, y = map(float, np.array([patch % 6 - 2.5, 1.5 - patch // 6]) * pitch @ axes)
        paint = Paint(tuple(map(float, reflectance)))
        things.append(Thing(sheet, paint, x_mm=x, y_mm=y, z_mm=1.05, turn_deg=turn_deg, role="patch"))
    return tuple(things)


KINDS = {
    "parts": _parts, "near": _near_pairs, "repeat": _parts, "twin": _twin, "flaws": _flaws, "steps": _steps,
    "rack": _rack, "chart": lambda rng: chart_things(rng.normal(0, 8)),
}  # fmt: skip


def _laid(rng, things, base, rows=False):
    """The things where there is room for them; what finds none stays away."""
    half = np.array([0.5, 0.5 * base.view.height / base.view.width]) * base.view.width_mm * 0.93
    placed, taken, rims = [], [], {thing.seed: thing for thing in things if thing.role == "rim"}
    for thing in [thing for thing in things if thing.role != "rim"]:
        rim = rims.get(thing.seed) if thing.role == "card" else None
        size = mesh_of((rim or thing).shape).size_mm[:2] / 2
        for _ in range(400):
            turn = float(rng.normal(0, 6) if rows or thing.role == "card" else rng.uniform(0, 360))
            c, s = abs(np.cos(np.radians(turn))), abs(np.sin(np.radians(turn)))
            box = np.array([c * size[0] + s * size[1], s * size[0] + c * size[1]])
            room = half - box - 1 if thing.role != "clutter" else half + 5
            if np.any(room <= 0):
                continue
            at = rng.uniform(-room, room)
            if all(np.any(np.abs(at - other) > box + reach + 2.5) for other, reach in taken):
                break
        else:
            continue
        taken.append((at, box))
        for one in (thing, replace(rim, role="clutter")) if rim else (thing,):
            placed.append(replace(one, x_mm=float(at[0]), y_mm=float(at[1]), turn_deg=turn))
    return tuple(placed)
