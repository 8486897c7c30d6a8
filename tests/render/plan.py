"""Scenes drawn at random: what lies on the bench, in which light, by which camera; the same for the same seed."""

from dataclasses import replace

import numpy as np

from dyebook.lab import Lab
from tests.render.patterns import FLAWS
from tests.render.scene import FINISHES, GREY, Develop, Film, Ground, Light, Paint, SceneSpec, Thing, View, shaped
from tests.render.shapes import mesh_of
from tests.render.spectra import DYES, LIGHTS, camera_names, training_reflectances
from tests.render.stage import LIGHT_KINDS

__all__ = ["KINDS", "card_things", "chart_things", "flawed", "make_scenes", "plain_scene", "random_film"]

_SPECTRA = {
    "tent": ("led", "daylight", "fluorescent"),
    "overcast": ("daylight",),
    "window": ("daylight",),
    "tubes": ("fluorescent", "led"),
    "lamp": ("incandescent", "led"),
    "two_lamps": ("led", "incandescent"),
}
PAPER = Lab(92, 0, 1)
_GROUNDS = {
    "plain": (Lab(70, 0, 1), Lab(70, 0, 1)),
    "paper": (PAPER, Lab(89, 0, 2)),
    "table": (Lab(82, 1, 4), Lab(76, 1, 5)),
    "wood": (Lab(66, 9, 25), Lab(46, 13, 27)),
    "cloth": (Lab(40, -2, -8), Lab(30, -1, -7)),
    "mat": (Lab(38, -18, 2), Lab(62, -10, 8)),
    "plastic": (Lab(32, 0, -2), Lab(29, 0, -2)),
}
_FINISH_NAMES, _FINISH_SHARES = ("satin", "blasted", "brushed", "polished"), (0.34, 0.26, 0.22, 0.18)


def make_scenes(seed, kind="parts", width=1200, height=900, light=None, camera=None):
    """Return the photographs of one occasion.

    Parameters
    ----------
    seed : int
        Fixes the set-up (camera, light, bench) and what lies there: a seed's chart, parts, twin and repeats share it.
    kind : str
        A key of KINDS.
    width, height : int
        Pixels.
    light, camera : str, optional
        A kind of light and a camera in place of the seed's own.

    Returns
    -------
    list of SceneSpec
        Two for "repeat" (the parts of "parts", moved and turned, each with a balance of its own), else one.
    """
    base = _set_up(seed, width, height, light, camera)
    rng = np.random.default_rng((seed, list(KINDS).index(kind) if kind != "repeat" else 0))
    base = replace(base, kind=kind)
    things, count = KINDS[kind](rng, base), 2 if kind == "repeat" else 1
    scenes = []
    for take in range(count):
        own = np.random.default_rng((seed, list(KINDS).index(kind), take, 7))
        number = int(own.integers(2**31))
        name = f"{base.setup}-{kind}" + (f"{take + 1}" if count > 1 else "")
        laid = things if kind == "chart" else _laid(own, things, base, rows=kind == "rack")
        scenes.append(replace(base, name=name, seed=number, things=laid, develop=_developed(own, base.develop)))
    return scenes


def _set_up(seed, width, height, light, camera):
    """Camera, light and bench of a seed; kinds of light take turns."""
    rng = np.random.default_rng((seed, 991))
    kind = light or LIGHT_KINDS[seed % len(LIGHT_KINDS)]
    group = LIGHTS[str(rng.choice(_SPECTRA[kind]))]
    shone = Light(
        kind,
        str(rng.choice(group)),
        rng.uniform(0.12, 0.45),
        rng.uniform(20, 160),
        rng.uniform(38, 70),
        rng.uniform(50, 160),
        bool(kind != "tent" or rng.random() < 0.3),
    )
    ground = str(rng.choice(list(_GROUNDS), p=[0.08, 0.14, 0.16, 0.2, 0.18, 0.1, 0.14]))
    move = rng.normal(0, (7, 3, 4))
    limits = (8, -40, -40), (95, 40, 40)
    colours = [Lab(*map(float, np.clip(np.add(lab, move), *limits))) for lab in _GROUNDS[ground]]
    names = camera_names()
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
    view = View(
        width, height, rng.uniform(170, 230), float(abs(rng.normal(0, 12))), rng.normal(90, 25), rng.uniform(340, 520)
    )
    camera = camera or str(names[int(rng.integers(len(names)))])
    return SceneSpec(
        setup=f"s{seed:03d}",
        view=view,
        light=shone,
        ground=Ground(ground, *colours, seed),
        camera=camera,
        develop=develop,
    )


def _developed(rng, develop):
    """One photo's own exposure and balance."""
    balance = tuple(float(v) for v in np.exp(rng.normal(0, 0.06, 2)))
    return replace(develop, exposure=rng.uniform(0.62, 0.95), balance=balance)


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
    kind = str(
        rng.choice(
            ["plate", "ring", "cap", "rod", "pen", "knurl", "thread"], p=[0.27, 0.15, 0.14, 0.17, 0.1, 0.11, 0.06]
        )
    )
    u = lambda low, high: rng.uniform(low, high)  # noqa: E731
    if kind == "plate":
        a, b = u(13, 27), u(8, 16)
        r = u(1.3, 2.4)
        holes = [(-a + r + 3, 0.0, r), (a - r - 3, 0.0, r)][: int(rng.integers(0, 3))]
        return shaped(
            kind,
            half_x=a,
            half_y=b,
            corner=u(0.6, 0.6 * b),
            thickness=u(0.8, 2.5),
            holes=tuple(holes),
            bow=max(0.0, rng.normal(0, 0.15)),
        )
    if kind == "ring":
        outer = u(9, 18)
        return shaped(kind, outer=outer, inner=outer * u(0.5, 0.78), thickness=u(2, 5), rounding=u(0.05, 1))
    if kind == "cap":
        return shaped(
            kind,
            radius=u(8, 15),
            height=u(5, 14),
            dome=u(0.1, 1.5),
            edge=u(0.6, 2),
            ribs=int(rng.choice([0, 0, 24, 36])),
        )
    if kind == "rod":
        return shaped(kind, length=u(30, 75), radius=u(3.5, 8), groove=float(rng.choice([0, 0, u(-0.6, 0.6)])))
    if kind == "pen":
        return shaped(kind, length=u(95, 135), radius=u(4.5, 6.5), taper=u(10, 25))
    if kind == "knurl":
        return shaped(kind, length=u(20, 42), radius=u(5, 9), pitch=u(1.0, 1.8), share=u(0.4, 0.85))
    return shaped(kind, length=u(15, 32), radius=u(2.5, 5), pitch=u(0.8, 1.5))


def _finish(rng):
    base = FINISHES[str(rng.choice(_FINISH_NAMES, p=_FINISH_SHARES))]
    wider = rng.uniform(0.8, 1.25)
    return replace(
        base,
        along=base.along * wider,
        across=base.across * wider,
        even=base.even * rng.uniform(0.7, 1.3),
        index=rng.uniform(1.5, 1.65),
    )


def _part(rng, **given):
    wear = float(rng.choice([0, 0, 0, 0.4]))
    own = {
        "shape": _shape(rng),
        "material": random_film(rng),
        "finish": _finish(rng),
        "role": "part",
        "wear": wear,
        "seed": int(rng.integers(2**31)),
    }
    return Thing(**(own | given))


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
    lab, seed = Lab(49.5 + float(rng.choice([0, 0, 4, -6])), 0.0, 0.0), int(rng.integers(2**31))
    rim = rng.uniform(2.5, 6) if rng.random() < 0.5 else 0.0
    return [*card_things(*half, lab, rim, Lab(92, 0, 1) if rim and rng.random() < 0.7 else Lab(14, 0, 0), seed=seed)]


def plain_scene(part, light="D65", noise=0.0, seed=0, **overrides):
    """Return a plain scene for tests: a flat tag of a film or of a Lab (then matt paint) beside a grey card under a
    lamp in a bright room, seen from above by the ideal camera; `noise` is perfect white's, overrides are its fields."""
    if isinstance(light, int | float):
        light = f"daylight {light}" if light >= 4000 else f"blackbody {light}"
    film = isinstance(part, Film)
    shape = shaped("plate", half_x=22.0, half_y=15.0, corner=2.0, thickness=2.0)
    finish = replace(FINISHES["satin" if film else "paint"], name="")
    tag = Thing(shape, part if film else Paint(Lab(*part)), finish, x_mm=35.0, role="part")
    how = Develop(0.9, full_well=1 / noise**2 if noise else 0.0, read_noise=0.0, blur_px=0.0, quality=97)
    spec = SceneSpec(
        "plain",
        seed,
        "plain",
        "plain",
        View(960, 720, 160.0, 0.0),
        Light("lamp", light, 0.5, 40.0, 50.0, 150.0, False),
        Ground(),
        (*card_things(x_mm=-35.0), tag),
        "ideal",
        how,
    )
    return replace(spec, **overrides)


def _clutter(rng):
    """A few things that are no parts."""
    steel, wood = Paint(Lab(70, 0, 1)), Paint(Lab(74, 9, 38))
    ink = {"pattern": "print", "other": Paint(Lab(18, 0, -2))}
    bare, gloss = FINISHES["bare"], FINISHES["glossy paint"]
    choice = [
        Thing(shaped("rod", length=110.0, radius=3.5, edge=0.3), wood, gloss),
        Thing(shaped("cap", radius=11.5, height=2.2, dome=0.05, edge=0.3), Paint(Lab(68, 5, 25)), bare),
        Thing(shaped("plate", half_x=55.0, half_y=9.0, corner=1.0, thickness=0.8), steel, bare, **ink),
        Thing(shaped("ring", outer=22.0, inner=17.0, thickness=12.0, rounding=0.05), Paint(Lab(80, 2, 12)), gloss),
        Thing(shaped("box", half_x=17.0, half_y=12.0, height=9.0), Paint(Lab(45, 45, 25))),
        Thing(shaped("sheet", half_x=38.0, half_y=27.0), Paint(Lab(93, 0, 1)), z_mm=0.2, **ink),
        Thing(shaped("thread", length=26.0, radius=3.0, pitch=1.0), steel, bare),
    ]
    picked = rng.choice(len(choice), size=int(rng.integers(0, 4)), replace=False)
    return [replace(choice[k], seed=int(rng.integers(2**31))) for k in picked]


def _parts(rng, base):
    return [*_card(rng), *(_part(rng) for _ in range(int(rng.integers(2, 6)))), *_clutter(rng)]


def _near_pairs(rng, base):
    things = _card(rng)
    for pair in range(2):
        first = _part(rng, pair=pair)
        same = {"shape": first.shape} if rng.random() < 0.6 else {}
        things += [first, _part(rng, pair=pair, material=_near(rng, first.material), finish=first.finish, **same)]
    return things


def _twin(rng, base):
    """Parts of one shape and finish in several shades, and an undyed piece of the same."""
    first = _part(rng, wear=0.0)
    others = [
        replace(
            first,
            material=replace(random_film(rng), metal=first.material.metal, veil=first.material.veil),
            seed=int(rng.integers(2**31)),
        )
        for _ in range(int(rng.integers(1, 3)))
    ]
    bare = replace(first, material=replace(first.material, absorbance=0.0), role="twin", seed=int(rng.integers(2**31)))
    return [*_card(rng), first, *others, bare]


def flawed(rng, part, kind=None):
    """Return a part with a flaw of a kind in `patterns.FLAWS`, or of any."""
    kind = kind or str(rng.choice(FLAWS))
    film = part.material
    share = float(np.exp(rng.choice([-1, 1]) * rng.uniform(0.25, 0.8)))
    other = replace(film, absorbance=film.absorbance * share)
    if kind == "pale_zone":
        other = replace(film, absorbance=film.absorbance * rng.uniform(0.3, 0.7))
    elif kind == "pit":
        other = replace(film, absorbance=0.1, metal=film.metal * 0.12)
    return replace(part, pattern=kind, other=other)


def _flaws(rng, base):
    parts = [_part(rng, material=replace(random_film(rng), absorbance=rng.uniform(0.2, 1.0))) for _ in range(4)]
    return [*_card(rng), *(flawed(rng, part) if k % 2 == 0 else part for k, part in enumerate(parts))]


def _steps(rng, base):
    film = replace(random_film(rng), absorbance=rng.uniform(0.5, 1.3))
    count = int(rng.integers(4, 8))
    strip = _part(
        rng,
        material=film,
        shape=shaped("plate", half_x=rng.uniform(45, 60), half_y=rng.uniform(7, 10), corner=1.0),
        wear=0.0,
    )
    pale = replace(film, absorbance=film.absorbance * rng.uniform(0.08, 0.2))
    return [*_card(rng), replace(strip, pattern="steps:" + ",".join("1" * count), other=pale), _part(rng)]


def _rack(rng, base):
    """A load of one job: one shape and finish, a shade that varies a little."""
    shape = _shape(rng)
    while mesh_of(shape).size_mm[:2].max() > 42:
        shape = _shape(rng)
    first = _part(rng, shape=shape, wear=0.0)
    rest = [
        replace(first, material=_near(rng, first.material), seed=int(rng.integers(2**31)))
        for _ in range(int(rng.integers(6, 11)))
    ]
    return [*_card(rng), first, *rest]


def chart_things(turn_deg=-6.0):
    """Return a 24-patch chart (reflectances of ISO 17321-1) on its dark frame, patches in reading order."""
    pitch, turn = 20.0, np.radians(turn_deg)
    axes = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    things = [
        Thing(
            shaped("plate", half_x=68.0, half_y=48.0, corner=3.0, thickness=1.0),
            Paint(Lab(16, 0, 0)),
            turn_deg=turn_deg,
        )
    ]
    for patch, reflectance in enumerate(training_reflectances()[:24]):
        at = np.array([patch % 6 - 2.5, 1.5 - patch // 6]) * pitch @ axes
        sheet = shaped("sheet", half_x=8.5, half_y=8.5)
        things.append(
            Thing(
                sheet,
                Paint(tuple(map(float, reflectance))),
                x_mm=float(at[0]),
                y_mm=float(at[1]),
                z_mm=1.05,
                turn_deg=turn_deg,
                role="patch",
            )
        )
    return tuple(things)


def _chart(rng, base):
    return chart_things(rng.normal(0, 8))


KINDS = {
    "parts": _parts,
    "near": _near_pairs,
    "repeat": _parts,
    "twin": _twin,
    "flaws": _flaws,
    "steps": _steps,
    "rack": _rack,
    "chart": _chart,
}


def _laid(rng, things, base, rows=False):
    """The things where there is room for them; what finds none stays away."""
    half = np.array([0.5, 0.5 * base.view.height / base.view.width]) * base.view.width_mm * 0.93
    placed, taken = [], []
    things = list(things)
    rims = {thing.seed: thing for thing in things if thing.role == "rim"}
    for thing in [thing for thing in things if thing.role != "rim"]:
        size = mesh_of(thing.shape).size_mm[:2] / 2
        if thing.role == "card" and thing.seed in rims:
            size = mesh_of(rims[thing.seed].shape).size_mm[:2] / 2
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
        moved = {"x_mm": float(at[0]), "y_mm": float(at[1]), "turn_deg": turn}
        placed.append(replace(thing, **moved))
        if thing.role == "card" and thing.seed in rims:
            placed.append(replace(rims[thing.seed], **moved, role="clutter"))
    return tuple(placed)
