"""The shade page: every way in, with an empty and a full book; driven by widget key."""

import re
from pathlib import Path

import pytest

from dyebook.book.store import open_book
from dyebook.record import DyeRecord
from dyebook.screens.shade.page import WAYS
from tests.screens.words_on import texts_of

SAMPLE = Path(__file__).parents[2] / "samples" / "tags_one_streaked.jpg"


def _typed(page, text, **boxes):
    page.text_input(key="bench_shade_typed").set_value(text).run()
    for name, value in boxes.items():
        page.text_input(key=f"bench_shade_{name}").set_value(value)
    return page.run() if boxes else page


def _turn(page, way):
    return page.segmented_control(key="bench_shade_way").set_value(way).run()


def test_an_empty_book_says_how_to_begin(empty_book, open_page):
    page = open_page("shade")
    assert "Three to six dips" in texts_of(page)
    _typed(page, "35, 10, -42")
    assert "photograph three to six dips" in page.error[0].value
    _turn(page, "coupon")
    assert not page.exception
    assert not page.error
    assert "the pale end" in texts_of(page), "a plan of three coupons for a new dye"


@pytest.mark.parametrize("way", WAYS)
def test_every_way_opens_on_the_demo(demo_shop, open_page, way):
    page = _turn(_typed(open_page("shade"), "35, 10, -42"), way)
    assert not page.exception
    assert not page.error


def test_a_blue_goes_to_the_blue_bath_first(demo_shop, open_page):
    # the demo's own customer's shade, dyed there many times in Harbour blue
    page = open_page("shade")
    page.segmented_control(key="bench_shade_from").set_value("Customer's").run()
    page.selectbox(key="bench_shade_kept").set_value("Paddle ferrules, as the sample").run()
    text = texts_of(page)
    assert "1. Harbour blue, bath B1" in text
    assert "bath H1" not in text, "a bath taken out of use cannot be dipped in"
    for words in ("Expect ", "nine times in ten below", "From daylight to lamp light", "Nearest at", "10 s more"):
        assert words in text


def test_a_bath_at_its_temperature_and_strength_is_taken_as_it_is(demo_shop, open_page):
    page = open_page("shade")
    page.selectbox(key="bench_shade_bath").set_value("Harbour blue, bath B1").run()
    _typed(page, "35, 12, -50", film_um="0.5 mil", bath_temp_c="113 °F", dye_g_per_l="4")
    text = texts_of(page)
    for figure in ("45 °C", "4 g/L", "12.7 µm"):
        assert figure in text
    page.button(key="dye_with").click().run()
    assert not page.exception
    assert "**Waits here**, for Target 35, 12, -50: Harbour blue, bath B1: 45 °C" in texts_of(page)


def test_what_shade_says_waits_at_every_step_of_the_bench(demo_shop, open_page):
    page = open_page("shade")
    page.selectbox(key="bench_shade_bath").set_value("Harbour blue, bath B1").run()
    _typed(page, "35, 12, -50", film_um="12", bath_temp_c="45", dye_g_per_l="4")
    page.button(key="dye_with").click().run()
    bench = open_page("bench", draft=page.session_state["draft"], step="plan")
    assert bench.text_input(key="bench_film_um").value == "12.0 µm"
    bench.segmented_control(key="bench_step").set_value("dye").run()
    assert not bench.exception


@pytest.mark.parametrize(
    ("typed", "seen"),
    [("#1f4e8c", "blue"), ("5R 4/12", "red"), ("N5", "grey"), ("batch 2", "blue"), ("38, 40, 30", "red")],
)
def test_a_shade_is_typed_in_any_of_its_ways(demo_shop, open_page, typed, seen):
    page = _typed(open_page("shade"), typed)
    assert not page.exception
    assert not page.error
    assert f"<strong>Target {typed}</strong>" in texts_of(page)
    answer = texts_of(page).split(f"<strong>Target {typed}</strong>")[1][:60]
    assert seen in answer


@pytest.mark.parametrize("typed", ["5R 4/60", "teal", "35, 10", "batch 9999", "12R 4/4"])
def test_no_colour_is_refused_in_words(demo_shop, open_page, typed):
    page = _typed(open_page("shade"), typed)
    assert not page.exception
    assert len(page.error) == 1


def _redip(page, **states):
    page.segmented_control(key="bench_shade_part").set_value("A reading").run()
    boxes = {"reading": "50, 3, -40", "dye_g_per_l": "4", "bath_temp_c": "55", "dwell_min": "2:30"}
    for name, value in boxes.items():
        page.text_input(key=f"bench_shade_redip_{name}").set_value(value)
    for name, value in states.items():
        page.segmented_control(key=f"bench_shade_{name}").set_value(value)
    return page.run()


def test_a_pale_part_goes_back_only_while_wet_and_open(demo_shop, open_page):
    page = open_page("shade")
    page.selectbox(key="bench_shade_bath").set_value("Harbour blue, bath B1").run()
    page = _redip(_turn(_typed(page, "30, 16, -52"), "redip"))
    assert "Say more about the part first." in texts_of(page)
    page = _redip(page, dry="wet all the time", sealed="not sealed")
    assert "more in the same bath." in texts_of(page)
    assert "Keep the part wet" in texts_of(page)
    page = _redip(page, dry="dry at some time")
    assert "dip one minute and look" in texts_of(page)
    page = _redip(page, sealed="sealed")
    assert "a sealed film takes no more dye" in texts_of(page)
    assert "gives off hydrogen" in texts_of(page)


def test_a_stored_batch_that_is_too_dark_is_not_dyed_further(demo_shop, open_page):
    page = _turn(_typed(open_page("shade"), "75, 0, -15"), "redip")
    page.text_input(key="bench_shade_redip_batch").set_value("2").run()
    assert "The book has it sealed." in texts_of(page)
    for name, value in {"dry": "wet all the time", "sealed": "not sealed"}.items():
        page.segmented_control(key=f"bench_shade_{name}").set_value(value)
    assert "no further dyeing lightens a shade" in texts_of(page.run())


def test_the_last_photo_is_a_target(demo_shop, open_page):
    page = open_page("shade")
    page.segmented_control(key="bench_shade_from").set_value("Photo").run()
    assert "No photo was read yet" in texts_of(page)


def test_a_part_just_photographed_is_a_target(demo_shop, open_page):
    photo = open_page("photo")
    photo.file_uploader(key="photo_file_0").upload(SAMPLE.name, SAMPLE.read_bytes(), "image/jpeg").run()
    assert not photo.exception
    page = open_page("shade", draft=photo.session_state["draft"])
    page.segmented_control(key="bench_shade_from").set_value("Photo").run()
    assert f"<strong>From {SAMPLE.name}</strong>" in texts_of(page)
    assert page.selectbox(key="bench_shade_photo_part").options[0] == "part 1"
    assert not page.exception


def test_two_dyes_are_tried_where_no_bath_goes(demo_shop, open_page):
    # between the invented shop's blue and green
    page = _typed(open_page("shade"), "40, -20, -14")
    assert "This bath cannot reach it" in texts_of(page)
    page.toggle(key="shade_two_dyes").set_value(True).run()
    assert re.search("a coupon of both settles it|Two dyes of these baths come no nearer", texts_of(page))
    assert not page.exception


def test_a_paper_sample_is_warned_about(demo_shop, open_page):
    page = open_page("shade")
    page.selectbox(key="bench_shade_sample_kind").set_value("paper").run()
    assert "The sample is paper" in texts_of(page)


def test_a_book_that_has_changed_is_asked_anew(empty_book, open_page):
    page = open_page("shade")
    assert "Ember, bath E1" not in page.selectbox(key="bench_shade_bath").options
    with open_book(empty_book) as book:
        number = book.add_batch(DyeRecord("Ember", bath="E1", film_um=12, dye_g_per_l=3, bath_temp_c=50, dwell_min=6))
        book.add_reading(number, lab=(40, 40, 40))
    assert "Ember, bath E1" in page.run().selectbox(key="bench_shade_bath").options
    with open_book(empty_book) as book:
        book.delete("batches", number)
    assert "Ember, bath E1" not in page.run().selectbox(key="bench_shade_bath").options


def test_a_bath_is_taken_as_strong_as_it_is_today_unless_it_may_be_changed(demo_shop, open_page):
    page = open_page("shade")
    page.selectbox(key="bench_shade_bath").set_value("Harbour blue, bath B1").run()
    _typed(page, "35, 12, -50")
    now = page.text_input(key="bench_shade_dye_g_per_l").placeholder
    assert now.endswith(", as it is")
    assert f"The bath as it is: {now.removesuffix(', as it is')} g/L, 55 °C" in texts_of(page), (
        "its last dip was at 54.8 °C"
    )
    page.toggle(key="shade_free").set_value(True).run()
    assert "The bath as it is" not in texts_of(page)
    assert not page.exception


def test_a_part_that_its_own_bath_cannot_help_goes_to_another(demo_shop, open_page):
    """A pale orange that should be a dull brown-violet: more of another dye, not more of its own."""
    page = open_page("shade")
    page.selectbox(key="bench_shade_bath").set_value("Ember, bath E1").run()
    page = _turn(_typed(page, "45, 18, -6"), "redip")
    page.segmented_control(key="bench_shade_part").set_value("A reading").run()
    boxes = {"reading": "76, 16, 14", "dye_g_per_l": "3", "bath_temp_c": "50", "dwell_min": "0:30"}
    for name, value in boxes.items():
        page.text_input(key=f"bench_shade_redip_{name}").set_value(value)
    for name, value in {"dry": "wet all the time", "sealed": "not sealed"}.items():
        page.segmented_control(key=f"bench_shade_{name}").set_value(value)
    text = texts_of(page.run())
    assert "Heather, bath H2 next:" in text
    assert "After Heather, bath H2" in text
    assert "rinse it well between the baths" in text


def test_a_strip_is_kept_band_by_band(empty_book, open_page):
    page = _turn(_typed(open_page("shade"), "35, 10, -42"), "coupon")
    page.button(key="save_strip").click().run()
    assert "Not saved yet" in page.error[0].value
    boxes = {
        "dye": "Ember",
        "bath": "E1",
        "film_um": "12",
        "dye_g_per_l": "3",
        "bath_temp_c": "50",
        "dwells": "8 4 2 1",
    }
    for name, value in boxes.items():
        page.text_input(key=f"bench_shade_strip_{name}").set_value(value)
    page.run()
    page.button(key="save_strip").click().run()
    assert not page.exception
    assert "safely on disk" in page.success[0].value
    with open_book(empty_book) as book:
        assert [row.dwell_min for row in book.batches()] == [1, 2, 4, 8]
        assert len({row["run_id"] for row in book.rows("batches")}) == 1
