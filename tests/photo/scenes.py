"""Small made-up photographs whose colours are known: flat patches in plain light, as linear arrays or files."""

from io import BytesIO

import numpy as np
from PIL import Image

from dyebook.lab import Lab, lab_to_linear_rgb
from dyebook.photo.measure import look_at
from dyebook.record import ReadOptions

SIZE = (480, 360)
CARD_BOX = (40, 120, 140, 220)
PART_BOX = (300, 110, 420, 230)


def corners(box):
    """Corners of a box, clockwise."""
    x0, y0, x1, y1 = box
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], float)


def flat_light(part, card=(49.5, 0, 0), ground=(60, 0, 0), part_box=PART_BOX):
    """Linear light (H, W, 3) of a card and one flat part on a plain ground, all evenly lit."""
    light = np.empty((SIZE[1], SIZE[0], 3), np.float32)
    light[:] = lab_to_linear_rgb(Lab(*ground))
    for (x0, y0, x1, y1), lab in ((CARD_BOX, card), (part_box, part)):
        light[y0:y1, x0:x1] = lab_to_linear_rgb(Lab(*lab))
    return light


def as_png(light, exif=None):
    """Bytes of an 8-bit sRGB PNG."""
    light = np.clip(light, 0, 1)
    code = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    with BytesIO() as buffer:
        Image.fromarray(np.round(code * 255).astype(np.uint8)).save(buffer, "PNG", **({"exif": exif} if exif else {}))
        return buffer.getvalue()


def read_one(source, card_box=CARD_BOX, part_box=PART_BOX, name="scene", **options):
    """The reading of the part whose box is given."""
    look = look_at(source, ReadOptions(corners(card_box), part_at=[corners(part_box)], **options), name)
    return look.measurement.parts[0]
