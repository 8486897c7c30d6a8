"""A 24-patch chart for rendered photographs: matt plates of paint on a dark frame, laid on a scene's bench."""

from dataclasses import replace

import numpy as np

from dyebook.demo.spectra import Paint, reflectance_lab, training_reflectances
from dyebook.lab import Lab
from tests.render.shading import Finish
from tests.render.shapes import Plate
from tests.render.spec import Body

__all__ = ["with_chart"]

_ROWS, _COLUMNS, _PITCH_MM, _PATCH_MM, _RIM_MM = 4, 6, 20.0, 17.0, 12.0
_FRAME_LAB = Lab(16.0, 0.0, 0.0)
_MATT = Finish(metallic=0.0, gloss=0.03, gloss_rad=0.5)


def with_chart(spec, turn_deg=-6.0):
    """Return a scene with nothing but a chart in the middle of its bench, in the same light and camera.

    Parameters
    ----------
    spec : SceneSpec
    turn_deg : float

    Returns
    -------
    SceneSpec

    Notes
    -----
    Colours of the patches are those of the reflectances that ISO 17321-1 lists, as colour-science has them.
    """
    size = np.array((_COLUMNS, _ROWS)) * _PITCH_MM + _RIM_MM
    turn, bodies = np.radians(turn_deg), [_plate(size, 3.0, 0.2, _FRAME_LAB, (0.0, 0.0), turn_deg)]
    axes = np.array([(np.cos(turn), np.sin(turn)), (-np.sin(turn), np.cos(turn))])
    for patch, reflectance in enumerate(training_reflectances()[: _ROWS * _COLUMNS]):
        place = np.array((patch % _COLUMNS - (_COLUMNS - 1) / 2, patch // _COLUMNS - (_ROWS - 1) / 2)) * _PITCH_MM
        lab = Lab(*map(float, reflectance_lab(reflectance)))
        bodies.append(_plate((_PATCH_MM, _PATCH_MM), 0.6, 0.25, lab, place @ axes, turn_deg))
    return replace(spec, bodies=tuple(bodies), card=None)


def _plate(size_mm, corner_mm, thickness_mm, lab, place_mm, turn_deg):
    """A flat, matt, painted piece."""
    shape = Plate(*(side / 2 for side in size_mm), corner=corner_mm, bevel=0.05, thickness=thickness_mm)
    return Body(shape, Paint(lab), *map(float, place_mm), turn_deg, finish=_MATT, is_part=False)
