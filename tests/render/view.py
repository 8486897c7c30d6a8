"""From millimetres on the bench to pixels of the picture, and back."""

from dataclasses import dataclass

import numpy as np

__all__ = ["View"]


@dataclass(frozen=True)
class View:
    """A camera above the bench, tilted a little; the bench's origin is the centre of the picture.

    Pixels of the upright picture: x right, y down, (0, 0) the outer corner of the first pixel.
    """

    width: int = 1440
    height: int = 1080
    width_mm: float = 200.0  # what the picture's width covers at its centre
    tilt_deg: float = 8.0
    tilt_azimuth_deg: float = 90.0
    distance_mm: float = 400.0

    def matrix(self):
        """Return the homography (3, 3) from bench millimetres to pixels."""
        tilt, azimuth = np.radians((self.tilt_deg, self.tilt_azimuth_deg))
        turn = np.array([[np.cos(azimuth), -np.sin(azimuth)], [np.sin(azimuth), np.cos(azimuth)]])
        squeeze = turn @ np.diag([np.cos(tilt), 1]) @ turn.T
        depth = np.sin(tilt) / self.distance_mm * np.array([np.cos(azimuth), np.sin(azimuth)])
        plane = np.eye(3)
        plane[:2, :2], plane[2, :2] = squeeze, depth
        scale = self.width / self.width_mm
        return np.array([[scale, 0, self.width / 2], [0, scale, self.height / 2], [0, 0, 1]]) @ plane

    def to_pixels(self, points_mm):
        """Return pixels (..., 2) of bench points (..., 2)."""
        return _apply(self.matrix(), points_mm)

    def to_mm(self, points):
        """Return bench points (..., 2) of pixels (..., 2)."""
        return _apply(np.linalg.inv(self.matrix()), points)

    def px_per_mm(self, point_mm=(0.0, 0.0)):
        """Return the mean scale at a bench point."""
        step = np.array([[0, 0], [0.5, 0], [0, 0.5]]) + np.asarray(point_mm)
        a, b, c = self.to_pixels(step)
        return float(np.sqrt(abs(np.linalg.det(np.stack([b - a, c - a])))) / 0.5)

    def grid(self, box=None, step=1):
        """Return bench x and y, float32 arrays, of the pixel centres of a box (x0, y0, x1, y1)."""
        x0, y0, x1, y1 = box or (0, 0, self.width, self.height)
        inverse = np.linalg.inv(self.matrix())
        # three affine forms of x and y: outer sums are many times faster than a matrix product for each pixel
        px = np.arange(x0, x1, step) + step / 2
        py = np.arange(y0, y1, step) + step / 2
        u, v, w = ((row[0] * px[None, :] + row[1] * py[:, None] + row[2]).astype(np.float32) for row in inverse)
        return u / w, v / w

    def box_around(self, points_mm, margin_px=3):
        """Return the pixel box, cut to the picture, around bench points."""
        points = self.to_pixels(points_mm)
        low = np.floor(points.min(axis=0) - margin_px).astype(int)
        high = np.ceil(points.max(axis=0) + margin_px).astype(int)
        x0, y0 = np.maximum(low, 0)
        x1, y1 = np.minimum(high, (self.width, self.height))
        return int(x0), int(y0), int(max(x1, x0)), int(max(y1, y0))

    def resized(self, width):
        """Return the same view with another width in pixels."""
        return View(
            width,
            round(self.height * width / self.width),
            self.width_mm,
            self.tilt_deg,
            self.tilt_azimuth_deg,
            self.distance_mm,
        )


def _apply(matrix, points):
    points = np.asarray(points, dtype=float)
    moved = points @ matrix[:, :2].T + matrix[:, 2]
    return moved[..., :2] / moved[..., 2:]
