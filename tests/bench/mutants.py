"""Small faults put into the most important modules, one at a time: does a test notice?

    python -m tests.bench.mutants [--count 200] [--seed 0] [--only units,book.rows] [--jobs 1]

A fault is a comparison turned round, a sum made a difference, a figure doubled, a condition denied, a result
forgotten. It is put into a copy of the package, and the tests of that module are run against the copy; one that takes
four times as long as the sound module's, and 20 s more, counts as noticed. Each fault is printed with what became of
it. The living ones are to be judged: some change nothing that anyone could see.
"""

import argparse
import ast
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from multiprocessing import Pool
from pathlib import Path

ROOT = Path(__file__).parents[2]
# module -> its tests
MODULES = {
    "units": "tests/test_units.py tests/test_safe_file.py tests/shell/test_bench.py",
    "safe_file": "tests/test_safe_file.py tests/shell/test_files.py tests/test_full_disk.py",
    "record": "tests/test_words.py tests/test_units.py tests/test_record.py tests/photo/test_measure.py",
    "lab.space": "tests/lab tests/photo/test_reading.py",
    "photo.reading": "tests/photo/test_reading.py tests/photo/test_shared.py tests/photo/test_unchanged.py",
    "photo.light": "tests/photo/test_light.py tests/photo/test_reading.py tests/photo/test_unchanged.py",
    "photo.shared": "tests/photo/test_shared.py tests/photo/test_reading.py tests/photo/test_unchanged.py",
    "photo.file.read": "tests/photo/file tests/test_safe_file.py",
    "photo.camera.fit": "tests/photo/test_unchanged.py tests/photo/camera",
    "physics.film": "tests/physics/test_film.py tests/jobs/test_run.py tests/physics/trace/test_trace.py",
    "physics.electrolyte": "tests/physics/test_electrolyte.py tests/physics/test_baths.py tests/shell/test_bench.py",
    "physics.area": "tests/physics/test_area.py tests/shell/test_bench.py",
    "book.rows": "tests/book/test_rows.py tests/book/test_safety.py",
    "book.connect": "tests/book/test_safety.py tests/book/test_versions.py tests/shell/test_files.py",
    "book.backup": "tests/book/test_backup.py tests/book/test_salvage.py",
    "book.batches": "tests/book/test_batches.py tests/book/test_search.py tests/shell/test_book.py",
    "book.photos": "tests/book/test_photos.py tests/book/test_hostile.py",
    "advice.judge": "tests/advice/test_judge.py tests/jobs/test_verdict.py",
    "advice.redip": "tests/advice/test_redip.py tests/advice/test_overdip.py tests/advice/test_unsure_target.py",
    "advice.suggest": "tests/model/test_unchanged.py tests/advice/test_suggest.py tests/advice/test_dwell.py",
    "model.fit": "tests/model",
}
LONGEST_S = 900
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
    """Indices, in walking order, of the nodes that a fault can be made of; words of errors and decorators are none."""
    tops = [node for node in ast.walk(tree) if isinstance(node, ast.Raise | ast.JoinedStr)]
    tops += [one for node in ast.walk(tree) for one in getattr(node, "decorator_list", ())]
    spared = {id(one) for top in tops for one in ast.walk(top)}
    return [number for number, node in enumerate(ast.walk(tree)) if id(node) not in spared and spoil(node) is not None]


def mutant(source, number):
    """Source with one fault, the line it is in, and its kind."""
    tree = ast.parse(source)
    node = next(one for place, one in enumerate(ast.walk(tree)) if place == number)
    kind = spoil(node)
    return ast.unparse(ast.fix_missing_locations(tree)), node.lineno, kind


def is_killed(copy, tests, longest_s=LONGEST_S):
    """Whether a test fails, or does not end in time, against a copy of the package."""
    # the tests of the copy, so that `dyebook` is the copy too
    run = [sys.executable, "-m", "pytest", "-q", "-x", "-n0", "-p", "no:cacheprovider", *tests.split()]
    path = os.pathsep.join(filter(None, (str(copy), os.environ.get("PYTHONPATH"))))
    environment = {**os.environ, "PYTHONPATH": path, "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        done = subprocess.run(run, cwd=copy, env=environment, capture_output=True, timeout=longest_s, check=False)
    except subprocess.TimeoutExpired:
        return True
    return done.returncode != 0


def _copied(folder):
    for part in ("dyebook", "tests", "samples", "pyproject.toml", "README.md", "DEVELOPERS.md", "app.py"):
        (shutil.copytree if (ROOT / part).is_dir() else shutil.copy)(ROOT / part, folder / part)
    return folder


def sound_s(name):
    """Return how long a module's tests take without a fault, in s, or None where they fail."""
    with tempfile.TemporaryDirectory() as folder:
        begun = time.monotonic()
        return None if is_killed(_copied(Path(folder)), MODULES[name]) else time.monotonic() - begun


def meets_its_tests(task):
    """Put one fault into a copy; return what it is, and whether a test noticed."""
    name, seed, longest_s = task
    with tempfile.TemporaryDirectory() as folder:
        copy = _copied(Path(folder))
        path = copy / "dyebook" / f"{name.replace('.', '/')}.py"
        source = path.read_text(encoding="utf-8")
        spoiled, line, kind = mutant(source, random.Random(seed).choice(places(ast.parse(source))))
        path.write_text(spoiled, encoding="utf-8")
        what = f"{name} line {line}: {kind}: {source.splitlines()[line - 1].strip()}"
        return what, is_killed(copy, MODULES[name], longest_s)


def main():
    """Make the faults, run the tests, print what became of each."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", default=",".join(MODULES))
    parser.add_argument("--jobs", type=int, default=1)
    asked = parser.parse_args()
    names, killed, done = asked.only.split(","), 0, 0
    with Pool(asked.jobs) as pool:
        took = dict(zip(names, pool.map(sound_s, names, chunksize=1), strict=True))
        for name in [one for one, seconds in took.items() if seconds is None]:
            print(f"left out, its tests fail without any fault: {name}: {MODULES[name]}", flush=True)
            names.remove(name)
        each = [names[number % len(names)] for number in range(asked.count)]
        tasks = [(name, f"{asked.seed} {number}", 4 * took[name] + 20) for number, name in enumerate(each)]
        for what, noticed in pool.imap_unordered(meets_its_tests, tasks):
            killed, done = killed + noticed, done + 1
            print("killed" if noticed else "LIVES ", what, flush=True)
    print(f"{killed} of {done} killed ({killed / max(done, 1):.2f}), {done - killed} live")


if __name__ == "__main__":
    main()
