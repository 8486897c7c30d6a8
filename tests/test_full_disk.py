"""Every write of the project on a disk that is really full, and what a power cut would find on it."""

import os
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from dyebook.book.store import open_book
from dyebook.errors import DyebookError
from dyebook.photo.camera.fit import Tone
from dyebook.photo.camera.profile import CameraProfile
from dyebook.photo.camera.store import keep_camera, load_camera
from dyebook.photo.measure import look_at
from dyebook.record import DyeRecord, ReadOptions
from dyebook.report.paper.html import save_paper
from dyebook.screens.drafts import load_draft, save_draft

RECORD = DyeRecord("Ember", film_um=12, dye_g_per_l=3, bath_temp_c=40, dwell_min=5, note="n" * 300)
PHOTO = b"\xff\xd8\xff" + np.random.default_rng(1).bytes(60_000)
CAMERA = CameraProfile("bench", Tone(), *[((1.0, 0.0, 0.0),) * 3] * 2, *[(1.0,) * 3] * 2, (1.0,) * 24, (0,), (1.0,) * 3)


@pytest.fixture
def small_disk(tmp_path):
    """A disk of 2 MB of this test's own."""
    place = tmp_path / "disk"
    place.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", place], capture_output=True)
    if mounted.returncode:
        pytest.skip("this user may mount no disk of its own")
    yield place
    subprocess.run(["umount", "-l", place], check=True)


def fill(disk, room):
    """Fill a disk but for so many bytes."""
    free = os.statvfs(disk).f_bavail * os.statvfs(disk).f_frsize
    (disk / "filler").write_bytes(bytes(max(0, free - room)))


@pytest.fixture
def elsewhere(tmp_path):
    """A book of 40 batches on a disk with room, to be written out from."""
    with open_book(tmp_path / "shop.dyebook") as book:
        for _ in range(40):
            book.add_batch(RECORD, PHOTO)
        yield book


def _backup(book, folder, turn):
    book.back_up(folder / "shop.zip")


def _export(kind):
    def write(book, folder, turn):
        book.export_file(folder / f"shop.{kind}")

    return write


def _camera(book, folder, turn):
    # as long as a learned one is
    keep_camera(replace(CAMERA, make=turn, flags=(turn * 20_000,)))


def _paper(book, folder, turn):
    save_paper(folder / "card.pdf", turn.encode() * 60_000)


def _overlay(book, folder, turn):
    content = Path(__file__).parents[1] / "samples" / "orange_tags_on_wood.jpg"
    options = ReadOptions(no_card=True, part_at=[[(10, 10), (90, 10), (90, 90)]])
    look_at(content, options).save_overlay(folder / "seen.jpg")


WRITES = {"backup": _backup, "csv": _export("csv"), "jsonl": _export("jsonl"), "xlsx": _export("xlsx")}
WRITES |= {"parquet": _export("parquet"), "camera": _camera, "paper": _paper, "overlay": _overlay}


def held(folder):
    """Names and bytes of what lies in a folder, apart from what fills it."""
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.name != "filler"}


# the library that writes workbooks and its zip file are thrown away half-way, and say so
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize("room", [0, 4096])
@pytest.mark.parametrize("name", WRITES)
def test_a_full_disk_keeps_the_file_that_was_there(small_disk, elsewhere, monkeypatch, name, room):
    monkeypatch.setenv("DYEBOOK_CAMERAS_DIR", str(small_disk))
    write = WRITES[name]
    write(elsewhere, small_disk, "a")
    before = held(small_disk)
    for number in range(10):
        elsewhere.add_batch(RECORD, PHOTO + bytes([number]))
    fill(small_disk, room)
    with pytest.raises(DyebookError, match=r"[Nn]o space left|disk is full|could not be kept|cannot be written"):
        write(elsewhere, small_disk, "b")
    assert held(small_disk) == before
    (small_disk / "filler").unlink()
    write(elsewhere, small_disk, "b")
    assert set(held(small_disk)) == set(before)


def test_a_camera_survives_a_full_disk(small_disk, monkeypatch):
    monkeypatch.setenv("DYEBOOK_CAMERAS_DIR", str(small_disk))
    keep_camera(CAMERA)
    fill(small_disk, 0)
    with pytest.raises(DyebookError, match="check the folder and its space"):
        keep_camera(replace(CAMERA, make="other"))
    assert load_camera("bench") == CAMERA


@pytest.mark.parametrize("room", [0, 8192, 40_000, 90_000, 150_000])
def test_a_batch_on_a_full_disk_is_kept_whole_or_not_at_all(small_disk, room):
    with open_book(small_disk / "shop.dyebook") as book:
        kept = [book.add_batch(RECORD, PHOTO)]
        fill(small_disk, room)
        with pytest.raises(DyebookError, match="the disk is full"):
            kept.extend(book.add_batch(RECORD, PHOTO + bytes([number])) for number in range(40))
        (small_disk / "filler").unlink()
    with open_book(small_disk / "shop.dyebook") as book:
        assert sorted(row.batch for row in book.batches()) == kept
        assert all(book.photo_bytes(row.photo)[: len(PHOTO)] == PHOTO for row in book.batches())
        assert book.check() == []
        book.add_batch(RECORD, PHOTO + b"later")


def test_a_draft_on_a_full_disk_stays_as_it_was_and_is_saved_once_there_is_room(small_disk, monkeypatch):
    monkeypatch.setenv("DYEBOOK_DRAFTS_DIR", str(small_disk))
    first, second = {"photo": PHOTO}, {"photo": PHOTO[::-1], "note": "more"}
    mark = save_draft("abcdef", first)
    fill(small_disk, 20_000)
    assert save_draft("abcdef", second, mark) == mark
    assert load_draft("abcdef") == first
    (small_disk / "filler").unlink()
    assert save_draft("abcdef", second, mark) != mark
    assert load_draft("abcdef") == second


@pytest.fixture
def synced(monkeypatch):
    """Fails a file that takes its place before the disk has it; the names of those that did it right."""
    on_disk, seen, sync, move = set(), [], os.fsync, os.replace

    def note(handle):
        answer = os.fstat(handle)
        on_disk.add((answer.st_ino, answer.st_size, answer.st_mtime_ns))
        sync(handle)

    def check(source, target):
        answer = os.stat(source)  # noqa: PTH116
        assert (answer.st_ino, answer.st_size, answer.st_mtime_ns) in on_disk, f"{target} was not on the disk yet"
        seen.append(Path(target).name)
        move(source, target)

    monkeypatch.setattr("os.fsync", note)
    monkeypatch.setattr("os.replace", check)
    return seen


@pytest.mark.parametrize("name", WRITES)
def test_content_is_on_the_disk_before_its_name_is(elsewhere, tmp_path, monkeypatch, synced, name):
    monkeypatch.setenv("DYEBOOK_CAMERAS_DIR", str(tmp_path / "out"))
    (tmp_path / "out").mkdir()
    WRITES[name](elsewhere, tmp_path / "out", "a")
    assert synced[-1:] == list(held(tmp_path / "out"))


def test_photos_and_drafts_are_on_the_disk_before_their_names_are(elsewhere, tmp_path, monkeypatch, synced):
    monkeypatch.setenv("DYEBOOK_DRAFTS_DIR", str(tmp_path / "drafts"))
    save_draft("abcdef", {"photo": PHOTO})
    assert synced[-1] == "draft.json"
    elsewhere.add_batch(RECORD, PHOTO + b"synced")
    assert len(synced) == 3


@pytest.mark.parametrize("sync", range(2))
def test_a_power_cut_at_any_sync_leaves_the_old_file_or_the_new(elsewhere, tmp_path, monkeypatch, sync):
    class PowerCut(BaseException):
        """Nothing handles it."""

    elsewhere.back_up(tmp_path / "shop.zip")
    old, left = (tmp_path / "shop.zip").read_bytes(), [sync]

    def cut(_handle):
        left[0] -= 1
        if left[0] < 0:
            raise PowerCut

    elsewhere.add_batch(RECORD)
    monkeypatch.setattr("os.fsync", cut)
    with pytest.raises(PowerCut):
        elsewhere.back_up(tmp_path / "shop.zip")
    monkeypatch.undo()
    assert ((tmp_path / "shop.zip").read_bytes() == old) is (sync == 0)
    with open_book(tmp_path / "again.dyebook") as again:
        assert again.restore(tmp_path / "shop.zip")["batches"] == 40 + sync
