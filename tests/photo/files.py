"""Photo files of every kind, made in memory for the tests of this folder."""

import io
import struct
import zlib

import cv2
import numpy as np
import pillow_heif
from PIL import Image, ImageCms

__all__ = [
    "bomb_png",
    "deep_heic",
    "dng",
    "giant_jpeg",
    "heic",
    "lab_profile_of_inks",
    "picture",
    "saved",
    "saved_deep",
    "with_profile",
]

# IEC 61966-2-1, from XYZ under D65
XYZ_TO_REC709 = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])


def picture(height=80, width=120):
    """Smooth ramps that differ in every corner and channel, so that any turn or swap shows."""
    y, x = np.mgrid[0:height, 0:width]
    red, green = 20 + 200 * x / width, 30 + 180 * y / height
    return np.stack([red, green, 120 + 50 * np.sin(x / 17 + y / 29)], axis=-1).astype(np.uint8)


def saved(codes, kind="PNG", **options):
    """Bytes of a file that holds the codes (an array or a Pillow image)."""
    stream = io.BytesIO()
    image = codes if isinstance(codes, Image.Image) else Image.fromarray(codes)
    image.save(stream, kind, **options)
    return stream.getvalue()


def saved_deep(codes, kind):
    """Bytes of a 16-bit PNG or TIFF file."""
    return cv2.imencode(f".{kind.lower()}", codes[..., ::-1] if codes.ndim == 3 else codes)[1].tobytes()


def with_profile(png, profile):
    """Bytes of a PNG with an ICC profile put in after its header."""
    body = b"profile\0\0" + zlib.compress(profile)
    block = b"iCCP" + body
    return png[:33] + struct.pack(">I", len(body)) + block + struct.pack(">I", zlib.crc32(block)) + png[33:]


def heic(*pictures, **options):
    """Bytes of a HEIC file of one or more pictures."""
    stream = io.BytesIO()
    images = [Image.fromarray(codes) for codes in pictures]
    first = pillow_heif.from_pillow(images[0])
    for other in images[1:]:
        first.add_from_pillow(other)
    first.save(stream, **{"quality": -1, "chroma": 444, **options})
    return stream.getvalue()


def deep_heic(codes):
    """Bytes of a 10-bit HEIC file."""
    stream = io.BytesIO()
    height, width = codes.shape[:2]
    pillow_heif.from_bytes("RGB;16", (width, height), codes.tobytes()).save(stream, quality=-1, chroma=444)
    return stream.getvalue()


def lab_profile_of_inks(space=b"CMYK"):
    """Return a profile of table kind, two grid points a side: four inks that simply subtract, or three lights."""
    count = len(space.strip())
    inks = np.array(np.meshgrid(*[[0, 1]] * count, indexing="ij")).reshape(count, -1).T
    rgb = (1 - inks[:, :3]) * (1 - inks[:, 3:]) if count == 4 else inks
    lab = ImageCms.createProfile("LAB")
    to_lab = ImageCms.buildTransform(ImageCms.createProfile("sRGB"), lab, "RGB", "LAB")
    patches = Image.fromarray((rgb[None] * 255).astype(np.uint8))
    # Pillow's LAB bytes: L over 0 to 255; a, b as signed bytes
    bytes_lab = np.asarray(ImageCms.applyTransform(patches, to_lab))[0].view(np.uint8).astype(int)
    steps = np.stack([bytes_lab[:, 0], (bytes_lab[:, 1] + 128) % 256, (bytes_lab[:, 2] + 128) % 256], axis=-1)
    table = b"mft1\0\0\0\0" + bytes([count, 3, 2, 0]) + (65536 * np.eye(3)).astype(">i4").tobytes()
    ramp = bytes(range(256))
    table += ramp * count + steps.astype(np.uint8).tobytes() + ramp * 3
    tags = {b"desc": b"desc\0\0\0\0\0\0\0\x05inks\0" + bytes(78), b"A2B0": table}
    tags[b"wtpt"] = b"XYZ \0\0\0\0" + struct.pack(">3i", 63190, 65536, 54061)
    return _profile(b"prtr", space, b"Lab ", tags)


def _profile(kind, space, connection, tags):
    """Assemble an ICC profile."""
    at, listing, body = 132 + 12 * len(tags), b"", b""
    for signature, block in tags.items():
        listing += struct.pack(">4sII", signature, at + len(body), len(block))
        body += block + bytes(-len(block) % 4)
    head = struct.pack(">I4sI4s4s4s", at + len(body), bytes(4), 0x02400000, kind, space, connection)
    head += struct.pack(">6H", 2025, 1, 1, 0, 0, 0) + b"acsp" + bytes(28) + struct.pack(">3i", 63190, 65536, 54061)
    return head.ljust(128, b"\0") + struct.pack(">I", len(tags)) + listing + body


def bomb_png(width, height, depth=8, colour=2):
    """Bytes of a PNG whose header claims far more than it holds."""

    def chunk(kind, body):
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0)
    body = chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(bytes(10_000))) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + body


def giant_jpeg(jpeg, width, height):
    """A JPEG file whose frame header claims another size."""
    at = jpeg.index(b"\xff\xc0")
    return jpeg[: at + 5] + struct.pack(">HH", height, width) + jpeg[at + 9 :]


def dng(light, neutral=(0.5, 1.0, 0.7), orientation=1, white=16000, xyz_to_rgb=XYZ_TO_REC709):
    """Bytes of a minimal RAW file (DNG 1.4) of a camera with ideal primaries.

    `light` is linear in those primaries, (H, W, 3); `neutral` what its sensor makes of white, which the file records.
    """
    sensor = np.clip(np.round(light * np.array(neutral) * white), 0, white).astype("<u2")
    mosaic = sensor[..., 1].copy()
    mosaic[::2, ::2], mosaic[1::2, 1::2] = sensor[::2, ::2, 0], sensor[1::2, 1::2, 2]
    matrix = np.array(neutral)[:, None] * xyz_to_rgb
    height, width = mosaic.shape
    entries = {
        254: ("I", [0]),
        256: ("I", [width]),
        257: ("I", [height]),
        258: ("H", [16]),
        259: ("H", [1]),
        262: ("H", [32803]),
        271: ("s", b"Bench\0"),
        272: ("s", b"Box One\0"),
        273: ("I", [0]),
        274: ("H", [orientation]),
        277: ("H", [1]),
        278: ("I", [height]),
        279: ("I", [mosaic.nbytes]),
        33421: ("H", [2, 2]),
        33422: ("B", [0, 1, 1, 2]),
        50706: ("B", [1, 4, 0, 0]),
        50708: ("s", b"Bench Box One\0"),
        50714: ("H", [0]),
        50717: ("I", [white]),
        50721: ("r", matrix.ravel()),
        50728: ("u", neutral),
        50778: ("H", [21]),
    }
    return _tiff(entries, mosaic.tobytes())


def _tiff(entries, strip):
    """Assemble a little-endian TIFF of one directory and one strip of pixels."""
    kinds = {"B": 1, "s": 2, "H": 3, "I": 4, "u": 5, "r": 10}
    packed = {tag: (kinds[form], *_pack(form, values)) for tag, (form, values) in entries.items()}
    at = 8 + 2 + 12 * len(packed) + 4
    strip_at = at + sum(len(body) + len(body) % 2 for _, _, body in packed.values() if len(body) > 4)
    packed[273] = (4, 1, struct.pack("<I", strip_at))
    directory, extra = struct.pack("<H", len(packed)), b""
    for tag, (kind, count, body) in sorted(packed.items()):
        place = body.ljust(4, b"\0") if len(body) <= 4 else struct.pack("<I", at + len(extra))
        directory += struct.pack("<HHI", tag, kind, count) + place
        if len(body) > 4:
            extra += body + bytes(len(body) % 2)
    return b"II*\0" + struct.pack("<I", 8) + directory + bytes(4) + extra + strip


def _pack(form, values):
    """Return count and bytes of one TIFF entry."""
    if form == "s":
        return len(values), values
    if form in "ur":
        numbers = [n for value in values for n in (round(value * 10_000), 10_000)]
        return len(values), struct.pack(f"<{len(numbers)}{'I' if form == 'u' else 'i'}", *numbers)
    return len(values), struct.pack(f"<{len(values)}{form}", *values)
