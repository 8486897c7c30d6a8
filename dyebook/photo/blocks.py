"""Blocks of pixels: means over them, and boxes made of whole ones."""

import cv2
import numpy as np

__all__ = ["block_means", "strip_rows", "whole_blocks"]

# rows turned to light at a time: small enough to stay in a core's cache, large enough to hide the call overhead
_STRIP_ROWS = 48


def whole_blocks(box, step, unit):
    """Return a box grown to whole blocks of pixels, and a step near the one wanted that is a whole number of them.

    Parameters
    ----------
    box : (x0, y0, x1, y1)
    step : float
        Exceeded by half a pixel at most, unless it is below a block.
    unit : int
        Side of a block in pixels.

    Returns
    -------
    box : tuple of int
    step : int
    """
    x0, y0, x1, y1 = (int(edge) // unit * unit for edge in (box[0], box[1], box[2] + unit - 1, box[3] + unit - 1))
    return (x0, y0, x1, y1), unit * max(1, int((step + (unit - 1) / 2) / unit))


def strip_rows(step):
    """Return a whole number of blocks' rows that fits a core's cache."""
    return step * max(1, _STRIP_ROWS // step)


def block_means(codes, step, decode, join=False, unit=1.0):
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
