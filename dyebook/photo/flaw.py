"""Flaws of a part's colour, found against the part's own shading."""

from dataclasses import replace

import cv2
import numpy as np

from dyebook.photo.flaw_change import change_delta_e
from dyebook.photo.flaw_cues import CUES, part_facts, places_of
from dyebook.photo.flaw_places import fields_of, regions_of, smooth_inside
from dyebook.photo.flaw_score import flaw_odds, kind_of_place
from dyebook.photo.flaw_shading import unshaded
from dyebook.photo.flaw_view import view_part
from dyebook.photo.flaw_whole import whole_changes
from dyebook.photo.part_hole import holes_cut
from dyebook.record import Flaw

__all__ = ["LEAST_ODDS", "find_flaws", "flaws_in", "likely_flaws", "with_flaws"]

# odds from which a candidate is called a flaw, by the trees that judge it, set on photos of a renderer that trees had
# not seen, for few false ones on sound parts; a second flaw of a part, often the same texture again, needs more
LEAST_ODDS = {"place": 0.6, "pit": 0.85, "gradient": 0.25, "two_tone": 0.25}
_LEAST_MORE = 0.65
# share of those odds that a pit beside a sure one needs
_BESIDE_PIT = 0.3
# a fainter change cannot be told from the photo's own errors
_FAINTEST_DELTA_E = 1.0
_OVERLAP = 0.2
_MOST_FLAWS = 4
_UNEVEN_DELTA_E = 3.0
_FEWEST_PIXELS = 200
_UNIFORMITY_SIGMA = 2.0
_CUE = {name: k for k, name in enumerate(CUES)}


def with_flaws(evidence, photo, light, part):
    """Return the evidence of a part with flaws, uniformity and, where the colour differs, a flag in its reading.

    Parameters
    ----------
    evidence : Evidence
    photo : LinearPhoto
    light : Light
    part : Part

    Returns
    -------
    Evidence
    """
    flaws, uniformity = find_flaws(photo, light, part, evidence.film)
    reading = evidence.reading
    uneven = any(flaw.delta_e00 >= _UNEVEN_DELTA_E for flaw in flaws)
    flags = dict.fromkeys((*reading.flags, *(("uneven_part",) if uneven else ())))
    spread = uniformity if np.isfinite(uniformity) else reading.uniformity
    return replace(evidence, reading=replace(reading, flaws=flaws, uniformity=spread, flags=tuple(flags)))


def find_flaws(photo, light, part, film):
    """Return the flaws of a part and how even its colour is otherwise.

    Parameters
    ----------
    photo : LinearPhoto
    light : Light
    part : Part
    film : ndarray of shape (3,)
        Linear light of the part's film, what its reading says.

    Returns
    -------
    flaws : tuple of Flaw
        The likeliest first. A gradient and two tones carry the outline of the whole part: no side of it is known
        to be the sound one. Pits that lie together are one flaw whose outline joins them by slits.
    uniformity : float
        Median CIEDE2000 of the part's pixels to its film once shading is taken away; nan if too few are seen.
    """
    # a hole that a drawn outline runs across is no flaw; found outlines leave holes out
    view = view_part(photo, light, holes_cut(photo, light, part) if part.confidence == 1 else part)
    if view.inner.sum() < _FEWEST_PIXELS:
        return (), float("nan")
    rest = unshaded(view)
    return flaws_in(view, rest, film, np.asarray(part.outline)), _uniformity(rest, view, film)


def flaws_in(view, rest, film, outline, trees=None):
    """Return the flaws of a part as it is seen, the likeliest first.

    Parameters
    ----------
    view : PartView
    rest : ndarray of shape (H, W, 3)
        Its log light without shading.
    film : ndarray of shape (3,)
    outline : ndarray of shape (N, 2)
        The part's own.
    trees : dict, optional
        What `flaw_odds` judges by; the fitted ones if left out.

    Returns
    -------
    tuple of Flaw
    """
    found = likely_flaws(view, rest, film, outline, trees)
    return tuple(flaw for k, (odds, flaw) in enumerate(found) if k == 0 or odds >= _LEAST_MORE)


def likely_flaws(view, rest, film, outline, trees=None, least=None):
    """Return (odds, flaw) of the likeliest flaws of a part, as `flaws_in` takes them; `least` odds by name."""
    facts, least = part_facts(view), LEAST_ODDS if least is None else least
    found = _local_flaws(view, rest, film, facts, trees, least)
    found += _whole_flaws(view, film, facts, outline, trees, least)
    return sorted(found, key=lambda pair: -pair[0])[:_MOST_FLAWS]


def _local_flaws(view, rest, film, facts, trees, least):
    """Spots, streaks, pale zones and pits with their odds."""
    places, rows = places_of(regions_of(fields_of(rest, view.inner, film)), view, film, facts)
    if not places:
        return []
    seen = rows[:, _CUE["delta_e"]] >= _FAINTEST_DELTA_E
    place_odds, pit_odds = (flaw_odds(name, rows, trees) * seen for name in ("place", "pit"))
    pits, odds = _pits(view, places, rows, pit_odds, place_odds, least)
    out = [] if pits is None else [(odds, pits)]
    for k, mask in _apart(places, place_odds, view.mask.shape, least):
        if pits is None or place_odds[k] > odds:
            out.append((float(place_odds[k]), _place_flaw(view, places[k].outlined(mask.shape), rows[k], trees)))
    return out


def _apart(places, odds, shape, least):
    """Indices and masks of likely places, the likeliest first, none over another."""
    taken, out = np.zeros(shape, bool), []
    for k in np.argsort(-odds):
        if odds[k] < least["place"] or len(out) >= _MOST_FLAWS:
            break
        mask = places[k].mask(shape)
        if (taken & mask).sum() <= _OVERLAP * mask.sum():
            taken |= cv2.dilate(mask.view(np.uint8), np.ones((5, 5), np.uint8)).view(bool)
            out.append((k, mask))
    return out


def _pits(view, places, rows, odds, others, least):
    """The pits of a part as one flaw, and its odds; None, 0 if there are none."""
    # pits come in nests
    likely = np.flatnonzero((odds >= _BESIDE_PIT * least["pit"]) & (odds >= 0.5 * others))
    if not len(likely) or odds[likely].max() < least["pit"]:
        return None, 0.0
    canvas = np.zeros(view.mask.shape, bool)
    for k in likely:
        canvas |= places[k].mask(view.mask.shape)
    lines, _ = cv2.findContours(canvas.view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    ring = _joined([_ring(line) for line in lines])
    change = float(np.median(rows[likely, _CUE["delta_e"]]))
    return _flaw("pit", view.to_photo(ring), change, canvas.sum() / view.mask.sum()), float(odds[likely].max())


def _place_flaw(view, mask, row, trees):
    lines, _ = cv2.findContours(mask.view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    ring = _ring(max(lines, key=len))
    kind = kind_of_place(row, trees)
    return _flaw(kind, view.to_photo(ring), row[_CUE["delta_e"]], mask.sum() / view.mask.sum())


def _whole_flaws(view, film, facts, outline, trees, least):
    """A gradient or two tones, with the odds."""
    changes = whole_changes(view, film, facts)
    if not changes:
        return []
    rows = [row for row, *_ in changes]
    odds = {name: flaw_odds(name, rows, trees) for name in ("gradient", "two_tone")}
    name = max(odds, key=lambda kind: odds[kind].max())
    best = int(odds[name].argmax())
    change = float(change_delta_e(film, changes[best][2 if name == "gradient" else 3]))
    if odds[name][best] < least[name] or change < _FAINTEST_DELTA_E:
        return []
    return [(float(odds[name][best]), _flaw(name, outline, change, 1.0))]


def _ring(line):
    """Corners of a region through the outer corners of its pixels, from cv2's pixel indices."""
    line = line[:, 0].astype(float) + 0.5
    if len(line) < 4:
        centre = line.mean(axis=0)
        return centre + np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]])
    ahead, behind = np.roll(line, -1, axis=0), np.roll(line, 1, axis=0)
    way = ahead - behind
    normal = np.stack([-way[:, 1], way[:, 0]], axis=1) / np.maximum(np.linalg.norm(way, axis=1), 1e-6)[:, None]
    turn = np.sign((line[:, 0] * ahead[:, 1] - ahead[:, 0] * line[:, 1]).sum()) or 1.0
    return line - 0.5 * turn * normal


def _joined(rings):
    """Rings as one polygon: from each back to the first corner of the first."""
    start = rings[0][:1]
    return np.concatenate([part for ring in rings for part in (ring, ring[:1], start)])


def _flaw(kind, outline, delta_e, share):
    low, high = outline.min(axis=0), outline.max(axis=0)
    box = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    return Flaw(kind, box, tuple(map(tuple, outline.tolist())), float(delta_e), float(share))


def _uniformity(rest, view, film):
    """Median CIEDE2000 to the film of pixels brought to one shading, fine grain smoothed away."""
    some = smooth_inside(rest, view.inner, _UNIFORMITY_SIGMA)[view.inner]
    some = some[:: max(1, len(some) // 700)]
    return float(np.median(change_delta_e(film, some - np.median(some, axis=0))))
