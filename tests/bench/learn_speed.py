"""How long learning takes as records grow, beside scikit-learn's Gaussian process.

python -m tests.bench.learn_speed [--sizes 30,1000,10000] [--gp-most 1000]
"""

import numpy as np

from dyebook import learn_bath
from tests.bench import baths, suggest
from tests.bench.command import command_line, numbers, timed


def main():
    """Print a row a size."""
    parser = command_line(__doc__)
    parser.add_argument("--sizes", default="30,1000,10000")
    parser.add_argument("--gp-most", type=int, default=1000, help="largest size given to the Gaussian process")
    options = parser.parse_args()
    bath, rng = baths.TUNING[1].bath(1), np.random.default_rng(0)
    learn_bath(bath.records(10, rng))  # imports are not counted
    target = bath.target(rng)
    for size in numbers(options.sizes):
        records = bath.records(size, rng)
        repeats = 5 if size < 500 else 1
        learned = timed(lambda records=records: learn_bath(records), repeats)
        model = learn_bath(records)
        asked = timed(lambda model=model: model.suggest(target, film_um=12), 5)
        line = f"{size:6d} records: learn {learned:.2f} s, suggest {asked:.3f} s"
        if size <= options.gp_most:
            settings = suggest.grid(12, 5.5)
            peer = timed(lambda records=records, s=settings: suggest.PEERS["gp"](records, target, s), 1)
            line += f"; Gaussian process {peer:.2f} s"
        print(line, flush=True)


if __name__ == "__main__":
    main()
