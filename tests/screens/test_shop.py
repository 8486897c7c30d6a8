"""What the shop sets once: kept by the shell and the page alike, and nonsense is refused with reasons."""

import json
from dataclasses import replace

import pytest
from typer.testing import CliRunner

from dyebook.book.store import open_book
from dyebook.errors import BookError, PhotoError
from dyebook.jobs.orders import set_target, take_order, target_of
from dyebook.jobs.photo import read_options
from dyebook.record import SHOP_SETTINGS
from dyebook.shell.main import app

# name, what is typed, what is kept
GOOD = [
    ("shop", "Gannet & Sons", "Gannet & Sons"),
    ("card_lab", "48.1, 0.2, -0.4", [48.1, 0.2, -0.4]),
    ("tolerance_de00", "1,5", 1.5),
    ("address", "http://bench.local:8640", "http://bench.local:8640"),
]
BAD = [
    ("shop", "Gannet\nSons", "one line"),
    ("card_lab", "48.1, 0.2", "L*, a*, b* are needed"),
    ("card_lab", "0, 0, 0", "L* above 0"),
    ("card_lab", "grey, 0, 0", "a number"),
    ("tolerance_de00", "0", "above 0"),
    ("tolerance_de00", "51", "at most 50"),
    ("tolerance_de00", "tight", "a number"),
    ("address", "bench", "http://name:8640"),
    ("photos", "shared", "a whole path or a URL"),
    ("photos", "/srv/photos", "only a book on a server"),
]


def _shell(*words, place):
    return CliRunner().invoke(app, ["settings", *words, "--book", str(place)])


@pytest.mark.parametrize(("name", "typed", "kept"), GOOD)
def test_each_setting_is_kept_by_the_shell(empty_book, name, typed, kept):
    run = _shell(name, typed, "--json", place=empty_book)
    assert json.loads(run.stdout) == {name: kept}
    assert json.loads(_shell("--json", place=empty_book).stdout)[name] == kept
    assert json.loads(_shell(name, "", "--json", place=empty_book).stdout) == {name: SHOP_SETTINGS[name].default}


@pytest.mark.parametrize(("name", "typed", "words"), BAD)
def test_the_shell_refuses_what_makes_no_sense(empty_book, name, typed, words):
    error = _shell(name, typed, place=empty_book).exception
    assert words in str(error)
    with open_book(empty_book) as book:
        assert book.setting(name) == SHOP_SETTINGS[name].default


def test_the_shell_names_the_settings_there_are(empty_book):
    assert all(name in _shell(place=empty_book).stdout for name in SHOP_SETTINGS)
    run = _shell("colour", place=empty_book)
    assert (run.exit_code, "card_lab" in run.output) == (2, True)


def test_the_second_editor_of_a_setting_is_told_and_others_stay(empty_book, open_page):
    page = open_page("settings")
    with open_book(empty_book) as book:
        book.set_setting("shop", "Gannet & Sons")
        book.set_setting("tolerance_de00", 1.2)
    page.text_input(key="setting_tolerance_de00").set_value("3")
    page.button(key="keep_settings").click().run()
    assert "was set to 1.2 after you opened it" in page.error[0].value
    with open_book(empty_book) as book:
        assert (book.setting("shop"), book.setting("tolerance_de00")) == ("Gannet & Sons", 1.2)
    page.button(key="keep_settings").click().run()
    with open_book(empty_book) as book:
        assert (book.setting("shop"), book.setting("tolerance_de00")) == ("Gannet & Sons", 3)


@pytest.mark.parametrize(("name", "typed", "kept"), GOOD)
def test_each_setting_is_kept_by_the_page(empty_book, open_page, name, typed, kept):
    page = open_page("settings")
    page.text_input(key=f"setting_{name}").set_value(typed)
    page.button(key="keep_settings").click().run()
    assert (list(page.error), list(page.exception)) == ([], [])
    with open_book(empty_book) as book:
        assert book.setting(name) == kept
    again = open_page("settings")
    shown = again.text_input(key=f"setting_{name}").value
    again.text_input(key=f"setting_{name}").set_value("")
    again.button(key="keep_settings").click().run()
    with open_book(empty_book) as book:
        assert book.setting(name) == SHOP_SETTINGS[name].default
        book.set_setting(name, shown)
        assert book.setting(name) == kept


def test_the_page_refuses_what_makes_no_sense_and_keeps_the_rest(empty_book, open_page):
    page = open_page("settings")
    for name, typed, _ in BAD[1::2]:
        page.text_input(key=f"setting_{name}").set_value(typed)
    page.text_input(key="setting_shop").set_value("Gannet & Sons")
    page.button(key="keep_settings").click().run()
    told = [one.value for one in (*page.caption, *page.error)]
    assert len(told) == 4, "all at once, each at its field"
    with open_book(empty_book) as book:
        assert {name: book.setting(name) for name in SHOP_SETTINGS} == {
            **{name: row.default for name, row in SHOP_SETTINGS.items()},
            "shop": "Gannet & Sons",
        }


def test_photos_may_move_only_where_they_are(begun_book, tmp_path):
    with open_book(begun_book) as book:
        book.add_photo(b"\xff\xd8\xff\xe0 rim", 1)
        here = book.photos.folder
        book.place = replace(book.place, photos=None)  # as of a server, whose stations must be told
        with pytest.raises(BookError, match="1 of the 1 photos are not in"):
            book.set_setting("photos", str(tmp_path / "elsewhere"))
        book.set_setting("photos", str(here))
        assert str(book.photos) == str(here)


def test_settings_are_what_readers_go_by(empty_book):
    with open_book(empty_book) as book:
        assert (read_options(book).card_lab, read_options(None).card_lab) == (None, None)
        book.set_setting("card_lab", (48, 0, 1))
        book.set_setting("tolerance_de00", 1.2)
        assert read_options(book).card_lab == (48, 0, 1)
        assert read_options(book, card_lab=(50, 0, 0)).card_lab == (50, 0, 0)
        order = take_order(book, "Lamp knobs")
        set_target(book, order, (40, 10, -30))
        assert target_of(book, order)["tolerance_de00"] == 1.2
    run = CliRunner().invoke(
        app, ["verdict", "--target", "45,20,-35", "--reading", "46,20,-35", "--book", str(empty_book), "--json"]
    )
    assert json.loads(run.stdout)["tolerance"] == 1.2


def test_a_photo_is_measured_by_the_books_card_and_begins_no_book(empty_book, tmp_path, monkeypatch):
    def look(photo, options):
        raise PhotoError(str(options.card_lab))

    monkeypatch.setattr("dyebook.jobs.photo.look", look)
    with open_book(empty_book) as book:
        book.set_setting("card_lab", (48, 0, 1))
    for place, card in ((empty_book, "(48.0, 0.0, 1.0)"), (tmp_path / "none", "None")):
        run = CliRunner().invoke(app, ["measure", "x.jpg", "--book", str(place)])
        assert str(run.exception) == card
        run = CliRunner().invoke(app, ["measure", "x.jpg", "--card-lab", "50,0,0", "--book", str(place)])
        assert str(run.exception) == "(50.0, 0.0, 0.0)"
    assert not (tmp_path / "none").exists()
    (tmp_path / "letter.sqlite").write_bytes(b"Dear sir, this is no book." * 40)
    run = CliRunner().invoke(app, ["measure", "x.jpg", "--book", str(tmp_path / "letter.sqlite")])
    assert "the file is no book" in str(run.exception)
