"""Whoever keeps a form that another person overtook is told, sees both values, and overwrites nothing."""

from datetime import date, timedelta
from pathlib import Path

import pytest

from dyebook.book.setups import name_setup
from dyebook.book.store import open_book
from dyebook.jobs import baths, check_coupon, gauge, orders, wet
from dyebook.jobs import run as bench
from dyebook.jobs.asked import this_moment
from dyebook.lab import Lab
from dyebook.record import DyeRecord

TAGS = Path(__file__).parents[2] / "samples" / "tags_one_streaked.jpg"
DIP = {"dye_g_per_l": 3.0, "bath_temp_c": 50.0, "dwell_min": 6.0}


@pytest.fixture
def shop(empty_book):
    """An order with its batch, a bath with rules, an electrolyte, a planned run and one that is anodised."""
    with open_book(empty_book) as book:
        order = orders.take_order(book, "Lamp knobs")
        orders.set_target(book, order, (40, 10, -30))
        bath = baths.find_bath(book, "Ember", "E1", 2.0)
        baths.note_bath(book, bath, "made_up", "2026-03-01", dye_g_per_l=3.0, bath_volume_l=2.0)
        baths.set_dye_rules(book, "Ember", ph=(5.0, 6.0), limit_days=90)
        baths.electrolyte_named(book, "Acid of spring", 2.0)
        bench.plan_run(book, area_dm2=2.0, current_a=3.0, film_um=12.0, minutes=24.4)
        number = bench.plan_run(book, area_dm2=2.0, current_a=3.0, film_um=12.0, minutes=24.4)
        start = this_moment() - timedelta(minutes=40)
        bench.start_run(book, number, at=start)
        bench.finish_run(book, number, start + timedelta(minutes=24.4))
        record = DyeRecord("Ember", bath="E1", dyed_at="2026-03-01", film_um=12, **DIP)
        orders.answer_order(book, order, book.add_batch(record))
        book.add_reading(3, (41, 10, -30))
        wet.keep_batch(book, number, dye="Ember", bath="E1", dip=DIP, seal=wet.seal_values("hot_water", 30.0))
        waiting = bench.plan_run(book, area_dm2=2.0, current_a=3.0, film_um=12.0, minutes=24.4)
        bench.start_run(book, waiting, at=start)
        bench.finish_run(book, waiting, start + timedelta(minutes=24.4))
        _coupon_left(book)
    return empty_book


def _coupon_left(book):
    """The check coupon read on fourteen days; on the last five it had left its colour."""
    for day in range(14):
        shade = Lab(40 - 2 * (day > 8), 10, -30)
        check_coupon.keep_day(book, [(shade, None)], "", date(2026, 3, 1) + timedelta(days=day))


def _standing(book):
    """All that the book holds but its history."""
    tables = (
        "orders",
        "targets",
        "verdicts",
        "batches",
        "dips",
        "runs",
        "baths",
        "bath_events",
        "electrolytes",
        "setups",
        "readings",
    )
    return {name: book.rows(name) for name in (*tables, "electrolyte_events", "seals")} | {"settings": book.settings()}


def _rules(book, **rules):
    baths.set_dye_rules(book, "Ember", **rules)


# page and its address; what is typed; what another does meanwhile; the button; what is said: theirs, and yours
FORMS = {
    "an order delivered": (
        ("orders", {"order": "1"}),
        {},
        lambda book: book.correct("orders", 1, {"done_at": "2026-03-01"}),
        "close_order",
        ("done at is 2026-03-01 now, and you wrote 2",),
    ),
    "an order dropped": (
        ("orders", {"order": "1"}),
        {},
        lambda book: book.correct("orders", 1, {"words": "blue"}),
        "drop_order",
        ("changed by Mara",),
    ),
    "a batch decided": (
        ("orders", {"order": "1"}),
        {},
        lambda book: orders.decide(book, 3, 1, "redo"),
        "pass_3",
        ("decided already: redo, by Mara", "you say pass"),
    ),
    "a batch that belongs to no order": (
        ("orders", {"order": "1"}),
        {},
        lambda book: book.correct_batch(3, {"note": "thin"}),
        "not_for_order_3",
        ("order id is 1 now, and you wrote empty",),
    ),
    "a shade agreed": (
        ("orders", {"order": "1"}),
        {"order_1_colour": "50, 25, -20"},
        lambda book: orders.set_target(book, 1, (30, 5, 5)),
        "agree",
        ("(30, 5, 5): Mara wrote that",),
    ),
    "a batch deleted": (
        ("book", {"batch": "3"}),
        {},
        lambda book: book.correct_batch(3, {"note": "thin"}),
        "delete",
        ("changed by Mara",),
    ),
    "rules": (
        ("baths", {"bath": "1", "dyebath_way": "rules"}),
        {"bench_Ember_ph_high": "6.5"},
        lambda book: _rules(book, ph=(5.0, 5.8)),
        "keep_rules",
        ("pH to was set to 5.8 after you opened it, and you wrote 6.5",),
    ),
    "a strength wanted": (
        ("baths", {"bath": "1", "dyebath_way": "rules", "1_wanted": "set"}),
        {"bench_1_wanted_dye_g_per_l": "2.5"},
        lambda book: baths.want_strength(book, 1, "recipe"),
        "keep_rules",
        ("Strength wanted was set to recipe after you opened it, and you wrote set",),
    ),
    "a tank's floor": (
        ("baths", {"bath": "1", "dyebath_way": "level"}),
        {"bench_1_tank_area_dm2": "1.2", "bench_part_height_mm": "80"},
        lambda book: _rules(book, tank_area_dm2=1.5),
        "keep_tank",
        ("was set to 1.5", "you wrote 1.2"),
    ),
    "a bath topped up": (
        ("baths", {"bath": "1", "dyebath_way": "top"}),
        {"bench_top_measured_g_per_l": "2"},
        lambda book: baths.note_bath(book, 1, "topped_up", dye_g_per_l=3.2, bath_volume_l=2.0),
        "keep_top_up",
        ("topped up", "3.2 g/L", "Mara wrote that"),
    ),
    "a bath measured": (
        ("baths", {"bath": "1", "dyebath_way": "line"}),
        {"bench_event_dye_g_per_l": "2.4"},
        lambda book: baths.note_bath(book, 1, "measured", dye_g_per_l=2.9),
        "note_dyebath",
        ("2.9 g/L", "Mara wrote that"),
    ),
    "a bath made up anew": (
        ("baths", {"bath": "1", "dyebath_way": "make"}),
        {"bench_1_bath_volume_l": "2.5"},
        lambda book: book.correct("baths", 1, {"bath_volume_l": 3.0}),
        "keep_dyebath",
        ("was set to 3 after you opened it, and you wrote 2.5",),
    ),
    "a bath entered": (
        ("baths", {}),
        {"bench_enter_dye": "Heather", "bench_enter_bath": "H1", "bench_enter_bath_volume_l": "2"},
        lambda book: baths.find_bath(book, "Heather", "H1", 5.0),
        "enter_bath_go",
        ("Heather, H1 was entered by Mara already",),
    ),
    "an electrolyte": (
        ("baths", {"tanks": "Electrolyte", "acid_way": "life", "electrolyte": "Acid of spring"}),
        {"bench_event_electrolyte_g_per_l": "170"},
        lambda book: baths.note_electrolyte(book, 1, "titrated", electrolyte_g_per_l=150),
        "note_acid",
        ("150 g/L", "Mara wrote that"),
    ),
    "a tank's volume": (
        ("bench", {"step": "plan", "electrolyte": "Acid of spring"}),
        {"bench_area_dm2": "2", "bench_1_volume_l": "3"},
        lambda book: book.correct("electrolytes", 1, {"bath_volume_l": 4.0}),
        "keep_plan",
        ("was set to 4", "you wrote 3"),
    ),
    "a plan dropped": (
        ("bench", {"step": "run"}),
        {},
        lambda book: bench.start_run(book, 1),
        "drop_run",
        ("changed by Mara",),
    ),
    "a finish": (
        ("bench", {"step": "run"}),
        {},
        lambda book: book.correct("runs", 1, {"finish": "etched"}),
        "finish_polished",
        ("finish is etched now, and you wrote polished",),
    ),
    "a run started": (
        ("bench", {"step": "run"}),
        {},
        lambda book: bench.start_run(book, 1),
        "start_run",
        ("Run 1 is on",),
    ),
    "a clock": (
        ("bench", {"step": "dye"}),
        {},
        lambda book: wet.mark_step(book, 4, "cold rinse"),
        "in_0",
        ("its clock was left as it is",),
    ),
    "a run's batch": (
        ("bench", {"step": "dye", "bath": "Ember, E1", "bath_temp_c": "50"}),
        {"bench_bath_temp_c": "51", "bench_dyed_min": "6"},
        lambda book: wet.keep_batch(book, 4, dye="Ember", bath="E1", dip=DIP),
        "keep_now",
        ("No anodised run is waiting",),
    ),
    "gauge readings": (
        ("bench", {"step": "run", "gauged": 2}),
        {"bench_gauge_readings": "11.8 12.1"},
        lambda book: gauge.keep_gauge(book, 2, [12.4, 12.6]),
        "keep_gauge",
        ("film measured um is 12.5 now, and you wrote 11.95",),
    ),
    "a seal test": (
        ("bench", {"step": "run", "gauged": 2}),
        {},
        lambda book: wet.keep_seal_test(book, 2, 4),
        "keep_seal_test",
        ("seal test stain is 4 now, and you wrote 0",),
    ),
    "the coupon put right": (
        ("camera", {}),
        {},
        lambda book: check_coupon.put_right(book, "", "2026-03-12"),
        "coupon_put_right",
        ("put right 2026-03-12 now, and had", "put right never"),
    ),
    "the coupon counted from a day": (
        ("camera", {}),
        {},
        lambda book: check_coupon.count_from(book, "", "2026-03-03"),
        "coupon_count_from",
        ("days 2026-03-03 to 2026-03-14", "had days 2026-03-01 to 2026-03-14"),
    ),
    "the coupon's last day taken back": (
        ("camera", {}),
        {},
        lambda book: check_coupon.keep_day(book, [(Lab(38, 10, -30), None)], "", date(2026, 3, 15)),
        "coupon_take_back",
        ("to 2026-03-15", "to 2026-03-14"),
    ),
    "a seal's time": (
        ("bench", {"step": "dye"}),
        {"bench_hot_water_min_per_um": "2"},
        lambda book: book.set_setting(wet.SEAL_TIMES, {"hot_water": 4.0}),
        "keep_seal_time",
        ("hot water is 4.0 now, and you wrote 2",),
    ),
    "a seal without nickel": (
        ("bench", {"step": "dye"}),
        {"bench_hot_water_min_per_um": "2"},
        lambda book: book.set_setting(wet.SEAL_TIMES, {"cold_nickel": 1.0}),
        "keep_seal_time",
        ("look at it again",),
    ),
}


@pytest.mark.parametrize("form", FORMS)
def test_the_second_editor_is_told_and_nothing_is_overwritten(shop, open_page, form):
    (name, address), typed, meanwhile, button, told = FORMS[form]
    named = ("order", "batch", "step", *(("bath",) if name == "baths" else ()))
    page = open_page(name, **{key: value for key, value in address.items() if key in named})
    fields = {f"bench_{key}": value for key, value in address.items() if key not in named}
    if fields:
        for key, value in fields.items():
            page.session_state[key] = value
        page.run()
    for key, text in typed.items():
        page.text_input(key=key).set_value(text)
    if typed:
        page.run()
    assert not page.exception
    with open_book(shop, who="Mara") as book:
        meanwhile(book)
        before = _standing(book)
    page.button(key=button).click().run()
    assert not page.exception
    said = " ".join(one.value for one in (*page.error, *page.subheader, *page.markdown))
    assert all(words in said for words in told), said
    with open_book(shop) as book:
        assert _standing(book) == before


def test_what_another_said_of_a_seals_nickel_stands(shop, open_page):
    """Without a tap of one's own it is followed; a tap at what was drawn before is told."""
    page = open_page("bench", step="dye")
    page.session_state["bench_seal"] = "mid_temperature"
    page.run()
    key = "no_nickel_mid_temperature"
    with open_book(shop, who="Mara") as book:
        book.set_setting(wet.NO_NICKEL, ["mid_temperature"])
    page.toggle(key=key).set_value(True).run()
    assert "changed by another person after you opened it" in page.error[0].value
    assert page.toggle(key=key).value
    page.toggle(key=key).set_value(False).run()
    assert not page.error
    with open_book(shop, who="Mara") as book:
        assert book.setting(wet.NO_NICKEL) == []
        book.set_setting(wet.NO_NICKEL, ["mid_temperature"])
    page.run()
    assert page.toggle(key=key).value
    with open_book(shop) as book:
        assert book.setting(wet.NO_NICKEL) == ["mid_temperature"]


@pytest.fixture
def photographed(begun_book, open_page):
    """The Photo page with a photo whose set-up is window bench, and its key."""
    page = open_page("photo")
    page.file_uploader(key="photo_file_0").upload("tags.jpg", TAGS.read_bytes(), "image/jpeg").run()
    page.text_input(key="setup_name").set_value("window bench").run()
    page.button(key="name_setup").click().run()
    with open_book(begun_book) as book:
        return page, book.rows("setups")[0]["key"]


def test_a_set_ups_name_given_meanwhile_stands(photographed, begun_book):
    page, key = photographed
    page.text_input(key="setup_name").set_value("north window").run()
    with open_book(begun_book, who="Mara") as book:
        name_setup(book, key, "light tent")
    page.button(key="name_setup").click().run()
    assert "name is light tent now, and you wrote north window" in page.error[0].value
    with open_book(begun_book) as book:
        assert [row["name"] for row in book.rows("setups")] == ["light tent"]
    page.button(key="name_setup").click().run()
    with open_book(begun_book) as book:
        assert [row["name"] for row in book.rows("setups")] == ["north window"]


def test_a_day_of_the_coupon_kept_meanwhile_stands(shop, open_page):
    page = open_page("camera")
    page.file_uploader(key="coupon_file_0").upload("tags.jpg", TAGS.read_bytes(), "image/jpeg").run()
    assert not page.exception
    with open_book(shop, who="Mara") as book:
        check_coupon.keep_day(book, [(Lab(40, 10, -30), None)])
        before = _standing(book)
    page.button(key="keep_coupon_day").click().run()
    said = page.error[0].value
    assert f"{date.today()}: 40.00, 10.00, -30.00 now, and had no reading of {date.today()}" in said
    with open_book(shop) as book:
        assert _standing(book) == before


def test_a_field_not_written_to_follows_the_book(shop, open_page):
    page = open_page("baths", bath="1")
    page.session_state["bench_dyebath_way"] = "rules"
    page.run()
    page.text_input(key="bench_Ember_limit_days").set_value("60").run()
    with open_book(shop, who="Mara") as book:
        _rules(book, ph=(5.2, 5.8))
    page.button(key="keep_rules").click().run()
    assert list(page.error) == []
    with open_book(shop) as book:
        assert baths.dye_rules(book, "Ember") == {"ph": [5.2, 5.8], "limit_days": 60}


def test_the_second_tap_stands(shop, open_page):
    page = open_page("baths", bath="1")
    page.session_state["bench_dyebath_way"] = "rules"
    page.run()
    page.text_input(key="bench_Ember_limit_days").set_value("60").run()
    with open_book(shop, who="Mara") as book:
        _rules(book, limit_days=30)
    page.button(key="keep_rules").click().run()
    page.button(key="keep_rules").click().run()
    with open_book(shop) as book:
        assert baths.dye_rules(book, "Ember")["limit_days"] == 60
