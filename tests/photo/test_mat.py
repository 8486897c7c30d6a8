"""The photo mat: what is printed is found again, with the scale and pose it truly has."""

import cv2
import numpy as np
import pytest

from dyebook.photo.file.read import photo_from_array
from dyebook.photo.mat import LINE_MM, PAPERS, find_mat, mark_fields, mat_marks
from dyebook.photo.measure import look_at
from dyebook.record import ReadOptions

PX_PER_MM = 4
SIZE = (1700, 1400)  # width, height of the photo


def sheet(paper="a4"):
    """The mat as printed, 4 px a mm, white paper of 0.85."""
    width, height = (round(side * PX_PER_MM) for side in PAPERS[paper])
    page = np.full((height, width, 3), 0.85, np.float32)
    for number, corners in mat_marks(paper).items():
        (x, y), side = corners[0] * PX_PER_MM, round((corners[1, 0] - corners[0, 0]) * PX_PER_MM)
        fields = cv2.resize(
            1 - np.array(mark_fields(number), np.float32), (side, side), interpolation=cv2.INTER_NEAREST
        )
        page[round(y) : round(y) + side, round(x) : round(x) + side] = (0.03 + 0.82 * fields)[..., None]
    return page


def pose_of(page, corners):
    """Perspective from mm on the sheet to pixels of the photo."""
    height, width = page.shape[:2]
    drawn = np.float32([(0, 0), (width, 0), (width, height), (0, height)]) / PX_PER_MM
    return cv2.getPerspectiveTransform(drawn, np.float32(corners)).astype(float)


def photograph(page, pose):
    # warpPerspective counts from pixel centres, the pose from pixel corners
    to_px = np.array([(PX_PER_MM, 0, 0), (0, PX_PER_MM, 0), (0, 0, 1.0)])
    half = np.array([(1, 0, -0.5), (0, 1, -0.5), (0, 0, 1.0)])
    matrix = half @ pose @ np.linalg.inv(to_px) @ np.linalg.inv(half)
    return cv2.warpPerspective(page, matrix, SIZE, flags=cv2.INTER_AREA, borderValue=(0.2, 0.15, 0.1))


CORNERS = [(260, 90), (1330, 40), (1500, 1330), (130, 1360)]


def test_pose_agrees_with_the_rendered_one():
    page = sheet()
    pose = pose_of(page, CORNERS)
    mat = find_mat(photo_from_array(photograph(page, pose)))
    assert (mat.paper, mat.marks) == ("a4", (0, 1, 2, 3))
    places = np.array([(40.0, 40), (170, 60), (105, 150), (60, 250), (180, 240)])
    seen = cv2.perspectiveTransform(places[None], pose)[0]
    assert np.abs(mat.places_mm(seen) - places).max() < 0.3
    assert mat.flags == ()


@pytest.mark.parametrize("hidden", [0, 1, 2])
def test_area_of_known_shapes_within_one_percent(hidden):
    page = sheet()
    for number in list(mat_marks("a4"))[:hidden]:
        x, y = (mat_marks("a4")[number][0] * PX_PER_MM).astype(int)
        page[y - 10 : y + 60, x - 10 : x + 110] = 0.4
    pose = pose_of(page, CORNERS)
    mat = find_mat(photo_from_array(photograph(page, pose)))
    assert len(mat.marks) == 4 - hidden
    turn = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    disc = np.column_stack([100 + 25 * np.cos(turn), 140 + 25 * np.sin(turn)])
    for shape, area in ((disc, 90 / 2 * 25**2 * np.sin(2 * np.pi / 90)), ([(50, 90), (120, 90), (120, 200)], 3850.0)):
        seen = cv2.perspectiveTransform(np.array(shape, float)[None], pose)[0]
        assert mat.area_mm2(seen) == pytest.approx(area, rel=0.01)


def test_calipers_correct_a_printer_that_scaled():
    page = sheet("letter")
    photo = photo_from_array(photograph(page, pose_of(page, CORNERS)))
    outline = [(600, 500), (900, 520), (880, 800), (590, 790)]
    true, small = find_mat(photo), find_mat(photo, line_mm=0.96 * LINE_MM)
    assert true.paper == "letter"
    assert small.area_mm2(outline) == pytest.approx(0.96**2 * true.area_mm2(outline), rel=1e-6)


def test_one_mark_is_not_enough_and_no_mat_is_none():
    page = sheet()
    page[:, : page.shape[1] // 2] = 0.4
    page[: page.shape[0] // 2] = 0.4
    assert find_mat(photo_from_array(photograph(page, pose_of(page, CORNERS)))) is None
    assert find_mat(photo_from_array(np.full((300, 300, 3), 0.5))) is None


def test_uneven_light_on_the_paper_is_seen():
    page = sheet()
    picture = photograph(page, pose_of(page, CORNERS))
    picture *= np.linspace(1.0, 0.5, SIZE[0], dtype=np.float32)[None, :, None]
    assert find_mat(photo_from_array(picture)).flags == ("uneven_light",)


def test_readings_on_a_mat_have_areas_and_marks_are_no_parts():
    page = sheet()
    x, y, side = 60 * PX_PER_MM, 60 * PX_PER_MM, 50 * PX_PER_MM
    page[y : y + side, x : x + side] = 0.18
    page[y + 300 : y + 500, x : x + 160] = (0.03, 0.05, 0.3)
    pose = pose_of(page, CORNERS)
    px = lambda points: cv2.perspectiveTransform(np.array(points, float)[None], pose)[0]  # noqa: E731
    card = px([(62, 62), (108, 62), (108, 108), (62, 108)])
    photo = photo_from_array(photograph(page, pose))
    part = px([(60, 135), (100, 135), (100, 185), (60, 185)])
    measurement = look_at(photo, ReadOptions(card, part_at=[part])).measurement
    assert measurement.card_kind == "mat"
    assert measurement.parts[0].area_mm2 == pytest.approx(2000, rel=0.01)
    found = look_at(photo, ReadOptions(card))
    assert not any(found.mat.is_mark(reading.outline) for reading in found.measurement.parts)


@pytest.mark.parametrize("paper", list(PAPERS))
def test_the_command_writes_a_sheet(paper, tmp_path):
    from typer.testing import CliRunner

    from dyebook.shell.main import app

    file = tmp_path / "mat.pdf"
    assert CliRunner().invoke(app, ["mat", str(file), "--paper", paper]).exit_code == 0
    assert file.read_bytes().startswith(b"%PDF")
    assert CliRunner().invoke(app, ["mat", str(file), "--paper", "a0"]).exit_code == 2
