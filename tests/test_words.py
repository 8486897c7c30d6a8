"""The words hold: names resolve, every field explains itself, every command has help with an example."""

import ast
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
import typer

import dyebook
from dyebook import flags
from dyebook.errors import RecordError
from dyebook.record import FIELDS, DyeRecord, check_value
from dyebook.shell.main import app

ROOT = Path(__file__).parents[1]
COMMAND = typer.main.get_command(app)


def _commands(group, path=()):
    for name, command in group.commands.items():
        if hasattr(command, "commands"):
            yield from _commands(command, (*path, name))
        else:
            yield " ".join((*path, name)), command


@pytest.mark.parametrize("name", dyebook.__all__)
def test_public_names_resolve(name):
    assert getattr(dyebook, name) is not None


def test_unknown_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = dyebook.nothing


@pytest.mark.parametrize(("name", "command"), list(_commands(COMMAND)))
def test_every_command_has_help_with_an_example(name, command):
    text = (command.help or "") + (command.epilog or "")
    assert f"dyebook {name.split()[0]}" in text, f"{name} shows no example"


def _options(command):
    return [one for one in command.params if one.param_type_name == "option" and one.name != "help"]


@pytest.mark.parametrize(("name", "command"), list(_commands(COMMAND)))
def test_every_option_and_argument_says_what_it_is_for(name, command):
    silent = [one.name for one in command.params if not getattr(one, "help", None)]
    assert not silent, f"{name}: {silent}"


# the command that serves the screens answers nothing
@pytest.mark.parametrize(("name", "command"), [one for one in _commands(COMMAND) if one[0] != "open"])
def test_every_command_can_answer_in_json(name, command):
    assert "--json" in {flag for one in _options(command) for flag in one.opts}


@pytest.mark.parametrize(("typed", "offered"), [("car", "card"), ("camera le", "learn"), ("labels --gr", "--grid")])
def test_the_tab_key_completes(typed, offered):
    code = "import sys; sys.argv = ['dyebook']; from dyebook.shell.main import main; main()"
    words = f"dyebook {typed}"
    asked = {"_DYEBOOK_COMPLETE": "complete_bash", "COMP_WORDS": words, "COMP_CWORD": str(len(words.split()) - 1)}
    environment = {**os.environ, **asked, "PYTHONPATH": str(ROOT)}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=environment, timeout=60)
    assert offered in done.stdout.split(), done.stderr


@pytest.mark.parametrize("field", FIELDS.values(), ids=lambda field: field.name)
def test_every_field_explains_itself(field):
    assert field.meaning
    assert field.label
    assert field.lower < field.upper


# what a maker reads as a riddle; better words stand in the sentences of today
RIDDLES = re.compile(
    r"from memory|\bprior\b|Faraday bound|stays? put|reckoned|common practice|does not go there|part is off|running sum"
    r"|mind clock|\bdelicate\b|accept or strip|wants a look|it went out|take these settings|what to do with it"
    r"|one standard uncertainty|channel at|beyond this screen|may ring|your window of|\basked \d",
    re.IGNORECASE,
)


def _sentences(path):
    """Texts of a module that are no docstring."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    docs = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs:
            yield node.value


def test_no_riddle_comes_back_to_a_page_a_command_or_a_sheet():
    places = ("report", "screens", "shell", "jobs", "advice", "physics")
    paths = [path for place in places for path in sorted((ROOT / "dyebook" / place).rglob("*.py"))]
    found = [
        f"{path.name}: {text!r}"
        for path in [*paths, ROOT / "dyebook" / "flags.py", ROOT / "dyebook" / "record.py"]
        for text in _sentences(path)
        if RIDDLES.search(text) and text != "prior"
    ]
    assert not found, "\n".join(found)


def test_flags_have_remedies():
    assert all(flag.meaning and flag.remedy for flag in flags.FLAGS.values())


def test_a_slip_of_the_pen_is_refused_with_figure_and_range():
    with pytest.raises(RecordError, match=r"bath temperature is 140 °C; it must lie between 0 and 100 °C"):
        check_value("bath_temp_c", 140)
    with pytest.raises(RecordError, match="film is 'thick'; a number in µm is needed"):
        check_value("film_um", "thick")


def test_a_record_without_its_settings_is_refused():
    with pytest.raises(RecordError, match="lacks time in dye"):
        DyeRecord("Ember", film_um=12, dye_g_per_l=3, bath_temp_c=40, dwell_min=None)


def test_help_starts_without_the_heavy_libraries():
    code = (
        "import sys; import dyebook.shell.main; "
        "heavy = {'colour', 'pandas', 'scipy', 'cv2', 'streamlit', 'sqlalchemy', 'alembic', 'numpy'}; "
        "print(sorted(heavy & set(sys.modules)))"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert found.stdout.strip() == "[]"


def test_wrong_usage_exits_with_two():
    found = subprocess.run(
        [sys.executable, "-m", "dyebook", "measure", "x.jpg", "--card-at", "1,2"],
        capture_output=True,
        text=True,
        cwd=ROOT,
    )
    assert found.returncode == 2
    assert re.search("list of corners", found.stderr)


def test_a_flag_may_be_written_as_a_word():
    assert check_value("sealed", "no") is False
    assert check_value("sealed", "Yes") is True
    assert check_value("sealed", "") is None
    with pytest.raises(RecordError, match="yes or no is needed"):
        check_value("wet", "damp")
