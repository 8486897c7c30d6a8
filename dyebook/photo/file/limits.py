"""What a file really is, by its content, and why it cannot be read: the limits of size, and damage.

JPEG is read up to 120 megapixels; slower formats, inks and table profiles up to 66, which keeps any file near 3 s and
1.5 GB.
"""

import struct
import zlib
from contextlib import contextmanager

import cv2
from PIL import Image, UnidentifiedImageError

from dyebook.errors import PhotoError

__all__ = [
    "DECODER_FAULTS",
    "RAW",
    "SLOW_BYTES_PER_PIXEL",
    "UnreadableError",
    "check_size",
    "kind_of",
    "refusing_damage",
]

RAW = "RAW"
_MEGA = 1_000_000
# characters of a decoder's own message that are shown
_SHOWN = 120
# bytes of the first box within which brands are looked for, from the first compatible one on, four bytes each
_MOST_BRAND_BYTES, _FIRST_BRAND = 256, 16

_SIGNATURES = (
    (b"\xff\xd8\xff", "JPEG"),
    (b"\x89PNG\r\n\x1a\n", "PNG"),
    (b"II*\0", "TIFF"),
    (b"MM\0*", "TIFF"),
    (b"II+\0", "BigTIFF"),
    (b"MM\0+", "BigTIFF"),
    (b"IIRO", RAW),  # Olympus
    (b"IIRS", RAW),
    (b"MMOR", RAW),
    (b"IIU\0", RAW),  # Panasonic
    (b"FUJIFILMCCD-RAW", RAW),
    (b"FOVb", RAW),
    (b"\0MRM", RAW),
    (b"II\x1a\0\0\0HEAPCCDR", RAW),
    (b"GIF8", "GIF"),
    (b"BM", "BMP"),
    (b"%PDF", "PDF"),
    (b"PK\x03\x04", "ZIP archive"),
    (b"\x1f\x8b", "gzip archive"),
    (b"\0\0\0\x0cJXL ", "JPEG XL"),
    (b"\xff\x0a", "JPEG XL"),
    (b"\0\0\0\x0cjP  ", "JPEG 2000"),
    (b"8BPS", "layered picture"),
    (b"#!", "script"),
    (b"\x7fELF", "program"),
    (b"MZ", "program"),
    (b"<", "text or web page"),
    (b"{", "text"),
)
_HEIC_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"mif1", b"mif2", b"heif"}
_SEQUENCE_BRANDS = {b"msf1", b"hevc", b"hevx", b"hevm", b"hevs", b"avis"}


def kind_of(data: bytes) -> str | None:
    """Return what a file's first bytes say it is.

    "JPEG", "PNG", "TIFF", "WebP", "HEIC", "RAW", or the plain name of something else; None if unknown.
    """
    if data[4:8] == b"ftyp":
        return _kind_of_boxes(data)
    if data[:4] == b"RIFF":
        return "WebP" if data[8:12] == b"WEBP" else "sound or video file"
    kind = next((kind for signature, kind in _SIGNATURES if data.startswith(signature)), None)
    # Canon writes its mark behind a TIFF header
    return RAW if kind == "TIFF" and data[8:10] == b"CR" else kind


def _kind_of_boxes(data):
    """Return what a file of ISO base media boxes holds, by its brands."""
    (size,) = struct.unpack_from(">I", data)
    major = data[8:12]
    brands = {major} | {data[at : at + 4] for at in range(_FIRST_BRAND, min(size, _MOST_BRAND_BYTES), 4)}
    if major == b"crx ":
        return RAW
    if major in _SEQUENCE_BRANDS:
        return "HEIC sequence"
    if major == b"avif":
        return "AVIF"
    return "HEIC" if brands & _HEIC_BRANDS else "video"


# Pillow and OpenCV meet damaged files with almost any exception; these are the ones that mean "damaged".
# SyntaxError is Pillow's own choice for headers it cannot parse.
DECODER_FAULTS = (
    OSError,
    EOFError,
    SyntaxError,
    ValueError,
    LookupError,
    TypeError,
    AttributeError,
    AssertionError,
    ArithmeticError,
    RuntimeError,
    MemoryError,
    struct.error,
    zlib.error,
    cv2.error,
    Image.DecompressionBombError,
)

_SMALLEST_SIDE, _LARGEST_SIDE = 64, 30_000
_MOST_MEGAPIXELS = 120
# unpacked, with room for a copy or two in 1.5 GB: 66 megapixels of three 16-bit channels
_MOST_BYTES = 400_000_000
# formats that take several times as long as JPEG to unpack (3 s at most) are held to 66 megapixels as well
SLOW_BYTES_PER_PIXEL = 6


class UnreadableError(Exception):
    """Why a file cannot be read: what was seen, what is needed, what to do."""

    def __init__(self, seen, needed="a whole, ordinary photo is needed", do="take or export the photo again"):
        super().__init__(seen)
        self.seen, self.needed, self.do = seen, needed, do

    def named(self, name):
        """Return the error to raise for a photo called `name`."""
        return PhotoError(f"{name}: {self.seen}; {self.needed}; {self.do}.")


@contextmanager
def refusing_damage(kind):
    """Turn whatever a decoder raises into a reason why the file cannot be read."""
    try:
        yield
    except DECODER_FAULTS as fault:
        if isinstance(fault, UnidentifiedImageError):
            raise UnreadableError(f"a {kind} file whose header makes no sense") from fault
        words = str(fault).splitlines()[0][:_SHOWN] if str(fault) else type(fault).__name__
        raise UnreadableError(f"a damaged or truncated {kind} file ({words})") from fault


def check_size(width: int, height: int, bytes_per_pixel: int) -> None:
    """Refuse pictures too small to measure or too large to unpack.

    The width and height are those of the file's header, the bytes per pixel those of the picture unpacked.
    """
    seen = f"{width} × {height} pixels"
    if min(width, height) < _SMALLEST_SIDE:
        raise UnreadableError(
            seen, f"at least {_SMALLEST_SIDE} on each side are needed", "send the photo itself, not a thumbnail"
        )
    if max(width, height) > _LARGEST_SIDE:
        raise UnreadableError(seen, f"a side may have {_LARGEST_SIDE}", "make the photo smaller or cut it")
    most = min(_MOST_MEGAPIXELS, _MOST_BYTES / bytes_per_pixel / _MEGA)
    if width * height > most * _MEGA:
        raise UnreadableError(
            seen, f"at most {most:.0f} megapixels of this kind are read", "make the photo smaller or cut it"
        )
