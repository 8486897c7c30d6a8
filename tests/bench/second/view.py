"""A pinhole camera above a table: millimetres on the table (x right, y down, z up to the camera) to pixels."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class View:
    """Where the camera stands; `axes` rows are right, down, forward in table coordinates."""

    eye: np.ndarray
    axes: np.ndarray
    focal_px: float
    size: tuple

    def project(self, points):
        """Return pixels (N, 2) of table points (N, 3)."""
        seen = (np.asarray(points, dtype=float) - self.eye) @ self.axes.T
        return self.focal_px * seen[:, :2] / seen[:, 2:] + np.array(self.size) / 2

    def flat(self, points):
        """Return pixels of points on the table itself, (N, 2) to (N, 2)."""
        points = np.asarray(points, dtype=float)
        return self.project(np.column_stack([points, np.zeros(len(points))]))

    def rays(self, x, y):
        """Return unit directions (N, 3), float32, from the eye through pixels."""
        local = np.column_stack([x - self.size[0] / 2, y - self.size[1] / 2, np.full(len(x), self.focal_px)])
        rays = local @ self.axes
        return (rays / np.linalg.norm(rays, axis=1, keepdims=True)).astype(np.float32)

    def footprint(self):
        """Return where the frame's corners (TL, TR, BR, BL) meet the table, (4, 2) in mm."""
        w, h = self.size
        rays = self.rays(np.array([0.0, w, w, 0]), np.array([0.0, 0, h, h])).astype(float)
        return (self.eye + rays * (-self.eye[2] / rays[:, 2])[:, None])[:, :2]

    def homography(self):
        """Return the 3 x 3 matrix from table mm (x, y, 1) to pixels."""
        w, h = self.size
        lens = np.array([[self.focal_px, 0, w / 2], [0, self.focal_px, h / 2], [0, 0, 1.0]])
        return lens @ np.column_stack([self.axes[:, 0], self.axes[:, 1], -self.axes @ self.eye])


def look(size, width_mm, tilt_deg=0.0, azimuth_deg=0.0, roll_deg=0.0, field_deg=60.0):
    """Return a view centred on the table's origin whose middle row spans about `width_mm`."""
    focal = size[0] / 2 / np.tan(np.radians(field_deg) / 2)
    tilt, azimuth, roll = np.radians([tilt_deg, azimuth_deg, roll_deg])
    back = np.array([np.sin(tilt) * np.cos(azimuth), np.sin(tilt) * np.sin(azimuth), np.cos(tilt)])
    forward = -back
    guess = np.array([np.cos(roll), np.sin(roll), 0.0])
    right = guess - forward * (guess @ forward)
    right /= np.linalg.norm(right)
    down = np.cross(right, forward)  # the table's y points down, so its frame is left-handed
    down = down if down[1] * right[0] - down[0] * right[1] > 0 else -down
    return View(back * width_mm * focal / size[0], np.array([right, down, forward]), focal, tuple(size))
