"""Random photographs of a small anodiser's bench: what lies where, in which light, by which camera."""

from dataclasses import replace

import numpy as np

from dyebook.demo.spectra import LIGHTS
from dyebook.lab import Lab
from tests.render.bodies import silhouette
from tests.render.cameras import default_camera, random_camera
from tests.render.cards import card_cover
from tests.render.clutter import scattered, tempting, usual
from tests.render.shading import Lamp, Surroundings
from tests.render.spec import Card, Development, FallOff, Ground, SceneSpec
from tests.render.view import View
from tests.render.wares import flawed, near_shade, random_part

__all__ = ["random_scene"]

_PLAN_WIDTH = 240


def random_scene(seed, width=1440, with_card=True, part_count=None, with_flaws=False, cameras=None, **overrides):
    """Return a random photograph's plan; the same seed gives the same plan.

    Parameters
    ----------
    seed : int
    width : int
        Pixels across; the scene itself does not change with it.
    with_card : bool
        False leaves the card out and lays grey things on the bench that tempt a hasty eye.
    part_count : int, optional
        Parts wanted, 0 to 5; drawn at random where not given. Those that find no room are left out.
    with_flaws : bool
        True gives about half of the parts one flaw.
    cameras : dict of str to Camera, optional
        Cameras to choose from, as `load_cameras` returns them; invented sensors where not given.
    **overrides
        Fields of SceneSpec that replace the drawn ones.

    Returns
    -------
    SceneSpec
    """
    rng = np.random.default_rng((seed, 0))
    view = _view(rng, width)
    ground = _ground(rng)
    card = _card(rng, view) if with_card else None
    parts = _parts(rng, part_count, with_flaws)
    busy = ground.kind == "bench" or rng.random() < 0.15
    others = usual(rng, busy) + ([] if with_card else tempting(rng))
    card, bodies = _arranged(rng, view, card, parts, others, lap=rng.random() < 0.2)
    light = _light(rng)
    spec = SceneSpec(
        seed,
        view,
        ground,
        _surroundings(rng),
        light,
        _falloff(rng),
        card,
        bodies,
        _camera(rng, cameras),
        _development(rng, light, ground),
    )
    return replace(spec, **overrides)


def _view(rng, width):
    shape = float(rng.choice([3 / 4, 4 / 3, 2 / 3, 9 / 16], p=[0.5, 0.2, 0.2, 0.1]))
    across = rng.uniform(150, 260) * (0.75 if shape > 1 else 1)
    tilt = abs(rng.normal(0, 11))
    return View(
        width,
        round(width * shape),
        float(across),
        float(min(tilt, 28)),
        float(rng.uniform(0, 360)),
        float(across * 1.8),
    )


def _ground(rng):
    kind = str(rng.choice(["paper", "dark", "grey", "wood", "bench", "plastic", "table"]))
    seed, turn = int(rng.integers(2**31)), float(rng.choice([0, 90]) + rng.normal(0, 12))
    a, b = rng.normal(0, 1.2, 2)
    if kind == "paper":
        return Ground("paper", Lab(rng.uniform(86, 96), a, b), turn_deg=turn, seed=seed)
    if kind in ("dark", "grey"):
        lightness = rng.uniform(10, 26) if kind == "dark" else rng.uniform(35, 62)
        return Ground("cloth", Lab(lightness, a, b), turn_deg=turn, seed=seed)
    if kind in ("wood", "bench"):
        first = Lab(rng.uniform(48, 78), rng.uniform(4, 13), rng.uniform(14, 30))
        second = Lab(first.L - rng.uniform(10, 22), first.a + 3, first.b + 3)
        return Ground(kind, first, second, turn, seed)
    if kind == "plastic":
        hue, chroma = rng.uniform(0, 2 * np.pi), rng.uniform(12, 50)
        return Ground("plastic", Lab(rng.uniform(30, 75), chroma * np.cos(hue), chroma * np.sin(hue)), seed=seed)
    level = rng.uniform(40, 65)
    return Ground("table", Lab(level, a, 2 * b), Lab(level - 4, a, 2 * b + 1), turn, seed)


def _card(rng, view):
    share = np.exp(rng.uniform(np.log(0.032), np.log(0.145)))
    aspect = rng.uniform(1.0, 1.6)
    area = share * view.width_mm**2 * view.height / view.width
    wide, high = np.sqrt(area * aspect), np.sqrt(area / aspect)
    if rng.random() < 0.3:
        wide, high = high, wide
    lab = Lab(49.5, 0, 0) if rng.random() < 0.6 else Lab(rng.uniform(42, 66), rng.normal(0, 1), rng.normal(0, 1.2))
    edge = str(rng.choice(["none", "white", "black"], p=[0.45, 0.35, 0.2]))
    border = 0.0 if edge == "none" else float(rng.uniform(1.5, 6))
    return Card(
        Lab(*map(float, lab)),
        float(wide),
        float(high),
        turn_deg=float(rng.normal(0, 14) + rng.choice([0, 0, 0, 90, 45])),
        border_mm=border,
        border_lab=Lab(93, 0, 1) if edge == "white" else Lab(13, 0, 0),
        marks=bool(rng.random() < 0.5),
        sheen=float(abs(rng.normal(0, 0.015))),
        seed=int(rng.integers(2**31)),
    )


def _parts(rng, count, with_flaws):
    if count is None:
        count = int(rng.choice([0, 1, 2, 3, 4, 5], p=[0.04, 0.24, 0.32, 0.2, 0.12, 0.08]))
    parts = [random_part(rng) for _ in range(count)]
    if count >= 2 and rng.random() < 0.6:
        parts[0] = replace(parts[0], pair=0)
        twin = replace(parts[0], material=near_shade(rng, parts[0].material), seed=parts[1].seed)
        parts[1] = twin if rng.random() < 0.6 else replace(parts[1], material=twin.material, pair=0)
    return [flawed(rng, part) if with_flaws and rng.random() < 0.5 else part for part in parts]


def _arranged(rng, view, card, parts, others, lap):
    """Lay card, parts and clutter out without overlap, but that clutter may `lap` over the card's rim.

    What finds no room is left out.
    """
    plan = view.resized(_PLAN_WIDTH)
    taken = np.zeros((plan.height, plan.width), bool)
    if card:
        for _ in range(60):
            moved = replace(card, **_place(rng, plan, 0.12))
            cover = card_cover(moved, plan, 2.0)
            if not _leaves(cover):
                break
        card = moved
        taken |= cover > 0.05
    kept = []
    for body in [*parts, *others]:
        if lap and card and not body.is_part:
            taken &= ~((cover > 0.05) & ~(card_cover(card, plan, -0.06 * card.width_mm) > 0.05))
        spot = _room(rng, plan, taken, body)
        if spot is not None:
            kept.append(spot)
    return card, tuple(kept)


def _place(rng, plan, margin):
    """A random place in the picture, bench millimetres."""
    spot = plan.to_mm(rng.uniform(margin, 1 - margin, 2) * (plan.width, plan.height))
    return {"x_mm": float(spot[0]), "y_mm": float(spot[1])}


def _leaves(cover):
    """Whether something sticks out of the picture."""
    return max(cover[0].max(), cover[-1].max(), cover[:, 0].max(), cover[:, -1].max()) > 0.05


def _room(rng, plan, taken, body):
    """Return the body laid where there is room, which is then taken; None where there is none."""
    for _ in range(40):
        spot = _place(rng, plan, 0.04)
        moved = scattered(rng, body, (spot["x_mm"], spot["y_mm"]))
        cover = silhouette(moved, plan, 2.5 if body.is_part else 1.0) > 0.05
        if (taken & cover).any() or (body.is_part and _leaves(cover)):
            continue
        taken |= cover
        return moved
    return None


def _surroundings(rng):
    lamps = [_lamp(rng, (0.4, 0.75))] + [_lamp(rng, (0.08, 0.2)) for _ in range(int(rng.random() < 0.4))]
    return Surroundings(
        tuple(lamps),
        walls=float(rng.uniform(0.2, 0.9)),
        camera_dark=float(rng.uniform(0.1, 0.5)),
        lean=float(rng.uniform(0, 0.6)),
        lean_deg=float(rng.uniform(0, 360)),
    )


def _lamp(rng, shares):
    """Bare bulb, tube or window."""
    tube = rng.random() < 0.4
    return Lamp(
        azimuth_deg=float(rng.uniform(0, 360)),
        tilt_deg=float(rng.uniform(20, 55)),
        share=float(rng.uniform(*shares)),
        size_rad=float(np.exp(rng.uniform(np.log(0.05), np.log(0.12 if tube else 0.4)))),
        length_rad=float(rng.uniform(0.2, 0.6)) if tube else 0.0,
        lie_deg=float(rng.normal(0, 25)),
    )


def _light(rng):
    family = str(rng.choice(list(LIGHTS), p=[0.42, 0.15, 0.33, 0.1]))
    return str(rng.choice(LIGHTS[family]))


def _falloff(rng):
    hot = rng.random() < 0.3
    return FallOff(
        slope=float(abs(rng.normal(0, 0.16))) if rng.random() < 0.75 else 0.0,
        slope_azimuth_deg=float(rng.uniform(0, 360)),
        hot=float(rng.uniform(0.08, 0.4)) if hot else 0.0,
        hot_at=(float(rng.uniform(0, 1)), float(rng.uniform(0, 1))),
        hot_size=float(rng.uniform(0.2, 0.5)),
        vignette=float(rng.uniform(0, 0.2)),
        hand=float(rng.uniform(0.2, 0.6)) if rng.random() < 0.12 else 0.0,
        hand_at=(float(rng.choice([0, 1])), float(rng.choice([0, 1]))),
    )


def _camera(rng, cameras):
    if cameras:
        return cameras[str(rng.choice(sorted(cameras)))]
    return default_camera() if rng.random() < 0.15 else random_camera(int(rng.integers(1000)))


def _development(rng, light, ground):
    mode = str(rng.choice(["auto", "auto warm", "preset", "wrong"], p=[0.6, 0.15, 0.15, 0.1]))
    balance = np.exp(rng.normal(0, (0.03, 0.035)))
    preset = ""
    if mode == "auto warm":
        balance = balance * (1.1, 0.85)
    elif mode != "auto":
        preset = str(rng.choice(["D65", "daylight 5500", "blackbody 3200" if mode == "wrong" else "D55"]))
    dark = ground.lab.L < 30
    well = float(np.exp(rng.uniform(np.log(1500), np.log(30000))))
    return Development(
        exposure=float(rng.uniform(0.5, 1.2 if dark else 0.95)),
        balance=(float(balance[0]), float(balance[1])),
        preset=preset,
        contrast=float(rng.choice([0.0, rng.uniform(0.04, 0.15), rng.uniform(0.15, 0.32)], p=[0.45, 0.35, 0.2])),
        lift=float(rng.choice([0.0, rng.uniform(0.005, 0.04)], p=[0.7, 0.3])),
        saturation=float(rng.choice([1.0, rng.uniform(1.02, 1.2)], p=[0.6, 0.4])),
        full_well=well,
        read_noise=float(rng.uniform(2, 8)),
        blur_px=float(rng.uniform(0.35, 1.0)),
        sharpen=float(rng.choice([0.0, rng.uniform(0.2, 0.8)])),
        quality=int(rng.integers(80, 98)),
        turn=int(rng.choice([1, 1, 1, 6, 8, 3])),
    )
