"""The grey card, and the flat things that lie about on a bench."""

import numpy as np

from .spectra import lab, neutral
from .table import noise, rectangle

CARDS_MM = ((86, 54), (100, 75), (127, 102), (90, 90), (150, 105), (200, 128))


def draw_card(rng):
    """Return a card: size, rim ("none", "white", "black") and its width, reflectance and Lab."""
    a, b = CARDS_MM[rng.integers(len(CARDS_MM))]
    level = 0.18 if rng.random() < 0.55 else rng.uniform(0.12, 0.26)
    cheap = rng.random() < 0.5
    reflectance = neutral(level, *(rng.normal(0, 0.035, 2) if cheap else rng.normal(0, 0.008, 2)))
    rim = str(rng.choice(["none", "white", "black"], p=[0.45, 0.33, 0.22]))
    width = 0.0 if rim == "none" else rng.uniform(0.04, 0.13) * b
    return {"half": (a / 2, b / 2), "rim": rim, "rim_mm": width, "reflectance": reflectance, "lab": lab(reflectance)}


def paint_card(canvas, card, place, rng):
    """Paint the card at (x, y, angle) and return its grey corners in table mm, (4, 2)."""
    a, b = card["half"]
    wide = card["rim_mm"]
    shadow = rectangle(place[0] + 0.5, place[1] + 0.6, place[2], a + wide, b + wide)
    canvas.polygon(shadow, "ink", opacity=0.35, soft_px=0.9 * canvas.scale)
    grain = rng.uniform(0.002, 0.02)
    if wide:
        canvas.polygon(rectangle(*place, a + wide, b + wide), "white" if card["rim"] == "white" else neutral(0.045))
        c, s = np.cos(place[2]), np.sin(place[2])
        for k in range(rng.integers(0, 12)):  # a line of print on the rim
            u, v = -0.9 * a + k * 0.05 * a, b + wide / 2
            mark = (place[0] + c * u - s * v, place[1] + s * u + c * v, place[2], 0.017 * a, 0.25 * wide)
            canvas.polygon(rectangle(*mark), "ink" if card["rim"] == "white" else "cream")
    corners = rectangle(*place, a, b)
    canvas.polygon(corners, card["reflectance"], lambda shape: 1 + grain * rng.standard_normal(shape, dtype=np.float32))
    return corners


def ruler(canvas, place, half, rng):
    """A rule with ticks along one side: steel, white or yellow."""
    body = [neutral(0.45, 0.08), "white", "yellow", "light wood"][rng.integers(4)]
    canvas.polygon(
        rectangle(place[0] + 0.6, place[1] + 0.8, place[2], *half), "ink", opacity=0.4, soft_px=1.2 * canvas.scale
    )
    canvas.polygon(rectangle(*place, *half), body, lambda shape: 1 + 0.04 * noise(rng, shape, 30))
    c, s = np.cos(place[2]), np.sin(place[2])
    for k in range(int(2 * half[0]) - 6):
        long = 0.45 if k % 10 == 0 else 0.32 if k % 5 == 0 else 0.2
        u, v = k + 3 - half[0], half[1] * (1 - long)
        canvas.polygon(
            rectangle(place[0] + c * u - s * v, place[1] + s * u + c * v, place[2], 0.13, long * half[1]), "ink"
        )
        if k % 10 == 0:
            v = -0.25 * half[1]
            canvas.polygon(
                rectangle(place[0] + c * u - s * v, place[1] + s * u + c * v, place[2], 0.7, 1.1), "ink", opacity=0.8
            )


def paper(canvas, place, half, rng):
    """A sheet of paper, with lines of writing or without."""
    canvas.polygon(rectangle(*place, half[0] + 0.5, half[1] + 0.5), "ink", opacity=0.3, soft_px=canvas.scale)
    canvas.polygon(rectangle(*place, *half), "paper" if rng.random() < 0.7 else "cream")
    if rng.random() < 0.35:
        return
    c, s = np.cos(place[2]), np.sin(place[2])
    for v in np.arange(-0.85, 0.85, max(0.06, 5 / half[1])) * half[1]:
        u = -0.85 * half[0]
        while u < 0.8 * half[0]:
            word = rng.uniform(1.5, 6)
            middle = u + word
            spot = (place[0] + c * middle - s * v, place[1] + s * middle + c * v, place[2], word, 0.7)
            canvas.polygon(rectangle(*spot), "ink", opacity=0.6, soft_px=0.5)
            u += 2 * word + 2
        if rng.random() < 0.2:
            break


def tape(canvas, place, half, rng):
    """A strip of tape."""
    material = ["masking", "towel", "white", neutral(0.25), "red"][rng.integers(5)]
    canvas.polygon(
        rectangle(*place, half[0], half[1] * 0.6),
        material,
        lambda shape: 1 + 0.04 * noise(rng, shape, 12),
        opacity=0.93,
    )


def note(canvas, place, half, rng):
    """A coloured square of paper."""
    material = ["yellow", "red", "towel", "cream", "mat"][rng.integers(5)]
    side = min(half)
    canvas.polygon(
        rectangle(place[0] + 0.5, place[1] + 0.7, place[2], side, side), "ink", opacity=0.3, soft_px=canvas.scale
    )
    canvas.polygon(rectangle(*place, side, side), material)


def grey_cloth(canvas, place, half, rng):
    """A grey rag with a ragged outline, a weave and folds."""
    turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    square = 1 / np.maximum(np.abs(np.cos(turn)), np.abs(np.sin(turn)))
    radius = square * (1 + 0.05 * np.sin(5 * turn + rng.uniform(0, 6)) + 0.03 * rng.standard_normal(60))
    u, v = half[0] * radius * np.cos(turn), half[1] * radius * np.sin(turn)
    c, s = np.cos(place[2]), np.sin(place[2])
    outline = np.column_stack([place[0] + c * u - s * v, place[1] + s * u + c * v])

    def weave(shape):
        y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
        threads = np.sin(x * 1.9) * np.sin(y * 1.9)
        return 1 + 0.12 * threads + 0.16 * noise(rng, shape, max(shape) / 3, 2)

    canvas.polygon(outline + 0.7, "ink", opacity=0.4, soft_px=1.5 * canvas.scale)
    canvas.polygon(outline, neutral(rng.uniform(0.12, 0.3), rng.uniform(-0.1, 0.12)), weave)


def notebook(canvas, place, half, rng):
    """A grey notebook: rounded corners, a row of holes, a label."""
    grey = neutral(rng.uniform(0.13, 0.28), rng.uniform(-0.06, 0.06))
    canvas.polygon(
        rectangle(place[0] + 1, place[1] + 1, place[2], *half), "ink", opacity=0.5, soft_px=1.5 * canvas.scale
    )
    canvas.polygon(rectangle(*place, *half), grey, lambda shape: 1 + 0.03 * noise(rng, shape, 20))
    c, s = np.cos(place[2]), np.sin(place[2])

    def at(u, v):
        return place[0] + c * u - s * v, place[1] + s * u + c * v, place[2]

    for u in np.arange(-0.92, 0.95, max(6 / half[0], 0.04)) * half[0]:
        canvas.polygon(rectangle(*at(u, -half[1] + 4), 1.1, 1.6), "ink")
    canvas.polygon(
        rectangle(*at(rng.uniform(-0.2, 0.2) * half[0], 0.15 * half[1]), 0.4 * half[0], 0.22 * half[1]), "cream"
    )
    canvas.polygon(rectangle(*at(0, 0.15 * half[1]), 0.25 * half[0], 0.6), "ink")


def concrete(canvas, place, half, rng):
    """A chipped grey tile with stains and speckle."""
    box = rectangle(*place, *half)
    chipped = np.concatenate([np.linspace(box[i], box[(i + 1) % 4], 9)[:-1] for i in range(4)])
    chipped = chipped + rng.normal(0, 0.02 * min(half), chipped.shape)
    canvas.polygon(chipped + 0.8, "ink", opacity=0.5, soft_px=1.5 * canvas.scale)

    def speckle(shape):
        return 1 + 0.14 * noise(rng, shape, 30) + 0.16 * rng.standard_normal(shape, dtype=np.float32)

    canvas.polygon(chipped, neutral(rng.uniform(0.16, 0.32), rng.uniform(0, 0.15)), speckle)


FLAT = {"ruler": ruler, "paper": paper, "tape": tape, "note": note}
TEMPTING = {"grey cloth": grey_cloth, "notebook": notebook, "concrete": concrete}


def flat_size(name, rng, width_mm):
    """Return half the length and half the width of a flat thing."""
    if name == "ruler":
        return rng.uniform(50, 160), rng.uniform(7, 16)
    if name == "tape":
        return rng.uniform(10, 60), rng.uniform(7, 20)
    if name == "note":
        return rng.uniform(20, 38), rng.uniform(20, 38)
    scale = 0.22 if name == "paper" else 0.13
    long = rng.uniform(0.6, 1.3) * scale * width_mm
    return long, long * rng.uniform(0.6, 0.9)
