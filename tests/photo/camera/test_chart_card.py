"""A photo with a colour chart and no grey card: the chart is the card, and shows the camera too."""

import numpy as np
import pytest

from dyebook.errors import PhotoError
from dyebook.lab import Lab, delta_e_00, lab_to_linear_rgb
from dyebook.photo.camera.chart import chart_lab
from dyebook.photo.camera.profile import chart_card
from dyebook.photo.file.read import photo_from_array
from dyebook.photo.measure import measure
from tests.photo.charts import CORNERS, chart_light, chart_photo, chart_picture

# a camera's sensitivities under a lamp: channels mixed, red strong
MIXING = np.array([[1.05, 0.22, 0.02], [0.12, 0.72, 0.08], [0.01, 0.12, 0.45]])
DYED = Lab(45.0, 28.0, -42.0)


def mixed_photo(limit=None):
    """A chart with a plate of `DYED` below it, as that camera records them, and the plate's corners."""
    picture = chart_picture(chart_light() @ MIXING.T)
    rng = np.random.default_rng(4)
    below = np.full((150, picture.shape[1], 3), 0.3) * (1 + rng.normal(0, 0.003, (150, picture.shape[1], 3)))
    below[30:110, 60:220] = lab_to_linear_rgb(DYED) @ MIXING.T
    top = picture.shape[0] + 30
    plate = [(60, top), (220, top), (220, top + 80), (60, top + 80)]
    return photo_from_array(np.vstack([picture, below]).astype(np.float32), "bench.jpg", limit=limit), plate


def test_a_photo_of_a_chart_alone_is_no_error():
    result = measure(chart_photo(chart_light())).to_dict()
    assert result["card"]["kind"] == "chart"
    assert result["parts"] == []
    assert result["flags"] == ["no_part"]
    # neutral 5 of both published tables: L* 50.9, nearly grey
    assert result["card"]["lab"] == pytest.approx([50.9, 0, 0], abs=0.4)


def test_the_grey_area_told_is_the_patch_neutral_5():
    quad = np.array(measure(chart_photo(chart_light())).card_quad)
    lower_right, lower_left = CORNERS[2], CORNERS[3]
    assert quad.mean(axis=0) == pytest.approx(lower_left + 0.6 * (lower_right - lower_left), abs=1)


def test_a_part_is_read_through_the_camera_that_the_chart_shows():
    photo, plate = mixed_photo()
    by_chart = measure(photo, part_at=[plate], flaws=False)
    grey_alone = measure(photo, part_at=[plate], flaws=False, card_at=by_chart.card_quad, card_lab=chart_lab()[21])
    # a plate without shading or noise, seen by a linear camera: what is left is the fit's own error
    assert delta_e_00(DYED, by_chart.parts[0].lab) < 1.5
    assert delta_e_00(DYED, grey_alone.parts[0].lab) > 5


def test_patches_of_the_chart_are_no_parts():
    photo, _ = mixed_photo()
    # in this very photo fields of the chart look like a part as long as only neutral 5 counts as the card
    assert all(part.box[1] > CORNERS[2][1] for part in measure(photo).parts)


def test_a_chart_too_bright_to_learn_from_still_tells_the_light_with_a_doubt():
    card, camera = chart_card(chart_photo(3.0 * chart_light(), limit=1.0))
    assert camera is None
    assert "card_doubtful" in card.flags
    assert card.rgb == pytest.approx(3.0 * lab_to_linear_rgb(card.lab), rel=0.03)


def test_without_card_and_chart_the_refusal_speaks_of_the_card():
    light = np.random.default_rng(2).uniform(0, 1, (300, 400, 3)).astype(np.float32)
    with pytest.raises(PhotoError, match="no grey card found"):
        measure(photo_from_array(light))
