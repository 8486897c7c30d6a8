"""A large JPEG decoded at half size, which most looks at a photo need no more than; whole only where one must."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from dyebook.photo.blocks import whole_blocks
from dyebook.photo.linear import LinearPhoto, Reduced

__all__ = ["HALF_FROM", "HalfPhoto", "can_be_halved"]

# pixels of a photo from which on halves are fine enough for the finders' small picture and for most parts
HALF_FROM = 8_000_000
# a look that wants pixels finer than this, of a part less than a fifteenth as wide as the photo, is given them
_NEAR_ENOUGH = 1.2


def can_be_halved(size, orientation=1):
    """Return whether a picture is large, and its blocks of 2 × 2 pixels start at its corner once it is upright.

    Parameters
    ----------
    size : tuple of int
        Width and height as stored.
    orientation : int
        EXIF orientation.

    Returns
    -------
    bool
    """
    width, height = size
    return width * height >= HALF_FROM and (orientation == 1 or (width % 2 == 0 and height % 2 == 0))


@dataclass(frozen=True, eq=False)
class HalfPhoto:
    """A photo that does what a `LinearPhoto` does, in the same coordinates, from a picture of half its size.

    What cannot be told from blocks of 2 × 2 pixels is told from the whole picture, which is decoded at that moment
    and kept; `fitted` says which box and step can be had without. `read_photo` makes these when asked to be quick.

    Attributes
    ----------
    half : LinearPhoto
        The picture of half the size: a pixel of it is a block of 2 × 2 of the photo's, but for what an odd size cuts
        off at the right or below.
    size : tuple of int
        Width and height in pixels.
    """

    half: LinearPhoto
    size: tuple[int, int]
    _decode_whole: Callable

    @cached_property
    def whole(self):
        """The photo as its file has it."""
        return self._decode_whole()

    @property
    def name(self):
        """File name without its folder."""
        return self.half.name

    @property
    def codes(self):
        """What the file holds."""
        return self.whole.codes

    @property
    def encoding(self):
        """How codes become light."""
        return self.half.encoding

    @property
    def bit_depth(self):
        """Bits per channel in the file."""
        return self.half.bit_depth

    @property
    def camera(self):
        """What the file says about the exposure."""
        return self.half.camera

    @property
    def notes(self):
        """What had to be assumed."""
        return self.half.notes

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
