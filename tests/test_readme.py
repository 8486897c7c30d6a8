"""The README keeps its word: its shell lines run, its Python lines run."""

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from dyebook.report.words import PHOTO_TIPS

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
TOUR = [line for line in README.splitlines() if line.startswith("dyebook ")]


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    folder = tmp_path_factory.mktemp("readme")
    (folder / "samples").symlink_to(ROOT / "samples")
    return folder


@pytest.fixture
def run(place, monkeypatch):
    monkeypatch.setenv("DYEBOOK_BOOK", str(place / "tour"))
    monkeypatch.setenv("PYTHONPATH", str(ROOT))

    def call(arguments):
        return subprocess.run([sys.executable, *arguments], capture_output=True, text=True, cwd=place, timeout=120)

    return call


def test_the_tour_runs_in_order(run, place):
    assert len(TOUR) >= 10
    for line in TOUR:
        done = run(["-m", "dyebook", *shlex.split(line)[1:]])
        assert done.returncode == 0, f"{line}: {done.stderr}"
        assert done.stdout.strip(), line
    assert (place / "found.png").stat().st_size > 10_000
    assert (place / "my-book.zip").exists()
    assert (place / "card.pdf").read_bytes().startswith(b"%PDF")
    assert (place / "bags.pdf").read_bytes().startswith(b"%PDF")


def test_the_python_lines_run(run):
    (code,) = re.findall(r"```python\n(.*?)```", README, flags=re.DOTALL)
    done = run(["-c", code])
    assert done.returncode == 0, done.stderr
    assert "Lab(" in done.stdout


def test_the_two_commands_stand_at_the_top():
    blocks = re.findall(r"```\n(.*?)```", README, flags=re.DOTALL)
    assert blocks[0].strip().endswith("dyebook open --demo")
    assert blocks[1].strip().endswith("pytest")
    assert README.index(blocks[1]) < 2500


def test_the_photo_page_and_the_readme_say_the_same():
    told = " ".join(README.split())
    for tip in PHOTO_TIPS:
        assert f"- {tip}" in told, tip


def test_the_pictures_are_there_and_light():
    pictures = re.findall(r'<img src="([^"]+)" alt="[^"]{20,}"', README)
    assert len(pictures) == 2
    assert all(0 < (ROOT / picture).stat().st_size <= 150_000 for picture in pictures)
