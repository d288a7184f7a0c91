"""Counting on the panel a second time: plain, slow, and sharing no geometry with the product.

Holds what the rules say of a dent with a place (which zones mark it, how far off the panel it
lies, which dents stand twice), of sample squares (how a count is scaled to a panel's area), and
of the edges of bands near a count. Input is plain dicts as a JSON reader gives them, and what
comes out are numbers in mm, mm², whole cm² and dents.

The one idea: every coordinate is a whole number of nanometres, so that each comparison is one of
integers and "on the border" is exactly that. A point is in an area by casting a ray, and near a
line by its distance to each of its segments. Only the drawings of the generic outlines are the
product's own, since they are data. Invalid shapes are somebody else's concern.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from fractions import Fraction
from itertools import combinations, islice, pairwise
from math import floor, sqrt
from typing import Any, NamedTuple, cast

from hailcalc.vehicle.outlines import outline as drawn_outline

Table = Mapping[str, Any]
Point = tuple[int, int]
Path = list[Point]

NANOMETRES = 10**6
"""In a millimetre."""


class PlainZone(NamedTuple):
    """An area (rings, the outer one first) or a line (one path); lengths in nanometres."""

    kind: str
    is_area: bool
    paths: list[Path]
    reach: int


class PlainPanel(NamedTuple):
    """An outline, the outer ring first, then its holes; and the zones on it."""

    rings: list[Path]
    zones: list[PlainZone]


def nanometres(mm: Any) -> int:
    """A length as it is written, in whole nanometres; one that is none is refused."""
    value: Fraction = Fraction(str(mm)) * NANOMETRES
    if value.denominator != 1:
        raise ValueError(f"{mm} mm is no whole number of nanometres")
    return value.numerator


# --- shapes -----------------------------------------------------------------------------------


def paths_of(shape: Any) -> list[Path]:
    """The rings of a Polygon or the one path of a LineString, from WKT or GeoJSON."""
    if isinstance(shape, str):
        written = re.findall(r"\(([^()]+)\)", shape)
        return [[point_of(pair.split()) for pair in path.split(",")] for path in written]
    coordinates = shape["coordinates"]
    paths = coordinates if shape["type"] == "Polygon" else [coordinates]
    return [[point_of(pair) for pair in path] for path in paths]


def point_of(pair: Sequence[Any]) -> Point:
    return nanometres(pair[0]), nanometres(pair[1])


def is_polygon(shape: Any) -> bool:
    name = shape if isinstance(shape, str) else shape["type"]
    return str(name).strip().upper().startswith("POLYGON")


def plain_panel(panel: Table, vehicle: Table) -> PlainPanel:
    """A panel's own outline and zones, or the generic ones of the vehicle's body."""
    sizes = (vehicle.get(f"{side}_mm") for side in ("length", "width", "height"))
    drawn = drawn_outline(vehicle["body"], panel["panel"], *sizes)
    own = panel.get("outline")
    if own is None:
        ring = [point_of(point) for point in drawn.ring]
        rings = [[*ring, ring[0]]]
    else:
        rings = paths_of(own)
    if own is not None or panel.get("zones"):
        return PlainPanel(rings, [own_zone(zone, rings) for zone in panel.get("zones") or []])
    zones = []
    for generic in drawn.zones:
        path = [point_of(point) for point in generic.points]
        reach = nanometres(generic.reach_mm)
        if generic.form == "border":
            zones.append(PlainZone(generic.kind, False, rings, reach))
        elif generic.form == "line":
            zones.append(PlainZone(generic.kind, False, [path], reach))
        else:
            zones.append(PlainZone(generic.kind, True, [[*path, path[0]]], 0))
    return PlainPanel(rings, zones)


def own_zone(zone: Table, rings: list[Path]) -> PlainZone:
    reach = nanometres(zone.get("reach_mm") or 0)
    shape = zone.get("shape")
    if shape is None:
        return PlainZone(zone["kind"], False, rings, reach)
    return PlainZone(zone["kind"], is_polygon(shape), paths_of(shape), reach)


def twice_the_area(ring: Path) -> int:
    """Twice what a closed ring encloses, in square nanometres (the shoelace formula)."""
    return abs(sum(x * v - u * y for (x, y), (u, v) in pairwise(ring)))


def area_mm2(rings: Sequence[Path]) -> Fraction:
    """What the outer ring encloses less the holes."""
    outer, *holes = (twice_the_area(ring) for ring in rings)
    return Fraction(outer - sum(holes), 2 * NANOMETRES**2)


# --- where a point lies -----------------------------------------------------------------------


def segments(paths: Sequence[Path]) -> Iterator[tuple[Point, Point]]:
    for path in paths:
        yield from pairwise(path)


def is_on(point: Point, start: Point, end: Point) -> bool:
    """Whether a point lies on a segment, its ends included."""
    (x, y), (a, b), (c, d) = point, start, end
    if (c - a) * (y - b) != (d - b) * (x - a):
        return False
    return min(a, c) <= x <= max(a, c) and min(b, d) <= y <= max(b, d)


def covers(rings: Sequence[Path], point: Point) -> bool:
    """Whether a point is in an area or on its border: a ray to the right meets an odd number."""
    x, y = point
    crossings = 0
    for start, end in segments(rings):
        if is_on(point, start, end):
            return True
        (a, b), (c, d) = (start, end) if start[1] < end[1] else (end, start)
        # A segment has its lower end and not its upper one, so that a corner is met once.
        if b <= y < d and (c - a) * (y - b) > (x - a) * (d - b):
            crossings += 1
    return crossings % 2 == 1


def squared_distance(point: Point, start: Point, end: Point) -> tuple[int, int]:
    """The square of the distance to a segment, as a fraction's two halves."""
    (x, y), (a, b), (c, d) = point, start, end
    along_x, along_y = c - a, d - b
    length = along_x**2 + along_y**2
    reached = (x - a) * along_x + (y - b) * along_y
    if reached <= 0:
        return (x - a) ** 2 + (y - b) ** 2, 1
    if reached >= length:
        return (x - c) ** 2 + (y - d) ** 2, 1
    return (along_x * (y - b) - along_y * (x - a)) ** 2, length


def is_within(point: Point, paths: Sequence[Path], twice_the_reach: int) -> bool:
    """Whether a point is no farther from a line than half of `twice_the_reach`."""
    for start, end in segments(paths):
        above, below = squared_distance(point, start, end)
        if 4 * above <= twice_the_reach**2 * below:
            return True
    return False


def squared_beyond(panel: PlainPanel, point: Point) -> Fraction:
    """The square of how far a point lies off the panel, mm²; 0 on it."""
    if covers(panel.rings, point):
        return Fraction(0)
    nearest = min(Fraction(*squared_distance(point, *ends)) for ends in segments(panel.rings))
    return nearest / NANOMETRES**2


def beyond_mm(panel: PlainPanel, x: Any, y: Any) -> float:
    """How far a place lies off the panel, mm."""
    return sqrt(squared_beyond(panel, point_of((x, y))))


# --- dents with a place -----------------------------------------------------------------------


def size_of(dent: Table) -> Fraction:
    """The longest axis, mm."""
    return max(Fraction(str(dent["mm"])), Fraction(str(dent.get("mm2") or 0)))


def zones_of(panel: PlainPanel, dent: Table) -> set[str]:
    """What the zones of a panel say of one dent."""
    point = on_panel(panel, point_of((dent["x"], dent["y"])))
    size = nanometres(size_of(dent))
    found = set()
    for zone in panel.zones:
        reach = 2 * zone.reach + (size if zone.kind == "body-line" else 0)
        if zone.is_area and covers(zone.paths, point):
            found.add(zone.kind)
        if not zone.is_area and is_within(point, zone.paths, reach):
            found.add(zone.kind)
    return found


def on_panel(panel: PlainPanel, point: Point) -> Point:
    """A place on the panel; for one off it the nearest of its border, as exact fractions."""
    if covers(panel.rings, point):
        return point
    nearest = min(segments(panel.rings), key=lambda ends: Fraction(*squared_distance(point, *ends)))
    (x, y), ((a, b), (c, d)) = point, nearest
    along_x, along_y = c - a, d - b
    share = Fraction((x - a) * along_x + (y - b) * along_y, along_x**2 + along_y**2)
    share = max(Fraction(0), min(Fraction(1), share))
    # Fractions do all that whole numbers do here.
    return cast(Point, (a + share * along_x, b + share * along_y))


def marked_dents(panel: Table, vehicle: Table) -> list[dict[str, Any]]:
    """The dents of a panel, those with a place with the marks of their zones beside their own."""
    dents = panel.get("dents") or []
    if not dents or dents[0].get("x") is None:
        return [dict(dent) for dent in dents]
    shape = plain_panel(panel, vehicle)
    return [
        {**dent, "marks": sorted({*(dent.get("marks") or []), *zones_of(shape, dent)})}
        for dent in dents
    ]


def pairs_marked_twice(dents: Sequence[Table]) -> list[tuple[int, int]]:
    """Positions of dents closer to each other than a quarter of the smaller one's size."""
    placed = [(*point_of((dent["x"], dent["y"])), nanometres(size_of(dent))) for dent in dents]
    return [
        (first, second)
        for (first, (x, y, size)), (second, (u, v, other)) in combinations(enumerate(placed), 2)
        if 16 * ((x - u) ** 2 + (y - v) ** 2) < min(size, other) ** 2
    ]


# --- sample squares ---------------------------------------------------------------------------


class PlainSample(NamedTuple):
    """Counts of a whole panel by coin, and of each coin how many carry a mark."""

    total: int
    tally: dict[str, int]
    marked: dict[str, dict[str, int]]


def nearest(value: Fraction) -> int:
    """The nearest integer to what is never negative; a half goes up."""
    return floor(value + Fraction(1, 2))


def area_over_squares(sample: Table, area: Fraction) -> Fraction:
    """A panel's area, in whole cm², over that of all squares."""
    side = Fraction(str(sample["side_mm"]))
    return Fraction(nearest(area / 100)) / (len(sample["squares"]) * side**2 / 100)


def scaled_sample(sample: Table, area: Fraction, coins: Sequence[str]) -> PlainSample:
    """Squares scaled to an area in mm²; `coins` from the smallest to the largest."""
    factor = area_over_squares(sample, area)
    seen = {
        coin: seen_of(coin, (square["tally"] for square in sample["squares"])) for coin in coins
    }
    total = nearest(sum(seen.values()) * factor)
    tally = by_largest_remainder({coin: seen[coin] * factor for coin in coins}, total)
    marked: dict[str, dict[str, int]] = {}
    for mark in {mark for square in sample["squares"] for mark in square.get("marked") or {}}:
        given = [(square.get("marked") or {}).get(mark) or {} for square in sample["squares"]]
        marked[mark] = {
            coin: min(tally[coin], nearest(seen_of(coin, given) * factor)) for coin in coins
        }
    return PlainSample(total, tally, marked)


def seen_of(coin: str, tallies: Any) -> int:
    return sum(tally.get(coin, 0) for tally in tallies)


def by_largest_remainder(exact: Mapping[str, Fraction], total: int) -> dict[str, int]:
    """Whole numbers that add up to a total: rounded down, then up where most was cut off.

    Where as much was cut off, the one that stands first is rounded up first.
    """
    whole = {name: floor(value) for name, value in exact.items()}
    most_cut_off = sorted(exact, key=lambda name: whole[name] - exact[name])
    for name in most_cut_off[: total - sum(whole.values())]:
        whole[name] += 1
    return whole


def counted_panel(panel: Table, vehicle: Table, coins: Sequence[str]) -> dict[str, Any]:
    """A panel as if every dent on it had been counted and marked by hand."""
    plain = dict(panel)
    if panel.get("sample") is not None:
        area = area_mm2(plain_panel(panel, vehicle).rings)
        scaled = scaled_sample(panel["sample"], area, coins)
        plain |= {"tally": scaled.tally, "marked": scaled.marked}
    plain["dents"] = marked_dents(panel, vehicle)
    return plain


# --- edges of bands ---------------------------------------------------------------------------


class PlainEdge(NamedTuple):
    """So many dents more (or, negative, fewer) in a column, and what the base then is.

    `band` and `base` are None beyond the last count that is priced.
    """

    dents: int
    column: int
    band: tuple[int, int] | None
    base: int | None


def plain_edges(
    counts: Sequence[int], head: Table, grid: Table, base: Callable[[list[int]], int]
) -> list[PlainEdge]:
    """The nearest edge upwards and the nearest downwards, as far as a handful of dents goes.

    `counts` by column; `base` prices a panel with dents given each as its column. A handful is a
    dent in twenty, at least 1 and at most 5.
    """
    found: list[PlainEdge] = []
    most = min(5, max(1, sum(counts) // 20))
    # The size with most dents is told; of two with equally many, the smaller.
    order = sorted(range(len(counts)), key=lambda column: (-counts[column], column))
    for sign in (1, -1):
        reached = (
            edge
            for dents in range(1, most + 1)
            for column in order
            if counts[column] > 0 and counts[column] + sign * dents >= 0
            for edge in edge_at(counts, column, sign * dents, head, grid, base)
        )
        found += islice(reached, 1)
    return found


def edge_at(
    counts: Sequence[int],
    column: int,
    dents: int,
    head: Table,
    grid: Table,
    base: Callable[[list[int]], int],
) -> Iterator[PlainEdge]:
    after = [number + (dents if place == column else 0) for place, number in enumerate(counts)]
    if sum(after) > grid["last"]:
        yield PlainEdge(dents, column, None, None)
        return
    if head["within_band"] == "ramp" or sum(after) == 0:
        return
    before_base, after_base = base(written_out(counts)), base(written_out(after))
    if after_base == before_base:
        return
    for was, now in counts_that_pick_rows(counts, after, head["mixed"]):
        low, high = band_of(grid, was)
        if now > 0 and low < high and band_of(grid, now) != (low, high):
            yield PlainEdge(dents, column, band_of(grid, now), after_base)
            return
    if head["mixed"] == "most" and leading(counts) != leading(after):
        yield PlainEdge(dents, column, band_of(grid, sum(after)), after_base)


def counts_that_pick_rows(
    counts: Sequence[int], after: Sequence[int], mixed: str
) -> list[tuple[int, int]]:
    """Every count that a rule looks up a row with, before and after, where they differ.

    layers: all dents from each size that there is up. each: every size by itself. Otherwise all.
    """
    if mixed == "layers":
        pairs = [
            (sum(counts[place:]), sum(after[place:]))
            for place in range(len(counts))
            if counts[place]
        ]
    elif mixed == "each":
        pairs = list(zip(counts, after, strict=True))
    else:
        pairs = [(sum(counts), sum(after))]
    return [(was, now) for was, now in pairs if was != now]


def band_of(grid: Table, count: int) -> tuple[int, int]:
    low = max(band for band in grid["bands"] if band <= count)
    return low, min((band - 1 for band in grid["bands"] if band > count), default=grid["last"])


def leading(counts: Sequence[int]) -> int:
    """The column with most dents; of two with equally many, the larger."""
    return max(range(len(counts)), key=lambda column: (counts[column], column))


def written_out(counts: Sequence[int]) -> list[int]:
    """Every dent as its column."""
    return [column for column, number in enumerate(counts) for _ in range(number)]
