"""Orders and baths on their pages, driven by widget key."""

import re

import pytest

from dyebook.book.store import open_book
from dyebook.jobs import orders
from dyebook.record import DyeRecord
from tests.screens.words_on import texts_of


@pytest.fixture
def shop(empty_book):
    """A book with one order, its shade, and two batches."""
    with open_book(empty_book) as book:
        number = orders.take_order(book, "Lamp knobs", "a lamp maker")
        orders.set_target(book, number, (40, 40, 44), 2.0)
        for lab in ((40.2, 40, 44), (55, 40, 44)):
            batch = book.add_batch(DyeRecord("Ember", 12, 3, 50, 6, bath="E1"))
            book.add_reading(batch, lab=lab, L_sd=0.3, a_sd=0.3, b_sd=0.3)
    return empty_book


def test_an_order_is_taken_and_its_shade_agreed(empty_book, open_page):
    page = open_page("orders")
    page.button(key="take_order").click().run()
    assert "The order has no name" in texts_of(page)
    page.text_input(key="order_name").set_value("Tool grips")
    page.text_input(key="order_customer").set_value("a bicycle workshop")
    page.toggle(key="order_skin_contact").set_value(True)
    page.button(key="take_order").click().run()
    assert not page.exception
    assert page.title[0].value == "Tool grips"
    assert "Keep nickel out of the seal" in texts_of(page)
    page.text_input(key="order_1_colour").set_value("50, 25, -20")
    page.text_input(key="order_1_tolerance_de00").set_value("0").run()
    assert page.button(key="agree").disabled
    page.text_input(key="order_1_tolerance_de00").set_value("1,5").run()
    page.button(key="agree").click().run()
    with open_book(empty_book) as book:
        target = orders.target_of(book, 1)
    assert (target["L"], target["a"], target["b"], target["tolerance_de00"]) == (50, 25, -20, 1.5)
    assert not page.exception


def test_a_batch_answers_an_order_is_passed_and_the_order_goes_out(shop, open_page):
    page = open_page("orders", order="1")
    assert "nothing dyed for it yet" in texts_of(page)
    page.number_input(key="order_batch_number").set_value(1).run()
    page.button(key="answer_order").click().run()
    assert re.search(r"(Matches|Off|Cannot tell)\..*ΔE00 \d\.\d ± \d+\.\d, you allow 2\.", texts_of(page))
    page.button(key="pass_1").click().run()
    assert "Passed: ΔE00" in texts_of(page)
    page.button(key="undecide_1").click().run()
    assert "Passed" not in texts_of(page)
    page.button(key="close_order").click().run()
    assert "Delivered" in texts_of(page)
    page.button(key="reopen").click().run()
    with open_book(shop) as book:
        assert len(orders.open_orders(book)) == 1


def test_a_batch_off_its_shade_offers_the_dye_again(shop, open_page):
    with open_book(shop) as book:
        orders.answer_order(book, 1, 2)
    page = open_page("book", batch="2")
    assert not page.exception
    assert {button.key for button in page.button} >= {"pass_2", "redip_2", "redo_2", "accepted_as_is_2"}
    page.button(key="redip_2").click().run()
    with open_book(shop) as book:
        assert [row["verdict"] for row in book.rows("verdicts")] == ["redip"]


def test_a_dropped_order_can_be_brought_back(shop, open_page):
    page = open_page("orders", order="1")
    page.button(key="drop_order").click().run()
    with open_book(shop) as book:
        assert not orders.open_orders(book)
    page.button(key="undrop_order").click().run()
    with open_book(shop) as book:
        assert orders.open_orders(book)


def test_what_was_typed_of_an_order_outlives_a_reload(empty_book, open_page):
    page = open_page("orders")
    page.text_input(key="order_name").set_value("Tool grips").run()
    name = page.query_params["draft"]
    again = open_page("orders", draft=name[0] if isinstance(name, list) else name)
    assert again.text_input(key="order_name").value == "Tool grips"


def test_a_bath_is_entered_and_opened(empty_book, open_page):
    page = open_page("baths")
    page.text_input(key="bench_enter_dye").set_value("Ember")
    page.text_input(key="bench_enter_bath").set_value("E1")
    page.text_input(key="bench_enter_bath_volume_l").set_value("0.5 gal")
    page.text_input(key="bench_enter_dye_g_per_l").set_value("3").run()
    page.button(key="enter_bath_go").click().run()
    assert not page.exception
    assert page.title[0].value == "Ember, bath E1"
    with open_book(empty_book) as book:
        (event,) = book.rows("bath_events")
    assert (event["kind"], event["dye_g_per_l"]) == ("measured", 3)
    assert event["bath_volume_l"] == pytest.approx(1.893, abs=0.001)


def test_the_first_start_leads_to_a_bath(empty_book, open_page):
    page = open_page("today")
    page.button(key="to_bath").click().run()
    assert not page.exception
    assert page.title[0].value == "Baths"


def test_the_order_of_the_wall_is_no_customers_order(shop, open_page):
    page = open_page("orders")
    page.session_state["order"] = "newest first"
    page.run()
    assert not page.error
    assert page.title[0].value == "Orders"


def test_a_shade_by_instrument_states_its_geometry_and_so_does_the_batch(empty_book, open_page):
    with open_book(empty_book) as book:
        number = orders.take_order(book, "Lamp knobs")
        batch = book.add_batch(DyeRecord("Ember", 12, 3, 50, 6, bath="E1"))
        orders.answer_order(book, number, batch)
    page = open_page("orders", order=str(number))
    page.text_input(key="order_1_colour").set_value("40, 40, 44").run()
    page.selectbox(key="order_1_geometry").set_value("45/0").run()
    page.selectbox(key="order_1_white").set_value("D50, 2°").run()
    assert "was converted from D50" in texts_of(page).replace("Lab ", "")
    page.selectbox(key="order_1_white").set_value("D65, 2°").run()
    page.button(key="agree").click().run()
    assert not page.exception
    page = open_page("book", batch=str(batch))
    page.text_input(key="instrument_lab").set_value("40, 40, 44").run()
    assert page.button(key="keep_instrument").disabled
    page.selectbox(key="instrument_geometry").set_value("45/0").run()
    page.button(key="keep_instrument").click().run()
    assert not page.exception
    assert "geometry 45/0" in texts_of(page)
    assert "Matches." in texts_of(page)


def test_limit_samples_are_kept_with_the_order_and_let_go(shop, open_page):
    with open_book(shop) as book:
        orders.answer_order(book, 1, 1)
    page = open_page("orders", order="1")
    page.text_input(key="Light limit_1").set_value("batch 2").run()
    page.text_input(key="Dark limit_1").set_value("55, 40, 44").run()
    page.button(key="keep_limits").click().run()
    assert "are the same" in texts_of(page)
    page.text_input(key="Dark limit_1").set_value("25, 40, 44").run()
    page.button(key="keep_limits").click().run()
    assert "It lies between the limit samples, surely enough." in texts_of(page)
    page.button(key="no_limits").click().run()
    assert "limit samples, surely" not in texts_of(page)
    assert not page.exception
