"""Batches, colours and changes in words."""

import math
from datetime import datetime

import pytest

from dyebook.lab import describe_colour, lab_to_srgb8, srgb8_to_lab
from dyebook.report import batches as report_batches
from dyebook.report import words as report_words


@pytest.mark.parametrize(
    ("name", "value", "text"),
    [("film_um", 12.0, "12 µm"), ("electrolyte_temp_c", -2.0, "−2 °C"), ("ph", math.nan, ""), ("sealed", True, "yes")],
)
def test_values_carry_their_units(name, value, text):
    assert report_words.value_text(name, value) == text


def test_a_moment_reads_the_same_in_every_locale():
    assert report_words.moment_text("2026-03-28T14:30") == "28 Mar 2026, 14:30"
    assert report_words.moment_text("2026-03-28") == "28 Mar 2026"
    assert report_words.moment_text(None) == ""


@pytest.mark.parametrize(
    ("due", "text"),
    [("2026-03-28", "today"), ("2026-03-29", "tomorrow"), ("2026-04-04", "in 7 days"), ("2026-03-25", "3 days late")],
)
def test_a_day_is_told_against_now(due, text):
    assert report_words.due_text(due, datetime(2026, 3, 28, 17)).endswith(text)


def test_a_difference_has_a_figure_and_words():
    assert report_words.difference_text((50, 0, 0), (53, 0, 0)) == "lighter, seen side by side (ΔE00 3.0)"
    assert report_words.difference_text((50, 0, 0), (50.1, 0, 0)) == "no difference to speak of (ΔE00 0.1)"


@pytest.mark.parametrize(
    ("name", "value", "text"),
    [
        ("film_um", 15.0, "15 µm"),
        ("film_um", 0.3333, "0.3 µm"),
        ("minutes", 9.25, "9:15 min"),
        ("minutes", 65.0, "1 h 05 min"),
        ("volume_l", 0.35, "350 mL"),
        ("water_ml", 1720.0, "1.72 L"),
        ("current_a", 2.9, "2.90 A"),
        ("growth_at_end", 0.927, "7 % slower than at the start"),
        ("electrolyte_temp_c", 20.0, "20.0 °C"),
    ],
)
def test_figures_have_the_precision_of_a_bench(name, value, text):
    token = report_words.OTHER_UNITS.set(False)
    assert report_words.figure_text(name, value) == text
    report_words.OTHER_UNITS.reset(token)


@pytest.mark.parametrize(
    ("hint", "without"),
    [
        ("12 or 0.5 mil", "12"),
        ("50 or 122 °F", "50"),
        ("1.5 or 23 in²", "1.5"),
        ("11.8 12.1, or 0.47 mil 0.48 mil", "11.8 12.1"),
        ("5 or 5:30", "5 or 5:30"),
        ("2.9 or 0", "2.9 or 0"),
        ("35, 10, −42 or batch 12", "35, 10, −42 or batch 12"),
    ],
)
def test_a_hint_names_other_units_only_where_the_shop_wants_them(hint, without):
    assert report_words.hint_text(hint) == hint
    token = report_words.OTHER_UNITS.set(False)
    assert report_words.hint_text(hint) == without
    report_words.OTHER_UNITS.reset(token)


def test_a_change_names_old_and_new():
    line = {"at": "2026-03-28T14:30", "who": "Ada", "action": "correct"}
    text = report_batches.change_text({**line, "old": {"film_um": 12.0}, "new": {"film_um": 10.0}})
    assert text == "28 Mar 2026, 14:30, Ada: film 12 µm → 10 µm"
    assert report_batches.change_text({**line, "action": "delete", "old": {}, "new": {}}).endswith("marked as deleted")


def test_what_people_wrote_is_escaped():
    assert "<script>" not in report_words.pairs_html([("note", "<script>alert(1)</script>")])


# everyday names of the sRGB primaries, secondaries and greys; IEC 61966-2-1 gives their place in Lab
@pytest.mark.parametrize(
    ("code", "word"),
    [
        ("ff0000", "red"),
        ("ff8800", "orange"),
        ("ffff00", "yellow"),
        ("00ff00", "green"),
        ("00ffff", "turquoise"),
        ("0000cc", "blue"),
        ("7a30b0", "violet"),
        ("ff00ff", "magenta"),
        ("6b4423", "brown"),
        ("808080", "grey"),
        ("101010", "black"),
        ("ffffff", "white"),
    ],
)
def test_colours_have_everyday_names(code, word):
    assert describe_colour(srgb8_to_lab(bytes.fromhex(code))).endswith(word)


def test_screen_codes_and_lab_are_inverses():
    codes = bytes.fromhex("1f4e8c")
    back, clipped = lab_to_srgb8(srgb8_to_lab(codes))
    assert bytes(back) == codes
    assert not clipped
