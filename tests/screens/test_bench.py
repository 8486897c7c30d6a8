"""The bench: every step opens, empty and full, and does its work; driven by widget key."""

from datetime import UTC, datetime, timedelta

import pytest
from typer.testing import CliRunner

from dyebook.book.store import open_book
from dyebook.jobs import run as bench
from dyebook.jobs.paper import batch_facts, bath_facts
from dyebook.jobs.piece import STEPS
from dyebook.jobs.wet import mark_step
from dyebook.report.paper.card import card_sheet
from dyebook.report.paper.ledger import bath_sheet
from dyebook.shell.main import app
from tests.screens.words_on import texts_of


@pytest.mark.parametrize("step", STEPS)
@pytest.mark.parametrize("book", ["empty_book", "demo_shop"])
def test_every_step_opens(request, open_page, step, book):
    request.getfixturevalue(book)
    page = open_page("bench", step=step)
    assert not page.exception
    assert not page.error


def _plan(page, **figures):
    for name, text in {"area_dm2": "2", "film_um": "0.5 mil", **figures}.items():
        page.text_input(key=f"bench_{name}").set_value(text)
    return page.run()


def test_a_plan_shows_both_units_basis_and_cautions(empty_book, open_page):
    with open_book(empty_book) as book:
        book.set_setting("other_units", "yes")
    text = texts_of(_plan(open_page("bench", step="plan"), electrolyte_temp_c="20"))
    for words in ("13 ± 3 µm", "0.5 mil", "720 rule", "Supply off before touching", "60° thread"):
        assert words in text


def test_a_small_supply_says_what_it_can_do(empty_book, open_page):
    text = texts_of(_plan(open_page("bench", step="plan"), supply_max_a="2"))
    assert "The supply stops at 2.00 A; 3.00 A were wanted" in text


def test_the_tank_warms_and_says_what_helps(empty_book, open_page):
    # 2 L, 15 V, 3 A: about 15 °C in 40 min uncooled (worked out from joule and reaction heat)
    text = texts_of(_plan(open_page("bench", step="plan"), volume_l="2"))
    assert "electrolyte at the end" in text
    assert "or ice in closed bottles" in text


def test_an_impossible_figure_is_refused_in_words_and_nothing_else_is_lost(empty_book, open_page):
    page = _plan(open_page("bench", step="plan"), current_density_a_per_dm2="30")
    assert "Current density is 30 A/dm²; it must lie between" in texts_of(page)
    page = _plan(page, current_density_a_per_dm2="0.5 µm")
    assert "give it in A/dm²" in texts_of(page)
    assert page.text_input(key="bench_film_um").value == "0.5 mil"


def test_a_bath_is_not_entered_while_a_figure_of_it_is_wrong(empty_book, open_page):
    """All errors at once, each at its field; nothing that was typed is dropped silently."""
    page = open_page("baths")
    for name, text in (("enter_dye", "Ember"), ("enter_bath", "E1"), ("enter_bath_volume_l", "two")):
        page.text_input(key=f"bench_{name}").set_value(text)
    page.text_input(key="bench_enter_bath_temp_c").set_value("300").run()
    said = texts_of(page)
    assert "Volume is 'two'" in said
    assert "Kept at is 300 °C; it must lie between 0 and 100 °C" in said
    page.button(key="enter_bath_go").click().run()
    assert "first put right: Volume, Kept at" in texts_of(page)
    with open_book(empty_book) as book:
        assert book.rows("baths") == []


def test_from_plan_to_finished_run(empty_book, open_page):
    page = _plan(open_page("bench", step="plan"))
    page.button(key="keep_plan").click().run()
    assert "Before run 1" in texts_of(page)
    page.button(key="tick_clean_done").click().run()
    page.button(key="tick_water_break_test_holds").click().run()
    assert "Not ticked yet: contacts." in texts_of(page)
    page.button(key="start_run").click().run()
    assert "Run 1 is on" in texts_of(page)
    # another browser, or the same after a reload, comes upon the run without being asked
    again = open_page("bench")
    assert "Run 1 is on" in texts_of(again)
    again.text_input(key="bench_noted_current_a").set_value("2.5")
    again.text_input(key="bench_noted_voltage_v").set_value("-14")
    again.text_input(key="bench_noted_electrolyte_temp_c").set_value("300").run()
    assert "Voltage is -14 V" in texts_of(again)
    again.button(key="note_reading").click().run()
    assert "first put right: Voltage, Electrolyte" in texts_of(again)
    again.text_input(key="bench_noted_voltage_v").set_value("14")
    again.text_input(key="bench_noted_electrolyte_temp_c").set_value("").run()
    again.button(key="note_reading").click().run()
    assert not again.exception
    with open_book(empty_book) as book:
        row = book.row("runs", 1)
        assert [note["current_a"] for note in row["trace"]["notes"]] == [3.0, 2.5]
        assert {tick["kind"] for tick in book.rows("preparations", run_id=1)} == {"clean", "water_break_test"}


def test_a_load_adds_up_and_goes_to_the_plan(empty_book, open_page):
    page = open_page("bench", step="plan")
    page.toggle(key="bench_by_shapes").set_value(True).run()
    page.segmented_control(key="bench_shape").set_value("ball").run()
    page.text_input(key="bench_ball_diameter").set_value("4 in")
    page.number_input(key="bench_count").set_value(2)
    page.run()
    page.button(key="add_shape").click().run()
    # two balls of 101.6 mm: 2 π d² = 6.486 dm²
    assert "6.49 dm²" in texts_of(page)
    page.button(key="use_area").click().run()
    assert page.text_input(key="bench_area_dm2").value == "6.486"


def test_a_blind_bore_is_flagged(empty_book, open_page):
    page = open_page("bench", step="plan")
    page.toggle(key="bench_by_shapes").set_value(True).run()
    page.text_input(key="bench_rod_bore_diameter").set_value("5")
    page.text_input(key="bench_rod_bore_depth").set_value("20").run()
    page.button(key="add_shape").click().run()
    assert "Blind bore in rod" in texts_of(page)


@pytest.fixture
def anodised(empty_book):
    """A book with one finished run of 12 µm."""
    from datetime import UTC, datetime, timedelta

    from dyebook.jobs import baths, run

    start = datetime.now(UTC) - timedelta(minutes=40)
    with open_book(empty_book) as book:
        tank = baths.find_bath(book, "Ember", "E1", 2.0)
        baths.note_bath(book, tank, "made_up", "2026-03-01", dye_g_per_l=3.0, bath_volume_l=2.0)
        number = run.plan_run(book, area_dm2=2.0, current_a=3.0, film_um=12.0, minutes=24.4)
        run.start_run(book, number, at=start)
        run.finish_run(book, number, start + timedelta(minutes=24.4))
    return empty_book


def test_nothing_measured_is_no_note_of_a_bath(anodised, open_page):
    page = open_page("baths", bath="1")
    page.button(key="note_dyebath").click().run()
    assert "Nothing is written that was measured" in page.error[0].value


def test_a_plan_drops_nothing_that_makes_no_sense(empty_book, open_page):
    page = _plan(open_page("bench", step="plan"), electrolyte_temp_c="warm", supply_max_a="two")
    assert "Electrolyte now is 'warm'" in texts_of(page)
    assert "Most the supply gives is 'two'" in texts_of(page)
    page.button(key="keep_plan").click().run()
    assert "first put right: Electrolyte now, Most the supply gives" in page.error[0].value
    with open_book(empty_book) as book:
        assert not book.rows("runs")


def test_no_clock_begins_by_a_figure_that_makes_no_sense(anodised, open_page):
    page = open_page("bench", step="dye")
    page.selectbox(key="bench_bath").set_value("Ember, E1").run()
    page.text_input(key="bench_dwell_min").set_value("long").run()
    page.button(key="in_0").click().run()
    page.button(key="out_0").click().run()
    assert "first put right: Time in dye" in page.error[0].value
    with open_book(anodised) as book:
        assert set(book.row("runs", 1)["trace"]["steps"]) == {"cold rinse"}


def test_a_seal_of_a_second_is_asked_about_as_a_seal(anodised, open_page):
    _clock_the_dye(anodised, 1, 6)
    now = datetime.now(UTC)
    with open_book(anodised) as book:
        mark_step(book, 1, "seal: hot water", at=now - timedelta(seconds=1), minutes=30.0)
    page = open_page("bench", step="dye")
    page.selectbox(key="bench_bath").set_value("Ember, E1").run()
    page.text_input(key="bench_bath_temp_c").set_value("50").run()
    next(one for one in page.button if one.label == "Out of the seal: into the book").click().run()
    assert not page.error
    words = texts_of(page)
    assert "s clock says 0:0" in words
    assert "30 min were planned" in words
    assert "ime in dye is" not in words
    assert page.button(key="keep_batch").disabled
    # the true time, said instead of the clock's
    page.text_input(key="bench_in_seal_min").set_value("28").run()
    page.button(key="keep_batch").click().run()
    with open_book(anodised) as book:
        assert book.rows("seals", batch_id=1)[0]["dwell_min"] == 28


def test_a_clock_that_was_forgotten_gives_way_to_what_its_maker_says(anodised, open_page):
    _clock_the_dye(anodised, 1, 900)
    page = open_page("bench", step="dye")
    page.selectbox(key="bench_bath").set_value("Ember, E1").run()
    page.text_input(key="bench_bath_temp_c").set_value("50").run()
    assert "900 min is far above" in texts_of(page)
    page.text_input(key="bench_dyed_min").set_value("6").run()
    page.button(key="keep_now").click().run()
    with open_book(anodised) as book:
        assert book.batch(1).dwell_min == 6


def _clock_the_dye(place, run_id, minutes):
    """As if the part had been in the dye for so long until now."""
    now = datetime.now(UTC)
    with open_book(place) as book:
        mark_step(book, run_id, "dye", at=now - timedelta(minutes=minutes))
        mark_step(book, run_id, "dye", ended=True, at=now)


def test_without_a_clock_the_maker_says_how_long_it_was_in_the_dye(anodised, open_page):
    """What was planned is not what was."""
    page = open_page("bench", step="dye")
    page.selectbox(key="bench_bath").set_value("Ember, E1").run()
    page.text_input(key="bench_bath_temp_c").set_value("50").run()
    assert page.text_input(key="bench_dwell_min").value == "5"
    assert "keep_now" not in {button.key for button in page.button}
    page.text_input(key="bench_dyed_min").set_value("7:30").run()
    assert "as you say" in texts_of(page)
    page.button(key="keep_now").click().run()
    with open_book(anodised) as book:
        assert book.batch(1).dwell_min == 7.5
        assert book.rows("parts") == [], "of its place nothing was said"


def test_place_and_contact_of_a_part_go_from_the_bench_to_its_card(anodised, open_page):
    page = open_page("bench", step="dye")
    page.selectbox(key="bench_bath").set_value("Ember, E1").run()
    told = {"bath_temp_c": "50", "dyed_min": "6", "jig_place": "row 2 left ", "contact_marks": "inside of the rim"}
    for name, text in told.items():
        page.text_input(key=f"bench_{name}").set_value(text)
    page.run()
    page.button(key="keep_now").click().run()
    with open_book(anodised) as book:
        row = book.batch(1)
        assert (row.jig_place, row.contact_marks) == ("row 2 left", "inside of the rim")
        card = str(card_sheet(batch_facts(book, 1)))
    assert "row 2 left" in card
    assert "inside of the rim" in card
    page = open_page("book", batch="1")
    page.selectbox(key="correct_name").set_value("contact marks").run()
    page.text_input(key="correct_contact_marks").set_value("the bore")
    page.button(key="correct_send_contact_marks").click().run()
    assert "the bore" in texts_of(page)


def test_from_run_to_batch_by_the_clock(anodised, open_page):
    page = open_page("bench", step="dye")
    page.selectbox(key="bench_bath").set_value("Ember, E1").run()
    assert page.text_input(key="bench_1_dye_g_per_l").value == "3", "what the bath is worked out to hold stands there"
    for name, text in {"1_dye_g_per_l": "2.9", "bath_temp_c": "122 °F", "ph": "5.5", "dwell_min": "6"}.items():
        page.text_input(key=f"bench_{name}").set_value(text)
    page.run()
    page.button(key="begin_2").click().run()
    page.button(key="end_2").click().run()
    assert "by its clock" in texts_of(page)
    _clock_the_dye(anodised, 1, 6)
    # a seal is written where it was begun
    with open_book(anodised) as book:
        mark_step(book, 1, "seal: hot water", at=datetime.now(UTC) - timedelta(minutes=30), minutes=30.0)
    page.run()
    page.button(key="out_4").click().run()
    assert "**Batch 1** is in the book" in texts_of(page)
    with open_book(anodised) as book:
        row = book.batch(1)
        assert (row.dye, row.bath, row.bath_temp_c) == ("Ember", "E1", 50)
        assert row.dwell_min == pytest.approx(6, abs=0.01)
        assert row.film_um == pytest.approx(12, abs=0.05)
        assert book.rows("seals", batch_id=1)[0]["kind"] == "hot_water"


def test_the_shops_own_seal_time_is_kept_on_asking(anodised, open_page):
    page = open_page("bench", step="dye")
    page.text_input(key="bench_hot_water_min_per_um").set_value("2").run()
    assert "2 min per µm, your own figure" in texts_of(page)
    page.button(key="keep_seal_time").click().run()
    assert open_page("bench", step="dye").text_input(key="bench_hot_water_min_per_um").value == "2"


def test_a_run_that_is_on_stands_first_today(empty_book, open_page):
    from dyebook.jobs import run

    with open_book(empty_book) as book:
        run.start_run(book, run.plan_run(book, area_dm2=2.0, current_a=3.0, film_um=12.0, minutes=24.4))
    page = open_page("today")
    assert "1 to run" in page.button(key="way_run").label
    assert page.button(key="way_run").proto.type == "primary", "what to do next; its clock stands on the bar above"


def test_nickel_on_the_skin_is_flagged(anodised, open_page):
    page = open_page("bench", step="dye")
    page.segmented_control(key="bench_seal").set_value("nickel_acetate").run()
    assert "Choose a nickel-free seal" not in texts_of(page)
    page.toggle(key="bench_skin_or_food").set_value(True).run()
    assert "Choose a nickel-free seal" in texts_of(page)


def test_nickel_is_flagged_by_the_order_of_the_run(empty_book, open_page):
    from datetime import timedelta

    from dyebook.jobs import baths, run

    start = run.this_moment() - timedelta(minutes=40)
    with open_book(empty_book) as book:
        baths.find_bath(book, "Ember", "E1", 2.0)
        order = book.add("orders", name="Ear studs", skin_contact=True)
        number = run.plan_run(book, area_dm2=2.0, current_a=3.0, film_um=12.0, minutes=24.4, order="Ear studs")
        run.start_run(book, number, at=start)
        run.finish_run(book, number, start + timedelta(minutes=24.4))
    page = open_page("bench", step="dye")
    assert page.selectbox(key=f"bench_{number}_order").value == "Ear studs"
    assert page.toggle(key="bench_Ear studs_skin_or_food").value
    page.segmented_control(key="bench_seal").set_value("cold_nickel").run()
    assert "Choose a nickel-free seal" in texts_of(page)
    page.selectbox(key="bench_bath").set_value("Ember, E1").run()
    for name, text in {"1_dye_g_per_l": "3", "bath_temp_c": "50"}.items():
        page.text_input(key=f"bench_{name}").set_value(text)
    page.run()
    assert "keep_now" not in {button.key for button in page.button}, "a planned time is no time in the dye"
    _clock_the_dye(empty_book, number, 5)
    page.run()
    # nickel for the skin waits for a reason, which is kept
    assert page.button(key="keep_now").disabled
    page.text_input(key="bench_seal_why").set_value("release tested").run()
    page.button(key="keep_now").click().run()
    with open_book(empty_book) as book:
        assert book.row("batches", 1)["order_id"] == order
        assert book.row("runs", number)["trace"]["reasons"][0]["why"] == "release tested"


def test_every_bath_shows_its_line(demo_shop, open_page):
    page = open_page("baths")
    text = texts_of(page)
    for name in ("Ember, bath E1", "Harbour blue, bath B1", "Heather, bath H2", "Lichen, bath L1"):
        assert name in text
    page.button(key="open_bath_1").click().run()
    assert not page.exception
    assert len(page.get("plotly_chart")) == 1
    assert "your 3 strength checks" in texts_of(page)
    assert "What happened to it" in texts_of(page)


def test_a_run_pauses_and_goes_on(empty_book, open_page):
    from dyebook.jobs import run

    with open_book(empty_book) as book:
        run.start_run(book, run.plan_run(book, area_dm2=2.0, current_a=3.0, film_um=12.0, minutes=24.4))
    page = open_page("bench", step="run")
    page.button(key="pause_run").click().run()
    assert "Run 1 is paused" in texts_of(page)
    page.button(key="resume_run").click().run()
    assert "Run 1 is on" in texts_of(page)


def test_the_batch_shows_how_its_run_was_prepared(demo_shop, open_page):
    page = open_page("book", batch=85)
    text = texts_of(page)
    assert "Anodised" in text
    assert "water break test: holds" in text


def test_a_bath_is_made_up_noted_and_its_line_drawn(anodised, open_page):
    page = open_page("baths", bath="1")
    assert "3.0 ± 0.3 g/L" in texts_of(page)
    page.text_input(key="bench_event_dye_g_per_l").set_value("2.6").run()
    page.button(key="note_dyebath").click().run()
    assert "2.6 ± 0.3 g/L" in texts_of(page)
    page.segmented_control(key="bench_dyebath_way").set_value("top").run()
    # 0.4 g/L short of the 3 g/L it was made up with, in 2 L
    assert "0.8 ± 0.5 g" in texts_of(page)
    page.button(key="keep_top_up").click().run()
    with open_book(anodised) as book:
        assert [row["kind"] for row in book.rows("bath_events")] == ["made_up", "measured", "topped_up"]


def test_the_strength_wanted_of_a_bath_holds_on_every_page_and_in_the_shell(anodised, open_page):
    page = open_page("baths", bath="1")
    assert "wanted 3 g/L, as made up" in texts_of(page)
    page.segmented_control(key="bench_dyebath_way").set_value("rules").run()
    page.segmented_control(key="bench_1_wanted").set_value("set").run()
    page.text_input(key="bench_1_wanted_dye_g_per_l").set_value("4000").run()
    assert "Wanted is 4000 g/L" in texts_of(page)
    page.text_input(key="bench_1_wanted_dye_g_per_l").set_value("3.5").run()
    page.button(key="keep_rules").click().run()
    for name, address in (("today", {}), ("baths", {}), ("baths", {"bath": "1"})):
        assert "wanted 3.5 g/L, as set" in texts_of(open_page(name, **address))
    top = open_page("baths", bath="1")
    top.segmented_control(key="bench_dyebath_way").set_value("top").run()
    assert top.text_input(key="bench_1_top_dye_g_per_l").value == "3.5"

    def told(*words):
        return CliRunner().invoke(app, ["bath", *words, "--book", str(anodised)]).stdout

    assert "wanted 3.5 g/L, as set" in told("list")
    assert "to 3.5 g/L" in told("top-up", "E1")
    assert told("wanted", "E1", "made").strip() == "Ember, E1: wanted 3 g/L, as made up"
    with open_book(anodised) as book:
        text = str(bath_sheet(bath_facts(book, 1)))
    assert "wanted 3 g/L, as made up" in text


def test_the_shops_own_window_speaks_where_the_dip_is_planned(anodised, open_page):
    page = open_page("baths", bath="1")
    page.segmented_control(key="bench_dyebath_way").set_value("rules").run()
    page.text_input(key="bench_Ember_ph_low").set_value("5")
    page.text_input(key="bench_Ember_ph_high").set_value("6").run()
    page.button(key="keep_rules").click().run()
    wet = open_page("bench", step="dye")
    wet.selectbox(key="bench_bath").set_value("Ember, E1").run()
    wet.text_input(key="bench_ph").set_value("4.1").run()
    assert "bath pH 4.1 is below what this dye is kept at, 5–6" in texts_of(wet)


def test_acid_into_water_and_into_the_book(empty_book, open_page):
    page = open_page("baths")
    page.segmented_control(key="bench_tanks").set_value("Electrolyte").run()
    text = texts_of(page)
    for words in (
        "Sulphuric acid slowly into water",
        "1 part of battery acid",
        "never release them to sewer",
        "187 mL",
    ):
        assert words in text


def test_of_several_runs_the_one_in_hand_and_the_one_gauged_are_chosen_apart(anodised, open_page):
    with open_book(anodised) as book:
        for _ in range(2):
            bench.plan_run(book, area_dm2=2.0, current_a=3.0, film_um=12.0, minutes=24.4)
            ended = bench.plan_run(book, area_dm2=2.0, current_a=3.0, film_um=12.0, minutes=24.4)
            start = datetime.now(UTC) - timedelta(minutes=40)
            bench.start_run(book, ended, at=start)
            bench.finish_run(book, ended, start + timedelta(minutes=24.4))
    page = open_page("bench", step="run")
    assert not page.exception
    page.selectbox(key="bench_gauged").set_value(1).run()
    assert page.selectbox(key="bench_run").value in (2, 4)


def test_gauge_readings_teach_and_faraday_refuses(anodised, open_page):
    page = open_page("bench", step="run")
    page.text_input(key="bench_gauge_readings").set_value("11.2 11.4, 0.44 mil").run()
    page.button(key="keep_gauge").click().run()
    assert "your 1 gauge reading" in texts_of(page)
    page.text_input(key="bench_gauge_readings").set_value("40").run()
    assert page.button(key="keep_gauge").disabled
    page.text_input(key="bench_gauge_why").set_value("as it was").run()
    page.button(key="keep_gauge").click().run()
    assert "is unphysical" in texts_of(page)
    with open_book(anodised) as book:
        assert book.row("runs", 1)["film_measured_um"] == pytest.approx((11.2 + 11.4 + 11.176) / 3)


def test_a_log_shows_events_and_is_kept_with_its_run(anodised, open_page):
    from pathlib import Path

    sample = Path(__file__).parents[2] / "samples" / "trace_contact_lost.csv"
    page = open_page("log")
    page.file_uploader(key="log_file").upload(sample.name, sample.read_bytes(), "text/csv").run()
    page.selectbox(key="bench_log_run").set_value(1).run()
    text = texts_of(page)
    assert "Contact lost at" in text
    assert "Supply off before touching any contact" in text
    page.button(key="keep_log").click().run()
    assert not page.exception
    with open_book(anodised) as book:
        assert book.row("runs", 1)["trace"]["events"][0]["kind"] == "contact_lost"


def test_hand_notes_show_the_charge(empty_book, open_page):
    page = open_page("log")
    page.segmented_control(key="bench_log_way").set_value("Hand notes").run()
    page.text_area(key="bench_log_notes").set_value("0.6 A at start, 0.9 A at 30 min").run()
    assert "0.38 A·h" in texts_of(page)


def test_a_bath_is_checked_by_hydrometer_and_by_burette(empty_book, open_page):
    with open_book(empty_book) as book:
        book.add("electrolytes", name="Tank")
    page = open_page("baths")
    page.segmented_control(key="bench_tanks").set_value("Electrolyte").run()
    page.segmented_control(key="bench_acid_way").set_value("check").run()
    page.text_input(key="bench_bath_sg").set_value("1.1038").run()
    assert "165" in texts_of(page)
    page.segmented_control(key="bench_check_by").set_value("burette").run()
    for name, text in {"sample_ml": "5", "free_ml": "16.82", "total_ml": "21.27"}.items():
        page.text_input(key=f"bench_bath_{name}").set_value(text)
    text = texts_of(page.run())
    assert "165" in text
    assert "dissolved aluminium" in text
    page.selectbox(key="bench_electrolyte").set_value("Tank").run()
    page.button(key="keep_titration").click().run()
    with open_book(empty_book) as book:
        (event,) = book.rows("electrolyte_events")
    assert (event["kind"], round(event["electrolyte_g_per_l"])) == ("titrated", 165)
    assert event["dissolved_al_g_per_l"] == pytest.approx(4.45 / 5 * 26.982 / 3, abs=0.01)


def test_the_lot_of_a_tin_that_was_opened_is_kept_with_the_make_up(empty_book, open_page):
    with open_book(empty_book) as book:
        book.add("electrolytes", name="Tank")
        book.add("baths", name="E1", dye_id=book.add("dyes", name="Ember"))
    page = open_page("baths")
    page.segmented_control(key="bench_tanks").set_value("Electrolyte").run()
    page.selectbox(key="bench_electrolyte").set_value("Tank")
    page.text_input(key="bench_acid_lot").set_value("S77").run()
    page.button(key="keep_acid").click().run()
    page = open_page("baths", bath="1")
    page.segmented_control(key="bench_dyebath_way").set_value("make").run()
    page.text_input(key="bench_1_bath_volume_l").set_value("2")
    page.text_input(key="bench_make_lot").set_value("L2231").run()
    page.button(key="keep_dyebath").click().run()
    with open_book(empty_book) as book:
        assert {row["product"]: row["lot"] for row in book.rows("lots")} == {"sulphuric acid": "S77", "Ember": "L2231"}
