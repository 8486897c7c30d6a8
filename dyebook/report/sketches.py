"""Sketches of the shapes whose area is added up: side views with their measures, as SVG of our own."""

from html import escape

__all__ = ["draw_shape"]

_WIDTH, _HEIGHT, _MARGIN = 300, 200, 40
_STYLE = 'stroke="#1c1d1f" stroke-width="1.6" fill="#c9cbcf"'
_HOLLOW = 'stroke="#1c1d1f" stroke-width="1.2" stroke-dasharray="5 4" fill="#e9e9e9"'
_MEASURE = 'stroke="#55585e" stroke-width="1" fill="none"'
_TEXT = 'font-family="system-ui, sans-serif" font-size="13" fill="#1c1d1f" text-anchor="middle"'


class _Paper:
    """A drawing in mm, `length` across and `height` up, scaled to fit; y counts down from the top."""

    def __init__(self, length, height):
        self.scale = min((_WIDTH - 2 * _MARGIN) / length, (_HEIGHT - 2 * _MARGIN) / height)
        self.left = (_WIDTH - length * self.scale) / 2
        self.top = (_HEIGHT - height * self.scale) / 2
        self.pieces = []

    def x(self, mm):
        return round(self.left + mm * self.scale, 1)

    def y(self, mm):
        return round(self.top + mm * self.scale, 1)

    def box(self, x, y, length, height, style=_STYLE):
        size = f'width="{max(length * self.scale, 1):.1f}" height="{max(height * self.scale, 1):.1f}"'
        self.pieces.append(f'<rect x="{self.x(x)}" y="{self.y(y)}" {size} {style}/>')

    def path(self, corners, style=_STYLE):
        points = " ".join(f"{self.x(x)},{self.y(y)}" for x, y in corners)
        self.pieces.append(f'<polygon points="{points}" {style}/>')

    def disc(self, x, y, diameter, style=_STYLE):
        self.pieces.append(f'<circle cx="{self.x(x)}" cy="{self.y(y)}" r="{diameter * self.scale / 2:.1f}" {style}/>')

    def across(self, x0, x1, y, text):
        """A measure below the drawing at height `y`, from `x0` to `x1`."""
        line = self.y(y) + 12
        self._measured(self.x(x0), line, self.x(x1), line, (0, 4))
        self.pieces.append(
            f'<text x="{(self.x(x0) + self.x(x1)) / 2:.1f}" y="{line + 17}" {_TEXT}>{escape(text)}</text>'
        )

    def up(self, y0, y1, x, text):
        """A measure beside the drawing at `x`, from `y0` to `y1`."""
        line, middle = self.x(x) - 10, (self.y(y0) + self.y(y1)) / 2
        self._measured(line, self.y(y0), line, self.y(y1), (4, 0))
        turned = f'transform="rotate(-90 {line - 7:.1f} {middle:.1f})"'
        self.pieces.append(f'<text x="{line - 7:.1f}" y="{middle:.1f}" {turned} {_TEXT}>{escape(text)}</text>')

    def _measured(self, x0, y0, x1, y1, tick):
        ends = "".join(f"M{x - tick[0]} {y - tick[1]}L{x + tick[0]} {y + tick[1]}" for x, y in ((x0, y0), (x1, y1)))
        self.pieces.append(f'<path d="M{x0} {y0}L{x1} {y1}{ends}" {_MEASURE}/>')

    def svg(self, name) -> str:
        head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img"'
        return f'{head} aria-label="{escape(name)}">{"".join(self.pieces)}</svg>'


def _mm(value, sign=""):
    return f"{sign}{value:g}"


def _rod(diameter_mm, length_mm, bore_diameter_mm=0.0, bore_depth_mm=0.0):
    paper = _Paper(length_mm, diameter_mm)
    paper.box(0, 0, length_mm, diameter_mm)
    if bore_diameter_mm and bore_depth_mm:
        inset = (diameter_mm - bore_diameter_mm) / 2
        paper.box(length_mm - bore_depth_mm, inset, bore_depth_mm, bore_diameter_mm, _HOLLOW)
    paper.across(0, length_mm, diameter_mm, _mm(length_mm))
    paper.up(0, diameter_mm, 0, _mm(diameter_mm, "⌀ "))
    return paper


def _tube(diameter_mm, inside_diameter_mm, length_mm):
    paper = _Paper(length_mm, diameter_mm)
    paper.box(0, 0, length_mm, diameter_mm)
    paper.box(0, (diameter_mm - inside_diameter_mm) / 2, length_mm, inside_diameter_mm, _HOLLOW)
    paper.across(0, length_mm, diameter_mm, _mm(length_mm))
    paper.up(0, diameter_mm, 0, f"{_mm(diameter_mm, '⌀ ')} / {_mm(inside_diameter_mm)}")
    return paper


def _plate(length_mm, width_mm, thickness_mm, holes=0.0, hole_diameter_mm=0.0):
    paper = _Paper(length_mm, width_mm)
    paper.box(0, 0, length_mm, width_mm)
    for place in range(min(int(holes), 12)):
        x = length_mm * (place + 0.5) / min(int(holes), 12)
        paper.disc(x, width_mm / 2, hole_diameter_mm, _HOLLOW)
    paper.across(0, length_mm, width_mm, f"{_mm(length_mm)}, {_mm(thickness_mm)} thick")
    paper.up(0, width_mm, 0, _mm(width_mm))
    return paper


def _disc_part(diameter_mm, thickness_mm):
    paper = _Paper(diameter_mm, diameter_mm)
    paper.disc(diameter_mm / 2, diameter_mm / 2, diameter_mm)
    paper.across(0, diameter_mm, diameter_mm, f"{_mm(diameter_mm, '⌀ ')}, {_mm(thickness_mm)} thick")
    return paper


def _ring(diameter_mm, section_mm):
    paper = _Paper(diameter_mm, diameter_mm)
    paper.disc(diameter_mm / 2, diameter_mm / 2, diameter_mm)
    paper.disc(diameter_mm / 2, diameter_mm / 2, diameter_mm - 2 * section_mm, _HOLLOW)
    paper.across(0, diameter_mm, diameter_mm, f"{_mm(diameter_mm, '⌀ ')}, wire {_mm(section_mm, '⌀ ')}")
    return paper


def _ball(diameter_mm):
    paper = _Paper(diameter_mm, diameter_mm)
    paper.disc(diameter_mm / 2, diameter_mm / 2, diameter_mm)
    paper.across(0, diameter_mm, diameter_mm, _mm(diameter_mm, "⌀ "))
    return paper


def _cap(diameter_mm, length_mm, wall_mm):
    paper = _Paper(length_mm, diameter_mm)
    paper.box(0, 0, length_mm, diameter_mm)
    paper.box(wall_mm, wall_mm, length_mm - wall_mm, diameter_mm - 2 * wall_mm, _HOLLOW)
    paper.across(0, length_mm, diameter_mm, f"{_mm(length_mm)}, wall {_mm(wall_mm)}")
    paper.up(0, diameter_mm, 0, _mm(diameter_mm, "⌀ "))
    return paper


def _cone(diameter_mm, length_mm, tip_diameter_mm=0.0):
    widest = max(diameter_mm, tip_diameter_mm)
    low, high = (widest - diameter_mm) / 2, (widest - tip_diameter_mm) / 2
    paper = _Paper(length_mm, widest)
    paper.path([(0, low), (length_mm, high), (length_mm, widest - high), (0, widest - low)])
    paper.across(0, length_mm, widest, _mm(length_mm))
    paper.up(low, widest - low, 0, _mm(diameter_mm, "⌀ "))
    return paper


def _turned(profile, bore_diameter_mm=0.0):
    length, widest = sum(step[1] for step in profile), max(step[0] for step in profile)
    paper, x = _Paper(length, widest), 0.0
    for diameter, step in profile:
        paper.box(x, (widest - diameter) / 2, step, diameter)
        x += step
    if bore_diameter_mm:
        paper.box(0, (widest - bore_diameter_mm) / 2, length, bore_diameter_mm, _HOLLOW)
    paper.across(0, length, widest, _mm(length))
    paper.up(0, widest, 0, _mm(widest, "⌀ "))
    return paper


_DRAWN = {
    "rod": _rod,
    "tube": _tube,
    "plate": _plate,
    "disc": _disc_part,
    "ring": _ring,
    "ball": _ball,
    "cap": _cap,
    "cone": _cone,
    "turned": _turned,
}


def draw_shape(kind: str, sizes: dict) -> str:
    """Draw one shape to scale.

    The SVG is empty for a plain area, which has no shape. `kind`: as in `dyebook.physics.area.SHAPES`. `sizes`: its
    measures in mm, as they were accepted there.
    """
    return _DRAWN[kind](**sizes).svg(f"{kind}, side view, measures in mm") if kind in _DRAWN else ""
