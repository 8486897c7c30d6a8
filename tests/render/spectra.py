"""Reflectances, lights and cameras on one wavelength grid, and what a flat piece of a film truly reads.

Pictures are drawn in 16 bands of 400 to 700 nm and brought to the fine grid by a cubic spline, so that one rendering
serves every camera and light: over 400 mixed dyes the spline misses by ΔE00 0.01 in the median, 0.25 at worst.
"""

import os
from functools import cache
from pathlib import Path

import colour
import numpy as np
from scipy.interpolate import CubicSpline
from scipy.stats import qmc

from dyebook.lab import WHITE_D65, Lab, lab_to_xyz, xyz_to_lab
from dyebook.physics.optics import BANDS_NM, metal_reflectance
from tests.render.scene import TABLES, Film

NM = np.arange(380.0, 781.0, 5.0)
KNOTS_NM = np.linspace(400.0, 700.0, 16)
_TO_NM = CubicSpline(KNOTS_NM, np.eye(16), bc_type="natural")(np.clip(NM, 400, 700))
_PORT_DEG = 4.0  # half angle of the trap that a sphere opens for specular-excluded readings
DYES = TABLES["dyes"]


@cache
def _table(name, row):
    """One entry of a colour-science table on the grid, zero where it has no data."""
    data = getattr(colour, name)[row]
    columns = np.atleast_2d(data.values.T)
    return np.stack([np.interp(NM, data.wavelengths, c, left=0, right=0) for c in columns], axis=-1)


@cache
def illuminant(name):
    """Return the power (81,) of a light, 1 at its greatest: "daylight 5200", "blackbody 3000", or a CIE name."""
    kind, _, kelvin = name.partition(" ")
    if kind == "blackbody":
        power = NM**-5.0 / np.expm1(1.438776877e7 / (NM * float(kelvin)))
    elif kind == "daylight":
        series = colour.sd_CIE_illuminant_D_series(colour.temperature.CCT_to_xy_CIE_D(float(kelvin) * 1.4388 / 1.4380))
        power = np.interp(NM, series.wavelengths, series.values)
    else:
        power = _table("SDS_ILLUMINANTS", name)[:, 0]
    return power / power.max()


@cache
def _observer(light="D65"):
    """Weights (81, 3) from reflectance to XYZ under a light, Y of white 1; under D65 white is the house's white."""
    weights = _table("MSDS_CMFS", "CIE 1931 2 Degree Standard Observer") * illuminant(light)[:, None]
    white = WHITE_D65 if light == "D65" else weights.sum(axis=0) / weights[:, 1].sum()
    return weights * (white / weights.sum(axis=0))


def reflectance_lab(reflectance):
    """Return Lab (D65, 2°) of reflectances (..., 81)."""
    return xyz_to_lab(np.asarray(reflectance) @ _observer())


def absorbance(film, nm=NM):
    """Return a film's decadic absorbance of one pass."""
    bands = (w * np.exp(-0.5 * ((nm - peak) / sigma) ** 2) for peak, sigma, w in film.bands)
    return film.absorbance * sum(bands, np.zeros_like(nm))


@cache
def paint_reflectance(lab):
    """Return a smooth reflectance (81,) of a Lab; of impossible colours the part outside 0.002 to 1 is cut off."""
    waves = [1 / (1 + np.exp(-(NM - edge) / 22)) for edge in (490, 580)]
    basis = np.stack([1 - waves[0], waves[0] - waves[1], waves[1]])
    amounts = np.linalg.solve((basis @ _observer()).T, lab_to_xyz(lab))
    return np.clip(amounts @ basis, 0.002, 1.0)


def body_reflectance(material, nm=NM):
    """Return what lies below the clear surface, dye left out: metal within a film, or the paint itself."""
    if isinstance(material, Film):
        return material.metal * np.interp(nm, BANDS_NM, metal_reflectance())
    return np.interp(nm, NM, material.lab if len(material.lab) > 3 else paint_reflectance(material.lab))


def clear_loss(cosine, index):
    """Return Fresnel's reflectance of a clear surface at cosines of incidence."""
    inside = np.sqrt(1 - (1 - np.square(cosine)) / index**2)
    s, p = (cosine - index * inside) / (cosine + index * inside), (index * cosine - inside) / (index * cosine + inside)
    return (s**2 + p**2) / 2


def _lobe(points, alpha_x, alpha_y, eye):
    """Directions sampled as a rough mirror sends light from `eye` (visible normals of GGX), and G1 of each."""
    stretched = np.array([alpha_x * eye[0], alpha_y * eye[1], eye[2]])
    stretched /= np.linalg.norm(stretched)
    first = np.cross([0, 0, 1], stretched)
    first = first / np.linalg.norm(first) if np.linalg.norm(first) > 1e-9 else np.array([1.0, 0, 0])
    second = np.cross(stretched, first)
    r, phi = np.sqrt(points[:, 0]), 2 * np.pi * points[:, 1]
    x, y, lean = r * np.cos(phi), r * np.sin(phi), (1 + stretched[2]) / 2
    y = (1 - lean) * np.sqrt(np.maximum(1 - x**2, 0)) + lean * y
    z = np.sqrt(np.maximum(1 - x**2 - y**2, 0))
    half = np.outer(x, first) + np.outer(y, second) + np.outer(z, stretched)
    half = half * (alpha_x, alpha_y, 1)
    half /= np.linalg.norm(half, axis=1, keepdims=True)
    out = 2 * (half @ eye)[:, None] * half - eye
    tangent = (alpha_x * out[:, 0]) ** 2 + (alpha_y * out[:, 1]) ** 2
    shade = 2 / (1 + np.sqrt(1 + tangent / np.maximum(out[:, 2], 1e-9) ** 2))
    return out, np.where(out[:, 2] > 0, shade, 0), half @ eye


def _transmitted(material, finish, cosines, eye_z):
    """Reflectance (n, 81) of the path in at `cosines`, through the film, and out at `eye_z`."""
    outer, body = float(clear_loss(1.0, finish.index)), body_reflectance(material)
    kept = (1 - clear_loss(cosines, finish.index)) * (1 - clear_loss(np.array(eye_z), finish.index))
    if not isinstance(material, Film):
        return np.outer(kept / (1 - outer) ** 2, body)
    inside = 1 / np.sqrt(1 - (1 - np.square(np.append(cosines, eye_z))) / max(finish.index, 1.0001) ** 2)
    passed = body * 10 ** (-np.outer(inside[:-1] + inside[-1], absorbance(material)))
    return kept[:, None] * passed / (1 - outer * passed)


@cache
def film_reflectance(material, finish, count=512):
    """Return what a flat piece sends back at 8° of diffuse light: its film (81,), the clear surface, and what of both
    lies within 4° of the mirror's direction (81,)."""
    points = qmc.Sobol(2, seed=1).random(count)
    eye = np.array([np.sin(np.radians(8)), 0.0, np.cos(np.radians(8))])
    trapped = np.cos(np.radians(_PORT_DEG))
    out, shade, _ = _lobe(points, finish.along, finish.across, eye)
    metal = (1 - finish.even) * _transmitted(material, finish, np.clip(out[:, 2], 1e-3, 1), eye[2]) * shade[:, None]
    even = _transmitted(material, finish, np.clip(np.sqrt(1 - points[:, 0]), 1e-3, 1), eye[2])
    film = metal.mean(axis=0) + finish.even * even.mean(axis=0) + material.veil
    shiny, dim, at_half = _lobe(points, finish.gloss, finish.gloss, eye)
    gloss = clear_loss(at_half, finish.index) * dim
    lost = (metal * (out @ (eye * (-1, -1, 1)) > trapped)[:, None]).mean(axis=0)
    return film, float(gloss.mean()), lost + (gloss * (shiny @ (eye * (-1, -1, 1)) > trapped)).mean()


@cache
def film_readings(material, finish):
    """Return the Lab of a flat piece as instruments define it: a dict.

    ``lab`` di:8° less the clear surface's reflection (the house's meaning of a reading), ``lab_sci`` di:8°, ``lab_sce``
    de:8° with a trap of 4° half angle, ``lab_45_0`` light at 45°, seen from above.
    """
    film, gloss, lost = film_reflectance(material, finish)
    seen = {"lab": film, "lab_sci": film + gloss, "lab_sce": film + gloss - lost, "lab_45_0": _at_45(material, finish)}
    return {name: [round(float(v), 3) for v in reflectance_lab(value)] for name, value in seen.items()}


def _at_45(material, finish):
    """Reflectance factor (81,) for light at 45° all round, seen along the normal."""
    turn = np.linspace(0, 2 * np.pi, 16, endpoint=False)
    light = np.stack([np.cos(turn), np.sin(turn), np.ones(16)], axis=1) * np.sqrt(0.5)
    half = light + np.array([0, 0, 1])
    half /= np.linalg.norm(half, axis=1, keepdims=True)

    def mirror(ax, ay):
        spread = (half[:, 0] / ax) ** 2 + (half[:, 1] / ay) ** 2 + half[:, 2] ** 2
        shade = 2 / (1 + np.sqrt(1 + (ax * light[:, 0]) ** 2 / 0.5 + (ay * light[:, 1]) ** 2 / 0.5))
        return (shade / (np.pi * ax * ay * spread**2) / (4 * light[:, 2]) * np.pi).mean()

    passed = _transmitted(material, finish, np.array([np.sqrt(0.5)]), 1.0)[0]
    gloss = float(clear_loss(np.sum(half * light, axis=1), finish.index).mean()) * mirror(finish.gloss, finish.gloss)
    return passed * ((1 - finish.even) * mirror(finish.along, finish.across) + finish.even) + gloss + material.veil


@cache
def sensitivities(camera):
    """Return a camera's sensitivities (81, 3): "ideal", "reflex", "invented SEED", or a file of DYEBOOK_CAMERAS."""
    if camera == "ideal":
        return _table("MSDS_CMFS", "CIE 1931 2 Degree Standard Observer")
    if camera == "reflex":
        return _table("MSDS_CAMERA_SENSITIVITIES", "Nikon 5100 (NPL)")
    if camera.startswith("invented "):
        return _invented(int(camera.split()[1]))
    with (Path(os.environ["DYEBOOK_CAMERAS"]) / f"{camera}.csv").open(encoding="utf-8") as lines:
        table = np.loadtxt(lines, delimiter=",", skiprows=1)
    return np.stack([np.interp(NM, table[:, 0], c, left=0, right=0) for c in table[:, 1:4].T], axis=-1)


def _invented(seed):
    """A sensor of three skewed bands with leaks, cut by an infrared filter."""
    rng = np.random.default_rng(seed)
    peaks = np.array([602, 535, 460]) + rng.normal(0, 6, 3)
    left, right = (np.array(w) * rng.uniform(0.85, 1.15, 3) for w in ((32, 40, 30), (42, 38, 32)))
    width = np.where(NM[:, None] < peaks, left, right)
    bands = np.exp(-0.5 * np.abs((NM[:, None] - peaks) / width) ** rng.uniform(1.8, 2.4))
    leaks = rng.uniform(0.02, 0.09, (3, 3))
    np.fill_diagonal(leaks, 1.0)
    cut = 1 / (1 + np.exp((NM - rng.uniform(655, 690)) / 8)) / (1 + np.exp(-(NM - 412) / 6))
    return bands @ leaks.T * cut[:, None]


def camera_names():
    """Return the measured cameras of the folder DYEBOOK_CAMERAS names, else invented ones."""
    folder = os.environ.get("DYEBOOK_CAMERAS")
    if not folder:
        return [f"invented {seed}" for seed in range(40)]
    files = sorted(Path(folder).glob("*.csv"))
    return [path.stem for path in files if path.open(encoding="utf-8").readline().strip() == "wavelength_nm,R,G,B"]


def sensor_weights(camera, light, fine=False):
    """Return weights from bands (16, or 81 if fine) to sensor values, 1 for perfect white in each channel."""
    weights = sensitivities(camera) * illuminant(light)[:, None]
    weights = weights / weights.sum(axis=0)
    return weights if fine else _TO_NM.T @ weights


def raw_white(camera, light):
    """Return what the sensor gives for perfect white before any balance, the strongest channel 1."""
    white = (sensitivities(camera) * illuminant(light)[:, None]).sum(axis=0)
    return white / white.max()


@cache
def training_reflectances():
    """Return 24 chart patches (ISO 17321-1) and 60 smooth reflectances, (84, 81): what a camera's maker tunes on."""
    chart = [np.interp(NM, sd.wavelengths, sd.values) for sd in colour.SDS_COLOURCHECKERS["ISO 17321-1"].values()]
    rng = np.random.default_rng(17321)
    lab = np.column_stack([rng.uniform(20, 90, 60), rng.normal(0, 22, 60), rng.normal(5, 25, 60)])
    return np.vstack([chart, [paint_reflectance(Lab(*row)) for row in lab]])


@cache
def _standard_matrix(camera, light):
    """Least-squares 3x3 from balanced sensor values to linear Rec. 709; rows sum to 1, so grey stays grey."""
    colours = training_reflectances()
    seen, weights = colours @ sensor_weights(camera, light, fine=True), _observer(light)
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(weights.sum(axis=0), WHITE_D65, "Bradford")
    wanted = colours @ weights @ adapt.T @ colour.RGB_COLOURSPACES["ITU-R BT.709"].matrix_XYZ_to_RGB.T
    # weights near a cube root's slope, so that dark colours count as they look
    weight = 1 / np.maximum(wanted.mean(axis=1, keepdims=True), 0.03) ** (2 / 3)
    green = seen[:, 1:2]
    red, blue = np.linalg.lstsq((seen[:, [0, 2]] - green) * weight, (wanted - green) * weight, rcond=None)[0]
    return np.stack([red, 1 - red - blue, blue], axis=1)


def warmth_of(camera, light):
    """Return where a light lies for a camera between D65 (0) and illuminant A (1)."""
    whites = (raw_white(camera, one) for one in ("D65", "A", light))
    cool, warm, own = (np.log(white[0] / white[2]) for white in whites)
    return float(np.clip((own - cool) / (warm - cool), 0, 1)) if warm != cool else 0.0


def camera_matrix(camera, warmth):
    """Return the maker's 3x3 to linear Rec. 709: fitted under D65 for warmth 0, under illuminant A for 1."""
    return (1 - warmth) * _standard_matrix(camera, "D65") + warmth * _standard_matrix(camera, "A")
