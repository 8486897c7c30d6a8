"""The sample photos are what the renderer makes, and say that they are rendered."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from dyebook.demo.samples import SAMPLES, sample_scene
from dyebook.demo.scene import render

FOLDER = Path(__file__).parents[2] / "samples"


@pytest.mark.parametrize("name", SAMPLES)
def test_sample_shows_its_scene(name):
    codes = cv2.cvtColor(cv2.imread(str(FOLDER / name)), cv2.COLOR_BGR2RGB)
    rendered = render(sample_scene(name))
    assert codes.shape == rendered.image.shape
    # JPEG loss, and differences of the last digit between machines, stay well below this
    assert np.abs(codes.astype(float) - rendered.image).mean() < 4
    assert rendered.truth.card_quad is not None
    assert all(part.in_gamut for part in rendered.truth.parts)


@pytest.mark.parametrize("name", SAMPLES)
def test_sample_is_small_and_marked(name):
    assert (FOLDER / name).stat().st_size < 300_000
    assert Image.open(FOLDER / name).getexif()[0x010E] == "rendered, not photographed"
