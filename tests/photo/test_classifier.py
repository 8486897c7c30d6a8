"""The finders' classifiers against closed forms, and their files: what they were fitted to, and by which command."""

import json
from importlib.util import find_spec

import numpy as np
import pytest

from dyebook.photo import classifier, shared
from dyebook.photo.classifier import Trees, WeightedSum, load_classifiers, log_odds
from dyebook.photo.part.features import FEATURES
from tests.bench.refit import FITS, ROOT, use_weights

WRITTEN = [fit for fit in FITS.values() if fit.stands_in.endswith(".json")]


def test_a_weighted_sum_is_a_log_odds():
    one = WeightedSum(np.array([2.0, -1.0]), 0.5)
    rows = np.array([[1.0, 3.0], [0.0, 0.0]])
    assert log_odds(one.probability(rows)) == pytest.approx([-0.5, 0.5])


def test_trees_add_the_leaf_that_each_row_comes_to():
    forks = np.array([[0, 1, 1]]), np.array([[0.0, 10.0, 20.0]])
    trees = Trees(*forks, np.array([[-3.0, -1.0, 1.0, 3.0]]), 0.25)
    rows = np.array([[-1.0, 5.0], [-1.0, 15.0], [1.0, 15.0], [1.0, 25.0]])
    assert log_odds(trees.probability(rows)) == pytest.approx([-2.75, -0.75, 1.25, 3.25])


def test_weights_fitted_to_other_features_are_refused():
    with pytest.raises(ValueError, match=r"dyebook\.photo\.part/weights\.json holds a part fitted to other features"):
        load_classifiers("dyebook.photo.part", part=("size",))


@pytest.mark.parametrize("fit", WRITTEN, ids=lambda fit: fit.module)
def test_weights_say_what_they_came_from(fit):
    source = json.loads((ROOT / fit.stands_in).read_text(encoding="utf-8"))["fitted_by"]
    assert source["command"].startswith(f"python -m tests.bench.{fit.module}")
    assert source["seeds"]
    assert source["scores"]


@pytest.mark.parametrize("name", FITS)
def test_what_is_fitted_stands_where_the_plan_says(name):
    fit = FITS[name]
    assert fit.module is None or find_spec(f"tests.bench.{fit.module}")
    assert (ROOT / fit.stands_in.split(":")[0].split(",")[0]).is_file()


def test_a_fit_to_one_world_leaves_the_other_out():
    words = FITS["part"].command({"simple": range(2, 4)}, "FILE")
    assert words[2:] == ["tests.bench.part_fit", "--a", "16:32", "--b", "0:0", "--out", "FILE"]
    assert FITS["sizes"].command({"physical": range(9)})[-4:] == ["--world", "physical", "--setups", "0:9"]


def test_other_weights_stand_in_for_the_houses(tmp_path, monkeypatch):
    monkeypatch.setattr(classifier, "files", classifier.files)
    monkeypatch.setattr(shared.error_parts, "__defaults__", shared.error_parts.__defaults__)
    table = {"classifiers": {"card": {"features": ["size"], "start": 0.5, "weights": [2.0]}}}
    (tmp_path / "card").mkdir()
    (tmp_path / "card" / "weights.json").write_text(json.dumps(table), encoding="utf-8")
    (tmp_path / "sizes.json").write_text(json.dumps({"balance": 0.5}), encoding="utf-8")
    try:
        use_weights(tmp_path)
        assert load_classifiers("dyebook.photo.card", card=("size",))["card"].start == 0.5
        assert shared.error_parts.__defaults__[0].balance == 0.5
        assert load_classifiers("dyebook.photo.part", part=FEATURES)["part"].leaf.size
    finally:
        load_classifiers.cache_clear()
