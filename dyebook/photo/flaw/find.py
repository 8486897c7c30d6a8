"""Flaws of a part's colour, found against the part's own shading.

What is left of a part's light once its shading is taken away is searched at four widths for places that stand out.
Trees judge each by its contrast to its ring, the direction of its change (dye, shade, mirror light, ground through a
hole), its edge and grain, and how it compares with the part's other places; changes over the whole part are judged
apart. The trees are small and learn from two renderers and from flaws painted over sound parts; features that only show
where a painter puts flaws are kept from them.
"""

from dataclasses import replace

import cv2
import numpy as np

from dyebook.photo.classifier import load_classifiers
from dyebook.photo.file.linear import LinearPhoto
from dyebook.photo.flaw.candidates import fields_of, regions_of, smooth_inside
from dyebook.photo.flaw.features import FEATURES, change_delta_e, part_facts, places_of
from dyebook.photo.flaw.view import PartView, unshaded, view_part
from dyebook.photo.flaw.whole import WHOLE_FEATURES, whole_changes
from dyebook.photo.light import Light
from dyebook.photo.part.outline import holes_cut
from dyebook.photo.part.part import Part
from dyebook.photo.reading import Evidence
from dyebook.record import Flaw

__all__ = ["LEAST_PROBABILITY", "PLACE_KINDS", "find_flaws", "flaws_in", "likely_flaws", "with_flaws"]

# what a place that is a flaw may be
PLACE_KINDS = ("spot", "streak", "pale_zone")
_FEATURES = {
    **dict.fromkeys(("place", "pit", *PLACE_KINDS), FEATURES),
    **dict.fromkeys(("gradient", "two_tone"), WHOLE_FEATURES),
}
_INDEX = {name: k for k, name in enumerate(FEATURES)}
# least probability of a flaw by the trees that judge it; a second flaw of a part, often the same texture again, needs
# more. Chosen by `tests.bench.flaw_threshold`, then lowered after a look at `tests.bench.flaw --seeds 5000:5030`
LEAST_PROBABILITY = {"place": 0.6, "pit": 0.85, "gradient": 0.25, "two_tone": 0.25}
_LEAST_MORE = 0.65
# share of its least probability that a pit beside a sure one needs, and of the probability of another flaw there
_BESIDE_PIT, _PIT_OVER_PLACE = 0.3, 0.5
# a fainter change cannot be distinguished from the photo's own errors; from the second on, the part is called uneven
_FAINTEST_DELTA_E, _UNEVEN_DELTA_E = 1.0, 3.0
# share of a place that may lie over an earlier one, grown by a little
_OVERLAP, _GROWN = 0.2, np.ones((5, 5), np.uint8)
_MOST_FLAWS = 4
# pixels of the view from which on flaws can be looked for
_FEWEST_PIXELS = 200
# window and number of the pixels whose spread is the uniformity
_UNIFORMITY_SIGMA, _UNIFORMITY_PIXELS = 2.0, 700


def with_flaws(evidence: Evidence, photo: LinearPhoto, light: Light, part: Part) -> Evidence:
    """Return the evidence of a part with flaws, uniformity and, where the colour differs, a flag in its reading."""
    flaws, uniformity = find_flaws(photo, light, part, evidence.film)
    reading = evidence.reading
    uneven = any(flaw.delta_e00 >= _UNEVEN_DELTA_E for flaw in flaws)
    flags = dict.fromkeys((*reading.flags, *(("uneven_part",) if uneven else ())))
    spread = uniformity if np.isfinite(uniformity) else reading.uniformity
    return replace(evidence, reading=replace(reading, flaws=flaws, uniformity=spread, flags=tuple(flags)))


def find_flaws(photo: LinearPhoto, light: Light, part: Part, film: np.ndarray) -> tuple[tuple[Flaw, ...], float]:
    """Return the flaws of a part and how even its colour is otherwise.

    Parameters
    ----------
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


def flaws_in(view: PartView, rest, film, outline, trees=None) -> tuple[Flaw, ...]:
    """Return the flaws of a part as it is seen, the likeliest first.

    Parameters
    ----------
    rest : ndarray of shape (H, W, 3)
        Its log light without shading.
    film : ndarray of shape (3,)
    outline : ndarray of shape (N, 2)
        The part's own.
    trees : dict of Trees, optional
        What judges them, by name; the fitted ones if left out.
    """
    found = likely_flaws(view, rest, film, outline, trees)
    return tuple(flaw for k, (probability, flaw) in enumerate(found) if k == 0 or probability >= _LEAST_MORE)


def likely_flaws(view: PartView, rest, film, outline, trees=None, least=None) -> list[tuple[float, Flaw]]:
    """Return (probability, flaw) of the likeliest flaws, as `flaws_in` takes them; `least` probability by name."""
    trees = _fitted() if trees is None else trees
    facts, least = part_facts(view), LEAST_PROBABILITY if least is None else least
    found = _local_flaws(view, rest, film, facts, trees, least)
    found += _whole_flaws(view, film, facts, outline, trees, least)
    return sorted(found, key=lambda pair: -pair[0])[:_MOST_FLAWS]


def _fitted():
    """The shipped trees by name: of any flaw at a place, a pit, a gradient, two tones; of each kind, given a flaw."""
    return load_classifiers("dyebook.photo.flaw", **_FEATURES)


def _local_flaws(view, rest, film, facts, trees, least):
    """Spots, streaks, pale zones and pits with their probabilities."""
    places, rows = places_of(regions_of(fields_of(rest, view.inner, film)), view, film, facts)
    if not places:
        return []
    seen = rows[:, _INDEX["delta_e"]] >= _FAINTEST_DELTA_E
    of_place, of_pit = (trees[name].probability(rows) * seen for name in ("place", "pit"))
    pits, of_pits = _pits(view, places, rows, of_pit, of_place, least)
    out = [] if pits is None else [(of_pits, pits)]
    for k, mask in _apart(places, of_place, view.mask.shape, least):
        if pits is None or of_place[k] > of_pits:
            out.append((float(of_place[k]), _place_flaw(view, places[k].outlined(mask.shape), rows[k], trees)))
    return out


def _apart(places, probability, shape, least):
    """Indices and masks of likely places, the likeliest first, none over another."""
    taken, out = np.zeros(shape, bool), []
    for k in np.argsort(-probability):
        if probability[k] < least["place"] or len(out) >= _MOST_FLAWS:
            break
        mask = places[k].mask(shape)
        if (taken & mask).sum() <= _OVERLAP * mask.sum():
            taken |= cv2.dilate(mask.view(np.uint8), _GROWN).view(bool)
            out.append((k, mask))
    return out


def _pits(view, places, rows, probability, others, least):
    """The pits of a part, which come in nests, as one flaw, and its probability; None, 0 if there are none."""
    likely = (probability >= _BESIDE_PIT * least["pit"]) & (probability >= _PIT_OVER_PLACE * others)
    likely = np.flatnonzero(likely)
    if not len(likely) or probability[likely].max() < least["pit"]:
        return None, 0.0
    canvas = np.zeros(view.mask.shape, bool)
    for k in likely:
        canvas |= places[k].mask(view.mask.shape)
    lines, _ = cv2.findContours(canvas.view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    ring = _joined([_ring(line) for line in lines])
    change = float(np.median(rows[likely, _INDEX["delta_e"]]))
    share = canvas.sum() / view.mask.sum()
    return _flaw("pit", view.to_photo(ring), change, share), float(probability[likely].max())


def _place_flaw(view, mask, row, trees):
    lines, _ = cv2.findContours(mask.view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    ring = _ring(max(lines, key=len))
    kind = max(PLACE_KINDS, key=lambda kind: trees[kind].probability([row])[0])
    return _flaw(kind, view.to_photo(ring), row[_INDEX["delta_e"]], mask.sum() / view.mask.sum())


def _whole_flaws(view, film, facts, outline, trees, least):
    """A gradient or two tones, with its probability."""
    changes = whole_changes(view, film, facts)
    if not changes:
        return []
    rows = [row for row, *_ in changes]
    probability = {name: trees[name].probability(rows) for name in ("gradient", "two_tone")}
    name = max(probability, key=lambda kind: probability[kind].max())
    best = int(probability[name].argmax())
    change = float(change_delta_e(film, changes[best][2 if name == "gradient" else 3]))
    if probability[name][best] < least[name] or change < _FAINTEST_DELTA_E:
        return []
    return [(float(probability[name][best]), _flaw(name, outline, change, 1.0))]


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
    some = some[:: max(1, len(some) // _UNIFORMITY_PIXELS)]
    return float(np.median(change_delta_e(film, some - np.median(some, axis=0))))
