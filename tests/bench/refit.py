"""Make every fitted constant of the photo chain anew, from the photographs of `tests.bench.worlds`.

    python -m tests.bench.refit [--only card] [--world simple] [--setups 0:24] [--out DIR] [--dry-run]

Lists what is fitted or was chosen by scores, by which command, and what it came from. Fits that write a `weights.json`
replace the house's; with `--out` they write into DIR, by which `tests.bench.worlds score --weights DIR` then reads. The
others print constants to be pasted beside their comments. `--world` fits to that world alone, so that the other can
judge: `tests.bench.worlds leave-out` does both ways. `--quick` fits to two set-ups and changes nothing: it shows that
the commands run.
"""

import argparse
import json
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from dyebook.photo import classifier, shared
from tests.bench.scenes import KINDS, WORLD_NAMES, first_end

ROOT = Path(__file__).parents[2]
# set-ups that constants are chosen on; later ones are for scoring
SETUPS = {"simple": range(12), "physical": range(24)}


@dataclass(frozen=True)
class Fit:
    """Where something stands, the module and words that fit it (none: chosen by scores), how it is scored."""

    stands_in: str
    module: str | None
    scored_by: str
    seeds: int = 0  # a set-up holds so many; 0: the module takes no seeds by world
    more: tuple[str, ...] = ()
    file: str = ""  # within DIR, of what the command writes itself

    def command(self, setups, out=None):
        """Return the command as a list of words, for set-ups (range) by world; other worlds are left out."""
        words = [sys.executable, "-m", f"tests.bench.{self.module}", *self.more]
        for letter, world in WORLD_NAMES.items() if self.seeds else ():
            those = setups.get(world, range(0))
            words += [f"--{letter}", f"{self.seeds * those.start}:{self.seeds * those.stop}"]
        if self.module == "errors":
            words += ["--world", *setups, "--setups", f"0:{max(those.stop for those in setups.values())}"]
        return words if out is None else [*words, "--out", str(out)]


FITS = {
    "card": Fit(
        "dyebook/photo/card/weights.json",
        "card_fit",
        "python -m tests.bench.card",
        len(KINDS),
        file="card/weights.json",
    ),
    "part": Fit(
        "dyebook/photo/part/weights.json",
        "part_fit",
        "python -m tests.bench.parts",
        len(KINDS),
        file="part/weights.json",
    ),
    "flaw": Fit(
        "dyebook/photo/flaw/weights.json", "flaw_fit", "python -m tests.bench.flaw", 1, file="flaw/weights.json"
    ),
    "flaw threshold": Fit(
        "dyebook/photo/flaw/find.py: LEAST_PROBABILITY", "flaw_threshold", "python -m tests.bench.flaw"
    ),
    "sizes": Fit(
        "dyebook/photo/shared.py: Sizes",
        "errors",
        "python -m tests.bench.errors score",
        more=("fit", "--fresh"),
        file="sizes.json",
    ),
    # from cameras and lamps, which both worlds share
    "usual": Fit("dyebook/photo/camera/usual.py: _SENSOR_TO_RGB", "usual_fit", "python -m tests.bench.photo"),
    "reading": Fit(
        "dyebook/photo/reading.py, camera/usual.py: shares, veils, uncertainties",
        None,
        "python -m tests.bench.worlds score",
    ),
    "camera": Fit(
        "dyebook/photo/camera/fit.py, profile.py: priors, roots, error on films",
        None,
        "python -m tests.bench.camera --seeds 0:60 --find 0:60",
    ),
}


def use_weights(folder):
    """Let this process read photos by what `--out` wrote into a folder; what is not there stays the house's."""
    house = classifier.files

    def files(package):
        own = folder / package.rpartition(".")[2]
        return own if own.is_dir() else house(package)

    classifier.files = files
    classifier.load_classifiers.cache_clear()
    if (folder / "sizes.json").exists():
        sizes = json.loads((folder / "sizes.json").read_text(encoding="utf-8"))
        shared.error_parts.__defaults__ = (shared.Sizes(**sizes),)


def describe(name, fit, setups):
    """Print where a fitted thing stands, how it is made anew, and what it came from."""
    print(f"{name}: {fit.stands_in}")
    made = "chosen by scores, not fitted" if fit.module is None else "python " + " ".join(fit.command(setups)[1:])
    print(f"  made by    {made}\n  scored by  {fit.scored_by}")
    if fit.stands_in.endswith(".json"):
        source = json.loads((ROOT / fit.stands_in).read_text(encoding="utf-8"))["fitted_by"]
        print(f"  came from  {json.dumps(source, ensure_ascii=False)}")


def make_anew(fit, setups, folder):
    """Run one fit and return whether it ended well; what it writes goes into a folder."""
    out = folder / fit.file if fit.file else None
    if out is not None:
        out.parent.mkdir(parents=True, exist_ok=True)
    return subprocess.run(fit.command(setups, out), cwd=ROOT, check=False).returncode == 0


def main():
    """List the fits, and make those asked for anew."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--only", choices=FITS, action="append", help="this one alone; may be given again")
    parser.add_argument("--world", choices=SETUPS, help="this one alone; both if left out")
    parser.add_argument("--setups", type=first_end, help="first:end; 0:12 of the simple and 0:24 of the physical world")
    parser.add_argument("--out", type=Path, help="folder to write to instead of the house")
    parser.add_argument("--quick", action="store_true", help="on two set-ups, changing nothing")
    parser.add_argument("--dry-run", action="store_true", help="print the plan and stop")
    options = parser.parse_args()
    asked = range(2) if options.quick else options.setups
    setups = {world: asked or SETUPS[world] for world in SETUPS if options.world in (None, world)}
    failed = []
    for name in options.only or FITS:
        fit = FITS[name]
        describe(name, fit, setups)
        if options.dry_run or fit.module is None:
            continue
        with tempfile.TemporaryDirectory() as own:
            folder = Path(own) if options.out is None else options.out
            if not make_anew(fit, setups, folder):
                failed.append(name)
            elif options.out is None and not options.quick and fit.stands_in.endswith(".json"):
                (ROOT / fit.stands_in).write_text((folder / fit.file).read_text(encoding="utf-8"), encoding="utf-8")
    if failed:
        raise SystemExit(f"not made anew: {', '.join(failed)}")


if __name__ == "__main__":
    main()
