"""Every page opens, empty and full, and does its work; driven by widget key."""

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from dyebook.book.store import open_book
from dyebook.screens import session
from dyebook.screens.router import MORE_PAGES, PAGES
from tests.screens.words_on import texts_of

SAMPLE = Path(__file__).parents[2] / "samples" / "tags_one_streaked.jpg"
SETTINGS = {
    "film_um": "0.5 mil",
    "dye_g_per_l": "3",
    "bath_temp_c": "104 °F",
    "dwell_min": "5:30",
    "ph": "5,5",
    "note": "first of the day",
}


def _fill(page, **values):
    page.selectbox(key="dye").set_value("Ember").run()
    page.selectbox(key="bath").set_value("E1")
    for name, text in {**SETTINGS, **values}.items():
        box = page.text_area if name == "note" else page.text_input
        box(key=name).set_value(text)
    return page


@pytest.mark.parametrize("name", [page[0] for page in (*PAGES, *MORE_PAGES)])
@pytest.mark.parametrize("book", ["empty_book", "demo_shop", "big_shop"])
def test_every_page_opens(request, open_page, name, book):
    request.getfixturevalue(book)
    page = open_page(name)
    assert not page.exception
    assert not page.error


def test_the_shim_opens_the_app(empty_book):
    page = AppTest.from_file(Path(__file__).parents[2] / "app.py", default_timeout=60).run()
    assert not page.exception
    assert "An empty book" in texts_of(page)


def test_a_bath_that_is_gone_from_the_bench_is_said(begun_book, open_page):
    page = open_page("baths", bath="99")
    assert "Bath 99 is not on the bench" in page.warning[0].value


def test_notes_that_cannot_be_read_say_how_to_write_them(begun_book, open_page):
    page = open_page("log")
    page.segmented_control(key="bench_log_way").set_value("Hand notes").run()
    page.text_area(key="bench_log_notes").set_value("some amps").run()
    assert not page.exception
    assert "cannot be read; write such as" in page.error[0].value


def test_what_is_wrong_with_a_dip_is_said_at_its_field_and_stops_the_saving(begun_book, open_page):
    page = open_page("photo")
    page.toggle(key="without_photo").set_value(True).run()
    _fill(page, dyed_at="31.2.2026", dwell_min="5:99", bath_temp_c="300").run()
    text = texts_of(page)
    assert "Dyed at is '31.2.2026', which is no day" in text
    assert "Time in dye: '5:99' has 99 seconds" in text
    assert "Bath temperature is 300 °C" in text
    page.button(key="save").click().run()
    for name in ("Bath temperature", "Time in dye", "Dyed at"):
        assert name in page.error[0].value.partition("first put right: ")[2]
    with open_book(begun_book) as book:
        assert len(book.batches()) == 1


def test_the_first_start_offers_three_ways_in(empty_book, open_page):
    page = open_page("today")
    assert {button.key for button in page.button} == {"to_photo", "to_bath", "to_demo"}


def test_today_tells_what_the_demo_bench_wants(demo_shop, open_page):
    text = texts_of(open_page("today"))
    assert "**Batch 86** has no reading yet" in text
    assert "Ember, bath E1" in text
    assert "bath H1" not in text, "a bath taken out of use is not on the bench"


def test_a_batch_without_photo_goes_in_with_units_converted(begun_book, open_page):
    page = open_page("photo")
    page.toggle(key="without_photo").set_value(True).run()
    _fill(page)
    page.button(key="save").click().run()
    assert not page.exception
    with open_book(begun_book) as book:
        row = book.batches()[0]
    assert (row.dye, row.bath, row.film_um, row.bath_temp_c, row.dwell_min, row.ph) == (
        "Ember",
        "E1",
        12.7,
        40,
        5.5,
        5.5,
    )
    assert row.note == "first of the day"
    assert row.dyed_at


def test_a_mistake_in_one_field_loses_no_other(begun_book, open_page):
    page = open_page("photo")
    page.toggle(key="without_photo").set_value(True).run()
    _fill(page, bath_temp_c="140")
    page.button(key="save").click().run()
    assert "ath temperature is 140 °C; it must lie between 0 and 100 °C" in texts_of(page)
    assert page.text_input(key="film_um").value == "0.5 mil"
    page.text_input(key="bath_temp_c").set_value("40")
    page.button(key="save").click().run()
    with open_book(begun_book) as book:
        assert len(book.batches()) == 2


def test_an_odd_batch_is_asked_about_before_it_is_kept(begun_book, open_page):
    page = open_page("photo")
    page.toggle(key="without_photo").set_value(True).run()
    _fill(page, dwell_min="600").run()
    assert "600 min is far above" in texts_of(page)
    assert page.button(key="save").disabled
    next(one for one in page.toggle if one.label == "It is so").set_value(True).run()
    page.button(key="save").click().run()
    assert not page.exception
    with open_book(begun_book) as book:
        assert "600 min is far above" in book.batches()[0].note


def test_settings_are_taken_over_from_the_last_batch_of_a_dye(begun_book, open_page):
    page = open_page("photo")
    page.toggle(key="without_photo").set_value(True).run()
    page.selectbox(key="dye").set_value("Ember").run()
    page.button(key="as_last").click().run()
    assert page.text_input(key="film_um").value == "12 µm"
    assert page.text_input(key="dwell_min").value == "6 min"
    assert page.selectbox(key="bath").value == "E1"
    page.button(key="save").click().run()
    with open_book(begun_book) as book:
        assert book.batches()[0].bath_temp_c == 50


def test_what_was_typed_outlives_a_turn_to_another_page_and_a_reload(empty_book, open_page):
    page = open_page("photo")
    page.toggle(key="without_photo").set_value(True).run()
    page.text_input(key="film_um").set_value("12").run()
    name = page.query_params["draft"]
    again = open_page("photo", draft=name[0] if isinstance(name, list) else name)
    assert again.text_input(key="film_um").value == "12"


def test_an_address_that_was_copied_opens_nobodys_draft(empty_book, open_page, monkeypatch):
    monkeypatch.setattr(session, "whose_draft", lambda: "phone a")
    page = open_page("photo")
    page.toggle(key="without_photo").set_value(True).run()
    page.text_input(key="film_um").set_value("12").run()
    name = page.query_params["draft"]
    name = name[0] if isinstance(name, list) else name
    assert open_page("photo", draft=name).text_input(key="film_um").value == "12"
    for other in ("phone b", "shared mara@shop.example", ""):
        monkeypatch.setattr(session, "whose_draft", lambda other=other: other)
        page = open_page("photo", draft=name)
        page.toggle(key="without_photo").set_value(True).run()
        assert page.text_input(key="film_um").value == ""


def test_a_photo_is_read_kept_and_found_again(begun_book, open_page):
    page = open_page("photo")
    page.file_uploader(key="photo_file_0").upload(SAMPLE.name, SAMPLE.read_bytes(), "image/jpeg").run()
    assert not page.exception
    assert "part 2" in page.radio(key="kept_part").options
    _fill(page)
    page.radio(key="kept_part").set_value("part 2")
    page.selectbox(key="sample_part").set_value("part 1").run()
    assert "Part 2 against the sample: " in texts_of(page)
    page.button(key="save").click().run()
    assert "Batch 2 is in the book" in texts_of(page)
    with open_book(begun_book) as book:
        row = book.batches()[0]
        reading = book.rows("readings", batch_id=2)[0]
        assert book.photo_bytes(row.photo) == SAMPLE.read_bytes()
        sample = book.rows("samples")[0]
        of_sample = book.rows("readings", sample_id=sample["id"])[0]
    assert row.lab is not None
    assert (reading["part_index"], of_sample["part_index"]) == (1, 0)
    assert of_sample["photo_id"] == reading["photo_id"]


def test_typed_corners_measure_again(empty_book, open_page):
    page = open_page("photo")
    page.file_uploader(key="photo_file_0").upload(SAMPLE.name, SAMPLE.read_bytes(), "image/jpeg").run()
    page.segmented_control(key="picture_way_1").set_value("Tap part").run()
    page.text_input(key="part_corners").set_value("100,100 300,100 300,300 100,300")
    page.button(key="part_corners_send").click().run()
    assert not page.exception
    assert page.button(key="part_undo")
    assert not any(radio.key == "kept_part" for radio in page.radio), "one drawn part leaves no choice"
    page.button(key="part_undo").click().run()
    assert "part 2" in page.radio(key="kept_part").options


def test_a_file_that_is_no_photo_is_refused_in_words(empty_book, open_page):
    page = open_page("photo")
    page.file_uploader(key="photo_file_0").upload("notes.jpg", b"not a photo at all", "image/jpeg").run()
    assert not page.exception
    assert len(page.error) == 1


def test_the_book_finds_by_colour_and_by_words(demo_shop, open_page):
    page = open_page("book")
    page.text_input(key="find_colour").set_value("batch 85").run()
    assert "nearest first" in texts_of(page)
    page.text_input(key="find_colour").set_value("no colour").run()
    assert "is no colour; write L, a, b" in texts_of(page)
    page.text_input(key="find_colour").set_value("")
    page.text_input(key="find_text").set_value("lost contact").run()
    assert "1 batch," in texts_of(page)


def test_a_batch_is_corrected_deleted_and_brought_back(begun_book, open_page):
    page = open_page("book", batch="1")
    assert "Batch 1" in texts_of(page)
    page.selectbox(key="correct_name").set_value("film").run()
    page.text_input(key="correct_film_um").set_value("10")
    page.button(key="correct_send_film_um").click().run()
    assert "film 12 µm → 10 µm" in texts_of(page)
    page.button(key="delete").click().run()
    assert "marked as deleted" in texts_of(page)
    page.button(key="undelete").click().run()
    with open_book(begun_book) as book:
        assert book.batches()[0].film_um == 10


def test_the_second_editor_of_a_batch_is_told_and_sees_both_values(begun_book, open_page):
    page = open_page("book", batch="1")
    page.selectbox(key="correct_name").set_value("film").run()
    with open_book(begun_book, who="Mara") as book:
        book.correct_batch(1, {"film_um": 15})
    page.text_input(key="correct_film_um").set_value("10")
    page.button(key="correct_send_film_um").click().run()
    told = page.error[0].value
    assert "was changed by another person" in told
    assert "it is 15 µm now, and you wrote 10" in told
    with open_book(begun_book) as book:
        assert book.batch(1).film_um == 15
    page.text_input(key="correct_film_um").set_value("10")
    page.button(key="correct_send_film_um").click().run()
    with open_book(begun_book) as book:
        assert book.batch(1).film_um == 10


def test_a_batch_like_another_is_written_down(begun_book, open_page):
    page = open_page("book", batch="1")
    page.button(key="write_alike").click().run()
    assert not page.exception
    assert page.selectbox(key="dye").value == "Ember"
    assert page.text_input(key="dwell_min").value == "6 min"
    page.button(key="save").click().run()
    with open_book(begun_book) as book:
        assert [row.bath_temp_c for row in book.batches()] == [50, 50]


def test_corrections_are_taken_back_one_by_one(begun_book, open_page):
    with open_book(begun_book) as book:
        book.correct_batch(1, {"film_um": 13.0})
        book.correct_batch(1, {"dwell_min": 7.0})
    page = open_page("book", batch="1")
    page.button(key="undo_correction").click().run()
    with open_book(begun_book) as book:
        assert (book.batch(1).film_um, book.batch(1).dwell_min) == (13, 6)
    page.button(key="undo_correction").click().run()
    assert not page.exception
    with open_book(begun_book) as book:
        assert (book.batch(1).film_um, book.batch(1).dwell_min) == (12, 6)
    assert "undo_correction" not in {button.key for button in page.button}
