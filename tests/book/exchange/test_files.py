"""Workbooks that are damaged, or that would fill memory if they were believed."""

import io
import re
import zipfile

import pytest

from dyebook.errors import BookError
from tests.bench.parsers import SHEET_PART, pack, workbook_parts

ENTITY = b'<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/hostname">]>'
LAUGHS = b'<!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]>'


@pytest.fixture
def taken(store, tmp_path):
    """Imports the workbook whose sheet was changed by a function of its bytes."""

    def take(change):
        sheet = workbook_parts()[SHEET_PART]
        changed = change(sheet)
        assert changed != sheet
        (tmp_path / "a.xlsx").write_bytes(pack({**workbook_parts(), SHEET_PART: changed}))
        return store.import_file(tmp_path / "a.xlsx")

    return take


def add_row(number, column="A"):
    cell = f'<row r="{number}"><c r="{column}{number}"><v>1</v></c></row></sheetData>'.encode()
    return lambda sheet: sheet.replace(b"</sheetData>", cell)


def test_the_sound_workbook_is_taken(store, tmp_path):
    (tmp_path / "a.xlsx").write_bytes(pack(workbook_parts()))
    assert store.import_file(tmp_path / "a.xlsx").batches == 12


def test_a_size_that_a_sheet_only_claims_costs_nothing(taken):
    assert (
        taken(lambda sheet: re.sub(rb'<dimension ref="[^"]+"', b'<dimension ref="A1:XFD1048576"', sheet)).batches == 12
    )


@pytest.mark.parametrize("change", [add_row(100_000_000), add_row(14, "XFD")], ids=["row", "column"])
def test_cells_far_off_are_refused(taken, change):
    with pytest.raises(BookError, match="delete what lies far off"):
        taken(change)


@pytest.mark.parametrize("declared", [ENTITY, LAUGHS], ids=["outside", "bomb"])
def test_entities_in_a_sheet_are_refused(taken, declared):
    name = b"&e;" if declared is ENTITY else b"&b;"
    with pytest.raises(BookError, match="save it again, or as CSV"):
        taken(lambda sheet: declared + sheet.replace(b"Ember", name).replace(b"<v>", b"<v>" + name, 1))


# each of these once ended in an error of the library that reads workbooks
DAMAGE = {
    "cut": lambda sheet: sheet[:1530],
    "empty": lambda _: b"",
    "crossed": lambda sheet: sheet.replace(b"</c>", b"</d>", 1),
    "attribute": lambda sheet: sheet.replace(b"activeCell", b"actveiCell"),
    "row number": lambda sheet: sheet.replace(b'<row r="2"', b'<row r="x"'),
    "cell name": lambda sheet: sheet.replace(b'r="A2"', b'r="I,2"'),
}


@pytest.mark.parametrize("name", DAMAGE)
def test_a_damaged_sheet_is_refused_in_words(taken, name):
    with pytest.raises(BookError, match="save it again, or as CSV"):
        taken(DAMAGE[name])


def test_a_workbook_that_unpacks_to_far_more_than_it_is_is_refused_unread(store, tmp_path):
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(SHEET_PART, bytes(128 * 2**20))
    (tmp_path / "bomb.xlsx").write_bytes(file.getvalue())
    with pytest.raises(BookError, match="unpacks to more than"):
        store.import_file(tmp_path / "bomb.xlsx")
