"""No value of any option of any command ends in a traceback: it is taken, or refused in one line.

python -m tests.shell.test_hostile 10000 [SEED]    # as many calls as there is time for
"""

import os
import random
import sys
import tempfile
from inspect import signature
from pathlib import Path
from typing import get_args

import pytest
from typer.testing import CliRunner

from dyebook.errors import DyebookError
from dyebook.shell.main import app

CALLS = 120
# neither waits for a browser, starts processes nor asks a scheduler
LEFT_OUT = {"open", "remeasure"}
HOSTILE = (
    *("nan", "inf", "-inf", "1e999", "-1", "0", "1e308", "9" * 40, "", "  ", "5:99", "1:2:3", "0001-01-01", "½", "٣"),
    *("9999-12-31T23:59", "2026-13-45", "12/03/2026", "nan:nan", "1e400 mm", "5 furlong", "a=b", "=1+1", "x" * 5000),
    *("a\nb", "\t", "%s%n", "{0}", "'; --", "/etc/passwd", "../x", "nothing.csv", ".", "nan,nan,nan", "inf,0,0", "1,2"),
    *("40,5,-30 40,5,-30", "0,0 1,1 2,2", "0,0 1e9,0 1,1 0,1", "18446744073709551616", "-9223372036854775809", "True"),
    *("[]", "1_000", "-5", "-500 °F", "1e300 °C", "today", "kink", "\u212a", "shop", "/dev/zero", "bytes.csv"),
)
FILES = {
    "dips.csv": b"film_um,dye_g_per_l,bath_temp_c,dwell_min,L,a,b\n12,3,40,5,40,5,-30\n-1,nan,inf,1e308,9,400,x\n",
    "bytes.csv": b"film_um,L\nnan,inf\n1e999,\xff\n",
    "empty.csv": b"",
    "list.json": b"[1, 2]",
    "small.jpg": b"\xff\xd8\xff\xe0abc",
    "long.csv": b'time_min,current_a\n0,"' + b"x" * 200_000,
    "nul.csv": b"area_dm2,current_a\n\x00,2\n",
    "deep.json": b"[" * 100_000,
    "page.pdf": b"%PDF-1.3\n%\xe9\xeb\xf1\xbf\n",
}
PLAIN = {
    **{"film_um": "12", "dye_g_per_l": "3", "bath_temp_c": "40", "dwell_min": "5", "dye": "Ember", "bath": "E1"},
    **{"lab": "40,5,-30", "area_dm2": "2", "current_a": "3", "batch": "1", "number": "1", "run": "1", "volume_l": "2"},
}


def commands(shell, *before):
    """Each command's words and the parameters of its function."""
    for one in shell.registered_commands:
        name = one.name or one.callback.__name__.replace("_", "-")
        if name not in LEFT_OUT:
            yield (*before, name), signature(one.callback).parameters.values()
    for group in shell.registered_groups:
        yield from commands(group.typer_instance, *before, group.name)


def drawn_call(rng, words, parameters):
    """The words of one call, with values drawn for what it takes."""
    call, places = list(words), []
    for one in parameters:
        rules = get_args(one.annotation)[1]
        needed = one.default is one.empty
        if one.name == "book" or (not needed and rng.random() > 0.3):
            continue
        value = rng.choice((*HOSTILE, *FILES)) if rng.random() < 0.6 else PLAIN.get(one.name, rng.choice(HOSTILE))
        if type(rules).__name__ == "ArgumentInfo":
            places.append(value)
            continue
        name = next(iter(rules.param_decls or ()), "--" + one.name.replace("_", "-"))
        is_switch = bool in (get_args(one.annotation)[0], *get_args(get_args(one.annotation)[0]))
        call.append(rng.choice(name.split("/")) if is_switch else f"{name}={value}")
    return [*call, "--", *places] if places else call


def fault_of(call):
    """The traceback's last words of a call, or None."""
    fault = CliRunner().invoke(app, call, input="").exception
    return None if isinstance(fault, (DyebookError, SystemExit, type(None))) else repr(fault)


def set_up(folder):
    """Files, and a book of four batches."""
    for name, content in FILES.items():
        (folder / name).write_bytes(content)
    settings = [f"--{name.replace('_', '-')}={value}" for name, value in PLAIN.items() if name in _DIP]
    for number in range(4):
        assert fault_of(["record", *settings, f"--lab={40 + number},5,-30"]) is None


_DIP = ("film_um", "dye_g_per_l", "bath_temp_c", "dwell_min", "dye", "bath")


@pytest.fixture
def shop(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("DYEBOOK_BOOK", str(tmp_path / "shop"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    set_up(tmp_path)


def test_no_call_ends_in_a_traceback(shop):
    rng, known = random.Random(20), sorted(commands(app), key=lambda one: one[0])
    for number in range(CALLS):
        # every command in turn
        call = drawn_call(rng, *known[number % len(known)])
        assert fault_of(call) is None, call


IDLE = [
    ("run dyed 1 --dye E --dye-g-per-l 3 --bath-temp-c 50 --seal-min 20", "--seal-min goes with --seal"),
    ("run dyed 1 --dye E --dye-g-per-l 3 --bath-temp-c 50 --seal-temp-c 97", "--seal-temp-c goes with --seal"),
    ("run dyed 1 --dye E --dye-g-per-l 3 --bath-temp-c 50 --second-dye F", "--second-dye goes with"),
]


@pytest.mark.parametrize(("call", "words"), IDLE)
def test_no_option_is_passed_over_in_silence(shop, call, words):
    result = CliRunner().invoke(app, call.split())
    assert result.exit_code == 2
    assert words in " ".join(result.output.split())


if __name__ == "__main__":
    folder = Path(tempfile.mkdtemp())
    os.environ |= {"DYEBOOK_BOOK": str(folder / "shop"), "XDG_DATA_HOME": str(folder)}
    os.chdir(folder)
    set_up(folder)
    rng, seen = random.Random(int(sys.argv[2]) if len(sys.argv) > 2 else 0), {}
    for number in range(int(sys.argv[1])):
        if number % 1000 == 999:
            print(f"{number + 1} calls", flush=True)
        call = drawn_call(rng, *rng.choice(sorted(commands(app), key=lambda one: one[0])))
        if (fault := fault_of(call)) is not None and fault not in seen:
            seen[fault] = call
            print(fault[:150], [word[:60] for word in call], flush=True)
    print(f"{sys.argv[1]} calls, {len(seen)} kinds of traceback")
