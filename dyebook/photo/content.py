"""What a file really is, by its content, whatever it is called."""

import struct

__all__ = ["RAW", "kind_of"]

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
