"""How far the flaw finder is from what could be found: python -m tests.bench.flaw_views --fit 0:12 --seeds 12:20.

Scores on parts as given and as found, three ways, both worlds:

- each world judged by trees fitted on the other and on flaws painted over it: what to expect of photos of neither;
- trees fitted on both;
- the ceiling: true shading (the same photo without noise and flaws) taken away, trees fitted on every other scene.

A flaw is found when an outline covers it with an intersection over union of at least 0.2; false ones are counted on
sound parts.
"""

import argparse
from collections import Counter
from itertools import chain

import cv2
import numpy as np

from dyebook.photo.card.card import fill_polygon
from dyebook.photo.flaw.find import flaws_in
from dyebook.photo.flaw.view import unshaded
from tests.bench.flaw_fit import collect, fit, rows_of, seen_parts
from tests.bench.flaw_scenes import flaw_scene
from tests.bench.scenes import first_end

_FOUND = 0.2


def true_rest(seen):
    """Log light of a part against the same part without noise and flaws."""
    rest = np.where(seen.view.mask[..., None], seen.view.log_light - seen.sound.log_light, 0).astype(np.float32)
    return rest - np.median(rest[seen.view.inner], axis=0)


def score(parts, trees, rest_of):
    """Return counts over parts: flaws, found, by kind; sound parts and false flaws; given and as found apart."""
    tally = Counter()
    for seen in parts:
        how = "given" if seen.given else "found"
        flaws = flaws_in(seen.view, rest_of(seen), seen.film, seen.outline, trees)
        if not seen.flaws:
            tally[how, "sound"] += 1
            tally[how, "false"] += len(flaws)
        for kind, mask in seen.flaws:
            hit = int(any(covers(flaw, kind, mask, seen.view) for flaw in flaws))
            tally.update({(how, "flaws"): 1, (how, "hit"): hit, (how, f"all {kind}"): 1, (how, f"hit {kind}"): hit})
    return tally


def covers(flaw, kind, mask, view):
    """Return whether a flaw's outline covers a true flaw (its kind, and mask in the view) with enough overlap."""
    outline = np.array(flaw.outline) @ view.matrix[:, :2].T + view.matrix[:, 2]
    found = fill_polygon(outline, (0, 0, *view.mask.shape[::-1]), 1)
    if kind == "pit":
        mask = cv2.dilate(mask.view(np.uint8), np.ones((3, 3), np.uint8)).view(bool)
    return (found & mask).sum() >= _FOUND * max((found | mask).sum(), 1)


def _print(title, tally):
    for how in ("given", "found"):
        flaws, sound = max(tally[how, "flaws"], 1), max(tally[how, "sound"], 1)
        kinds = [name[4:] for one, name in sorted(tally) if one == how and name.startswith("all ")]
        by_kind = ", ".join(f"{kind} {tally[how, f'hit {kind}']} of {tally[how, f'all {kind}']}" for kind in kinds)
        print(
            f"{title}, parts {how}: found {tally[how, 'hit'] / flaws:.2f} of {flaws}, "
            f"false {tally[how, 'false'] / sound:.2f} of {sound}; {by_kind}"
        )


def _scenes(renderer, seeds):
    """Parts of each scene of a renderer, scene by scene."""
    scenes = (flaw_scene(renderer, seed, with_sound=True) for seed in seeds)
    return [[seen for seen in seen_parts(scene) if seen.sound] for scene in scenes if scene.card_quad is not None]


def _ceiling(scenes):
    """Counts with true shading; each half of the scenes is judged by trees fitted on the other."""
    total = Counter()
    for half in (0, 1):
        rows = [rows_of(s.view, s.film, s.flaws, true_rest(s)) for scene in scenes[1 - half :: 2] for s in scene]
        trees = fit(*(list(chain.from_iterable(part)) for part in zip(*rows, strict=True)))
        total += score([seen for scene in scenes[half::2] for seen in scene], trees, true_rest)
    return total


def main():
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fit", default="0:12", help="seeds the trees are fitted on, first:end")
    parser.add_argument("--seeds", default="12:20", help="seeds that are scored, first:end")
    options = parser.parse_args()
    learned, scored = (first_end(text) for text in (options.fit, options.seeds))
    rows = {renderer: collect(renderer, learned) for renderer in "ab"}
    both = tuple(one + other for one, other in zip(rows["a"], rows["b"], strict=True))
    for renderer, other in ("ab", "ba"):
        scenes = _scenes(renderer, scored)
        parts = [seen for scene in scenes for seen in scene]
        for title, trees in (("fitted on the other", fit(*rows[other])), ("fitted on both", fit(*both))):
            _print(f"renderer {renderer}, {title}", score(parts, trees, lambda seen: unshaded(seen.view)))
        _print(f"renderer {renderer}, true shading", _ceiling(scenes))


if __name__ == "__main__":
    main()
