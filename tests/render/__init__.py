"""Photographs whose truth is known: one scene description, two worlds that draw it.

    from tests.render import draw, make_scenes
    for spec in make_scenes(seed=7, kind="parts"):
        path, truth = draw(spec, "physical", folder)       # or "simple"

`make_scenes(seed, kind, ...)` returns the photographs of one occasion (`plan.KINDS`: parts, near, repeat, twin, flaws,
steps, rack, chart); the seed also fixes the set-up (camera and light), so that one seed's chart belongs to its parts.
`draw` writes NAME.jpg, NAME.json (the truth: see `photo.truth_of`) and NAME.png (label of each pixel: 0 nothing, k the
k-th part, 128 added where the part is flawed). The two worlds share shapes, spectra, camera and truth, and nothing of
how light meets a surface.
"""

from tests.render.photo import draw
from tests.render.plan import make_scenes

__all__ = ["draw", "make_scenes"]
