"""The door to rendered photographs: make a scene, render it, write it.

A scene is plain data (`spec`): a view of the bench in millimetres, light, ground, card, bodies, camera, development.
`random_scene` draws one for a seed, `make_scene` gives a plain one for tests; both take fields to replace.
Measured cameras come from a folder of tables through `cameras.load_cameras`; none is needed.
"""

from dataclasses import replace

from dyebook.demo.spectra import Film, Metal, Paint
from dyebook.lab import Lab
from tests.render.cameras import ideal_camera
from tests.render.layout import random_scene
from tests.render.render import FlawTruth, PartTruth, Rendered, Truth, render, write_photo
from tests.render.shading import Finish, Lamp, Surroundings
from tests.render.shapes import Plate
from tests.render.spec import Body, Card, Development, FallOff, Flaw, Ground, SceneSpec
from tests.render.view import View

__all__ = [
    "Body",
    "Card",
    "Development",
    "FallOff",
    "Film",
    "Finish",
    "Flaw",
    "FlawTruth",
    "Ground",
    "Metal",
    "Paint",
    "PartTruth",
    "Rendered",
    "SceneSpec",
    "Truth",
    "View",
    "make_scene",
    "random_scene",
    "render",
    "write_photo",
]


def make_scene(part, light="D65", noise=0.0, seed=0, **overrides):
    """Return a plain scene for tests: one flat tag of a given film or Lab beside a grey card.

    Parameters
    ----------
    part : Film or Lab
        A Lab becomes a matt painted tag of that colour.
    light : str or float
        Name of a light, or kelvin (daylight from 4000 K up, glowing body below).
    noise : float
        Relative noise of perfect white, 0 for none.
    seed : int
    **overrides
        Fields of SceneSpec.

    Returns
    -------
    SceneSpec
        Seen by the ideal camera, level and straight from above, light even.
    """
    if isinstance(light, int | float):
        light = f"daylight {light}" if light >= 4000 else f"blackbody {light}"
    material = part if isinstance(part, Film) else Paint(Lab(*part))
    tag = Body(Plate(22, 15), material, x_mm=35, finish=Finish(metallic=0.3 if isinstance(part, Film) else 0, gloss=0))
    spec = SceneSpec(
        seed=seed,
        view=View(960, 720, 160.0, 0.0),
        ground=Ground("plain", Lab(55.0, 0.0, 0.0)),
        around=Surroundings((Lamp(),)),
        light=light,
        card=Card(x_mm=-35),
        bodies=(tag,),
        camera=ideal_camera(),
        development=Development(full_well=1 / noise**2 if noise else 0, read_noise=0, blur_px=0, quality=97),
    )
    return replace(spec, **overrides)
