"""The sample photos are what the renderer makes, and say that they are rendered."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from dyebook.lab import delta_e_00
from dyebook.photo.camera.profile import learn_camera
from dyebook.photo.file.read import read_photo
from dyebook.photo.measure import measure
from tests.render.samples import CHART, SAMPLES, sample_scene
from tests.render.scene import render

FOLDER = Path(__file__).parents[2] / "samples"


@pytest.mark.parametrize("name", SAMPLES)
def test_sample_shows_its_scene(name):
    codes = cv2.cvtColor(cv2.imread(str(FOLDER / name)), cv2.COLOR_BGR2RGB)
    rendered = render(sample_scene(name))
    assert codes.shape == rendered.image.shape
    # JPEG loss, and differences of the last digit between machines, stay well below this
    assert np.abs(codes.astype(float) - rendered.image).mean() < 4
    assert (rendered.truth.card_quad is None) == (name == CHART)
    assert all(part.in_gamut for part in rendered.truth.parts)


@pytest.mark.parametrize("name", SAMPLES)
def test_sample_is_small_and_marked(name):
    assert (FOLDER / name).stat().st_size < 300_000
    assert Image.open(FOLDER / name).getexif()[0x010E] == "rendered, not photographed"


def test_the_chart_teaches_the_camera_of_the_orange_tags(tmp_path, monkeypatch):
    monkeypatch.setenv("DYEBOOK_CAMERAS_DIR", str(tmp_path))
    profile = learn_camera(read_photo(FOLDER / CHART), "bench")
    assert profile.used == tuple(range(24))
    assert profile.mean < 2
    truth = render(sample_scene("orange_tags_on_wood.jpg")).truth
    where = {"card_at": truth.card_quad, "part_at": [part.outlines[0] for part in truth.parts]}
    plain, learned = (
        [part.lab for part in measure(FOLDER / "orange_tags_on_wood.jpg", camera=camera, flaws=False, **where).parts]
        for camera in (None, profile)
    )
    true = [part.lab for part in truth.parts]
    assert delta_e_00(true, learned).mean() < delta_e_00(true, plain).mean()
