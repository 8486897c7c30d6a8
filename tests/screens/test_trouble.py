"""The trouble page: the demo shop's fading bath, its foul one and its lost contact are found; every way opens."""

import re

import pytest

from dyebook.screens.trouble import WAYS
from tests.screens.words_on import texts_of

FADED, FOUL, LOST_CONTACT = 82, 63, 52


def _turn(page, way):
    return page.segmented_control(key="bench_trouble_way").set_value(way).run()


def _choose(page, number):
    return page.selectbox(key="bench_trouble_batch").set_value(number).run()


def _likeliest(page):
    return re.search(r"<h4>(.*?)</h4>", texts_of(page))[1]


@pytest.mark.parametrize("way", WAYS)
def test_every_way_opens_on_an_empty_book(empty_book, open_page, way):
    page = _turn(open_page("trouble"), way)
    assert not page.exception
    assert not page.error


@pytest.mark.parametrize("way", WAYS)
def test_every_way_opens_on_the_demo(demo_shop, open_page, way):
    page = _turn(open_page("trouble"), way)
    assert not page.exception
    assert not page.error


@pytest.mark.parametrize(
    ("number", "cause"),
    [
        (FADED, "Weak or spent dye bath"),
        (FOUL, "Dirt or another dye in the bath"),
        (LOST_CONTACT, "Contact lost in the run"),
    ],
)
def test_the_demo_shop_s_troubles_are_found(demo_shop, open_page, number, cause):
    page = _choose(open_page("trouble"), number)
    assert not page.exception
    assert _likeliest(page) == cause
    text = texts_of(page)
    assert "What to do" in text
    assert "data sheet" in text
    assert re.search(r"about \d in 10<|nearly certain<", text)
    assert text.count("General information, not a procedure") == 1


def test_an_answer_changes_the_causes_at_once_and_stays(demo_shop, open_page):
    page = _choose(open_page("trouble"), FADED)
    before = texts_of(page)
    asked = [control for control in page.segmented_control if control.key.startswith(f"trouble_{FADED}_")]
    assert len(asked) == 1
    asked[0].set_value("yes").run()
    assert not page.exception
    assert texts_of(page) != before
    still = open_page("trouble", draft=page.session_state["draft"])
    assert still.segmented_control(key=asked[0].key).value == "yes"


def test_a_batch_of_an_order_is_judged_by_its_tolerance(demo_shop, open_page):
    page = _choose(open_page("trouble"), LOST_CONTACT)
    text = texts_of(page)
    assert "you allow 3" in text
    assert re.search("Off|Cannot tell", text)


def test_a_fading_bath_is_told_since_when_and_what_to_add(demo_shop, open_page):
    page = _turn(open_page("trouble"), "drift")
    page.selectbox(key="bench_trouble_bath").set_value("Ember, bath E1").run()
    text = texts_of(page)
    assert not page.exception
    assert re.search(r"Fading since \d+ \w{3} \d{4}: about \d+ % below make-up, top up \d+\.\d g", text)
    assert len(page.get("plotly_chart")) == 5, "the bath's own, and the check coupon's"
    assert "Steady over" in text, "the check coupon clears the camera"
    assert "only it tells a drifting camera" not in text


def test_a_foul_bath_is_not_topped_up(demo_shop, open_page):
    page = _turn(open_page("trouble"), "drift")
    page.selectbox(key="bench_trouble_bath").set_value("Heather, bath H1, taken out of use").run()
    text = texts_of(page)
    assert "look for dirt or another dye" in text
    assert "top up" not in text.replace("before topping up", "")


def test_the_batch_page_leads_here(demo_shop, open_page):
    page = open_page("book", batch=str(FOUL))
    page.button(key="to_trouble").click().run()
    assert not page.exception
