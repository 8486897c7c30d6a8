"""The shell puts on paper what the book holds."""

import json

import pytest
from typer.testing import CliRunner

from dyebook.errors import DyebookError
from dyebook.shell.main import app


@pytest.fixture
def run(shop_place, monkeypatch, tmp_path):
    monkeypatch.setenv("DYEBOOK_BOOK", str(shop_place))
    monkeypatch.chdir(tmp_path)
    return lambda *arguments: CliRunner().invoke(app, arguments, catch_exceptions=False)


@pytest.mark.parametrize(
    "command",
    [("card", "1"), ("shade-note", "5"), ("bath-log", "E1"), ("month", "2026-10")],
    ids=lambda command: command[0],
)
@pytest.mark.parametrize(("file", "head"), [("sheet.pdf", b"%PDF"), ("sheet.html", b"<!DOCTYPE html>")])
def test_every_sheet_as_pdf_and_as_page(run, tmp_path, command, file, head):
    done = run(*command, file, "--paper", "letter", "--json")
    assert json.loads(done.stdout)["file"] == file
    assert (tmp_path / file).read_bytes().startswith(head)


def test_labels_are_counted(run, tmp_path):
    done = run("labels", "bags.pdf", "4", "5", "--copies", "3", "--json")
    assert json.loads(done.stdout) == {"file": "bags.pdf", "grid": "a4-3x7", "labels": 6}
    assert (tmp_path / "bags.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("card", "1", "card.doc"), "ends in .doc; name a file that ends in .pdf or .html"),
        (("labels", "labels.html", "1"), "ends in .html; name a file that ends in .pdf"),
        (("card", "1", "nowhere/card.pdf"), "cannot be written"),
        (("card", "99", "card.pdf"), "there is no batch 99"),
    ],
)
def test_what_cannot_be_is_said(run, arguments, words):
    with pytest.raises(DyebookError, match=words):
        run(*arguments)


@pytest.mark.parametrize("option", [("--paper", "a3"), ("--grid", "a4-1x1"), ("--first", "22")])
def test_wrong_usage_exits_with_two(run, option):
    command = ("card", "1", "card.pdf") if option[0] == "--paper" else ("labels", "bags.pdf", "1")
    assert run(*command, *option).exit_code == 2
