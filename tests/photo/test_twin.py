"""The bare twin: light, exposure and shading cancel exactly where nothing else is; what is not alike is said."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from dyebook.advice.judge import judge
from dyebook.errors import PhotoError
from dyebook.lab import Lab, delta_e_00, lab_to_linear_rgb, linear_rgb_to_lab
from dyebook.photo import twin
from dyebook.photo.file.read import photo_from_array
from dyebook.photo.measure import look_at
from dyebook.photo.overlay import draw_overlay
from dyebook.photo.part.part import Part
from dyebook.photo.reading import CLEAR_SURFACE
from dyebook.photo.shared import Basis
from dyebook.photo.twin import BARE, BARE_U, TOLD_U, error_beside, is_twin
from dyebook.record import Measurement, ReadOptions
from dyebook.report.photo import STEPS, measurement_text, step_lines
from tests.photo.scenes import CARD_BOX, SIZE, corners
from tests.render.photo import picture
from tests.render.plan import plain_scene
from tests.render.scene import Film

PART_BOX, TWIN_BOX, TALL_BOX = (300, 40, 420, 140), (300, 210, 420, 310), (330, 200, 380, 350)
# film over twin in each channel
PASSES = [(0.8, 0.55, 0.3), (0.2, 0.35, 0.7), (0.06, 0.06, 0.07)]


def _photo(passes=PASSES[0], light=1.0, bare=BARE, box=TWIN_BOX, limit=None, bright=1.0):
    """Linear light: part = light · (passes · bare + gloss), twin = light · (bare + gloss), both shaded alike."""
    pixels = np.empty((SIZE[1], SIZE[0], 3), np.float32)
    pixels[:] = 0.3
    x0, y0, x1, y1 = CARD_BOX
    pixels[y0:y1, x0:x1] = lab_to_linear_rgb(Lab(49.5, 0, 0))
    body = lab_to_linear_rgb(bare)
    for (x0, y0, x1, y1), seen in ((PART_BOX, np.array(passes) * body + CLEAR_SURFACE), (box, body + CLEAR_SURFACE)):
        shade = np.linspace(0.7, 1.2, x1 - x0)[None, :, None] * np.linspace(1, 0.8, y1 - y0)[:, None, None]
        pixels[y0:y1, x0:x1] = light * bright * shade * seen
    return photo_from_array(np.minimum(pixels, limit or np.inf), name="bench", limit=limit)


def _read(photo, box=TWIN_BOX, **options):
    given = {"card_at": corners(CARD_BOX), "part_at": [corners(PART_BOX)], "flaws": False} | options
    return look_at(photo, ReadOptions(twin_at=None if box is None else corners(box), **given)).measurement


def _true(passes, bare=BARE):
    return linear_rgb_to_lab(np.array(passes) * lab_to_linear_rgb(bare))


# -- Closed form --


@pytest.mark.parametrize("passes", PASSES)
@pytest.mark.parametrize("light", [0.5, 1.0, 1.8])
def test_light_and_shading_cancel(passes, light):
    (part,) = _read(_photo(passes, light)).parts
    assert delta_e_00(_true(passes), part.lab) < 0.3


def test_without_the_twin_that_light_is_taken_for_the_film():
    assert delta_e_00(_true(PASSES[0]), _read(_photo(light=1.8), box=None).parts[0].lab) > 5


def test_no_card_is_needed_for_the_level():
    (part,) = _read(_photo(light=1.4), card_at=None, no_card=True).parts
    assert delta_e_00(_true(PASSES[0]), part.lab) < 0.3


def test_the_twins_own_colour_sets_the_films():
    told = Lab(74, 0.5, -2)
    (part,) = _read(_photo(bare=told), twin_lab=told).parts
    assert delta_e_00(_true(PASSES[0], told), part.lab) < 0.3
    assert part.lab_u[0] < _read(_photo(bare=told)).parts[0].lab_u[0]


def test_what_the_file_cut_off_is_left_out_of_both():
    photo = _photo(limit=0.75, bright=1.2)
    assert 0.05 < photo.clipped(TWIN_BOX).any(axis=2).mean() < 0.5
    (part,) = _read(photo).parts
    assert delta_e_00(_true(PASSES[0]), part.lab) < 1
    assert "twin_clipped" not in part.flags
    assert "twin_clipped" in _read(_photo(limit=0.5)).parts[0].flags


# -- Doubt --


def test_another_shape_is_said_and_leaves_the_level_in_doubt():
    alike, other = (_read(_photo(box=box), box).parts[0] for box in (TWIN_BOX, TALL_BOX))
    assert "twin_unlike" not in alike.flags
    assert "twin_unlike" in other.flags
    assert other.lab_u[0] > 1.3 * alike.lab_u[0]


def test_light_from_another_side_is_said():
    photo = _photo()
    x0, y0, x1, y1 = TWIN_BOX
    photo.codes[y0:y1, x0 : (x0 + x1) // 2] *= 0.2
    assert "twin_unlike" in _read(photo).parts[0].flags


def test_a_dyed_twin_is_said():
    assert "twin_unlike" in _read(_photo(bare=Lab(50, 20, -30))).parts[0].flags
    assert "twin_unlike" not in _read(_photo(bare=Lab(78, 1, 4))).parts[0].flags


def test_the_error_is_that_of_its_parts():
    (part,) = _read(_photo()).parts
    total = sum(np.array(cov) for cov in part.lab_cov_parts.values())
    assert np.sqrt(np.diag(total)) == pytest.approx(part.lab_u)
    without = _read(_photo(), box=None).parts[0].lab_cov_parts
    assert all(part.lab_cov_parts[name][0][0] < without[name][0][0] for name in ("shape", "photo"))


def test_a_film_is_as_doubtful_as_its_twin():
    """A twin 4 lighter makes an undyed film 4 lighter: the shape's part is then at least that."""
    basis = Basis(lab_to_linear_rgb(BARE), 0.0, 0.0, 0.0, 0.0, 0.0, True, True)
    wide, told = (np.array(error_beside(basis, u)["shape"]) for u in (BARE_U, TOLD_U))
    assert wide[0, 0] - told[0, 0] == pytest.approx(BARE_U[0] ** 2 - TOLD_U[0] ** 2, rel=0.02)


# -- Rendered --


@pytest.fixture(scope="module")
def rendered():
    """A dyed tag and its bare twin under a lamp in a bright room, in the simple world: photo, card, truth of both."""
    film = Film(((520, 40, 1.0),), 0.5, 0.85, 0.002)
    scene = plain_scene(film, noise=0.005)
    tag = next(thing for thing in scene.things if thing.role == "part")
    bare = replace(tag, material=replace(film, absorbance=0.0), role="twin", y_mm=-38.0)
    drawn = picture(replace(scene, things=(*scene.things, bare)))
    photo = photo_from_array(drawn.linear.astype(np.float32), name="rendered")
    return photo, drawn.quad, drawn.truth["parts"]


def test_a_rendered_tag_is_read_by_its_twin(rendered):
    photo, card, (tag, bare) = rendered
    given = {"card_at": card, "part_at": [tag["outline"]], "flaws": False}
    alone, beside = (
        look_at(photo, ReadOptions(twin_at=at, twin_lab=lab, **given)).measurement.parts[0]
        for at, lab in ((None, None), (bare["outline"], bare["lab"]))
    )
    assert delta_e_00(tag["lab"], beside.lab) < 2.5
    assert delta_e_00(tag["lab"], alone.lab) > 2 * delta_e_00(tag["lab"], beside.lab)
    assert np.all(np.abs(np.subtract(tag["lab"], beside.lab)) < 2 * np.array(beside.lab_u))
    assert beside.lab_u[0] < 0.6 * alone.lab_u[0]
    assert "directed_light" not in beside.flags
    assert "twin_unlike" not in beside.flags


# -- In the chain --


def test_an_outline_that_lies_on_the_twins_is_the_twin():
    bare = Part(corners(TWIN_BOX))
    assert is_twin(Part(corners((310, 215, 415, 300))), bare)
    assert not is_twin(Part(corners(PART_BOX)), bare)
    assert not is_twin(Part(corners((300, 290, 420, 390))), bare)


def test_the_twin_is_drawn(rendered):
    photo, card, (tag, bare) = rendered
    given = {"card_at": card, "part_at": [tag["outline"]], "flaws": False}
    plain, drawn = (
        draw_overlay(photo, look_at(photo, ReadOptions(twin_at=at, **given)).measurement, (), 480)
        for at in (None, bare["outline"])
    )
    x, y = np.mean(bare["outline"], axis=0) / 2
    changed = np.argwhere(np.any(plain != drawn, axis=2))
    assert np.mean(changed, axis=0)[0] == pytest.approx(y, abs=40)
    assert np.abs(changed[:, 1] - x).min() < 5


def test_a_twin_of_two_corners_is_refused():
    with pytest.raises(PhotoError, match="at least three"):
        look_at(_photo(), ReadOptions(corners(CARD_BOX), twin_at=((1, 1), (9, 9))))


def test_the_doubt_of_a_twin_is_shared_with_readings_by_a_twin_alone():
    by_card, by_twin = (_read(_photo(), box=box).parts[0] for box in (None, TWIN_BOX))
    assert by_twin.shape_key == _read(_photo(PASSES[1], light=0.6)).parts[0].shape_key
    assert by_twin.shape_key != by_card.shape_key
    apart = judge(by_card, by_twin).delta_e00_u
    assert apart > judge(by_card, replace(by_twin, shape_key=by_card.shape_key)).delta_e00_u


# -- The one thing that would help most --


def _basis(**given):
    usual = {"spread": 0.1, "slope": 0.0, "beyond": 0.0, "clipped": 0.0, "distance": 0.1, "is_fitted": True}
    return Basis(lab_to_linear_rgb((60, 20, 10)), **(usual | {"has_card": True, "camera_u": (1.0, 1.0, 1.0)} | given))


def _step(twin_u=TOLD_U, **given):
    return twin.next_step([SimpleNamespace(basis=_basis(**given))], twin_u)


@pytest.mark.parametrize(
    ("step", "twin_u", "given"),
    [
        ("twin", None, {}),
        ("tell_twin", BARE_U, {}),
        ("lay_twin", TOLD_U, {"spread": 1.0, "slope": 0.5, "distance": 0.6}),
        ("darker", TOLD_U, {"clipped": 0.8}),
        ("wide_file", TOLD_U, {"beyond": 0.9}),
    ],
)
def test_the_step_undoes_the_largest_error(step, twin_u, given):
    found = _step(twin_u, **given)
    assert found["step"] == step
    assert found["then"] < 0.8 * found["now"]


def test_nothing_is_said_where_nothing_helps_much():
    assert _step() is None
    assert twin.next_step([]) is None


def test_every_step_has_its_words():
    steps = [set(twin._steps(_basis(camera_u=None), u)) for u in (BARE_U, None)]
    assert steps[0] | steps[1] == set(STEPS)
    assert step_lines(None) == []
    assert step_lines({"step": "card", "now": 12.4, "then": 5.6}) == [f"{STEPS['card']}: ± 12 becomes ± 6"]
    learn = {"step": "learn", "now": 3.0, "then": 2.0}
    measurement = Measurement("a.jpg", (9, 9), "grey", None, Lab(49.5, 0, 0), next_step=learn)
    assert measurement_text(measurement).endswith("better: learn this camera from a colour chart: ± 3.0 becomes ± 2.0")
