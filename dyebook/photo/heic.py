"""HEIC and HEIF files by libheif (pillow-heif)."""

import io

import cv2
import numpy as np
import pillow_heif
from PIL import Image

from dyebook.photo.decode import Decoded
from dyebook.photo.faults import SLOW_BYTES_PER_PIXEL, UnreadableError, check_size, damage_is_told

__all__ = ["decode_heic"]


def decode_heic(data):
    """Decode a HEIC or HEIF file; arguments, result and errors are those of `decode_picture`."""
    with damage_is_told("HEIC"):
        heif = pillow_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=False)
        if len(heif) > 1:
            raise UnreadableError(
                f"a HEIC file of {len(heif)} pictures", "one still photo is needed", "export the single picture"
            )
        channels = 4 if "A" in heif.mode else 3
        check_size(*heif.size, max(SLOW_BYTES_PER_PIXEL, channels * (2 if "16" in heif.mode else 1)))
        exif = Image.Exif()
        exif.load(heif.info.get("exif") or b"")
        codes = np.asarray(heif)[:, : heif.size[0]]
        # the container's own turn rules (ISO/IEC 23008-12), and the library has followed it
        decoded = Decoded(codes, int(heif.info.get("bit_depth", 8)), 1, dict(heif.info), exif, grey=codes.ndim == 2)
        if codes.ndim == 2:
            decoded.codes = cv2.merge([codes] * 3)
        elif codes.shape[2] == 4:
            decoded.alpha = codes[..., 3]
            decoded.codes = np.ascontiguousarray(codes[..., :3])
    return decoded
