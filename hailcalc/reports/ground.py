"""Distances and directions on the ground: geodesics on the ellipsoid of WGS 84.

Degrees in, metres out. The ellipsoid of WGS 84 differs from GRS 80 by a tenth of a millimetre
in its smaller axis, so figures for either hold for both to the millimetre.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from pyproj import Geod

_WINDS = (
    "N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE",
    "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW",
)  # fmt: skip


class Point(NamedTuple):
    """A point on the ground, WGS 84 degrees."""

    lat: float
    lon: float


@cache
def ellipsoid() -> Geod:
    """The ellipsoid on which everything is measured."""
    from pyproj import Geod

    return Geod(ellps="WGS84")


def distance_m(a: Point, b: Point) -> float:
    """Metres from `a` to `b`, the shortest way on the ellipsoid."""
    return way(a, b)[0]


def way(a: Point, b: Point) -> tuple[float, float]:
    """Metres from `a` to `b`, and the direction in which one sets out: degrees from north."""
    azimuth, _, metres = ellipsoid().inv(a.lon, a.lat, b.lon, b.lat)
    return float(metres), float(azimuth) % 360


def wind(azimuth: float) -> str:
    """A direction as one of sixteen points of the compass."""
    return _WINDS[round(azimuth / 22.5) % 16]
