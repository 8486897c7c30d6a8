"""Fit a camera to a chart: tone curve, gains and colour mixing together, judged by leaving patches out.

The tone curve is undone in the file's own primaries, inside the look-up table; gains come from the card; the colour
mixing keeps neutrals, and f(s·rgb) = s·f(rgb). Every leave-one-out error refits everything, tone included, and reads
with a grey patch as the card.

References
----------
Finlayson, Mackiewicz & Hurlbert, IEEE Trans. Image Process. 24 (2015) 1460: root-polynomial colour correction,
which keeps its answer when the exposure changes.
"""

from dataclasses import dataclass, field

import numpy as np

from dyebook.lab import delta_e_00, encode_srgb, lab_to_linear_rgb, linear_rgb_to_lab
from dyebook.photo.camera.chart import COLUMNS, COUNT, NEUTRAL_5, ROWS
from dyebook.photo.file.profile import Encoding

__all__ = [
    "BENDS",
    "ChartFit",
    "Tone",
    "TonedEncoding",
    "fit_chart",
    "leave_one_out",
    "mean_error",
    "mix_colours",
    "read_patches",
    "tone_curve",
]

# -- Tone curve --
# light at which the curve may bend, and how gently (in log light)
_KNOTS = np.log([0.01, 0.05, 0.2, 0.6])
_WIDTH = 0.5
_MIDDLE = np.log(0.18)
_FLOOR = 1e-4
BENDS = len(_KNOTS)

# -- What is fitted --
# where each group of parameters stands in the vector that is fitted, with its prior standard deviation
_SLOPE, _BENDS, _OFFSET = slice(0, 1), slice(1, 1 + BENDS), slice(5, 8)
_GAINS, _MATRIX, _ROOTS, _FALL = slice(8, 11), slice(11, 17), slice(17, 26), slice(26, 28)
_PARAMETERS = 28
_PRIOR = ((_SLOPE, 0.5), (_BENDS, 0.25), (_OFFSET, 0.007), (_GAINS, 2.0), (_MATRIX, 0.3), (_FALL, 0.05))
# weighted Lab distance that counts as one: a real chart is about that far from its table
_PATCH_SD = 1.0
# CIE 1994: what chroma and hue differences are divided by, per unit of chroma
_CHROMA_WEIGHT, _HUE_WEIGHT = 0.045, 0.015
# beyond this many of them a patch pulls with constant force: glare, a finger's shadow
_HUBER = 2.0
# grey patches that stand in for the grey card, the first that was used: neutral 5 and its neighbours
_CARDS = (NEUTRAL_5, NEUTRAL_5 - 1, NEUTRAL_5 + 1, NEUTRAL_5 - 2)
# share kept of what all patches ask for beyond the grey one: a card of its own in the photo gives the rest
_CARD_OFFSET_KEPT = 0.9
_DARKEST_CARD = 1e-5
_PLACES = np.stack(np.meshgrid(np.linspace(-1, 1, COLUMNS), np.linspace(-1, 1, ROWS)), axis=-1).reshape(COUNT, 2)

# -- Descent --
_FULL_STEPS, _NEAR_STEPS = 30, 6
_DIFFERENCE = 1e-4  # of a parameter, for slopes
# damping at first, at least, the factor it changes by, and how often it is raised before giving up
_DAMPING, _LEAST_DAMPING, _DAMPING_FACTOR, _TRIES = 1e-2, 1e-6, 5, 6
# share of the cost below which a gain ends the descent
_LEAST_GAIN = 1e-4


@dataclass(frozen=True)
class Tone:
    """A smooth rising curve from claimed to true light; the default changes nothing."""

    linear: bool = False  # whether the file holds linear codes under a curve that it does not have
    slope: float = 0.0  # log of the slope of log light in the deep shadows
    bends: tuple[float, float, float, float] = (0.0,) * BENDS  # changes of that slope at 1, 5, 20 and 60 % of light
    offset: tuple[float, float, float] = (0.0, 0.0, 0.0)  # veil or pedestal per channel, taken off the true light

    def __call__(self, light):
        """Return true light of claimed light of the file's own primaries; shape (..., 3) in and out."""
        start = np.asarray(light, dtype=float)
        start = encode_srgb(start) if self.linear else start
        return tone_curve(start, np.array(self.slope), np.array(self.bends)) - np.array(self.offset)


@dataclass(frozen=True, eq=False)
class TonedEncoding(Encoding):
    """An encoding that also undoes a camera's tone curve, while codes are looked up."""

    inner: Encoding | None = None
    tone: Tone = field(default_factory=Tone)

    def decode(self, codes):
        """Return true light of the file's own primaries, float32, of codes of shape (h, w, 3)."""
        if codes.dtype == np.float32:
            return self.tone(self.inner.decode(codes)).astype(np.float32)
        return super().decode(codes)

    def _table(self, dtype):
        """Light of every code of a type, built once."""
        if dtype not in self._tables:
            claimed = np.broadcast_to(self.inner._table(dtype), (1, np.iinfo(dtype).max + 1, 3))
            self._tables[dtype] = np.ascontiguousarray(self.tone(claimed), dtype=np.float32)
        return self._tables[dtype]


def tone_curve(light: np.ndarray, slope: np.ndarray, bends: np.ndarray) -> np.ndarray:
    """Return light after a smooth power law whose exponent changes at four levels.

    Parameters
    ----------
    light : ndarray, shape (n, 3) or (..., 3)
        Above 0; 18 % stays where it is.
    slope : ndarray, shape (...)
        Log of the exponent in deep shadow.
    bends : ndarray, shape (..., 4)
        Changes of the exponent.

    Returns
    -------
    ndarray
        For parameters of shape (k, …) and light (n, 3): (k, n, 3).

    Notes
    -----
    log t = m + e^s (x − m) + Σ b_j (h_j(x) − h_j(m)), with x = log light, m = log 0.18 and h_j a soft ramp that
    starts at knot j. Beyond the outer knots it is a straight line in log light, so nothing explodes there.
    """
    x = np.log(np.maximum(light, _FLOOR))
    bent = np.logaddexp(0, (x[..., None] - _KNOTS) / _WIDTH) - np.logaddexp(0, (_MIDDLE - _KNOTS) / _WIDTH)
    extra = (_WIDTH * bent) @ np.asarray(bends)[..., None, :, None] if np.ndim(slope) else _WIDTH * bent @ bends
    extra = extra[..., 0] if np.ndim(slope) else extra
    rise = np.exp(slope)[..., None, None] if np.ndim(slope) else np.exp(slope)
    # below the floor the curve goes straight to zero, so that black stays black
    return np.exp(_MIDDLE + rise * (x - _MIDDLE) + extra) * np.minimum(light / _FLOOR, 1.0)


@dataclass(frozen=True)
class ChartFit:
    """What one chart showed of a camera."""

    tone: Tone  # from the light the file claims to true light, in the file's own primaries
    card_offset: np.ndarray  # (3,): log of what the gains from a grey card lack against those the whole chart asks for
    matrix: np.ndarray  # (3, 3): mixing of balanced light; rows sum to 1, so that grey stays grey
    # (3, 3): weights of the root terms of red-green, green-blue and blue-red; all zero for a plain matrix
    roots: np.ndarray
    parameters: np.ndarray  # the vector that was fitted


def mix_colours(light: np.ndarray, matrix, roots) -> np.ndarray:
    """Return balanced light mixed to D65 Rec. 709.

    The answer scales with the light exactly; grey comes back unchanged.

    Parameters
    ----------
    light : ndarray, shape (..., 3)
        Balanced, so that grey has three equal channels.
    matrix : ndarray, shape (3, 3)
        Rows sum to 1.
    roots : ndarray, shape (3, 3)
        Row i: weights of the three root terms in channel i.

    Notes
    -----
    The root terms are sqrt(rg) - (r + g) / 2 and so on: the root-polynomial of degree 2 (Finlayson, Mackiewicz &
    Hurlbert 2015), written so that the terms vanish on grey and never exceed the light itself.
    """
    mixed = light @ np.asarray(matrix, dtype=light.dtype).T
    return mixed + _root_terms(light) @ np.asarray(roots, dtype=light.dtype).T if np.any(roots) else mixed


def fit_chart(light, to_rec709, lab, use, linear: bool = False, roots_sd: float = 0.2, start=None) -> ChartFit:
    """Return the fit of a chart.

    Parameters
    ----------
    light : ndarray, shape (24, 3)
        Claimed light of the patches in the file's own primaries.
    to_rec709 : ndarray of shape (3, 3) or None
        From the file's primaries.
    lab : ndarray, shape (24, 3)
        The patches' own colours.
    use : sequence of int
        Patches to learn from.
    linear : bool
        Whether to take the file's codes as linear.
    roots_sd : float
        How far the root terms may go; 0 for a plain matrix.
    start : ChartFit, optional
        A fit to nearly the same patches.

    Notes
    -----
    Damped Gauss-Newton on L*, C*, h residuals divided by 1, 1 + 0.045 C*, 1 + 0.015 C* (the weights of CIE 1994
    and, nearly, of CIEDE2000), with Huber's loss, and normal priors around a camera that does what it claims.
    A plane of fall-off over the chart is fitted along and then dropped.
    """
    claimed = encode_srgb(light) if linear else light
    sd = _prior(roots_sd)
    first = _first_guess(claimed, to_rec709, lab, use) if start is None else start.parameters
    steps = _FULL_STEPS if start is None else _NEAR_STEPS
    weights = _lab_weights(lab)[use]

    def residuals(theta):
        seen = linear_rgb_to_lab(_see(theta, claimed, to_rec709))[..., use, :]
        return np.einsum("pij,...pj->...pi", weights, seen - lab[use]) / _PATCH_SD

    theta = _descend(residuals, first, sd, steps)
    return _unpack(theta, claimed, to_rec709, lab, use, linear)


def leave_one_out(light, to_rec709, lab, use, full: ChartFit, linear: bool, roots_sd: float) -> np.ndarray:
    """Return the Lab read of each patch by a fit that has not seen it, shape (24, 3).

    Notes
    -----
    Everything is fitted anew without the patch, and the patch is read as a part is: with the gains of a grey card,
    for which neutral 5 stands in. Patches outside `use` are read by the full fit.
    """
    read = []
    for patch in range(COUNT):
        rest = [other for other in use if other != patch]
        fit = full if patch not in use else fit_chart(light, to_rec709, lab, rest, linear, roots_sd, full)
        read.append(read_patches(fit, light, to_rec709, lab, _card_patch(rest))[patch])
    return np.array(read)


def read_patches(fit: ChartFit, light, to_rec709, lab, card: int) -> np.ndarray:
    """Return the Lab of all patches, read with one of them as the grey card; shape (24, 3)."""
    true = _rec709(fit.tone(light), to_rec709)
    gains = lab_to_linear_rgb(lab[card]) / np.maximum(true[card], 1e-6) * np.exp(fit.card_offset)
    return linear_rgb_to_lab(mix_colours(true * gains, fit.matrix, fit.roots))


def mean_error(read, lab, use) -> float:
    """Return the mean CIEDE2000 of some patches."""
    return float(np.mean(delta_e_00(lab[use], read[use])))


def _prior(roots_sd):
    """Standard deviation of each parameter; 0 for those that stay put."""
    sd = np.zeros(_PARAMETERS)
    for where, value in _PRIOR:
        sd[where] = value
    sd[_ROOTS] = roots_sd
    return sd


def _card_patch(use):
    """The grey patch that stands in for the card: neutral 5, or the nearest one that was used."""
    return next((patch for patch in _CARDS if patch in use), NEUTRAL_5)


def _first_guess(claimed, to_rec709, lab, use):
    """A camera that does what it claims, balanced on the grey patch."""
    theta, card = np.zeros(_PARAMETERS), _card_patch(use)
    theta[_GAINS] = np.log(lab_to_linear_rgb(lab[card]) / np.maximum(_rec709(claimed, to_rec709)[card], _DARKEST_CARD))
    return theta


def _see(theta, claimed, to_rec709):
    """Linear Rec. 709 of the patches for one vector of parameters, or for a stack of them."""
    slope = theta[..., 0]
    true = tone_curve(claimed, slope, theta[..., _BENDS]) - theta[..., None, _OFFSET]
    fall = np.exp(-np.einsum("pi,...i->...p", _PLACES, theta[..., _FALL]))
    balanced = _rec709(true, to_rec709) * np.exp(theta[..., None, _GAINS]) * fall[..., None]
    matrix, roots = _matrix_of(theta[..., _MATRIX]), theta[..., _ROOTS].reshape(*theta.shape[:-1], 3, 3)
    mixed = balanced @ np.swapaxes(matrix, -1, -2)
    return mixed + _root_terms(balanced) @ np.swapaxes(roots, -1, -2)


def _rec709(light, to_rec709):
    return light if to_rec709 is None else light @ np.asarray(to_rec709).T


def _matrix_of(six):
    """Matrix of unit row sums from its six entries beside the diagonal, row by row."""
    matrix = np.zeros((*six.shape[:-1], 3, 3))
    for place, (row, column) in enumerate(((0, 1), (0, 2), (1, 0), (1, 2), (2, 0), (2, 1))):
        matrix[..., row, column] = six[..., place]
    for row in range(3):
        matrix[..., row, row] = 1 - matrix[..., row, :].sum(axis=-1)
    return matrix


def _root_terms(light):
    """Geometric less arithmetic mean of red-green, green-blue and blue-red."""
    after = np.roll(light, -1, axis=-1)
    return np.sqrt(np.maximum(light, 0) * np.maximum(after, 0)) - (light + after) / 2


def _lab_weights(lab):
    """Matrices (24, 3, 3) from a Lab difference to weighted lightness, chroma and hue differences."""
    chroma = np.hypot(lab[:, 1], lab[:, 2])
    cos, sin = np.cos(hue := np.arctan2(lab[:, 2], lab[:, 1])), np.sin(hue)
    weights = np.zeros((len(lab), 3, 3))
    weights[:, 0, 0] = 1
    weights[:, 1, 1:] = np.stack([cos, sin], axis=1) / (1 + _CHROMA_WEIGHT * chroma)[:, None]
    weights[:, 2, 1:] = np.stack([-sin, cos], axis=1) / (1 + _HUE_WEIGHT * chroma)[:, None]
    return weights


def _descend(residuals, theta, sd, steps):
    """Damped Gauss-Newton; `residuals` maps (..., count) to (..., patches, 3)."""
    free = np.flatnonzero(sd > 0)
    inverse = 1 / sd[free] ** 2
    damping = _DAMPING
    rest = residuals(theta)
    cost = _cost(rest, theta[free], inverse)
    for _ in range(steps):
        shifted = np.repeat(theta[None], len(free), axis=0)
        shifted[np.arange(len(free)), free] += _DIFFERENCE
        slopes = ((residuals(shifted) - rest) / _DIFFERENCE).reshape(len(free), -1)
        weight = np.repeat(_HUBER / np.maximum(np.linalg.norm(rest, axis=-1), _HUBER), 3)
        curvature = (slopes * weight) @ slopes.T + np.diag(inverse)
        pull = (slopes * weight) @ rest.ravel() + theta[free] * inverse
        moved = _try_steps(residuals, theta, free, inverse, curvature, pull, damping, cost)
        if moved is None:
            break
        gained = cost - moved[2]
        theta, rest, cost, damping = moved
        if gained < _LEAST_GAIN * cost:
            break
    return theta


def _try_steps(residuals, theta, free, inverse, curvature, pull, damping, cost):
    """Next (theta, residuals, cost, damping), or None where no step helps."""
    for _ in range(_TRIES):
        trial = theta.copy()
        trial[free] -= np.linalg.solve(curvature + damping * np.diag(np.diag(curvature)), pull)
        rest = residuals(trial)
        trial_cost = _cost(rest, trial[free], inverse)
        if trial_cost < cost:
            return trial, rest, trial_cost, max(damping / _DAMPING_FACTOR, _LEAST_DAMPING)
        damping *= _DAMPING_FACTOR
    return None


def _cost(rest, values, inverse):
    size = np.linalg.norm(rest, axis=-1)
    return np.where(size < _HUBER, size**2, _HUBER * (2 * size - _HUBER)).sum() + (values**2 * inverse).sum()


def _unpack(theta, claimed, to_rec709, lab, use, linear):
    """The fit behind a vector of parameters."""
    tone = Tone(linear, float(theta[0]), tuple(map(float, theta[_BENDS])), tuple(map(float, theta[_OFFSET])))
    true = _rec709(tone_curve(claimed, theta[0], theta[_BENDS]) - theta[_OFFSET], to_rec709)
    card = _card_patch(use)
    by_card = np.log(lab_to_linear_rgb(lab[card]) / np.maximum(true[card], 1e-6))
    offset = _CARD_OFFSET_KEPT * (theta[_GAINS] - by_card)
    matrix, roots = _matrix_of(theta[_MATRIX]), theta[_ROOTS].reshape(3, 3)
    return ChartFit(tone, offset, matrix, roots, theta)
