"""What tells a flaw from texture: cues of the places on a part that stand out."""

from dataclasses import dataclass

import cv2
import numpy as np

from dyebook.photo.flaw_change import change_cues
from dyebook.photo.flaw_gather import gather
from dyebook.photo.flaw_places import Regions
from dyebook.photo.flaw_shading import CHROMA

__all__ = ["CUES", "Place", "part_facts", "places_of"]

CUES = (
    "height_mean",
    "height_top",
    "height_others",
    "peak",
    "area_share",
    "area_windows",
    "long_to_wide",
    "turn_to_part",
    "wide_to_part",
    "long_to_part",
    "lean",
    "open_rim",
    "delta_e",
    "delta_chroma",
    "ring_distance",
    "ring_spread",
    "ring_chroma",
    "like_dye",
    "hue_like_dye",
    "like_shade",
    "like_mirror",
    "adds_white",
    "adds_metal",
    "filled",
    "paler",
    "edge",
    "edge_uneven",
    "uneven",
    "plain",
    "level",
    "rivals",
    "grain",
    "grain_around",
    "alone",
    "bright",
    "ground",
    "ground_hue",
    "delta_e_usual",
    "delta_chroma_usual",
    "ring_distance_usual",
    "ring_chroma_usual",
    "height_mean_usual",
    "delta_e_rank",
    "delta_chroma_rank",
    "ring_distance_rank",
    "ring_chroma_rank",
    "height_mean_rank",
)
_TINY = 1e-6
# cues whose size against the part's other places tells more than their own: a flaw is rare, texture is all over
_COMPARED = ("delta_e", "delta_chroma", "ring_distance", "ring_chroma", "height_mean")
# the height that a tenth of a place exceeds is its own; an outline at half of it may not be this much larger
_PLATEAU, _MOST_GROWN = 0.9, 2.0


def part_facts(view):
    """Return what the cues need to know about the part as a whole."""
    rows, columns = view.mask.any(axis=1).sum(), view.mask.any(axis=0).sum()
    return {
        "area": float(view.mask.sum()),
        "narrow": float(min(rows, columns)),
        "long": float(max(rows, columns)),
        "aspect": float(min(rows, columns) / max(rows, columns)),
    }


def places_of(found, view, film, facts):
    """Return the places of all regions and their cues.

    Parameters
    ----------
    found : list of Regions
    view : PartView
    film : ndarray of shape (3,)
    facts : dict
        From `part_facts`.

    Returns
    -------
    places : list of Place
    cues : ndarray of shape (len(places), len(CUES))
    """
    places = [Place(regions, k + 1) for regions in found for k in range(regions.count)]
    if not places:
        return [], np.zeros((0, len(CUES)))
    seen = gather(found, view)
    change, around = _contrast(seen)
    form = _form(seen)
    tops = _usual_tops(found)
    repeats = [regions.count for regions in found]
    same = {
        "usual": [tops[id(r.field)] for r in found],
        "sigma": [r.field.sigma for r in found],
        "plain": [r.field.plain for r in found],
        "level": [r.level for r in found],
        "rivals": [r.rivals for r in found],
    }
    same = {name: np.repeat(np.array(values, dtype=float), repeats) for name, values in same.items()}
    every = {
        **same,
        **_heights(seen, same["usual"]),
        **_sizes(form, same["sigma"], facts),
        **around,
        **change_cues(change, seen, view, film),
        "lean": seen.means["lean"],
        "grain": np.log((seen.means["grain"] + _TINY) / (seen.ring_grain + _TINY)),
        "grain_around": np.log(seen.ring_grain + _TINY),
        "alone": _alone(seen, repeats),
        "open_rim": seen.open_rim,
    }
    every |= _among_all({name: every[name] for name in _COMPARED})
    return places, np.stack([every[name] for name in CUES], axis=1)


@dataclass(frozen=True)
class Place:
    """One of the regions of a field."""

    regions: Regions
    label: int

    def mask(self, shape):
        """Return its pixels as bool over a view of a shape."""
        return _enlarged(self.regions.labels == self.label, self.regions.field.step, shape)

    def outlined(self, shape):
        """Return the pixels around its top that stand out at least half as far: where a soft edge truly runs."""
        region, height = self.regions.labels == self.label, self.regions.field.height
        height = height * np.sign(height[region].sum())
        plateau = np.quantile(height[region], _PLATEAU)
        _, labels = cv2.connectedComponents((height > plateau / 2).view(np.uint8), connectivity=4, ltype=cv2.CV_16U)
        inside = labels[region]
        half = labels == np.bincount(inside[inside > 0]).argmax()
        fits = half.sum() < _MOST_GROWN * region.sum()
        return _enlarged(half if fits else region, self.regions.field.step, shape)


def _enlarged(one, step, shape):
    """A mask with each pixel made step × step, cut to a shape."""
    one = one.view(np.uint8)
    if step > 1:
        one = cv2.resize(one, None, fx=step, fy=step, interpolation=cv2.INTER_NEAREST)
    return np.ascontiguousarray(one[: shape[0], : shape[1]]).view(bool)


def _heights(seen, usual):
    """Cues of how far places stand out."""
    height = seen.means["height"]
    return {
        "height_mean": height,
        "height_top": seen.top,
        "height_others": height / usual,
        "peak": seen.top / (height + _TINY),
        "edge": seen.slope / (height + _TINY),
        "edge_uneven": seen.slope_sd / (seen.slope + _TINY),
    }


def _sizes(form, sigma, facts):
    """Cues of size and form."""
    return {
        "area_share": np.log(form["area"] / facts["area"]),
        "area_windows": np.log(form["area"] / sigma**2),
        "long_to_wide": form["long"] / form["wide"],
        "turn_to_part": form["turn"],
        "wide_to_part": form["wide"] / facts["narrow"],
        "long_to_part": form["long"] / facts["long"],
        "filled": form["filled"],
    }


def _contrast(seen):
    """Changes of log light against the ring around each place, and cues of that ring."""
    spread = seen.ring_squares - seen.ring_mean[:, :, None] * seen.ring_mean[:, None, :]
    spread[seen.few] = seen.usual_spread[seen.few]
    within = np.maximum(seen.means["square"] - (seen.means["rest"] ** 2).sum(axis=1), 0)
    change = seen.means["rest"] - np.where(seen.few[:, None], 0, seen.ring_mean)
    solved = np.linalg.solve(spread + 1e-5 * np.eye(3), change[..., None])[..., 0]
    of_hue = np.maximum(((CHROMA @ spread) * CHROMA).sum(axis=(1, 2)), 0)
    return change, {
        "ring_distance": np.sqrt(np.maximum((change * solved).sum(axis=1), 0)),
        "ring_spread": np.sqrt(np.maximum(np.trace(spread, axis1=1, axis2=2), 0)),
        "uneven": np.sqrt(within) / (np.linalg.norm(change, axis=1) + _TINY),
        "ring_chroma": np.linalg.norm(change @ CHROMA.T, axis=1) / (np.sqrt(of_hue) + 1e-3),
    }


def _form(seen):
    """Area, length, width, turn of the long axis, and the filled share of the ellipse of equal moments."""
    x, y = seen.means["x"], seen.means["y"]
    pixel = seen.step**2 / 12
    xx, yy = seen.means["xx"] - x**2 + pixel, seen.means["yy"] - y**2 + pixel
    xy = seen.means["xy"] - x * y
    half, root = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    long, wide = 4 * np.sqrt(half + root), 4 * np.sqrt(np.maximum(half - root, 0.1 * pixel))
    area = seen.count * seen.step**2
    return {
        "area": area,
        "long": long,
        "wide": wide,
        "turn": np.abs(np.cos(0.5 * np.arctan2(2 * xy, xx - yy))),
        "filled": area / (np.pi / 4 * long * wide),
    }


def _usual_tops(found):
    """Height that a thirtieth of each field's pixels exceeds, by the field."""
    out = {}
    for regions in found:
        field = regions.field
        if id(field) not in out:
            seen = np.abs(field.height[field.inner])
            seen = seen[:: max(1, len(seen) // 1000)]
            out[id(field)] = max(float(np.partition(seen, int(0.97 * len(seen)))[int(0.97 * len(seen))]), 0.5)
    return out


def _alone(seen, repeats):
    """Share of all that stands out in a place's own field at its own level."""
    mass = seen.count * seen.means["height"]
    starts = np.concatenate([[0], np.cumsum(repeats)[:-1]])
    return mass / np.repeat(np.add.reduceat(mass, starts), repeats)


def _among_all(cues):
    """Logarithms of cues against the middle place's, and the share of places that have more."""
    out = {}
    for name, values in cues.items():
        logs = np.log(np.maximum(values, 1e-3))
        out[f"{name}_usual"] = logs - np.median(logs)
        out[f"{name}_rank"] = 1 - np.searchsorted(np.sort(values), values, side="right") / len(values)
    return out
