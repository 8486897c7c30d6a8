"""Tables in and out: the same book again, other units, and every wrong cell told with its row and column."""

import csv
import json

import numpy as np
import pandas as pd
import pytest

from dyebook.book.exchange.cells import match_header
from dyebook.book.store import open_book
from dyebook.errors import BookError, RecordError

HEAD = "dye,film_um,dye_g_per_l,bath_temp_c,dwell_min"
ROW = "Ember,12,3,40,5"


@pytest.fixture
def write(tmp_path):
    """Writes a text file and returns its path."""

    def _write(text, name="notes.csv", encoding="utf-8"):
        path = tmp_path / name
        path.write_bytes(text.encode(encoding))
        return path

    return _write


def _fill(book, dip, photo):
    first = book.add_batch(dip((40.123456789, 5, -30), bath="Tank 1", rinse_temp_c=18, sealed=False), photo)
    book.add_reading(first, (39, 5, -30), sealed=True, wet=False, source="instrument")
    book.add_batch(dip(dye="Ember", note="=SUM(A1)", alloy="6061", dyed_at="2026-03-01T10:00"), replaces_id=first)
    book.add_batch(dip(dye="Ember", note="'quoted", finish='say "no",\nthen\tgo 🎨'))
    two = book.add_batch(dip((50, 0, 0), ph=float("nan")))
    second = book.add("dips", batch_id=two, position=2, dye_id=1, dye_g_per_l=1, bath_temp_c=40, dwell_min=2)
    book.add_reading(two, (60, 0, 0), dip_id=second)
    book.add_batch(dip((70, 1, 1)))
    book.add_batch(dip((70, 1, 1)))


def _table(book, path):
    book.export_file(path)
    return path.read_text(encoding="utf-8")


@pytest.mark.parametrize("ending", ["csv", "xlsx", "jsonl", "parquet"])
def test_export_and_import_give_the_same_book(store, dip, photo, tmp_path, ending):
    _fill(store, dip, photo)
    assert store.export_file(tmp_path / f"all.{ending}") == 8
    with open_book(tmp_path / "other.dyebook") as other:
        other.add_photo(photo)
        answer = other.import_file(tmp_path / f"all.{ending}")
        assert (answer.batches, answer.readings, answer.ignored) == (6, 6, ())
        assert _table(other, tmp_path / "2.csv") == _table(store, tmp_path / "1.csv")
        pd.testing.assert_frame_equal(other.frame(), store.frame())
        assert [row.photo for row in other.batches()] == [row.photo for row in store.batches()]
        assert other.check() == []
        assert other.add_batch(dip()) == 7


def test_what_a_spreadsheet_would_run_is_made_harmless(store, dip, tmp_path):
    for note in ("=1+1", "+1", "-1", "@SUM", "\tx", "plain"):
        store.add_batch(dip(note=note))
    store.export_file(tmp_path / "a.csv")
    with (tmp_path / "a.csv").open(newline="") as file:
        notes = [row["note"] for row in csv.DictReader(file)]
    assert notes == ["'=1+1", "'+1", "'-1", "'@SUM", "'\tx", "plain"]
    store.export_file(tmp_path / "a.jsonl")
    assert json.loads((tmp_path / "a.jsonl").read_text().splitlines()[0])["note"] == "=1+1"
    import openpyxl

    store.export_file(tmp_path / "a.xlsx")
    cells = [row[0].parent for row in openpyxl.load_workbook(tmp_path / "a.xlsx").active.iter_rows(min_row=2)]
    assert all(cell.data_type != "f" for cell in cells[0]["A:Z"][0])


@pytest.mark.parametrize(
    ("header", "name", "cell", "value"),
    [
        ("film (mil)", "film_um", 0.5, 12.7),
        ("Film µm", "film_um", 12, 12),
        ("temp °F", "bath_temp_c", 104, 40),
        ("bath temperature [F]", "bath_temp_c", 104, 40),
        ("Time in dye (s)", "dwell_min", 90, 1.5),
        ("dye strength (oz/gal)", "dye_g_per_l", 1, 7.489151707),  # 28.349523125 g / 3.785411784 L
        ("area sq in", "area_dm2", 15.500031, 1.0),  # 1 in² = 6.4516 cm²
        ("bath_temp_c", "bath_temp_c", 40, 40),
        ("L*", "L", 40, 40),
    ],
)
def test_headers_carry_units(header, name, cell, value):
    column = match_header(header)
    assert column.name == name
    assert cell * column.scale + column.offset == pytest.approx(value, rel=1e-7)


def test_headers_that_are_none_of_ours_or_cannot_be():
    assert match_header("supplier") is None
    with pytest.raises(RecordError, match=r"column 'film \(°F\)'"):
        match_header("film (°F)")
    with pytest.raises(RecordError, match="furlong"):
        match_header("dwell (furlong)")


def test_cells_may_carry_their_own_unit_or_a_decimal_comma(store, write):
    store.import_file(write("dye;film;strength;temp °F;time\nEmber;0,5 mil;3,5;104;5:30\nEmber;12,5;3;100,4;90 s\n"))
    second, first = store.batches()
    assert (first.film_um, first.dye_g_per_l, first.bath_temp_c, first.dwell_min) == pytest.approx((12.7, 3.5, 40, 5.5))
    assert (second.film_um, second.bath_temp_c, second.dwell_min) == pytest.approx((12.5, 38, 1.5))


def test_byte_order_mark_windows_lines_and_old_code_page(store, write):
    store.import_file(write(f"\ufeff{HEAD}\r\n{ROW}\r\n\r\n{ROW}\r\n"))
    answer = store.import_file(write(f"{HEAD},note\n{ROW},für Käthe\n", encoding="cp1252"))
    assert "not UTF-8" in answer.notes[0]
    store.import_file(write(f"{HEAD},note\n{ROW},🎨\n", encoding="utf-16"))
    assert [row.note for row in store.batches()] == ["🎨", "für Käthe", None, None]


def test_a_dry_run_says_everything_and_writes_nothing(store, write):
    answer = store.import_file(write(f"{HEAD},supplier,L,a,b\n{ROW},x,40,0,0\n{ROW},y,,,\n"), dry_run=True)
    assert answer.to_dict().items() >= {"dry_run": True, "batches": 2, "readings": 1, "ignored": ("supplier",)}.items()
    assert store.batches() == []


def test_dates_in_three_styles(store, write):
    text = f"{HEAD},date\n{ROW},2026-03-04\n{ROW},05.03.2026\n{ROW},3/28/2026\n{ROW},3/4/2026 14:30\n"
    store.import_file(write(text))
    assert [row.dyed_at for row in store.batches()][::-1] == [
        "2026-03-04",
        "2026-03-05",
        "2026-03-28",
        "2026-03-04T14:30:00",
    ]


BAD = {
    "no number": (f"{HEAD}\n{ROW}\nEmber,thick,3,40,5", "row 3, film_um: film is 'thick'"),
    "out of range": (f"{HEAD}\nEmber,12,3,400,5", "row 2, bath_temp_c: 400 is 400 °C; it must lie between 0 and 100"),
    "wrong unit in header": ("dye,film (°F),dye_g_per_l,bath_temp_c,dwell_min\n" + ROW, r"column 'film \(°F\)'"),
    "wrong unit in cell": (f"{HEAD}\nEmber,12 min,3,40,5", "row 2, film_um: film is given in 'min'"),
    "missing column": (
        "dye,film_um\nEmber,12",
        "no column dye_g_per_l, bath_temp_c, dwell_min; columns found: dye, film_um",
    ),
    "empty setting": (f"{HEAD}\nEmber,,3,40,5", "row 2, film_um: empty"),
    "no dye": (f"{HEAD}\n,12,3,40,5", "row 2, dye: empty"),
    "two columns alike": (f"{HEAD},film\n{ROW},12", "both mean film_um"),
    "half a colour": (f"{HEAD},L,a,b\n{ROW},40,,3", "row 2, L a b: 2 of 3"),
    "swapped decimal comma": (f"{HEAD}\nEmber,12,5,3,40,5", "row 2 has 6 cells.*decimal comma"),
    "mixed decimal marks": (
        f'{HEAD}\nEmber,"12,5",3,40,5\nEmber,12.5,3,40,5',
        "row 2, film_um: '12,5' has a decimal comma",
    ),
    "ambiguous date": (f"{HEAD},date\n{ROW},3/4/2026", "row 2, date: .*year-month-day"),
    "no date": (f"{HEAD},date\n{ROW},soon", "row 2, date: 'soon' is no date"),
    "neither yes nor no": (f"{HEAD},sealed\n{ROW},perhaps", "row 2, sealed: 'perhaps'"),
    "duplicate rows": (f"{HEAD},L,a,b\n{ROW},40,0,0\n{ROW},40,0,0", "row 3 equals row 2 in everything"),
    "two runs in one batch": (f"batch,{HEAD}\n7,{ROW}\n7,Ember,15,3,40,5", "row 3: batch 7 has another film_um"),
    "headers only": (HEAD + "\n", "no rows below its headers"),
    "empty file": ("", "no rows"),
    "not a table": ("\0\1\2\0" * 500, "no table of text"),
    "open quotation": (f'{HEAD}\n"Ember,12,3,40,5\n', "quotation marks"),
    "infinite": (f"{HEAD}\nEmber,inf,3,40,5", "row 2, film_um: inf"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_tables_are_refused_whole_with_row_and_column(store, write, case):
    text, words = BAD[case]
    with pytest.raises(BookError, match=words):
        store.import_file(write(text))
    assert store.batches() == []
    assert store.rows("dyes") == []


def test_other_files_that_are_no_tables(store, write, tmp_path):
    for name in ("broken.xlsx", "broken.parquet"):
        with pytest.raises(BookError, match=r"no XLSX|Parquet"):
            store.import_file(write("no workbook", name))
    with pytest.raises(BookError, match="line 2 is no JSON"):
        store.import_file(write('{"dye": "Ember"}\n{nonsense', "x.jsonl"))
    with pytest.raises(BookError, match="line 1 holds no object"):
        store.import_file(write("[1, 2]", "x.jsonl"))
    with pytest.raises(BookError, match="cannot be read"):
        store.import_file(tmp_path / "missing.csv")
    with pytest.raises(BookError, match="must end in one of"):
        store.export_file(tmp_path / "x.pdf")


def test_a_far_too_large_file_is_refused_unread(store, tmp_path):
    path = tmp_path / "huge.csv"
    with path.open("wb") as file:
        file.truncate(500 * 2**20)  # sparse: takes no room
    with pytest.raises(BookError, match="split it into files below 400 MB"):
        store.import_file(path)


def test_a_row_in_the_book_already_is_refused_skipped_or_kept(store, write):
    path = write(f"{HEAD},L,a,b\n{ROW},40,0,0\n{ROW},41,0,0\n")
    store.import_file(path)
    with pytest.raises(BookError, match="row 2 equals a batch that is in the book"):
        store.import_file(path)
    assert store.import_file(path, duplicates="skip").skipped == 2
    assert len(store.batches()) == 2
    store.import_file(path, duplicates="keep")
    assert len(store.batches()) == 4


def test_rows_that_were_never_read_may_repeat(store, write):
    path = write(f"{HEAD}\n{ROW}\n{ROW}\n")
    store.import_file(path)
    store.import_file(path)
    assert len(store.batches()) == 4


def test_an_import_in_the_middle_of_which_the_book_refuses_is_undone(store, write, monkeypatch):
    from dyebook.book.exchange import records

    monkeypatch.setattr(records, "_CHUNK", 1)
    rows = "\n".join(f"7{i},Ember,12,3,40,{i}" for i in range(1, 5))
    text = f"batch,{HEAD}\n{rows}\n74,Ember,15,3,40,5"
    with pytest.raises(BookError, match="another film_um"):
        store.import_file(write(text))
    assert store.batches() == []
    assert store.rows("runs") == []


def test_progress_is_told(store, write):
    seen = []
    store.import_file(write(f"{HEAD}\n" + f"{ROW}\n" * 10), progress=lambda done, total: seen.append((done, total)))
    assert seen[-1] == (10, 10)


def test_a_frame_of_the_contract_comes_in_as_it_is(store, tmp_path):
    rng = np.random.default_rng(1)
    frame = pd.DataFrame(
        {
            name: rng.uniform(2, 10, 30)
            for name in ("film_um", "dye_g_per_l", "bath_temp_c", "dwell_min", "ph", "L", "a", "b")
        }
    ).assign(dye="Ember")
    frame.loc[3, "ph"] = np.nan
    frame.to_csv(tmp_path / "records.csv", index=False)
    store.import_file(tmp_path / "records.csv")
    pd.testing.assert_frame_equal(store.frame()[list(frame)], frame, check_dtype=False)


def test_lot_seal_test_and_place_on_the_rack_come_in_and_go_out(store, write, tmp_path):
    """Headers as people write them; a stain beyond the scale is refused."""
    head = f"{HEAD},dye lot,seal test stain,place on rack,contact marks\n"
    store.import_file(write(f"{head}{ROW},L2231,1,row 2 left,rim\n{ROW},,,,\n"))
    newest, first = store.batches()
    told = ("L2231", 1.0, "row 2 left", "rim")
    assert (first.dye_lot, first.seal_stain, first.jig_place, first.contact_marks) == told
    assert (newest.dye_lot, newest.jig_place) == (None, None)
    assert newest.seal_stain != newest.seal_stain
    assert [row["batch_id"] for table in ("seals", "parts") for row in store.rows(table)] == [first.batch] * 2
    out = tmp_path / "out.csv"
    store.export_file(out)
    with out.open(encoding="utf-8-sig", newline="") as file:
        assert [row["contact_marks"] for row in csv.DictReader(file)] == ["rim", ""]
    store.correct_batch(newest.batch, {"jig_place": "row 1"})
    assert store.batch(newest.batch).jig_place == "row 1"
    with pytest.raises(BookError, match="seal test stain"):
        store.import_file(write(f"{head}{ROW},L2231,7,,\n"))
