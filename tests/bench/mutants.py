"""Small faults put into the most important modules, one at a time: does a test notice?

    python -m tests.bench.mutants [--count 200] [--seed 0] [--only units,book.rows]

A fault is a comparison turned round, a sum made a difference, a figure doubled, a condition denied, a result
forgotten. It is put into a copy of the package, and the tests of that module are run against the copy. The living ones
are listed, to be judged: some change nothing that anyone could see.
"""

import argparse
import ast
import os
import random
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
# module -> its tests
MODULES = {
    "units": "tests/test_units.py tests/shell/test_bench.py",
    "safe_file": "tests/shell/test_files.py tests/test_full_disk.py",
    "record": "tests/test_words.py tests/book/test_rows.py tests/test_units.py tests/screens/test_shop.py",
    "lab.space": "tests/lab tests/photo/test_reading.py",
    "photo.reading": "tests/photo/test_reading.py tests/photo/test_shared.py tests/photo/test_measure.py",
    "photo.light": "tests/photo/test_light.py tests/photo/test_reading.py",
    "photo.shared": "tests/photo/test_shared.py tests/photo/test_reading.py",
    "photo.file.read": "tests/photo/file",
    "photo.camera.fit": "tests/photo/camera",
    "physics.film": "tests/physics/test_film.py tests/physics/test_constants.py tests/shell/test_bench.py",
    "physics.electrolyte": "tests/physics/test_electrolyte.py tests/physics/test_baths.py tests/shell/test_bench.py",
    "physics.area": "tests/physics/test_area.py tests/shell/test_bench.py",
    "book.rows": "tests/book/test_rows.py tests/book/test_safety.py",
    "book.connect": "tests/book/test_safety.py tests/book/test_versions.py tests/shell/test_files.py",
    "book.backup": "tests/book/test_backup.py tests/book/test_salvage.py",
    "book.batches": "tests/book/test_batches.py tests/book/test_search.py tests/shell/test_book.py",
    "book.photos": "tests/book/test_photos.py tests/book/test_hostile.py",
    "advice.judge": "tests/advice/test_judge.py tests/jobs/test_verdict.py",
    "advice.redip": "tests/advice/test_redip.py",
    "advice.suggest": "tests/advice/test_suggest.py tests/advice/test_dwell.py tests/advice/test_light.py",
    "model.fit": "tests/model",
}
LONGEST_S = 600
_COMPARE = {ast.Lt: ast.GtE, ast.GtE: ast.Lt, ast.Gt: ast.LtE, ast.LtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq}
_REVERSE = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult}


def spoil(node):
    """Change a node in place and return what was done, or None where it has no fault to make."""
    match node:
        case ast.Compare(ops=[op]) if type(op) in _COMPARE:
            node.ops = [_COMPARE[type(op)]()]
        case ast.BinOp(op=op) if type(op) in _REVERSE and not isinstance(node.left, ast.Constant | ast.JoinedStr):
            node.op = _REVERSE[type(op)]()
        case ast.Constant(value=float() | int()) if not isinstance(node.value, bool) and node.value:
            node.value *= 2
        case ast.Constant(value=bool()):
            node.value = not node.value
        case ast.If(test=test):
            node.test = ast.UnaryOp(ast.Not(), test)
        case ast.Return(value=ast.AST()):
            node.value = ast.Constant(None)
        case _:
            return None
    return type(node).__name__


def places(tree):
    """Indices, in walking order, of the nodes that a fault can be made of; words of errors are none of them."""
    words = {
        id(one) for node in ast.walk(tree) if isinstance(node, ast.Raise | ast.JoinedStr) for one in ast.walk(node)
    }
    return [number for number, node in enumerate(ast.walk(tree)) if id(node) not in words and spoil(node) is not None]


def mutant(source, number):
    """Source with one fault, the line it is in, and its kind."""
    tree = ast.parse(source)
    node = next(one for place, one in enumerate(ast.walk(tree)) if place == number)
    kind = spoil(node)
    return ast.unparse(ast.fix_missing_locations(tree)), node.lineno, kind


def is_killed(copy, tests):
    """Whether a test fails, or never ends, against a copy of the package."""
    # the tests of the copy, so that `dyebook` is the copy too
    run = [sys.executable, "-m", "pytest", "-q", "-x", "-n0", "-p", "no:cacheprovider", *tests.split()]
    environment = {**os.environ, "PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        done = subprocess.run(run, cwd=copy, env=environment, capture_output=True, timeout=LONGEST_S, check=False)
    except subprocess.TimeoutExpired:
        return True
    return done.returncode != 0


def main():
    """Make the faults, run the tests, print what lives."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", default=",".join(MODULES))
    asked = parser.parse_args()
    rng, names = random.Random(asked.seed), asked.only.split(",")
    killed, living = 0, []
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder)
        for part in ("dyebook", "tests", "samples", "pyproject.toml", "README.md", "DEVELOPERS.md", "app.py"):
            (shutil.copytree if (ROOT / part).is_dir() else shutil.copy)(ROOT / part, copy / part)
        sound = {}
        for number in range(asked.count):
            name = names[number % len(names)]
            if name not in sound:
                sound[name] = not is_killed(copy, MODULES[name])
            if not sound[name]:
                sys.exit(f"the tests of {name} fail without any fault: {MODULES[name]}")
            path = copy / "dyebook" / f"{name.replace('.', '/')}.py"
            source = path.read_text(encoding="utf-8")
            spoiled, line, kind = mutant(source, rng.choice(places(ast.parse(source))))
            path.write_text(spoiled, encoding="utf-8")
            if is_killed(copy, MODULES[name]):
                killed += 1
            else:
                living.append(f"{name} line {line}: {kind}: {source.splitlines()[line - 1].strip()}")
                print(living[-1], flush=True)
            path.write_text(source, encoding="utf-8")
            print(f"{killed} of {number + 1} killed", end="\r", file=sys.stderr, flush=True)
    print(f"{killed} of {asked.count} killed ({killed / asked.count:.2f}), {len(living)} live")


if __name__ == "__main__":
    main()
