"""From balanced sensor light to the picture's codes, as a camera does it."""

import cv2
import numpy as np

from dyebook.demo.spectra import illuminant
from dyebook.lab import encode_srgb
from tests.render.cameras import camera_matrix, raw_white

__all__ = ["develop", "tone_codes"]

_LUT_STEPS = 4096
_DEMOSAIC_PX = 0.6  # interpolation between the sensor's filters smears noise a little


def tone_codes(linear, contrast=0.0, lift=0.0):
    """Return codes 0..1 of linear light 0..1: the sRGB curve, then an S-curve, then a lifted black.

    Parameters
    ----------
    linear : array_like
    contrast : float
        0..0.4; slope at mid grey grows by this share.
    lift : float
        Code of black, 0..1.

    Returns
    -------
    ndarray
    """
    code = encode_srgb(np.asarray(linear, dtype=float))
    code = code - contrast * np.sin(2 * np.pi * code) / (2 * np.pi)
    return lift + (1 - lift) * code


def _balance(spec):
    """Gains of the white balance beyond the right ones, green 1, and the warmth the camera assumes."""
    light = illuminant(spec.light)
    white = raw_white(spec.camera, light)
    gains = np.ones(3)
    if spec.development.preset:
        preset = raw_white(spec.camera, illuminant(spec.development.preset))
        gains = (white / white[1]) / (preset / preset[1])
        white = preset
    gains[[0, 2]] *= spec.development.balance
    warm, cool = (raw_white(spec.camera, illuminant(name)) for name in ("A", "D65"))
    place = [np.log(w[0] / w[2]) for w in (cool, warm, white)]
    span = place[1] - place[0]
    return gains, float(np.clip((place[2] - place[0]) / span, 0, 1)) if abs(span) > 1e-6 else 0.0


def _noisy(light, spec, rng):
    """Add shot and read noise; channels that the balance amplifies most are the noisiest."""
    well = spec.development.full_well
    if not well:
        return light
    amplification = 1 / raw_white(spec.camera, illuminant(spec.light))
    floor = (amplification * spec.development.read_noise / well) ** 2
    spread = np.maximum(cv2.transform(light, np.column_stack([np.diag(amplification / well), floor])), 0)
    np.sqrt(spread, out=spread)
    noise = cv2.GaussianBlur(rng.standard_normal(light.shape, dtype=np.float32), (0, 0), _DEMOSAIC_PX)
    return cv2.accumulateProduct(spread, noise, light)


def develop(light, spec, rng):
    """Return the picture as a camera would write it before JPEG.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Sensor light, 1 = perfect white lit as the bench's centre, in each channel.
    spec : SceneSpec
    rng : numpy.random.Generator

    Returns
    -------
    ndarray of uint8, shape (H, W, 3)
    """
    how = spec.development
    if how.blur_px:
        light = cv2.GaussianBlur(light, (0, 0), how.blur_px)
    gains, warmth = _balance(spec)
    light = _noisy(light * np.float32(how.exposure), spec, rng)
    light = np.minimum(light * gains.astype(np.float32), 1)
    saturate = (1 - how.saturation) * np.array([0.2126, 0.7152, 0.0722]) + how.saturation * np.eye(3)
    matrix = (saturate @ camera_matrix(spec.camera, warmth)).astype(np.float32)
    linear = cv2.transform(light, matrix)
    table = np.round(255 * 256 * tone_codes(np.linspace(0, 1, _LUT_STEPS) ** 2, how.contrast, how.lift))
    place = np.sqrt(np.clip(linear, 0, 1)) * (_LUT_STEPS - 1) + 0.5
    codes = table.astype(np.float32)[place.astype(np.uint16)] / 256
    if how.sharpen:
        codes += how.sharpen * (codes - cv2.GaussianBlur(codes, (0, 0), 1.0 + how.blur_px))
    return np.clip(codes + 0.5, 0, 255).astype(np.uint8)
