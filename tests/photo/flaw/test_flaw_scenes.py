"""The benches' flaws: drawn where their truth says, and nowhere else."""

import cv2
import numpy as np

from tests.bench.flaw_scenes import flaw_scene


def decoded(data):
    return cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR).astype(float)


def test_flaws_change_their_own_pixels_most():
    scene = flaw_scene("a", 4, with_sound=True)
    flawed = [part for part in scene.parts if part.flaws]
    assert flawed
    change = cv2.GaussianBlur(np.abs(decoded(scene.data) - decoded(scene.sound)).max(axis=2), (0, 0), 1.5)
    for part in flawed:
        (flaw,) = part.flaws
        assert not (flaw.mask & ~part.mask).any()
        assert np.median(change[flaw.mask]) > 2 * np.median(change[part.mask & ~flaw.mask])
