"""How long learning takes as records grow, beside scikit-learn's Gaussian process.

python tests/bench/learn_speed.py [--sizes 30,1000,10000] [--gp-most 1000]
"""

import argparse
import time

import numpy as np
import suggest

from dyebook import learn_bath
from tests.bench import worlds


def seconds(work, repeats):
    """Median wall clock of `work`."""
    taken = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return float(np.median(taken))


def main():
    """Print a row a size."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sizes", default="30,1000,10000")
    parser.add_argument("--gp-most", type=int, default=1000, help="largest size given to the Gaussian process")
    options = parser.parse_args()
    bath, rng = worlds.TUNING[1].bath(1), np.random.default_rng(0)
    learn_bath(bath.records(10, rng))  # imports are not counted
    target = bath.target(rng)
    for size in (int(text) for text in options.sizes.split(",")):
        records = bath.records(size, rng)
        repeats = 5 if size < 500 else 1
        learned = seconds(lambda records=records: learn_bath(records), repeats)
        model = learn_bath(records)
        asked = seconds(lambda model=model: model.suggest(target, film_um=12), 5)
        line = f"{size:6d} records: learn {learned:.2f} s, suggest {asked:.3f} s"
        if size <= options.gp_most:
            settings = suggest.grid(12, 5.5)
            peer = seconds(lambda records=records, s=settings: suggest.PEERS["gp"](records, target, s), 1)
            line += f"; Gaussian process {peer:.2f} s"
        print(line, flush=True)


if __name__ == "__main__":
    main()
