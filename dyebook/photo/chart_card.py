"""A 24-patch chart as the card: its neutral 5 tells the light, all of its patches what the camera does to colours."""

from dataclasses import replace

import cv2
import numpy as np

from dyebook.errors import PhotoError
from dyebook.lab import Lab
from dyebook.photo.camera import learn_camera
from dyebook.photo.card import card_at, order_corners
from dyebook.photo.chart import COLUMNS, PATCHES, ROWS, TABLES, chart_lab, patch_quads
from dyebook.photo.chart_find import find_chart

__all__ = ["chart_card"]

_NEUTRAL_5 = PATCHES.index("neutral 5")
# side of the patch that is pointed out as the card, and how far the chart's frame reaches past the middles of its
# outer patches, both as shares of the pitch
_SIDE, _FRAME = 0.7, 0.85
# finer looks cost another second on every photo that is refused
_FINEST = 2800


def chart_card(photo):
    """Return the chart of a photo as its card, and the camera as the chart shows it.

    Parameters
    ----------
    photo : LinearPhoto

    Returns
    -------
    card : Card
        Of kind ``chart``: the patch neutral 5, with the whole chart as what it covers.
    camera : CameraProfile or None
        Learned from this very photo; None, and the card doubtful, where too few patches can be used.

    Raises
    ------
    PhotoError
        If no chart is found, or its grey is black or blown out.
    """
    corners = find_chart(photo, finest=_FINEST)
    try:
        camera, doubts = learn_camera(photo, photo.name, chart_at=corners), ()
    except PhotoError:
        camera, doubts = None, ("card_doubtful",)
    else:
        doubts = camera.flags
    table = list(TABLES)[-1] if camera is None else camera.table
    lab = Lab(*map(float, chart_lab(table)[_NEUTRAL_5]))
    card = card_at(photo, patch_quads(corners, _SIDE)[_NEUTRAL_5], lab)
    flags = tuple(dict.fromkeys([*card.flags, *doubts]))
    return replace(card, kind="chart", flags=flags, whole=_frame(corners)), camera


def _frame(corners):
    """Corners (4, 2) of a chart with its frame, from the middles of its corner patches."""
    grid = np.array([(0, 0), (COLUMNS - 1, 0), (COLUMNS - 1, ROWS - 1), (0, ROWS - 1)], np.float32)
    outward = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)], np.float32) * _FRAME
    to_photo = cv2.getPerspectiveTransform(grid, np.asarray(corners, np.float32))
    return order_corners(cv2.perspectiveTransform((grid + outward)[None], to_photo)[0])
