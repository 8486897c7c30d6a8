"""Which patches of a chart can be learned from, and the refusals where too few can."""

import numpy as np

from dyebook.errors import PhotoError
from dyebook.photo.chart import GREYS, PATCHES, chart_lab

__all__ = ["usable_patches"]

_FEWEST_GREYS, _FEWEST_PATCHES = 4, 14
# relative spread over a patch that noise and print do not make
_UNEVEN_PATCH = 0.6
# correlation of the greys' log light with the table's, which glare and odd tone bend far less
_LEAST_ORDER = 0.8


def usable_patches(photo, chart, leave_out=()):
    """Return the patches of a chart that can be learned from, and doubts about the others.

    Parameters
    ----------
    photo : LinearPhoto
    chart : ChartReading
    leave_out : sequence of int

    Returns
    -------
    use : list of int
    flags : list of str

    Raises
    ------
    PhotoError
        If too few can be used, or the greys are not where they should be.
    """
    uneven = chart.spread > _UNEVEN_PATCH
    use = [k for k in range(24) if k not in leave_out and not chart.clipped[k] and not uneven[k]]
    greys = [k for k in use if k in range(24)[GREYS]]
    if len(greys) < _FEWEST_GREYS or len(use) < _FEWEST_PATCHES:
        raise PhotoError(
            f"only {len(use)} patches of the chart in {photo.name} can be used, {len(greys)} of them grey; at least "
            f"{_FEWEST_PATCHES} and {_FEWEST_GREYS} are needed. {_lost(chart.clipped, uneven, leave_out)}"
        )
    _check_order(photo, chart, greys)
    others = np.array([k not in leave_out for k in range(24)])
    flags = ["chart_clipped"] if (chart.clipped & others).any() else []
    return use, flags + (["chart_uneven"] if (uneven & ~chart.clipped & others).any() else [])


def _lost(clipped, uneven, leave_out):
    """Which patches were lost to what, and what to do about it."""
    left = np.isin(np.arange(24), list(leave_out))
    losses = (
        (left, "Left out by hand", "leave out fewer"),
        (clipped & ~left, "At a channel's limit", "expose darker"),
        (uneven & ~clipped & ~left, "Shadowed or covered", "clear the chart, in even light"),
    )
    losses = [loss for loss in losses if loss[0].any()]
    seen = [f"{words}: {', '.join(PATCHES[k] for k in np.flatnonzero(which))}" for which, words, _ in losses]
    return ". ".join(seen) + "; " + ", and ".join(remedy for *_, remedy in losses)


def _check_order(photo, chart, greys):
    """Refuse centres by hand that put other patches where the greys should be."""
    from dyebook.lab import lab_to_linear_rgb

    table = lab_to_linear_rgb(chart_lab("after-2014")[greys])
    seen, wanted = (np.log(np.maximum(light, 1e-4)).mean(axis=-1) for light in (chart.light[greys], table))
    if np.corrcoef(seen, wanted)[0, 1] < _LEAST_ORDER:
        raise PhotoError(
            f"the patches of {photo.name} do not fall from white to black where the four centres put the greys; give "
            "the centres of dark skin, bluish green, black and white, in this order"
        )
