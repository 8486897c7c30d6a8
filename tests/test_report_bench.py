"""Bench answers in words and on paper."""

import pytest

from dyebook.physics.electrolyte import mix_acid
from dyebook.physics.film import plan_film
from dyebook.report_bench import answer_lines, answer_page, answer_rows


def test_both_units_are_shown():
    rows = dict(answer_rows(plan_film(1.5, 2.1, film_um=12.7).to_dict()))
    assert rows["film"] == "12.7 ± 1.5 µm (0.500 mil)"
    assert rows["current density"] == "1.40 A/dm² (13.0 A/ft²)"
    assert "in²" in rows["area"]


def test_rises_are_converted_as_differences():
    rows = dict(answer_rows(mix_acid(165, 2, wt_percent=96).to_dict()))
    assert rows["warms by"] == "26.2 °C (47 °F)"


def test_basis_notes_and_cautions_close_the_text():
    lines = answer_lines(mix_acid(700, 2, wt_percent=98).to_dict())
    assert any(line.startswith("Basis:") for line in lines)
    assert any(line.startswith("acid per portion") for line in lines)
    assert lines[-1].startswith("Caution: General information")


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_one_page(paper):
    pdf = answer_page("Electrolyte, 2 L", mix_acid(700, 2, wt_percent=98).to_dict(), paper)
    assert pdf.startswith(b"%PDF")
    assert pdf.count(b"/Type /Page\n") == 1
