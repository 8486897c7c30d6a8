"""From light on the sensor to a JPEG: sensitivities, the maker's matrix, white balance, tone, noise, coding."""

import os
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import colour
import cv2
import numpy as np

from .spectra import SHAPE, WAVELENGTHS_NM, illuminant, linear_srgb, observer


@cache
def camera_files():
    """Return the camera files in the folder $DYEBOOK_CAMERAS, sorted; none when it is not set."""
    folder = os.environ.get("DYEBOOK_CAMERAS")
    if not folder:
        return ()
    return tuple(p for p in sorted(Path(folder).glob("*.csv")) if p.open().readline().startswith("wavelength_nm,R,G,B"))


@cache
def sensitivities(path=None):
    """Return R, G, B sensitivity over the wavelengths, shape (81, 3); without a file, one that colour-science ships."""
    if path is None:
        return np.maximum(colour.MSDS_CAMERA_SENSITIVITIES["Nikon 5100 (NPL)"].copy().align(SHAPE).values, 0)
    table = np.genfromtxt(path, delimiter=",", skip_header=1)
    return np.stack([np.interp(WAVELENGTHS_NM, table[:, 0], table[:, i], 0, 0) for i in (1, 2, 3)], axis=1).clip(0)


@cache
def _training():
    """Reflectances a maker might fit a matrix to: a 24-patch chart, and itself mixed with white and black."""
    chart = np.array([sd.copy().align(SHAPE).values for sd in colour.SDS_COLOURCHECKERS["cc_ohta"].values()])
    return np.concatenate([chart, 0.5 * chart + 0.4, 0.4 * chart + 0.01])


@cache
def _matrix(path, light):
    """Camera RGB (balanced, white = 1) to linear sRGB, fitted under one light, white kept exactly."""
    response = illuminant(light)[:, None] * sensitivities(path)
    samples = _training() @ response / response.sum(axis=0)
    # white kept: fit the two free columns of each row against the third, row sums held at one
    target = linear_srgb(_training())
    weight = 1 / (0.15 + target.mean(axis=1, keepdims=True))
    rows = []
    for i in range(3):
        a = (samples[:, :2] - samples[:, 2:]) * weight
        b = (target[:, i] - samples[:, 2])[:, None] * weight
        free = np.linalg.lstsq(a, b, rcond=None)[0][:, 0]
        rows.append([*free, 1 - free.sum()])
    return np.array(rows)


@dataclass(frozen=True)
class Camera:
    """One camera as set for one photo."""

    path: Path | None
    perfect: bool = False
    balance: str = "good"
    balance_error: tuple = (1.0, 1.0, 1.0)
    adapted: float = 1.0
    tone: str = "plain"
    tone_strength: float = 0.0
    saturation: float = 1.0
    stops: float = 0.0
    gain: float = 2e-4
    blur_px: float = 0.7
    sharpen: float = 0.4
    vignette: float = 0.0
    quality: int = 92
    coarse_colour: bool = True

    @property
    def curves(self):
        """Sensitivities, shape (81, 3); the perfect camera sees linear sRGB itself."""
        if self.perfect:
            return observer() @ np.asarray(colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB).T
        return sensitivities(self.path)

    def to_srgb(self, raw, white):
        """Return linear sRGB of raw values; white is the raw response to a perfect white under the scene's light."""
        if self.perfect:
            return raw / white
        daylight = (illuminant("D55") @ self.curves) / (illuminant("D55") @ self.curves)[1]
        true = white / white[1]
        # an automatic balance goes part of the way from daylight to the light there is
        balanced = daylight ** (1 - self.adapted) * true**self.adapted * np.array(self.balance_error)
        warm = np.log(balanced[0] / balanced[2] / (daylight[0] / daylight[2])) / 0.9
        share = np.clip(warm, 0, 1)
        matrix = (1 - share) * _matrix(self.path, "D65") + share * _matrix(self.path, "A")
        colour_up = self.saturation * np.eye(3) + (1 - self.saturation) * np.array([[0.2126, 0.7152, 0.0722]] * 3)
        full = colour_up @ matrix @ np.diag(1 / balanced) / white[1]
        return np.minimum(raw, 20 * white) @ full.astype(np.float32).T


def draw_camera(rng):
    """Return a camera with settings as people leave them."""
    files = camera_files()
    balance = rng.choice(["good", "auto", "daylight", "off"], p=[0.32, 0.42, 0.12, 0.14])
    adapted = {
        "good": 1.0,
        "auto": rng.uniform(0.65, 1.0),
        "daylight": rng.uniform(0, 0.4),
        "off": rng.uniform(0.4, 1.2),
    }[balance]
    spread = {"good": 0.015, "auto": 0.05, "daylight": 0.01, "off": 0.1}[balance]
    red, blue = np.exp(rng.normal(0, spread, 2))
    tone = rng.choice(["plain", "contrast", "shoulder"], p=[0.45, 0.33, 0.22])
    return Camera(
        path=files[rng.integers(len(files))] if files else None,
        balance=str(balance),
        balance_error=(float(red), 1.0, float(blue)),
        adapted=float(adapted),
        tone=str(tone),
        tone_strength=rng.uniform(0.1, 0.5),
        saturation=1.0 if tone == "plain" else rng.uniform(1.0, 1.12),
        stops=rng.normal(0, 0.3),
        gain=float(np.exp(rng.uniform(np.log(3e-5), np.log(8e-4)))),
        blur_px=rng.uniform(0.45, 1.1),
        sharpen=rng.uniform(0.0, 0.9),
        vignette=rng.choice([0.0, 0.06, 0.15]),
        quality=int(rng.integers(76, 97)),
        coarse_colour=bool(rng.random() < 0.7),
    )


def add_noise(raw, white, camera, exposure, rng):
    """Return raw values as a sensor counts them: softened by lens and demosaicking, with shot and read noise."""
    level = float(exposure) / white
    out = cv2.GaussianBlur(raw, (0, 0), camera.blur_px)
    signal = np.maximum(out * level.astype(np.float32), 0)
    sigma = np.sqrt(camera.gain * signal + 4 * camera.gain**2)
    grain = rng.standard_normal(raw.shape, dtype=np.float32)
    grain = cv2.GaussianBlur(grain, (0, 0), 0.6) * 1.6
    return (signal + sigma * grain) / level.astype(np.float32)


def encode(linear, camera):
    """Return 8-bit sRGB of linear light: the tone curve the maker likes, then sRGB, then sharpening."""
    x = np.clip(linear, 0, None if camera.tone == "shoulder" else 1)
    if camera.tone == "shoulder":
        knee = 0.75 - 0.4 * camera.tone_strength
        x = np.where(x > knee, knee + (1 - knee) * np.tanh((x - knee) / (1 - knee)), x)
    grid = np.linspace(0, 1, 4097)
    curve = np.where(grid <= 0.0031308, 12.92 * grid, 1.055 * grid ** (1 / 2.4) - 0.055)
    if camera.tone == "contrast":
        curve = curve + 0.5 * camera.tone_strength * curve * (1 - curve) * (2 * curve - 1)
    codes = np.interp(x, grid, curve).astype(np.float32)
    if camera.sharpen:
        light = cv2.cvtColor(codes, cv2.COLOR_RGB2GRAY)
        codes = codes + camera.sharpen * (light - cv2.GaussianBlur(light, (0, 0), 1.3))[..., None]
    return np.clip(np.round(codes * 255), 0, 255).astype(np.uint8)


def to_jpeg(image, camera):
    """Return the bytes of the photo's JPEG."""
    sampling = cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420 if camera.coarse_colour else cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444
    options = [cv2.IMWRITE_JPEG_QUALITY, camera.quality, cv2.IMWRITE_JPEG_SAMPLING_FACTOR, sampling]
    return cv2.imencode(".jpg", image[..., ::-1], options)[1].tobytes()
