"""Roles hold below every screen: a reader writes nothing, a maker decides nothing, an owner may do all."""

import json

import pytest
from typer.testing import CliRunner

from dyebook.book.people import Who, people_of, set_person, who_is
from dyebook.errors import BookError, RecordError
from dyebook.jobs import camera, run
from dyebook.lab import Lab
from dyebook.shell.main import app

READER, MAKER, OWNER = (Who(f"{role}@shop.example", role) for role in ("reader", "maker", "owner"))
# everything that changes a book, by the least role that may
WRITES = {
    "maker": [
        lambda book, dip, photo: book.add_batch(dip(), photo),
        lambda book, dip, photo: book.add_reading(1, lab=(50, 0, 0)),
        lambda book, dip, photo: book.add_photo(photo + b"2"),
        lambda book, dip, photo: book.add("dyes", name="Ember"),
        lambda book, dip, photo: book.correct("batches", 1, {"note": "new"}),
        lambda book, dip, photo: book.correct_batch(1, {"ph": 5.1}),
        lambda book, dip, photo: book.undo("batches", 1),
        lambda book, dip, photo: book.set_setting("dye_rules", {}),
        lambda book, dip, photo: run.drop_run(book, book.rows("runs")[0]["id"]),
        lambda book, dip, photo: camera.forget_learned(book, "none"),
        lambda book, dip, photo: camera.keep_learned(book, None),
        lambda book, dip, photo: camera.check_repeats(book, [], camera="none"),
    ],
    "owner": [
        lambda book, dip, photo: book.delete("batches", 1),
        lambda book, dip, photo: book.undelete("batches", 2),
        lambda book, dip, photo: book.undo("batches", 2),
        lambda book, dip, photo: book.restore("shop.zip"),
        lambda book, dip, photo: set_person(book, "me@shop.example", "owner"),
        lambda book, dip, photo: book.set_setting("photos", "elsewhere"),
        lambda book, dip, photo: book.set_setting("address", "http://elsewhere"),
    ],
}


@pytest.fixture
def shop(store, dip, photo, tmp_path, monkeypatch):
    """A book with two batches, of which one is deleted and one corrected."""
    monkeypatch.setenv("DYEBOOK_CAMERAS_DIR", str(tmp_path / "cameras"))
    for _ in range(2):
        store.add_batch(dip((40, 1, 2)), photo)
    store.add("runs", area_dm2=1.0)
    store.correct("batches", 1, {"note": "old"})
    store.delete("batches", 2)
    return store


def _state(book):
    tables = ("batches", "readings", "photos", "dyes", "dips", "runs")
    return book.history(), book.settings(), [book.rows(name) for name in tables], sorted(book.photos.names())


@pytest.mark.parametrize("number", range(len(WRITES["maker"])))
def test_a_reader_writes_nothing(shop, dip, photo, number):
    before = _state(shop)
    with pytest.raises(BookError, match=r"reader@shop.example has the role reader.*makers; ask an owner"):
        WRITES["maker"][number](shop.seen_by(READER), dip, photo)
    assert _state(shop) == before


@pytest.mark.parametrize("who", [READER, MAKER], ids=lambda who: who.role)
@pytest.mark.parametrize("number", range(len(WRITES["owner"])))
def test_only_an_owner_deletes_restores_and_says_who_may_come_in(shop, dip, photo, number, who):
    before = _state(shop)
    with pytest.raises(BookError, match="ask an owner"):
        WRITES["owner"][number](shop.seen_by(who), dip, photo)
    assert _state(shop) == before


@pytest.mark.parametrize("number", range(8))
def test_a_maker_writes_under_his_name(shop, dip, photo, number):
    before = _state(shop)
    WRITES["maker"][number](shop.seen_by(MAKER), dip, photo)
    assert _state(shop) != before
    if shop.history() != before[0]:
        assert shop.history()[-1]["who"] == MAKER.name


def test_an_import_is_a_write_too(shop, tmp_path):
    (tmp_path / "dips.csv").write_text("dye,film_um,dye_g_per_l,bath_temp_c,dwell_min\nEmber,12,3,40,5\n")
    with pytest.raises(BookError, match="ask an owner"):
        shop.seen_by(READER).import_file(tmp_path / "dips.csv")
    assert shop.seen_by(MAKER).import_file(tmp_path / "dips.csv").batches == 1


def test_everybody_looks_and_an_owner_does_all(shop, tmp_path):
    seen = shop.seen_by(READER)
    assert [row.batch for row in seen.batches()] == [1]
    assert seen.find(Lab(40, 1, 2), 5)[0].row.batch == 1
    owner = shop.seen_by(OWNER)
    owner.undelete("batches", 2)
    set_person(owner, "mara@shop.example", "maker")
    owner.back_up(tmp_path / "shop.zip")
    owner.delete("batches", 1)
    assert owner.restore(tmp_path / "shop.zip")["batches"] == 2
    assert who_is(shop, "mara@shop.example").role == "maker"


def test_a_role_that_was_taken_away_counts_at_the_next_write(shop):
    set_person(shop, MAKER.name, "maker")
    seen = shop.seen_by(MAKER, lambda: people_of(shop).get(MAKER.name))
    seen.add("dyes", name="Ember")
    set_person(shop, MAKER.name, None)
    with pytest.raises(BookError, match="role none"):
        seen.add("dyes", name="Heather")


def test_an_unknown_role_may_nothing(shop):
    for role in ("admin", "", None, "Owner"):
        with pytest.raises(BookError, match="ask an owner"):
            shop.seen_by(Who("x", role)).add("dyes", name="Ember")


def test_addresses_are_one_however_they_are_written(shop):
    set_person(shop, " Mara@Shop.Example ", "maker")
    assert people_of(shop) == {"mara@shop.example": "maker"}
    assert who_is(shop, "MARA@shop.example").role == "maker"
    for other in ("mara@shop.example.evil", "mara", "", None, "a@b@shop.example", "other@shop.example"):
        assert who_is(shop, other) is None


def test_no_other_letter_passes_for_one_of_an_address(shop):
    set_person(shop, "kit@strasse.example", "owner")
    # the kelvin sign folds to k, the sharp s to ss, the long s to s
    for other in ("\u212ait@strasse.example", "kit@stra\u00dfe.example", "kit@\u017ftrasse.example"):
        assert who_is(shop, other) is None
    set_person(shop, "\u212ait@strasse.example", "reader")
    assert who_is(shop, "kit@strasse.example").role == "owner"


@pytest.mark.parametrize(
    "email", ["mara", "@shop.example", "mara@", "a b@shop.example", "a@b@c", "x" * 251 + "@a.b", ""]
)
def test_what_is_no_address_is_refused(shop, email):
    with pytest.raises(RecordError, match="no e-mail address"):
        set_person(shop, email, "reader")


def test_the_history_tells_who_let_whom_in(shop):
    set_person(shop.seen_by(OWNER), "mara@shop.example", "reader")
    change = shop.history()[-1]
    assert (change["who"], change["new"]) == (OWNER.name, {"people": {"mara@shop.example": "reader"}})


def test_people_from_the_shell(tmp_path):
    book = str(tmp_path / "shop.dyebook")

    def answer(*words):
        return CliRunner().invoke(app, ["people", *words, "--book", book, "--json"])

    assert json.loads(answer("set", "Mara@shop.example", "maker").stdout) == {
        "email": "mara@shop.example",
        "role": "maker",
    }
    assert json.loads(answer("list").stdout) == {"mara@shop.example": "maker"}
    assert isinstance(answer("set", "mara@shop.example", "king").exception, RecordError)
    assert json.loads(answer("remove", "mara@shop.example").stdout)["role"] is None
    assert isinstance(answer("remove", "mara@shop.example").exception, BookError)
    assert json.loads(answer("list").stdout) == {}
