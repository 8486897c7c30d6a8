"""Drafts on disk: what goes in comes out, nothing leaves its folder, old ones go."""

import os
from datetime import date

import pytest

from dyebook.screens.drafts import drafts_folder, is_draft_name, load_draft, save_draft, throw_old_away

CONTENT = {
    "note": "Kettle – 5 °C too hot",
    "count": 3,
    "share": 0.25,
    "no_card": True,
    "nothing": None,
    "due": date(2026, 12, 1),
    "photos": [{"name": "a.jpg", "content": b"\xff\xd8 bytes", "card_at": ((1.5, 2.0), (3.0, 4.0))}],
}


def test_what_goes_in_comes_out():
    save_draft("abcdef", CONTENT)
    assert load_draft("abcdef") == CONTENT


def test_what_cannot_be_written_is_left_out_and_the_rest_kept():
    save_draft("abcdef", {"odd": object(), "note": "kept"})
    assert load_draft("abcdef") == {"note": "kept"}


def test_bytes_no_longer_in_the_draft_are_deleted():
    save_draft("abcdef", CONTENT)
    save_draft("abcdef", {"note": "photo put away"})
    assert [one.name for one in (drafts_folder() / "abcdef").iterdir()] == ["draft.json"]


def test_an_unchanged_draft_is_not_written_again():
    mark = save_draft("abcdef", CONTENT)
    (drafts_folder() / "abcdef" / "draft.json").unlink()
    assert save_draft("abcdef", CONTENT, mark) == mark
    assert load_draft("abcdef") == {}


@pytest.mark.parametrize("name", ["../../etc", "a/b/c/d", "", None, "short", "x" * 61, "..", "a b c d e f"])
def test_no_name_leads_out_of_the_folder(name):
    assert not is_draft_name(name)


@pytest.mark.parametrize("text", ["no json", "[]", '{"a": {"bytes": "../../etc/passwd"}}', '{"a": {"odd": 1, "b": 2}}'])
def test_a_damaged_draft_is_an_empty_one(text):
    save_draft("abcdef", CONTENT)
    (drafts_folder() / "abcdef" / "draft.json").write_text(text)
    assert load_draft("abcdef") == {}


def test_a_disk_that_cannot_be_written_stops_nobody(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv("DYEBOOK_DRAFTS_DIR", str(tmp_path / "file"))
    save_draft("abcdef", CONTENT)
    assert load_draft("abcdef") == {}


def test_a_month_later_they_are_gone():
    save_draft("abcdef", CONTENT)
    save_draft("ghijkl", CONTENT)
    old = (drafts_folder() / "abcdef").stat().st_mtime - 31 * 86400
    os.utime(drafts_folder() / "abcdef", (old, old))
    throw_old_away()
    assert [one.name for one in drafts_folder().iterdir()] == ["ghijkl"]
