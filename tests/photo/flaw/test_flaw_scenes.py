"""The benches' flaws: drawn where their truth says, and nowhere else."""

import cv2
import numpy as np
import pytest

from tests.bench.flaw_paint import KINDS, Frame, draw_cover
from tests.bench.flaw_scenes import flaw_scene


def decoded(data):
    return cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR).astype(float)


def test_flaws_of_the_second_renderer_change_their_own_pixels_most():
    scene = flaw_scene("b", 16, with_sound=True)
    flawed = [part for part in scene.parts if part.flaws]
    assert flawed
    change = np.abs(decoded(scene.data) - decoded(scene.sound)).max(axis=2)
    for part in flawed:
        (flaw,) = part.flaws
        assert not (flaw.mask & ~part.mask).any()
        assert np.median(change[flaw.mask]) > 2 * np.median(change[part.mask & ~flaw.mask])


@pytest.mark.parametrize("kind", KINDS)
def test_covers_stay_on_the_part(kind):
    mask = np.zeros((160, 240), bool)
    mask[30:130, 20:220] = True
    for seed in range(5):
        cover = draw_cover(np.random.default_rng(seed), kind, Frame(mask))
        assert cover.shape == mask.shape
        assert 0 <= cover.min() <= cover.max() <= 1
        assert not cover[~mask].any()
