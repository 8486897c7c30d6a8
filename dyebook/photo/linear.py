"""Photos in linear light: the codes of the file, turned into light only where and when it is asked for."""

from dataclasses import dataclass, field

import cv2
import numpy as np

from dyebook.photo.exif import NO_CAMERA, CameraInfo
from dyebook.photo.profile import LINEAR, Encoding

__all__ = ["LinearPhoto", "Reduced", "photo_from_array"]

# rows turned to light at a time: small enough to stay in a core's cache, large enough to hide the call overhead
_STRIP_ROWS = 48


@dataclass(frozen=True)
class Reduced:
    """A photo made smaller by a whole factor, averaged in linear light.

    Attributes
    ----------
    pixels : ndarray of float32, shape (h, w, 3)
        Mean linear Rec. 709 light of each block.
    clipped : ndarray of float32, shape (h, w, 3)
        Share of the block's source pixels at their limit, 0 to 1, per channel of the file.
    scale : int
        Full pixels per reduced pixel; reduced (i, j) covers full pixels from i·scale, j·scale on.
    """

    pixels: np.ndarray
    clipped: np.ndarray
    scale: int


@dataclass(frozen=True, eq=False)
class LinearPhoto:
    """One upright photo, kept as the codes of its file.

    Coordinates are pixels of the upright image, x right, y down, (0, 0) the outer corner of the first pixel.
    `read_photo` and `photo_from_array` make these.

    Attributes
    ----------
    name : str
        File name without its folder, fit for a message.
    codes : ndarray of uint8, uint16 or float32, shape (H, W, 3)
        What the file holds, red first.
    encoding : Encoding
        How codes become linear Rec. 709 light.
    bit_depth : int
        Bits per channel in the file (32 for an array of light).
    camera : CameraInfo
        What the file says about the exposure.
    notes : tuple of str
        What had to be assumed.
    limit : float or None
        Lowest code that counts as clipped; None where light has no upper limit.
    saturated : ndarray of bool, shape (H, W, 3), or None
        Clipped channels, where the codes alone do not tell.
    """

    name: str
    codes: np.ndarray
    encoding: Encoding
    bit_depth: int
    camera: CameraInfo = NO_CAMERA
    notes: tuple[str, ...] = ()
    limit: float | None = None
    saturated: np.ndarray | None = None
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

        Raises
        ------
        ValueError
            If the box is empty or leaves the photo, or step is below 1.
        """
        codes = self.codes[self._slices(box)]
        decode = self.encoding.decode
        return self.encoding.to_rec709(decode(codes) if step == 1 else _block_means(codes, step, decode))

    def light_at(self, places):
        """Return linear light at single places, cheaper than a crop where few are wanted.

        Parameters
        ----------
        places : ndarray of shape (m, n, 2)
            x, y in pixels; outside the photo the nearest pixel counts. Between pixels codes are interpolated.

        Returns
        -------
        ndarray of float32, shape (m, n, 3)
        """
        flat = (np.asarray(places) - 0.5).astype(np.float32)
        codes = cv2.remap(self.codes, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return self.encoding.to_rec709(self.encoding.decode(codes))

    def clipped(self, box):
        """Return which channels of a box stood at their upper limit, before any conversion.

        Parameters
        ----------
        box : (x0, y0, x1, y1)
            Whole pixels, half-open, inside the photo.

        Returns
        -------
        ndarray of bool, shape (h, w, 3)
            True where the file (or sensor) could not have recorded more.
        """
        return self._clipped_codes(*self._slices(box))

    def reduced(self, long_side):
        """Return the photo made smaller by the whole factor that brings its long side nearest to `long_side`.

        Parameters
        ----------
        long_side : int
            Wanted length of the longer side in pixels. A photo is never enlarged, and the side that comes back
            lies between 2/3 and 3/2 of the wanted one (or is the photo's own, if that is smaller).

        Returns
        -------
        Reduced
            Kept, so that a second call costs nothing; its arrays must not be written to.
        """
        scale = max(1, round(max(self.size) / long_side))
        if scale not in self._reduced:
            self._reduced[scale] = Reduced(self.crop((0, 0, *self.size), scale), self._clipped_shares(scale), scale)
            for part in (self._reduced[scale].pixels, self._reduced[scale].clipped):
                part.flags.writeable = False
        return self._reduced[scale]

    def _slices(self, box):
        """Check a box and return it as row and column slices."""
        x0, y0, x1, y1 = (int(edge) for edge in box)
        width, height = self.size
        if not (0 <= x0 < x1 <= width and 0 <= y0 < y1 <= height):
            raise ValueError(f"box {(x0, y0, x1, y1)} is empty or leaves the photo of {width} × {height} pixels")
        return slice(y0, y1), slice(x0, x1)

    def _clipped_codes(self, rows, columns):
        """Clipped channels of some rows and columns."""
        codes = self.codes[rows, columns]
        mask = np.zeros(codes.shape, bool) if self.limit is None else codes >= self.limit
        return mask if self.saturated is None else mask | self.saturated[rows, columns]

    def _clipped_shares(self, scale):
        """Share of clipped pixels in each block."""
        width, height = self.size
        shares = np.zeros((-(-height // scale), -(-width // scale), 3), np.float32)
        # weighted so that whole blocks have whole means: bytes are averaged several times as fast as floats
        weight, kind = (scale * scale, np.uint8) if scale <= 15 else (1, np.float32)
        for top in range(0, height, strip := _strip_rows(scale)):
            rows = slice(top, min(top + strip, height))
            columns = self._clipped_columns(rows, scale)
            if columns is None:
                continue
            weights = np.multiply(self._clipped_codes(rows, columns), weight, dtype=kind)
            means = _block_means(weights, scale, lambda values: values)
            left = columns.start // scale
            shares[top // scale : top // scale + len(means), left : left + means.shape[1]] = means
        return shares / np.float32(weight)

    def _clipped_columns(self, rows, scale):
        """Blocks' columns from the first to the last clipped pixel of some rows; None where there is none."""
        width = self.size[0]
        if self.saturated is not None:
            return slice(0, width)
        if self.limit is None:
            return None
        # a maximum costs a tenth of counting, and most strips of a well exposed photo hold no clipped pixel
        found = np.flatnonzero(self.codes[rows].max(axis=0).max(axis=1) >= self.limit)
        if not len(found):
            return None
        return slice(int(found[0]) // scale * scale, min(width, (int(found[-1]) // scale + 1) * scale))


def photo_from_array(pixels, name="array", limit=None):
    """Return a photo made of linear light, for renderers and tests.

    Parameters
    ----------
    pixels : array_like, shape (H, W, 3)
        Linear Rec. 709 light, 1.0 = perfect white.
    name : str
        What messages call it.
    limit : float, optional
        Light from which on a channel counts as clipped.

    Returns
    -------
    LinearPhoto
        With no camera and no notes.

    Raises
    ------
    ValueError
        If the array is not (H, W, 3).
    """
    pixels = np.ascontiguousarray(pixels, dtype=np.float32)
    if pixels.ndim != 3 or pixels.shape[2] != 3 or not pixels.size:
        raise ValueError(f"pixels has shape {pixels.shape}; (H, W, 3) is needed")
    return LinearPhoto(name, pixels, LINEAR, bit_depth=32, limit=limit)


def _strip_rows(step):
    """Return a whole number of blocks' rows near the strip height."""
    return step * max(1, _STRIP_ROWS // step)


def _block_means(codes, step, decode):
    """Average decoded codes over step × step blocks, strip by strip; cut blocks average what is there."""
    if step < 1:
        raise ValueError(f"step is {step}; a whole factor of at least 1 is needed")
    height, width = codes.shape[:2]
    means = np.empty((-(-height // step), -(-width // step), 3), np.float32)
    for top in range(0, height, strip := _strip_rows(step)):
        whole = min(top + strip, height)
        whole -= (whole - top) % step
        if whole > top:
            means[top // step : whole // step] = _strip_means(decode(codes[top:whole]), step, (whole - top) // step)
    if height % step:
        means[-1:] = _strip_means(decode(codes[-(height % step) :]), step, 1)
    return means


def _strip_means(light, step, rows):
    """Average a strip into `rows` rows of blocks; the last block may be narrower."""
    width = light.shape[1]
    blocks = width // step
    parts = []
    if blocks:
        parts.append(cv2.resize(light[:, : blocks * step], (blocks, rows), interpolation=cv2.INTER_AREA))
    if width % step:
        parts.append(cv2.resize(light[:, blocks * step :], (1, rows), interpolation=cv2.INTER_AREA))
    return np.concatenate(parts, axis=1)
