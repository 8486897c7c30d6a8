"""From the bytes of a file to its codes: one decoder per format, sizes checked before anything is unpacked."""

import io
import struct
import warnings
import zlib
from contextlib import contextmanager
from dataclasses import dataclass

import cv2
import numpy as np
from PIL import Image

from dyebook.errors import PhotoError
from dyebook.photo.content import jpeg_is_whole
from dyebook.photo.exif import exif_orientation

__all__ = ["DECODER_FAULTS", "Decoded", "UnreadableError", "check_size", "decode_heic", "decode_picture"]

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
# what Pillow warns of is refused, or said in the photo's notes
warnings.filterwarnings("ignore", category=Image.DecompressionBombWarning)
warnings.filterwarnings("ignore", module=r"PIL\.")
cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)

_SMALLEST_SIDE, _LARGEST_SIDE = 64, 30_000
_MOST_MEGAPIXELS = 120
# unpacked, with room for one copy in 1.5 GB; 66 megapixels of three 16-bit channels
_MOST_BYTES = 400_000_000
_UPRIGHT = "TIFF"  # the one format that Pillow turns upright by itself


class UnreadableError(Exception):
    """Why a file cannot be read: what was seen, what is needed, what to do."""

    def __init__(self, seen, needed="a whole, ordinary photo is needed", do="take or export the photo again"):
        super().__init__(seen)
        self.seen, self.needed, self.do = seen, needed, do

    def named(self, name):
        """Return the error to raise for a photo called `name`."""
        return PhotoError(f"{name}: {self.seen}; {self.needed}; {self.do}.")


@dataclass
class Decoded:
    """A file's picture as stored, with what its metadata says.

    Attributes
    ----------
    codes : ndarray of uint8 or uint16, shape (H, W, 3), or None
        Red first, not yet turned upright; None where `image` must go through a colour engine.
    bit_depth : int
        Bits per channel in the file.
    orientation : int
        EXIF orientation still to be undone.
    info : dict
        Pillow's metadata.
    exif : PIL.Image.Exif
        The EXIF block, possibly empty.
    alpha : ndarray, shape (H, W), or None
        Opacity, of the type of the codes.
    image : PIL.Image.Image or None
        The picture, where a colour engine may need it.
    """

    codes: np.ndarray | None
    bit_depth: int
    orientation: int
    info: dict
    exif: Image.Exif
    alpha: np.ndarray | None = None
    image: Image.Image | None = None


@contextmanager
def _damage_is_told(kind):
    """Turn whatever a decoder raises into a flaw of the file."""
    try:
        yield
    except DECODER_FAULTS as fault:
        words = str(fault).splitlines()[0][:120] if str(fault) else type(fault).__name__
        raise UnreadableError(f"a damaged or truncated {kind} file ({words})") from fault


def check_size(width, height, bytes_per_pixel):
    """Refuse pictures too small to measure or too large to unpack.

    Parameters
    ----------
    width, height : int
        Pixels, from the file's header.
    bytes_per_pixel : int
        Unpacked.

    Raises
    ------
    UnreadableError
        With the limit that was broken.
    """
    seen = f"{width} × {height} pixels"
    if min(width, height) < _SMALLEST_SIDE:
        raise UnreadableError(
            seen, f"at least {_SMALLEST_SIDE} on each side are needed", "send the photo itself, not a thumbnail"
        )
    if max(width, height) > _LARGEST_SIDE:
        raise UnreadableError(seen, f"a side may have {_LARGEST_SIDE}", "make the photo smaller or cut it")
    most = min(_MOST_MEGAPIXELS, _MOST_BYTES / bytes_per_pixel / 1e6)
    if width * height > most * 1e6:
        raise UnreadableError(
            seen, f"at most {most:.0f} megapixels of this kind are read", "make the photo smaller or cut it"
        )


def decode_picture(data, kind):
    """Decode a JPEG, PNG, TIFF or WebP file.

    Parameters
    ----------
    data : bytes
        The whole file.
    kind : str
        "JPEG", "PNG", "TIFF" or "WebP", by content.

    Returns
    -------
    Decoded
        Not yet turned upright, not yet linear.

    Raises
    ------
    UnreadableError
        If the file is damaged, animated, of an unusual kind, too small or too large.
    """
    with _damage_is_told(kind):
        image = _open(data, kind)
        depth = _bit_depth(data, kind, image)
        _check_kind(image, kind, depth)
        check_size(*image.size, (len(image.getbands()) if image.mode != "P" else 4) * (depth // 8 or 1))
        orientation = exif_orientation(image.getexif())
        decoded = Decoded(None, depth, orientation, dict(image.info), image.getexif())
        if kind == "JPEG" and image.mode != "CMYK":
            decoded.codes = _jpeg_codes(data, image.size)
        elif depth == 16:
            _unpack_16_bit(data, kind, image, decoded)
        else:
            _unpack_8_bit(kind, image, decoded)
    return decoded


def _open(data, kind):
    """Open a file by Pillow, which reads no more than its header."""
    try:
        return Image.open(io.BytesIO(data), formats=("TIFF",) if kind == "BigTIFF" else (kind, "MPO"))
    except Image.DecompressionBombError as fault:
        raise UnreadableError(
            "a header that claims more than 170 million pixels", "at most 120 are read", "make the photo smaller"
        ) from fault


def _bit_depth(data, kind, image):
    """Return bits per channel; Pillow's modes hide 16-bit colour."""
    if kind == "PNG":
        return max(8, data[24])
    if kind != "TIFF":
        return 8
    depths = {int(bits) for bits in image.tag_v2.get(258, (1,))}
    formats = {int(code) for code in image.tag_v2.get(339, (1,))}
    if formats != {1} or depths - {1, 4, 8, 16} or len(depths) != 1:
        raise UnreadableError(f"a TIFF of {sorted(depths)} bits", "8 or 16 bits per channel are needed", "export it so")
    return max(8, *depths)


def _check_kind(image, kind, depth):
    """Refuse moving pictures, several pages, and colours that are not of a photo."""
    frames = getattr(image, "n_frames", 1)
    if kind != "JPEG" and frames > 1:
        seen = f"a {kind} file of {frames} pictures"
        raise UnreadableError(seen, "one still photo is needed", "export the single picture")
    if image.mode in ("LAB", "HSV", "F", "I") and depth != 16:
        raise UnreadableError(
            f"a {kind} file in {image.mode} values", "grey or RGB is needed", "export it as an sRGB picture"
        )
    if image.mode == "CMYK" and not image.info.get("icc_profile"):
        raise UnreadableError(
            "CMYK inks without a colour profile", "RGB, or CMYK with its profile, is needed", "export it as sRGB"
        )


def _jpeg_codes(data, size):
    """Decode a JPEG by OpenCV, nearly twice as fast as Pillow, with the checks it leaves out."""
    if not jpeg_is_whole(data):
        raise UnreadableError("a JPEG file cut short (no end mark)", do="copy or send the photo again")
    codes = _opencv(data, cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION)
    if codes.shape[1::-1] != tuple(size):
        raise ValueError("header and picture differ in size")
    if _ran_dry(data, codes):
        raise UnreadableError("a JPEG file whose picture data ends early", do="copy or send the photo again")
    return codes


def _opencv(data, flags):
    """Decode by OpenCV."""
    codes = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    if codes is None:
        raise ValueError("the decoder gives up")
    return codes


def _ran_dry(data, codes):
    """Return whether a JPEG's last block is the grey that the decoder puts where data is missing.

    A photo may end in exactly that grey by itself. So the end mark is moved behind some more data, which changes
    the picture of a decoder that was short of it, and of no other.
    """
    if (codes[-8:, -8:] != 128).any():
        return False
    end = data.rfind(b"\xff\xd9")
    more = data[:end] + b"\x5a\xa5\x3c" * 64 + b"\xff\xd9"
    longer = cv2.imdecode(np.frombuffer(more, np.uint8), cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION)
    return longer is None or not np.array_equal(longer, codes)


def _unpack_16_bit(data, kind, image, decoded):
    """Fill in the codes of a 16-bit PNG or TIFF, which Pillow would cut down to 8 bits."""
    if kind == "PNG":
        # Pillow is the stricter reader, and spares OpenCV's messages on the terminal
        image.load()
    elif image.tag_v2.get(262) not in (1, 2) or image.tag_v2.get(277, 1) not in (1, 3, 4):
        raise UnreadableError("a 16-bit TIFF that is neither grey nor RGB", "grey or RGB is needed", "export it as RGB")
    codes = _opencv(data, cv2.IMREAD_UNCHANGED)
    if codes.dtype != np.uint16:
        raise ValueError("not 16 bits after all")
    if codes.ndim == 2:
        codes = cv2.merge([codes] * 3)
    elif codes.shape[2] == 4:
        decoded.alpha = codes[..., 3]
        codes = cv2.cvtColor(codes, cv2.COLOR_BGRA2RGB)
    else:
        codes = cv2.cvtColor(codes, cv2.COLOR_BGR2RGB)
    decoded.codes = codes


def _unpack_8_bit(kind, image, decoded):
    """Fill in the codes of an 8-bit picture, or the picture itself where an engine must convert it."""
    image.load()
    if kind == _UPRIGHT:
        decoded.orientation = 1
    if image.mode in ("CMYK", "L"):
        decoded.image = image
    if image.mode == "CMYK":
        return
    transparent = image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info
    if image.mode != "RGB":
        image = image.convert("RGBA" if transparent else "RGB")
    elif transparent:
        image = image.convert("RGBA")
    codes = np.asarray(image)
    if transparent:
        decoded.alpha = codes[..., 3]
        codes = np.ascontiguousarray(codes[..., :3])
    decoded.codes = codes


def decode_heic(data):
    """Decode a HEIC or HEIF file; arguments, result and errors as `decode_picture`."""
    with _damage_is_told("HEIC"):
        import pillow_heif

        heif = pillow_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=False)
        if len(heif) > 1:
            raise UnreadableError(
                f"a HEIC file of {len(heif)} pictures", "one still photo is needed", "export the single picture"
            )
        deep = "16" in heif.mode
        check_size(*heif.size, (2 if deep else 1) * (4 if "A" in heif.mode else 3) * 2)
        exif = Image.Exif()
        exif.load(heif.info.get("exif") or b"")
        codes = np.asarray(heif)[:, : heif.size[0]]
        # the container's own turn rules (ISO/IEC 23008-12), and the library has followed it
        decoded = Decoded(codes, int(heif.info.get("bit_depth", 8)), 1, dict(heif.info), exif)
        if codes.ndim == 2:
            decoded.codes = cv2.merge([codes] * 3)
        elif codes.shape[2] == 4:
            decoded.alpha = codes[..., 3]
            decoded.codes = np.ascontiguousarray(codes[..., :3])
    return decoded
