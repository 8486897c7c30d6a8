"""From the bytes of a file to its codes: one decoder per format, sizes checked before anything is unpacked.

JPEG goes through OpenCV, nearly twice as fast as Pillow, with the checks that its decoder leaves out: a file whose data
ends early is found by its missing end mark, or by decoder grey in its last block. 16-bit PNG and TIFF go through OpenCV
too, everything else through Pillow; HEIC through libheif, camera RAW through LibRaw, as the sensor's own linear light
with the camera's white balance.
"""

import io
import warnings
from dataclasses import dataclass

import cv2
import numpy as np
import pi_heif
from PIL import Image

from dyebook.photo.file.exif import exif_orientation, turn_upright
from dyebook.photo.file.limits import DECODER_FAULTS, SLOW_BYTES_PER_PIXEL, UnreadableError, check_size, refusing_damage
from dyebook.photo.file.linear import can_be_halved
from dyebook.photo.file.profile import Encoding

__all__ = ["Decoded", "decode_heic", "decode_picture", "decode_raw", "is_raw_tiff", "jpeg_is_whole"]

# what Pillow warns of is refused, or said in the photo's notes
warnings.filterwarnings("ignore", category=Image.DecompressionBombWarning)
warnings.filterwarnings("ignore", module=r"PIL\.")
cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)

# blue first: the TIFF decoder of OpenCV 5.0 ignores IMREAD_COLOR_RGB
_DEEP_BGR = cv2.IMREAD_COLOR | cv2.IMREAD_ANYDEPTH | cv2.IMREAD_IGNORE_ORIENTATION
_GREY_MODES = {"1", "L", "LA", "I;16", "I;16B", "I"}

# -- JPEG (ITU-T T.81): the sparsest coding spends a bit on each block of 8 x 8 pixels; markers that stand alone --
_PIXELS_PER_BYTE = 8 * 64
_END_MARK, _SCAN, _LONE_MARKERS = b"\xff\xd9", 0xDA, (*range(0xD0, 0xD9), 0x01)
# code that the decoder puts where data is missing, and the size of its blocks at an eighth
_MISSING_GREY, _FILLER = 128, b"\x5a\xa5\x3c" * 64

# -- PNG: places in the file of bits per channel and colour type, and the types without transparency --
_PNG_DEPTH, _PNG_COLOUR, _PNG_OPAQUE = 24, 25, (0, 2, 3)

# -- TIFF 6.0: tags, and values of them --
_SUBFILE_TYPE, _BITS, _PHOTOMETRIC, _SAMPLES, _SAMPLE_FORMAT, _DNG_VERSION = 254, 258, 262, 277, 339, 50706
_REDUCED_OR_MASK, _UNSIGNED, _GREY_OR_RGB = 0b101, {1}, (1, 2)
_MOSAIC = (32803, 34892)  # colour filter array, linear raw
# bytes of a file in which the mark of a DNG version 1 is looked for
_TIFF_HEAD, _DNG_MARK = 4096, b"\x12\xc6\x01\x00\x04\x00\x00\x00"

# -- Camera RAW --
# LibRaw's matrix from linear Rec. 709 to its ProPhoto output (dcraw's `prophoto_rgb`); ProPhoto because colours
# outside Rec. 709 would be cut off at zero
_REC709_TO_PROPHOTO = np.array(
    [[0.529317, 0.330092, 0.140588], [0.098368, 0.873465, 0.028169], [0.016879, 0.117663, 0.865457]]
)
# LibRaw's code of the turn, as an EXIF orientation
_FLIPS = {3: 3, 5: 8, 6: 6}
_RAW_LIGHT = Encoding("camera RAW, linear", (lambda code: code,), np.linalg.inv(_REC709_TO_PROPHOTO))
# sensors fill up unevenly and with noise, so full begins a hundredth below the nominal limit
_FULL = 0.99
_SHOWN = 80  # characters of the decoder's own message


@dataclass
class Decoded:
    """A file's picture as stored, with what its metadata says."""

    # uint8 or uint16 (H, W, 3): red first, not yet turned upright; None where `image` must
    # go through a colour engine
    codes: np.ndarray | None
    bit_depth: int  # bits per channel in the file
    orientation: int  # EXIF orientation still to be undone
    info: dict  # Pillow's metadata
    exif: Image.Exif  # the EXIF block, possibly empty
    alpha: np.ndarray | None = None  # (H, W): opacity, of the type of the codes
    image: Image.Image | None = None  # the picture, where a colour engine may need it
    grey: bool = False  # whether the file holds one channel, shown here as three
    # width and height as stored, where the codes are those of a picture of half the size
    full_size: tuple[int, int] | None = None


def decode_picture(data: bytes, kind: str, quick: bool = False) -> Decoded:
    """Decode a whole JPEG, PNG, TIFF or WebP file, a large JPEG at half size if `quick`.

    It is not yet turned upright, and not yet linear. `kind` names one of the four, by content.
    """
    with refusing_damage(kind):
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
            decoded.codes = _jpeg_codes(data, image.size, halved)
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
        return max(8, data[_PNG_DEPTH])
    if kind != "TIFF":
        return 8
    depths = {int(bits) for bits in image.tag_v2.get(_BITS, (1,))}
    formats = {int(code) for code in image.tag_v2.get(_SAMPLE_FORMAT, (1,))}
    if formats != _UNSIGNED or depths - {1, 4, 8, 16} or len(depths) != 1:
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
        full += not int(image.tag_v2.get(_SUBFILE_TYPE, 0)) & _REDUCED_OR_MASK
    image.seek(0)
    return full


def _unpack_16_bit(data, kind, image, decoded):
    """Fill in the codes of a 16-bit PNG or TIFF, which Pillow would cut down to 8 bits."""
    if kind == "PNG":
        # a fresh look at the sums of all chunks, which spares OpenCV's messages on the terminal
        _open(data, kind).verify()
    elif image.tag_v2.get(_PHOTOMETRIC) not in _GREY_OR_RGB or image.tag_v2.get(_SAMPLES, 1) not in (1, 3, 4):
        raise UnreadableError("a 16-bit TIFF that is neither grey nor RGB", "grey or RGB is needed", "export it as RGB")
    opaque = data[_PNG_COLOUR] in _PNG_OPAQUE if kind == "PNG" else image.tag_v2.get(_SAMPLES, 1) != 4
    codes = _opencv_codes(data, _DEEP_BGR if opaque else cv2.IMREAD_UNCHANGED)
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


def decode_heic(data: bytes) -> Decoded:
    """Decode a HEIC or HEIF file; arguments, result and errors are those of `decode_picture`."""
    with refusing_damage("HEIC"):
        heif = pi_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=False)
        if len(heif) > 1:
            raise UnreadableError(
                f"a HEIC file of {len(heif)} pictures", "one still photo is needed", "export the single picture"
            )
        channels = 4 if "A" in heif.mode else 3
        check_size(*heif.size, max(SLOW_BYTES_PER_PIXEL, channels * (2 if "16" in heif.mode else 1)))
        exif = Image.Exif()
        exif.load(heif.info.get("exif") or b"")
        codes = np.array(heif)[:, : heif.size[0]]  # a copy: the library frees its own picture
        # the container's own turn rules (ISO/IEC 23008-12), and the library has followed it
        decoded = Decoded(codes, int(heif.info.get("bit_depth", 8)), 1, dict(heif.info), exif, grey=codes.ndim == 2)
        if codes.ndim == 2:
            decoded.codes = cv2.merge([codes] * 3)
        elif codes.shape[2] == 4:
            decoded.alpha = codes[..., 3]
            decoded.codes = np.ascontiguousarray(codes[..., :3])
    return decoded


def _jpeg_codes(data, size, half=False):
    """Codes (H, W, 3) of a JPEG whose header says this size, red first; at half size where asked.

    Half size leaves out the finest waves of each block of 8 × 8 pixels, in little over half the time; its pixels are
    the means of 2 × 2 codes, to a code or two.
    """
    if not jpeg_is_whole(data):
        raise UnreadableError("a JPEG file cut short (no end mark)", do="copy or send the photo again")
    # this stops giant headers on little files
    if len(data) * _PIXELS_PER_BYTE < size[0] * size[1]:
        raise UnreadableError(f"a JPEG header of {size[0]} × {size[1]} pixels on {len(data)} bytes")
    # beside a colour order, "grey" says nothing but the size
    flags = cv2.IMREAD_COLOR_RGB | (cv2.IMREAD_REDUCED_GRAYSCALE_2 if half else 0)
    codes = _opencv_codes(data, flags | cv2.IMREAD_IGNORE_ORIENTATION)
    if codes.shape[1::-1] != tuple((length + half) // (1 + half) for length in size):
        raise ValueError("header and picture differ in size")
    if _ran_dry(data, codes):
        raise UnreadableError("a JPEG file whose picture data ends early", do="copy or send the photo again")
    return codes


def _ran_dry(data, codes):
    """Return whether a JPEG's last block is the grey that the decoder puts where data is missing.

    A photo may end in exactly that grey by itself. So the end mark is moved behind some more data, which changes
    the picture of a decoder that was short of it, and of no other.
    """
    if (codes[-4:, -4:] != _MISSING_GREY).any():
        return False
    end = data.rfind(_END_MARK)
    more = data[:end] + _FILLER + _END_MARK
    flags = cv2.IMREAD_REDUCED_COLOR_8 | cv2.IMREAD_IGNORE_ORIENTATION
    return not np.array_equal(_opencv_codes(data, flags), _opencv_codes(more, flags))


def _opencv_codes(data, flags):
    """Decode by OpenCV."""
    codes = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    if codes is None:
        raise ValueError("the decoder gives up")
    return codes


def jpeg_is_whole(data: bytes) -> bool:
    """Return whether the picture data of a JPEG file ends with its end mark.

    False for a file cut short. Thumbnails inside the header, which have end marks of their own, are stepped over; what
    stands behind the picture does not matter. `data`: a file that starts as a JPEG.
    """
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if marker == _SCAN:
            # the last end mark is found quickest; entropy-coded data cannot hold one
            return data.rfind(_END_MARK, at) >= 0
        if marker == 0xFF or marker in _LONE_MARKERS:
            at += 1 if marker == 0xFF else 2
            continue
        at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    # an unusual header; the decoder decides whether it can be read
    return True


def is_raw_tiff(data: bytes) -> bool:
    """Return whether a file that starts as a TIFF is a camera's RAW file (DNG and the makers' own)."""
    try:
        with Image.open(io.BytesIO(data), formats=("TIFF",)) as image:
            tags = image.tag_v2
            preview_first = bool(int(tags.get(_SUBFILE_TYPE, 0)) & 1)
            return _DNG_VERSION in tags or tags.get(_PHOTOMETRIC) in _MOSAIC or preview_first
    except DECODER_FAULTS:
        # Pillow knows no mosaics; the tag numbers of a DNG or a mosaic are proof enough
        return data[:2] == b"II" and _DNG_MARK in data[:_TIFF_HEAD]


def decode_raw(data: bytes) -> tuple[Decoded, Encoding, np.ndarray | None]:
    """Decode a whole camera RAW file.

    Upright 16-bit codes, their encoding (linear light), and where the sensor was at its limit, per colour of its
    mosaic: bool, shape (H, W, 3).
    """
    try:
        import rawpy
    except ImportError as fault:
        raise UnreadableError(
            "a camera RAW file", "the package rawpy is needed for it", "install dyebook[raw], or export a TIFF"
        ) from fault
    try:
        with rawpy.imread(io.BytesIO(data)) as raw:
            check_size(raw.sizes.iwidth, raw.sizes.iheight, SLOW_BYTES_PER_PIXEL)
            codes = raw.postprocess(
                use_camera_wb=True,
                no_auto_bright=True,
                adjust_maximum_thr=0.0,
                output_bps=16,
                gamma=(1, 1),
                output_color=rawpy.ColorSpace.ProPhoto,
                demosaic_algorithm=rawpy.DemosaicAlgorithm.LINEAR,
            )
            if codes.shape[2:] != (3,):
                raise ValueError("not a colour picture")
            saturated = _saturated(raw, codes.shape)
            depth = int(raw.white_level).bit_length()
    except (*DECODER_FAULTS, rawpy.LibRawError) as fault:
        raise UnreadableError(f"a camera RAW file that cannot be read ({str(fault)[:_SHOWN]})") from fault
    exif = _exif_of(data)
    return Decoded(codes, depth, 1, {}, exif), _RAW_LIGHT, saturated


def _exif_of(data):
    """Return the EXIF block of a RAW file that is built as a TIFF, else an empty one."""
    exif = Image.Exif()
    try:
        exif.load(b"Exif\0\0" + data if data[:2] in (b"II", b"MM") else b"")
    except DECODER_FAULTS:
        return Image.Exif()
    return exif


def _saturated(raw, shape):
    """Return which colours of the mosaic were full in or beside each pixel, upright; None without a mosaic."""
    mosaic = raw.raw_image_visible
    if mosaic.ndim != 2 or raw.num_colors != 3:
        return None
    # LibRaw numbers the second green of a Bayer mosaic 3
    colours = np.where(raw.raw_colors_visible == 3, 1, raw.raw_colors_visible)
    full = mosaic >= _FULL * raw.white_level
    # a pixel's missing colours come from its neighbours, so their limit is its limit
    near = np.ones((3, 3), np.uint8)
    masks = [cv2.dilate((full & (colours == colour)).view(np.uint8), near) for colour in range(3)]
    mask = turn_upright(cv2.merge(masks), _FLIPS.get(raw.sizes.flip, 1)).view(bool)
    return mask if mask.shape == shape else None
