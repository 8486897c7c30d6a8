"""The Photo page: several photos averaged, a customer's sample taken, the way it is read."""

import re
from pathlib import Path

import pytest

from dyebook import measure
from dyebook.book.setups import list_setups
from dyebook.book.store import open_book
from dyebook.jobs import orders
from tests.screens.words_on import texts_of

SAMPLES = Path(__file__).parents[2] / "samples"
TAGS = SAMPLES / "tags_one_streaked.jpg"


def _files(*names):
    return [(name, content, "image/jpeg") for name, content in names]


@pytest.fixture
def twins():
    """One photo twice over, as two files: bytes after a JPEG's end mark change nothing but its hash."""
    content = TAGS.read_bytes()
    return _files(("first.jpg", content), ("second.jpg", content + b"\0"))


def _fill(page):
    page.selectbox(key="dye").set_value("Ember").run()
    page.button(key="as_last").click().run()


def test_several_photos_of_one_batch_are_averaged(begun_book, open_page, twins):
    page = open_page("photo")
    page.file_uploader(key="photo_file_0").upload(*twins[0]).run()
    page.file_uploader(key="more_files_1").upload(*twins[1]).run()
    assert not page.exception
    assert "Mean of 2 photos" in texts_of(page)
    assert "no photo is further from it than ΔE00 0.0" in texts_of(page)
    page.radio(key="kept_part").set_value("part 2").run()
    _fill(page)
    page.button(key="save").click().run()
    assert not page.exception
    with open_book(begun_book) as book:
        readings = book.rows("readings", batch_id=2)
        assert len(book.rows("photos", batch_id=2)) == 2
    # the second is in view and was said to be part 2; the first kept what it had
    assert [reading["part_index"] for reading in readings] == [0, 1]


def test_a_photo_can_be_taken_off_the_roll(begun_book, open_page, twins):
    page = open_page("photo")
    page.file_uploader(key="photo_file_0").upload(*twins[0]).run()
    page.file_uploader(key="more_files_1").upload(*twins[1]).run()
    page.button(key="take_away").click().run()
    assert "first.jpg" in texts_of(page)
    assert "Mean of" not in texts_of(page)


def test_a_file_that_is_no_photo_goes_and_the_others_stay(begun_book, open_page, twins):
    page = open_page("photo")
    page.file_uploader(key="photo_file_0").upload(*twins[0]).run()
    page.file_uploader(key="more_files_1").upload("letter.jpg", b"Dear sir, this is no photo.", "image/jpeg").run()
    assert page.error
    page.run()
    assert not page.error
    assert "first.jpg" in texts_of(page)


def test_a_customers_piece_becomes_the_shade_of_its_order(empty_book, open_page):
    with open_book(empty_book) as book:
        number = orders.take_order(book, "Lamp knobs")
    page = open_page("orders", order=str(number))
    page.button(key="photograph_sample").click().run()
    page.file_uploader(key="photo_file_0").upload(TAGS.name, TAGS.read_bytes(), "image/jpeg").run()
    assert page.radio(key="keep_as").value == "A customer's sample"
    page.radio(key="kept_part").set_value("part 2").run()
    page.text_input(key="sample_tolerance_de00").set_value("1.5").run()
    page.button(key="keep_sample").click().run()
    assert not page.exception
    assert page.title[0].value == "Lamp knobs"
    with open_book(empty_book) as book:
        target = orders.target_of(book, number)
        (reading,) = book.rows("readings", sample_id=target["sample_id"])
    assert (target["tolerance_de00"], reading["part_index"]) == (1.5, 1)


def test_a_batch_for_an_order_is_judged_as_soon_as_it_is_kept(begun_book, open_page):
    with open_book(begun_book) as book:
        number = orders.take_order(book, "Lamp knobs")
        orders.set_target(book, number, (10, 0, 0), 2.0)
    page = open_page("photo")
    page.file_uploader(key="photo_file_0").upload(TAGS.name, TAGS.read_bytes(), "image/jpeg").run()
    _fill(page)
    page.selectbox(key="for_order").set_value(number)
    page.button(key="save").click().run()
    assert not page.exception
    assert "<p>Off.</p>" in texts_of(page)
    assert {button.key for button in page.button} >= {"redip_2", "to_redip", "next_photo"}


def test_a_length_that_makes_no_sense_is_said_at_its_field(begun_book, open_page):
    page = open_page("photo")
    page.file_uploader(key="photo_file_0").upload(TAGS.name, TAGS.read_bytes(), "image/jpeg").run()
    page.text_input(key="mat_line_mm").set_value("9 ft").run()
    assert not page.error
    assert "the line is between 80 and 120 mm" in texts_of(page)


def test_photos_and_words_outlive_a_restart(begun_book, open_page, twins):
    from dyebook.screens import drafts

    page = open_page("photo")
    page.file_uploader(key="photo_file_0").upload(*twins[0]).run()
    page.text_input(key="film_um").set_value("0.5 mil").run()
    name = page.query_params["draft"]
    drafts._all_drafts.clear()
    again = open_page("photo", draft=name[0] if isinstance(name, list) else name)
    assert "first.jpg" in texts_of(again)
    assert again.text_input(key="film_um").value == "0.5 mil"


def test_sample_and_part_in_one_photo_are_judged_and_the_pair_goes_to_trouble(begun_book, open_page):
    page = open_page("photo")
    page.file_uploader(key="photo_file_0").upload(TAGS.name, TAGS.read_bytes(), "image/jpeg").run()
    page.selectbox(key="sample_part").set_value("part 1").run()
    assert not page.exception
    said = re.search(r"Part 2 against the sample: (matches|off|cannot tell)\.", texts_of(page))
    assert said
    assert "sample and part in one photo" in texts_of(page).lower()
    name = page.query_params["draft"]
    trouble = open_page("trouble", draft=name[0] if isinstance(name, list) else name)
    trouble.segmented_control(key="bench_trouble_way").set_value("pair").run()
    assert not trouble.exception
    assert said[1] in trouble.subheader[0].value.lower()


def test_a_set_up_is_named_at_one_tap_and_known_again(begun_book, open_page, twins):
    page = open_page("photo")
    page.file_uploader(key="photo_file_0").upload(*twins[0]).run()
    labels = [fold.label for fold in page.expander]
    assert "Set-up: new, not seen before" in labels
    page.text_input(key="setup_name").set_value("window bench").run()
    page.button(key="name_setup").click().run()
    assert not page.exception
    _fill(page)
    page.button(key="save").click().run()
    page.button(key="next_photo").click().run()
    page.file_uploader(key="photo_file_2").upload(*twins[1]).run()
    assert "Set-up: window bench" in [fold.label for fold in page.expander]
    with open_book(begun_book) as book:
        assert [one.name for one in list_setups(book)] == ["window bench"]


def test_the_same_file_counts_once(begun_book, open_page, twins):
    page = open_page("photo")
    page.file_uploader(key="photo_file_0").upload(*twins[0]).run()
    page.file_uploader(key="more_files_1").upload(*twins[0]).run()
    assert "counts once" in page.toast[0].value
    assert "Mean of" not in texts_of(page)


def test_a_sample_read_too_loosely_is_said_on_its_order(empty_book, open_page):
    with open_book(empty_book) as book:
        number = orders.take_order(book, "Lamp knobs")
        orders.keep_order_sample(book, number, measure(TAGS, flaws=False), 0, TAGS, 0.3, "blasted")
    page = open_page("orders", order=str(number))
    assert "The sample was read too loosely for 0.3" in texts_of(page)
    with open_book(empty_book) as book:
        assert book.rows("readings")[0]["finish"] == "blasted"
        orders.set_target(book, number, (40, 0, 0), 2.0)
    assert "too loosely" not in texts_of(open_page("orders", order=str(number)))


def test_one_of_the_parts_is_the_bare_twin_and_its_colour_stays_with_the_set_up(begun_book, open_page):
    page = open_page("photo")
    page.file_uploader(key="photo_file_0").upload(TAGS.name, TAGS.read_bytes(), "image/jpeg").run()
    assert "Part 2" in texts_of(page)
    page.button(key="twin_is_2").click().run()
    assert not page.exception
    assert "Part 2" not in texts_of(page)
    assert "Read in the light of the bare twin, its own colour taken as usual" in [fold.label for fold in page.expander]
    usual = texts_of(page)
    page.text_input(key="twin_lab").set_value("74, 0, -1").run()
    page.button(key="keep_twin").click().run()
    assert not page.exception
    assert "Read in the light of the bare twin" in [fold.label for fold in page.expander]
    assert re.search(r"L\* ([\d.]+)", texts_of(page))[1] != re.search(r"L\* ([\d.]+)", usual)[1]
    with open_book(begun_book) as book:
        (row,) = book.rows("setups")
        assert row["twin_lab"] == [74, 0, -1]
    page.button(key="no_twin").click().run()
    assert "Part 2" in texts_of(page)
