"""The 24-patch chart: what its patches are, and what a photo shows of them."""

import csv
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np

from dyebook.errors import PhotoError
from dyebook.lab import adapt_lab
from dyebook.photo.card.card import fill_polygon
from dyebook.photo.file.linear import LinearPhoto

__all__ = [
    "COLOURS",
    "COLUMNS",
    "CORNERS",
    "COUNT",
    "GREYS",
    "NEUTRAL_5",
    "PATCHES",
    "PLACES",
    "ROWS",
    "TABLES",
    "ChartReading",
    "chart_lab",
    "patch_quads",
    "read_chart",
]

ROWS, COLUMNS = 4, 6
COUNT = ROWS * COLUMNS
# column and row of each patch, (24, 2), and of those at the corners, (4, 2)
PLACES = np.stack(np.meshgrid(np.arange(COLUMNS), np.arange(ROWS)), axis=-1).reshape(COUNT, 2)
CORNERS = np.array([(0, 0), (COLUMNS - 1, 0), (COLUMNS - 1, ROWS - 1), (0, ROWS - 1)], np.float32)
# fmt: off
PATCHES = (
    "dark skin", "light skin", "blue sky", "foliage", "blue flower", "bluish green",
    "orange", "purplish blue", "moderate red", "purple", "yellow green", "orange yellow",
    "blue", "green", "red", "yellow", "magenta", "cyan",
    "white", "neutral 8", "neutral 6.5", "neutral 5", "neutral 3.5", "black",
)
# fmt: on
COLOURS, GREYS = range(18), range(18, COUNT)
NEUTRAL_5 = PATCHES.index("neutral 5")
TABLES = {"before-2014": "ColorChecker24 - Before November 2014", "after-2014": "ColorChecker24 - After November 2014"}

# share of the pitch that is read: patches cover about 0.85 of it, and their edges blur
_INNER = 0.5
_WORKING_PIXELS, _FEWEST_PIXELS = 2500, 9
# share left out at either end of the light of a patch, and share at a channel's limit from which it is clipped
_TRIM, _CLIPPED = 0.1, 0.02
# chroma that no grey of a table has
_GREY_CHROMA = 12


@dataclass(frozen=True)
class ChartReading:
    """What one photo shows of a chart, patches in reading order."""

    quads: np.ndarray  # (24, 4, 2): what was read of each patch, in pixels of the upright photo
    light: np.ndarray  # (24, 3): trimmed mean in the linear light of the file's own primaries, as the file claims it
    spread: np.ndarray  # (24,): relative spread of the luminance over the patch, noise and print included
    clipped: np.ndarray  # bool (24,): patches of which part stood at the limit of a channel


@cache
def chart_lab(table: str = "after-2014") -> np.ndarray:
    """Return the patches' own colours.

    They are L*, a*, b* under D65, 2 degrees, of shape (24, 3). `table`: ``"before-2014"``, ``"after-2014"`` (the maker
    changed its pigments in November 2014), or a CSV file with 24 rows and columns L, a, b, and optionally ``white``
    (D50 or D65, the same in every row; D50 if left out).

    Notes
    -----
    The tables are stated under D50 and carried to D65 by Bradford. Measured spectra would do better: over the
    chart's spectra that colour-science ships the two ways differ by 0.6 ΔE00 on average and 1.2 at most (light skin).
    """
    if table not in TABLES:
        return _own_table(table)
    import colour

    chart = colour.CCS_COLOURCHECKERS[TABLES[table]]
    xyz = colour.xyY_to_XYZ(np.array(list(chart.data.values())))
    return adapt_lab(colour.XYZ_to_Lab(xyz, chart.illuminant), "D50")


def _own_table(path):
    needed = "24 rows with columns L, a, b are needed (and white, D50 or D65, where it is not D50)"
    if not Path(path).is_file():
        raise PhotoError(f"no chart table {path}; known are {' and '.join(TABLES)}, or name a CSV file: {needed}")
    try:
        with Path(path).open(newline="", encoding="utf-8-sig") as lines:
            rows = list(csv.DictReader(lines))
        lab = np.array([[float(row[name]) for name in "Lab"] for row in rows])
    except (KeyError, TypeError, ValueError, csv.Error) as fault:
        raise PhotoError(f"chart table {Path(path).name} cannot be read ({fault}); {needed}") from fault
    whites = {(row.get("white") or "D50").strip().upper() for row in rows}
    if lab.shape != (COUNT, 3) or not np.isfinite(lab).all() or len(whites) != 1 or not whites <= {"D50", "D65"}:
        raise PhotoError(f"chart table {Path(path).name} has {len(rows)} rows under {', '.join(whites)}; {needed}")
    if np.any(np.diff(lab[GREYS, 0]) >= 0) or np.abs(lab[GREYS, 1:]).max() > _GREY_CHROMA:
        raise PhotoError(
            f"rows 18 to 23 of chart table {Path(path).name} are no grey ramp from white to black; "
            "write the patches in reading order, dark skin first"
        )
    return adapt_lab(lab, "D50") if whites == {"D50"} else lab


def patch_quads(corners, share: float = _INNER) -> np.ndarray:
    """Return the middle of each patch, (24, 4, 2), from the centres of the four patches at the chart's corners.

    `corners` (4, 2): centres of dark skin, bluish green, black and white, in pixels of the upright photo. `share`: side
    of what is returned, as a share of the pitch.
    """
    corners = np.asarray(corners, dtype=np.float32)
    if corners.shape != (4, 2):
        raise ValueError(f"corners has shape {corners.shape}; (4, 2) is needed")
    steps = np.roll(corners, -1, axis=0) - corners
    turns = steps[:, 0] * np.roll(steps[:, 1], -1) - steps[:, 1] * np.roll(steps[:, 0], -1)
    if turns.min() <= 0:
        raise PhotoError(
            "the four centres given are not those of a chart seen from its front; "
            "give dark skin, bluish green, black, white, in this order"
        )
    to_photo = cv2.getPerspectiveTransform(CORNERS, corners)
    square = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * share / 2
    return cv2.perspectiveTransform((PLACES[:, None] + square).reshape(1, -1, 2), to_photo).reshape(COUNT, 4, 2)


def read_chart(photo: LinearPhoto, quads) -> ChartReading:
    """Return what a photo shows inside 24 quadrilaterals.

    `quads` (24, 4, 2): in pixels of the upright photo, patches in reading order.
    """
    quads = np.asarray(quads, dtype=float)
    rows = [_read_patch(photo, quad, name) for quad, name in zip(quads, PATCHES, strict=True)]
    light, spread, clipped = (np.array(column) for column in zip(*rows, strict=True))
    return ChartReading(quads, light, spread, clipped)


def _read_patch(photo, quad, name):
    """Light, relative spread and clipping of one patch."""
    x0, y0 = np.floor(quad.min(axis=0)).astype(int)
    x1, y1 = np.ceil(quad.max(axis=0)).astype(int)
    if x0 < 0 or y0 < 0 or x1 > photo.size[0] or y1 > photo.size[1]:
        raise PhotoError(
            f"the patch {name} lies outside {photo.name}, which is {photo.size[0]} × {photo.size[1]} pixels; the whole "
            "chart must be in the photo: look whether the four centres are right"
        )
    mask = fill_polygon(quad, (x0, y0, x1, y1))
    if mask.sum() < _FEWEST_PIXELS:
        raise PhotoError(
            f"the patch {name} covers {mask.sum()} pixels of {photo.name}, at least {_FEWEST_PIXELS} are needed; move "
            "closer, or look whether the four centres are right"
        )
    stride = max(1, int(np.sqrt(mask.sum() / _WORKING_PIXELS)))
    mask = mask[::stride, ::stride]
    codes = np.ascontiguousarray(photo.codes[y0:y1, x0:x1][::stride, ::stride])
    light = photo.encoding.decode(codes)[mask].astype(float)
    clipped = photo.clipped((x0, y0, x1, y1))[::stride, ::stride][mask].any(axis=-1).mean() > _CLIPPED
    order = np.sort(light, axis=0)[int(_TRIM * len(light)) : len(light) - int(_TRIM * len(light))]
    luminance = light.mean(axis=1)
    return order.mean(axis=0), luminance.std() / max(luminance.mean(), 1e-4), clipped
