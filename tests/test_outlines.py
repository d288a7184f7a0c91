"""Generic outlines: every body has its panels, each is a sound shape of a plausible size."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from itertools import pairwise, product
from math import gcd

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import union_all
from shapely.geometry import LineString, Polygon

from hailcalc.vehicle import BODIES, PANELS, PANELS_OF_BODY
from hailcalc.vehicle.outlines import (
    AREA_RANGES,
    TYPICAL_SIZE,
    Outline,
    Point,
    Size,
    Zone,
    area_mm2,
    area_range,
    outline,
)
from tests.effort import examples

ALL = [(body, panel) for body in BODIES for panel in PANELS if panel in PANELS_OF_BODY[body]]
ON_THE_RIGHT = {panel: panel[:-1] + "r" for panel in PANELS if "-" in panel and panel.endswith("l")}
LIDS_FROM_ABOVE = {"hood", "roof", "decklid"}
LIDS = LIDS_FROM_ABOVE | {"liftgate", "tailgate"}
SMALLEST, LARGEST = Size(2000, 1000, 900), Size(9000, 2600, 3500)
"""The overall sizes between which a claim's vehicle lies."""

every_panel = pytest.mark.parametrize(("body", "panel"), ALL)


def shape_of(drawn: Outline) -> Polygon:
    return Polygon(drawn.ring)


def laid(zone: Zone) -> Polygon | LineString:
    return Polygon(zone.points) if zone.form == "area" else LineString(zone.points)


def box_of(drawn: Outline) -> tuple[int, int]:
    return max(x for x, _ in drawn.ring), max(y for _, y in drawn.ring)


def unsound(drawn: Outline) -> list[str]:
    """What is wrong with an outline and its zones, each in a word or two."""
    panel = shape_of(drawn)
    found = []
    if not panel.is_valid:
        found.append("crosses itself")
    if not panel.exterior.is_ccw:
        found.append("runs clockwise")
    if panel.bounds[:2] != (0, 0):
        found.append("is away from its box's corner")
    for zone in drawn.zones:
        if zone.form == "border":
            continue
        place = laid(zone)
        if not (place.is_valid and place.is_simple and panel.covers(place)):
            found.append(f"{zone.kind} {zone.form} at {zone.points[0]}")
        if isinstance(place, Polygon) and not place.exterior.is_ccw:
            found.append(f"{zone.kind} {zone.form} runs clockwise")
    return found


# --- every panel, at every size -----------------------------------------------------------


@every_panel
def test_every_panel_of_every_body_is_a_sound_shape_with_its_zones_inside(
    body: str, panel: str
) -> None:
    drawn = outline(body, panel)
    assert drawn.panel == panel
    assert len(drawn.ring) >= 8
    assert unsound(drawn) == []


@every_panel
def test_it_stays_sound_on_the_shortest_widest_lowest_vehicle_and_all_the_others(
    body: str, panel: str
) -> None:
    for extreme in product(*zip(SMALLEST, LARGEST, strict=True)):
        assert unsound(outline(body, panel, *extreme)) == [], extreme


@settings(max_examples=examples(100))
@given(
    st.sampled_from(ALL),
    *(st.integers(least, most) for least, most in zip(SMALLEST, LARGEST, strict=True)),
)
def test_it_stays_sound_on_a_vehicle_of_any_size(
    of_body: tuple[str, str], length: int, width: int, height: int
) -> None:
    assert unsound(outline(*of_body, length, width, height)) == []


@every_panel
def test_neighbouring_points_are_never_the_same(body: str, panel: str) -> None:
    drawn = outline(body, panel, *SMALLEST)
    for points in [drawn.ring, *(zone.points for zone in drawn.zones)]:
        assert all(one != other for one, other in pairwise(points))
    assert drawn.ring[0] != drawn.ring[-1]


# --- areas --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ring", "area"),
    [
        pytest.param([(0, 0), (30, 0), (30, 20), (0, 20)], 600, id="a rectangle"),
        pytest.param([(0, 20), (30, 20), (30, 0), (0, 0)], 600, id="the other way round"),
        pytest.param([(0, 0), (5, 0), (0, 3)], Fraction(15, 2), id="a triangle"),
        pytest.param([(7, 7), (12, 7), (7, 10)], Fraction(15, 2), id="a triangle elsewhere"),
        pytest.param([(0, 0), (3, 0), (3, 1), (1, 1), (1, 2), (3, 2), (3, 3), (0, 3)], 7, id="a U"),
    ],
)
def test_known_areas(ring: list[Point], area: Fraction) -> None:
    assert area_mm2(ring) == area


@every_panel
def test_the_area_is_what_another_geometry_library_says(body: str, panel: str) -> None:
    drawn = outline(body, panel)
    # Halves of whole numbers below 2**53 are exact in binary floating point.
    assert area_mm2(drawn.ring) == Fraction(shape_of(drawn).area)


@given(st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9)), min_size=3, max_size=6))
def test_picks_theorem_counts_the_same_area_in_points(points: list[Point]) -> None:
    """Pick 1899: an area is its inner points and half its border points, less one."""
    hull = Polygon(points).convex_hull if len(set(points)) > 2 else None
    if not isinstance(hull, Polygon):
        return
    ring = [(int(x), int(y)) for x, y in hull.exterior.coords[:-1]]
    sides = list(zip(ring, [*ring[1:], ring[0]], strict=True))
    border = sum(gcd(x - to_x, y - to_y) for (x, y), (to_x, to_y) in sides)
    turning = 1 if hull.exterior.is_ccw else -1
    inner = sum(
        all(
            turning * ((to_x - x) * (q - y) - (to_y - y) * (p - x)) > 0
            for (x, y), (to_x, to_y) in sides
        )
        for p, q in product(range(10), repeat=2)
    )
    assert area_mm2(ring) == inner + Fraction(border, 2) - 1


@every_panel
def test_a_typical_vehicle_s_panels_have_plausible_areas(body: str, panel: str) -> None:
    lowest, highest = area_range(body, panel)
    assert lowest <= area_mm2(outline(body, panel).ring) / 1_000_000 <= highest


def test_a_plausible_area_has_a_lowest_and_a_higher_highest() -> None:
    assert all(0 < lowest < highest < 10 for lowest, highest in AREA_RANGES.values())


def test_every_range_of_areas_belongs_to_some_panel() -> None:
    used = {area_range(body, panel) for body, panel in ALL}
    assert used == set(AREA_RANGES.values())


def test_what_sets_the_bodies_apart() -> None:
    def width(body: str, panel: str) -> int:
        return box_of(outline(body, panel))[0]

    def area(body: str, panel: str) -> Fraction:
        return area_mm2(outline(body, panel).ring)

    assert width("coupe", "door-fl") > max(
        width(body, "door-fl") for body in BODIES if body != "coupe"
    )
    assert width("coupe", "quarter-l") > width("sedan", "quarter-l")
    assert width("wagon", "quarter-l") > width("hatch", "quarter-l")
    assert area("van", "roof") > area("wagon", "roof") > area("sedan", "roof")
    assert area("sedan", "roof") > area("coupe", "roof")


# --- scaling ------------------------------------------------------------------------------


def twice_as(body: str, dimension: int) -> Size:
    size = list(TYPICAL_SIZE[body])
    size[dimension] *= 2
    return Size(*size)


@every_panel
def test_a_panel_twice_as_long_or_high_has_twice_the_area(body: str, panel: str) -> None:
    plain = area_mm2(outline(body, panel).ring)
    growths = []
    for dimension in range(3):
        larger = outline(body, panel, *twice_as(body, dimension))
        growths.append(area_mm2(larger.ring) / plain)
    # Two of the three dimensions are the panel's; rounding moves no point by a whole millimetre.
    assert sorted(round(growth, 1) for growth in growths) == [1, 2, 2]
    assert all(min(abs(growth - 1), abs(growth - 2)) < Fraction(1, 100) for growth in growths)


@every_panel
def test_a_lid_is_as_wide_as_the_vehicle_makes_it_and_a_side_as_long(body: str, panel: str) -> None:
    length, width, height = 0, 1, 2
    across = width if panel in LIDS else length
    up = length if panel in LIDS_FROM_ABOVE else height
    wide, high = box_of(outline(body, panel))
    for dimension in (length, width, height):
        grown_wide, grown_high = box_of(outline(body, panel, *twice_as(body, dimension)))
        # Twice a half millimetre of rounding, and half a one again.
        assert abs(grown_wide - (2 * wide if dimension == across else wide)) <= 1
        assert abs(grown_high - (2 * high if dimension == up else high)) <= 1


@every_panel
def test_without_its_size_a_vehicle_is_of_its_body_s_typical_size(body: str, panel: str) -> None:
    length, width, height = TYPICAL_SIZE[body]
    assert outline(body, panel) == outline(body, panel, length, width, height)
    assert outline(body, panel, width_mm=width - 50) == outline(
        body, panel, length, width - 50, height
    )


def test_a_size_may_be_a_decimal_and_points_are_still_whole_millimetres() -> None:
    drawn = outline("sedan", "hood", Decimal("4751.5"), Decimal("1820"), None)
    assert all(isinstance(value, int) for point in drawn.ring for value in point)
    assert drawn.ring != outline("sedan", "hood").ring


def test_a_wheel_arch_is_round_on_a_typical_vehicle() -> None:
    # A sedan's fender: the arch's centre and radius as its drawing has them, rounded to 1 mm.
    drawn = outline("sedan", "fender-l")
    wide, high = box_of(drawn)
    centre_x, centre_y, radius = wide * 0.548, high * 0.130, wide * 0.322
    distances = [((x - centre_x) ** 2 + (y - centre_y) ** 2) ** 0.5 for x, y in drawn.ring]
    assert sum(abs(distance - radius) < 1.5 for distance in distances) == 11


# --- left and right -----------------------------------------------------------------------


def turned(points: tuple[Point, ...], width: int) -> set[Point]:
    return {(width - x, y) for x, y in points}


@pytest.mark.parametrize(
    ("body", "left"), [(body, panel) for body, panel in ALL if panel in ON_THE_RIGHT]
)
def test_a_right_panel_is_the_left_one_mirrored(body: str, left: str) -> None:
    size = Size(4711, 1803, 1467)
    one, other = outline(body, left, *size), outline(body, ON_THE_RIGHT[left], *size)
    width, _ = box_of(one)
    assert set(other.ring) == turned(one.ring, width)
    assert area_mm2(other.ring) == area_mm2(one.ring)
    assert [(zone.kind, zone.form, zone.reach_mm) for zone in other.zones] == [
        (zone.kind, zone.form, zone.reach_mm) for zone in one.zones
    ]
    for zone, mirrored in zip(one.zones, other.zones, strict=True):
        assert set(mirrored.points) == turned(zone.points, width)


def lies_in(drawn: Outline, kind: str, place: tuple[float, float]) -> bool:
    """Whether a spot, in shares of the panel's box, lies in an area zone of that kind."""
    wide, high = box_of(drawn)
    spot = Polygon([(place[0] * wide + dx, place[1] * high + dy) for dx, dy in SPOT])
    return any(
        zone.kind == kind and zone.form == "area" and laid(zone).contains(spot)
        for zone in drawn.zones
    )


SPOT = [(-1, -1), (1, -1), (1, 1), (-1, 1)]


def test_a_left_door_s_lock_is_at_its_right_and_a_right_door_s_at_its_left() -> None:
    for left, right in [("door-fl", "door-fr"), ("door-rl", "door-rr")]:
        assert lies_in(outline("sedan", left), "glue-only", (0.95, 0.78))
        assert lies_in(outline("sedan", right), "glue-only", (0.05, 0.78))
        assert not lies_in(outline("sedan", left), "glue-only", (0.05, 0.78))


def test_a_lamp_cuts_the_rear_of_a_quarter_panel_and_the_front_of_a_fender() -> None:
    for panel, cut in [("quarter-l", (0.9, 0.55)), ("fender-l", (0.04, 0.68))]:
        drawn = outline("sedan", panel)
        wide, high = box_of(drawn)
        spot = Polygon([(cut[0] * wide + dx, cut[1] * high + dy) for dx, dy in SPOT])
        assert not shape_of(drawn).intersects(spot)


# --- zones --------------------------------------------------------------------------------


@every_panel
def test_every_panel_has_an_edge_and_places_that_are_closed_to_tools(body: str, panel: str) -> None:
    zones = outline(body, panel).zones
    borders = [zone for zone in zones if zone.form == "border"]
    assert [zone.kind for zone in borders] == ["edge"]
    assert 15 <= borders[0].reach_mm <= 25
    assert borders[0].points == ()
    assert {"glue-only", "edge"} <= {zone.kind for zone in zones}


@every_panel
def test_lines_reach_to_both_sides_and_areas_no_further_than_their_border(
    body: str, panel: str
) -> None:
    for zone in outline(body, panel).zones:
        assert (zone.form == "line") == (zone.kind == "body-line")
        assert zone.reach_mm == {"area": 0, "line": 3}.get(zone.form, zone.reach_mm)


@every_panel
def test_most_of_a_panel_that_is_no_narrow_frame_is_open_to_tools(body: str, panel: str) -> None:
    if panel.startswith(("rail", "cab-corner")):
        return
    drawn = outline(body, panel)
    closed = union_all([laid(zone) for zone in drawn.zones if zone.form == "area"])
    assert closed.area < 0.5 * shape_of(drawn).area


def test_a_longer_roof_has_more_bows() -> None:
    bows = {
        body: sum(zone.kind == "braced" for zone in outline(body, "roof").zones)
        for body in ("coupe", "sedan", "wagon", "van")
    }
    assert bows == {"coupe": 1, "sedan": 2, "wagon": 3, "van": 4}


def test_a_hood_is_closed_at_its_hinges_and_latch_and_braced_by_its_frame() -> None:
    hood = outline("sedan", "hood")
    for place in [(0.05, 0.1), (0.95, 0.1), (0.5, 0.92)]:
        assert lies_in(hood, "glue-only", place)
    for place in [(0.5, 0.2), (0.5, 0.82)]:
        assert lies_in(hood, "braced", place)
    for place in [(0.5, 0.5), (0.2, 0.6)]:
        assert not lies_in(hood, "braced", place)
        assert not lies_in(hood, "glue-only", place)


# --- what there is not --------------------------------------------------------------------


def test_an_unknown_body_is_refused_with_the_ones_there_are() -> None:
    with pytest.raises(ValueError, match=r"no body 'boat': one of sedan, coupe"):
        outline("boat", "hood")
    with pytest.raises(ValueError, match=r"no body 'boat'"):
        area_range("boat", "hood")


def test_a_panel_that_the_body_has_not_is_refused_with_the_ones_it_has() -> None:
    with pytest.raises(ValueError, match=r"a convertible has no panel 'roof': one of hood, deckl"):
        outline("convertible", "roof")
    with pytest.raises(ValueError, match=r"a sedan has no panel 'bonnet'"):
        outline("sedan", "bonnet")


@pytest.mark.parametrize("size", [0, -4750, Decimal("-0.5")])
def test_a_vehicle_without_a_length_is_refused(size: Decimal | int) -> None:
    with pytest.raises(ValueError, match=f"length_mm {size}: a vehicle's size is above zero"):
        outline("sedan", "hood", size)
