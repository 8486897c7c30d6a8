"""What a photo's flaws say: which kinds, how clear, on how many parts, and where and how the clearest one lies."""

import numpy as np

from dyebook.advice.causes import FLAW_KINDS, STATES
from dyebook.advice.seen import Seen, sure

__all__ = ["NOT_SOUGHT", "flaw_evidence"]

# the flag of a photo, or of a kept reading, whose flaws nobody looked for: then an empty list says nothing
NOT_SOUGHT = "flaws_not_sought"
_LOCAL = ("spot", "streak", "pale_zone", "pit")
# a flaw whose size nobody gave is taken as a plain one
_USUAL_DELTA_E00 = 6.0
_CLEAR_DELTA_E00 = 2.5
# doubts about the light of a part, and what a flaw's size then counts for; judged, no source
_BY_LIGHT, _UNDER_DOUBT = {"glare", "uneven_light", "clipped"}, 0.25
_COUNT_EDGES = (1.5, 4.5)
_EXTENT_EDGES = (0.01, 0.08)
# within this share of the part's length (or width) a flaw lies at its end (or edge)
_NEAR = 0.08
_LONG_TO_WIDE = 3.0
_CRESCENT_SOLIDITY, _MOST_CRESCENT = 0.8, 5.0
_LEAST_CORNERS = 6  # a box drawn as an outline says nothing of the form


def flaw_evidence(parts):
    """Return evidence of the flaws of parts.

    Parameters
    ----------
    parts : list of dict
        The `parts` of a measurement; those without a ``flaws`` entry, or flagged `NOT_SOUGHT` and without a flaw, were
        not looked at.

    Returns
    -------
    list of Seen
    """
    looked = [part for part in parts if _was_looked_at(part)]
    if not looked:
        return []
    looked = [part | {"flaws": [_as_trusted(part, flaw) for flaw in part["flaws"]]} for part in looked]
    clean = "a look for flaws found none" if not any(part["flaws"] for part in looked) else None
    seen = [_kind_seen(kind, looked, clean) for kind in FLAW_KINDS]
    local = [(part, flaw) for part in looked for flaw in part["flaws"] if flaw["kind"] in _LOCAL]
    clear = [pair for pair in local if _size(pair[1]) >= _CLEAR_DELTA_E00]
    return seen + (_details(clear) if clear else [])


def _was_looked_at(part):
    flaws = part.get("flaws")
    return bool(flaws) or (flaws is not None and NOT_SOUGHT not in (part.get("flags") or ()))


def _as_trusted(part, flaw):
    """A flaw as large as it may be believed: light can draw one where there is none."""
    doubtful = _BY_LIGHT & set(part.get("flags") or ())
    return flaw | {"delta_e00": _size(flaw) * _UNDER_DOUBT} if doubtful else flaw


def _size(flaw):
    size = flaw.get("delta_e00")
    return _USUAL_DELTA_E00 if size is None or size != size else float(size)


def _kind_seen(kind, parts, clean):
    sizes = [[_size(flaw) for flaw in part["flaws"] if flaw["kind"] == kind] for part in parts]
    every = [size for own in sizes for size in own]
    name = kind.replace("_", " ")
    words = f"{len(every)} × {name} on the photo, up to ΔE00 {max(every):.0f}" if every else clean or f"no {name}"
    return Seen(kind, (sum(bool(own) for own in sizes), len(parts), max(every, default=0.0)), words)


def _details(clear):
    """Number, extent, place and form of local flaws, led by the clearest."""
    part, lead = max(clear, key=lambda pair: _size(pair[1]) * np.sqrt(pair[1].get("area_fraction") or 0.01))
    alike = [flaw for _, flaw in clear if flaw["kind"] == lead["kind"]]
    seen, name = [], lead["kind"].replace("_", " ")  # each stands alone, so each names what it speaks of
    if lead["kind"] != "pit" or len(alike) > 1:  # pits may come as one flaw, however many
        state = STATES["count"][int(np.digitize(len(alike), _COUNT_EDGES))]
        seen.append(sure("count", state, f"{state} {name}{'' if state == 'one' else 's'}"))
    area = lead.get("area_fraction")
    if area is not None and area == area:
        state = STATES["extent"][int(np.digitize(area, _EXTENT_EDGES))]
        seen.append(sure("extent", state, f"the {name} takes {100 * area:.2g} % of the part"))
    place = _place(part, lead)
    if place:
        where = {"end": "at an end of the part", "edge": "at an edge", "inside": "inside the outline"}[place]
        seen.append(sure("place", place, f"the {name} lies {where}"))
    form = _form(lead)
    seen += [sure("form", form, f"the form of the {name} is {form}")] if form else []
    return seen + _leading_kind([flaw for _, flaw in clear])


def _leading_kind(clear):
    """Which kind there is most of, where there are several; of as many, the clearest."""
    sizes = {kind: [_size(flaw) for flaw in clear if flaw["kind"] == kind] for kind in _LOCAL}
    if sum(bool(own) for own in sizes.values()) < 2:
        return []
    lead = max(sizes, key=lambda kind: (len(sizes[kind]), max(sizes[kind], default=0.0)))
    return [sure("leads", lead, f"most of the flaws are {lead.replace('_', ' ')}s")]


def _points(thing):
    """Corners (n, 2) of an outline, else of a box; None without either."""
    outline = thing.get("outline")
    if outline is not None and len(outline) >= 3:
        return np.asarray(outline, float)
    box = thing.get("box")
    if box is None or len(box) != 4:
        return None
    x0, y0, x1, y1 = box
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], float)


def _place(part, flaw):
    """At an end of the part, at an edge, or inside; None where it cannot be told."""
    outline, spot = _points(part), _points(flaw)
    if outline is None or spot is None or np.ptp(outline, axis=0).min() <= 0:
        return None
    axes = _axes(outline)
    whole, own = outline @ axes, spot @ axes
    low, span = whole.min(axis=0), np.ptp(whole, axis=0)
    start, stop = (own.min(axis=0) - low) / span, (own.max(axis=0) - low) / span
    middle = (start + stop) / 2
    if middle.min() < -0.1 or middle.max() > 1.1:
        return None
    near = (start < _NEAR) | (stop > 1 - _NEAR)
    return "end" if near[0] else "edge" if near[1] else "inside"


def _axes(outline):
    """Directions along and across a part, from its smallest rectangle; columns of a (2, 2) array."""
    import cv2

    corners = cv2.boxPoints(cv2.minAreaRect(outline.astype(np.float32))).astype(float)
    one, two = corners[1] - corners[0], corners[2] - corners[1]
    along, across = sorted((one, two), key=np.linalg.norm, reverse=True)
    return np.stack([along / np.linalg.norm(along), across / np.linalg.norm(across)], axis=1)


def _form(flaw):
    """Round, long, or hollowed out like a crescent; None where only a box is known."""
    import cv2

    outline = flaw.get("outline")
    if flaw["kind"] == "pit" or outline is None or len(outline) < _LEAST_CORNERS:
        return None
    points = np.asarray(outline, np.float32)
    wide, high = sorted(cv2.minAreaRect(points)[1])
    hull = cv2.contourArea(cv2.convexHull(points))
    if hull <= 0 or wide <= 0:
        return None
    if cv2.contourArea(points) / hull < _CRESCENT_SOLIDITY and high / wide < _MOST_CRESCENT:
        return "crescent"
    return "long" if high / wide > _LONG_TO_WIDE else "round"
