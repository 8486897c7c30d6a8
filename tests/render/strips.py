"""Stepped coupons for rendered photographs: one strip, drawn out of the dye in steps, with the truth of each band."""

from dataclasses import replace

import numpy as np

from dyebook.demo.spectra import material_reflectance, reflectance_lab
from dyebook.lab import Lab
from tests.render.shading import Finish
from tests.render.shapes import Plate
from tests.render.spec import Body, Flaw

__all__ = ["band_labs", "stepped_strip"]


def stepped_strip(film, shares, lengths_mm, width_mm=16.0, **placed):
    """Return a strip whose bands hold more and more dye along its x axis.

    Parameters
    ----------
    film : Film
        Of the deepest band.
    shares : sequence of float
        Dye of each band against the deepest.
    lengths_mm : sequence of float
        Length of each band.
    width_mm : float
    **placed
        Fields of `Body`, such as ``x_mm``, ``turn_deg``, ``finish``.

    Returns
    -------
    Body
        The lines between bands waver a little, as the liquid's do.
    """
    films = [replace(film, absorbance=film.absorbance * share) for share in shares]
    ends = np.cumsum(lengths_mm) - np.sum(lengths_mm) / 2
    steps = tuple(
        Flaw("two_tone", float(end), 0.0, 2.0, after) for end, after in zip(ends[:-1], films[1:], strict=True)
    )
    shape = Plate(float(np.sum(lengths_mm)) / 2, width_mm / 2, corner=1.0)
    return Body(shape, films[0], flaws=steps, **{"finish": Finish(metallic=0.3), **placed})


def band_labs(strip):
    """Return the true Lab of each band of a strip, along its x axis."""
    films = [strip.material, *(step.material for step in strip.flaws)]
    return [Lab(*reflectance_lab(material_reflectance(film))) for film in films]
