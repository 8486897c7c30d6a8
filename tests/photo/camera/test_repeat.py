"""Repeatability against closed forms, and through the command on photos of one coupon."""

import json
import math

import cv2
import numpy as np
import pytest
from typer.testing import CliRunner

from dyebook.errors import PhotoError
from dyebook.photo.camera.profile import learn_camera
from dyebook.photo.camera.repeat import gauge_share, repeatability
from dyebook.photo.camera.store import keep_camera, load_camera
from dyebook.shell.main import app
from tests.photo.charts import CORNERS, chart_light, chart_photo, chart_picture


def test_mean_difference_from_the_mean_of_even_noise():
    # mean of the Maxwell distribution: 2 sqrt(2 / pi) sigma = 1.5958 sigma
    noise = np.random.default_rng(4).normal([50, 5, -20], 0.7, (40_000, 3))
    result = repeatability(noise)
    assert result.mcdm == pytest.approx(2 * math.sqrt(2 / math.pi) * 0.7, rel=0.01)
    assert result.sd == pytest.approx([0.7] * 3, rel=0.02)
    assert math.isnan(result.grr_percent[0])


def test_three_readings_by_hand():
    result = repeatability([(50, 0, 0), (51, 0, 0), (52, 0, 0)])
    assert result.lab == (51, 0, 0)
    assert result.sd == (1, 0, 0)
    assert result.mcdm == pytest.approx(2 / 3)
    assert result.flags == ("few_readings",)
    with pytest.raises(PhotoError, match="2 readings"):
        repeatability([(50, 0, 0), (51, 0, 0)])


def test_gauge_share_of_a_right_triangle():
    # 3-4-5: 60 % of the total, 1.41 * 4 / 3 classes
    share, classes = gauge_share([3, 3, 3], [4, 4, 4])
    assert share == pytest.approx([60] * 3)
    assert classes == pytest.approx([1.88] * 3)


def test_check_reads_the_coupon_and_keeps_the_spread(tmp_path, monkeypatch):
    monkeypatch.setenv("DYEBOOK_CAMERAS_DIR", str(tmp_path / "cameras"))
    keep_camera(learn_camera(chart_photo(chart_light() * 0.9), "bench", CORNERS, table="after-2014"))
    files = []
    for seed in range(4):
        codes = np.clip(chart_picture(chart_light() * (0.8 + 0.02 * seed), 0.02, seed), 0, 1) ** (1 / 2.2) * 255
        files.append(str(tmp_path / f"{seed}.png"))
        cv2.imwrite(files[-1], codes.round().astype(np.uint8)[..., ::-1])
    where = ["--card-at", "172,172 192,172 192,192 172,192", "--part-at", "136,136 156,136 156,156 136,156"]
    run = CliRunner().invoke(app, ["camera", "check", *files, "--camera", "bench", *where, "--json"])
    assert run.exit_code == 0, run.output
    result = json.loads(run.stdout)
    assert result["count"] == 4
    assert max(result["sd"]) < 0.6  # exposure differs, the card takes it out
    kept = load_camera("bench")
    assert kept.repeat_sd == pytest.approx(result["sd"], abs=1e-3)
    assert all(np.array(kept.lab_u) > np.array(kept.repeat_sd))
