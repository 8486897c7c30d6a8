"""JPEG files by OpenCV, with the checks its decoder leaves out."""

import cv2
import numpy as np

from dyebook.photo.faults import UnreadableError

__all__ = ["jpeg_codes", "jpeg_is_whole", "opencv_codes"]


def jpeg_codes(data, size, half=False):
    """Decode a JPEG by OpenCV, nearly twice as fast as Pillow, with the checks it leaves out.

    Parameters
    ----------
    data : bytes
    size : tuple of int
        Width and height by the header.
    half : bool
        Leave out the finest waves of each block of 8 × 8 pixels: a picture of half the size, in little over half the
        time. Its pixels are the means of 2 × 2 codes, to a code or two.

    Returns
    -------
    ndarray of uint8, shape (H, W, 3)
        Red first, not turned upright.

    Raises
    ------
    UnreadableError
        If data is missing.
    ValueError
        If the decoder gives up.
    """
    if not jpeg_is_whole(data):
        raise UnreadableError("a JPEG file cut short (no end mark)", do="copy or send the photo again")
    # the sparsest coding spends a bit on each block of 8 × 8 pixels; this stops giant headers on little files
    if len(data) * 8 * 64 < size[0] * size[1]:
        raise UnreadableError(f"a JPEG header of {size[0]} × {size[1]} pixels on {len(data)} bytes")
    # beside a colour order, "grey" says nothing but the size
    flags = cv2.IMREAD_COLOR_RGB | (cv2.IMREAD_REDUCED_GRAYSCALE_2 if half else 0)
    codes = opencv_codes(data, flags | cv2.IMREAD_IGNORE_ORIENTATION)
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
    if (codes[-4:, -4:] != 128).any():
        return False
    end = data.rfind(b"\xff\xd9")
    more = data[:end] + b"\x5a\xa5\x3c" * 64 + b"\xff\xd9"
    flags = cv2.IMREAD_REDUCED_COLOR_8 | cv2.IMREAD_IGNORE_ORIENTATION
    return not np.array_equal(opencv_codes(data, flags), opencv_codes(more, flags))


def opencv_codes(data, flags):
    """Decode by OpenCV."""
    codes = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    if codes is None:
        raise ValueError("the decoder gives up")
    return codes


def jpeg_is_whole(data):
    """Return whether the picture data of a JPEG file ends with its end mark.

    Parameters
    ----------
    data : bytes
        A file that starts as a JPEG.

    Returns
    -------
    bool
        False for a file cut short. Thumbnails inside the header, which have end marks of their own, are
        stepped over; what stands behind the picture does not matter.
    """
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if marker == 0xDA:
            # the last end mark is found quickest; entropy-coded data cannot hold one
            return data.rfind(b"\xff\xd9", at) >= 0
        if marker == 0xFF or 0xD0 <= marker <= 0xD8 or marker == 0x01:
            at += 1 if marker == 0xFF else 2
            continue
        at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    # the header is odd; whether it can be read is the decoder's to say
    return True
