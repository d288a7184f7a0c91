"""A panel drawn: its outline, zones hatched, dents to scale in size and place.

`panel_drawing` turns a panel's shape (mm) into marks of a page (points) within a box; the
scale is the panel's own and is printed. Kinds of zone are told apart by their strokes, not
by tone, so that a copy in black and white still shows them: braced is hatched one way,
glue-only both ways, an edge strip is bounded by a broken line, a body line is a line of
dots and dashes. Hatching is worked out here, line by line against the ring's sides, so that
the same panel always gives the same strokes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import cos, pi, sin
from typing import NamedTuple

from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from hailcalc.sheet.layout import INK, CircleMark, Mark, PathMark, RuleMark
from hailcalc.vehicle.shapes import PanelShape, ShapeZone

Point = tuple[float, float]
Ring = Sequence[Point]

ZONE_WORDS: dict[str, str] = {
    "braced": "braced",
    "glue-only": "glue-only",
    "edge": "edge",
    "body-line": "body line",
}
"""What a legend calls the kinds of zone."""

_HATCH_GAP = 3.4
_HATCH_GREY = 0.45
_SMALLEST_RADIUS = 0.7
MAX_DRAWN = 5000
"""Dents drawn on one panel; more would only blacken it, and the sheet says so."""

POINTS_PER_MM = 72 / 25.4
"""Points of a page in a millimetre of it."""


class DrawnDent(NamedTuple):
    """A dent: place and size in mm, and whether it is beyond the matrix's columns."""

    x: float
    y: float
    mm: float
    oversize: bool


@dataclass(frozen=True, slots=True)
class Frame:
    """Where a panel is drawn: mm on the panel to points on the page."""

    left: float
    bottom: float
    scale: float
    x0: float
    y0: float

    def at(self, x: float, y: float) -> Point:
        """A place on the panel as a place on the page."""
        return self.left + (x - self.x0) * self.scale, self.bottom + (y - self.y0) * self.scale

    def ring(self, coordinates: Sequence[Sequence[float]]) -> tuple[Point, ...]:
        """Points of the panel as points of the page."""
        return tuple(self.at(point[0], point[1]) for point in coordinates)

    @property
    def reduction(self) -> float:
        """How many mm of the panel one mm of the paper stands for."""
        return POINTS_PER_MM / self.scale


def frame_for(shape: PanelShape, width: float, height: float) -> tuple[float, float, float]:
    """Scale (points a mm), width and height (points) of a panel that is to fit a box."""
    left, bottom, right, top = shape.outline.bounds
    scale = min(width / (right - left), height / (top - bottom))
    return scale, (right - left) * scale, (top - bottom) * scale


def panel_frame(shape: PanelShape, left: float, bottom: float, scale: float) -> Frame:
    """The frame of a panel whose box has its lower left corner at a place of the page."""
    x0, y0, _, _ = shape.outline.bounds
    return Frame(left, bottom, scale, x0, y0)


def panel_drawing(shape: PanelShape, frame: Frame, dents: Sequence[DrawnDent]) -> Iterator[Mark]:
    """The outline with its zones, and dents on it."""
    yield from outline_marks(shape, frame)
    for dent in dents[:MAX_DRAWN]:
        x, y = frame.at(dent.x, dent.y)
        radius = max(_SMALLEST_RADIUS, dent.mm / 2 * frame.scale)
        yield CircleMark(x, y, radius, 1.1 if dent.oversize else 0.55, INK, 1.0)


_AIR = 3.0
"""Points between a drawing and the texts above and below it that a dent may take."""


def overhang(
    shape: PanelShape, dents: Sequence[DrawnDent], scale: float, stretch: float = 1.0
) -> tuple[float, float]:
    """Points by which dents at the border reach below and above the panel's box, less the air.

    `stretch` is the largest extent of a mark over its dent's radius.
    """
    _, bottom, _, top = shape.outline.bounds
    below = above = 0.0
    for dent in dents:
        radius = max(_SMALLEST_RADIUS, dent.mm / 2 * scale) * stretch
        below = max(below, radius - (dent.y - bottom) * scale)
        above = max(above, radius - (top - dent.y) * scale)
    return max(0.0, below - _AIR), max(0.0, above - _AIR)


def outline_marks(shape: PanelShape, frame: Frame) -> Iterator[Mark]:
    """The outline with its zones hatched."""
    for zone in shape.zones:
        yield from _zone_marks(shape, zone, frame)
    for ring in _rings(shape.outline):
        yield PathMark(frame.ring(ring), 0.9, INK, True)


def _zone_marks(shape: PanelShape, zone: ShapeZone, frame: Frame) -> Iterator[Mark]:
    if zone.kind == "body-line":
        for line in _lines(zone.geometry):
            yield PathMark(frame.ring(line), 0.8, INK, False, None, (5.0, 1.6, 0.9, 1.6))
    elif zone.kind == "edge":
        for ring in _rings(_area(shape, zone)):
            yield PathMark(frame.ring(ring), 0.4, _HATCH_GREY, True, None, (2.0, 1.6))
    else:
        rings = [frame.ring(ring) for ring in _rings(_area(shape, zone))]
        ways = (1,) if zone.kind == "braced" else (1, -1)
        for way in ways:
            for (x, y), (x2, y2) in hatch(rings, _HATCH_GAP, way):
                yield RuleMark(x, y, x2, y2, 0.35, _HATCH_GREY)
        for ring in rings:
            yield PathMark(ring, 0.35, _HATCH_GREY, True)


def _area(shape: PanelShape, zone: ShapeZone) -> BaseGeometry:
    """What is drawn of a zone: an area itself, a strip within the panel, or its inner border."""
    if not zone.reach_mm:
        return zone.geometry
    if zone.kind == "edge" and zone.geometry.equals(shape.outline.boundary):
        return shape.outline.buffer(-zone.reach_mm)
    return zone.geometry.buffer(zone.reach_mm).intersection(shape.outline)


def _rings(geometry: BaseGeometry) -> Iterator[Sequence[Sequence[float]]]:
    """All rings of a polygon or of several, without the closing point."""
    if geometry.is_empty:
        return
    if isinstance(geometry, Polygon):
        yield list(geometry.exterior.coords)[:-1]
        for inner in geometry.interiors:
            yield list(inner.coords)[:-1]
    elif hasattr(geometry, "geoms"):
        for part in geometry.geoms:
            yield from _rings(part)


def _lines(geometry: BaseGeometry) -> Iterator[Sequence[Sequence[float]]]:
    if hasattr(geometry, "geoms"):
        for part in geometry.geoms:
            yield from _lines(part)
    else:
        yield list(geometry.coords)


def hatch(rings: Sequence[Ring], gap: float, way: int) -> Iterator[tuple[Point, Point]]:
    """Strokes at 45° (way 1) or 135° (way -1) inside rings, `gap` apart, even-odd.

    A stroke is the set of points with y − way·x = c. Strokes stand at whole multiples of the
    gap on the page, so those of neighbouring zones meet.
    """
    sides = [(ring[index - 1], ring[index]) for ring in rings for index in range(len(ring))]
    if not sides:
        return
    offsets = [point[1] - way * point[0] for ring in rings for point in ring]
    step = gap * 2**0.5
    number = int(min(offsets) // step) + 1
    while (c := number * step) < max(offsets):
        crossings = sorted(x for side in sides for x in _crossing(side, c, way))
        for x, x2 in zip(crossings[::2], crossings[1::2], strict=False):
            yield (x, c + way * x), (x2, c + way * x2)
        number += 1


def _crossing(side: tuple[Point, Point], c: float, way: int) -> Iterator[float]:
    """Where the line y − way·x = c crosses a side, if it does; an end belongs to one side only."""
    (x, y), (x2, y2) = side
    before, after = y - way * x - c, y2 - way * x2 - c
    if (before <= 0) != (after <= 0):
        yield x + (x2 - x) * before / (before - after)


def legend_marks(x: float, y: float, kind: str) -> Iterator[Mark]:
    """A small swatch of a kind of zone or dent, 16 by 8 points, for the legend."""
    box = ((x, y), (x + 16, y), (x + 16, y + 8), (x, y + 8))
    if kind in ("braced", "glue-only"):
        for way in (1,) if kind == "braced" else (1, -1):
            for (a, b), (c, d) in hatch([box], _HATCH_GAP, way):
                yield RuleMark(a, b, c, d, 0.35, _HATCH_GREY)
        yield PathMark(box, 0.35, _HATCH_GREY, True)
    elif kind == "edge":
        yield PathMark(((x, y + 4), (x + 16, y + 4)), 0.4, _HATCH_GREY, False, None, (2.0, 1.6))
    elif kind == "body-line":
        dash = (5.0, 1.6, 0.9, 1.6)
        yield PathMark(((x, y + 4), (x + 16, y + 4)), 0.8, INK, False, None, dash)
    else:
        yield CircleMark(x + 8, y + 4, 2.4, 1.1 if kind == "oversize" else 0.55, INK, 1.0)


def polygon_points(x: float, y: float, radius: float, corners: int) -> tuple[Point, ...]:
    """A regular polygon standing on a side, for marks told apart by shape."""
    start = pi / 2
    turn = 2 * pi / corners
    return tuple(
        (x + radius * cos(start + turn * k), y + radius * sin(start + turn * k))
        for k in range(corners)
    )
