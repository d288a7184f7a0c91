"""Outlines and zones as shapes: the generic ones, and a shop's own as WKT or GeoJSON.

Millimetres on the panel (see `outlines` for the frame). A `PanelShape` is what marks are
classified against: the outline and, for each zone, a geometry with a reach. A zone is an
area (a dent counts if its centre lies in it or on its border), a line with a reach, or the
outline's own border with a reach; so one test, the distance to a geometry compared with a
reach, answers for all kinds.

What can be wrong with a shop's own shape is said here, each with its place: another kind of
geometry, nothing in it, borders that cross, a zone beyond the outline, and coordinates that
are degrees or metres.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import shapely
from shapely.errors import ShapelyError
from shapely.geometry import LineString, Polygon, shape
from shapely.geometry.base import BaseGeometry

from hailcalc.problems import Place, Problem, shown
from hailcalc.vehicle.panels import ZoneKind

if TYPE_CHECKING:
    from hailcalc.vehicle.outlines import Outline

SMALLEST_MM = 100.0
"""No outer panel is shorter; a shape that is has its coordinates in another unit."""

LARGEST_MM = 10_000.0
"""No outer panel is longer."""

NARROWEST_MM = 10.0
"""No outer panel is narrower."""

MAX_POINTS = 5_000
"""Points of one shape; and of all zones of a panel four times as many."""

_GEOMETRIES = {
    name.upper(): name
    for name in (
        "Point", "LineString", "Polygon", "MultiPoint", "MultiLineString", "MultiPolygon",
        "GeometryCollection",
    )
}  # fmt: skip
_WORD = re.compile(r"\s*([A-Za-z]+)")

_TOLERANCE_MM = 0.001
"""How far a zone may pass the outline: the rounding of its own coordinates."""


class ShapeZone(NamedTuple):
    """A zone: dents no farther than `reach_mm` from `geometry` are in it.

    An area has a reach of 0. For a body line the dent's radius comes on top of the reach.
    """

    kind: ZoneKind
    geometry: BaseGeometry
    reach_mm: float


class PanelShape(NamedTuple):
    """A panel's outline with its zones; `generic` unless the outline is the shop's own."""

    outline: Polygon
    zones: tuple[ShapeZone, ...]
    generic: bool

    @property
    def area_mm2(self) -> Fraction:
        """The outline's area as the exact value of the double that shapely computes."""
        return Fraction(self.outline.area)


class ZoneSource(NamedTuple):
    """A zone as a file gives it: its kind, WKT or GeoJSON (None: the border), and its reach."""

    kind: ZoneKind
    shape: Any
    reach_mm: float


def generic_shape(outline: Outline) -> PanelShape:
    """A generic outline as shapes."""
    ring = Polygon(outline.ring)
    zones: list[ShapeZone] = []
    for zone in outline.zones:
        geometry: BaseGeometry
        if zone.form == "border":
            geometry = ring.boundary
        elif zone.form == "line":
            geometry = LineString(zone.points)
        else:
            geometry = Polygon(zone.points)
        zones.append(ShapeZone(zone.kind, geometry, float(zone.reach_mm)))
    return PanelShape(ring, tuple(zones), True)


def own_shape(
    given: Any, zones: Sequence[ZoneSource], generic: PanelShape | None, where: Place, file: str
) -> tuple[PanelShape | None, list[Problem]]:
    """A shop's own outline and zones, or None and every mistake in them.

    `given` is WKT or a GeoJSON geometry; None takes the generic outline and only the zones
    are the shop's own.
    """
    problems: list[Problem] = []
    outline: Polygon | None = None
    if given is None:
        outline = generic.outline if generic is not None else None
    else:
        geometry, found = _read(given, (*where, "outline"), file, ("Polygon",))
        problems += found
        if geometry is not None:
            problems += _unit_problems(geometry, (*where, "outline"), file)
            outline = geometry
    if outline is None:
        return None, problems
    kept: list[ShapeZone] = []
    sound = not problems
    points = 0
    for position, zone in enumerate(zones):
        place = (*where, "zones", position)
        shaped, found = _zone(zone, outline if sound else None, place, file)
        problems += found
        if shaped is not None:
            kept.append(shaped)
            points += int(shapely.get_num_coordinates(shaped.geometry))
    if points > 4 * MAX_POINTS:
        found_points = f"{points:,} points in all zones"
        problems.append(
            Problem(file, (*where, "zones"), found_points, f"at most {4 * MAX_POINTS:,}")
        )
    if problems:
        return None, problems
    return PanelShape(outline, tuple(kept), given is None), []


def _zone(
    zone: ZoneSource, outline: Polygon | None, where: Place, file: str
) -> tuple[ShapeZone | None, list[Problem]]:
    if zone.shape is None:
        if zone.kind != "edge":
            expected = f"the shape of a {zone.kind} zone; only an edge may follow the border"
            return None, [Problem(file, (*where, "shape"), "nothing", expected)]
        if zone.reach_mm <= 0:
            return None, [_no_reach(where, file)]
        if outline is None:
            return None, []
        return ShapeZone(zone.kind, outline.boundary, zone.reach_mm), []
    kinds = ("LineString",) if zone.kind == "body-line" else ("Polygon", "LineString")
    geometry, problems = _read(zone.shape, (*where, "shape"), file, kinds)
    if geometry is None:
        return None, problems
    if zone.kind != "body-line" and geometry.geom_type == "LineString" and zone.reach_mm <= 0:
        problems.append(_no_reach(where, file))
    if looks_like_degrees(*geometry.bounds):
        found = f"a zone near {geometry.bounds[0]:.6g}, {geometry.bounds[1]:.6g}, "
        found += "which looks like degrees"
        problems.append(Problem(file, (*where, "shape"), found, "millimetres on the panel"))
    elif outline is not None and (beyond := _beyond(geometry, outline)) > _TOLERANCE_MM:
        found = f"a zone that reaches {beyond:.1f} mm beyond the outline"
        problems.append(Problem(file, (*where, "shape"), found, "a zone within its panel"))
    return ShapeZone(zone.kind, geometry, zone.reach_mm), problems


def _no_reach(where: Place, file: str) -> Problem:
    return Problem(file, (*where, "reach_mm"), "0", "a reach in mm: a line or a border has no area")


def _beyond(geometry: BaseGeometry, outline: Polygon) -> float:
    """How far a shape reaches beyond an outline, mm."""
    outside = shapely.difference(geometry, outline)
    if outside.is_empty:
        return 0.0
    # Fine enough to see across a hole, and never more than some thousand points.
    step = max(1.0, outside.length / 2000)
    points = shapely.points(shapely.get_coordinates(shapely.segmentize(outside, step)))
    farthest = float(shapely.distance(points, outline).max())
    for part in shapely.get_parts(outside):
        if isinstance(part, Polygon):
            # A part that fills a hole has all its border on the outline and its depth inside.
            farthest = max(farthest, widest_circle_mm(part) / 2)
    return farthest


def widest_circle_mm(area: Polygon) -> float:
    """Diameter of the widest circle that fits within a polygon."""
    circle = shapely.maximum_inscribed_circle(area, max(0.1, area.length / 10_000))
    return 2 * float(shapely.length(circle))


def _read(given: Any, where: Place, file: str, kinds: Sequence[str]) -> tuple[Any, list[Problem]]:
    """A geometry of one of `kinds`, or None and what is wrong with it."""
    expected = " or ".join(kind.upper() if isinstance(given, str) else kind for kind in kinds)
    word = _WORD.match(given) if isinstance(given, str) else None
    named = _GEOMETRIES.get(word[1].upper()) if word is not None else None
    if named is not None and named not in kinds:
        # Not even parsed: a collection could be nested without end.
        return None, [Problem(file, where, f"a {named}", f"a {expected}")]
    try:
        geometry = _parsed(given)
    except (ShapelyError, ValueError, TypeError, IndexError):
        # What the library says of it are words of its own code.
        if isinstance(given, str):
            return None, [Problem(file, where, shown(given), f"WKT of a {expected}")]
        found = f"a {given['type']} with too few points"
        return None, [Problem(file, where, found, f"a GeoJSON {expected}")]
    if geometry.geom_type not in kinds:
        return None, [Problem(file, where, f"a {geometry.geom_type}", f"a {expected}")]
    return _sound(geometry, where, file)


def _parsed(given: Any) -> Any:
    if isinstance(given, str):
        with np.errstate(
            over="ignore", invalid="ignore"
        ):  # beyond all doubles is infinite, which is refused
            return shapely.from_wkt(given)
    return shape(given)


def _sound(geometry: Any, where: Place, file: str) -> tuple[Any, list[Problem]]:
    """The geometry if it is finite, not empty and does not cross itself."""
    name = geometry.geom_type

    def wrong(found: str, expected: str) -> tuple[None, list[Problem]]:
        return None, [Problem(file, where, found, expected)]

    if geometry.is_empty:
        return wrong(f"an empty {name}", "a shape with points")
    if shapely.has_z(geometry) or shapely.has_m(geometry):
        return wrong("three coordinates a point", "two, x and y in mm")
    if not all(abs(number) < 1e9 for number in shapely.get_coordinates(geometry).flat):
        return wrong("a coordinate that is no number, or without measure", "millimetres")
    if shapely.get_num_coordinates(geometry) > MAX_POINTS:
        return wrong(
            f"{shapely.get_num_coordinates(geometry):,} points", f"at most {MAX_POINTS:,} points"
        )
    if name == "LineString" and geometry.length == 0:
        return wrong("a line without length", "a line from point to point")
    if not geometry.is_valid:
        reason = shapely.is_valid_reason(geometry)
        return wrong(shown(_lower(reason), 120), "an outline that does not cross or touch itself")
    return geometry, []


def _lower(text: str) -> str:
    """Self-intersection[3 4] as words: self-intersection at 3 4."""
    return (text[:1].lower() + text[1:]).replace("[", " at ").replace("]", "")


def _unit_problems(outline: Polygon, where: Place, file: str) -> Iterator[Problem]:
    """An outline too small or too large for a panel: its coordinates are in another unit."""
    left, bottom, right, top = outline.bounds
    width, height = right - left, top - bottom
    extent = max(width, height)
    size = f"an outline of {width:.6g} by {height:.6g}"
    if extent < SMALLEST_MM:
        tiny = looks_like_degrees(left, bottom, right, top)
        unit = "degrees" if tiny else "degrees, metres or inches"
        expected = f"millimetres on the panel, which is at least {SMALLEST_MM:.0f} mm long"
        yield Problem(file, where, f"{size}, which looks like {unit}", expected)
    elif min(width, height) < NARROWEST_MM:
        expected = f"a panel at least {NARROWEST_MM:.0f} mm wide"
        yield Problem(file, where, size, expected)
    elif extent > LARGEST_MM:
        expected = f"millimetres on the panel, which is at most {LARGEST_MM:.0f} mm long"
        yield Problem(file, where, size, expected)


def looks_like_degrees(left: float, bottom: float, right: float, top: float) -> bool:
    """Whether a box could be a vehicle on the globe: within its degrees, and tiny there."""
    on_globe = left >= -180 and right <= 180 and bottom >= -90 and top <= 90
    return on_globe and max(right - left, top - bottom) < 0.05
