"""The ground around the hail reports of one day: where hail is told of, or of both sides.

A footprint is every place within `reach` of a report, or of the straight line between two
neighbours: reports at most twice the reach apart with no third between them, in the circle over
that line. So reports that are near each other are joined, and the ground between any three of
them is filled; but the whole bends with the reports, where a convex hull would also take in the
bay of a bent swath, in which nobody reported anything. Parts that touch are one part. The reach
is the shop's choice.

Each part is drawn in an azimuthal equidistant projection of its own, centred on its reports, in
metres: distances from the centre are true, others within a thousandth up to 490 km from it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import asin, atan2, cos, degrees, hypot, radians, sin
from typing import TYPE_CHECKING, Any

from hailcalc.problems import InputError, Problem
from hailcalc.reports.ground import Point, distance_m, ellipsoid
from hailcalc.reports.records import Report

if TYPE_CHECKING:
    from pyproj import Proj
    from shapely import Geometry, MultiPolygon, Polygon

REACH_KM = 10
"""How far around a report hail is thought of unless said otherwise: the shop's choice."""

SMALLEST_REACH_KM, LARGEST_REACH_KM = 1, 50

MOST_PLACES = 1000
"""Most places with reports on one day; the busiest days have a few hundred (from memory)."""

FARTHEST_NORTH = 75.0
"""Degrees: nearer to a pole, a part could lie around it."""

WIDEST_KM = 1500
"""Farthest from the centre of its part that a report may be."""

_ARC = 32
"""Pieces of a quarter circle: a circle's area is then short by 0.04 %."""


@dataclass(frozen=True)
class Plane:
    """An azimuthal equidistant projection: degrees to metres east and north of its centre."""

    centre: Point

    @cached_property
    def _projection(self) -> Proj:
        from pyproj import Proj

        lat, lon = self.centre
        return Proj(f"+proj=aeqd +lat_0={lat!r} +lon_0={lon!r} +ellps=WGS84 +units=m +no_defs")

    def metres(self, lat: float, lon: float) -> tuple[float, float]:
        """A point on the ground as metres east and north of the centre."""
        east, north = self._projection(lon, lat)
        return float(east), float(north)

    def point(self, east: float, north: float) -> Point:
        """Metres east and north of the centre as a point on the ground."""
        lon, lat = self._projection(east, north, inverse=True)
        return Point(float(lat), float(lon))

    def degrees(self, metres: Any) -> Any:
        """Many rows of metres as rows of longitude and latitude; across the date line
        longitudes run on beyond 180.
        """
        import numpy as np

        lon, lat = self._projection(metres[:, 0], metres[:, 1], inverse=True)
        middle = self.centre.lon
        return np.stack([middle + (np.asarray(lon) - middle + 180) % 360 - 180, lat], axis=1)


def centre_of(points: Sequence[Point]) -> Point:
    """The middle of some points, on whichever side of the date line they lie."""
    x = sum(cos(radians(p.lat)) * cos(radians(p.lon)) for p in points)
    y = sum(cos(radians(p.lat)) * sin(radians(p.lon)) for p in points)
    z = sum(sin(radians(p.lat)) for p in points)
    length = hypot(x, y, z)
    if len(set(points)) == 1 or length < 1e-9 * len(points):
        return points[0]
    return Point(degrees(asin(max(-1.0, min(1.0, z / length)))), degrees(atan2(y, x)))


@dataclass(frozen=True)
class Part:
    """Reports that lie near each other, and the ground around them in metres of its plane."""

    reports: tuple[Report, ...]
    plane: Plane
    shape: Polygon | MultiPolygon

    def holds(self, point: Point) -> bool:
        """Whether a point lies in the part or on its edge."""
        from shapely import Point as Spot

        return bool(self.shape.covers(Spot(self.plane.metres(*point))))

    def edge_m(self, point: Point) -> float:
        """Metres on the ground from a point to the part's edge, from inside or outside."""
        from shapely import Point as Spot
        from shapely.ops import nearest_points

        edge, _ = nearest_points(self.shape.boundary, Spot(self.plane.metres(*point)))
        return distance_m(point, self.plane.point(edge.x, edge.y))


@dataclass(frozen=True)
class Footprint:
    """The footprint of one day's reports; without parts if there are no reports."""

    reach_km: float
    parts: tuple[Part, ...]

    def part_around(self, point: Point) -> Part | None:
        """The part that a point lies in; None for a point outside."""
        return next((part for part in self.parts if part.holds(point)), None)

    def edge_m(self, point: Point) -> float | None:
        """Metres from a point to the nearest edge; None without parts."""
        around = self.part_around(point)
        parts = self.parts if around is None else (around,)
        return min((part.edge_m(point) for part in parts), default=None)


def footprint(reports: Sequence[Report], reach_km: float = REACH_KM) -> Footprint:
    """The ground around some reports.

    Raises InputError for an unlikely reach, too many places, or reports too far north or strung
    together too far.
    """
    require_reach(reach_km)
    places: dict[Point, list[Report]] = {}
    for report in reports:
        places.setdefault(Point(report.lat, report.lon), []).append(report)
    points = sorted(places)
    _require_drawable(points)
    reach = reach_km * 1000.0
    clusters = [
        _Cluster.of([points[k] for k in members], lines, reach)
        for members, lines in _near_each_other(points, 2 * reach)
    ]
    parts = []
    for group in _touching(clusters):
        found = tuple(report for point in group.points for report in places[point])
        parts.append(Part(found, group.plane, group.shape))
    parts.sort(key=lambda part: (-len(part.reports), part.reports[0].time, part.plane.centre))
    return Footprint(reach_km, tuple(parts))


def require_reach(reach_km: float) -> None:
    """Raise InputError for a reach that nobody can mean."""
    if not SMALLEST_REACH_KM <= reach_km <= LARGEST_REACH_KM:
        expected = f"from {SMALLEST_REACH_KM} to {LARGEST_REACH_KM} km"
        raise InputError([Problem("reach", (), f"{reach_km:g} km", expected)])


def _require_drawable(points: Sequence[Point]) -> None:
    if len(points) > MOST_PLACES:
        found = f"{len(points):,} places with reports on one day"
        raise InputError([Problem("reports", (), found, f"at most {MOST_PLACES:,}")])
    for point in points:
        if abs(point.lat) > FARTHEST_NORTH:
            found = f"a report at latitude {point.lat:g}"
            expected = f"at most {FARTHEST_NORTH:g} degrees north or south for a footprint"
            raise InputError([Problem("reports", (), found, expected)])


Line = tuple[Point, Point]


def _near_each_other(points: Sequence[Point], limit: float) -> list[tuple[list[int], list[Line]]]:
    """Points strung together by steps of at most `limit` metres, and the lines of neighbours."""
    import numpy as np

    if not points:
        return []
    lat, lon = np.array(points, dtype=float).T
    space = _in_space(lat, lon)
    square = np.stack([((space - one) ** 2).sum(axis=1) for one in space])
    steps: list[list[int]] = []
    lines: list[list[int]] = []
    for k in range(len(points)):
        # Straight through the earth two points are never farther apart than on the ground, so
        # that only those within the limit there need measuring on the ellipsoid.
        near = np.flatnonzero(square[k] <= limit**2)
        here = np.full(len(near), k)
        metres = ellipsoid().inv(lon[here], lat[here], lon[near], lat[near])[2]
        near = near[np.asarray(metres) <= limit]
        over_a_third = (square[np.ix_(near, near)] + square[k, near]).min(axis=1)
        steps.append([int(other) for other in near])
        lines.append([int(other) for other in near[over_a_third >= square[k, near]]])
    found = []
    seen: set[int] = set()
    for k in range(len(points)):
        if k in seen:
            continue
        seen.add(k)
        members = [k]
        for member in members:
            fresh = [other for other in steps[member] if other not in seen]
            seen.update(fresh)
            members += fresh
        members.sort()
        drawn = [(points[a], points[b]) for a in members for b in lines[a] if a < b]
        found.append((members, drawn))
    return found


def _in_space(lat: Any, lon: Any) -> Any:
    """Points on the ellipsoid as metres along three axes from the middle of the earth."""
    import numpy as np

    geod = ellipsoid()
    lat, lon = np.radians(lat), np.radians(lon)
    normal = geod.a / np.sqrt(1 - geod.es * np.sin(lat) ** 2)
    return np.stack(
        [
            normal * np.cos(lat) * np.cos(lon),
            normal * np.cos(lat) * np.sin(lon),
            normal * (1 - geod.es) * np.sin(lat),
        ],
        axis=1,
    )


@dataclass(frozen=True)
class _Cluster:
    """Points and the lines between neighbours, drawn in a plane of their own.

    `radius`: metres from the plane's centre within which everything lies.
    """

    points: tuple[Point, ...]
    lines: tuple[Line, ...]
    reach: float
    plane: Plane
    radius: float
    shape: Polygon | MultiPolygon

    @classmethod
    def of(cls, points: Sequence[Point], lines: Sequence[Line], reach: float) -> _Cluster:
        plane = Plane(centre_of(points))
        farthest = max(distance_m(plane.centre, point) for point in points)
        if farthest > WIDEST_KM * 1000:
            found = f"reports strung together up to {farthest / 1000:,.0f} km from their middle"
            expected = f"at most {WIDEST_KM:,} km; a smaller reach joins fewer"
            raise InputError([Problem("reports", (), found, expected)])
        shape = _drawn(points, lines, reach, plane)
        return cls(tuple(points), tuple(lines), reach, plane, farthest + reach, shape)

    def joined(self, other: _Cluster) -> _Cluster:
        """Both, drawn in one plane."""
        return _Cluster.of(sorted(self.points + other.points), self.lines + other.lines, self.reach)

    def touches(self, other: _Cluster) -> bool:
        """Whether the two overlap or share an edge."""
        if distance_m(self.plane.centre, other.plane.centre) > self.radius + other.radius:
            return False
        plane = Plane(centre_of(self.points + other.points))
        shapes = [_drawn(each.points, each.lines, each.reach, plane) for each in (self, other)]
        return bool(shapes[0].intersects(shapes[1]))


def _drawn(
    points: Sequence[Point], lines: Sequence[Line], reach: float, plane: Plane
) -> Polygon | MultiPolygon:
    """The ground within reach of points and lines, metres in the plane."""
    import shapely

    spots = {point: plane.metres(*point) for point in points}
    bones: list[Geometry] = [shapely.LineString([spots[a], spots[b]]) for a, b in lines]
    bones += [shapely.Point(spot) for spot in spots.values()]
    shape = shapely.union_all(shapely.buffer(bones, reach, quad_segs=_ARC))
    assert isinstance(shape, shapely.Polygon | shapely.MultiPolygon)
    return shape


def _touching(clusters: list[_Cluster]) -> list[_Cluster]:
    """Clusters that touch put together: a line of one may pass a report of the other."""
    waiting = list(clusters)
    apart: list[_Cluster] = []
    while waiting:
        one = waiting.pop()
        other = next((each for each in apart if one.touches(each)), None)
        if other is None:
            apart.append(one)
        else:
            apart.remove(other)
            waiting.append(one.joined(other))
    return apart
