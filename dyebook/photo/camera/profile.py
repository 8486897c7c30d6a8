"""Cameras learned from a chart: the profile, how it is learned, how it is laid over a photo, and a chart as the card.

A profile undoes the camera's tone curve in the codes and mixes balanced colours; gains come from the card of each
photo. Where a chart lies beside the parts instead of a card, its neutral 5 gives the light and all of its patches the
camera.
"""

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime

import cv2
import numpy as np

from dyebook.errors import PhotoError
from dyebook.lab import Lab, delta_e_00, lab_to_linear_rgb
from dyebook.photo.camera.chart import (
    CORNERS,
    COUNT,
    GREYS,
    NEUTRAL_5,
    PATCHES,
    TABLES,
    ChartReading,
    chart_lab,
    patch_quads,
    read_chart,
)
from dyebook.photo.camera.chart_find import find_chart
from dyebook.photo.camera.fit import Tone, TonedEncoding, fit_chart, leave_one_out, mean_error, mix_colours
from dyebook.photo.card.card import Card, card_at, order_corners
from dyebook.photo.file.linear import LinearPhoto

__all__ = ["CameraProfile", "chart_card", "learn_camera", "usable_patches"]

_FEWEST_GREYS, _FEWEST_PATCHES = 4, 14
# relative spread over a patch that noise and print do not make
_UNEVEN_PATCH = 0.6
# correlation of the greys' log light with the table's, which glare and unusual tone curves bend far less
_LEAST_ORDER = 0.8
# log light and log ratio of channels at the grey card beyond which a profile was learned under other conditions
_OTHER_EXPOSURE, _OTHER_LIGHT = 0.8, 0.25
# how far root terms may go: nearly a plain matrix, or not; the better one by leaving patches out is kept
_ROOTS_SD = (0.05, 0.2)
_POOR_MEAN = 5.0
# error on dyed films over the chart's leave-one-out error: 1.1 for simulated films under cameras learned from a chart
_FILMS_TO_CHART = 1.1
_MID_GREY = 0.18
# side of the patch that is pointed out as the card, and how far the chart's frame reaches past the middles of its
# outer patches, both as shares of the pitch
_SIDE, _FRAME = 0.7, 0.85
# finer looks cost another second on every photo that is refused
_FINEST = 2800


@dataclass(frozen=True)
class CameraProfile:
    """What was learned about one camera."""

    name: str  # what the user calls it
    tone: Tone  # from claimed to true light
    # matrix, roots: tuple of 3 tuples of 3 floats: mixing of balanced light to D65 Rec. 709; see `mix_colours`
    matrix: tuple
    roots: tuple
    card_offset: tuple[float, float, float]  # log of what the gains from a grey card lack
    # true light of neutral 5 in the photo it was learned from, per unit of its own: the light and exposure then
    grey_light: tuple[float, float, float]
    loo_delta_e00: tuple  # 24 floats: CIEDE2000 of each patch, read by a fit that had not seen it
    used: tuple[int, ...]  # patches it was learned from
    lab_sd: tuple[float, float, float]  # root mean square of those errors per L*, a*, b*
    # the shop's own repeatability with this camera per L*, a*, b*, once checked
    repeat_sd: tuple[float, float, float] | None = None
    # make, model: from the photo's EXIF
    make: str | None = None
    model: str | None = None
    table: str = "after-2014"  # which chart table was used
    learned_at: str = ""  # ISO 8601, UTC
    flags: tuple[str, ...] = ()
    # tuple of (str, float, float, float): ISO date, L*, a*, b* of the check coupon, from before the book kept them;
    # only read
    coupon_days: tuple = ()

    @property
    def mean(self):
        """Mean leave-one-out CIEDE2000 of the patches that were used."""
        return float(np.mean([self.loo_delta_e00[patch] for patch in self.used]))

    @property
    def lab_u(self):
        """Standard uncertainty that the camera adds to a reading per L*, a*, b*: what it misreads, and repeats."""
        repeat = np.zeros(3) if self.repeat_sd is None else np.array(self.repeat_sd)
        return tuple(map(float, np.hypot(_FILMS_TO_CHART * np.array(self.lab_sd), repeat)))

    def undo_tone(self, photo):
        """Return a photo whose light is what there was, before any gains."""
        encoding = TonedEncoding(
            photo.encoding.name, matrix=photo.encoding.matrix, inner=photo.encoding, tone=self.tone
        )
        return photo.with_encoding(encoding)

    def read_card(self, toned, card):
        """Return a card read anew in a photo without its tone curve; flags say where conditions differ."""
        if card.quad is None:
            return card
        again = card_at(toned, card.quad, card.lab)
        flags = dict.fromkeys([*card.flags, *again.flags, *self.doubts(again)])
        return replace(again, kind=card.kind, whole=card.whole, flags=tuple(flags))

    def doubts(self, card):
        """Return flags where the light or the exposure of a photo differ from those the profile was learned in."""
        ratio = np.log(np.maximum(card.rgb * _card_scale(card), 1e-6) / np.array(self.grey_light))
        flags = ["camera_other_exposure"] if abs(ratio.mean()) > _OTHER_EXPOSURE else []
        return flags + (["camera_other_light"] if np.ptp(ratio) > _OTHER_LIGHT else [])

    def after(self, light):
        """Return a light that mixes colours after its own correction."""
        return CameraLight(light, self)

    def mix(self, pixels):
        """Return balanced light mixed to D65 Rec. 709; shape (..., 3) in and out, float32 stays float32."""
        offset = np.exp(self.card_offset).astype(pixels.dtype)
        return mix_colours(pixels * offset, np.array(self.matrix), np.array(self.roots))


@dataclass(frozen=True)
class CameraLight:
    """A `Light` followed by a camera's colour mixing; everything else is the light's own."""

    light: object
    camera: CameraProfile = field(repr=False)

    def correct(self, pixels, box, step=1):
        """Return corrected and mixed light; see `Light.correct`."""
        return self.camera.mix(self.light.correct(pixels, box, step))

    def __getattr__(self, name):
        if name == "light":
            raise AttributeError(name)
        return getattr(self.light, name)


def _card_scale(card):
    """What brings a card's light to that of an 18 % grey, so that light and dark cards compare."""
    return _MID_GREY / np.maximum(lab_to_linear_rgb(card.lab), 1e-3)


def learn_camera(photo: LinearPhoto, name: str, chart_at=None, leave_out=(), table: str | None = None) -> CameraProfile:
    """Return the profile of a camera from one photo of a 24-patch chart.

    PhotoError if no chart is found, or too few of its patches can be used; ValueError if a patch number is not 0 to 23.

    Parameters
    ----------
    name : str
        What to call the camera.
    chart_at : sequence of four (x, y), optional
        Centres of the patches dark skin, bluish green, black and white; found by itself if left out.
    leave_out : sequence of int
        Patches from 0 in reading order that the fit must not use.
    table : str, optional
        ``"before-2014"``, ``"after-2014"`` or a CSV file; the one of the two that fits better if left out.

    Notes
    -----
    Tone curve, gains, and a root-polynomial held near a plain matrix are fitted together (`camera.fit`). How far
    the root terms may go, whether the file holds linear codes, and the table where none is named, are chosen by
    the mean leave-one-out CIEDE2000.
    """
    if any(not 0 <= patch < COUNT for patch in leave_out):
        raise ValueError(f"leave_out is {list(leave_out)}; patch numbers run from 0 to 23")
    if chart_at is None:
        chart_at = find_chart(photo, leave_out)
    chart = read_chart(photo, patch_quads(chart_at))
    use, flags = usable_patches(photo, chart, leave_out)
    tables = TABLES if table is None else (table,)
    mean, fit, read, table = min(
        (row for name_ in tables for row in _candidates(photo, chart, use, name_)), key=lambda row: row[0]
    )
    return _profile(photo, name, chart, use, flags + (["camera_poor"] if mean > _POOR_MEAN else []), fit, read, table)


def usable_patches(photo: LinearPhoto, chart: ChartReading, leave_out=()) -> tuple[list[int], list[str]]:
    """Return the patches of a chart that can be learned from, and doubts about the others."""
    uneven = chart.spread > _UNEVEN_PATCH
    use = [k for k in range(COUNT) if k not in leave_out and not chart.clipped[k] and not uneven[k]]
    greys = [k for k in use if k in GREYS]
    if len(greys) < _FEWEST_GREYS or len(use) < _FEWEST_PATCHES:
        raise PhotoError(
            f"only {len(use)} patches of the chart in {photo.name} can be used, {len(greys)} of them grey; at least "
            f"{_FEWEST_PATCHES} and {_FEWEST_GREYS} are needed. {_lost(chart.clipped, uneven, leave_out)}"
        )
    _check_order(photo, chart, greys)
    others = np.array([k not in leave_out for k in range(COUNT)])
    flags = ["chart_clipped"] if (chart.clipped & others).any() else []
    return use, flags + (["chart_uneven"] if (uneven & ~chart.clipped & others).any() else [])


def _lost(clipped, uneven, leave_out):
    """Which patches were lost to what, and what to do about it."""
    left = np.isin(np.arange(COUNT), list(leave_out))
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
    table = lab_to_linear_rgb(chart_lab("after-2014")[greys])
    seen, wanted = (np.log(np.maximum(light, 1e-4)).mean(axis=-1) for light in (chart.light[greys], table))
    if np.corrcoef(seen, wanted)[0, 1] < _LEAST_ORDER:
        raise PhotoError(
            f"the patches of {photo.name} do not fall from white to black where the four centres put the greys; give "
            "the centres of dark skin, bluish green, black and white, in this order"
        )


def _candidates(photo, chart, use, table):
    """Yield (mean error, fit, left-out readings, table) of the ways to see one chart."""
    lab, to_rec709 = chart_lab(table), photo.encoding.matrix
    for linear in (False, True):
        for roots_sd in _ROOTS_SD:
            fit = fit_chart(chart.light, to_rec709, lab, use, linear, roots_sd)
            read = leave_one_out(chart.light, to_rec709, lab, use, fit, linear, roots_sd)
            yield mean_error(read, lab, use), fit, read, table


def _profile(photo, name, chart, use, flags, fit, read, table):
    """Put a fit and its errors into words that can be kept."""
    lab = chart_lab(table)
    true = fit.tone(chart.light[[NEUTRAL_5]])
    true = true if photo.encoding.matrix is None else true @ photo.encoding.matrix.T
    return CameraProfile(
        name=name,
        tone=fit.tone,
        matrix=_nested(fit.matrix),
        roots=_nested(fit.roots),
        card_offset=tuple(map(float, fit.card_offset)),
        grey_light=tuple(map(float, true[0])),
        loo_delta_e00=tuple(map(float, delta_e_00(lab, read))),
        used=tuple(use),
        lab_sd=tuple(map(float, np.sqrt(((read - lab)[use] ** 2).mean(axis=0)))),
        make=photo.camera.make,
        model=photo.camera.model,
        table=str(table),
        learned_at=datetime.now(UTC).isoformat(timespec="seconds"),
        flags=tuple(flags),
    )


def _nested(matrix):
    """A matrix as tuples of plain floats."""
    return tuple(tuple(map(float, row)) for row in matrix)


def chart_card(photo: LinearPhoto) -> tuple[Card, CameraProfile | None]:
    """Return the chart of a photo as its card, and the camera as the chart shows it.

    The card, of kind ``chart``, is the patch neutral 5, with the whole chart as what it covers. The camera is learned
    from this very photo; None, and the card doubtful, where too few patches can be used.
    """
    corners = find_chart(photo, finest=_FINEST)
    try:
        camera, doubts = learn_camera(photo, photo.name, chart_at=corners), ()
    except PhotoError:
        camera, doubts = None, ("card_doubtful",)
    else:
        doubts = camera.flags
    table = list(TABLES)[-1] if camera is None else camera.table
    lab = Lab(*map(float, chart_lab(table)[NEUTRAL_5]))
    card = card_at(photo, patch_quads(corners, _SIDE)[NEUTRAL_5], lab)
    flags = tuple(dict.fromkeys([*card.flags, *doubts]))
    return replace(card, kind="chart", flags=flags, whole=_frame(corners)), camera


def _frame(corners):
    """Corners (4, 2) of a chart with its frame, from the middles of its corner patches."""
    outward = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)], np.float32) * _FRAME
    to_photo = cv2.getPerspectiveTransform(CORNERS, np.asarray(corners, np.float32))
    return order_corners(cv2.perspectiveTransform((CORNERS + outward)[None], to_photo)[0])
