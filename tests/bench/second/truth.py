"""What is true of a picture: outlines, colours, the card, in plain numbers."""

import cv2
import numpy as np


def card_corners(view, corners_mm):
    """Return the card's grey corners in pixels, in order TL, TR, BR, BL of the upright image; (4, 2)."""
    quad = view.flat(corners_mm)
    centre = quad.mean(axis=0)
    quad = quad[np.argsort(np.arctan2(quad[:, 1] - centre[1], quad[:, 0] - centre[0]))]
    return np.roll(quad, -int(np.argmin(quad.sum(axis=1))), axis=0)


def outlines(mask):
    """Return the outer outline (N, 2) of a mask and the list of its holes' outlines, in pixels."""
    found, order = cv2.findContours(mask.astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_TC89_L1)
    if not found:
        return None, []
    outer = [i for i in range(len(found)) if order[0][i][3] < 0]
    main = max(outer, key=lambda i: cv2.contourArea(found[i]))
    holes = [found[i][:, 0] + 0.5 for i in range(len(found)) if order[0][i][3] == main and len(found[i]) > 5]
    return found[main][:, 0] + 0.5, holes


def with_slits(outer, holes):
    """Return one polygon that cuts each hole in by a slit from the outline."""
    polygon = outer
    for hole in holes:
        apart = np.linalg.norm(polygon[:, None] - hole[None], axis=2)
        i, j = np.unravel_index(np.argmin(apart), apart.shape)
        ring = np.roll(hole, -j, axis=0)
        polygon = np.concatenate([polygon[: i + 1], ring, ring[:1], polygon[i:]])
    return polygon


def _part(number, label, solid, film, clipped):
    mask = label == number
    y, x = np.nonzero(mask)
    outer, holes = outlines(mask)
    if outer is None or len(outer) < 3:
        return None
    return {
        "label": number,
        "kind": solid.kind,
        "lab": [float(v) for v in film.lab],
        "in_gamut": film.in_gamut,
        "outline": outer.tolist(),
        "holes": [h.tolist() for h in holes],
        "polygon": with_slits(outer, holes).tolist(),
        "box": [int(x.min()), int(y.min()), int(x.max()) + 1, int(y.max()) + 1],
        "pixels": len(x),
        "clipped_share": float(clipped[mask].mean()),
    }


def describe(scene, names, label, corners_mm, image):
    """Return the truth of a picture as a dictionary; parts run from left to right, and `label` is renumbered so."""
    clipped = np.any((image == 255) | (image == 0), axis=2)
    parts = [_part(i + 1, label, solid, film, clipped) for i, (solid, film, _) in enumerate(scene.parts)]
    order = sorted((i for i, p in enumerate(parts) if p), key=lambda i: np.mean(np.nonzero(label == i + 1)[1]))
    place = {old: new for new, old in enumerate(order)}
    renumber = np.zeros(256, np.uint8)
    for old, new in place.items():
        parts[old]["label"] = renumber[old + 1] = new + 1
    card = None
    if scene.card is not None:
        quad = card_corners(scene.view, corners_mm)
        area = cv2.contourArea(quad.astype(np.float32)) / np.prod(scene.view.size)
        card = {
            "quad": quad.tolist(),
            "lab": [float(v) for v in scene.card["lab"]],
            "rim": scene.card["rim"],
            "share": area,
        }
    camera = scene.camera
    return {
        "size": list(scene.view.size),
        "card": card,
        "parts": [parts[i] for i in order],
        "pairs": [[place[a], place[b]] for a, b in scene.pairs if a in place and b in place],
        "background": scene.background,
        "light": scene.lighting.name,
        "spectra": list(names),
        "camera": camera.path.stem if camera.path else "perfect" if camera.perfect else "default",
        "balance": camera.balance,
        "tone": camera.tone,
        "label": renumber[label],
    }
