"""The shop's newest photos: rendered once, shipped as small JPEG files, and marked as rendered."""

from dataclasses import replace
from pathlib import Path

from dyebook.demo.year import COUNT, FOLDER, NEWEST_WITH_PHOTO, photo_of, shop_year
from tests.render.layout import random_scene
from tests.render.render import render, write_photo
from tests.render.samples import STAMP

__all__ = ["shop_scene", "write_shop_photos"]

# seed of each photo's bench, oldest first
_SEEDS = (2016, 2008, 2017, 2010, 2018, 2023, 2020, 2022)
_WIDTH = 1200


def shop_scene(planned):
    """Return the scene of a batch's photo.

    Parameters
    ----------
    planned : Planned

    Returns
    -------
    SceneSpec
    """
    seed = _SEEDS[planned.index - (COUNT - NEWEST_WITH_PHOTO - 1)]
    spec = random_scene(seed, width=_WIDTH, part_count=1, light="daylight 5500")
    bodies = tuple(replace(body, material=planned.film, flaws=()) if body.is_part else body for body in spec.bodies)
    calm = replace(spec.development, full_well=25000.0, turn=1, preset="", quality=86)
    return replace(spec, bodies=bodies, development=calm)


def write_shop_photos(folder=FOLDER):
    """Render the shop's photos into a folder and return their paths."""
    Path(folder).mkdir(exist_ok=True)
    wanted = [planned for planned in shop_year() if photo_of(planned)]
    return [write_photo(render(shop_scene(one)), Path(folder) / photo_of(one).name, STAMP) for one in wanted]
