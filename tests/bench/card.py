"""How often the card is found by itself, and how well.

Run as: python -m tests.bench.card [--renderer a|b|c|all] [--seeds 192:256]

a is the simple world, b the physical one, c composites. Seeds below 96 of a, below 192 of b and below
1000 of c are for tuning (`card_fit`), others for scoring. DYEBOOK_CHARTS may name a folder of chart photographs for
the composites. Found: the quad overlaps the true one by more than 0.8 of both together. Corner error: mean distance
of the corners, in per cent of the card's mean side, over the cards found.
"""

import argparse
import time
from collections import Counter, defaultdict

import numpy as np

from dyebook.errors import PhotoError
from dyebook.photo.card.find import find_card

from .scenes import card_overlap, card_scenes, first_end

_COLUMNS = (
    "right",
    "right, flagged",
    "refused",
    "wrong, flagged",
    "WRONG",
    "no card: refused",
    "taken, flagged",
    "TAKEN",
)


def outcome(scene, photo):
    """Return one of _COLUMNS, and the corner error in per cent of a side (None unless right)."""
    try:
        card = find_card(photo)
    except PhotoError:
        return ("no card: refused" if scene.card_quad is None else "refused"), None
    doubtful = "card_doubtful" in card.flags
    if scene.card_quad is None:
        return ("taken, flagged" if doubtful else "TAKEN"), None
    if card_overlap(card.quad, scene.card_quad) <= 0.8:
        return ("wrong, flagged" if doubtful else "WRONG"), None
    side = np.linalg.norm(np.roll(scene.card_quad, -1, axis=0) - scene.card_quad, axis=1).mean()
    error = np.linalg.norm(card.quad - scene.card_quad, axis=1).mean() / side
    return ("right, flagged" if doubtful else "right"), 100 * error


def score(renderer, seeds, verbose):
    """Print the table of one world, a row a ground."""
    rows, errors, seconds = defaultdict(Counter), [], []
    for scene in card_scenes(renderer, seeds):
        photo = scene.photo()
        photo.reduced(1000)
        start = time.process_time()
        result, error = outcome(scene, photo)
        seconds.append(time.process_time() - start)
        if verbose and result not in ("right", "no card: refused"):
            print(f"  {scene.name}{' without its card' if scene.card_quad is None else ''}: {result}")
        for key in ("all", f"rim {scene.rim}", f"on {scene.ground}"):
            rows[key][result] += 1
        errors += [error] if error is not None else []
    print(f"\n{renderer}, seeds {seeds.start}:{seeds.stop}")
    print(f"{'':24s}" + "".join(f"{name:>18s}" for name in _COLUMNS))
    for key, row in sorted(rows.items()):
        print(f"{key:24s}" + "".join(f"{row[name]:18d}" for name in _COLUMNS))
    total = rows["all"]
    cards = sum(total[name] for name in _COLUMNS[:5])
    print(f"found {(total['right'] + total['right, flagged']) / max(cards, 1):.3f} of {cards} cards")
    if errors:
        print(f"corner error, % of side: median {np.median(errors):.2f}, p90 {np.percentile(errors, 90):.2f}")
    print(f"processor time after reading, ms: median {1e3 * np.median(seconds):.0f}")


def main():
    """Score the renderers asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--renderer", choices=("a", "b", "c", "all"), default="all")
    parser.add_argument("--seeds", type=first_end, help="first:end; 96:160, 192:384 and 1000:1060 if left out")
    parser.add_argument("--verbose", action="store_true", help="name the scenes that went wrong")
    options = parser.parse_args()
    usual = {"a": range(96, 160), "b": range(192, 384), "c": range(1000, 1060)}
    for renderer in usual if options.renderer == "all" else (options.renderer,):
        score(renderer, options.seeds or usual[renderer], options.verbose)


if __name__ == "__main__":
    main()
