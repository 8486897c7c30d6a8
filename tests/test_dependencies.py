"""The house keeps its shape: imports go one way, without circles, and the house stays small."""

import ast
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "dyebook"

GROUND = {"errors", "flags", "units", "safe_file", "notebook", "version"}
READS = GROUND | {"lab", "record"}
# folder or module at the top of the package -> what it may import beside itself
ALLOWED = {
    "errors": set(),
    "flags": set(),
    "notebook": set(),
    "safe_file": {"errors"},
    "units": {"errors"},
    "version": set(),
    "lab": GROUND,
    "record": GROUND | {"lab"},
    "photo": READS,
    "physics": READS,
    "book": READS,
    "model": READS | {"physics"},
    "advice": READS | {"physics", "model"},
    "report": READS,
    "jobs": READS | {"photo", "physics", "book", "model", "advice", "report"},
    "server": {"errors"},
    "demo": READS | {"physics", "book", "jobs"},
    "screens": READS | {"photo", "physics", "book", "advice", "jobs", "report", "server", "demo"},
    "shell": READS | {"photo", "physics", "book", "advice", "jobs", "report", "server", "demo", "screens"},
    "__main__": {"shell"},
    "__init__": {"errors", "notebook", "version", "lab", "record", "photo", "advice", "book", "report"},
}
ONLY_IN = {"streamlit": "screens", "sqlalchemy": "book"}
MOST_MODULES, MOST_AT_THE_TOP, MOST_LINES = 230, 22, 46_000


def _name(path):
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {_name(path): path for path in sorted(PACKAGE.rglob("*.py"))}


def _imported(path):
    """Names of the modules that a file imports anywhere, inside functions too."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}: relative import; write the full name"
            inner = (f"{node.module}.{alias.name}" for alias in node.names)
            yield from (name if name in MODULES else node.module for name in inner)
        elif isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.Constant) and "." in str(node.value) and node.value in MODULES:
            yield node.value


IMPORTS = {name: set(_imported(path)) for name, path in MODULES.items()}


def _layer(name):
    return name.split(".")[1] if "." in name else "__init__"


@pytest.mark.parametrize("name", MODULES)
def test_no_import_against_the_direction(name):
    layer = _layer(name)
    assert layer in ALLOWED, f"{layer} has no place in the design; add it to the design first"
    theirs = {_layer(other) for other in IMPORTS[name] if other in MODULES}
    wrong = theirs - ALLOWED[layer] - {layer}
    assert not wrong, f"{name} imports {sorted(wrong)}"


def test_no_rule_is_dead():
    used = {layer: set() for layer in ALLOWED}
    for name, others in IMPORTS.items():
        used[_layer(name)] |= {_layer(other) for other in others if other.startswith("dyebook.")} - {_layer(name)}
    dead = {layer: sorted(ALLOWED[layer] - used[layer] - READS) for layer in ALLOWED}
    assert not any(dead.values()), dead


def test_no_import_circles():
    inner = {name: {o for o in others if o in MODULES and o != name} for name, others in IMPORTS.items()}
    try:
        TopologicalSorter(inner).prepare()
    except CycleError as circle:
        pytest.fail(f"{circle.args[0]}: {' -> '.join(circle.args[1])}")


@pytest.mark.parametrize("library", ONLY_IN)
def test_a_library_stays_in_its_folder(library):
    users = {_layer(name) for name, others in IMPORTS.items() if any(o.split(".")[0] == library for o in others)}
    assert users == {ONLY_IN[library]}


def test_the_house_stays_small():
    lines = sum(len(path.read_text(encoding="utf-8").splitlines()) for path in MODULES.values())
    top = [path.name for path in PACKAGE.iterdir() if path.name != "__pycache__"]
    assert len(MODULES) <= MOST_MODULES
    assert len(top) <= MOST_AT_THE_TOP
    assert lines <= MOST_LINES
