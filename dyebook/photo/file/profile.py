"""Which colour space a photo's codes are in, by its profile, its tags or the assumption of sRGB; and the way to light.

Phones and cameras describe their colours by an ICC profile of the matrix kind: one curve per channel and three
primaries. Those are read here, so that light outside Rec. 709 survives and the work is one table and one matrix.
Profiles of the table kind go through LittleCMS to a wide space. Profiles of the matrix kind are also written, for files
of our own and as that engine's goal.

References
----------
ICC.1:2022 (profile version 4.4), clauses 7 (header), 10.6 and 10.18 (curves), annex E (adaptation); ICC.1:2001-04
(version 2.4), clause 6; IEC 61966-2-1:1999 (sRGB); SMPTE EG 432-1 with D65 (Display P3); Adobe RGB (1998) encoding;
ITU-R BT.2020; Rec. ITU-T H.273 (code points).
"""

import io
import struct
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache, cached_property

import cv2
import numpy as np

from dyebook.lab import decode_srgb
from dyebook.photo.file.exif import declared_colour

__all__ = [
    "ADOBE_RGB", "CONNECTION_XYZ", "D65_XY", "DISPLAY_P3", "LINEAR", "REC2020_WIDE", "SHORT_WHITE", "SRGB", "Encoding",
    "EngineError", "ProfileError", "adaptation", "convert_by_engine", "encoding_from_primaries", "encoding_of",
    "matrix_profile", "read_profile", "rec709_to_xyz",
]  # fmt: skip

D65_XY = (0.3127, 0.3290)
REC709_XY = ((0.640, 0.330), (0.300, 0.600), (0.150, 0.060))
_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
CONNECTION_XYZ = np.array([0.9642, 1.0, 0.8249])  # D50, the white of the ICC connection space

SHORT_WHITE = 65535
UNTAGGED = "no colour profile in the file; taken as sRGB"

# -- ICC profiles: bytes of the header with its tag count, of a tag's row and of a block's own header; fixed point --
_HEADER, _TAG_COUNT, _TAG_ROW, _BLOCK_HEADER, _XYZ_BLOCK = 132, 128, 12, 8, 20
_CURVE_START, _FIXED, _GAMMA_FIXED, _CURVE_WHITE = 12, 65536, 256, 65535
_SPACE, _CONNECTION, _MAGIC = slice(16, 20), slice(20, 24), slice(36, 40)
# how many numbers each of the five curve functions has (ICC.1, table 68)
_CURVE_NUMBERS = {0: 1, 1: 3, 2: 4, 3: 5, 4: 7}
_LARGEST_CURVE, _MOST_TAGS, _LONGEST_NAME = 65536, 200, 128
# places in a block of a profile's name: size and offset of the first translation, or plain text in version 2
_NAME_PLACE, _LEAST_NAME, _PLAIN_NAME = 20, 28, slice(12, 76)
# a possible tone curve: values looked at, lowest light, range of the highest, falls and a black that noise explains
_CURVE_SAMPLES, _LOWEST, _HIGHEST, _MOST_FALL, _BRIGHTEST_BLACK = 1024, -0.05, (0.5, 1.5), 1e-3, 0.2
# a white this far from the connection space's own, or primaries so nearly in line, are no colour space but damage
_FAR_WHITE, _FLAT_PRIMARIES = 0.4, 1e-3
_VERSION_2_4, _PADDING, _NAME_PADDING = 0x02400000, 28, 78
_MADE = (2025, 1, 1, 0, 0, 0)

# -- PNG: gammas that files can have; 1/2.2 is how sRGB files are marked for readers that know no sRGB --
_GAMMAS, _SRGB_GAMMA, _SAME_GAMMA = (0.2, 1.2), 0.45455, 0.01


class ProfileError(ValueError):
    """An ICC profile that makes no sense; the reader falls back to sRGB and says so."""


@dataclass(frozen=True, eq=False)
class Encoding:
    """How codes become linear Rec. 709 light."""

    name: str  # what people call it
    # tuple of 1 or 3 callables: relative code 0 to 1 to relative light, for all channels or each
    curves: tuple[Callable, ...] = ()
    matrix: np.ndarray | None = None  # (3, 3): from the file's linear light to Rec. 709; None where they are the same
    _tables: dict = field(default_factory=dict, repr=False)

    @property
    def is_linear(self):
        """Whether codes are proportional to light, so that no curve of a camera or screen is in them."""
        half = np.array([0.5], np.float32)
        return all(abs(float(np.ravel(curve(half))[0]) - 0.5) < 1e-3 for curve in self.curves)

    def decode(self, codes):
        """Return linear light of the file's own primaries, float32, of codes of shape (h, w, 3)."""
        if codes.dtype == np.float32:
            return codes.copy()
        return cv2.LUT(np.ascontiguousarray(codes), self._table(codes.dtype))

    @cached_property
    def fits_short(self):
        """Whether the light of 8-bit codes stays within 0 to 1."""
        table = self._table(np.dtype(np.uint8))
        return bool(table.min() >= 0 and table.max() <= 1)

    def decode_short(self, codes):
        """Return `decode` of 8-bit codes as uint16, `SHORT_WHITE` for 1; only where the light `fits_short`."""
        return cv2.LUT(np.ascontiguousarray(codes), self._short_table)

    @cached_property
    def _short_table(self):
        return np.round(self._table(np.dtype(np.uint8)) * SHORT_WHITE).astype(np.uint16)

    def to_rec709(self, light):
        """Return light of the file's own primaries as Rec. 709; shape (h, w, 3), float32."""
        return light if self.matrix is None else cv2.transform(light, self.matrix)

    def _table(self, dtype):
        """Light of every code of a type, built once."""
        if dtype not in self._tables:
            relative = np.linspace(0, 1, np.iinfo(dtype).max + 1)
            columns = np.stack([curve(relative) for curve in self.curves], axis=-1)
            self._tables[dtype] = np.ascontiguousarray(columns[None], dtype=np.float32)
        return self._tables[dtype]


def encoding_from_primaries(name: str, primaries_xy, white_xy, curve: Callable) -> Encoding:
    """Return the encoding of a colour space given by the CIE 1931 chromaticities (x, y) of its primaries and its white.

    It is adapted to D65 by the Bradford transform; its white becomes (1, 1, 1). `curve` takes relative code to relative
    light.
    """
    return Encoding(name, (curve,), _to_rec709(_primaries_to_xyz(primaries_xy, white_xy)))


def read_profile(profile: bytes, grey: bool = False) -> Encoding | None:
    """Return the encoding that a matrix profile describes.

    None for a sound profile of another kind (tables, CMYK), which needs a colour engine. `profile`: a whole ICC
    profile. `grey`: whether the file holds one channel. ProfileError if the profile is damaged or describes impossible
    colours.
    """
    if len(profile) < _HEADER or profile[_MAGIC] != b"acsp":
        raise ProfileError("not an ICC profile")
    tags = _tag_table(profile)
    space, connection = profile[_SPACE], profile[_CONNECTION]
    name = _description(tags.get(b"desc", b""))
    if space == b"GRAY" and not grey:
        raise ProfileError("it is for grey pictures")
    if space == b"GRAY" and b"kTRC" in tags and b"A2B0" not in tags:
        return Encoding(name, (_curve(tags[b"kTRC"]),))
    wanted = (b"rXYZ", b"gXYZ", b"bXYZ", b"rTRC", b"gTRC", b"bTRC")
    if space != b"RGB " or connection != b"XYZ " or b"A2B0" in tags or any(tag not in tags for tag in wanted):
        return None
    matrix = _to_rec709(np.stack([_xyz(tags[tag]) for tag in wanted[:3]], axis=1))
    blocks = [tags[tag] for tag in wanted[3:]]
    curves = tuple(_curve(block) for block in (blocks[:1] if len(set(blocks)) == 1 else blocks))
    return Encoding(name, curves, matrix)


def _tag_table(profile):
    """Return the tagged blocks of a profile, by signature."""
    (count,) = struct.unpack_from(">I", profile, _TAG_COUNT)
    if count > _MOST_TAGS or _HEADER + _TAG_ROW * count > len(profile):
        raise ProfileError(f"claims {count} tags in {len(profile)} bytes")
    tags = {}
    for at in range(_HEADER, _HEADER + _TAG_ROW * count, _TAG_ROW):
        signature, offset, size = struct.unpack_from(">4sII", profile, at)
        if offset + size > len(profile):
            raise ProfileError(f"tag {signature!r} leaves the profile")
        tags[signature] = profile[offset : offset + size]
    return tags


def _xyz(block):
    """Return the tristimulus values of an XYZ block."""
    if len(block) < _XYZ_BLOCK or block[:4] != b"XYZ ":
        raise ProfileError("a primary is not an XYZ block")
    return np.array(struct.unpack_from(">3i", block, _BLOCK_HEADER)) / _FIXED


def _curve(block):
    """Return the curve of a block, checked to be a possible tone curve."""
    readers = {b"curv": _sampled_curve, b"para": _parametric_curve}
    if block[:4] not in readers:
        raise ProfileError(f"unknown curve {block[:4]!r}")
    try:
        curve = readers[block[:4]](block)
    except struct.error as fault:
        raise ProfileError("a curve is cut short") from fault
    with np.errstate(all="ignore"):
        values = curve(np.linspace(0, 1, _CURVE_SAMPLES))
    if not np.all(np.isfinite(values)) or values.min() < _LOWEST or not _HIGHEST[0] < values.max() < _HIGHEST[1]:
        raise ProfileError("a curve leaves the range of light")
    if np.diff(values).min() < -_MOST_FALL or values[0] > _BRIGHTEST_BLACK:
        raise ProfileError("a curve does not rise from dark to light")
    return curve


def _sampled_curve(block):
    """Return a curve given by samples, by one gamma, or by nothing (identity)."""
    (count,) = struct.unpack_from(">I", block, _BLOCK_HEADER)
    if count > _LARGEST_CURVE:
        raise ProfileError(f"a curve of {count} samples")
    samples = np.array(struct.unpack_from(f">{count}H", block, _CURVE_START), dtype=float)
    if count == 0:
        return lambda code: np.asarray(code, dtype=float)
    if count == 1:
        gamma = samples[0] / _GAMMA_FIXED
        return lambda code: np.asarray(code, dtype=float) ** gamma
    knots = np.linspace(0, 1, count)
    return lambda code: np.interp(code, knots, samples / _CURVE_WHITE)


def _parametric_curve(block):
    """Return a curve given by one of the five functions of ICC.1, table 68."""
    (kind,) = struct.unpack_from(">H", block, _BLOCK_HEADER)
    if kind not in _CURVE_NUMBERS:
        raise ProfileError(f"unknown curve function {kind}")
    values = np.array(struct.unpack_from(f">{_CURVE_NUMBERS[kind]}i", block, _CURVE_START)) / _FIXED
    g, a, b, c, d, e, f = 1.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0
    if kind == 0:
        (g,) = values
    elif kind in (1, 2):
        g, a, b = values[:3]
        e = f = values[3] if kind == 2 else 0.0
        d = -b / a if a else np.nan
    else:
        g, a, b, c, d = values[:5]
        e, f = values[5:] if kind == 4 else (0.0, 0.0)
    return lambda code: _power_with_toe(np.asarray(code, dtype=float), g, a, b, c, d, e, f)


def _power_with_toe(code, g, a, b, c, d, e, f):
    """Return (a·x + b)^g + e from d on, and c·x + f below."""
    return np.where(code >= d, np.maximum(a * code + b, 0) ** g + e, c * code + f)


def rec709_to_xyz() -> np.ndarray:
    """Return the matrix from linear Rec. 709 to XYZ under D65, shape (3, 3)."""
    return _primaries_to_xyz(REC709_XY, D65_XY)


def adaptation(white_xyz: np.ndarray, target_xyz: np.ndarray) -> np.ndarray:
    """Return the Bradford matrix that carries one white to another, shape (3, 3)."""
    ratio = (_BRADFORD @ target_xyz) / (_BRADFORD @ white_xyz)
    return np.linalg.inv(_BRADFORD) @ np.diag(ratio) @ _BRADFORD


def _primaries_to_xyz(primaries_xy, white_xy):
    """Return the matrix from linear RGB to XYZ for which (1, 1, 1) is the white at Y = 1."""
    columns = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in primaries_xy]).T
    x, y = white_xy
    return columns * np.linalg.solve(columns, np.array([x / y, 1.0, (1 - x - y) / y]))


def _to_rec709(rgb_to_xyz):
    """Return the matrix from linear RGB to Rec. 709, its white carried to D65 (Bradford)."""
    white = rgb_to_xyz.sum(axis=1)
    if np.abs(white - CONNECTION_XYZ).max() > _FAR_WHITE or abs(np.linalg.det(rgb_to_xyz)) < _FLAT_PRIMARIES:
        raise ProfileError("primaries make no colour space")
    target = rec709_to_xyz()
    return np.linalg.solve(target, adaptation(white, target.sum(axis=1)) @ rgb_to_xyz)


def _description(block):
    """Return a profile's name, as far as it can be read."""
    if block[:4] == b"mluc" and len(block) >= _LEAST_NAME:
        size, offset = struct.unpack_from(">II", block, _NAME_PLACE)
        text = block[offset : offset + min(size, _LONGEST_NAME)].decode("utf-16-be", "replace")
    else:
        text = block[_PLAIN_NAME].split(b"\0", 1)[0].decode("latin-1")
    return "".join(c for c in text if c.isprintable()).strip() or "unnamed profile"


LINEAR = Encoding("linear Rec. 709", (lambda code: code,))
SRGB = Encoding("sRGB", (decode_srgb,))
DISPLAY_P3 = encoding_from_primaries(
    "Display P3", ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060)), D65_XY, decode_srgb
)
# 563/256, the exponent of the Adobe RGB (1998) encoding, section 4.3.1.2
ADOBE_RGB = encoding_from_primaries(
    "Adobe RGB (1998)", ((0.640, 0.330), (0.210, 0.710), (0.150, 0.060)), D65_XY, lambda code: code ** (563 / 256)
)
REC2020_WIDE = encoding_from_primaries(
    "Rec. 2020 primaries, sRGB curve", ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046)), D65_XY, decode_srgb
)


def matrix_profile(encoding: Encoding, samples: int = 4096) -> bytes:
    """Return the ICC profile (version 2.4) of a matrix encoding.

    It is a monitor profile that any colour-managed reader understands. `encoding` (Encoding): with one curve for all
    channels. `samples`: samples of the curve.
    """
    curve = np.round(encoding.curves[0](np.linspace(0, 1, samples)) * _CURVE_WHITE)
    values = np.clip(curve, 0, _CURVE_WHITE).astype(">u2").tobytes()
    trc = b"curv\0\0\0\0" + struct.pack(">I", samples) + values
    text = encoding.name.encode("ascii", "replace") + b"\0"
    matrix = np.eye(3) if encoding.matrix is None else encoding.matrix
    rec709 = rec709_to_xyz()
    columns = (adaptation(rec709.sum(axis=1), CONNECTION_XYZ) @ rec709 @ matrix).T
    return _assemble(
        {
            b"desc": b"desc\0\0\0\0" + struct.pack(">I", len(text)) + text + bytes(_NAME_PADDING),
            b"cprt": b"text\0\0\0\0none\0",
            b"wtpt": _xyz_block(CONNECTION_XYZ),
            b"rXYZ": _xyz_block(columns[0]),
            b"gXYZ": _xyz_block(columns[1]),
            b"bXYZ": _xyz_block(columns[2]),
            b"rTRC": trc,
            b"gTRC": trc,
            b"bTRC": trc,
        }
    )


def _xyz_block(values):
    """Return an XYZ block of three 15.16 numbers."""
    return b"XYZ \0\0\0\0" + np.round(np.asarray(values) * _FIXED).astype(">i4").tobytes()


def _assemble(blocks):
    """Join header, tag table and blocks; equal blocks are stored once."""
    table, body, places = b"", b"", {}
    start = _HEADER + _TAG_ROW * len(blocks)
    for signature, block in blocks.items():
        if block not in places:
            places[block] = start + len(body)
            body += block + bytes(-len(block) % 4)
        table += struct.pack(">4sII", signature, places[block], len(block))
    dates = struct.pack(">6H", *_MADE)
    white = np.round(CONNECTION_XYZ * _FIXED).astype(">i4").tobytes()
    header = struct.pack(">I4sI4s4s4s", start + len(body), bytes(4), _VERSION_2_4, b"mntr", b"RGB ", b"XYZ ")
    header += dates + b"acsp" + bytes(_PADDING) + white
    return header.ljust(_TAG_COUNT, b"\0") + struct.pack(">I", len(blocks)) + table + body


# Rec. ITU-T H.273: colour primaries (1 Rec. 709, 9 Rec. 2020, 12 P3 with D65)
_H273_PRIMARIES = {1: SRGB, 9: REC2020_WIDE, 12: DISPLAY_P3}
# transfer characteristics that cameras write for ordinary photos; all are read with the sRGB curve, as viewers do
_H273_ORDINARY = {1, 2, 6, 13, 14, 15}
_H273_HDR = {16: "PQ", 18: "HLG"}


class EngineError(ValueError):
    """A profile the colour engine cannot use."""


def encoding_of(info: dict, exif, grey: bool = False) -> tuple[Encoding | None, tuple[str, ...]]:
    """Return how a file's codes become light, as far as its tables and tags describe it.

    Parameters
    ----------
    info : dict
        Pillow's metadata: `icc_profile`, `nclx_profile`, `srgb`, `gamma`, `chromaticity`.
    exif : PIL.Image.Exif
        The file's EXIF block.
    grey : bool
        Whether the file holds one channel; only then does a profile for grey fit it.

    Returns
    -------
    encoding : Encoding or None
        None where only a colour engine can use the profile.
    notes : tuple of str
        What had to be assumed.

    Raises
    ------
    EngineError
        For brightness curves that are not of a photo (PQ, HLG).
    """
    profile = info.get("icc_profile")
    if profile:
        try:
            return read_profile(profile, grey), ()
        except ProfileError as fault:
            return SRGB, (f"the colour profile is damaged ({fault}); taken as sRGB",)
    if "nclx_profile" in info:
        return _encoding_of_nclx(info["nclx_profile"])
    if "srgb" in info:
        return SRGB, ()
    if "gamma" in info:
        return _encoding_of_png(info)
    declared = declared_colour(exif)
    if declared == "Adobe RGB":
        return ADOBE_RGB, ("no colour profile in the file; opRGB (IEC 61966-2-5) by the camera's mark",)
    return SRGB, () if declared == "sRGB" else (UNTAGGED,)


def _encoding_of_nclx(nclx):
    """Return the encoding that the code points of a HEIC file name."""
    transfer = nclx.get("transfer_characteristics")
    if transfer in _H273_HDR:
        raise EngineError(f"high dynamic range ({_H273_HDR[transfer]})")
    primaries = nclx.get("color_primaries")
    encoding = _H273_PRIMARIES.get(primaries)
    if encoding is None or transfer not in _H273_ORDINARY:
        return SRGB, (UNTAGGED,)
    return encoding, ()


def _encoding_of_png(info):
    """Return the encoding of a PNG that gives its gamma and perhaps its primaries."""
    gamma = info["gamma"]
    if not _GAMMAS[0] <= gamma <= _GAMMAS[1]:
        return SRGB, (f"the file's gamma of {gamma:g} is impossible; taken as sRGB",)
    is_srgb = abs(gamma - _SRGB_GAMMA) < _SAME_GAMMA
    curve = SRGB.curves[0] if is_srgb else lambda code: np.asarray(code, dtype=float) ** (1 / gamma)
    chromaticity = info.get("chromaticity")
    if not chromaticity:
        return Encoding(f"gamma {gamma:g}", (curve,)), ()
    white, *primaries = (tuple(chromaticity[at : at + 2]) for at in range(0, 8, 2))
    try:
        return encoding_from_primaries("primaries of the file", primaries, white, curve), ()
    except (ProfileError, ArithmeticError, np.linalg.LinAlgError):
        return SRGB, ("the file's primaries are impossible; taken as sRGB",)


def convert_by_engine(image, profile: bytes) -> tuple[np.ndarray, Encoding]:
    """Return an image of mode "RGB", "L" or "CMYK" converted by its ICC profile through LittleCMS to a wide space.

    Codes of uint8, shape (H, W, 3), in Rec. 2020 primaries with the sRGB curve, and their encoding.
    """
    from PIL import ImageCms

    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        wide = ImageCms.ImageCmsProfile(io.BytesIO(_wide_profile()))
        turned = ImageCms.profileToProfile(
            image, source, wide, renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC, outputMode="RGB"
        )
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError, SyntaxError) as fault:
        raise EngineError(f"the colour engine cannot use the profile ({fault})") from fault
    return np.asarray(turned), REC2020_WIDE


@cache
def _wide_profile():
    """Return the ICC profile of the wide space, built once."""
    return matrix_profile(REC2020_WIDE)
