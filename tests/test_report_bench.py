"""Bench answers in words and on paper."""

import pytest

from dyebook.physics.answer import cautions_for
from dyebook.physics.area import parse_shape, sum_areas
from dyebook.physics.electrolyte import mix_acid
from dyebook.physics.film import plan_film
from dyebook.physics.sealing import PREPARATION, wet_steps
from dyebook.report.bench import (
    CAUTIONS,
    answer_lines,
    answer_page,
    answer_rows,
    detail_lines,
    few_and_rest,
    steps_page,
)
from dyebook.report.words import figure_text, lab_text


def test_both_units_are_shown():
    rows = dict(answer_rows(plan_film(1.5, 2.1, film_um=12.7, electrolyte_temp_c=20).to_dict()))
    # 12 % of 12.7 µm, one standard uncertainty, is 1.5 µm; 95 in 100 (k = 2) are 3 µm
    assert rows["film"] == "13 ± 3 µm (0.5 mil)"
    assert rows["current density"] == "1.4 A/dm² (13 A/ft²)"
    assert "in²" in rows["area"]


def test_rises_are_converted_as_differences():
    rows = dict(answer_rows(mix_acid(165, 2, wt_percent=96).to_dict()))
    assert rows["warms by"] == "26.2 °C (47 °F)"


def test_basis_notes_and_cautions_close_the_text():
    lines = answer_lines(mix_acid(400, 2, wt_percent=98).to_dict())
    assert any(line.startswith("Basis:") for line in lines)
    assert any(line.startswith("acid per portion") for line in lines)
    assert lines[-1].startswith("Caution: General information")
    film = answer_lines(plan_film(1.5, 2.1, film_um=12.7).to_dict())
    assert sum("± covers about 95 in 100" in line for line in film) == 1


def test_plus_or_minus_is_twice_the_standard_uncertainty_everywhere():
    from types import SimpleNamespace

    from dyebook.report.baths import strength_table, strength_words

    assert lab_text((50, 10, -20), (0.5, 1, 2)) == "L* 50.0 ± 1.0  a* 10.0 ± 2.0  b* −20.0 ± 4.0"
    assert figure_text("rise_c", 20.0, 0.5) == "20 ± 1 °C (36 °F)"
    point = SimpleNamespace(dye_g_per_l=3.0, dye_g_per_l_sd=0.1, kind="dip", at="2026-03-01T10:00")
    assert strength_words(point).startswith("3.0 ± 0.2 g/L")
    assert "3.0 ± 0.2 g/L" in strength_table([point])[0]


def test_three_cautions_are_shown_and_the_rest_folded():
    mix = mix_acid(400, 2, wt_percent=98).to_dict()
    first, rest = few_and_rest(mix["cautions"])
    assert len(first) == 3
    assert "into water" in first[0]
    assert set(first) | set(rest) == set(mix["cautions"]) - {CAUTIONS["general"]}
    shown = [line for line in answer_lines(mix) if line.startswith("Caution:")]
    assert len(shown) == 5
    assert "more with --page" in shown[3]
    whole = [line for line in answer_lines(mix, whole=True) if line.startswith("Caution:")]
    assert len(whole) == len(mix["cautions"])


def test_a_page_holds_the_lines_of_a_load_and_the_events_of_a_log():
    load = sum_areas([parse_shape("rod diameter=10 length=50 x4"), parse_shape("ball diameter=20")]).to_dict()
    assert detail_lines(load)[0].startswith("4 × rod")
    log = {"events": [{"time_min": 12.0, "kind": "contact_lost", "because": "why", "remedy": "Supply off."}]}
    assert detail_lines(log) == ["12 min: contact lost (why). Supply off."]
    many = {"lines": [{"count": 1, "label": "rod", "area_dm2": 0.1}] * 60}
    assert len(detail_lines(many)) == 25


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_steps_to_tick_fit_on_one_page(paper):
    for steps in (PREPARATION, wet_steps(12, 5, "nickel_acetate", skin_or_food=True)):
        pdf = steps_page("Before run 12", steps, cautions_for("supply_off", "protection", "caustic", "waste"), paper)
        assert pdf.count(b"/Type /Page\n") == 1


def test_areas_are_shown_in_square_feet_too():
    assert figure_text("area_dm2", 18.59) == "18.6 dm² (288 in², 2 ft²)"


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_one_page(paper):
    pdf = answer_page("Electrolyte, 2 L", mix_acid(400, 2, wt_percent=98).to_dict(), paper)
    assert pdf.startswith(b"%PDF")
    assert pdf.count(b"/Type /Page\n") == 1
