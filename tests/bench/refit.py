"""Make every fitted constant of the photo chain anew: python -m tests.bench.refit [--only card] [--quick] [--dry-run].

Lists what is fitted or was chosen by scores, by which command, and from which seeds. Fits that write a `weights.json`
replace it; the others print constants to be pasted beside their comments. `--quick` fits on a few seeds to a temporary
folder and changes nothing: it shows that the commands run.
"""

import argparse
import json
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]


@dataclass(frozen=True)
class Fit:
    """Where something stands, the module and options that fit it (none: chosen by scores), how it is scored."""

    stands_in: str
    module: str | None
    options: tuple[str, ...]
    quick: tuple[str, ...]
    scored_by: str

    @property
    def writes(self):
        """Whether the command writes the file itself."""
        return self.stands_in.endswith(".json")

    def command(self, quick=False, out=None):
        """Return the command as a list of words."""
        words = [sys.executable, "-m", f"tests.bench.{self.module}", *(self.quick if quick else self.options)]
        return words if out is None else [*words, "--out", str(out)]


FITS = {
    "card": Fit(
        "dyebook/photo/card/weights.json",
        "card_fit",
        ("--a", "1000:1060", "--b", "0:120", "--c", "0:120"),
        ("--a", "1000:1003", "--b", "0:4", "--c", "0:12"),
        "python -m tests.bench.card",
    ),
    "part": Fit(
        "dyebook/photo/part/weights.json",
        "part_fit",
        ("--seeds", "0:250"),
        ("--seeds", "0:4"),
        "python -m tests.bench.parts",
    ),
    "flaw": Fit(
        "dyebook/photo/flaw/weights.json",
        "flaw_fit",
        ("--seeds", "0:150"),
        ("--seeds", "0:4"),
        "python -m tests.bench.flaw",
    ),
    "flaw threshold": Fit(
        "dyebook/photo/flaw/find.py: LEAST_PROBABILITY",
        "flaw_threshold",
        ("--seeds", "0:120"),
        ("--seeds", "0:10"),
        "python -m tests.bench.flaw",
    ),
    "usual": Fit(
        "dyebook/photo/camera/usual.py: _SENSOR_TO_RGB, _DYE_CORRECTION",
        "usual_fit",
        (),
        (),
        "python -m tests.bench.photo",
    ),
    "reading": Fit(
        "dyebook/photo/reading.py, camera/usual.py: shares, veils, uncertainties",
        None,
        (),
        (),
        "python -m tests.bench.photo --seeds 6000:6036 --auto",
    ),
    "camera": Fit(
        "dyebook/photo/camera/fit.py, profile.py: priors, roots, error on films",
        None,
        (),
        (),
        "python -m tests.bench.camera --seeds 0:60 --find 0:60",
    ),
}


def describe(name, fit):
    """Print where a fitted thing stands, how it is made anew, and what it came from."""
    print(f"{name}: {fit.stands_in}")
    made = "chosen by scores, not fitted" if fit.module is None else "python " + " ".join(fit.command()[1:])
    print(f"  made by    {made}\n  scored by  {fit.scored_by}")
    if fit.writes:
        source = json.loads((ROOT / fit.stands_in).read_text(encoding="utf-8"))["fitted_by"]
        print(f"  came from  {json.dumps(source, ensure_ascii=False)}")


def make_anew(fit, quick):
    """Run one fit and return whether it ended well; a quick one leaves the repository as it is."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "weights.json" if fit.writes else None
        done = subprocess.run(fit.command(quick, out), cwd=ROOT, check=False).returncode == 0
        if done and out is not None and not quick:
            (ROOT / fit.stands_in).write_text(out.read_text(encoding="utf-8"), encoding="utf-8")
    return done


def main():
    """List the fits, and make those asked for anew."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", choices=FITS, action="append", help="this one alone; may be given again")
    parser.add_argument("--quick", action="store_true", help="on a few seeds, changing nothing")
    parser.add_argument("--dry-run", action="store_true", help="print the plan and stop")
    options = parser.parse_args()
    failed = []
    for name in options.only or FITS:
        describe(name, FITS[name])
        if not options.dry_run and FITS[name].module is not None and not make_anew(FITS[name], options.quick):
            failed.append(name)
    if failed:
        raise SystemExit(f"not made anew: {', '.join(failed)}")


if __name__ == "__main__":
    main()
