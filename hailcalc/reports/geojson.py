"""A footprint as GeoJSON (RFC 7946) and as WKT, in degrees of WGS 84, longitude first.

Coordinates have seven decimals, a centimetre. Rings follow the right-hand rule: outer borders run
anticlockwise. What crosses the date line is cut there (RFC 7946, section 3.1.9). Straight
sides are broken into pieces, since a line that is straight on the ground is none in degrees.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from hailcalc.reports.days import LocalDay
from hailcalc.reports.footprint import Footprint, Part
from hailcalc.reports.ground import ellipsoid
from hailcalc.reports.records import NOTICE, Report
from hailcalc.reports.sizes import size_words

if TYPE_CHECKING:
    from shapely import Polygon

DECIMALS = 7
_PIECE_M = 2000.0


def polygons(part: Part) -> list[Polygon]:
    """A part as polygons in degrees, anticlockwise, cut at the date line."""
    import shapely
    from shapely import affinity

    shape = shapely.transform(shapely.segmentize(part.shape, _PIECE_M), part.plane.degrees)
    whole = getattr(shape, "geoms", [shape])
    found: list[Polygon] = []
    for turn in (-360, 0, 360):
        world = shapely.box(-180 + turn, -90, 180 + turn, 90)
        for one in whole:
            cut = one if world.contains(one) else one.intersection(world)
            moved = affinity.translate(cut, xoff=-turn)
            for piece in getattr(moved, "geoms", [moved]):
                if isinstance(piece, shapely.Polygon) and not piece.is_empty:
                    found.append(_rounded(piece))
    return found


def _rounded(polygon: Polygon) -> Polygon:
    import shapely
    from shapely.geometry.polygon import orient

    sharp = shapely.set_precision(polygon, 10.0**-DECIMALS)
    return orient(sharp, 1.0) if isinstance(sharp, shapely.Polygon) else polygon


def area_km2(found: Iterable[Polygon]) -> float:
    """The area of polygons in degrees on the ellipsoid, square kilometres."""
    return float(sum(ellipsoid().geometry_area_perimeter(each)[0] for each in found) / 1e6)


def multipolygon(found: list[Polygon]) -> dict[str, Any]:
    """Polygons as one GeoJSON geometry."""
    return {
        "type": "MultiPolygon",
        "coordinates": [
            [_ring(ring.coords) for ring in (one.exterior, *one.interiors)] for one in found
        ],
    }


def _ring(coordinates: Any) -> list[list[float]]:
    return [[round(lon, DECIMALS), round(lat, DECIMALS)] for lon, lat in coordinates]


def footprint_geojson(drawn: Footprint, day: LocalDay) -> dict[str, Any]:
    """A footprint and its reports as a FeatureCollection."""
    features: list[dict[str, Any]] = []
    for part in drawn.parts:
        found = polygons(part)
        features.append(
            {
                "type": "Feature",
                "geometry": multipolygon(found),
                "properties": {
                    "kind": "footprint",
                    "reports": len(part.reports),
                    "largest_inches": max(report.hundredths for report in part.reports) / 100,
                    "area_km2": round(area_km2(found), 1),
                },
            }
        )
    features += [_report_feature(report) for part in drawn.parts for report in part.reports]
    return {
        "type": "FeatureCollection",
        "notice": NOTICE,
        "date": day.day.isoformat(),
        "zone": None if day.zone is None else day.zone.key,
        "reach_km": drawn.reach_km,
        "reach_is": "the shop's choice",
        "features": features,
    }


def _report_feature(report: Report) -> dict[str, Any]:
    return {
        "type": "Feature",
        "geometry": {
            "type": "Point",
            "coordinates": [round(report.lon, DECIMALS), round(report.lat, DECIMALS)],
        },
        "properties": {
            "kind": "report",
            "time": report.time.isoformat(),
            "inches": report.hundredths / 100,
            "mm": float(report.mm),
            "size": size_words(report.hundredths),
            "place": report.place_words,
        },
    }


def footprint_wkt(drawn: Footprint) -> str:
    """A footprint as one line of WKT (OGC Simple Features), longitude first."""
    found = [one for part in drawn.parts for one in polygons(part)]
    if not found:
        return "MULTIPOLYGON EMPTY"
    bodies = []
    for one in found:
        rings = [
            "("
            + ", ".join(f"{lon:.{DECIMALS}f} {lat:.{DECIMALS}f}" for lon, lat in ring.coords)
            + ")"
            for ring in (one.exterior, *one.interiors)
        ]
        bodies.append("(" + ", ".join(rings) + ")")
    return "MULTIPOLYGON (" + ", ".join(bodies) + ")"
