"""The Camera page: learn, keep, offer on the Photo page, forget and bring back."""

from datetime import date, timedelta
from pathlib import Path

import cv2
import numpy as np
import pytest

from dyebook.book.coupons import keep_check_day
from dyebook.book.setups import list_setups, name_setup, setup_names
from dyebook.book.store import open_book
from dyebook.jobs.check_coupon import keep_day
from dyebook.jobs.verdict import coupon_steps
from dyebook.lab import encode_srgb
from dyebook.photo.camera.store import list_cameras
from tests.photo.charts import chart_light, chart_picture


@pytest.fixture(autouse=True)
def own_cameras(tmp_path, monkeypatch):
    monkeypatch.setenv("DYEBOOK_CAMERAS_DIR", str(tmp_path / "cameras"))


@pytest.fixture
def chart():
    codes = np.round(encode_srgb(np.clip(chart_picture(chart_light() * 0.9), 0, 1)) * 255).astype(np.uint8)
    return cv2.imencode(".png", codes[..., ::-1])[1].tobytes()


def _texts(page):
    return " ".join(one.value for kind in (page.markdown, page.caption, page.warning, page.error) for one in kind)


def test_a_camera_is_learned_kept_forgotten_and_brought_back(empty_book, open_page, chart):
    page = open_page("camera")
    assert "None yet" in _texts(page)
    page.file_uploader(key="chart_file_0").upload("chart.png", chart, "image/png").run()
    assert not page.exception
    assert "Colours it had not seen came out within ΔE00" in _texts(page)
    assert page.button(key="keep_camera").disabled
    page.text_input(key="camera_name").set_value("bench phone").run()
    page.button(key="keep_camera").click().run()
    assert [camera.name for camera in list_cameras()] == ["bench phone"]
    page.button(key="forget_camera_0").click().run()
    assert not list_cameras()
    page.button(key="camera_back").click().run()
    assert [camera.name for camera in list_cameras()] == ["bench phone"]
    assert not page.exception

    photo = open_page("photo")
    assert not photo.exception


def test_a_learned_camera_can_be_chosen_for_a_photo(empty_book, open_page, chart):
    page = open_page("camera")
    page.file_uploader(key="chart_file_0").upload("chart.png", chart, "image/png").run()
    page.text_input(key="camera_name").set_value("bench phone").run()
    page.button(key="keep_camera").click().run()
    sample = Path(__file__).parents[2] / "samples" / "tags_one_streaked.jpg"
    page = open_page("photo")
    page.file_uploader(key="photo_file_0").upload(sample.name, sample.read_bytes(), "image/jpeg").run()
    assert [one.label for one in page.expander if "Read with" in one.label] == ["Read with no learned camera"]
    page.selectbox(key="photo_camera").set_value("bench phone").run()
    assert not page.exception
    assert [one.label for one in page.expander if "Read with" in one.label] == ["Read with learned camera bench phone"]


def test_a_photo_without_a_chart_asks_for_taps(empty_book, open_page):
    plain = cv2.imencode(".png", np.full((240, 320, 3), 150, np.uint8))[1].tobytes()
    page = open_page("camera")
    page.file_uploader(key="chart_file_0").upload("table.png", plain, "image/png").run()
    assert not page.exception
    assert page.warning
    assert page.get("bidi_component"), "the photo, to be tapped"
    page.button(key="chart_away").click().run()
    assert not page.warning


def _keep_days(place, steps):
    noise = np.random.default_rng(4).normal(0, 0.25, (len(steps), 3))
    with open_book(place) as book:
        for k, step in enumerate(steps):
            keep_day(book, [((52 + step, 40, 45) + noise[k], None)], day=date(2026, 3, 2) + timedelta(days=k))


def test_today_s_coupon_is_read_kept_and_taken_back(empty_book, open_page):
    sample = Path(__file__).parents[2] / "samples" / "tags_one_streaked.jpg"
    page = open_page("camera")
    assert "begin with today" in _texts(page)
    page.file_uploader(key="coupon_file_0").upload(sample.name, sample.read_bytes(), "image/jpeg").run()
    assert not page.exception
    page.radio(key="coupon_part_0_0").set_value(1).run()
    page.button(key="keep_coupon_day").click().run()
    assert not page.exception
    assert "6 more days until drift can be told" in _texts(page)
    with open_book(empty_book) as book:
        (reading,) = book.rows("readings")
        assert reading["photo_id"]
        assert reading["coupon_id"]
        assert book.check() == []
    page.button(key="coupon_take_back").click().run()
    assert "begin with today" in _texts(page)


def test_the_day_the_coupon_left_is_said_and_put_right(empty_book, open_page):
    _keep_days(empty_book, [0] * 9 + [-2] * 5)
    page = open_page("camera")
    assert "Since 11 Mar 2026 readings are" in _texts(page)
    assert "darker: a phone update, a new lamp or a soiled card?" in _texts(page)
    page.button(key="coupon_put_right").click().run()
    assert not page.exception
    assert "1 more day until drift can be told" in _texts(page)
    page.button(key="coupon_not_right").click().run()
    assert "Since 11 Mar 2026" in _texts(page)
    page.date_input(key="coupon_from").set_value(date(2026, 3, 11)).run()
    page.button(key="coupon_count_from").click().run()
    assert "9 earlier days no longer count" in _texts(page)
    page.button(key="coupon_count_all").click().run()
    assert "Since 11 Mar 2026" in _texts(page)
    assert not page.exception


def test_repeated_photos_are_read_and_one_photo_twice_is_refused(empty_book, open_page):
    codes = np.round(encode_srgb(np.clip(chart_picture(chart_light() * 0.9), 0, 1)) * 255).astype(np.uint8)
    photo = cv2.imencode(".png", codes[..., ::-1])[1].tobytes()
    page = open_page("camera")
    page.text_input(key="repeat_spread").set_value("1.5 1").run()
    assert "three figures above 0" in _texts(page)
    page.text_input(key="repeat_spread").set_value("1.5, 1, 1.2").run()
    given = page.file_uploader(key="repeat_files")
    for name in ("one.png", "two.png", "three.png"):
        given = given.upload(name, photo, "image/png")
    given.run()
    page.button(key="check_repeats").click().run()
    assert "are one photo" in _texts(page)
    assert not page.exception


def test_a_photo_without_a_coupon_or_a_card_asks_for_taps(empty_book, open_page):
    codes = np.round(encode_srgb(np.clip(chart_picture(chart_light() * 0.9), 0, 1)) * 255).astype(np.uint8)
    codes[40:-40, 40:-40] = 60
    codes[90:160, 90:200] = 119
    card_alone = cv2.imencode(".png", codes[..., ::-1])[1].tobytes()
    nothing = cv2.imencode(".png", np.full((240, 320, 3), 150, np.uint8))[1].tobytes()
    page = open_page("camera")
    for turn, (content, words) in enumerate(((card_alone, "tap around it"), (nothing, "card"))):
        page.file_uploader(key=f"coupon_file_{turn}").upload("photo.png", content, "image/png").run()
        assert not page.exception
        assert words in " ".join(one.value for one in page.warning)
        assert page.button(key="keep_coupon_day").disabled
        assert page.get("bidi_component"), "the photo, to be tapped"
        page.button(key="coupon_away_0").click().run()
        assert not page.warning
    page.file_uploader(key="coupon_file_2").upload("none.png", b"no photo", "image/png").run()
    assert "not a photo" in " ".join(one.value for one in page.error)
    page.run()
    assert not page.error


def test_set_ups_part_again_and_their_step_is_taken_off_at_one_tap(empty_book, open_page):
    def coupon(lab, setup):
        return {**dict(zip("Lab", lab, strict=True)), "setup_key": setup, "source": "photo"}

    with open_book(empty_book) as book:
        keep_check_day(book, "2026-01-01", None, [(coupon((45.0, 38.0, 40.0), "4f2a"), None)])
        keep_check_day(book, "2026-01-02", None, [(coupon((48.0, 38.0, 42.0), "99cc"), None)])
        name_setup(book, "4f2a", "window bench")
        name_setup(book, "99cc", "window bench")
    page = open_page("camera")
    assert any("window bench: 2 readings since" in one.value for one in page.markdown)
    assert any("name nothing → window bench" in one.value for one in page.caption)
    page.button(key="name_back_99cc").click().run()
    with open_book(empty_book) as book:
        assert sorted(one.name or one.keys[0] for one in list_setups(book)) == ["99cc", "window bench"]
    assert any("99cc reads L" in one.value and "not taken off" in one.value for one in page.markdown)
    page.button(key="take_step_0").click().run()
    with open_book(empty_book) as book:
        assert [one.taken for one in coupon_steps(book)] == [True]
    page.button(key="take_step_0").click().run()
    with open_book(empty_book) as book:
        assert [one.taken for one in coupon_steps(book)] == [False]
        name_setup(book, "99cc", "light tent")
    page.run()
    page.button(key="name_back_99cc").click().run()
    with open_book(empty_book) as book:
        assert setup_names(book)["99cc"] is None
    assert not page.exception
