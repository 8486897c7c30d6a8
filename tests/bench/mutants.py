"""Small faults put into the most important modules, one at a time: does a test notice?

    python -m tests.bench.mutants [--count 200] [--seed 0] [--only units,book.rows] [--jobs 1] [--folder DIR]

--only takes those of the count that fall on some modules.

A fault is a comparison turned round, a sum made a difference, a figure doubled, a condition denied, a result
forgotten. It is put into a copy of the package, and tests are run against the copy, each in a process forked from one
that has the libraries loaded. First the tests of `MODULES` run once on the sound package, watched for which functions
they call: a fault meets the tests of its module that call its function, quickest first, then all others that call it,
then the rest of its module's tests, until one fails or `MEETS_S` of the latter two are spent. A test that takes four
times as long as on the sound package, and 20 s more, notices too. A test that fails without a fault is left out.

Each fault is printed with the test that noticed. With --folder what was watched and what became of each fault are
kept there, and a run that was broken off goes on. The living ones are to be judged: some change nothing that anyone
could see.
"""

import argparse
import ast
import contextlib
import functools
import json
import multiprocessing
import os
import random
import shutil
import signal
import sys
import tempfile
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from tests.own_server import started_server

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
    "book.rows": "tests/book/test_rows.py tests/book/test_one_number.py tests/book/test_people.py",
    "book.connect": "tests/book/test_versions.py tests/book/test_server_restart.py tests/book/test_connect.py",
    "book.backup": "tests/book/test_backup.py tests/book/test_salvage.py tests/book/test_rows.py",
    "book.batches": "tests/book/test_batches.py tests/book/test_search.py tests/shell/test_book.py",
    "book.photos": "tests/book/test_photos.py tests/book/test_hostile.py",
    "advice.judge": "tests/advice/test_judge.py tests/jobs/test_verdict.py",
    "advice.redip": "tests/advice/test_redip.py tests/advice/test_overdip.py tests/advice/test_unsure_target.py",
    "advice.suggest": "tests/model/test_unchanged.py tests/advice/test_suggest.py tests/advice/test_dwell.py",
    "model.fit": "tests/model",
}
# sound time, watched, of the tests that a fault meets at most beside those of its module that call its function, s
MEETS_S = 60
LIBRARIES = "cv2 pandas colour hypothesis openpyxl pint PIL.Image rich skimage.color skimage.measure sqlalchemy.orm"
LIBRARIES += " alembic.command fsspec scipy.ndimage scipy.optimize scipy.interpolate scipy.stats scipy.spatial typer"
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
        case ast.Return(value=ast.AST()) if ast.unparse(node) != "return None":
            node.value = ast.Constant(None)
        case _:
            return None
    return type(node).__name__


def places(tree):
    """Indices, in walking order, of the nodes that a fault can be made of.

    Words of errors and decorators are none, nor what `zip` asserts with ``strict``.
    """
    tops = [node for node in ast.walk(tree) if isinstance(node, ast.Raise | ast.JoinedStr)]
    tops += [node for node in ast.walk(tree) if isinstance(node, ast.keyword) and node.arg == "strict"]
    tops += [one for node in ast.walk(tree) for one in getattr(node, "decorator_list", ())]
    spared = {id(one) for top in tops for one in ast.walk(top)}
    return [number for number, node in enumerate(ast.walk(tree)) if id(node) not in spared and spoil(node) is not None]


def mutant(source, number):
    """Source with one fault, the line it is in, and its kind."""
    tree = ast.parse(source)
    node = next(one for place, one in enumerate(ast.walk(tree)) if place == number)
    kind = spoil(node)
    return ast.unparse(ast.fix_missing_locations(tree)), node.lineno, kind


class Watch:
    """Pytest plugin: which tests to run in which order; how long each took, what it called, whether it failed."""

    def __init__(self, path, order=None, longest_s=None):
        self.path, self.order, self.longest_s, self.called = path, order, longest_s, set()

    def pytest_collection_modifyitems(self, items):
        if self.order is not None:
            place = {test: number for number, test in enumerate(self.order)}
            items[:] = sorted((one for one in items if one.nodeid in place), key=lambda one: place[one.nodeid])

    def _trace(self, frame, event, argument):
        module = _module(frame.f_code.co_filename)
        if module:
            self.called.add(f"{module}:{frame.f_code.co_qualname.split('.<')[0]}")

    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_protocol(self, item):
        begun, self.called, self.failed = time.monotonic(), set(), False
        if self.longest_s:
            self.write(item.nodeid)  # for a test that never ends
            signal.setitimer(signal.ITIMER_REAL, self.longest_s[item.nodeid])
        else:
            threading.settrace(self._trace)
            sys.settrace(self._trace)
        yield
        if self.longest_s:
            signal.setitimer(signal.ITIMER_REAL, 0)
        else:
            sys.settrace(None)
            threading.settrace(None)
            self.write([item.nodeid, round(time.monotonic() - begun, 3), self.failed, sorted(self.called)])

    def pytest_runtest_logreport(self, report):
        self.failed |= report.failed

    def pytest_collectreport(self, report):
        if report.failed:
            self.write(f"cannot be read: {report.nodeid}")

    def write(self, what):
        with self.path.open("a", encoding="utf-8") as file:
            print(json.dumps(what), file=file)


@functools.cache
def _module(filename):
    """Name of the module, of those in `MODULES`, that a file of a package holds, or None."""
    name = ".".join(Path(filename).with_suffix("").parts).rpartition("dyebook.")[2]
    return name if name in MODULES else None


def _tests(copy, arguments, watch):
    """In a process of its own: run tests of a copy against its package."""
    os.setsid()  # what a test started ends with it
    nowhere = os.open(os.devnull, os.O_RDWR)
    for stream in (0, 1, 2):
        os.dup2(nowhere, stream)
    os.chdir(copy)
    for name in [one for one in sys.modules if one.split(".")[0] in ("tests", "dyebook")]:
        del sys.modules[name]
    sys.path[:] = [str(copy), *(one for one in sys.path if one and not Path(one, "dyebook").is_dir())]
    os.environ.update(PYTHONPATH=str(copy), PYTHONDONTWRITEBYTECODE="1")
    sys.dont_write_bytecode = True
    os._exit(pytest.main(["-q", "-n0", "-p", "no:cacheprovider", "-p", "no:faulthandler", *arguments], [watch]))


def run_tests(copy, arguments, **how):
    """Run tests of a copy; return the exit status and what was written of them."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "tests.jsonl"
        process = multiprocessing.get_context("forkserver").Process(
            target=_tests, args=(copy, arguments, Watch(path, **how))
        )
        process.start()
        process.join()
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        written = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
        return process.exitcode, [json.loads(line) for line in written]


def functions_of(tree, number):
    """Functions that a fault at a place can be met in: the one that holds it, or those that read the name it is given.

    Empty where neither is known.
    """
    place = list(ast.walk(tree))[number]
    homes, names = {}, []

    def walk(node, home, outer):
        for child in ast.iter_child_nodes(node):
            inner = home
            if isinstance(child, ast.FunctionDef | ast.ClassDef) and not outer:
                inner = f"{home}.{child.name}" if home else child.name
            homes[id(child)] = inner
            walk(child, inner, outer or isinstance(child, ast.FunctionDef))

    walk(tree, "", False)
    functions = {homes[id(one)] for one in ast.walk(tree) if isinstance(one, ast.FunctionDef)}
    if homes[id(place)] in functions:
        return {homes[id(place)]}
    for one in tree.body:
        if any(part is place for part in ast.walk(one)):
            names += [
                part.id for part in ast.walk(one) if isinstance(part, ast.Name) and isinstance(part.ctx, ast.Store)
            ]
    return {homes[id(one)] for one in ast.walk(tree) if isinstance(one, ast.Name) and one.id in names} & functions


def order_of(name, functions, watched):
    """Tests that a fault in functions of a module meets, in their order."""
    own = tuple(MODULES[name].split())
    wanted = {f"{name}:{one}" for one in functions}

    def place(test):
        seconds, _, called = watched[test]
        calls = bool(wanted & called) if wanted else any(one.startswith(f"{name}:") for one in called)
        return (0 if calls and test.startswith(own) else 1 if calls else 2), seconds

    order, spent = [], 0.0
    for test in sorted(watched, key=place):
        kind = place(test)[0]
        if kind == 2 and not test.startswith(own):
            break
        spent += watched[test][0] if kind else 0.0
        if order and spent > MEETS_S:
            break
        order.append(test)
    return order


def meets_its_tests(copy, name, seed, watched):
    """Put one fault into a copy; return what it is, and the test that noticed, or None."""
    path = copy / "dyebook" / f"{name.replace('.', '/')}.py"
    source = path.read_text(encoding="utf-8")
    number = random.Random(seed).choice(places(ast.parse(source)))
    spoiled, line, kind = mutant(source, number)
    order = order_of(name, functions_of(ast.parse(source), number), watched)
    path.write_text(spoiled, encoding="utf-8")
    longest = {test: 4 * watched[test][0] + 20 for test in order}
    near = [test for test in order if test.startswith(tuple(MODULES[name].split()))]
    for part in filter(None, (near, [test for test in order if test not in near])):
        files = list(dict.fromkeys(test.split("::")[0] for test in part))
        status, met = run_tests(copy, ["-x", *files], order=part, longest_s=longest)
        if status in (4, 5):
            raise RuntimeError(f"pytest took none of {files}")
        if status:
            break
    path.write_text(source, encoding="utf-8")
    what = f"{name} line {line}: {kind}: {source.splitlines()[line - 1].strip()}"
    return what, None if status == 0 else (met or ["on import"])[-1]


def _copied(folder):
    for part in ("dyebook", "tests", "samples", "pyproject.toml", "README.md", "DEVELOPERS.md", "app.py"):
        (shutil.copytree if (ROOT / part).is_dir() else shutil.copy)(ROOT / part, folder / part)
    return folder


@contextlib.contextmanager
def _server():
    """Name a PostgreSQL server of this run's own to the tests of the book, where one is installed."""
    try:
        with contextlib.contextmanager(started_server)() as server:
            os.environ["DYEBOOK_TEST_POSTGRES"] = server.url.split("?")[0]
            yield
    except pytest.skip.Exception as why:
        print(f"books on a server meet no fault: {why}")
        yield


def _watched(copy, path, names):
    """Return seconds, failed and called of the tests on the sound package; those known and unchanged are not run."""
    lists = {ROOT / one for name in names for one in MODULES[name].split()}
    files = {file for one in lists for file in (one.rglob("test_*.py") if one.is_dir() else [one])}
    tests = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()] if path.exists() else []
    since = path.stat().st_mtime if tests else 0
    tests = [one for one in tests if isinstance(one, list) and (ROOT / one[0].split("::")[0]).stat().st_mtime < since]
    new = sorted(str(one.relative_to(ROOT)) for one in files - {ROOT / one[0].split("::")[0] for one in tests})
    if new:
        tests += run_tests(copy, new)[1]
        path.write_text("".join(json.dumps(one) + "\n" for one in tests), encoding="utf-8")
    for one in [one for one in tests if isinstance(one, str) or one[2]]:
        print(f"left out, fails without any fault: {one if isinstance(one, str) else one[0]}", flush=True)
    return {one[0]: (one[1], one[2], set(one[3])) for one in tests if not isinstance(one, str) and not one[2]}


def main():
    """Make the faults, run the tests, print what became of each."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", default=",".join(MODULES))
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--folder", type=Path)
    asked = parser.parse_args()
    all_names, names = list(MODULES), asked.only.split(",")
    multiprocessing.set_forkserver_preload(LIBRARIES.split())
    with _server(), tempfile.TemporaryDirectory() as own, ThreadPoolExecutor(asked.jobs) as pool:
        kept = asked.folder or Path(own)
        kept.mkdir(parents=True, exist_ok=True)
        copies = [_copied(Path(tempfile.mkdtemp(dir=own))) for _ in range(asked.jobs)]
        watched = _watched(copies[0], kept / "watched.jsonl", names)
        found = kept / f"faults-{asked.seed}.jsonl"
        known = [json.loads(line) for line in found.read_text().splitlines()] if found.exists() else []
        known = {one[0]: one[1:] for one in known}

        def one(number):
            name = all_names[number % len(all_names)]
            key = f"{name} {asked.seed} {number}"
            if key not in known:
                copy = copies.pop()
                known[key] = meets_its_tests(copy, name, f"{asked.seed} {number}", watched)
                copies.append(copy)
                with found.open("a", encoding="utf-8") as file:
                    print(json.dumps([key, *known[key]]), file=file)
            what, noticed = known[key]
            print(*(("killed", what, "|", noticed) if noticed else ("LIVES ", what)), flush=True)
            return noticed is not None

        mine = [number for number in range(asked.count) if all_names[number % len(all_names)] in names]
        killed = sum(pool.map(one, mine))
    print(f"{killed} of {len(mine)} killed ({killed / max(len(mine), 1):.2f}), {len(mine) - killed} live")


if __name__ == "__main__":
    main()
