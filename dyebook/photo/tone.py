"""A camera's own tone curve: from the light a file claims to the light there was."""

from dataclasses import dataclass, field

import numpy as np

from dyebook.lab import encode_srgb
from dyebook.photo.profile import Encoding

__all__ = ["BENDS", "Tone", "TonedEncoding", "tone_curve"]

# light at which the curve may bend, and how gently (in log light)
_KNOTS = np.log([0.01, 0.05, 0.2, 0.6])
_WIDTH = 0.5
_MIDDLE = np.log(0.18)
_FLOOR = 1e-4
BENDS = len(_KNOTS)


@dataclass(frozen=True)
class Tone:
    """A smooth rising curve from claimed to true light; the default changes nothing.

    Attributes
    ----------
    linear : bool
        Whether the file holds linear codes under a curve that it does not have.
    slope : float
        Log of the slope of log light in the deep shadows.
    bends : tuple of 4 floats
        Changes of that slope at 1, 5, 20 and 60 % of light.
    offset : tuple of 3 floats
        Veil or pedestal per channel, taken off the true light.
    """

    linear: bool = False
    slope: float = 0.0
    bends: tuple = (0.0,) * BENDS
    offset: tuple = (0.0, 0.0, 0.0)

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


def tone_curve(light, slope, bends):
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
