"""Damaged photo files by the thousand, from a seed: for the fault tests of this folder."""

import numpy as np
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from dyebook.photo.file.profile import DISPLAY_P3, matrix_profile
from tests.photo.files import deep_heic, dng, heic, lab_profile_of_inks, picture, saved, saved_deep

__all__ = ["mutations", "sound_files"]


def sound_files():
    """One small sound file of each kind that is read."""
    codes, profile = picture(), matrix_profile(DISPLAY_P3, samples=64)
    exif = Image.Exif()
    exif.update({0x0112: 6, 0x010F: "Bench", 0x0110: "Box One"})
    exif.get_ifd(0x8769).update(
        {0x829A: IFDRational(1, 60), 0x829D: IFDRational(28, 10), 0x8827: 200, 0x9003: "2025:03:04 10:11:12"}
    )
    deep = codes.astype(np.uint16) * 257
    inks = Image.fromarray(np.dstack([codes, codes[..., :1] // 4]), "CMYK")
    return {
        "jpeg": saved(codes, "JPEG", exif=exif, icc_profile=profile),
        "progressive": saved(codes, "JPEG", progressive=True),
        "cmyk": saved(inks, "JPEG", icc_profile=lab_profile_of_inks()),
        "png": saved(codes, "PNG", exif=exif, icc_profile=profile),
        "alpha": saved(np.dstack([codes, codes[..., 0]]), "PNG"),
        "palette": saved(Image.fromarray(codes).quantize(32), "PNG"),
        "png16": saved_deep(deep, "PNG"),
        "tiff": saved(codes, "TIFF", compression="tiff_lzw", icc_profile=profile),
        "tiff16": saved_deep(deep, "TIFF"),
        "webp": saved(codes, "WEBP", exif=exif),
        "heic": heic(codes),
        "heic10": deep_heic(deep),
        "raw": dng(codes / 255),
    }


def mutations(count, seed):
    """Yield (name, damaged bytes): flipped bits, cuts, holes, spliced and repeated parts, extreme numbers."""
    rng = np.random.default_rng(seed)
    files = list(sound_files().items())
    ways = (_flip_bits, _cut, _hole, _splice, _repeat, _extreme)
    for number in range(count):
        kind, data = files[number % len(files)]
        way = ways[number // len(files) % len(ways)]
        yield f"{number}: {kind}, {way.__name__[1:]}", way(data, rng, files)


def _place(data, rng):
    """Return a position, more often in the header, where damage does most."""
    return int(rng.integers(len(data)) if rng.random() < 0.5 else rng.integers(min(len(data), 600)))


def _flip_bits(data, rng, _):
    """Flip 1 to 20 bits."""
    damaged = bytearray(data)
    for _ in range(int(rng.integers(1, 21))):
        damaged[_place(data, rng)] ^= 1 << int(rng.integers(8))
    return bytes(damaged)


def _cut(data, rng, _):
    """Keep only the beginning."""
    return data[: _place(data, rng)]


def _hole(data, rng, _):
    """Fill a stretch with zeros, ones or noise."""
    at, size = _place(data, rng), int(rng.integers(1, 400))
    fill = (bytes(size), b"\xff" * size, rng.bytes(size))[int(rng.integers(3))]
    return (data[:at] + fill + data[at + size :])[: len(data)]


def _splice(data, rng, files):
    """Go on as another kind of file."""
    other = files[int(rng.integers(len(files)))][1]
    at = _place(data, rng)
    return data[:at] + other[_place(other, rng) :]


def _repeat(data, rng, _):
    """Repeat a stretch in place."""
    at, size = _place(data, rng), int(rng.integers(1, 300))
    return data[: at + size] + data[at : at + size] * int(rng.integers(1, 30)) + data[at + size :]


def _extreme(data, rng, _):
    """Write extreme numbers of 2 or 4 bytes."""
    damaged = bytearray(data)
    for _ in range(int(rng.integers(1, 4))):
        at = _place(data, rng)
        value = (b"\xff\xff", b"\x7f\xff\xff\xff", b"\0\0\0\0", b"\x80\0", b"\xff\xff\xff\xff")[int(rng.integers(5))]
        damaged[at : at + len(value)] = value
    return bytes(damaged)
