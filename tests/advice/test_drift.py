"""Charts against the NIST/SEMATECH e-Handbook's worked examples, printed constants and run lengths; drift found."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from dyebook.advice.charts import cusum_chart, ewma_chart, individuals_chart, sd_from_moving_range
from dyebook.advice.drift import _LIMIT, FALSE_IN_HUNDRED, SEEN_AFTER, find_drift
from dyebook.errors import RecordError

# NIST/SEMATECH e-Handbook 6.3.2.4
EWMA_DATA = [
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6,
    52.1,
]  # fmt: skip
EWMA_PRINTED = [
    50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92,
    50.73, 51.23, 51.94, 51.99,
]  # fmt: skip
# 6.3.2.3
CUSUM_DATA = [
    324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600, 324.625, 325.150, 328.325,
    327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
]  # fmt: skip
CUSUM_HIGH = [
    0, 0, 0, 0, 0.0325, 0, 0, 0, 0, 0, 0, 0, 3.0075, 4.9400, 7.4475, 10.6300, 11.9875, 14.4450, 16.0025, 19.0350,
]  # fmt: skip
CUSUM_LOW = [0, 0.0075, 0, 0.3325, 0, 0, 0.5575, 0.7150, 0.1725, 0.2550, 0.3125, *[0] * 9]


def test_ewma_of_the_handbook():
    chart = ewma_chart(EWMA_DATA, 50, 2.0539, weight=0.3, width=3)
    assert chart.points == pytest.approx(EWMA_PRINTED, abs=0.0051)
    assert chart.upper[[0, 1, 2, 4, 9]] == pytest.approx([51.8485, 52.2564, 52.4314, 52.5516, 52.5874], abs=2e-4)
    assert (chart.lower[-1], chart.upper[-1]) == pytest.approx((47.4116, 52.5884), abs=2e-4)
    assert chart.signals == ()


def test_cusum_of_the_handbook():
    high, low = cusum_chart(CUSUM_DATA, 325, 1.0, slack=0.3175, limit=4.1959)
    assert high.points == pytest.approx(CUSUM_HIGH, abs=1e-9)
    assert low.points == pytest.approx(CUSUM_LOW, abs=1e-9)
    assert high.signals[0] == 13  # the fourteenth
    assert low.signals == ()


def test_individuals_of_the_handbook():
    """6.3.2.2: the last ten flow rates."""
    chart = individuals_chart(EWMA_DATA[10:])
    assert chart.centre == pytest.approx(50.81, abs=1e-4)
    assert (chart.lower[0], chart.upper[0]) == pytest.approx((45.8159, 55.8041), abs=2e-3)
    assert chart.signals == ()


def test_constant_of_single_values():
    """E2 2.659 for two neighbours, as printed."""
    chart = individuals_chart(EWMA_DATA)
    mean_range = np.mean(np.abs(np.diff(EWMA_DATA)))
    assert (chart.upper[0] - chart.centre) / mean_range == pytest.approx(2.659, abs=2e-3)


def run_lengths(step, start, beyond, shift, runs=2000, most=4000, seed=11):
    """Mean number of readings until `beyond`, all runs side by side."""
    rng = np.random.default_rng(seed)
    state, length, going = start(runs), np.zeros(runs), np.ones(runs, bool)
    for i in range(1, most):
        state = step(state, rng.standard_normal(runs) + shift, i)
        length[going] = i
        going &= ~beyond(state, i)
        if not going.any():
            break
    return length.mean()


# mean run lengths by integral equations; shifts 0.5, 1 and 2 standard deviations
@pytest.mark.parametrize(("shift", "printed"), [(0, 465.4), (0.5, 38.0), (1.0, 10.38), (2.0, 4.01)])
def test_run_length_of_our_rule(shift, printed):
    """The very chart code is held to a plain sum first, then the sum is run many times."""
    x = np.random.default_rng(1).standard_normal(50)
    sums = np.zeros(2)
    for value in x:
        sums = np.maximum(0, sums + np.array([value - 0.5, -value - 0.5]))
    assert [chart.points[-1] for chart in cusum_chart(x, 0, 1)] == pytest.approx(sums)

    def step(state, values, _):
        return np.maximum(0, state + np.stack([values, -values]) - 0.5)

    found = run_lengths(step, lambda n: np.zeros((2, n)), lambda s, _: (s > 5).any(axis=0), shift)
    assert found == pytest.approx(printed, rel=0.08)


def mean_run_length(limit, shift, slack=0.5, states=200):
    """Of a two-sided sum with centre and scatter known, by the Markov chain of Brook and Evans (1972)."""
    wide, i = 2 * limit / (2 * states - 1), np.arange(states)

    def one_sided(mean):
        away = (i[None] - i[:, None]) * wide + slack - mean
        moves = norm.cdf(away + wide / 2) - norm.cdf(away - wide / 2)
        moves[:, 0] = norm.cdf(away[:, 0] + wide / 2)
        return np.linalg.solve(np.eye(states) - moves, np.ones(states))[0]

    return 1 / (1 / one_sided(shift) + 1 / one_sided(-shift))


# both sides together, slack 0.5, as printed from integral equations (the figures at 1.5 from memory); what a mean run
# length is stands in the e-Handbook's 6.3.2.3.1
@pytest.mark.parametrize(
    ("limit", "shift", "printed"),
    [(4, 0, 168), (4, 1, 8.38), (4, 1.5, 4.75), (5, 0, 465), (5, 1, 10.4), (5, 1.5, 5.75), (5, 2, 4.01)],
)
def test_mean_run_lengths_as_printed(limit, shift, printed):
    assert mean_run_length(limit, shift) == pytest.approx(printed, rel=5e-3)


def test_our_limit_with_centre_and_scatter_known():
    assert mean_run_length(_LIMIT, 0) / 4 == pytest.approx(870, rel=0.01)
    assert mean_run_length(_LIMIT, 1.5) == pytest.approx(7.75, rel=0.01)


def first_signals(charts, runs, seed=11, baseline=12, later=100, step=0.0):
    """After how many readings (runs,) one of so many charts signals, each with its own dips as baseline; inf for never.

    `step`: of the first chart, after the baseline.
    """
    rng, first = np.random.default_rng(seed), np.full(runs, np.inf)
    for chart in range(charts):
        x = rng.standard_normal((runs, baseline + later))
        x[:, baseline:] += step * (chart == 0)
        centre = x[:, :baseline].mean(axis=1)
        sd = np.abs(np.diff(x[:, :baseline])).mean(axis=1) * np.sqrt(np.pi) / 2 * (1 + 2 / baseline)
        sums = np.zeros((2, runs))
        for i, value in enumerate(x.T):
            sums = np.maximum(0, sums + np.stack([value - centre, centre - value]) - (0.5 + 3 / baseline) * sd)
            if i >= baseline:
                beyond = (sums > _LIMIT * sd).any(axis=0)
                first[beyond] = np.minimum(first[beyond], i - baseline + 1)
    return first


@pytest.mark.parametrize("charts", FALSE_IN_HUNDRED)
def test_false_signals_are_stated_for_all_charts_together(charts):
    """Simulation of the rule as it is: twelve dips tell centre and scatter, and a signal of any chart is a signal."""
    assert np.isfinite(first_signals(charts, 2000)).mean() == pytest.approx(FALSE_IN_HUNDRED[charts], abs=0.03)


@pytest.mark.parametrize("baseline", [6, 10, 20, 30])
def test_about_three_of_ten_steady_baths_signal(baseline):
    assert np.isfinite(first_signals(4, 2000, baseline=baseline)).mean() < 0.345


def test_a_true_step_is_seen_in_few_readings():
    assert np.median(first_signals(1, 2000, step=1.5)) == pytest.approx(SEEN_AFTER, abs=1)


def test_the_simulated_rule_is_that_of_the_charts():
    rng, names = np.random.default_rng(5), ("delta_l", "delta_c", "delta_h")
    steady = [pd.DataFrame(rng.standard_normal((40, 3)), columns=names) for _ in range(40)]
    fired = 0
    for table in steady:
        fired += any(find_drift(table.head(count), baseline=12).trends[0].direction for count in range(13, 41, 3))
    assert fired / 40 == pytest.approx(np.isfinite(first_signals(1, 2000, later=28)).mean(), abs=0.1)


@pytest.mark.parametrize(("shift", "printed"), [(0.5, 41.76), (1.0, 10.54), (2.0, 3.74)])
def test_run_length_of_the_average(shift, printed):
    edge = 2.962 * np.sqrt(0.2 / 1.8)
    found = run_lengths(lambda z, x, _: 0.2 * x + 0.8 * z, np.zeros, lambda z, _: np.abs(z) > edge, shift)
    assert found == pytest.approx(printed, rel=0.08)


def history(count, fade_from=None, seed=0, per_reading=0.0):
    """Readings of a bath, ΔL* and strength; a fading bath gets lighter."""
    rng = np.random.default_rng(seed)
    age = np.zeros(count) if fade_from is None else np.maximum(0, np.arange(count) - fade_from)
    strength = -per_reading * age
    table = pd.DataFrame(
        {
            "delta_l": -12 * strength + rng.normal(0, 0.6, count),
            "delta_c": rng.normal(0, 0.6, count),
            "delta_h": rng.normal(0, 0.6, count),
            "log_strength": strength + rng.normal(0, 0.05, count),
        }
    )
    table["dyed_at"] = pd.date_range("2030-03-01", periods=count).strftime("%Y-%m-%d")
    return table


def test_fading_bath_is_found_dated_and_topped_up():
    found = find_drift(history(40, 20, per_reading=0.012), baseline=15, bath_volume_l=2, dye_g_per_l=5)
    assert found.cause == "unclear"
    assert "2030-03-14" <= found.since <= "2030-03-29"
    truth = np.exp(-0.012 * 17)  # the middle of the last five readings
    assert found.strength == pytest.approx(truth, abs=0.06)
    assert found.top_up_g == pytest.approx((1 - found.strength) * 10)
    assert "top up" in found.why
    assert "lighter" in found.why


def test_coupon_tells_camera_from_bath():
    fading = history(40, 20, per_reading=0.02)
    still = history(40, seed=5)[["delta_l", "delta_c", "delta_h"]]
    assert find_drift(fading, baseline=15, coupon=still).cause == "bath"
    moving = still.assign(delta_l=still["delta_l"] + np.linspace(0, 4, 40))
    found = find_drift(fading, baseline=15, coupon=moving)
    assert (found.cause, found.top_up_g) == ("camera", None)


def test_steady_baths_are_left_alone():
    """Four charts, two of which err together, over thirty more readings."""
    said = [find_drift(history(50, seed=seed), baseline=20).cause != "none" for seed in range(100)]
    assert np.mean(said) < 0.12


def test_moving_range_and_refusals():
    assert sd_from_moving_range([1.0, 2.128, 1.0]) == pytest.approx(1.0, abs=1e-3)
    with pytest.raises(RecordError, match="too few"):
        find_drift(history(5))
    with pytest.raises(RecordError, match="without gaps"):
        ewma_chart([1.0, np.nan], 0, 1)
