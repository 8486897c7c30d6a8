"""Accuracy of the photo chain: scenes of two worlds (a simple, b physical), and real chart photographs.

    python -m tests.bench.photo --seeds 100:160 [--world a|b|all] [--auto] [--photos DIR]

DYEBOOK_CAMERAS may name a folder of camera sensitivities (CSV: wavelength_nm,R,G,B). `--photos` names a folder of
chart photographs with a truth.json (or DYEBOOK_CHARTS does). An error where a reading was possible counts as ΔE 15.
"""

import argparse
import os
from collections import defaultdict
from pathlib import Path

import numpy as np

from dyebook.errors import DyebookError
from dyebook.lab import delta_e_00
from dyebook.photo.measure import look_at
from dyebook.record import ReadOptions
from tests.bench.real_charts import score_charts
from tests.bench.scenes import first_end, load_scenes

MISSED = 15.0
FOUND = 0.6


def iou_of(reading, truth, size):
    """Overlap of a found part and a true one: intersection over union of their masks."""
    from dyebook.photo.card.card import fill_polygon

    box = (0, 0, *size)
    found = fill_polygon(np.array(reading.outline), box)
    true = np.zeros_like(found)
    x0, y0, x1, y1 = truth.box
    true[y0:y1, x0:x1] = truth.mask
    return (found & true).sum() / max(1, (found | true).sum())


def measure_given(scene):
    """Readings of the true parts with the true card, or the error."""
    outlines = [part.polygon for part in scene.parts]
    look = look_at(scene.data, ReadOptions(scene.card_quad, scene.card_lab, outlines), scene.name)
    return look.measurement.parts


def score_given(scenes):
    """Rows of one part each: error, coverage, in gamut, kind; and of near shades: error of the difference, its size."""
    rows, pairs = [], []
    for scene in scenes:
        if scene.card_quad is None or not scene.parts:
            continue
        try:
            readings = measure_given(scene)
        except DyebookError as error:
            print(f"{scene.name}: {error}")
            rows += [(MISSED, False, p.in_gamut, p.kind, scene.name) for p in scene.parts]
            continue
        for reading, part in zip(readings, scene.parts, strict=True):
            error = np.array(reading.lab) - part.lab
            covered = np.abs(error) <= 2 * np.array(reading.lab_u)
            rows.append((float(delta_e_00(part.lab, reading.lab)), covered, part.in_gamut, part.kind, scene.name))
        for i, j in scene.pairs:
            true = np.array(scene.parts[i].lab) - scene.parts[j].lab
            read = np.array(readings[i].lab) - readings[j].lab
            pairs.append((np.linalg.norm(read - true), np.linalg.norm(true)))
    return rows, pairs


def print_given(title, rows, pairs):
    """Print the table for card and parts given."""
    errors = np.array([row[0] for row in rows])
    inside = np.array([row[2] for row in rows])
    covered = np.array([np.broadcast_to(row[1], 3) for row in rows])
    print(f"\n{title}: {len(rows)} parts, card and parts given")
    print(f"  in-gamut median ΔE00 {np.median(errors[inside]):.2f}")
    print(f"  all parts median {np.median(errors):.2f}  p90 {np.quantile(errors, 0.9):.2f}")
    if pairs:
        missed, apart = np.median(pairs, axis=0)
        print(f"  near-shade difference vector, median error {missed:.2f} of {apart:.1f} ({len(pairs)} pairs)")
    print(f"  share of truths within 2 lab_u: {covered.mean():.3f} (L*, a*, b*: {covered.mean(axis=0).round(2)})")
    kinds = defaultdict(list)
    for row in rows:
        kinds[row[3]].append(row[0])
    print("  by kind: " + ", ".join(f"{k} {np.median(v):.1f} ({len(v)})" for k, v in sorted(kinds.items())))


def score_auto(scenes):
    """Counts for the fully automatic chain."""
    count = defaultdict(int)
    for scene in scenes:
        count["photos"] += 1
        count["with_card"] += scene.card_quad is not None
        try:
            look = look_at(scene.data, ReadOptions(card_lab=scene.card_lab), scene.name)
        except DyebookError:
            count["refused"] += scene.card_quad is not None
            count["parts"] += len(scene.parts) if scene.card_quad is not None else 0
            continue
        _count_card(count, scene, look)
        if scene.card_quad is not None:
            _count_parts(count, scene, look)
    return count


def _count_card(count, scene, look):
    from dyebook.photo.card.card import fill_polygon

    flagged = bool({"card_doubtful", "no_card"} & set(look.measurement.flags))
    count["card_flagged"] += flagged
    if scene.card_quad is None:
        count["cardless_taken"] += not flagged
        return
    box = (0, 0, *look.photo.size)
    found, true = fill_polygon(look.card.quad, box), fill_polygon(scene.card_quad, box)
    right = (found & true).sum() / (found | true).sum() > 0.7
    count["card_right"] += right
    count["card_wrong_unflagged"] += not right and not flagged


def _count_parts(count, scene, look):
    readings = list(look.measurement.parts)
    count["parts"] += len(scene.parts)
    for part in scene.parts:
        overlaps = [iou_of(reading, part, look.photo.size) for reading in readings]
        if overlaps and max(overlaps) > FOUND:
            reading = readings.pop(int(np.argmax(overlaps)))
            count["parts_found"] += 1
            count["parts_right"] += delta_e_00(part.lab, reading.lab) < 3
    count["false_parts"] += len(readings)


def print_auto(title, count):
    """Print the table for the automatic chain."""
    cards, parts = max(1, count["with_card"]), max(1, count["parts"])
    print(f"\n{title}: {count['photos']} photos, fully automatic")
    print(f"  card found {count['card_right'] / cards:.3f}, refused {count['refused'] / cards:.3f}")
    print(f"  wrong card unflagged {count['card_wrong_unflagged']}, card-less photo taken {count['cardless_taken']}")
    print(f"  parts found {count['parts_found'] / parts:.3f}, false parts per photo {count['false_parts'] / cards:.2f}")
    print(f"  part found and within ΔE 3: {count['parts_right'] / parts:.3f}")


def main():
    """Run what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", default="100:160")
    parser.add_argument("--world", choices=["a", "b", "all"], default="all")
    parser.add_argument("--auto", action="store_true", help="find card and parts too")
    parser.add_argument(
        "--photos",
        type=Path,
        default=os.environ.get("DYEBOOK_CHARTS") or None,
        help="folder of chart photographs with truth.json",
    )
    options = parser.parse_args()
    seeds = first_end(options.seeds)
    for world in "ab" if options.world == "all" else options.world:
        scenes = list(load_scenes(world, seeds))
        print_given(f"world {world}, seeds {options.seeds}", *score_given(scenes))
        if options.auto:
            print_auto(f"world {world}, seeds {options.seeds}", score_auto(scenes))
    if options.photos:
        score_charts(options.photos)


if __name__ == "__main__":
    main()
