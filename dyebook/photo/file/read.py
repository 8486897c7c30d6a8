"""Read a photo, whatever a phone or camera wrote, into linear Rec. 709 light."""

import hashlib
import os
from functools import partial
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from dyebook.photo.file.decode import decode_heic, decode_picture, decode_raw, is_raw_tiff
from dyebook.photo.file.exif import CameraInfo, camera_info, turn_upright
from dyebook.photo.file.limits import RAW, SLOW_BYTES_PER_PIXEL, UnreadableError, check_size, kind_of
from dyebook.photo.file.linear import HalfPhoto, LinearPhoto, Reduced, photo_from_array
from dyebook.photo.file.profile import SRGB, EngineError, convert_by_engine, encoding_of

__all__ = ["CameraInfo", "HalfPhoto", "LinearPhoto", "Reduced", "photo_from_array", "read_photo"]

_NEEDED = "a JPEG, PNG, TIFF, WebP, HEIC or camera RAW photo is needed"
_MOST_FILE_BYTES = 500_000_000
_MEGA = 1_000_000
_SHORT_PER_BYTE = 257  # of 16-bit codes to an 8-bit one
_LONGEST_NAME = 80

# A bright area at its limit comes back from lossy coding as 254 or 255 (quantisation, and rounding in the colour
# transform); nothing useful is lost by distrusting 254 in lossless files too. The same share of 16 bits.
_CLIPPED_FROM = {np.dtype(np.uint8): 254, np.dtype(np.uint16): 254 * _SHORT_PER_BYTE}


def read_photo(source, name: str | None = None, quick: bool = False) -> LinearPhoto | HalfPhoto:
    """Read a photo: JPEG, PNG, TIFF, WebP, HEIC or camera RAW, from a path, bytes or a binary file object.

    It comes upright, with light computed on demand. What it is, is decided by its content, never by its name. `name` is
    what messages call it, the file's name if not given. If `quick`, a large JPEG is decoded at half size, and whole
    only where single pixels are needed: a `HalfPhoto`. PhotoError if it is not a single, whole photo of a size that can
    be measured.

    Notes
    -----
    Colours follow the file's ICC profile (or the marks that stand in for one); without any they are taken as sRGB,
    and `notes` says so.
    """
    name = _shown_name(source, name)
    try:
        return _read(_load(source), name, quick)
    except UnreadableError as flaw:
        raise flaw.named(name) from flaw


def _read(data, name, quick=False):
    """Decode bytes and join what they hold into a photo."""
    saturated, full_size = None, None
    kind = _photo_kind(data)
    if kind == RAW:
        decoded, encoding, saturated = decode_raw(data)
        notes = ()
    else:
        decoded = decode_heic(data) if kind == "HEIC" else decode_picture(data, kind, quick)
        full_size = decoded.full_size
        encoding, notes, saturated = _colours(decoded)
    notes += _hide_transparent(decoded)
    codes = turn_upright(decoded.codes, decoded.orientation)
    if saturated is not None and kind != RAW:
        saturated = turn_upright(saturated.view(np.uint8), decoded.orientation).view(bool)
    limit = None if saturated is not None else _CLIPPED_FROM[codes.dtype]
    told, sha256 = camera_info(decoded.exif), hashlib.sha256(data).hexdigest()
    photo = LinearPhoto(name, codes, encoding, decoded.bit_depth, told, tuple(notes), limit, saturated, sha256)
    if full_size is None:
        return photo
    return HalfPhoto(photo, full_size[:: -1 if decoded.orientation > 4 else 1], partial(_read, data, name))


def _shown_name(source, name):
    """Return a short printable name, without folders, for messages and records."""
    if name is None:
        name = source if isinstance(source, str | os.PathLike) else getattr(source, "name", "photo")
    shown = Path(os.fsdecode(name) if isinstance(name, bytes | os.PathLike) else str(name)).name
    return "".join(c if c.isprintable() else "?" for c in shown)[:_LONGEST_NAME] or "photo"


def _load(source):
    """Return the bytes of a path, a buffer or an open file."""
    if isinstance(source, bytes | bytearray | memoryview):
        data = bytes(source)
    elif hasattr(source, "read"):
        data = _load_stream(source)
    else:
        data = _load_path(Path(source))
    if not data:
        raise UnreadableError("an empty file", _NEEDED, "copy or send the photo again")
    if len(data) > _MOST_FILE_BYTES:
        raise _too_long(len(data))
    return data


def _load_stream(stream):
    """Return the bytes of an open file, from where it stands."""
    try:
        data = stream.read(_MOST_FILE_BYTES + 1)
    except OSError as fault:
        raise UnreadableError(f"cannot be read ({fault})", _NEEDED, "send the photo again") from fault
    if not isinstance(data, bytes):
        raise ValueError("source is a text file object; open it in binary mode")
    return data


def _load_path(path):
    """Return the bytes of a file on disk."""
    try:
        if path.is_dir():
            raise UnreadableError("a folder", _NEEDED, "name one photo in it")
        if not path.exists():
            raise UnreadableError("no such file", _NEEDED, "check the name and the folder")
        if not path.is_file():
            raise UnreadableError("not an ordinary file", _NEEDED, "copy the photo to a disk first")
        if path.stat().st_size > _MOST_FILE_BYTES:
            raise _too_long(path.stat().st_size)
        return path.read_bytes()
    except (OSError, ValueError) as fault:
        raise UnreadableError(f"cannot be opened ({fault})", _NEEDED, "check its name and permissions") from fault


def _too_long(size):
    """Return the flaw of a file too long to be a photo."""
    most = _MOST_FILE_BYTES // _MEGA
    return UnreadableError(f"a file of {size / _MEGA:.0f} MB", f"at most {most} MB are read", "export a smaller photo")


def _photo_kind(data):
    """Return which decoder a file needs, or refuse it by what it is."""
    kind = kind_of(data)
    if kind in ("TIFF", "BigTIFF"):
        return RAW if is_raw_tiff(data) else "TIFF"
    if kind in ("JPEG", "PNG", "WebP", "HEIC", RAW):
        return kind
    do = "export the single picture as JPEG" if kind in ("GIF", "HEIC sequence", "video") else "send the photo itself"
    raise UnreadableError(f"not a photo but {_with_article(kind)}" if kind else "not a photo", _NEEDED, do)


def _with_article(kind):
    """Return "a PDF", "an AVIF"."""
    return f"{'an' if kind[0] in 'AEIO' else 'a'} {kind}"


def _colours(decoded):
    """Return encoding, notes and clipped mask (or None) of a decoded picture; fills in codes that need an engine."""
    try:
        encoding, notes = encoding_of(decoded.info, decoded.exif, decoded.grey)
    except EngineError as fault:
        raise UnreadableError(
            str(fault), "a photo with an ordinary tone curve is needed", "turn off HDR, or export a JPEG"
        ) from fault
    if encoding is not None and decoded.codes is not None:
        return encoding, notes, None
    return _convert(decoded)


def _convert(decoded):
    """Send a picture through the colour engine."""
    codes, notes = decoded.codes, ()
    check_size(*(decoded.image.size if codes is None else codes.shape[1::-1]), SLOW_BYTES_PER_PIXEL)
    if codes is not None and codes.dtype == np.uint16:
        notes = ("the colour profile is of the table kind; 16 bits were read as 8",)
        codes = cv2.convertScaleAbs(codes, alpha=1 / _SHORT_PER_BYTE)
    image = decoded.image if decoded.image is not None else Image.fromarray(codes)
    try:
        decoded.codes, encoding = convert_by_engine(image, decoded.info["icc_profile"])
    except EngineError as fault:
        if codes is None:
            raise UnreadableError(
                f"CMYK inks, and {fault}", "a working colour profile is needed", "export it as sRGB"
            ) from fault
        decoded.codes = codes
        return SRGB, (*notes, f"{fault}; taken as sRGB"), None
    source = decoded.codes if codes is None else codes
    return encoding, notes, source >= _CLIPPED_FROM[source.dtype]


def _hide_transparent(decoded):
    """Blacken what is more than half transparent, and return a note of it."""
    if decoded.alpha is None:
        return ()
    hidden = decoded.alpha <= np.iinfo(decoded.alpha.dtype).max // 2
    share = float(hidden.mean())
    if share == 0:
        return ()
    if share == 1:
        raise UnreadableError(
            "a wholly transparent picture", "an opaque photo is needed", "export it without transparency"
        )
    decoded.codes = np.where(hidden[..., None], 0, decoded.codes).astype(decoded.codes.dtype)
    words = f"{share:.0%}" if share >= 0.01 else "less than 1 %"
    return (f"{words} of the picture is transparent and was left out",)
