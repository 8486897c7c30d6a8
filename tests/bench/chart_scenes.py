"""Pictures of 24-patch charts with known places, and of things that only resemble one."""

import cv2
import numpy as np

from dyebook.lab import lab_to_linear_rgb
from dyebook.photo.camera.chart import COLUMNS, ROWS, chart_lab

__all__ = ["ODD_LAYOUTS", "draw_chart", "picture_of"]

_UNIT = 40  # drawn pixels per pitch
_MARGIN = 0.65
ODD_LAYOUTS = ("shuffled", "mirrored", "cut", "covered", "five rows", "greys swapped", "random colours", "none")


def draw_chart(colours, rng, columns=COLUMNS, share=None):
    """Linear picture of patches on a dark frame, with the pitch in its pixels."""
    rows = len(colours) // columns
    share = rng.uniform(0.78, 0.92) if share is None else share
    side = round(_UNIT * share)
    margin = round(_MARGIN * _UNIT)
    frame = np.full((rows * _UNIT + 2 * margin, columns * _UNIT + 2 * margin, 3), rng.uniform(0.02, 0.05), np.float32)
    for patch, colour in enumerate(colours):
        y, x = margin + (patch // columns) * _UNIT, margin + (patch % columns) * _UNIT
        gap = (_UNIT - side) // 2
        frame[y + gap : y + gap + side, x + gap : x + gap + side] = np.maximum(colour, 0.001)
    return frame


def picture_of(seed, background, layout=None, pitch_px=None, turn_deg=None):
    """Return (linear picture, corner centres or None) of a chart laid on a background.

    Parameters
    ----------
    seed : int
    background : ndarray, shape (H, W, 3)
        Linear light; lightly brightened.
    layout : str, optional
        One of `ODD_LAYOUTS`, or None for the true chart.
    pitch_px, turn_deg : float, optional
        Drawn at random where left out: 30 to 120 px, mostly upright.
    """
    rng = np.random.default_rng(seed)
    light = _colours(rng)
    chart, centres = _arrange(layout, light, rng)
    pitch = pitch_px or float(np.exp(rng.uniform(np.log(30), np.log(120))))
    pitch = min(pitch, background.shape[1] / (COLUMNS + 3), background.shape[0] / (ROWS + 3))
    to_picture = _pose(chart.shape, background.shape, pitch, turn_deg, rng)
    if layout == "cut":
        to_picture = _slide_out(to_picture, centres, background.shape, pitch, rng)
    picture = background.copy()
    if layout != "none":
        _lay(picture, chart, to_picture)
    places = cv2.perspectiveTransform(centres[None], to_picture)[0]
    if layout == "covered":
        _cover(picture, places, pitch, rng)
    return _expose(picture, rng), (places if layout is None else None)


def _colours(rng):
    """Patches as an imperfect camera would give them."""
    light = lab_to_linear_rgb(chart_lab(rng.choice(["before-2014", "after-2014"])))
    mix = np.eye(3) + rng.normal(0, 0.08, (3, 3))
    mix /= mix.sum(axis=1, keepdims=True)
    return np.maximum(light @ mix.T, 0.001) * np.exp(rng.normal(0, 0.12, 3)) * rng.uniform(0.5, 1.0)


def _arrange(layout, light, rng):
    """Picture of a layout and the centres of its corner patches in it."""
    columns = COLUMNS
    if layout == "shuffled":
        light = light[rng.permutation(24)]
    elif layout == "mirrored":
        light = light.reshape(ROWS, COLUMNS, 3)[:, ::-1].reshape(24, 3)
    elif layout == "greys swapped":
        light = light.copy()
        light[18:] = light[18:][::-1]
    elif layout == "random colours":
        light = rng.uniform(0.02, 0.9, (24, 3))
    elif layout == "five rows":
        light = np.vstack([light, light[rng.permutation(24)[:COLUMNS]]])
    chart = draw_chart(light, rng, columns)
    first = _MARGIN * _UNIT + _UNIT / 2
    far = first + np.array([COLUMNS - 1, ROWS - 1]) * _UNIT
    return chart, np.array([(first, first), (far[0], first), (far[0], far[1]), (first, far[1])])


def _pose(shape, frame, pitch, turn_deg, rng):
    """Perspective that lays a drawn chart into a frame."""
    height, width = shape[:2]
    turn = rng.choice([0, 0, 0, 180, 90, 270]) + rng.normal(0, 8) if turn_deg is None else turn_deg
    angle = np.radians(turn)
    corners = np.array([(0, 0), (width, 0), (width, height), (0, height)], float)
    offset = (corners - (width / 2, height / 2)) * pitch / _UNIT
    turned = offset @ np.array([(np.cos(angle), np.sin(angle)), (-np.sin(angle), np.cos(angle))])
    turned = turned * (1 + rng.normal(0, 0.05, (4, 1)))
    room = np.maximum(np.array(frame[1::-1]) - np.ptp(turned, axis=0), 0)
    place = turned - turned.min(axis=0) + rng.uniform(0, 1, 2) * room
    return cv2.getPerspectiveTransform(corners.astype(np.float32), place.astype(np.float32)).astype(float)


def _slide_out(to_picture, centres, frame, pitch, rng):
    """Move a chart so that an edge of the frame cuts one or two of its columns off."""
    places = cv2.perspectiveTransform(centres[None], to_picture)[0]
    shift = np.eye(3)
    lost = rng.uniform(0.3, 1.8) * pitch
    shift[0, 2] = (-places[:, 0].min() - lost) if rng.random() < 0.5 else (frame[1] - places[:, 0].max() + lost)
    return shift @ to_picture


def _lay(picture, chart, to_picture):
    """Lay a drawn chart over a picture."""
    size = picture.shape[1::-1]
    laid = cv2.warpPerspective(chart, to_picture, size, flags=cv2.INTER_AREA)
    mask = cv2.warpPerspective(np.ones(chart.shape[:2], np.float32), to_picture, size, flags=cv2.INTER_LINEAR)
    picture[:] = laid + picture * (1 - mask[..., None])


def _cover(picture, places, pitch, rng):
    """A blob of another colour over two or three patches."""
    middle = places.mean(axis=0) + (places[rng.integers(4)] - places.mean(axis=0)) * rng.uniform(0.3, 0.9)
    colour = rng.uniform(0.05, 0.8, 3)
    axes = (int(pitch * rng.uniform(0.9, 1.3)), int(pitch * rng.uniform(0.6, 0.9)))
    cv2.ellipse(picture, tuple(int(v) for v in middle), axes, rng.uniform(0, 180), 0, 360, colour.tolist(), -1)


def _expose(picture, rng):
    """Fall-off, blur, tone curve, noise and 8-bit codes, back in claimed light."""
    height, width = picture.shape[:2]
    slope = rng.normal(0, 0.15, 2)
    x, y = np.linspace(-1, 1, width)[None, :], np.linspace(-1, 1, height)[:, None]
    lit = picture * np.exp(slope[0] * x + slope[1] * y)[..., None].astype(np.float32)
    lit = cv2.GaussianBlur(lit, (0, 0), rng.uniform(0.5, 1.1))
    codes = np.clip(lit, 0, 1) ** (rng.uniform(0.8, 1.4) / 2.2)
    codes = np.clip(codes + rng.normal(0, rng.uniform(0.002, 0.012), codes.shape), 0, 1)
    return (np.round(codes * 255) / 255) ** 2.2
