"""Damaged files that once reached a line of our parsers that no other did; chosen by `tests.bench.guided --choose`."""

import json
import zlib
from base64 import b64decode
from pathlib import Path

import pytest

from dyebook.book.store import open_book
from tests.bench.parsers import attempt, seeds, write_case

CHOSEN = [json.loads(line) for line in Path(__file__).with_suffix(".jsonl").read_text("utf-8").splitlines()]


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    """A book that damaged files are tried on; nothing is ever written into it."""
    with open_book(tmp_path_factory.mktemp("damaged") / "book") as opened:
        yield opened


@pytest.mark.parametrize("name", seeds())
def test_damaged_files_are_understood_or_refused(book, tmp_path, name):
    path = tmp_path / name
    for content in [zlib.decompress(b64decode(case["packed"])) for case in CHOSEN if case["name"] == name]:
        write_case(path, content)
        assert attempt(book, path) in ("understood", "refused"), content


def test_sound_files_are_understood(book, tmp_path):
    for name, content in seeds().items():
        write_case(tmp_path / name, content)
        assert attempt(book, tmp_path / name) == "understood", name
