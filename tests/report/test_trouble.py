"""Causes, verdicts and drift in words: what a screen shows says what the figures say, and nothing escapes unescaped."""

from html import escape

import numpy as np
import pandas as pd
import pytest

from dyebook.advice.diagnose import Cause, diagnose
from dyebook.advice.drift import find_drift
from dyebook.advice.judge import Shade, judge, own_error
from dyebook.notebook import Note
from dyebook.report import trouble as report_trouble
from dyebook.report.bench import CAUTIONS
from dyebook.report.plots import plot_trend


@pytest.mark.parametrize(
    ("chance", "said"), [(0.97, "nearly certain"), (0.62, "about 6 in 10"), (0.04, "about 4 in 100"), (0.004, "hardly")]
)
def test_chances_as_people_say_them(chance, said):
    assert report_trouble.probability_text(chance) == said


def test_only_causes_worth_a_look_are_drawn_in_full():
    causes = diagnose({"film_um": 12, "film_measured_um": 5})
    first = report_trouble.leading(causes)
    assert 1 <= len(first) <= 3
    assert all(one.probability >= 0.05 for one in first[1:])
    lines = report_trouble.less_likely_lines(causes, len(first))
    assert not any(line.startswith(f"{one.name}:") for one in first for line in lines)


def test_words_from_outside_are_escaped():
    drawn = report_trouble.causes_html([Cause("sound", 0.5, "nothing wrong: <b>bold</b>", "", "", "")])
    assert "<b>bold" not in drawn
    assert "&lt;b&gt;bold" in drawn


@pytest.mark.parametrize("write", [report_trouble.causes_text, report_trouble.causes_html])
def test_no_caution_is_said_twice_and_the_close_once(write):
    alike = ("weak_bath", "ph_off", "contaminated_bath")
    text = write([Cause(name, 0.3, "", "", Note("trouble.caution", cause=name), "") for name in alike])
    said = [caution for caution in CAUTIONS.values() if escape(caution) in text or caution in text]
    assert {CAUTIONS["dye"], CAUTIONS["waste"], CAUTIONS["general"]} <= set(said)
    assert all(max(text.count(caution), text.count(escape(caution))) == 1 for caution in said)


def test_a_verdict_says_its_figures():
    found = judge((40, 10, -20), Shade((55, 10, -20), own_error((1, 1, 1))))
    head, lines = report_trouble.verdict_lines(found)
    assert head == "Off"
    assert "lighter" in lines[0]
    assert "you allow 2" in lines[0]
    assert "ΔL* +15.0" in report_trouble.difference_figures(found)
    assert "ΔE*ab 15.0" in report_trouble.verdict_text(found)


def test_a_fading_bath_is_told_and_drawn():
    steps = np.arange(24)
    rng = np.random.default_rng(3)
    fade = -0.06 * np.maximum(steps - 10, 0)
    history = pd.DataFrame({"log_strength": fade + rng.normal(0, 0.03, 24), "batch": steps,
                            "dyed_at": [f"2026-03-{day + 1:02d}" for day in steps]})  # fmt: skip
    drift = find_drift(history, baseline=10, bath_volume_l=2.0, dye_g_per_l=3.0)
    head, line = report_trouble.drift_lines(drift)
    assert head.startswith("Fading since ")
    assert "Mar 2026" in head
    assert "top up" in head
    assert "check coupon" in line
    figure = plot_trend(history, drift.trends[0], filled=("2026-03-05T08:00",))
    points = next(trace for trace in figure.data if trace.mode == "markers")
    assert points.y[-1] == pytest.approx(100 * np.exp(history["log_strength"].iloc[-1]))


def test_a_steady_bath_is_steady():
    history = pd.DataFrame({"delta_l": np.random.default_rng(5).normal(0, 0.5, 20)})
    assert report_trouble.drift_lines(find_drift(history, baseline=10))[0] == "Steady"
