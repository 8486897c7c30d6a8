"""Rendered photographs carry the truth they claim."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image

from dyebook.demo.spectra import DYES
from dyebook.lab import Lab, delta_e_00, lab_to_linear_rgb, linear_rgb_to_lab
from tests.render.cameras import default_camera, load_cameras
from tests.render.scene import Body, Film, Finish, Flaw, FlawTruth, Paint, make_scene, random_scene, render, write_photo
from tests.render.shapes import Plate, Ring

ROSE = Film(DYES["rose"], 0.15)


def _linear(codes):
    codes = codes / 255
    return np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)


def _read(rendered):
    """Lab of the first part, balanced by the middle of the card, as the plainest reader would find it."""
    linear = _linear(rendered.image.astype(float))
    x, y = rendered.truth.card_quad.mean(axis=0).astype(int)
    card = linear[y - 30 : y + 30, x - 30 : x + 30].mean(axis=(0, 1))
    part = rendered.truth.parts[0]
    pixels = linear[part.full_mask(rendered.image.shape[1::-1], good=True)]
    return linear_rgb_to_lab(pixels.mean(axis=0) / card * lab_to_linear_rgb(rendered.truth.card_lab))


@pytest.mark.parametrize("part", [ROSE, Film(DYES["grey"], 0.3), Lab(70, 15, 20), Lab(45, -20, 10)])
def test_ideal_camera_sees_the_true_colour(part):
    rendered = render(make_scene(part))
    assert delta_e_00(rendered.truth.parts[0].lab, _read(rendered)) < 0.5  # rounding to 8 bits and JPEG-free


def test_paint_is_the_lab_asked_for():
    assert render(make_scene(Lab(45, -20, 10))).truth.parts[0].lab == pytest.approx((45, -20, 10), abs=0.01)


@pytest.mark.parametrize("exposure", [0.3, 0.6, 0.95])
def test_exposure_does_not_move_the_reading(exposure):
    spec = make_scene(ROSE)
    spec = replace(spec, development=replace(spec.development, exposure=exposure))
    assert delta_e_00(_read(render(spec)), _read(render(make_scene(ROSE)))) < 0.6  # 8-bit steps of a dark picture


def test_warm_light_warms_the_picture_when_the_balance_is_for_daylight():
    spec = make_scene(ROSE, light=2856)
    right = render(spec)
    wrong = render(replace(spec, development=replace(spec.development, preset="D65")))
    balance = [float(r.image[..., 0].mean()) / float(r.image[..., 2].mean()) for r in (right, wrong)]
    assert balance[1] > 1.5 * balance[0]


def test_a_real_sensor_errs_on_colours_but_not_on_grey():
    grey, rose = (
        render(replace(make_scene(part), camera=default_camera(), light="A")) for part in (Lab(60, 0, 0), ROSE)
    )
    assert delta_e_00((60, 0, 0), _read(grey)) < 1.0
    assert 0.5 < delta_e_00(rose.truth.parts[0].lab, _read(rose)) < 8


@pytest.mark.parametrize("seed", [3, 4])
def test_same_seed_same_picture(seed):
    first, second = (render(random_scene(seed, width=480)) for _ in range(2))
    assert np.array_equal(first.image, second.image)
    assert not np.array_equal(first.image[:200, :200], render(random_scene(seed + 100, width=480)).image[:200, :200])


def test_noise_grows_with_fewer_electrons():
    spread = []
    for noise in (0.0, 0.005, 0.02):
        rendered = render(make_scene(Lab(60, 0, 0), noise=noise))
        x0, y0, x1, y1 = rendered.truth.parts[0].box
        spread.append(rendered.image[y0 + 20 : y1 - 20, x0 + 20 : x1 - 20, 1].std())
    assert spread[0] < spread[1] < spread[2]


@pytest.mark.parametrize("seed", range(5))
def test_outlines_enclose_the_masks(seed):
    rendered = render(random_scene(seed, width=720, part_count=3))
    for part in rendered.truth.parts:
        x0, y0, x1, y1 = part.box
        fine = np.zeros((8 * (y1 - y0), 8 * (x1 - x0)), np.uint8)
        cv2.fillPoly(fine, [np.round((line - (x0, y0)) * 8 - 0.5).astype(np.int32) for line in part.outlines], 1)
        painted = cv2.resize(fine.astype(np.float32), (x1 - x0, y1 - y0), interpolation=cv2.INTER_AREA) >= 0.5
        assert (painted & part.mask).sum() / (painted | part.mask).sum() > 0.97
        assert not (part.good & ~part.mask).any()


def test_areas_are_those_of_geometry():
    view_scale = 960 / 160
    plate = render(make_scene(ROSE)).truth.parts[0]
    assert plate.mask.sum() == pytest.approx((44 * 30 - (4 - np.pi) * 4) * view_scale**2, rel=0.003)
    ring = Body(Ring(15, 8), ROSE, x_mm=35)
    truth = render(make_scene(ROSE, bodies=(ring,))).truth.parts[0]
    assert truth.mask.sum() == pytest.approx(np.pi * (15**2 - 8**2) * view_scale**2, rel=0.003)
    assert len(truth.outlines) == 2


def test_card_corners_are_where_the_card_is():
    rendered = render(make_scene(Lab(90, 0, 0)))
    assert rendered.truth.card_quad == pytest.approx(np.array([[90, 225], [450, 225], [450, 495], [90, 495]]))
    assert render(random_scene(1, width=480, with_card=False)).truth.card_quad is None


def test_flaw_truth_has_place_and_difference():
    pale = replace(ROSE, absorbance=0.07)
    body = Body(Plate(22, 15), ROSE, x_mm=35, flaws=(Flaw("spot", 5.0, 0.0, 4.0, pale),))
    part = render(make_scene(ROSE, bodies=(body,))).truth.parts[0]
    (flaw,) = part.flaws
    assert isinstance(flaw, FlawTruth)
    assert flaw.delta_e00 == pytest.approx(float(delta_e_00(part.lab, render(make_scene(pale)).truth.parts[0].lab)))
    assert flaw.area_fraction == pytest.approx(np.pi * 16 / (44 * 30), rel=0.25)
    assert flaw.outlines[0].mean(axis=0) == pytest.approx((480 + 40 * 6, 360), abs=8)


def test_gloss_whitens_the_stripe_of_a_cylinder_only():
    from tests.render.shapes import Turned

    black = Film(DYES["grey"], 1.0)
    body = Body(Turned(((-25, 6), (25, 6))), black, x_mm=35, finish=Finish(gloss=0.056))
    rendered = render(make_scene(black, bodies=(body,)))
    part = rendered.truth.parts[0]
    x0, y0, x1, y1 = part.box
    picture = rendered.image[y0:y1, x0:x1].mean(axis=-1)
    assert picture[part.mask].max() > 3 * np.median(picture[part.good])


@pytest.mark.parametrize("turn", [1, 3, 6, 8])
def test_file_turns_upright_by_its_exif(tmp_path, turn):
    spec = random_scene(5, width=320)
    rendered = render(replace(spec, development=replace(spec.development, turn=turn, full_well=1e6, quality=95)))
    path = write_photo(rendered, tmp_path / "a.jpg")
    codes = cv2.cvtColor(cv2.imread(str(path), cv2.IMREAD_COLOR), cv2.COLOR_BGR2RGB)
    assert codes.shape == rendered.image.shape
    assert np.abs(codes.astype(float) - rendered.image).mean() < 6
    assert Image.open(path).getexif()[0x010E].startswith("rendered")


def test_cameras_load_from_a_folder(tmp_path):
    (tmp_path / "mine.csv").write_text("wavelength_nm,R,G,B\n400,0,0,1\n550,0,1,0\n700,1,0,0\n")
    (tmp_path / "SOURCES.csv").write_text("camera,source\n")
    cameras = load_cameras(tmp_path)
    assert list(cameras) == ["mine"]
    assert cameras["mine"].sensitivities.shape == (81, 3)
    with pytest.raises(FileNotFoundError):
        load_cameras(tmp_path / "none")


def test_near_shades_are_near_and_marked():
    pairs = []
    for seed in range(40):
        spec = random_scene(seed, width=320)
        pairs += [[b.material for b in spec.parts if b.pair == 0]]
    assert sum(len(pair) == 2 for pair in pairs) > 8
    assert not any(isinstance(m, Paint) for pair in pairs for m in pair)


def test_stamp_changes_one_corner_only(tmp_path):
    rendered = render(make_scene(ROSE))
    plain, stamped = (
        cv2.imread(str(write_photo(rendered, tmp_path / f"a{stamp}.png", stamp))).astype(int)
        for stamp in ("", "rendered")
    )
    rows, columns = np.nonzero(np.abs(plain - stamped).max(axis=-1))
    assert rows.min() > 680
    assert columns.max() < 200
