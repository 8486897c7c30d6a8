"""The house keeps its shape: no module imports against the direction of the design."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "dyebook"

GROUND = {"errors", "flags", "units", "notebook", "safe_file"}
ALLOWED = {
    "errors": set(),
    "notebook": set(),
    "flags": set(),
    "safe_file": set(),
    "units": {"errors"},
    "lab": GROUND,
    "fields": {"errors"},
    "record": GROUND | {"lab", "fields"},
    "munsell": GROUND | {"lab"},
    "photo": GROUND | {"lab", "record"},
    "physics": GROUND | {"lab", "record"},
    "book": GROUND | {"lab", "record"},
    "model": GROUND | {"lab", "record", "physics"},
    "advice": GROUND | {"lab", "record", "physics", "model"},
    "jobs": GROUND | {"lab", "record", "photo", "physics", "book", "model", "advice"},
    "demo": GROUND | {"lab", "record", "physics", "jobs"},
    "report": GROUND | {"lab", "record"},
    "plots": GROUND | {"lab", "record"},
    "report_bench": GROUND | {"lab", "record", "report_pdf", "report_sheet"},
    "report_run": GROUND | {"lab", "record", "report_bench", "report_screen"},
    "report_bath": GROUND | {"lab", "record", "report_bench", "report_screen"},
    "plots_run": GROUND | {"lab", "record"},
    "plots_trouble": GROUND | {"lab", "record", "plots_run"},
    "plots_shade": GROUND | {"lab", "record", "plots_run"},
    "sketches": GROUND | {"lab", "record"},
    "report_screen": GROUND | {"lab", "record"},
    "report_again": GROUND,
    "report_today": GROUND | {"lab", "record", "report_bench", "report_screen"},
    "report_shade": GROUND | {"lab", "record", "report", "report_screen"},
    "report_trouble": GROUND | {"lab", "record", "report_screen"},
    "report_mat": GROUND,
    "report_camera": GROUND | {"lab", "record", "report", "report_screen"},
    "report_help": GROUND,
    "report_sheet": GROUND | {"lab"},
    "report_pdf": GROUND | {"report_pdf_blocks", "report_sheet"},
    "report_pdf_blocks": GROUND | {"lab", "report_sheet"},
    "report_html": GROUND | {"lab", "report_sheet"},
    "report_paper": GROUND | {"report_html", "report_pdf"},
    "report_card": GROUND
    | {"lab", "plots_paper", "record", "report", "report_bench", "report_run", "report_screen"}
    | {"report_shade", "report_sheet"},
    "report_note": GROUND | {"lab", "report_card", "report_screen", "report_shade", "report_sheet"},
    "report_notebook": GROUND
    | {"lab", "record", "report", "report_html", "report_screen", "report_shade", "report_sheet", "report_trouble"},
    "report_labels": GROUND | {"report_card", "report_pdf", "report_pdf_blocks", "report_screen", "report_sheet"},
    "report_ledger": GROUND | {"record", "plots_paper", "report_bath", "report_bench", "report_screen", "report_sheet"},
    "plots_paper": GROUND,
    "cli": None,
    "cli_bench": None,
    "screens": None,
    "__main__": {"cli"},
    "__init__": None,
}


def _modules():
    return sorted(path for path in PACKAGE.rglob("*.py"))


def _layer(path):
    layer = path.relative_to(PACKAGE).with_suffix("").parts[0]
    return "cli" if layer.startswith("cli_") else layer


def _imported_layers(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}: relative import; write the full name"
            names = [node.module] if node.module != "dyebook" else [f"dyebook.{a.name}" for a in node.names]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        else:
            continue
        yield from (name.split(".")[1] for name in names if name.startswith("dyebook."))


@pytest.mark.parametrize("path", _modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_no_import_against_the_direction(path):
    layer = _layer(path)
    assert layer in ALLOWED, f"{layer} has no place in the design; add it to the design first"
    allowed = ALLOWED[layer]
    if allowed is None:
        return
    wrong = set(_imported_layers(path)) - allowed - {layer}
    assert not wrong, f"{path.name} imports {sorted(wrong)}"


@pytest.mark.parametrize("path", _modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_streamlit_stays_in_the_screens(path):
    if _layer(path) == "screens":
        return
    text = path.read_text(encoding="utf-8")
    assert "import streamlit" not in text
    assert "from streamlit" not in text


@pytest.mark.parametrize("path", [PACKAGE / "photo", PACKAGE / "physics", PACKAGE / "model", PACKAGE / "advice"])
def test_only_the_book_knows_sql(path):
    for module in path.rglob("*.py"):
        assert "sqlalchemy" not in module.read_text(encoding="utf-8"), module
