"""The shell's book commands keep the contract."""

import inspect
import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dyebook.book.store import open_book
from dyebook.errors import BookError, RecordError
from dyebook.record import FIELDS
from dyebook.shell import book
from dyebook.shell.main import app

FOLDER = Path(__file__).parents[2] / "samples"
SETTINGS = ["--dye", "Harbour blue", "--film-um", "12", "--dye-g-per-l", "3", "--bath-temp-c", "40", "--dwell-min", "5"]


@pytest.fixture
def run(tmp_path, monkeypatch):
    """Runs a command on the book of this test and returns what it printed as JSON."""
    monkeypatch.setenv("DYEBOOK_BOOK", str(tmp_path / "shop.dyebook"))

    def _run(*words, status=0):
        result = CliRunner().invoke(app, [*map(str, words), "--json"], catch_exceptions=False)
        assert result.exit_code == status, result.output
        return json.loads(result.stdout)

    return _run


def test_record_list_find_check(run):
    assert run("record", *SETTINGS, "--ph", "5.5", "--lab", "40,5,-30") == {"batch": 1, "reading": None, "warnings": []}
    assert run("record", *SETTINGS)["batch"] == 2
    listed = run("list")
    assert [row["batch"] for row in listed] == [2, 1]
    assert listed[0]["lab"] is None
    assert listed[1]["ph"] == 5.5
    assert len(run("list", "--count", 1)) == 1
    assert run("record", *SETTINGS, "--wait-min", "1:30")["batch"] == 3
    assert run("list", "--count", 1)[0]["wait_min"] == 1.5
    (found,) = run("find", "--lab", "40,5,-31", "--count", 3)
    assert (found["batch"], found["lab"], found["film_um"]) == (1, [40.0, 5.0, -30.0], 12.0)
    assert 0.2 < found["delta_e00"] < 1
    assert run("check") == {"ok": True, "problems": []}


def test_other_units_are_converted_at_the_door(run):
    words = ["--dye", "Ember", "--film-um", "0.5 mil", "--dye-g-per-l", "0.4 oz/gal"]
    run("record", *words, "--bath-temp-c", "140 °F", "--dwell-min", "5:30")
    (row,) = run("list")
    assert row["film_um"] == pytest.approx(12.7)
    assert row["bath_temp_c"] == pytest.approx(60)
    assert row["dwell_min"] == 5.5
    assert row["dye_g_per_l"] == pytest.approx(0.4 * 28.349523125 / 3.785411784)


def test_what_is_impossible_is_refused(run):
    with pytest.raises(RecordError, match="it must lie between"):
        run("record", *SETTINGS, "--ph", "40")
    with pytest.raises(RecordError, match="film is given in"):
        run("record", "--dye", "Ember", "--film-um", "12 °F", *SETTINGS[4:])
    assert run("list") == []


def test_damage_is_told(run, tmp_path):
    from dyebook.book.store import open_book

    photo = b"\xff\xd8\xff\xe0" + bytes(5000)
    run("record", *SETTINGS)
    with open_book() as book:
        sha = book.add_photo(photo, 1)
        book.photos.path(sha).write_bytes(photo + b"x")
    (tmp_path / "shop.dyebook" / "photos" / "stray.jpg").write_bytes(photo)
    answer = run("check", status=1)
    assert answer["ok"] is False
    assert "altered" in answer["problems"][0]
    assert "stray.jpg" in answer["problems"][1]


def test_every_setting_of_a_record_has_its_option():
    options = set(inspect.signature(book.record).parameters)
    readings = {"L", "a", "b", "L_sd", "a_sd", "b_sd"}
    # the bands of a strip are recorded together, by `record-steps`
    assert set(FIELDS) - readings - {"coupon"} <= options


def test_plain_words_without_json(run, tmp_path):
    assert "no batch matches" in CliRunner().invoke(app, ["list"]).stdout
    run("record", *SETTINGS, "--lab", "40,5,-30")
    assert "Harbour blue: film 12 µm" in CliRunner().invoke(app, ["list"]).stdout
    assert "ΔE00 0.00" in CliRunner().invoke(app, ["find", "--lab", "40,5,-30"]).stdout
    assert "sound" in CliRunner().invoke(app, ["check"]).stdout


def test_a_book_that_cannot_be_opened_is_one_clear_error(monkeypatch, tmp_path):
    (tmp_path / "plain").write_text("a file where a folder should be")
    monkeypatch.setenv("DYEBOOK_BOOK", str(tmp_path / "plain" / "shop.dyebook"))
    result = CliRunner().invoke(app, ["list"])
    assert isinstance(result.exception, BookError)


def test_import_export_backup_restore(run, tmp_path, monkeypatch):
    run("record", *SETTINGS, "--lab", "40,5,-30")
    assert run("export", tmp_path / "a.csv")["rows"] == 1
    assert run("backup", tmp_path / "b.zip")["batches"] == 1
    before = run("list")
    monkeypatch.setenv("DYEBOOK_BOOK", str(tmp_path / "second.dyebook"))
    assert run("import", tmp_path / "a.csv", "--dry-run")["dry_run"] is True
    assert run("list") == []
    assert run("import", tmp_path / "a.csv")["batches"] == 1
    assert [row["lab"] for row in run("list")] == [[40, 5, -30]]
    monkeypatch.setenv("DYEBOOK_BOOK", str(tmp_path / "third.sqlite"))
    assert run("restore", tmp_path / "b.zip") == {"batches": 1, "photos": 0, "saved": None}
    assert run("list") == before
    text = CliRunner().invoke(app, ["import", str(tmp_path / "a.csv"), "--duplicates", "keep"])
    assert "1 batches, 1 readings were imported from a.csv" in text.stdout
    assert CliRunner().invoke(app, ["import", str(tmp_path / "a.csv"), "--duplicates", "x"]).exit_code == 2


def test_correct_delete_and_history(run):
    run("record", *SETTINGS)
    assert run("correct", 1, "dwell_min=5:30", "note=clock was slow", "film_um=0.5 mil", "--version", 1)["version"] == 2
    (row,) = run("list")
    assert (row["dwell_min"], row["note"], row["film_um"]) == (5.5, "clock was slow", 12.7)
    with pytest.raises(BookError, match="nothing was overwritten"):
        run("correct", 1, "note=other", "--version", 1)
    assert CliRunner().invoke(app, ["correct", "1", "colour=red"]).exit_code == 2
    run("delete", 1)
    assert run("list") == []
    assert len(run("list", "--deleted")) == 1
    run("delete", 1, "--undo")
    answer = {(line["table"], line["action"]) for line in run("history", 1)}
    assert answer == {
        ("batches", "correct"),
        ("dips", "correct"),
        ("runs", "correct"),
        ("batches", "delete"),
        ("batches", "undelete"),
    }
    assert "time in dye 5 min → 5:30 min" in CliRunner().invoke(app, ["history", "1"]).stdout


def test_a_book_that_had_to_be_begun_is_said(tmp_path):
    words = ["list", "--book", str(tmp_path / "misspelt"), "--json"]
    first, second = CliRunner().invoke(app, words), CliRunner().invoke(app, words)
    assert (first.exit_code, first.stdout) == (0, second.stdout)
    assert "a new, empty one was begun" in first.stderr
    assert second.stderr == ""


def test_a_correction_of_what_was_looked_at_is_refused_once_it_has_moved_on(run):
    run("record", *SETTINGS)
    version = run("list")[0]["version"]
    assert run("correct", 1, "dwell_min=6", "--version", version)["version"] == version + 1
    with pytest.raises(BookError, match="changed"):
        run("correct", 1, "dwell_min=7", "--version", version)
    with pytest.raises(BookError, match="changed"):
        run("delete", 1, "--version", version)
    assert run("list")[0]["dwell_min"] == 6


def test_every_part_of_a_load_is_kept_from_one_photo(run, tmp_path):
    load = FOLDER / "tags_one_streaked.jpg"
    kept = run("record", *SETTINGS, "--photo", load, "--part", "all")
    assert kept["reading"]
    assert any("2 parts" in warning and "ΔE00" in warning for warning in kept["warnings"])
    with open_book(tmp_path / "shop.dyebook") as opened:
        assert [row["part_index"] for row in opened.rows("readings", batch_id=1)] == [0, 1]
    for wrong in ("0", "first", "-1"):
        assert CliRunner().invoke(app, ["record", *SETTINGS, "--photo", str(load), "--part", wrong]).exit_code == 2


def test_an_instruments_geometry_stands_with_its_reading(run, tmp_path):
    run("record", *SETTINGS, "--lab", "40,5,-30", "--geometry", "SCI")
    with open_book(tmp_path / "shop.dyebook") as opened:
        (row,) = opened.rows("readings")
    assert (row["source"], row["geometry"]) == ("instrument", "d/8 included")
    result = CliRunner().invoke(app, ["record", *SETTINGS, "--geometry", "45/0"])
    assert result.exit_code == 2
    assert "--lab" in result.output
