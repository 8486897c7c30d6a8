"""What a photo was read by the first time, it is read by again: camera, plain paper, a card pointed out by hand."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from dyebook.jobs.photo import record_dip
from dyebook.jobs.remeasure import remeasure
from dyebook.photo.camera.fit import Tone
from dyebook.photo.camera.profile import CameraProfile
from dyebook.photo.camera.store import forget_camera, keep_camera
from dyebook.photo.measure import measure
from dyebook.record import DyeRecord

pytestmark = pytest.mark.usefixtures("in_here")
RECORD = DyeRecord("Ember", film_um=12, dye_g_per_l=3, bath_temp_c=40, dwell_min=5)
# no real camera's: red and blue a little crossed, so that it matters whether it is used
MIX = ((0.9, 0.0, 0.1), (0.0, 1.0, 0.0), (0.1, 0.0, 0.9))
NONE = ((0.0, 0.0, 0.0),) * 3
CAMERA = CameraProfile("bench", Tone(), MIX, NONE, (0.0,) * 3, (0.2,) * 3, (1.0,) * 24, tuple(range(24)), (1.0,) * 3)
SAME = pytest.approx(0, abs=0.02)
OTHER = 0.5


@pytest.fixture(autouse=True)
def camera(tmp_path, monkeypatch):
    """One learned camera."""
    monkeypatch.setenv("DYEBOOK_CAMERAS_DIR", str(tmp_path / "cameras"))
    keep_camera(CAMERA)
    return CAMERA


@pytest.fixture
def paper():
    """Photo of plain paper in light that falls off to the left, though the scene's light does not."""
    falling = np.broadcast_to(np.linspace(120, 220, 480), (360, 480)).astype(np.uint8)
    return cv2.imencode(".png", cv2.merge([falling] * 3))[1].tobytes()


def moved_by(book, jpeg, **options):
    """How far the reading of a photo moves, CIEDE2000, when it is measured again after being read with options."""
    record_dip(book, RECORD, jpeg, **options)
    answer = remeasure(book)
    assert answer.troubles == []
    return answer.delta_e00[0]


def test_a_learned_camera_is_used_again(book, jpeg):
    assert moved_by(book, jpeg, camera="bench") == SAME
    assert [row["camera"] for row in book.rows("readings")] == ["bench"]
    plain, mixed = measure(jpeg).parts[0].lab, measure(jpeg, camera="bench").parts[0].lab
    assert np.linalg.norm(np.subtract(plain, mixed)) > OTHER


def test_another_camera_is_used_where_one_is_asked_for(book, jpeg, camera):
    record_dip(book, RECORD, jpeg, camera="bench")
    other = replace(camera, name="other", matrix=((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)))
    assert remeasure(book, camera=other).delta_e00[0] > OTHER
    assert [row["camera"] for row in book.rows("readings")] == ["other"]


def test_a_forgotten_camera_leaves_the_old_reading(book, jpeg):
    record_dip(book, RECORD, jpeg, camera="bench")
    forget_camera("bench")
    assert "no camera called" in remeasure(book).troubles[0][1]
    assert [row["camera"] for row in book.rows("readings")] == ["bench"]


def test_plain_paper_is_kept_and_used_again(book, jpeg, paper):
    assert moved_by(book, jpeg, flat=paper) == SAME
    assert remeasure(book, label="once more").delta_e00[0] == SAME, "the new reading says by what it was read, too"
    plain, evened = measure(jpeg).parts[0].lab, measure(jpeg, flat=paper).parts[0].lab
    assert np.linalg.norm(np.subtract(plain, evened)) > OTHER


def test_lost_paper_leaves_the_old_reading(book, jpeg, paper):
    record_dip(book, RECORD, jpeg, flat=paper)
    (reading,) = book.rows("readings")
    book.photos.path(reading["measured_with"]["asked"]["flat"]).unlink()
    assert "missing" in remeasure(book).troubles[0][1]
    assert book.rows("readings") == [reading]


def test_a_card_pointed_out_by_hand_stays_the_card(book, jpeg):
    # a corner of the true card, so that another card would be found
    quad = np.asarray(measure(jpeg).card_quad, dtype=float)
    corner = quad[0] + 0.4 * (quad - quad[0])
    assert moved_by(book, jpeg, card_at=corner.tolist()) == SAME
    (reading,) = book.rows("readings")
    assert np.allclose(reading["card"]["quad"], corner, atol=0.01)


def test_two_readings_of_one_photo_are_each_read_in_their_own_way(book, jpeg):
    record_dip(book, RECORD, jpeg)
    book.add_batch(RECORD, jpeg, measure(jpeg, camera="bench"))
    answer = remeasure(book)
    assert list(answer.delta_e00) == [SAME, SAME]
    assert [row["camera"] for row in book.rows("readings")] == [None, "bench"]
