"""How well a bath's strength is foretold between its checks: rule of thumb alone against the shop's own checks.

    python -m tests.bench.bath_loss [--seed 100] [--count 40] [--thumb]

With --thumb no check teaches anything. Each bath has its own uptake, ages or not, and is checked with a 5 % error; each
check is foretold from what went before.
"""

import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from dyebook.book.store import open_book
from dyebook.jobs import baths
from dyebook.jobs import strength as line
from dyebook.physics.bathcare import DRAG_OUT_ML_PER_DM2, learn_loss
from dyebook.record import DyeRecord
from tests.bench.command import command_line, machine

START = datetime(2026, 1, 5, 8, tzinfo=UTC)
CHECK_SD = 0.05


def main():
    """Print errors and coverage by how many checks went before."""
    parser = command_line(__doc__)
    parser.add_argument("--seed", type=int, default=100)
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--thumb", action="store_true")
    asked = parser.parse_args()
    if asked.thumb:
        line.learn_loss = lambda link, _: learn_loss(link)
    rows = [row for seed in range(asked.seed, asked.seed + asked.count) for row in run_bath(seed)]
    print(f"{machine()}, seeds {asked.seed} to {asked.seed + asked.count - 1}")
    print("checks before   cases   mean error   within 2 sd")
    for before in sorted({row[0] for row in rows}):
        errors = np.array([row[1] for row in rows if row[0] == before])
        sds = np.array([row[2] for row in rows if row[0] == before])
        print(
            f"{before:>13} {len(errors):>7} {np.mean(np.abs(errors)):>11.1%} {np.mean(np.abs(errors) < 2 * sds):>12.0%}"
        )


def run_bath(seed):
    """Yield (checks before, relative error of the strength foretold, its relative uncertainty) for each check."""
    rng = np.random.default_rng(seed)
    grams, volume_l = 3.0 * 2.0, 2.0
    uptake = 0.2 * np.exp(rng.normal(0, 0.7))
    per_day = rng.uniform(0.001, 0.004) if rng.random() < 0.3 else 0.0
    with tempfile.TemporaryDirectory() as folder, open_book(Path(folder) / "shop.dyebook") as book:
        bath = baths.find_bath(book, "Ember", "E1", volume_l)
        baths.note_bath(book, bath, "made_up", START.isoformat(), dye_g_per_l=3.0, bath_volume_l=volume_l)
        day = 0.0
        for check in range(5):
            for _ in range(rng.integers(3, 9)):
                pause = rng.uniform(1, 8)
                day += pause
                area, film = rng.uniform(5, 30), rng.uniform(6, 18)
                grams *= np.exp(-per_day * pause)
                grams -= uptake * film * area / 1000 + grams / volume_l * DRAG_OUT_ML_PER_DM2 * area / 1000
                _dip(book, day, area, film, max(grams / volume_l, 0.01))
            day += 1
            at, strength = START + timedelta(days=day), grams / volume_l
            if strength < 0.3:
                return
            now = line.strength_line(book, bath, now=at).now
            yield check, now.dye_g_per_l / strength - 1, now.dye_g_per_l_sd / strength
            seen = strength * (1 + rng.normal(0, CHECK_SD))
            baths.note_bath(book, bath, "measured", at.isoformat(), dye_g_per_l=seen, bath_volume_l=volume_l)


def _dip(book, day, area_dm2, film_um, dye_g_per_l):
    at = (START + timedelta(days=day)).isoformat()
    settings = {"film_um": film_um, "dye_g_per_l": dye_g_per_l, "bath_temp_c": 50, "dwell_min": 6}
    book.add_batch(DyeRecord("Ember", bath="E1", dyed_at=at, area_dm2=area_dm2, **settings))


if __name__ == "__main__":
    main()
