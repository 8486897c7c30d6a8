"""Days until the check coupon's rule sees a step, and how often it cries for nothing: simulated days, one series a row.

    python -m tests.bench.coupon [--series 200] [--seed 41]

Scatter is normal and the same on L*, a* and b*; the step moves one of ΔL*, ΔC*, ΔH* after 20 quiet days.
"""

import numpy as np
import pandas as pd

from dyebook.advice.drift import find_drift
from dyebook.jobs.check_coupon import BASELINE
from tests.bench.command import command_line

QUIET, AFTER = 20, 30
COLUMNS = ["delta_l", "delta_c", "delta_h"]


def first_signal(steps, begin):
    """First day, counted from `begin`, on which the rule signals (None: never), and where it says the drift began."""
    for day in range(max(begin, BASELINE + 1), len(steps) + 1):
        found = find_drift(pd.DataFrame(steps[:day], columns=COLUMNS), baseline=BASELINE)
        if found.cause != "none":
            return day - begin, found.since
    return None, None


def scatter(rng, sd):
    """Quiet days and those after, shape (days, 3)."""
    return rng.normal(0, sd, (QUIET + AFTER, 3))


def main():
    """Print the table."""
    ask = command_line(__doc__)
    ask.add_argument("--series", type=int, default=200)
    ask.add_argument("--seed", type=int, default=41)
    asked = ask.parse_args()
    rng = np.random.default_rng(asked.seed)
    print(
        "scatter  step   seen within 7 / 14 / 30 days   median days   day it left, median error   false before, 20 days"
    )
    for sd in (0.2, 0.4):
        for step in (0.5, 1.0, 1.5, 2.0):
            days, errors, false = [], [], 0
            for _ in range(asked.series):
                steps = scatter(rng, sd)
                if first_signal(steps[:QUIET], 0)[0] is not None:
                    false += 1
                    continue
                steps[QUIET:, rng.integers(3)] += rng.choice((-1, 1)) * step
                day, since = first_signal(steps, QUIET)
                days.append(np.inf if day is None else day)
                if day is not None:
                    errors.append(abs(since - QUIET))
            shares = " / ".join(f"{np.mean(np.array(days) <= limit):.2f}" for limit in (7, 14, 30))
            error = np.median(errors) if errors else np.nan
            figures = f"{shares:>24} {np.median(days):14.0f} {error:20.0f} {false / asked.series:22.2f}"
            print(f"{sd:7.1f} {step:5.1f}   {figures}")


if __name__ == "__main__":
    main()
