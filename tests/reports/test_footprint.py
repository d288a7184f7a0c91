"""The footprint of a day's hail reports: which ground it is, and how it is written down.

Rules are held against distances measured directly on the ellipsoid, not against the projection
in which the footprint is drawn. Coordinates are invented.
"""

from __future__ import annotations

import json
from datetime import date
from itertools import pairwise
from math import pi

import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from pyproj import Geod
from shapely import wkt

from hailcalc.problems import InputError
from hailcalc.reports.days import local_day
from hailcalc.reports.footprint import Footprint, footprint
from hailcalc.reports.geojson import area_km2, footprint_geojson, footprint_wkt, polygons
from hailcalc.reports.ground import Point, distance_m
from hailcalc.reports.records import NOTICE, Report
from tests.effort import examples
from tests.reports.reports_for_tests import report

GEOD = Geod(ellps="GRS80")
DAY = local_day(date(2026, 5, 19), "Etc/GMT+9")
COARSE = 4
"""Metres by which a circle of 10 km drawn with straight sides may fall short, and a little."""


def moved(lat: float, lon: float, azimuth: float, metres: float) -> Point:
    there_lon, there_lat, _ = GEOD.fwd(lon, lat, azimuth, metres)
    return Point(there_lat, there_lon)


def placed(*places: tuple[float, float]) -> list[Report]:
    return [report(lat, lon, line=k) for k, (lat, lon) in enumerate(places, 2)]


centres = st.sampled_from(
    [(40.0, -95.0), (-37.5, 144.0), (0.0, 0.0), (64.8, -147.7), (13.5, 180.0)]
)
azimuths = st.floats(0, 360, exclude_max=True)


@st.composite
def days_of_reports(draw: st.DrawFn, spread: float = 60_000) -> list[Report]:
    """Up to eight reports around a centre, some of them far from each other, some near."""
    lat, lon = draw(centres)
    ways = draw(st.lists(st.tuples(azimuths, st.floats(0, spread)), min_size=1, max_size=8))
    return placed(*(moved(lat, lon, *each) for each in ways))


@settings(max_examples=examples(40))
@given(days_of_reports(), st.sampled_from([1, 5, 10, 25, 50]))
def test_every_report_lies_inside_and_about_the_reach_from_the_edge(
    reports: list[Report], reach: int
) -> None:
    drawn = footprint(reports, reach)
    assert sorted(len(part.reports) for part in drawn.parts)
    assert sum(len(part.reports) for part in drawn.parts) == len(reports)
    for each in reports:
        place = Point(each.lat, each.lon)
        assert drawn.part_around(place) is not None
        edge = drawn.edge_m(place)
        assert edge is not None
        assert edge >= reach * 1000 * 0.999


@given(days_of_reports(), azimuths, st.floats(0, 9_990))
def test_all_ground_within_reach_of_a_report_is_inside(
    reports: list[Report], azimuth: float, metres: float
) -> None:
    place = moved(reports[0].lat, reports[0].lon, azimuth, metres)
    assert footprint(reports).part_around(place) is not None


@settings(max_examples=examples(40))
@given(days_of_reports(), azimuths, st.floats(0, 100_000))
def test_no_ground_farther_than_reach_from_reports_and_the_lines_between_is_inside(
    reports: list[Report], azimuth: float, metres: float
) -> None:
    """Lines are walked along on the ellipsoid, a hundred metres a step."""
    place = moved(reports[0].lat, reports[0].lon, azimuth, metres)
    drawn = footprint(reports)
    near = [distance_m(place, Point(each.lat, each.lon)) for each in reports]
    for one in reports:
        for other in reports:
            length = distance_m(Point(one.lat, one.lon), Point(other.lat, other.lon))
            if one.source < other.source and length <= 20_000:
                steps = GEOD.npts(one.lon, one.lat, other.lon, other.lat, max(1, int(length / 100)))
                near += [distance_m(place, Point(lat, lon)) for lon, lat in steps]
    assume(min(near) > 10_000 + 60)
    assert drawn.part_around(place) is None
    edge = drawn.edge_m(place)
    assert edge is not None
    assert edge >= min(near) - 10_000 - 60


@given(days_of_reports(), azimuths, st.floats(20, 50_000))
def test_a_place_moved_out_of_the_footprint_by_more_than_the_reach_is_outside(
    reports: list[Report], azimuth: float, beyond: float
) -> None:
    """From the middle of a part outward, past its farthest report."""
    drawn = footprint(reports)
    lat, lon = drawn.parts[0].plane.centre
    farthest = max(distance_m(Point(lat, lon), Point(each.lat, each.lon)) for each in reports)
    place = moved(lat, lon, azimuth, farthest + 10_000 + beyond)
    assert drawn.part_around(place) is None


@given(centres, azimuths, st.floats(0, 30_000))
def test_the_edge_of_one_report_is_a_circle(
    centre: tuple[float, float], azimuth: float, metres: float
) -> None:
    edge = footprint(placed(centre)).edge_m(moved(*centre, azimuth, metres))
    assert edge is not None
    assert abs(edge - abs(10_000 - metres)) <= COARSE


@pytest.mark.parametrize("reach", [1, 10, 50])
@pytest.mark.parametrize("centre", [(40.0, -95.0), (0.0, 10.0), (70.0, -150.0), (13.5, 179.99)])
def test_the_area_around_one_report_is_pi_r_squared(
    centre: tuple[float, float], reach: int
) -> None:
    [part] = footprint(placed(centre), reach).parts
    assert area_km2(polygons(part)) == pytest.approx(pi * reach**2, rel=0.005)


def test_two_near_reports_are_one_part_with_straight_sides() -> None:
    a, b = (40.0, -95.0), moved(40.0, -95.0, 60, 19_990)
    [part] = footprint(placed(a, b)).parts
    assert area_km2(polygons(part)) == pytest.approx(pi * 10**2 + 19.99 * 20, rel=0.005)


def test_two_reports_more_than_twice_the_reach_apart_are_two_parts() -> None:
    a, b = (40.0, -95.0), moved(40.0, -95.0, 60, 20_020)
    drawn = footprint(placed(a, b))
    assert [len(part.reports) for part in drawn.parts] == [1, 1]
    assert drawn.part_around(moved(40.0, -95.0, 60, 10_010)) is None


def test_the_ground_between_three_near_reports_is_filled() -> None:
    corners = [Point(40.0, -95.0), moved(40.0, -95.0, 0, 19_900), moved(40.0, -95.0, 60, 19_900)]
    drawn = footprint(placed(*corners))
    middle = moved(40.0, -95.0, 30, 19_900 / 3**0.5)
    assert min(distance_m(middle, corner) for corner in corners) > 11_000
    assert drawn.part_around(middle) is not None


def test_the_bay_of_a_bent_swath_stays_outside() -> None:
    north = [moved(40.0, -95.0, 0, 15_000.0 * k) for k in range(5)]
    east = [moved(40.0, -95.0, 90, 15_000.0 * k) for k in range(1, 5)]
    [part] = footprint(placed(*north, *east)).parts
    assert len(part.reports) == 9
    assert not part.holds(moved(40.0, -95.0, 45, 35_000))
    # A convex hull would have it: the place lies on the inner side of the line between the ends.
    assert part.shape.convex_hull.covers(
        shapely.Point(part.plane.metres(*moved(40.0, -95.0, 45, 35_000)))
    )


def test_parts_that_touch_are_one() -> None:
    """A report beside the middle of a line, more than twice the reach from both its ends."""
    a, b = Point(40.0, -95.0), moved(40.0, -95.0, 90, 19_900)
    beside = moved(*moved(40.0, -95.0, 90, 9_950), 0, 18_500)
    assert min(distance_m(beside, a), distance_m(beside, b)) > 20_000
    [part] = footprint(placed(a, b, beside)).parts
    assert len(part.reports) == 3
    assert part.shape.is_valid


def test_a_third_report_between_two_makes_the_line_bend() -> None:
    a, b = Point(40.0, -95.0), moved(40.0, -95.0, 90, 19_900)
    between = moved(*moved(40.0, -95.0, 90, 9_950), 0, 5_000)
    [part] = footprint(placed(a, b, between)).parts
    middle = moved(40.0, -95.0, 90, 9_950)
    assert part.holds(moved(*middle, 0, 14_900))
    # On the other side the straight line would reach 10 km; the bent one does not.
    assert part.holds(moved(*middle, 180, 2_500))
    assert not part.holds(moved(*middle, 180, 9_000))


def test_no_report_has_no_footprint() -> None:
    drawn = footprint([])
    assert (drawn.parts, drawn.edge_m(Point(40.0, -95.0))) == ((), None)
    assert footprint_wkt(drawn) == "MULTIPOLYGON EMPTY"
    assert footprint_geojson(drawn, DAY)["features"] == []


@pytest.mark.parametrize("reach", [0, 0.5, -10, 50.1, float("nan"), float("inf")])
def test_a_reach_that_nobody_can_mean_is_refused(reach: float) -> None:
    with pytest.raises(InputError, match="expected from 1 to 50 km"):
        footprint(placed((40.0, -95.0)), reach)


def test_what_cannot_be_drawn_is_refused() -> None:
    with pytest.raises(InputError, match="at most 75 degrees"):
        footprint(placed((80.0, 0.0)))
    with pytest.raises(InputError, match="at most 1,000"):
        footprint(placed(*((40.0, -95.0 + k / 100) for k in range(1001))))
    around = placed(*((60.0, -180 + 0.8 * k) for k in range(450)))
    with pytest.raises(InputError, match="a smaller reach joins fewer"):
        footprint(around, 50)


DATE_LINE = placed((50.0, 179.9), (50.03, -179.9))


def test_reports_on_both_sides_of_the_date_line_are_one_part() -> None:
    drawn = footprint(DATE_LINE)
    assert len(drawn.parts) == 1
    assert drawn.part_around(Point(50.0, 180.0)) is not None
    assert drawn.part_around(Point(50.0, -180.0)) is not None
    assert drawn.part_around(Point(50.0, 0.0)) is None
    edge = drawn.edge_m(Point(50.0, 179.9))
    assert edge is not None
    assert abs(edge - 10_000) < COARSE


def test_what_crosses_the_date_line_is_cut_there() -> None:
    [part] = footprint(DATE_LINE).parts
    west, east = sorted(polygons(part), key=lambda each: each.bounds[0])
    assert west.bounds[0] == -180
    assert west.bounds[2] < -179.5
    assert east.bounds[2] == 180
    assert east.bounds[0] > 179.5
    length = distance_m(Point(50.0, 179.9), Point(50.03, -179.9)) / 1000
    assert area_km2([west, east]) == pytest.approx(pi * 10**2 + 20 * length, rel=0.005)


def rings(drawn: Footprint) -> list[list[list[float]]]:
    document = json.loads(json.dumps(footprint_geojson(drawn, DAY)))
    return [
        ring
        for feature in document["features"]
        if feature["properties"]["kind"] == "footprint"
        for polygon in feature["geometry"]["coordinates"]
        for ring in polygon
    ]


@settings(max_examples=examples(40))
@given(days_of_reports())
def test_geojson_rings_are_closed_and_outer_ones_run_anticlockwise(reports: list[Report]) -> None:
    """RFC 7946, section 3.1.6; seven decimals at most, longitudes and latitudes in their ranges."""
    drawn = footprint(reports)
    document = footprint_geojson(drawn, DAY)
    for feature in document["features"]:
        if feature["geometry"]["type"] == "MultiPolygon":
            for outer, *holes in feature["geometry"]["coordinates"]:
                assert shapely.LinearRing(outer).is_ccw
                assert not any(shapely.LinearRing(hole).is_ccw for hole in holes)
            assert shapely.geometry.shape(feature["geometry"]).is_valid
    for ring in rings(drawn):
        assert len(ring) >= 4
        assert ring[0] == ring[-1]
        for lon, lat in ring:
            assert -180 <= lon <= 180
            assert -90 <= lat <= 90
            assert (lon, lat) == (round(lon, 7), round(lat, 7))


def test_a_ring_of_reports_leaves_a_hole_that_runs_clockwise() -> None:
    around = [moved(40.0, -95.0, 360 / 14 * k, 40_000) for k in range(14)]
    drawn = footprint(placed(*around))
    [part] = drawn.parts
    assert not part.holds(Point(40.0, -95.0))
    [document] = [
        feature["geometry"]["coordinates"]
        for feature in footprint_geojson(drawn, DAY)["features"]
        if feature["properties"]["kind"] == "footprint"
    ]
    [[outer, hole]] = document
    assert shapely.LinearRing(outer).is_ccw
    assert not shapely.LinearRing(hole).is_ccw


def test_straight_sides_are_broken_into_short_pieces() -> None:
    a, b = (60.0, -95.0), moved(60.0, -95.0, 90, 19_900)
    for ring in rings(footprint(placed(a, b))):
        for (lon, lat), (next_lon, next_lat) in pairwise(ring):
            assert GEOD.inv(lon, lat, next_lon, next_lat)[2] < 2_010


def test_geojson_has_the_reports_and_says_what_it_is() -> None:
    document = footprint_geojson(footprint(placed((40.0, -95.0), (40.1, -95.0))), DAY)
    assert document["type"] == "FeatureCollection"
    assert document["notice"] == NOTICE
    assert (document["date"], document["zone"]) == ("2026-05-19", "Etc/GMT+9")
    assert (document["reach_km"], document["reach_is"]) == (10, "the shop's choice")
    [part, *reports] = document["features"]
    assert part["properties"]["reports"] == 2
    assert [each["geometry"]["coordinates"] for each in reports] == [[-95.0, 40.0], [-95.0, 40.1]]
    assert reports[0]["properties"] == {
        "kind": "report",
        "time": "2026-05-19T22:11:00+00:00",
        "inches": 1.0,
        "mm": 25.4,
        "size": "quarter size",
        "place": "EMBERFOLD, TALLOW, ZZ",
    }


@settings(max_examples=examples(40))
@given(days_of_reports())
def test_wkt_is_the_same_ground(reports: list[Report]) -> None:
    drawn = footprint(reports)
    read = wkt.loads(footprint_wkt(drawn))
    assert isinstance(read, shapely.MultiPolygon)
    expected = [one for part in drawn.parts for one in polygons(part)]
    assert read.area == pytest.approx(sum(one.area for one in expected), rel=1e-6)
    assert read.bounds == pytest.approx(shapely.MultiPolygon(expected).bounds, abs=1e-7)


def test_the_order_of_reports_changes_nothing() -> None:
    reports = placed(*(moved(40.0, -95.0, 77 * k, 4_000 * k) for k in range(12)))
    assert footprint_wkt(footprint(reports)) == footprint_wkt(footprint(reports[::-1]))
