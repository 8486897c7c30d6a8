"""A camera learned for a screen, from a drawn chart whose colours are known."""

import io
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from dyebook.book.store import open_book
from dyebook.errors import PhotoError
from dyebook.jobs.camera import check_repeats, keep_learned, learn_from, print_mat
from dyebook.jobs.photo import record_dip
from dyebook.lab import encode_srgb
from dyebook.photo.camera.chart import patch_quads
from dyebook.photo.camera.store import load_camera
from dyebook.photo.mat import mat_marks
from dyebook.record import DyeRecord
from tests.photo.charts import CORNERS, chart_light, chart_picture


def _png(light):
    codes = np.round(encode_srgb(np.clip(light, 0, 1)) * 255).astype(np.uint8)
    return cv2.imencode(".png", codes[..., ::-1])[1].tobytes()


@pytest.fixture(scope="module")
def chart():
    return _png(chart_picture(chart_light() * 0.9))


def test_a_chart_is_found_drawn_and_learned(chart):
    learned = learn_from(chart, "chart.png")
    assert learned.problem == ""
    assert learned.profile.mean < 1.5
    assert learned.named("bench phone").name == "bench phone"
    assert learned.overlay != learned.plain
    assert learned.plain[:2] == b"\xff\xd8"


def test_a_photo_without_a_chart_is_shown_and_can_be_tapped():
    plain = np.full((240, 320, 3), 0.3, np.float32)
    learned = learn_from(_png(plain), "table.png")
    assert learned.profile is None
    assert "chart" in learned.problem
    tapped = learn_from(_png(chart_picture(chart_light() * 0.9)), "chart.png", tuple(map(tuple, CORNERS.tolist())))
    assert tapped.profile is not None


def test_patches_left_out_are_not_learned_from(chart):
    assert not {3, 7} & set(learn_from(chart, "chart.png", left_out=(3, 7)).profile.used)


def test_the_coupon_must_lie_alone():
    photo = Path(__file__).parents[2] / "samples" / "pen_tag_ring_on_cloth.jpg"
    with pytest.raises(PhotoError, match="3 parts"):
        check_repeats(None, [("one.jpg", photo.read_bytes())])


def test_the_mat_is_printed_in_millimetres(tmp_path):
    assert print_mat(tmp_path / "mat.pdf", "a4") == 100
    assert b"/MediaBox [0 0 595.28 841.89]" in (tmp_path / "mat.pdf").read_bytes()  # 210 by 297 mm in points
    assert len(mat_marks("a4")) == 4


def test_the_drawing_is_a_picture_of_the_photo(chart):
    learned = learn_from(chart, "chart.png")
    assert Image.open(io.BytesIO(learned.overlay)).size == learned.size


def test_repeats_tell_their_spread_and_stay_with_the_camera(chart, tmp_path, monkeypatch):
    monkeypatch.setenv("DYEBOOK_CAMERAS_DIR", str(tmp_path / "cameras"))
    profile = learn_from(chart, "chart.png").named("bench")
    with open_book(tmp_path / "shop.dyebook") as book:
        keep_learned(book, profile)
        photos = [(f"{seed}.png", _png(chart_picture(chart_light() * 0.9, 0.05, seed))) for seed in range(4)]
        where = {"card_at": patch_quads(CORNERS, 0.6)[21], "part_at": [patch_quads(CORNERS, 0.6)[12]]}
        answer = check_repeats(book, photos, (1, 1, 1), camera="bench", **where)
        assert answer.count == 4
        assert load_camera("bench").repeat_sd == answer.sd
        assert all(0 < share < 100 for share in answer.grr_percent)
        after, before = np.array(load_camera("bench").lab_u), np.array(profile.lab_u)
        assert np.allclose(after, np.hypot(before, answer.sd))
        with pytest.raises(PhotoError, match="are one photo"):
            check_repeats(book, [*photos, ("again.png", photos[0][1])], camera="bench", **where)


def test_a_reading_in_the_book_says_which_camera_read_it(chart, tmp_path, monkeypatch):
    monkeypatch.setenv("DYEBOOK_CAMERAS_DIR", str(tmp_path / "cameras"))
    quads = patch_quads(CORNERS, 0.6)
    with open_book(tmp_path / "shop.dyebook") as book:
        keep_learned(book, learn_from(chart, "chart.png").named("bench"))
        record = DyeRecord("Ember", film_um=12, dye_g_per_l=3, bath_temp_c=50, dwell_min=6)
        options = {"card_at": quads[21], "part_at": [quads[12]]}
        record_dip(book, record, chart, camera="bench", **options)
        record_dip(book, record, chart, **options)
        assert [row["camera"] for row in book.rows("readings")] == ["bench", None]
