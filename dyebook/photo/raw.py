"""Camera RAW files through rawpy (LibRaw): the sensor's own linear light, with the camera's white balance."""

import io

import cv2
import numpy as np
from PIL import Image

from dyebook.photo.decode import Decoded
from dyebook.photo.exif import turn_upright
from dyebook.photo.faults import DECODER_FAULTS, UnreadableError, check_size
from dyebook.photo.profile import Encoding

__all__ = ["decode_raw", "is_raw_tiff"]

_NEW_SUBFILE_TYPE, _PHOTOMETRIC, _DNG_VERSION = 254, 262, 50706
_MOSAIC = (32803, 34892)  # colour filter array, linear raw

# LibRaw's matrix from linear Rec. 709 to its ProPhoto output (dcraw's `prophoto_rgb`); ProPhoto because colours
# outside Rec. 709 would be cut off at zero
_REC709_TO_PROPHOTO = np.array(
    [[0.529317, 0.330092, 0.140588], [0.098368, 0.873465, 0.028169], [0.016879, 0.117663, 0.865457]]
)
# LibRaw's code of the turn, as an EXIF orientation
_FLIPS = {3: 3, 5: 8, 6: 6}
_RAW_LIGHT = Encoding("camera RAW, linear", (lambda code: code,), np.linalg.inv(_REC709_TO_PROPHOTO))


def is_raw_tiff(data):
    """Return whether a file that starts as a TIFF is a camera's RAW file (DNG and the makers' own)."""
    try:
        with Image.open(io.BytesIO(data), formats=("TIFF",)) as image:
            tags = image.tag_v2
            preview_first = bool(int(tags.get(_NEW_SUBFILE_TYPE, 0)) & 1)
            return _DNG_VERSION in tags or tags.get(_PHOTOMETRIC) in _MOSAIC or preview_first
    except DECODER_FAULTS:
        # Pillow knows no mosaics; the tag numbers of a DNG or a mosaic are proof enough
        return data[:2] == b"II" and b"\x12\xc6\x01\x00\x04\x00\x00\x00" in data[:4096]


def decode_raw(data):
    """Decode a camera RAW file.

    Parameters
    ----------
    data : bytes
        The whole file.

    Returns
    -------
    decoded : Decoded
        Upright 16-bit codes.
    encoding : Encoding
        Of those codes: linear light.
    saturated : ndarray of bool, shape (H, W, 3)
        Where the sensor was at its limit, per colour of its mosaic.

    Raises
    ------
    UnreadableError
        If rawpy is not installed, or the file cannot be read.
    """
    try:
        import rawpy
    except ImportError as fault:
        raise UnreadableError(
            "a camera RAW file", "the package rawpy is needed for it", "install dyebook[raw], or export a TIFF"
        ) from fault
    try:
        with rawpy.imread(io.BytesIO(data)) as raw:
            check_size(raw.sizes.iwidth, raw.sizes.iheight, 6)
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
        raise UnreadableError(f"a camera RAW file that cannot be read ({str(fault)[:80]})") from fault
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
    # sensors fill up unevenly and with noise, so full begins a hundredth below the nominal limit
    full = mosaic >= 0.99 * raw.white_level
    # a pixel's missing colours come from its neighbours, so their limit is its limit
    near = np.ones((3, 3), np.uint8)
    masks = [cv2.dilate((full & (colours == colour)).view(np.uint8), near) for colour in range(3)]
    mask = turn_upright(cv2.merge(masks), _FLIPS.get(raw.sizes.flip, 1)).view(bool)
    return mask if mask.shape == shape else None
