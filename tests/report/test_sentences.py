"""Every note that sums and advice hand over has its sentence, with the very values it is handed."""

import ast
import inspect
import pickle
from importlib import import_module
from pathlib import Path
from string import Formatter

import pytest

from dyebook.notebook import Note
from dyebook.physics.answer import cautions_for

PACKAGE = Path(__file__).parents[2] / "dyebook"
FAMILIES = {name: import_module(f"dyebook.report.{name}").SENTENCES for name in ("bench", "shade", "trouble")}


def _calls():
    """(code, names of the values) of every `Note` that is made with a code written out; names None where unpacked."""
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Note":
                codes = [node.args[0].body, node.args[0].orelse] if isinstance(node.args[0], ast.IfExp) else node.args
                names = None if any(word.arg is None for word in node.keywords) else {w.arg for w in node.keywords}
                yield from ((code.value, names) for code in codes if isinstance(code, ast.Constant))


@pytest.mark.parametrize(("code", "names"), sorted(_calls(), key=str))
def test_a_note_has_a_sentence_for_its_values(code, names):
    family, _, name = code.partition(".")
    sentence = FAMILIES[family][name]
    if callable(sentence):
        wanted = set(inspect.signature(sentence).parameters)
    else:
        wanted = {field for _, field, _, _ in Formatter().parse(sentence) if field is not None}
    assert names is None or names == wanted


def test_a_note_keeps_its_code_and_values_through_a_copy():
    note = Note("bench.gap", start_min=1.0, end_min=2.5)
    again = pickle.loads(pickle.dumps(note))
    assert note == "nothing logged from 1.0 to 2.5 min: charge by a straight line"
    assert (again, again.code, again.values) == (note, note.code, note.values)


def test_an_unknown_caution_is_a_slip():
    with pytest.raises(KeyError, match="wizardry"):
        cautions_for("wizardry")
