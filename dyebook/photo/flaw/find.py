"""Flaws of a part's colour, found against the part's own shading.

How likely a place, or a change over the whole part, is a flaw: additive sets of small decision trees.
"""

import json
from dataclasses import replace
from functools import cache
from importlib.resources import files

import cv2
import numpy as np

from dyebook.photo.flaw.candidates import fields_of, regions_of, smooth_inside
from dyebook.photo.flaw.features import CUES, change_delta_e, part_facts, places_of
from dyebook.photo.flaw.view import unshaded, view_part
from dyebook.photo.flaw.whole import WHOLE_CUES, whole_changes
from dyebook.photo.part.outline import holes_cut
from dyebook.photo.trees import tree_odds
from dyebook.record import Flaw

__all__ = [
    "LEAST_ODDS",
    "PLACE_KINDS",
    "as_trees",
    "find_flaws",
    "flaw_odds",
    "flaws_in",
    "kind_of_place",
    "likely_flaws",
    "with_flaws",
]

# what a place that is a flaw may be
PLACE_KINDS = ("spot", "streak", "pale_zone")
_CUES = {
    **dict.fromkeys(("place", "pit", *PLACE_KINDS), CUES),
    **dict.fromkeys(("gradient", "two_tone"), WHOLE_CUES),
}


@cache
def _tables():
    """The fitted trees by name: cue and threshold of each fork, value of each leaf, and the starting score."""
    tables = json.loads(files("dyebook.photo.flaw").joinpath("trees.json").read_text(encoding="utf-8"))
    for name, cues in _CUES.items():
        if tuple(tables[name]["cues"]) != cues:
            raise ValueError(f"flaw/trees.json was fitted to other cues of {name}; fit it again")
    return {name: as_trees(tables[name]) for name in _CUES}


def as_trees(table):
    """Return cue and threshold of each fork, value of each leaf, and the starting score of a fitted table."""
    return (
        np.array(table["cue"]),
        np.array(table["threshold"], dtype=float),
        np.array(table["leaf"], dtype=float),
        float(table["start"]),
    )


def flaw_odds(name, rows, trees=None):
    """Return the probability of a flaw for each row of cues.

    Parameters
    ----------
    name : str
        place (any of `PLACE_KINDS`), pit, gradient or two_tone; or one of `PLACE_KINDS`, given that it is a flaw.
    rows : sequence of ndarray
        Cues as `flaw_cues` (place, pit) or `flaw_whole` (gradient, two_tone) gives them.
    trees : dict, optional
        By name, as `as_trees` makes them; the shipped ones if left out.

    Returns
    -------
    ndarray of shape (N,)
        0 to 1.
    """
    rows = np.asarray(rows, dtype=float).reshape(-1, len(_CUES[name]))
    return tree_odds(rows, *(_tables() if trees is None else trees)[name])


def kind_of_place(row, trees=None):
    """Return which of `PLACE_KINDS` a place that is a flaw is, by the form and direction that its cues tell."""
    return max(PLACE_KINDS, key=lambda kind: flaw_odds(kind, row, trees)[0])


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
