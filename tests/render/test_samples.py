"""The sample photos are small, marked as rendered, and tell what the README says of them."""

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from dyebook.lab import delta_e_00
from dyebook.photo.camera.profile import learn_camera
from dyebook.photo.file.read import read_photo
from dyebook.photo.measure import measure
from tests.bench.pictures import SAMPLES, SCENES
from tests.render.spectra import film_readings

FOLDER = Path(__file__).parents[2] / "samples"


@pytest.mark.parametrize("name", SAMPLES)
def test_a_sample_is_small_and_marked(name):
    assert (FOLDER / name).stat().st_size < 300_000
    with Image.open(FOLDER / name) as photo:
        assert photo.getexif()[0x010E] == "rendered, not photographed"
        assert photo.size == (SAMPLES[name].view.width, SAMPLES[name].view.height)


def test_small_pictures_stay_small():
    assert sum(path.stat().st_size for path in SCENES.iterdir()) < 12e6


def test_one_of_the_blue_tags_is_streaked():
    parts = measure(FOLDER / "tags_one_streaked.jpg").parts
    assert [[flaw.kind for flaw in part.flaws] for part in parts] == [["streak"], []]


def test_the_chart_teaches_the_camera_of_the_orange_tags(tmp_path, monkeypatch):
    monkeypatch.setenv("DYEBOOK_CAMERAS_DIR", str(tmp_path))
    profile = learn_camera(read_photo(FOLDER / "colour_chart.jpg"), "bench")
    assert profile.used == tuple(range(24))
    assert profile.mean < 2
    readings = measure(FOLDER / "orange_tags_on_wood.jpg", camera=profile, flaws=False).parts
    true = [film_readings(part.material, part.finish)["lab"] for part in SAMPLES["orange_tags_on_wood.jpg"].parts]
    assert len(readings) == len(true)
    # lightness is the lamp's and the room's; the hue of each tag is its film's
    hues = [np.degrees(np.arctan2(lab[2], lab[1])) for lab in (*(part.lab for part in readings), *true)]
    assert np.abs(np.subtract(hues[:3], hues[3:])).max() < 6
    assert delta_e_00(true, [part.lab for part in readings]).max() < 15
