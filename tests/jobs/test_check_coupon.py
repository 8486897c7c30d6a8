"""The check coupon's days: kept with the camera, steady or drifting, told from the shell."""

import json
from datetime import date, timedelta

import cv2
import numpy as np
import pytest
from typer.testing import CliRunner

from dyebook.book.store import open_book
from dyebook.cli import app
from dyebook.errors import PhotoError
from dyebook.jobs.check_coupon import coupon_days, keep_day
from dyebook.jobs.drift import coupon_history, keep_coupon
from dyebook.photo.camera import learn_camera
from dyebook.photo.camera_store import keep_camera, load_camera
from dyebook.report_camera import days_text
from tests.photo.charts import CORNERS, chart_light, chart_photo, chart_picture

FIRST = date(2026, 3, 2)
COUPON = np.array([42.0, 10.0, -30.0])


@pytest.fixture
def camera(tmp_path, monkeypatch):
    """A learned camera called bench."""
    monkeypatch.setenv("DYEBOOK_CAMERAS_DIR", str(tmp_path / "cameras"))
    keep_camera(learn_camera(chart_photo(chart_light() * 0.9), "bench", CORNERS, table="after-2014"))
    return "bench"


def keep_series(camera, steps):
    """Keep a day for each step of lightness, a little scatter on top."""
    noise = np.random.default_rng(3).normal(0, 0.25, (len(steps), 3))
    for k, step in enumerate(steps):
        told = keep_day(camera, [COUPON + noise[k] + (step, 0, 0)], FIRST + timedelta(days=k))
    return told


def test_a_steady_coupon_is_steady(camera):
    told = keep_series(camera, np.zeros(14))
    assert told.drift.cause == "none"
    assert "steady" in days_text(told)
    assert load_camera(camera).coupon_days == told.days == coupon_days(camera).days


def test_a_new_lamp_shows(camera):
    told = keep_series(camera, [0] * 9 + [2] * 5)
    assert told.drift.cause != "none"
    assert told.drift.since == (FIRST + timedelta(days=9)).isoformat()
    assert "drifts since" in days_text(told)
    assert told.to_dict()["drifts"] is True


def test_few_days_tell_nothing_yet(camera):
    told = keep_series(camera, [0, 0, 5])
    assert (told.drift, told.missing) == (None, 4)
    assert "4 more days" in days_text(told)


def test_a_day_is_the_mean_of_its_photos_and_counts_once(camera):
    keep_day(camera, [COUPON + 9], FIRST)
    told = keep_day(camera, [COUPON - 1, COUPON + 1], FIRST)
    assert told.days == ((FIRST.isoformat(), *COUPON),)
    with pytest.raises(PhotoError, match="lies ahead"):
        keep_day(camera, [COUPON], date.today() + timedelta(days=2))


def test_from_the_shell(camera, tmp_path):
    codes = np.clip(chart_picture(chart_light() * 0.9, 0.02, 1), 0, 1) ** (1 / 2.2) * 255
    file = str(tmp_path / "coupon.png")
    cv2.imwrite(file, codes.round().astype(np.uint8)[..., ::-1])
    where = ["--card-at", "172,172 192,172 192,192 172,192", "--part-at", "136,136 156,136 156,156 136,156"]
    run = CliRunner().invoke(
        app, ["camera", "check", file, "--camera", camera, *where, "--day", "2026-03-02", "--json"]
    )
    assert run.exit_code == 0, run.output
    assert json.loads(run.stdout)["days"][0]["day"] == "2026-03-02"
    chart = tmp_path / "days.png"
    run = CliRunner().invoke(app, ["camera", "days", camera, "--chart", str(chart)])
    assert run.exit_code == 0, run.output
    assert "1 days of the check coupon" in run.output
    assert chart.read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize("options", [["--day", "2026-03-02"], ["--camera", "bench", "--day", "monday"]])
def test_a_day_needs_a_camera_and_a_date(options):
    assert CliRunner().invoke(app, ["camera", "check", "none.jpg", *options]).exit_code == 2


def test_a_book_without_a_coupon_of_its_own_takes_the_camera_s(camera, tmp_path):
    keep_series(camera, np.zeros(9))
    with open_book(tmp_path / "shop.dyebook") as book:
        assert len(coupon_history(book)) == 9
        keep_coupon(book, COUPON, read_at="2026-03-20")
        assert len(coupon_history(book)) == 1
