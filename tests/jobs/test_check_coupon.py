"""The check coupon's days: kept in the book, steady or drifting, told from the shell."""

import json
import re
from dataclasses import replace
from datetime import date, timedelta

import cv2
import numpy as np
import pytest
from typer.testing import CliRunner

from dyebook.errors import BookError, PhotoError
from dyebook.jobs.camera import keep_learned
from dyebook.jobs.check_coupon import count_from, coupon_cameras, coupon_days, keep_day, put_right, take_back
from dyebook.jobs.trouble import coupon_history
from dyebook.photo.camera.profile import learn_camera
from dyebook.photo.camera.store import keep_camera, load_camera, note_repeatability
from dyebook.report.camera import days_text
from dyebook.shell.main import app
from tests.photo.charts import CORNERS, chart_light, chart_photo, chart_picture

FIRST = date(2026, 3, 2)
COUPON = np.array([42.0, 10.0, -30.0])


@pytest.fixture
def camera(tmp_path, monkeypatch):
    """A learned camera called bench."""
    monkeypatch.setenv("DYEBOOK_CAMERAS_DIR", str(tmp_path / "cameras"))
    keep_camera(learn_camera(chart_photo(chart_light() * 0.9), "bench", CORNERS, table="after-2014"))
    return "bench"


def iso(place):
    """Day of a place in the series."""
    return (FIRST + timedelta(days=place)).isoformat()


def keep_series(book, camera, steps, axis=0):
    """Keep a day for each step along an axis, a little scatter on top."""
    noise = np.random.default_rng(3).normal(0, 0.25, (len(steps), 3))
    for k, step in enumerate(steps):
        lab = COUPON + noise[k] + step * np.eye(3)[axis]
        answer = keep_day(book, [(lab, None)], camera, FIRST + timedelta(days=k))
    return answer


def test_a_steady_coupon_is_steady(book, camera):
    answer = keep_series(book, camera, np.zeros(14))
    assert answer.drift.cause == "none"
    assert "Steady over 14 days" in days_text(answer)
    assert answer.days == coupon_days(book).days
    assert not load_camera(camera).coupon_days, "the book is its only home"


@pytest.mark.parametrize(
    ("axis", "step", "word"),
    [(0, 2, "lighter"), (0, -2, "darker"), (1, 2, "redder"), (1, -2, "greener"), (2, 3, "duller")],
)
def test_a_new_lamp_shows_with_its_day_and_in_words(book, camera, axis, step, word):
    answer = keep_series(book, camera, [0] * 9 + [step] * 8, axis)
    assert answer.since in (iso(8), iso(9)), "scatter can lead the sum by a day"
    # the largest of the moves is the one that was made, and about as large
    amount, said = max(answer.moves)
    assert said == word
    assert amount == pytest.approx(abs(step), abs=0.5)
    text = days_text(answer)
    assert re.search(rf"Since 1[01] Mar 2026 readings are .*{amount:.1f} {word}", text)
    assert "a phone update, a new lamp or a soiled card?" in text
    assert answer.to_dict()["drifts"] is True


def test_the_card_s_dirt_is_named_where_only_lightness_moved(book, camera):
    assert "how a soiled card reads" in days_text(keep_series(book, camera, [0] * 9 + [2] * 8))


def test_put_right_looks_afresh_and_holds_to_the_same_colour(book, camera):
    before = keep_series(book, camera, [0] * 9 + [2] * 10 + [0] * 3)
    assert before.since == iso(9), "a running sum takes long to come down by itself"
    put_right(book, camera, iso(19))
    answer = coupon_days(book, camera)
    assert (answer.drift.cause, answer.kept) == ("none", before.kept)
    assert len(answer.judged) == 9
    assert "Put right on 21 Mar 2026" in days_text(answer)
    put_right(book, camera, None)
    assert coupon_days(book, camera).since == iso(9)


def test_what_came_back_by_itself_is_said_so(book, camera):
    answer = keep_series(book, camera, [0] * 9 + [2] * 12 + [0] * 5)
    assert answer.since in (iso(8), iso(9))
    assert answer.moves == ()
    assert "has come back since" in days_text(answer)


def test_put_right_in_vain_shows_again(book, camera):
    keep_series(book, camera, [0] * 9 + [2] * 10)
    put_right(book, camera, iso(12))
    assert coupon_days(book, camera).since == iso(12)


def test_another_piece_counts_from_its_own_first_day(book, camera):
    keep_series(book, camera, [0] * 9 + [30] * 8)
    count_from(book, camera, iso(9))
    answer = coupon_days(book, camera)
    assert (answer.drift.cause, answer.earlier, len(answer.days)) == ("none", 9, 8)
    assert answer.kept[0] == pytest.approx(72, abs=0.3)
    count_from(book, camera, None)
    assert coupon_days(book, camera).earlier == 0


def test_few_days_tell_nothing_yet(book, camera):
    answer = keep_series(book, camera, [0, 0, 5])
    assert (answer.drift, answer.missing) == (None, 4)
    assert "4 more days" in days_text(answer)
    assert coupon_history(book) is None


def test_a_day_is_the_mean_of_its_photos_and_counts_once(book, camera):
    keep_day(book, [(COUPON + 9, None)], camera, FIRST)
    answer = keep_day(book, [(COUPON - 1, None), (COUPON + 1, None)], camera, FIRST)
    assert answer.days == ((FIRST.isoformat(), *COUPON),)
    assert len(book.rows("readings", deleted=True)) == 1, "what was read first is still in the history"
    with pytest.raises(PhotoError, match="lies ahead"):
        keep_day(book, [(COUPON, None)], camera, date.today() + timedelta(days=2))
    take_back(book, camera, FIRST.isoformat())
    assert coupon_days(book) is None


def test_each_camera_has_days_of_its_own(book, camera):
    keep_day(book, [(COUPON, None)], camera, FIRST)
    keep_day(book, [(COUPON + 3, None)], "", FIRST + timedelta(days=1))
    assert coupon_cameras(book) == ["", "bench"]
    assert coupon_days(book).camera == ""
    assert coupon_days(book, camera).days[0][1:] == tuple(COUPON)
    assert "no learned camera" in days_text(coupon_days(book))


def test_what_a_camera_file_kept_is_read_and_moves_into_the_book(book, camera):
    old = tuple((iso(k), *COUPON) for k in range(9))
    keep_camera(replace(load_camera(camera), coupon_days=old))
    assert coupon_days(book, camera).days == old
    assert len(coupon_history(book)) == 9
    assert not book.rows("readings")
    take_back(book, camera, iso(8))
    assert len(book.rows("readings")) == 8
    assert coupon_days(book, camera).days == old[:8], "a day taken back stays away"
    keep_day(book, [(COUPON, None)], camera, FIRST + timedelta(days=9))
    assert len(coupon_days(book, camera).days) == 9


def test_a_camera_learned_anew_keeps_what_belongs_to_the_shop(book, camera):
    note_repeatability(camera, (0.2, 0.3, 0.4))
    keep_learned(book, replace(load_camera(camera), repeat_sd=None, learned_at="2026-03-06T08:00:00+00:00"))
    assert load_camera(camera).repeat_sd == (0.2, 0.3, 0.4)
    answer = keep_series(book, camera, np.zeros(9))
    assert answer.learned_anew == "2026-03-06"
    assert "learned anew on 6 Mar 2026" in days_text(answer)


def test_a_reader_keeps_no_day(book, camera):
    from dyebook.book.people import Who

    reader = book.seen_by(Who("Tove", "reader"))
    with pytest.raises(BookError):
        keep_day(reader, [(COUPON, None)], camera, FIRST)
    assert coupon_days(reader) is None


def test_from_the_shell(camera, tmp_path):
    codes = np.clip(chart_picture(chart_light() * 0.9, 0.02, 1), 0, 1) ** (1 / 2.2) * 255
    file = str(tmp_path / "coupon.png")
    cv2.imwrite(file, codes.round().astype(np.uint8)[..., ::-1])
    where = ["--card-at", "172,172 192,172 192,192 172,192", "--part-at", "136,136 156,136 156,156 136,156"]
    shelf = ["--book", str(tmp_path / "shop.dyebook")]
    day = ["--day", "2026-03-02", "--json"]
    run = CliRunner().invoke(app, ["camera", "check", file, "--camera", camera, *where, *shelf, *day])
    assert run.exit_code == 0, run.output
    assert json.loads(run.stdout)["days"][0]["day"] == "2026-03-02"
    assert "flaws" not in run.stderr, "nobody looks for flaws on a coupon"
    chart = tmp_path / "days.png"
    run = CliRunner().invoke(app, ["camera", "days", camera, *shelf, "--chart", str(chart)])
    assert run.exit_code == 0, run.output
    assert "6 more days" in run.output
    assert chart.read_bytes().startswith(b"\x89PNG")
    run = CliRunner().invoke(app, ["camera", "days", "no such", *shelf])
    assert "camera check PHOTO" in str(run.exception)


def test_a_day_is_today_or_a_date():
    assert CliRunner().invoke(app, ["camera", "check", "none.jpg", "--day", "monday"]).exit_code == 2
