"""Marks on a panel: which zones each dent is in, which lie off the panel, which stand twice.

Arrays of x, y (mm on the panel) and size (mm, longest axis), one entry a dent. One test
answers for every kind of zone: the distance from the dent's centre to the zone's geometry
against a reach, to which a body line adds the dent's radius. On the border counts, so the
comparison is "at most", with a millionth of a millimetre for the rounding of slanted lines.
Everything runs on whole arrays in shapely; a hundred thousand marks take well under a second.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from hailcalc.vehicle.panels import ZoneKind
from hailcalc.vehicle.shapes import PanelShape

Numbers = NDArray[np.float64]
Flags = NDArray[np.bool_]

MARGIN_MM = 5.0
"""A mark this far beyond the border is taken as on the panel, and noted."""

MAX_PAIRS = 1000
"""Pairs of marks too close to be two dents that are looked for."""

ROUNDING_MM = 1e-6
"""Places are given to the micrometre; what differs less is the rounding of binary fractions."""

_SHORTEST, _LONGEST = 16, 1024
_MANY = 100_000


class Marked(NamedTuple):
    """What the outline says of each dent.

    `beyond` is how far a centre lies off the panel, 0 on it or on its border; `zones` has for
    each kind the dents that it marks, those off the panel as if on the nearest border.
    """

    beyond: Numbers
    zones: dict[ZoneKind, Flags]


def classify(shape: PanelShape, x: Numbers, y: Numbers, size: Numbers) -> Marked:
    """Hold marks against an outline and its zones. Arrays of one length, mm."""
    x, y, beyond = onto_panel(shape, x, y)
    points = _points(x, y)
    zones: dict[ZoneKind, Flags] = {}
    for zone in shape.zones:
        shapely.prepare(zone.geometry)
        inside: Flags
        if zone.kind == "body-line":
            reach = zone.reach_mm + size / 2
            inside = shapely.distance(zone.geometry, points) <= reach + ROUNDING_MM
        else:
            reach_mm = zone.reach_mm + ROUNDING_MM
            inside = np.asarray(shapely.dwithin(zone.geometry, points, reach_mm))
        zones[zone.kind] = zones[zone.kind] | inside if zone.kind in zones else inside
    return Marked(beyond, zones)


def onto_panel(shape: PanelShape, x: Numbers, y: Numbers) -> tuple[Numbers, Numbers, Numbers]:
    """Places with those off the panel moved to the nearest point of its border.

    Returns x, y and how far each was off, mm; 0 on the panel or its border.
    """
    shapely.prepare(shape.outline)
    beyond = np.zeros(len(x))
    outside = np.flatnonzero(~shapely.intersects_xy(shape.outline, x, y))
    if not len(outside):
        return x, y, beyond
    x, y = x.copy(), y.copy()
    off = _points(x[outside], y[outside])
    beyond[outside] = shapely.distance(shape.outline, off)
    beyond[beyond <= ROUNDING_MM] = 0
    nearest = shapely.get_point(shapely.shortest_line(off, shape.outline), 1)
    x[outside], y[outside] = shapely.get_x(nearest), shapely.get_y(nearest)
    return x, y, beyond


def _points(x: Numbers, y: Numbers) -> NDArray[np.object_]:
    points: NDArray[np.object_] = np.asarray(shapely.points(x, y))
    return points


def zone_marks(marked: Marked) -> list[tuple[ZoneKind, ...]]:
    """For each dent the kinds of zone that it is in, kinds in the outline's order."""
    kinds = list(marked.zones)
    if not kinds:
        return [()] * len(marked.beyond)
    codes = sum(marked.zones[kind].astype(np.int64) << bit for bit, kind in enumerate(kinds))
    named = [
        tuple(kind for bit, kind in enumerate(kinds) if code >> bit & 1)
        for code in range(1 << len(kinds))
    ]
    return [named[code] for code in np.asarray(codes).tolist()]


def marked_twice(x: Numbers, y: Numbers, size: Numbers) -> tuple[list[tuple[int, int]], bool]:
    """Pairs of dents closer than a quarter of the smaller size, and whether there are more.

    Pairs of positions in the arrays, ascending, at most `MAX_PAIRS` of them.
    """
    pairs: list[tuple[int, int]] = []
    if len(x) < 2:
        return pairs, False
    tree = shapely.STRtree(_points(x, y))
    start, length = 0, _SHORTEST
    while start < len(x):
        chunk = slice(start, start + length)
        # Not farther than a quarter of its own size is a quarter of the smaller one or more.
        own, other = tree.query(tree.geometries[chunk], "dwithin", size[chunk] / 4)
        # Where dents lie on one another a long chunk would have too many neighbours to hold.
        length = min(2 * length, _LONGEST) if len(own) < _MANY else _SHORTEST
        own = own + start
        start = chunk.stop
        later = own < other
        own, other = own[later], other[later]
        apart = np.hypot(x[own] - x[other], y[own] - y[other])
        close = apart < np.minimum(size[own], size[other]) / 4 - ROUNDING_MM
        own, other = own[close], other[close]
        first = np.lexsort((other, own))[: MAX_PAIRS - len(pairs) + 1]
        pairs += zip(own[first].tolist(), other[first].tolist(), strict=True)
        if len(pairs) > MAX_PAIRS:
            return pairs[:MAX_PAIRS], True
    return pairs, False


def as_arrays(dents: Sequence[tuple[float, float, float]]) -> tuple[Numbers, Numbers, Numbers]:
    """Dents as (x, y, size) in three arrays."""
    if not dents:
        return np.zeros(0), np.zeros(0), np.zeros(0)
    columns = np.asarray(dents, dtype=np.float64).T
    return columns[0], columns[1], columns[2]
