"""Photos in linear light: the codes of the file, turned into light only where and when it is asked for.

Blocks of pixels are averaged strip by strip, so that the work stays in a core's cache. A large JPEG that is only to be
measured is decoded at half its size and stands for the whole in the same coordinates; what needs single pixels, such as
a part less than a fifteenth as wide as the photo, has it decoded whole after all.
"""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from operator import attrgetter

import cv2
import numpy as np

from dyebook.photo.file.exif import NO_CAMERA, CameraInfo
from dyebook.photo.file.profile import LINEAR, SHORT_WHITE, Encoding

__all__ = [
    "HALF_FROM",
    "SMALL_SIDE",
    "HalfPhoto",
    "LinearPhoto",
    "Reduced",
    "block_means",
    "can_be_halved",
    "photo_from_array",
    "strip_rows",
    "whole_blocks",
]

# long side of the small picture that finders, light and mat share
SMALL_SIDE = 1000
# pixels of a photo from which on halves are fine enough for the finders' small picture and for most parts
HALF_FROM = 8_000_000
# a look that wants pixels finer than this, of a part less than a fifteenth as wide as the photo, is given them
_NEAR_ENOUGH = 1.2
# rows turned to light at a time: small enough to stay in a core's cache, large enough to hide the call overhead
_STRIP_ROWS = 48
# from so many pixels on, neighbours are joined two by two as codes before they become light: three times as fast, and
# chroma was stored no finer. Noise of 4 codes moves a mid grey by 0.1 % that way; blocks of 4 × 4 wholly averaged as
# codes would darken edges and texture
_JOINED_FROM = 4_000_000
# from so many pixels on, light is averaged in steps of white / 65535, of which the darkest 8-bit code counts twenty
_SHORT_FROM = 2_000_000
# light between this code's share of the range and nothing is stored as nothing by 8 bits
_FLOOR = 0.5 / 255
# largest side of a block whose pixels a byte can count
_BYTE_BLOCK = 15


@dataclass(frozen=True, eq=False)
class Reduced:
    """A photo made smaller by a whole factor, averaged in linear light."""

    pixels: np.ndarray  # float32 (h, w, 3): mean linear Rec. 709 light of each block
    scale: int  # full pixels per reduced pixel; reduced (i, j) covers full pixels from i·scale, j·scale on
    _count_clipped: Callable = field(repr=False)

    @cached_property
    def clipped(self):
        """Return the share of each block's pixels at their limit per channel of the file, float32 (h, w, 3)."""
        shares = self._count_clipped()
        shares.flags.writeable = False
        return shares


@dataclass(frozen=True, eq=False)
class LinearPhoto:
    """One upright photo, kept as the codes of its file.

    Coordinates are pixels of the upright image, x right, y down, (0, 0) the outer corner of the first pixel.
    `read_photo` and `photo_from_array` make these.
    """

    name: str  # file name without its folder, fit for a message
    codes: np.ndarray  # uint8, uint16 or float32 (H, W, 3): what the file holds, red first
    encoding: Encoding  # how codes become linear Rec. 709 light
    bit_depth: int  # bits per channel in the file (32 for an array of light)
    camera: CameraInfo = NO_CAMERA  # what the file says about the exposure
    notes: tuple[str, ...] = ()  # what had to be assumed
    limit: float | None = None  # lowest code that counts as clipped; None where light has no upper limit
    saturated: np.ndarray | None = None  # bool (H, W, 3): clipped channels, where the codes alone do not show them
    sha256: str | None = None  # of the file, or of the light of an array: by it the same photo is known again
    _reduced: dict = field(default_factory=dict, repr=False)

    @property
    def size(self):
        """Width and height in pixels."""
        return self.codes.shape[1], self.codes.shape[0]

    @property
    def pixels(self):
        """The whole photo in linear Rec. 709 light, float32 (H, W, 3); computed anew at each call."""
        return self.crop((0, 0, *self.size))

    def crop(self, box, step=1):
        """Return one box of the photo in linear light.

        Parameters
        ----------
        box : (x0, y0, x1, y1)
            Whole pixels, half-open, inside the photo.
        step : int
            Blocks of step × step pixels are averaged into one; blocks cut by the box's right or lower edge
            average what is there.

        Returns
        -------
        ndarray of float32, shape (ceil(h / step), ceil(w / step), 3)
            Linear Rec. 709 light; values outside 0 to 1 where the photo's own colour space reaches further.
        """
        codes = self.codes[self._slices(box)]
        decode = self.encoding.decode
        if step == 1:
            return self.encoding.to_rec709(decode(codes))
        join = codes.dtype == np.uint8 and codes.size > 3 * _JOINED_FROM and step % 2 == 0 and step > 2
        if codes.dtype == np.uint8 and self.codes.size > 3 * _SHORT_FROM and self.encoding.fits_short:
            return self.encoding.to_rec709(block_means(codes, step, self.encoding.decode_short, join, 1 / SHORT_WHITE))
        return self.encoding.to_rec709(block_means(codes, step, decode, join))

    def unit(self, step):
        """Return how many pixels of the photo across one pixel is that looks of this step (float) are made from: 1."""
        return 1

    def fitted(self, box, step):
        """Return the box and step at which `crop` is quickest, as whole numbers, near those wanted.

        The new box holds all of `box`, (x0, y0, x1, y1); `step` is pixels of the photo to one that is wanted, at most.
        """
        return whole_blocks(box, step, self.unit(step))

    def light_at(self, places) -> np.ndarray:
        """Return linear light at single places, cheaper than a crop where few are wanted.

        `places` (m, n, 2): x, y in pixels; outside the photo the nearest pixel counts. Between pixels codes are
        interpolated.
        """
        flat = (np.asarray(places) - 0.5).astype(np.float32)
        codes = cv2.remap(self.codes, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return self.encoding.to_rec709(self.encoding.decode(codes))

    def clipped(self, box, step=1):
        """Return which channels of a box stood at their upper limit, before any conversion.

        `box` is (x0, y0, x1, y1), whole pixels, half-open, inside the photo; only every `step`-th row and column is
        looked at: bool, shape (ceil(h / step), ceil(w / step), 3).
        """
        rows, columns = self._slices(box)
        some = slice(rows.start, rows.stop, step), slice(columns.start, columns.stop, step)
        return _clipped_codes(self.codes[some], self.limit, None if self.saturated is None else self.saturated[some])

    def floored(self, box, step=1):
        """Return which channels of a box stood at the bottom of the file's range, where nothing of them is left.

        Parameters and answer are those of `clipped`; of light without codes what is not above 0 counts.
        """
        rows, columns = self._slices(box)
        codes = self.codes[rows.start : rows.stop : step, columns.start : columns.stop : step]
        return codes <= (_FLOOR * np.iinfo(codes.dtype).max if np.issubdtype(codes.dtype, np.integer) else 0.0)

    def reduced(self, long_side: int):
        """Return the photo made smaller by the whole factor that brings its long side nearest to `long_side`.

        It is kept, so that a second call costs nothing; its arrays must not be written to. `long_side`: wanted length
        of the longer side in pixels. A photo is never enlarged, and the side that comes back lies between 2/3 and 3/2
        of the wanted one (or is the photo's own, if that is smaller).
        """
        return self.reduced_by(max(1, round(max(self.size) / long_side)))

    def reduced_by(self, scale):
        """Return the photo made smaller by a whole factor; kept as well."""
        if scale not in self._reduced:
            # of the arrays, not of the photo: a circle of references would outlive its last use
            count = partial(_clipped_shares, self.codes, self.limit, self.saturated, scale)
            self._reduced[scale] = Reduced(self.crop((0, 0, *self.size), scale), scale, count)
            self._reduced[scale].pixels.flags.writeable = False
        return self._reduced[scale]

    def with_encoding(self, encoding):
        """Return the same photo with its codes read as another light."""
        return replace(self, encoding=encoding, _reduced={})

    def _slices(self, box):
        """Check a box and return it as row and column slices."""
        x0, y0, x1, y1 = (int(edge) for edge in box)
        width, height = self.size
        if not (0 <= x0 < x1 <= width and 0 <= y0 < y1 <= height):
            raise ValueError(f"box {(x0, y0, x1, y1)} is empty or leaves the photo of {width} × {height} pixels")
        return slice(y0, y1), slice(x0, x1)


@dataclass(frozen=True, eq=False)
class HalfPhoto:
    """A photo that does what a `LinearPhoto` does, in the same coordinates, from a picture of half its size.

    What blocks of 2 × 2 pixels cannot show is taken from the whole picture, which is decoded at that moment
    and kept; `fitted` says which box and step can be had without. `read_photo` makes these when asked to be quick.
    """

    # the picture of half the size: a pixel of it is a block of 2 × 2 of the photo's, but for what an odd size cuts off
    # at the right or below
    half: LinearPhoto
    size: tuple[int, int]  # width and height in pixels
    _decode_whole: Callable

    @cached_property
    def whole(self):
        """The photo as its file has it."""
        return self._decode_whole()

    name, encoding, bit_depth, camera, notes, sha256 = (
        property(attrgetter(f"half.{one}")) for one in ("name", "encoding", "bit_depth", "camera", "notes", "sha256")
    )

    @property
    def codes(self):
        """What the file holds."""
        return self.whole.codes

    @property
    def pixels(self):
        """The whole photo in linear light."""
        return self.whole.pixels

    def unit(self, step):
        """Return 2, or 1 where a step is too small for blocks."""
        return 2 if step >= _NEAR_ENOUGH else self.half.unit(step)

    def fitted(self, box, step):
        """Return the box and step at which `crop` is quickest, near those wanted."""
        (x0, y0, x1, y1), step = whole_blocks(box, step, self.unit(step))
        return (x0, y0, min(x1, self.size[0]), min(y1, self.size[1])), step

    def crop(self, box, step=1):
        """Return one box of the photo in linear light, averaged over step × step pixels."""
        return self._from(box, step, LinearPhoto.crop)

    def clipped(self, box, step=1):
        """Return which channels of a box stood at their upper limit; of blocks, in the mean."""
        return self._from(box, step, LinearPhoto.clipped)

    def floored(self, box, step=1):
        """Return which channels of a box stood at the bottom; of blocks, in the mean."""
        return self._from(box, step, LinearPhoto.floored)

    def light_at(self, places):
        """Return linear light at single places, of blocks interpolated between their middles."""
        return self.half.light_at(np.asarray(places) / 2)

    def reduced(self, long_side):
        """Return the photo made smaller by an even factor near the one that brings its long side to `long_side`."""
        half = max(1, round(max(self.half.size) / long_side))
        if max(self.half.size) < long_side * 2 / 3:
            return self.whole.reduced(long_side)
        small = self.half.reduced_by(half)
        return Reduced(small.pixels, 2 * half, lambda: small.clipped)

    def with_encoding(self, encoding):
        """Return the same photo with its codes read as another light."""
        return HalfPhoto(self.half.with_encoding(encoding), self.size, lambda: self.whole.with_encoding(encoding))

    def _from(self, box, step, look):
        """What a method says of whole blocks of the half, or of the whole where they would not fit."""
        x0, y0, x1, y1 = (int(edge) for edge in box)
        ends_cut = (x1 % 2 and x1 != self.size[0]) or (y1 % 2 and y1 != self.size[1])
        if step % 2 or x0 % 2 or y0 % 2 or ends_cut:
            return look(self.whole, box, step)
        return look(self.half, (x0 // 2, y0 // 2, (x1 + 1) // 2, (y1 + 1) // 2), step // 2)


def can_be_halved(size: tuple[int, int], orientation: int = 1) -> bool:
    """Return whether a picture (width and height as stored, EXIF orientation) may be decoded at half its size.

    It must be large, and its blocks of 2 × 2 pixels must start at its corner once it is upright.
    """
    width, height = size
    return width * height >= HALF_FROM and (orientation == 1 or (width % 2 == 0 and height % 2 == 0))


def photo_from_array(pixels, name: str = "array", limit: float | None = None) -> LinearPhoto:
    """Return a photo made of linear light, shape (H, W, 3), without camera and notes, for renderers and tests.

    `name` is what messages call it; from `limit` on, the light of a channel counts as clipped.
    """
    pixels = np.ascontiguousarray(pixels, dtype=np.float32)
    if pixels.ndim != 3 or pixels.shape[2] != 3 or not pixels.size:
        raise ValueError(f"pixels has shape {pixels.shape}; (H, W, 3) is needed")
    sha256 = hashlib.sha256(pixels).hexdigest()
    return LinearPhoto(name, pixels, LINEAR, bit_depth=8 * pixels.itemsize, limit=limit, sha256=sha256)


def _clipped_codes(codes, limit, saturated):
    """Clipped channels of some codes."""
    mask = np.zeros(codes.shape, bool) if limit is None else codes >= limit
    return mask if saturated is None else mask | saturated


def _clipped_shares(codes, limit, saturated, scale):
    """Share of clipped pixels in each block."""
    height, width = codes.shape[:2]
    shares = np.zeros((-(-height // scale), -(-width // scale), 3), np.float32)
    # weighted so that whole blocks have whole means: bytes are averaged several times as fast as floats
    weight, kind = (scale * scale, np.uint8) if scale <= _BYTE_BLOCK else (1, np.float32)
    for top in range(0, height, strip := strip_rows(scale)):
        rows = slice(top, min(top + strip, height))
        # a maximum costs a tenth of counting, and most strips of a well exposed photo hold no clipped pixel
        if saturated is None and (limit is None or codes[rows].max() < limit):
            continue
        mask = _clipped_codes(codes[rows], limit, None if saturated is None else saturated[rows])
        means = block_means(np.multiply(mask, weight, dtype=kind), scale, lambda values: values)
        shares[top // scale : top // scale + len(means)] = means
    return shares / np.float32(weight)


def whole_blocks(box: tuple, step: float, unit: int) -> tuple[tuple, int]:
    """Return a box grown to whole blocks of `unit` pixels, and a step near the one wanted in whole blocks.

    The step wanted is exceeded by half a pixel at most, unless it is below a block.
    """
    x0, y0, x1, y1 = (int(edge) // unit * unit for edge in (box[0], box[1], box[2] + unit - 1, box[3] + unit - 1))
    return (x0, y0, x1, y1), unit * max(1, int((step + (unit - 1) / 2) / unit))


def strip_rows(step: int) -> int:
    """Return a whole number of blocks' rows that fits a core's cache."""
    return step * max(1, _STRIP_ROWS // step)


def block_means(codes: np.ndarray, step: int, decode: Callable, join: bool = False, unit: float = 1.0) -> np.ndarray:
    """Average decoded codes over step × step blocks, strip by strip; cut blocks average what is there.

    `join` averages neighbours two by two before they are decoded; what `decode` returns is counted in `unit`.
    """
    if step < 1:
        raise ValueError(f"step is {step}; a whole factor of at least 1 is needed")
    height, width = codes.shape[:2]
    means = np.empty((-(-height // step), -(-width // step), 3), np.float32)
    for top in range(0, height, strip := strip_rows(step)):
        whole = min(top + strip, height)
        whole -= (whole - top) % step
        if whole > top:
            _strip_means(codes[top:whole], step, decode, join, unit, means[top // step : whole // step])
    if height % step:
        _strip_means(codes[-(height % step) :], step, decode, False, unit, means[-1:])
    return means


def _strip_means(codes, step, decode, join, unit, means):
    """Average a strip into rows of blocks (rows, blocks, 3); the last block may be narrower."""
    width, rows = codes.shape[1], len(means)
    blocks = width // step
    if blocks:
        whole = codes[:, : blocks * step]
        if join:
            whole = cv2.resize(whole, (whole.shape[1] // 2, whole.shape[0] // 2), interpolation=cv2.INTER_AREA)
        whole = cv2.resize(decode(whole), (blocks, rows), interpolation=cv2.INTER_AREA)
        np.multiply(whole, np.float32(unit), out=means[:, :blocks])
    if width % step:
        rest = cv2.resize(decode(codes[:, blocks * step :]), (1, rows), interpolation=cv2.INTER_AREA)
        np.multiply(rest.reshape(rows, 1, 3), np.float32(unit), out=means[:, blocks:])
