"""What a file really is, by its content, whatever it is called; and the structure checks decoders leave out."""

import struct

__all__ = ["RAW", "jpeg_is_whole", "kind_of"]

RAW = "RAW"

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
    (b"8BPS", "Photoshop document"),
    (b"#!", "script"),
    (b"\x7fELF", "program"),
    (b"MZ", "program"),
    (b"<", "text or web page"),
    (b"{", "text"),
)
_HEIC_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"mif1", b"mif2", b"heif"}
_SEQUENCE_BRANDS = {b"msf1", b"hevc", b"hevx", b"hevm", b"hevs", b"avis"}


def kind_of(data):
    """Return what a file's first bytes say it is.

    Parameters
    ----------
    data : bytes
        A whole file.

    Returns
    -------
    str or None
        "JPEG", "PNG", "TIFF", "WebP", "HEIC", "RAW"; the plain name of something else; None if unknown.
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
    brands = {major} | {data[at : at + 4] for at in range(16, min(size, 256), 4)}
    if major == b"crx ":
        return RAW
    if major in _SEQUENCE_BRANDS:
        return "HEIC sequence"
    if major == b"avif":
        return "AVIF"
    return "HEIC" if brands & _HEIC_BRANDS else "video"


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
