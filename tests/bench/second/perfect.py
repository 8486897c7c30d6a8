"""A scene in which nothing errs: a flat tag under a ring of light at 45 degrees, and a camera that sees linear sRGB."""

import numpy as np

from .camera import Camera
from .clutter import draw_card
from .light import Lighting, Panel, Sky
from .scene import Scene, paint, photograph
from .shapes import Tag
from .spectra import draw_film, illuminant
from .surface import film_surface
from .truth import describe
from .view import look

__all__ = ["flat_tag"]


def _ring(distance_mm, count=8):
    """Small lights all round at 45 degrees, far away."""
    panels = []
    for turn in np.arange(count) * 2 * np.pi / count:
        to = np.array([np.cos(turn), np.sin(turn), 1.0]) * distance_mm / np.sqrt(2)
        side = 0.02 * distance_mm * np.array([-np.sin(turn), np.cos(turn), 0])
        panels.append(Panel(to, side, np.cross(side, to / np.linalg.norm(to)), grid=1))
    return panels


def flat_tag(seed):
    """Return linear sRGB (h, w, 3), float, in which a perfect white is 1, and the truth of the scene.

    The finish of the tag is drawn as everywhere else: the geometry alone must keep its gloss out.
    """
    rng = np.random.default_rng([7, seed])
    view = look((480, 360), 160, field_deg=12)
    lighting = Lighting("ring", _ring(4000), Sky(1e-6, photographer=None), [illuminant("D65")]).level()
    camera = Camera(None, perfect=True)
    scene = Scene(
        view, camera, lighting, "grey cloth", {**draw_card(rng), "half": (24, 16), "rim_mm": 0}, (-38, 0, 0.2)
    )
    film = draw_film(rng)
    tag = Tag(x=38, y=3, angle=0.7, half=(22, 14), top=1.0, extra={"round": 5, "holes": [(-14, 0, 2)], "edge": 0.3})
    scene.parts.append((tag, film, film_surface(film, lighting, camera.curves, rng)))
    raw, label, _, corners_mm = paint(scene, rng)
    _, image = photograph(scene, raw, rng)
    white = illuminant("D65") @ camera.curves
    return raw / white, describe(scene, ["D65"], label, corners_mm, image)
