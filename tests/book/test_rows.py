"""One mechanism for every table: corrections keep the old value, deletion is a mark, the second editor is told."""

import sqlite3
from contextlib import closing

import pytest

from dyebook.book.rows import both_values
from dyebook.book.schema import TABLES
from dyebook.errors import BookError, RecordError
from dyebook.record import DyeRecord

# the least that a row of each table needs, made in this order
LEAST = {
    "dyes": {"name": "Ember"},
    "lots": {"product": "Ember", "lot": "L2231", "opened_on": "2026-03-01"},
    "setups": {"key": "0123", "name": "window bench"},
    "baths": {"name": "Tank 1", "dye_id": 1},
    "bath_events": {"bath_id": 1, "at": "2026-03-01", "kind": "made_up", "dye_g_per_l": 3},
    "electrolytes": {"name": "Acid of spring"},
    "electrolyte_events": {"electrolyte_id": 1, "at": "2026-03-01", "kind": "titrated", "electrolyte_g_per_l": 165},
    "orders": {"name": "26-014", "words": "the blue of my old kettle", "skin_contact": True},
    "samples": {"name": "kettle lid", "order_id": 1},
    "targets": {"name": "kettle blue", "L": 40, "a": 5, "b": -30, "tolerance_de00": 1.5},
    "order_items": {"order_id": 1, "name": "lid", "pieces": 12, "target_id": 1},
    "runs": {"film_um": 12},
    "preparations": {"run_id": 1, "kind": "etch", "dwell_min": 1},
    "batches": {"note": "x", "order_id": 1, "run_id": 1},
    "parts": {"batch_id": 1, "jig_place": "row 2, left"},
    "dips": {"batch_id": 1, "dye_id": 1},
    "rinses": {"batch_id": 1},
    "seals": {"batch_id": 1, "kind": "hot_water", "seal_temp_c": 97},
    "tests": {"batch_id": 1, "kind": "rub", "passed": True},
    "coupons": {"name": "strip", "kind": "stepped", "steps": [1, 2, 4, 8]},
    "photos": {"sha256": "0" * 64, "size_bytes": 3},
    "readings": {"batch_id": 1, "L": 40, "a": 0, "b": 0, "source": "typed"},
    "verdicts": {"batch_id": 1, "verdict": "pass", "reading_id": 1, "target_id": 1},
}


def test_the_list_above_knows_every_table():
    assert set(LEAST) == set(TABLES)


def test_every_table_adds_lists_corrects_deletes_and_undoes(store):
    for table, values in LEAST.items():
        number = store.add(table, **values)
        assert store.rows(table)[0].items() >= values.items()
        column, new = "note", "changed"
        assert store.correct(table, number, {column: new}, version=1) == 2, table
        assert store.row(table, number)[column] == new
        assert store.undo(table, number) == 3
        assert store.row(table, number)[column] == values.get(column)
        assert store.delete(table, number) == store.row(table, number)["version"] == 4
        assert store.rows(table) == []
        assert len(store.rows(table, deleted=True)) == 1
        store.undelete(table, number)
        assert [line["action"] for line in store.history(table, number)] == ["correct", "undo", "delete", "undelete"]


def test_the_history_says_who_when_and_what(store, dip):
    number = store.add_batch(dip())
    store.correct_batch(number, {"dwell_min": 6.0, "note": "clock was slow"}, version=1)
    changes = {line["table"]: line for line in store.history()}
    assert changes["dips"]["old"] == {"dwell_min": 5.0}
    assert changes["dips"]["new"] == {"dwell_min": 6.0}
    assert changes["batches"]["who"] == "Ada"
    assert changes["batches"]["at"].startswith("20")
    assert store.batch(number).dwell_min == 6.0


def test_the_second_of_two_editors_is_told(store, dip):
    number = store.add_batch(dip())
    seen = store.batch(number).version
    store.correct_batch(number, {"film_um": 13.0}, version=seen)
    with pytest.raises(BookError, match="nothing was overwritten"):
        store.correct_batch(number, {"dwell_min": 9.0}, version=seen)
    assert store.batch(number).dwell_min == 5.0
    assert store.correct_batch(number, {"dwell_min": 9.0}, version=store.batch(number).version) == 3


def test_a_correction_may_move_a_batch_to_another_dye_and_bath(store, dip):
    number = store.add_batch(dip(bath="Tank 1"))
    store.correct_batch(number, {"dye": "Ember", "rinse_temp_c": 19})
    row = store.batch(number)
    assert (row.dye, row.bath, row.rinse_temp_c) == ("Ember", "Tank 1", 19)


def test_impossible_corrections_change_nothing(store, dip):
    number = store.add_batch(dip())
    with pytest.raises(RecordError, match="it must lie between"):
        store.correct_batch(number, {"note": "x", "bath_temp_c": 400})
    with pytest.raises(RecordError, match="cannot be repeated without"):
        store.correct_batch(number, {"film_um": None})
    with pytest.raises(RecordError, match="one of photo, instrument, typed"):
        store.add("readings", batch_id=number, L=4, a=0, b=0, source="guess")
    with pytest.raises(ValueError, match="no column 'colour'"):
        store.correct_batch(number, {"colour": "red"})
    with pytest.raises(ValueError, match="no table 'paints'"):
        store.add("paints")
    with pytest.raises(BookError, match="no number 99"):
        store.correct("batches", 99, {"note": "x"})
    assert store.batch(number).note is None
    assert store.history() == []


def test_a_deleted_batch_is_gone_from_lists_and_searches_until_it_is_brought_back(store, dip):
    number = store.add_batch(dip((40, 0, 0)))
    assert store.find((40, 0, 0))[0].row.batch == number
    store.delete("batches", number)
    assert store.batches() == []
    assert store.find((40, 0, 0)) == []
    assert len(store.frame()) == 0
    assert store.batches(deleted=True)[0].batch == number
    store.undelete("batches", number)
    assert store.find((40, 0, 0))[0].row.batch == number
    with pytest.raises(BookError, match="no change"):
        store.undo("dyes", 1)


def test_undo_walks_back_step_by_step(store):
    number = store.add("dyes", name="Ember")
    for note in ("one", "two", "three"):
        store.correct("dyes", number, {"note": note})
    notes = []
    for _ in range(3):
        store.undo("dyes", number)
        notes.append(store.row("dyes", number)["note"])
    assert notes == ["two", "one", None]


def test_a_dye_recorded_again_is_brought_back(store, dip):
    store.add_batch(dip())
    store.delete("dyes", 1)
    store.add_batch(dip(dye="  Harbour   blue "))
    assert [row["name"] for row in store.rows("dyes")] == ["Harbour blue"]


@pytest.mark.parametrize("words", ["caf\udce9", "\ud83d alone"])
def test_half_a_character_is_refused_before_it_reaches_the_database(store, words):
    with pytest.raises(RecordError, match="broken character"):
        store.add("orders", name="O-1", note=words)
    with pytest.raises(RecordError, match="note holds a broken character"):
        DyeRecord("Ember", film_um=12, dye_g_per_l=3, bath_temp_c=40, dwell_min=5, note=words)
    assert store.rows("orders") == []


def test_what_two_editors_wrote_is_said_where_it_differs():
    there = {"film_um": 12.0, "note": None, "dips": {"dwell_min": 5.0}, "steps": [1], "dye": "Ember"}
    wanted = {"film_um": 13.0, "note": "x", "dips": {"dwell_min": 6.0}, "steps": [2], "dye": "Ember"}
    assert both_values(there, wanted | {"rinses": {"rinse_temp_c": 18}}) == (
        "film um is 12.0 now, and you wrote 13.0; note is empty now, and you wrote x; "
        "dips dwell min is 5.0 now, and you wrote 6.0; rinses rinse temp c is empty now, and you wrote 18; "
    )
    assert both_values({"note": "x"}, {"note": None}) == "note is x now, and you wrote empty; "


@pytest.mark.parametrize("book_url", ["sqlite"], indirect=True)
def test_the_check_finds_what_points_nowhere_and_what_cannot_be(store, dip):
    """Rows as a damaged disk or another program leaves them, in a file: the checks of the ways in were never asked."""
    for _ in range(23):
        store.add_batch(dip((40, 0, 0)))
    assert store.check() == []
    with closing(sqlite3.connect(store.place.file)) as connection:
        connection.execute("UPDATE dips SET bath_temp_c = 400")
        connection.execute("UPDATE runs SET film_um = 9e999 WHERE id = 3")
        connection.execute("UPDATE batches SET run_id = 77 WHERE id = 2")
        connection.execute("UPDATE readings SET source = 'guess' WHERE id = 4")
        connection.commit()
    found = store.check()
    assert sum("bath temperature is 400 °C; it must lie between 0 and 100 °C" in one for one in found) == 20
    assert "and 3 more of this kind" in found
    assert any(one.startswith("dips 1: ") for one in found)
    assert "runs 3: film_um is inf" in found
    assert "batches 2: run_id 77 does not exist" in found
    assert any(one.startswith("readings 4: ") and "one of photo, instrument, typed" in one for one in found)
    assert len(found) == 20 + 1 + 3


def test_a_photo_that_no_row_names_is_told_until_a_restore_leaves_some(store, dip, photo, tmp_path):
    store.add_batch(dip(), photo)
    stray = store.photos.folder / "ab" / ("ab" * 32)
    stray.parent.mkdir()
    stray.write_bytes(photo)
    (found,) = store.check()
    assert f"ab/{'ab' * 32}" in found
    assert "belongs to no photo" in found
    store.back_up(tmp_path / "b.zip")
    store.restore(tmp_path / "b.zip")
    assert store.check() == []


def test_a_run_made_by_a_correction_is_that_of_its_batch_alone(store, dip):
    """A batch that came in without its run, as old tables have it, gets one of its own number."""
    first = store.add_batch(dip(film_um=10.0))
    bare = store.add("batches", note="from the old book")
    store.add("dips", batch_id=bare, dye_id=1)
    last = store.add_batch(dip(film_um=14.0))
    store.correct_batch(bare, {"film_um": 12.0})
    assert [store.batch(one).film_um for one in (first, bare, last)] == [10.0, 12.0, 14.0]
    assert store.row("batches", bare)["run_id"] == bare
