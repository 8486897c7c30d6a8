"""From the bytes of a file to its codes: one decoder per format, sizes checked before anything is unpacked."""

import io
import warnings
from dataclasses import dataclass

import cv2
import numpy as np
from PIL import Image

from dyebook.photo.exif import exif_orientation
from dyebook.photo.faults import DECODER_FAULTS, SLOW_BYTES_PER_PIXEL, UnreadableError, check_size, damage_is_told
from dyebook.photo.half import can_be_halved
from dyebook.photo.jpeg import jpeg_codes, opencv_codes

__all__ = ["Decoded", "decode_picture"]

# what Pillow warns of is refused, or said in the photo's notes
warnings.filterwarnings("ignore", category=Image.DecompressionBombWarning)
warnings.filterwarnings("ignore", module=r"PIL\.")
cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)

# blue first: the TIFF decoder of OpenCV 5.0 does not heed IMREAD_COLOR_RGB
_DEEP_BGR = cv2.IMREAD_COLOR | cv2.IMREAD_ANYDEPTH | cv2.IMREAD_IGNORE_ORIENTATION
_GREY_MODES = {"1", "L", "LA", "I;16", "I;16B", "I"}


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
    grey : bool
        Whether the file holds one channel, shown here as three.
    full_size : tuple of int or None
        Width and height as stored, where the codes are those of a picture of half the size.
    """

    codes: np.ndarray | None
    bit_depth: int
    orientation: int
    info: dict
    exif: Image.Exif
    alpha: np.ndarray | None = None
    image: Image.Image | None = None
    grey: bool = False
    full_size: tuple[int, int] | None = None


def decode_picture(data, kind, quick=False):
    """Decode a JPEG, PNG, TIFF or WebP file.

    Parameters
    ----------
    data : bytes
        The whole file.
    kind : str
        "JPEG", "PNG", "TIFF" or "WebP", by content.
    quick : bool
        Decode a large JPEG at half size.

    Returns
    -------
    Decoded
        Not yet turned upright, not yet linear.

    Raises
    ------
    UnreadableError
        If the file is damaged, animated, of an unusual kind, too small or too large.
    """
    with damage_is_told(kind):
        image = _open(data, kind)
        depth = _bit_depth(data, kind, image)
        _check_kind(image, kind, depth)
        fast = kind == "JPEG" and image.mode != "CMYK"
        unpacked = len(image.getbands()) * depth // 8
        check_size(*image.size, unpacked if fast else max(unpacked, SLOW_BYTES_PER_PIXEL))
        exif = _exif_block(kind, depth, image)
        decoded = Decoded(None, depth, exif_orientation(exif), dict(image.info), exif, grey=image.mode in _GREY_MODES)
        if fast:
            halved = quick and can_be_halved(image.size, decoded.orientation)
            decoded.full_size = image.size if halved else None
            decoded.codes = jpeg_codes(data, image.size, halved)
        elif depth == 16:
            _unpack_16_bit(data, kind, image, decoded)
        else:
            _unpack_8_bit(image, decoded)
        if kind == "TIFF":
            # OpenCV turns these upright, asked or not; Pillow does too, and then takes the mark away
            decoded.orientation = 1 if depth == 16 else exif_orientation(image.getexif())
    return decoded


def _open(data, kind):
    """Open a file by Pillow, which reads no more than its header."""
    try:
        return Image.open(io.BytesIO(data), formats=(kind,))
    except Image.DecompressionBombError as fault:
        raise UnreadableError(
            "a header that claims more than 170 million pixels", "at most 120 are read", "make the photo smaller"
        ) from fault


def _exif_block(kind, depth, image):
    """Return the EXIF block; Pillow would unpack a whole PNG to look for one behind the pixels."""
    if kind == "PNG" and depth == 16 and "exif" not in image.info:
        return Image.Exif()
    try:
        return image.getexif()
    except DECODER_FAULTS:
        # a photo with a damaged EXIF block is still a photo
        return Image.Exif()


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
    frames = _full_pages(image) if kind == "TIFF" else getattr(image, "n_frames", 1)
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


def _full_pages(image):
    """Return how many pages of a TIFF are pictures of their own, not previews or masks of another."""
    full = 0
    for page in range(image.n_frames):
        image.seek(page)
        full += not int(image.tag_v2.get(254, 0)) & 0b101
    image.seek(0)
    return full


def _unpack_16_bit(data, kind, image, decoded):
    """Fill in the codes of a 16-bit PNG or TIFF, which Pillow would cut down to 8 bits."""
    if kind == "PNG":
        # a fresh look at the sums of all chunks, which spares OpenCV's messages on the terminal
        _open(data, kind).verify()
    elif image.tag_v2.get(262) not in (1, 2) or image.tag_v2.get(277, 1) not in (1, 3, 4):
        raise UnreadableError("a 16-bit TIFF that is neither grey nor RGB", "grey or RGB is needed", "export it as RGB")
    opaque = data[25] in (0, 2, 3) if kind == "PNG" else image.tag_v2.get(277, 1) != 4
    codes = opencv_codes(data, _DEEP_BGR if opaque else cv2.IMREAD_UNCHANGED)
    if codes.dtype != np.uint16:
        raise ValueError("not 16 bits after all")
    if not opaque:
        decoded.alpha = codes[..., 3]
    decoded.codes = cv2.cvtColor(codes, cv2.COLOR_BGR2RGB if opaque else cv2.COLOR_BGRA2RGB)


def _unpack_8_bit(image, decoded):
    """Fill in the codes of an 8-bit picture, or the picture itself where an engine must convert it."""
    image.load()
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
