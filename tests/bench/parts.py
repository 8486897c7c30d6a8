"""Parts found by themselves, on both worlds: python -m tests.bench.parts [--seeds 192:256].

Cards are given, so that the table speaks of parts alone. A part is found when one outline covers it with an
intersection over union above 0.6; an outline that covers no part so is false.
"""

import argparse
import time
from collections import defaultdict

import numpy as np

from dyebook.photo.part.find import find_parts
from tests.bench.part_scenes import full_masks, opened
from tests.bench.scenes import first_end


def score(renderer, seeds):
    """Return (kind, ground, overlap) of each true part, (ground, false parts) of each photo, and seconds of each."""
    parts, photos, seconds = [], [], []
    for scene, photo, card, light in opened(renderer, seeds):
        photo.reduced(1000)
        start = time.process_time()
        found = find_parts(photo, card, light)
        seconds.append(time.process_time() - start)
        masks = [part.mask((0, 0, *photo.size)) for part in found]
        table = np.array([[overlap_of(m, t) for t in full_masks(scene, photo.size)] for m in masks])
        table = table.reshape(len(masks), len(scene.parts))
        best = table.max(axis=0, initial=0)
        parts += [(part.kind, scene.ground, v) for part, v in zip(scene.parts, best, strict=True)]
        photos.append((scene.ground, int(np.sum(table.max(axis=1, initial=0) <= 0.6))))
    return parts, photos, seconds


def overlap_of(one, other):
    """Intersection over union of two masks."""
    return np.count_nonzero(one & other) / max(np.count_nonzero(one | other), 1)


def _print(renderer, parts, photos, seconds):
    overlaps = np.array([v for _, _, v in parts])
    found = overlaps > 0.6
    false = np.array([n for _, n in photos])
    print(
        f"renderer {renderer}: {len(photos)} photos, {len(parts)} parts: found {found.mean():.3f}, "
        f"false per photo {false.mean():.3f}, mean overlap when found {overlaps[found].mean():.3f}, "
        f"median {1e3 * np.median(seconds):.0f} ms"
    )
    for column, name in ((0, "kind"), (1, "ground")):
        groups = defaultdict(list)
        for part in parts:
            groups[part[column]].append(part[2] > 0.6)
        print(f"  by {name}: " + ", ".join(f"{k} {np.mean(v):.2f} of {len(v)}" for k, v in sorted(groups.items())))
    groups = defaultdict(list)
    for ground, count in photos:
        groups[ground].append(count)
    print("  false by ground: " + ", ".join(f"{k} {np.mean(v):.2f}" for k, v in sorted(groups.items())))


def main():
    """Print the table for both worlds."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=first_end, help="first:end; 96:160 and 192:256, not fitted to, if left out")
    parser.add_argument("--renderers", default="ab")
    options = parser.parse_args()
    usual = {"a": range(96, 160), "b": range(192, 256)}
    for renderer in options.renderers:
        _print(renderer, *score(renderer, options.seeds or usual[renderer]))


if __name__ == "__main__":
    main()
