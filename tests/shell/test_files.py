"""The one door of files: what a command writes replaces nothing that was good, and what it reads has an end."""

import os
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dyebook.errors import DyebookError
from dyebook.safe_file import replacing
from dyebook.shell.main import app

PHOTO = Path(__file__).parents[2] / "samples" / "tags_one_streaked.jpg"
DIP = ["--dye", "Ember", "--film-um", "12", "--dye-g-per-l", "3", "--bath-temp-c", "40", "--dwell-min", "5"]


@pytest.fixture
def here(tmp_path, monkeypatch):
    """An empty folder to work in, with a book of one batch."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("DYEBOOK_BOOK", str(tmp_path / "shop"))
    assert said("record", *DIP, "--lab", "40,5,-30") == "batch 1 is in the book"
    return tmp_path


def said(*words):
    """What a command printed; raises what it raises."""
    result = CliRunner().invoke(app, words, catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.stdout.strip()


def refused(*words):
    """Why a command was refused."""
    with pytest.raises(DyebookError) as error:
        CliRunner().invoke(app, words, catch_exceptions=False)
    return str(error.value)


# one command for each kind of file that is written
WRITERS = {
    "backup": ("backup", "out.zip"),
    "table": ("export", "out.csv"),
    "card": ("card", "1", "out.pdf"),
    "month": ("month", "2026-10", "out.html"),
    "answer": ("acid", "--wt", "96", "--g-per-l", "165", "--volume-l", "2", "--page", "out.pdf"),
}


@pytest.mark.parametrize("words", WRITERS.values(), ids=WRITERS)
def test_what_is_another_kind_stays_unless_that_is_meant(words, here):
    out = here / words[-1]
    for content in (b"remember the milk\0", b"\xff\xd8\xff\xe1\0\0Exif\0\0"):
        out.write_bytes(content)
        assert "--force" in refused(*words)
        assert out.read_bytes() == content
    said(*words, "--force")
    fresh = out.read_bytes()
    assert fresh != content
    said(*words)  # its own kind is replaced as a matter of course
    assert list(here.glob("*.part")) == []


@pytest.mark.parametrize("words", WRITERS.values(), ids=WRITERS)
def test_books_links_folders_and_devices_stay(words, here):
    out = here / words[-1]
    shutil.copy(here / "shop" / "book.sqlite", out)
    assert "is a book" in refused(*words, "--force")
    out.unlink()
    (here / "good.txt").write_text("good")
    out.symlink_to("good.txt")
    assert "link" in refused(*words, "--force")
    assert (here / "good.txt").read_text() == "good"
    out.unlink()
    out.mkdir()
    assert "folder" in refused(*words, "--force")
    out.rmdir()
    os.mkfifo(out)
    assert "pipe" in refused(*words, "--force")


def test_a_command_does_not_replace_what_it_reads(here):
    shutil.copy(PHOTO, here / "p.jpg")
    before = (here / "p.jpg").read_bytes()
    assert "reads" in refused("measure", "p.jpg", "--overlay", "p.jpg", "--force")
    os.link("p.jpg", "same.jpg")
    assert "reads" in refused("measure", "p.jpg", "--overlay", "same.jpg", "--force")
    assert (here / "p.jpg").read_bytes() == before


def test_a_photo_that_a_book_keeps_is_not_drawn_over(here):
    kept = here / f"{'ab' * 32}.jpg"
    shutil.copy(PHOTO, kept)
    assert "--force" in refused("measure", str(PHOTO), "--overlay", str(kept))


def test_a_backup_is_a_zip(here):
    said("export", "out.csv")
    assert ".zip" in refused("backup", "out.csv", "--force")


@pytest.mark.parametrize("words", [("measure",), ("import",), ("restore",), ("trace",), ("why",)])
def test_what_has_no_end_is_not_read(words, here):
    for path, seen in (("/dev/zero", "device"), ("shop", "folder")):
        assert seen in refused(*words, path)


def test_a_file_that_is_not_there_is_not_passed_over(here):
    row = Path("row.csv")
    row.write_text("film_um,dye_g_per_l,bath_temp_c,dwell_min,ph,L,a,b\n12,3,40,5,5.5,40,5,-30\n")
    for word in ("--records", "--photo", "--trace"):
        result = CliRunner().invoke(app, ["why", str(row), word, "nothing.csv"])
        assert result.exit_code in (1, 2)
        assert "nothing.csv" in result.output + str(result.exception)
        assert "go with a CSV file" in CliRunner().invoke(app, ["why", "--batch", "1", word, "nothing.csv"]).output


def test_a_file_beyond_the_limit_is_not_read(here):
    with Path("huge.csv").open("wb") as file:
        file.truncate(600_000_000)  # sparse
    assert "600 MB" in refused("import", "huge.csv")


def test_what_fails_half_way_leaves_the_file_before_it(tmp_path):
    out = tmp_path / "out.csv"
    out.write_text("old")
    with pytest.raises(TypeError), replacing(out) as part:
        part.write_text("half") / None
    assert out.read_text() == "old"
    assert [one.name for one in tmp_path.iterdir()] == ["out.csv"]


def test_bytes_that_are_no_text_are_refused(here):
    result = CliRunner().invoke(app, ["record", *DIP, "--note", "a\udcff"])
    assert result.exit_code == 2
    assert "no text" in result.output
