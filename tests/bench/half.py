"""What reading a large JPEG at half size costs in accuracy: the same photos measured from halves and from wholes.

    python -m tests.bench.half --seeds 9300:9342 [--megapixels 12]

Photos are rendered with flaws on about half of their parts, and kept in the temp folder. A part is the same in both
where the outlines overlap by more than 0.6; its readings are compared, and both ways are scored against the truth.
"""

import argparse
import pickle
import tempfile
from collections import Counter
from pathlib import Path

import cv2
import numpy as np

from dyebook.errors import PhotoError
from dyebook.lab import delta_e_00
from dyebook.photo.card.card import fill_polygon
from dyebook.photo.file.read import read_photo
from dyebook.photo.measure import look_at
from tests.bench.scenes import first_end

# outlines are laid over each other on every so many-th pixel
_STEP = 4
_FOUND, _FLAW_FOUND = 0.6, 0.2


def large_scene(seed, megapixels):
    """JPEG bytes, size and parts (outline, Lab, flaws as outlines) of a rendered photo, made once."""
    path = Path(tempfile.gettempdir()) / "dyebook-scenes" / f"large-{megapixels:g}" / f"{seed}.pickle"
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(pickle.dumps(_rendered(seed, megapixels)))
    return pickle.loads(path.read_bytes())


def _rendered(seed, megapixels):
    from tests.render import make_scenes
    from tests.render.photo import picture

    width = 4 * round((megapixels * 1e6 * 4 / 3) ** 0.5 / 4)
    drawn = picture(make_scenes(seed, "flaws", width, width * 3 // 4)[0])
    quality = int(np.random.default_rng(seed).integers(80, 97))
    codes = np.ascontiguousarray(drawn.codes[..., ::-1])
    data = cv2.imencode(".jpg", codes, [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()
    parts = []
    for part in drawn.truth["parts"]:
        flaws = [(flaw["kind"], [np.array(ring) for ring in flaw["outlines"]]) for flaw in part["flaws"]]
        parts.append((np.array(part["outline"]), tuple(part["lab"]), flaws))
    return data, drawn.codes.shape[1::-1], parts


def mask_of(rings, size):
    """Pixels inside an odd number of outlines, on every few pixels of a photo."""
    return np.logical_xor.reduce([fill_polygon(np.asarray(ring), (0, 0, *size), _STEP) for ring in rings])


def overlap(one, other):
    """Intersection over union."""
    return (one & other).sum() / max(1, (one | other).sum())


def same_parts(ours, theirs):
    """Pairs (i, j, overlap) of the masks that show the same part."""
    pairs = []
    for i, one in enumerate(ours):
        shares = [overlap(one, other) for other in theirs]
        if shares and max(shares) > _FOUND:
            pairs.append((i, int(np.argmax(shares)), max(shares)))
    return pairs


def score(readings, masks, parts, size, tally):
    """Count parts and flaws found, and false ones; squared errors are left to the other benches."""
    true = [mask_of([outline], size) for outline, *_ in parts]
    pairs = {j: i for i, j, _ in same_parts(masks, true)}
    tally["parts"] += len(parts)
    tally["parts found"] += len(pairs)
    tally["false parts"] += len(masks) - len(pairs)
    for j, (_, lab, flaws) in enumerate(parts):
        if j not in pairs:
            continue
        reading = readings[pairs[j]]
        tally["sum of ΔE00"] += float(delta_e_00(lab, reading.lab))
        seen = [mask_of([flaw.outline], size) for flaw in reading.flaws]
        tally["flaws"] += len(flaws)
        hits = [any(overlap(mask_of(rings, size), one) > _FLAW_FOUND for one in seen) for _, rings in flaws]
        tally["flaws found"] += sum(hits)
        tally["false flaws on sound parts"] += len(seen) if not flaws else 0


def compare(seeds, megapixels):
    """Rows (ΔE00, difference over its uncertainty, overlap) of parts seen both ways, and the tallies of both."""
    rows, tallies = [], {"half": Counter(), "whole": Counter()}
    for seed in seeds:
        data, size, parts = large_scene(seed, megapixels)
        seen = {}
        for way, tally in tallies.items():
            try:
                look = look_at(read_photo(data, quick=way == "half"))
            except PhotoError:
                tally["refused"] += 1
                continue
            tally["decoded whole after all"] += way == "half" and "whole" in vars(look.photo)
            readings = look.measurement.parts
            masks = [mask_of([reading.outline], size) for reading in readings]
            score(readings, masks, parts, size, tally)
            seen[way] = readings, masks
        if len(seen) == 2:
            rows += _differences(*seen["half"], *seen["whole"], tallies)
    return rows, tallies


def _differences(ours, our_masks, theirs, their_masks, tallies):
    out = []
    for i, j, share in same_parts(our_masks, their_masks):
        one, other = ours[i], theirs[j]
        away = np.abs(np.subtract(one.lab, other.lab)) / other.lab_u
        tallies["half"]["other flags"] += set(one.flags) != set(other.flags)
        out.append((float(delta_e_00(other.lab, one.lab)), float(away.max()), share))
    return out


def main():
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", default="9300:9342", help="first:end")
    parser.add_argument("--megapixels", type=float, default=12)
    options = parser.parse_args()
    rows, tallies = compare(first_end(options.seeds), options.megapixels)
    delta_e, away, share = np.array(rows).T
    print(f"{len(rows)} parts seen both ways; median, p90, largest")
    for name, values in (("ΔE00 between the ways", delta_e), ("largest difference over lab_u", away)):
        print(f"{name:32s} {np.median(values):.3f} {np.quantile(values, 0.9):.3f} {values.max():.3f}")
    print(f"{'overlap of the outlines':32s} {np.median(share):.3f} {np.quantile(share, 0.1):.3f} {share.min():.3f}")
    for way, tally in tallies.items():
        print(f"{way}: " + ", ".join(f"{name} {count:.4g}" for name, count in tally.items()))


if __name__ == "__main__":
    main()
