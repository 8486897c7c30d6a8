"""Suggestions against simulated truth, and against what was asked."""

import json
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from dyebook import delta_e_00, learn_bath
from dyebook.advice.judge import Shade
from dyebook.advice.suggest import SLIPS, Aim, Space, _spread, as_dipped, checked_target, default_bounds
from dyebook.errors import ModelError
from dyebook.model.inputs import SETTINGS, Settings
from dyebook.report.words import sentence_text


@pytest.fixture(scope="module")
def model(bath):
    return learn_bath(bath.records(12, np.random.default_rng(2)))


@pytest.fixture(scope="module")
def target(bath):
    return bath.target(np.random.default_rng(7))


def test_the_suggested_dip_gives_the_target(model, bath, target):
    """1.5: less than the 1.8 that half of the judges accept (ISO/TR 28642)."""
    best = model.suggest(target, film_um=12, ph=5.5)[0]
    truth = bath.truth(pd.DataFrame([best.settings]))[0]
    assert best.reachable
    assert delta_e_00(target, truth) < 1.5
    assert best.delta_e00 <= best.delta_e00_p90


def test_what_is_fixed_stays_and_bounds_hold(model, target):
    found = model.suggest(target, film_um=10, fixed={"bath_temp_c": 40}, bounds={"dwell_min": (2, 6)}, count=5)
    for one in found:
        assert one.settings["film_um"] == 10
        assert one.settings["bath_temp_c"] == 40
        assert 2 - 1e-9 <= one.settings["dwell_min"] <= 6 + 1e-9


def test_answers_are_distinct_and_the_first_is_the_best(model, target):
    found = model.suggest(target, film_um=12, count=3)
    assert len({(round(s.settings["bath_temp_c"], 1), round(s.settings["dwell_min"], 2)) for s in found}) == len(found)
    assert found[0].delta_e00 <= found[-1].delta_e00 + 0.1


@pytest.mark.parametrize(("lab", "film_um", "said"), [((12, 0, 0), 10, True), ((12, 0, 0), 14, False),
                                                         ((45, 0, 0), 10, False)])  # fmt: skip
def test_a_black_on_thin_film_is_no_true_black(model, lab, film_um, said):
    """Common practice, no source: 12 µm."""
    why = sentence_text(model.suggest(lab, film_um=film_um, count=1)[0].why)
    assert ("not a true black" in why) is said


def test_free_film_is_chosen(model, target):
    assert 4 <= model.suggest(target)[0].settings["film_um"] <= 26


def test_everything_fixed_is_answered(model, target):
    fixed = {"film_um": 12, "dye_g_per_l": 2, "bath_temp_c": 40, "dwell_min": 5, "ph": 5.5}
    (only,) = model.suggest(target, fixed=fixed)
    assert only.settings == fixed


def test_another_hue_is_out_of_reach(model, bath, target):
    opposite = (target[0], -target[1] - 30 * np.sign(target[1]), -target[2])
    best = model.suggest(opposite, film_um=12)[0]
    assert not best.reachable
    assert best.delta_e00 > 5
    assert "cannot reach" in best.why


@pytest.mark.parametrize(("apart", "within"), [(1.3, True), (2.5, False)])
def test_within_reach_is_what_half_of_the_judges_accept(model, target, apart, within):
    """1.8 (ISO/TR 28642, value from memory), give or take what such a bath is unsure of its own colour."""
    fixed = {"film_um": 12, "dye_g_per_l": 2, "bath_temp_c": 40, "dwell_min": 5, "ph": 5.5}
    own = np.array(model.suggest(target, fixed=fixed)[0].lab)
    off = own - [apart * apart / delta_e_00(own, own - [apart, 0, 0]), 0, 0]
    (only,) = model.suggest(off, fixed=fixed)
    assert delta_e_00(off, own) == pytest.approx(apart, abs=0.05)
    assert only.reachable is within


def test_sensitivity_has_the_size_of_a_step(model, target):
    best = model.suggest(target, film_um=12)[0]
    assert 0 < best.per_10_s < 10
    assert 0 < best.per_degree < 10


def test_slips_are_those_of_a_shop(model, target):
    """A closed form: one slip alone spreads the colour by its size times the colour's slope along that setting."""
    one = model.suggest(target, film_um=12)[0]
    here = Settings(**{name: np.array([value]) for name, value in one.settings.items()})
    draws = model.colour_draws(here)
    made = as_dipped(model, here, draws)[:, 0]
    variance = model.predict(pd.DataFrame([one.settings]))[["L_sd", "a_sd", "b_sd"]].to_numpy()[0] ** 2
    steps = {**SLIPS, "film_um": 12 * 0.08, "dye_g_per_l": 0.02 * one.settings["dye_g_per_l"]}
    for name, step in steps.items():
        moved = model.colour_draws(here.moved(**{name: getattr(here, name) + step}))
        variance = variance + np.mean((moved - draws)[:, 0] ** 2, axis=0)
    assert made.std(axis=0) == pytest.approx(np.sqrt(variance), rel=0.15)


@pytest.fixture(scope="module")
def photographed(bath):
    """Dips read in one set-up, whose readings share 2 in lightness and 3 in colour."""
    told = {"setup": "bench", "L_sd": 0.5, "a_sd": 0.5, "b_sd": 0.5, "L_u": 2.1, "a_u": 3.1, "b_u": 3.1}
    return learn_bath(bath.records(6, np.random.default_rng(2)).assign(**told))


def reading(lab, setup):
    """A reading as `judge` takes it, with the parts of the dips' own."""
    parts = {"camera": np.diag([4.0, 9.0, 9.0]), "photo": 0.2 * np.eye(3), "own": 0.05 * np.eye(3)}
    return Shade(tuple(lab), parts, setup=setup)


def test_what_dips_and_target_share_cancels(photographed, target):
    """The set-up's own error counts for a stated shade and once more for a photo of another set-up, and is said."""
    same, stated, other = (
        photographed.suggest(one, film_um=12, count=1)[0]
        for one in (reading(target, "bench"), target, reading(target, "window"))
    )
    assert same.delta_e00_p90 < stated.delta_e00_p90 < other.delta_e00_p90
    assert delta_e_00(same.lab, stated.lab) < 1.0
    assert "camera" not in same.why
    assert "camera" in stated.why


@pytest.mark.parametrize("misread", [-8.0, 8.0])
def test_a_sample_misread_in_lightness_is_known_by_its_colour(photographed, misread):
    """Lightness unsure by 8, as under a lamp, is what the bath makes of this colour; what is sure stays as read."""
    dwells = pd.DataFrame({"dwell_min": np.geomspace(0.6, 18, 30)}).assign(
        film_um=12.0, dye_g_per_l=2.0, bath_temp_c=40.0, ph=5.5
    )
    colours = photographed.colour_draws(Settings(**{name: dwells[name].to_numpy() for name in SETTINGS}))
    true = colours.mean(axis=0)[15]
    for doubt, off in ((8.0, 0.0), (0.05, misread)):
        sample = Shade(np.add(true, (misread, 0, 0)), {"photo": np.diag([doubt**2, 0.1, 0.1])}, setup="bench")
        assert Aim.of(sample, photographed).likely(colours) == pytest.approx(np.add(true, (off, 0, 0)), abs=1.0)


def test_an_exact_target_stays_where_it_is():
    """Closed form: without doubt there is nothing to weigh, whatever a bath does."""
    aim = Aim(np.array([40.0, 8.0, -38.0]), np.zeros((3, 3)), False)
    assert aim.likely(np.random.default_rng(0).normal(50, 20, (8, 30, 3))) == pytest.approx((40, 8, -38))
    near = Aim(aim.lab, 1e-8 * np.eye(3), False)
    assert near.likely(np.random.default_rng(0).normal(50, 20, (8, 30, 3))) == pytest.approx((40, 8, -38), abs=1e-3)


def test_another_set_up_of_the_dips_is_put_in_step(bath, target):
    """Two set-ups, one 3 redder: a target read in the redder one is reached as if it had been read in the other."""
    records = bath.records(24, np.random.default_rng(2))
    redder = np.arange(24) % 3 == 0
    told = {"L_sd": 0.5, "a_sd": 0.5, "b_sd": 0.5, "L_u": 2.1, "a_u": 3.1, "b_u": 3.1}
    model = learn_bath(records.assign(a=records["a"] + 3.0 * redder, setup=np.where(redder, "lamp", "bench"), **told))
    assert model.seen_by("lamp").mean(axis=0) == pytest.approx([0, 3, 0], abs=0.7)
    best = model.suggest(reading(np.add(target, [0, 3, 0]), "lamp"), film_um=12, count=1)[0]
    assert best.reachable
    assert delta_e_00(target, bath.truth(pd.DataFrame([best.settings]))[0]) < 1.5


def test_one_dip_is_wide_and_better_than_none(bath):
    """Most dips suggested after one dip lie within the stated p90, which the small number of baths only bounds."""
    rng = np.random.default_rng(12)
    inside, miss = [], []
    for _ in range(8):
        target = bath.target(rng)
        one = learn_bath(bath.records(1, rng)).suggest(target, film_um=12, ph=5.5, count=1)[0]
        miss.append(delta_e_00(target, bath.truth(pd.DataFrame([one.settings]))[0]))
        inside.append(miss[-1] < one.delta_e00_p90)
    assert np.mean(inside) > 0.6
    assert np.median(miss) < 10


def test_suggestion_is_plain_json(model, target):
    entry = json.loads(json.dumps(model.suggest(target, film_um=12)[0].to_dict()))
    assert set(entry) >= {"settings", "lab", "delta_e00", "delta_e00_p90", "reachable", "why"}


@pytest.mark.parametrize(
    ("question", "needed"),
    [
        ({"target": (200, 0, 0)}, "L"),
        ({"target": (50, 0)}, "three numbers"),
        ({"target": (50, np.nan, 0)}, "three numbers"),
        ({"target": "#336699"}, "three numbers"),
        ({"target": (50, 0, 0), "film_um": -3}, "film_um is -3"),
        ({"target": (50, 0, 0), "fixed": {"temperature": 40}}, "no setting"),
        ({"target": (50, 0, 0), "bounds": {"dwell_min": (9, 2)}}, "lower one comes first"),
        ({"target": (50, 0, 0), "count": 0}, "count is 0"),
    ],
)
def test_impossible_questions_are_refused(model, question, needed):
    target = question.pop("target")
    with pytest.raises(ModelError, match=needed):
        model.suggest(target, **question)


@pytest.mark.parametrize(
    ("last", "beyond"),
    [
        ((100, 0, 0), (100.1, 0, 0)),
        ((0, 0, 0), (-0.1, 0, 0)),
        ((50, 150, -150), (50, 150.1, 0)),
        ((50, 0, 150), (50, 0, -151)),
    ],
)
def test_a_target_is_a_colour_of_a_surface(last, beyond):
    """CIE 1976: no surface is lighter than perfect white, L* 100; a* and b* as the book holds them."""
    assert checked_target(last) == pytest.approx(last)
    with pytest.raises(ModelError, match="it must lie between"):
        checked_target(beyond)


def test_points_of_the_cube_and_settings_are_inverses(model):
    space = Space(model, 12.0, None, {}, {})
    points = np.random.default_rng(1).uniform(0.01, 0.99, (50, len(space.free)))
    assert space.unit(space.settings(points)) == pytest.approx(points, abs=1e-9)


@pytest.mark.parametrize("name", ["dye_g_per_l", "bath_temp_c", "dwell_min"])
def test_an_answer_at_the_rim_of_the_dips_is_no_guess_and_one_far_beyond_is(model, name):
    """A quarter of a large ordinary change (twice the strength, 2.2 times as long, 12 °C) is let pass."""
    seen = getattr(model.training.settings, name)
    for share, far in ((0.0, False), (0.2, False), (0.3, True), (0.8, True)):
        step = {"bath_temp_c": 12 * share, "dye_g_per_l": 2**share, "dwell_min": 2.2**share}[name]
        rims = (
            (seen.min() - step, seen.max() + step) if name == "bath_temp_c" else (seen.min() / step, seen.max() * step)
        )
        for value in rims:
            held = {"bath_temp_c": 40.0, "dye_g_per_l": 2.0, "dwell_min": 4.0} | {name: float(value)}
            footing = model.suggest((40, 10, -10), film_um=12.0, fixed=held, count=1)[0].why.values["footing"]
            assert (name in footing.values.get("names", ())) == far, value


def test_the_targets_drawn_are_the_product_of_two_normal_laws():
    """Closed form: precisions add; the prior here is that a bath nearly makes the shade, to within 1 ΔE."""
    own = np.diag([4.0, 1.0, 0.25])
    aim = Aim(np.array([40.0, 10.0, -10.0]), own, False)
    draws = aim.draws(np.tile(aim.lab, (40_000, 1)), np.zeros((0, 3)), np.random.default_rng(0))
    assert draws.mean(axis=0) == pytest.approx(aim.lab, abs=0.02)
    assert np.cov(draws.T) == pytest.approx(np.linalg.inv(np.linalg.inv(own) + np.eye(3)), abs=0.02)


def test_the_best_points_are_taken_that_lie_apart():
    """By hand, along one axis and over two, where the larger step counts."""
    line = np.array([[0.0], [0.1], [0.3], [0.55], [0.95]])
    assert _spread(line, np.array([1, 2, 3, 4, 5]), 9, 0.25) == [0, 2, 3, 4]
    assert _spread(line, np.array([5, 1, 4, 3, 2]), 9, 0.25) == [1, 4, 3]
    assert _spread(line, np.array([1, 2, 3, 4, 5]), 2, 0.25) == [0, 2]
    plane = np.array([[0.0, 0.0], [0.2, 0.2], [0.0, 0.25], [0.9, 0.0]])
    assert _spread(plane, np.arange(4), 9, 0.25) == [0, 2, 3]
    assert _spread(np.zeros((1, 0)), np.zeros(1), 3, 0.25) == [0]


def test_a_search_goes_as_far_as_a_bench_can_and_somewhat_beyond_what_was_dipped():
    """Common practice, no source: 20 to 65 °C, half a minute to 20, films from 4 to 26 µm, 0.1 to 15 g/L."""

    def bounds(film_um, dye_g_per_l):
        columns = {"film_um": film_um, "dye_g_per_l": dye_g_per_l, "bath_temp_c": 40, "dwell_min": 5, "ph": 5.5}
        settings = Settings(**{name: np.array(value) * np.ones(2) for name, value in columns.items()})
        return default_bounds(SimpleNamespace(training=SimpleNamespace(settings=settings)))

    within = bounds([10.0, 12.0], [1.0, 3.0])
    assert (within["bath_temp_c"], within["dwell_min"]) == ((20, 65), (0.5, 20))
    assert within["film_um"] == pytest.approx((6, 18))
    assert within["dye_g_per_l"] == pytest.approx((0.4, 7.5))
    assert bounds([5.0, 20.0], [0.2, 9.0]) == within | {"film_um": (4, 26), "dye_g_per_l": (0.1, 15)}


@pytest.mark.parametrize("count", [0, 21])
def test_between_one_and_twenty_answers_can_be_given(model, target, count):
    with pytest.raises(ModelError, match="between 1 and 20"):
        model.suggest(target, count=count)
    fixed = {"film_um": 12, "dye_g_per_l": 2, "bath_temp_c": 40, "dwell_min": 5, "ph": 5.5}
    for most in (1, 20):
        assert len(model.suggest(target, fixed=fixed, count=most)) == 1
    assert len(model.suggest(target)) <= 3


def test_a_figure_as_json_has_the_digits_that_mean_something(model, target):
    plain = model.suggest(target, film_um=12)[0].to_dict()
    for name in ("lamp_a", "lamp_led", "lab"):
        assert np.array_equal(plain[name], np.round(plain[name], 2)), name
    for name in ("delta_e00", "delta_e00_p90", "per_10_s", "per_degree"):
        assert plain[name] == round(plain[name], 3), name
