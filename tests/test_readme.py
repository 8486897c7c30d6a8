"""The README keeps its word: its shell lines run, its Python lines run."""

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from dyebook.report.photo import PHOTO_TIPS
from dyebook.shell.main import app

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


def test_the_tour_runs_in_order(run, place, monkeypatch):
    assert len(TOUR) >= 10
    done = run(["-m", "dyebook", *shlex.split(TOUR[0])[1:]])
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip()
    # the rest without a new interpreter each
    monkeypatch.chdir(place)
    for line in TOUR[1:]:
        done = CliRunner().invoke(app, shlex.split(line)[1:])
        assert done.exit_code == 0, f"{line}: {done.output}"
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


def test_every_command_is_named():
    named = set(re.findall(r"(?:(?<=`)|(?<=dyebook ))([a-z-]+)", README))
    assert not set(typer.main.get_command(app).commands) - named


def test_every_bench_is_listed():
    words = (ROOT / "tests" / "bench" / "README.md").read_text(encoding="utf-8")
    scripts = {file.stem for file in (ROOT / "tests" / "bench").glob("*.py")} - {"__init__"}
    assert not scripts - set(re.findall(r"`([a-z_]+)`", words))


def test_the_two_commands_stand_at_the_top():
    blocks = re.findall(r"```\n(.*?)```", README, flags=re.DOTALL)
    assert blocks[0].strip().endswith("dyebook open --demo")
    assert blocks[1].strip().endswith("pytest")
    assert README.index(blocks[1]) < 2500


def test_the_photo_page_and_the_readme_say_the_same():
    words = " ".join(README.split())
    for tip in PHOTO_TIPS:
        assert f"- {tip}" in words, tip


def test_the_pictures_are_there_and_light():
    pictures = re.findall(r'<img src="([^"]+)" alt="[^"]{20,}"', README)
    assert len(pictures) == 2
    assert all(0 < (ROOT / picture).stat().st_size <= 150_000 for picture in pictures)
