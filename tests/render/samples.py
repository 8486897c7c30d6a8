"""The rendered photographs that lie in `samples/`, and the truth behind them."""

from dataclasses import replace
from pathlib import Path

from tests.render.chart import with_chart
from tests.render.layout import random_scene
from tests.render.render import render, write_photo

__all__ = ["CHART", "SAMPLES", "sample_scene", "write_samples"]

# on the bench of the orange tags, by their camera in their light
CHART = "colour_chart.jpg"
STAMP = "rendered, not photographed"

# file name: seed of the scene and what is asked of it
SAMPLES = {
    "orange_tags_on_wood.jpg": (742, {"part_count": 3}),
    "pen_tag_ring_on_cloth.jpg": (841, {"part_count": 3}),
    "tags_one_streaked.jpg": (946, {"part_count": 2, "with_flaws": True}),
    CHART: (742, {"part_count": 3}),
}


def sample_scene(name):
    """Return the scene of a sample photo, by its file name.

    Parameters
    ----------
    name : str
        A key of SAMPLES.

    Returns
    -------
    SceneSpec
    """
    seed, wishes = SAMPLES[name]
    spec = random_scene(seed, width=1600, **wishes)
    calm = replace(spec.development, full_well=20000.0, turn=1, preset="", quality=84)
    calm = replace(spec, development=calm)
    return with_chart(calm) if name == CHART else calm


def write_samples(folder):
    """Render the sample photos into a folder and return their paths."""
    return [write_photo(render(sample_scene(name)), Path(folder) / name, STAMP) for name in SAMPLES]
