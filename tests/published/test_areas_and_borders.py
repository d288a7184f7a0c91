"""Areas and borders of outlines against what geometry itself says.

Areas: school formulas (rectangle, triangle, the regular polygon's n·r²·sin(2π/n)/2) and Pick's
theorem (G. Pick 1899, "Geometrisches zur Zahlenlehre"), which counts the points of a grid.

Borders: OGC 06-103r4, Simple Features part 1, clause 6.1.15 (from memory): `covers` and
`intersects` hold for a point on the boundary of a polygon, `contains` and `within` do not; the
boundary is the exterior ring and the rings of the holes. The product takes a dent on the border
of a zone as in it, so it must agree with `covers` and not with `contains`.
"""

from __future__ import annotations

from fractions import Fraction
from math import pi, sin

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Point, Polygon

from hailcalc.counting.marks import classify
from hailcalc.vehicle.shapes import PanelShape, ShapeZone, ZoneSource, own_shape
from tests.effort import examples
from tests.plain_counting import PlainPanel, area_mm2, beyond_mm, covers, point_of

Ring = list[tuple[float, float]]

RECTANGLE: Ring = [(0, 0), (1500, 0), (1500, 1200), (0, 1200)]
TRIANGLE: Ring = [(0, 0), (1000, 0), (300, 700)]
L_SHAPE: Ring = [(0, 0), (1000, 0), (1000, 200), (300, 200), (300, 900), (0, 900)]
HOLE: Ring = [(100, 100), (100, 300), (400, 300), (400, 100)]


def wkt(*rings: Ring) -> str:
    paths = (", ".join(f"{x!r} {y!r}" for x, y in [*ring, ring[0]]) for ring in rings)
    return "POLYGON (" + ", ".join(f"({path})" for path in paths) + ")"


def own(*rings: Ring) -> PanelShape:
    shape, problems = own_shape(wkt(*rings), (), None, (), "claim")
    assert problems == []
    assert shape is not None
    return shape


def plain(*rings: Ring) -> list[list[tuple[int, int]]]:
    return [[point_of(point) for point in [*ring, ring[0]]] for ring in rings]


# --- areas ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rings", "area"),
    [
        # 1500 × 1200
        ([RECTANGLE], 1_800_000),
        # 1000 × 700 / 2
        ([TRIANGLE], 350_000),
        # 1000 × 200 + 300 × 700
        ([L_SHAPE], 410_000),
        # 1500 × 1200 − 300 × 200
        ([RECTANGLE, HOLE], 1_740_000),
        # either way round
        ([RECTANGLE[::-1], HOLE[::-1]], 1_740_000),
        # a quarter of a millimetre each way: 100.25 × 200.75
        ([[(0, 0), (100.25, 0), (100.25, 200.75), (0, 200.75)]], Fraction(2012518750, 100_000)),
    ],
)
def test_areas_by_school_formulas(rings: list[Ring], area: Fraction) -> None:
    assert own(*rings).area_mm2 == area
    assert area_mm2(plain(*rings)) == area


@pytest.mark.parametrize("corners", [3, 4, 6, 12, 360])
def test_a_regular_polygon_has_the_area_of_its_formula(corners: int) -> None:
    radius = 700.0
    turn = 2 * np.pi * np.arange(corners) / corners
    ring = list(
        zip((radius * np.cos(turn)).tolist(), (radius * np.sin(turn)).tolist(), strict=True)
    )
    expected = corners * radius**2 * sin(2 * pi / corners) / 2
    assert float(own(ring).area_mm2) == pytest.approx(expected, rel=1e-12)
    # No more than its circle, and with 360 corners nearly that.
    assert expected < pi * radius**2
    if corners == 360:
        assert expected == pytest.approx(pi * radius**2, rel=1e-4)


@settings(max_examples=examples(100))
@given(
    st.lists(st.tuples(st.integers(0, 12), st.integers(0, 12)), min_size=3, max_size=6, unique=True)
)
def test_an_area_agrees_with_picks_theorem(corners: list[tuple[int, int]]) -> None:
    """Points inside, and half of those on the border, less one; classified by the product."""
    outline = Polygon(corners)
    assume(outline.is_valid and outline.area > 0)
    shape = PanelShape(outline, (ShapeZone("braced", outline.boundary, 1e-9),), False)
    grid = np.array([(x, y) for x in range(13) for y in range(13)], dtype=float).T
    found = classify(shape, grid[0], grid[1], np.ones(grid.shape[1]))
    on_border = int((found.zones["braced"] & (found.beyond == 0)).sum())
    inside = int((found.beyond == 0).sum()) - on_border
    assert outline.area == inside + on_border / 2 - 1


# --- borders ----------------------------------------------------------------------------------


def is_in(zone: Polygon, x: float, y: float) -> bool:
    """Whether the product puts a dent into an area zone."""
    panel = Polygon([(-5000, -5000), (5000, -5000), (5000, 5000), (-5000, 5000)])
    shape = PanelShape(panel, (ShapeZone("braced", zone, 0.0),), False)
    numbers = (np.array([value], dtype=float) for value in (x, y, 12))
    return bool(classify(shape, *numbers).zones["braced"][0])


HAIR = 1e-9
"""A millionth of a micrometre."""


@pytest.mark.parametrize(
    ("x", "y", "covered", "contained"),
    [
        pytest.param(500, 600, True, True, id="inside"),
        pytest.param(0, 600, True, False, id="on an edge"),
        pytest.param(750, 1200, True, False, id="on the upper edge"),
        pytest.param(0, 0, True, False, id="on a corner"),
        pytest.param(1500, 1200, True, False, id="on the far corner"),
        pytest.param(200, 200, False, False, id="in the hole"),
        pytest.param(100, 200, True, False, id="on the edge of the hole"),
        pytest.param(400, 300, True, False, id="on a corner of the hole"),
        pytest.param(-0.001, 600, False, False, id="a micrometre outside"),
        pytest.param(100.001, 200, False, False, id="a micrometre into the hole"),
        pytest.param(2000, 600, False, False, id="outside"),
    ],
)
def test_a_dent_on_a_border_is_covered_and_not_contained(
    x: float, y: float, covered: bool, contained: bool
) -> None:
    pierced = Polygon(RECTANGLE, [HOLE])
    assert shapely.covers(pierced, Point(x, y)) == covered
    assert shapely.contains(pierced, Point(x, y)) == contained
    assert is_in(pierced, x, y) == covered
    assert covers(plain(RECTANGLE, HOLE), point_of((x, y))) == covered


def test_the_relation_of_a_point_to_a_polygon_in_nine_letters() -> None:
    """DE-9IM (from memory): inside, on the border, outside; only the first two meet it."""
    rectangle = Polygon(RECTANGLE)
    relations = [
        shapely.relate(Point(x, y), rectangle) for x, y in [(500, 600), (0, 600), (-1, 600)]
    ]
    assert relations == ["0FFFFF212", "F0FFFF212", "FF0FFF212"]
    assert [is_in(rectangle, x, y) for x, y in [(500, 600), (0, 600), (-1, 600)]] == [
        True,
        True,
        False,
    ]


def test_a_dent_a_hair_outside_is_outside_or_within_the_rounding_of_its_place() -> None:
    """A hair is less than the millionth of a millimetre that is left for rounding."""
    shape = PanelShape(Polygon(RECTANGLE), (), False)
    beyond = [
        float(classify(shape, np.array([x]), np.array([600.0]), np.array([12.0])).beyond[0])
        for x in (0.0, HAIR, -HAIR, -0.5)
    ]
    assert beyond == pytest.approx([0, 0, 0, 0.5], abs=1e-6)


@settings(max_examples=examples(200))
@given(
    st.lists(
        st.tuples(st.integers(0, 30), st.integers(0, 30)), min_size=3, max_size=7, unique=True
    ),
    st.integers(0, 60),
    st.integers(0, 60),
)
def test_classifying_agrees_with_covers_and_distance_and_with_plain_counting(
    corners: list[tuple[int, int]], twice_x: int, twice_y: int
) -> None:
    """Places in halves of a millimetre about a small polygon: many are on its very border."""
    outline = Polygon(corners)
    assume(outline.is_valid and outline.area > 0)
    x, y = twice_x / 2, twice_y / 2
    there = Point(x, y)
    zones = (ShapeZone("braced", outline, 0.0), ShapeZone("edge", outline.boundary, 2.0))
    numbers = (np.array([value], dtype=float) for value in (x, y, 12))
    found = classify(PanelShape(outline, zones, False), *numbers)
    rings = plain([(float(a), float(b)) for a, b in corners])
    on = bool(found.beyond[0] == 0)
    assert on == shapely.covers(outline, there) == covers(rings, point_of((x, y)))
    # A place off the panel counts as the nearest on its border: in the zone, and at the edge.
    assert found.zones["braced"][0]
    near = shapely.distance(outline.boundary, there) <= 2 + 1e-6
    assert bool(found.zones["edge"][0]) == (near or not on)
    assert float(found.beyond[0]) == pytest.approx(shapely.distance(outline, there))
    assert float(found.beyond[0]) == pytest.approx(beyond_mm(PlainPanel(rings, []), x, y))


def test_a_body_line_of_the_3_4_5_triangle() -> None:
    """A slope of 3 in 4: the place 4 down and 3 along from a point of it is 5 away."""
    panel = Polygon(RECTANGLE)
    line = LineString([(0, 0), (1200, 900)])
    shape = PanelShape(panel, (ShapeZone("body-line", line, 0.0),), False)
    x, y = np.array([403.0, 403.0, 403.0]), np.array([296.0, 296.0, 296.0])
    # 403, 296 is 3 along and 4 down from 400, 300: a dent of 10 mm reaches it, of 9.99 does not.
    found = classify(shape, x, y, np.array([10.0, 9.99, 12.0]))
    assert found.zones["body-line"].tolist() == [True, False, True]


def test_a_zone_source_is_read_as_its_shape() -> None:
    source = ZoneSource("braced", wkt(TRIANGLE), 0.0)
    shape, problems = own_shape(wkt(RECTANGLE), [source], None, (), "claim")
    assert problems == []
    assert shape is not None
    assert shape.zones[0].geometry.equals(Polygon(TRIANGLE))
