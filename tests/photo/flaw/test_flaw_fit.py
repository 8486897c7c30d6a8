"""What the flaws' trees learn from and how they are fitted: painted flaws, small trees, least probabilities."""

import numpy as np
import pytest

from dyebook.lab import lab_to_linear_rgb
from dyebook.photo.classifier import Trees
from dyebook.photo.file.read import photo_from_array
from dyebook.photo.flaw.features import FEATURES
from dyebook.photo.flaw.view import view_part
from dyebook.photo.light import Light
from tests.bench import flaw_fit
from tests.bench.boost import fit_trees
from tests.bench.flaw_fit import Seen, rows_of
from tests.bench.flaw_strokes import painted
from tests.bench.flaw_threshold import choose, rates
from tests.photo.flaw.test_flaw import SHADE, bar, part_at_box


@pytest.fixture(scope="module")
def sound():
    part = part_at_box()
    view = view_part(photo_from_array(bar()), Light(np.ones(3), np.zeros(2)), part)
    return Seen(True, view, lab_to_linear_rgb(SHADE), part.outline, ())


def test_a_painted_flaw_changes_its_own_place_most(sound):
    kinds = set()
    for seed in range(12):
        one = painted(np.random.default_rng(seed), sound)
        ((kind, mask),) = one.flaws
        kinds.add(kind)
        change = np.abs(one.view.log_light - sound.view.log_light).max(axis=2)
        assert not (mask & ~sound.view.mask).any()
        assert np.median(change[mask]) > np.median(change[sound.view.mask & ~mask])
        assert not change[~sound.view.mask].max() > change[mask].max()
    assert len(kinds) > 3


def test_a_painted_flaw_names_places_and_the_sound_part_names_none(sound):
    flawed = [painted(np.random.default_rng(seed), sound) for seed in range(6)]
    named = {row[1] for one in flawed for rows in rows_of(one.view, one.film, one.flaws) for row in rows}
    assert named & {"place", "pit", "gradient", "two_tone"}
    assert all(row[1] == "" for rows in rows_of(sound.view, sound.film, ()) for row in rows)


def test_trees_of_any_level_learn_a_step_and_use_only_what_they_may():
    rng = np.random.default_rng(3)
    rows = rng.uniform(-1, 1, (800, 3))
    wanted = rows[:, 0] > 0.2
    for levels in (1, 2, 3):
        trees = fit_trees(rows, wanted, count=40, levels=levels)
        assert trees.leaf.shape == (40, 2**levels)
        assert ((trees.probability(rows) > 0.5) == wanted).mean() > 0.97
    kept_off = fit_trees(rows, wanted, count=40, levels=2, allowed=np.array([False, True, True]))
    assert not (kept_off.feature[kept_off.threshold < 1e8] == 0).any()


def test_one_fork_sends_a_row_right_above_its_threshold():
    one = Trees(np.array([[0]]), np.array([[0.5]]), np.array([[-2.0, 2.0]]), 0.0)
    assert one.probability(np.array([[0.4], [0.6]])) == pytest.approx([1 / (1 + np.e**2), 1 / (1 + np.e**-2)])


def test_where_a_flaw_lies_has_no_say_in_whether_it_is_one(monkeypatch):
    monkeypatch.setattr(flaw_fit, "_TREES", dict.fromkeys(flaw_fit._TREES, 8))
    rng = np.random.default_rng(1)
    features = rng.uniform(0, 1, (300, len(FEATURES)))
    names = ["place" if row[FEATURES.index("open_rim")] > 0.6 else "" for row in features]
    kinds = [("spot", "streak", "pale_zone")[k % 3] if name else "" for k, name in enumerate(names)]
    places = list(zip(features, names, [1.0] * 300, kinds, strict=True))
    wholes = [(rng.uniform(0, 1, 20), ("gradient", "two_tone", "")[k % 3], 1.0, "") for k in range(60)]
    place = flaw_fit.fit(places, wholes)["place"]
    used = place.feature[place.threshold < 1e8]
    assert len(used)
    assert FEATURES.index("open_rim") not in used


def test_rates_count_what_is_reported_and_a_second_flaw_needs_more():
    parts = [([(0.9, "place", (0,)), (0.5, "pit", (1,))], 2), ([(0.7, "gradient", ())], 0)]
    least = dict.fromkeys(("place", "pit", "gradient", "two_tone"), 0.4)
    assert rates(parts, least, 0.4) == (1.0, 1.0)
    assert rates(parts, least, 0.6) == (0.5, 1.0)
    assert rates(parts, {**least, "gradient": 0.8}, 0.6) == (0.5, 0.0)


def test_the_probabilities_chosen_leave_false_flaws_out():
    rng = np.random.default_rng(0)
    flawed = [([(rng.uniform(0.55, 1), "place", (0,))], 1) for _ in range(60)]
    sound = [([(rng.uniform(0.1, 0.5), "place", ())], 0) for _ in range(60)]
    chosen, result = choose([flawed + sound] * 2)
    assert 0.45 <= chosen["place"] <= 0.6
    assert all(found > 0.95 and false < 0.05 for found, false in result)
