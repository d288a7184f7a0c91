"""A shop's own outlines and zones: what is read, and every mistake in them told by its place.

Millimetres on the panel. Shapes come as WKT (OGC Simple Features) or as GeoJSON geometries
(RFC 7946), in a claim file that is read and priced as any other.
"""

from __future__ import annotations

import json
import warnings as python_warnings
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hailcalc.claimfile import Panel, Vehicle, claim_from_data, read_claim
from hailcalc.counting.survey import panel_shape
from hailcalc.estimate import price
from hailcalc.matrix import matrix_from_data, require_matrix
from hailcalc.problems import InputError
from hailcalc.vehicle.outlines import outline
from hailcalc.vehicle.shapes import PanelShape, generic_shape
from tests.builders import Table, claim, matrix
from tests.effort import examples
from tests.plain_counting import area_mm2, paths_of

PLATE = "POLYGON ((0 0, 1000 0, 1000 600, 0 600, 0 0))"
RING = [[0, 0], [1000, 0], [1000, 600], [0, 600], [0, 0]]


def geojson(kind: str, coordinates: Any, **more: Any) -> Table:
    return {"type": kind, "coordinates": coordinates, **more}


def mistakes(
    own: Any = None, zones: Any = None, dents: Any = None, text: str | None = None
) -> list[tuple[str, str, str]]:
    """Place, found and expected of what is wrong with a hood on an outline of the shop's own."""
    panel: Table = {"panel": "hood", "dents": dents or []}
    panel |= {} if own is None else {"outline": own}
    panel |= {} if zones is None else {"zones": zones}
    try:
        reading = read_claim(text or json.dumps(claim(panel)))
        problems = reading.problems
        if reading.claim is not None:
            price(reading.claim, require_matrix(matrix_from_data(matrix())))
    except InputError as error:
        problems = error.problems
    return [(problem.place, problem.found, problem.expected) for problem in problems]


def shape_of(own: Any, zones: Any = ()) -> PanelShape:
    """A sound outline as shapes."""
    panel = Panel.model_validate({"panel": "hood", "outline": own, "zones": list(zones)})
    shape, problems = panel_shape(panel, Vehicle.model_validate({"body": "sedan"}))
    assert problems == []
    assert shape is not None
    return shape


# --- what is read -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    "own",
    [
        PLATE,
        "polygon((0 0,1000 0,1000 600,0 600,0 0))",
        "POLYGON ((0 0, 0 600, 1000 600, 1000 0, 0 0))",
        "POLYGON\n((0 0,\n1.0e3 0, 1000 600.0, 0 600, 0 0))",
        geojson("Polygon", [RING]),
        geojson("Polygon", [RING[::-1]]),
    ],
)
def test_an_outline_may_be_wkt_or_geojson_and_run_either_way_round(own: Any) -> None:
    assert mistakes(own) == []
    shape = shape_of(own)
    assert shape.area_mm2 == 600_000
    assert not shape.generic
    assert shape.outline.bounds == (0, 0, 1000, 600)


def test_an_outline_may_have_holes() -> None:
    hole = [[100, 100], [300, 100], [300, 200], [100, 200], [100, 100]]
    shape = shape_of(geojson("Polygon", [RING, hole]))
    assert shape.area_mm2 == 600_000 - 20_000
    assert mistakes(geojson("Polygon", [RING, hole])) == []


@pytest.mark.parametrize(
    "zone",
    [
        {"kind": "braced", "shape": "POLYGON ((10 10, 90 10, 90 90, 10 10))"},
        {"kind": "glue-only", "shape": geojson("LineString", [[10, 10], [90, 10]]), "reach_mm": 20},
        {"kind": "edge", "reach_mm": 25},
        {"kind": "edge", "shape": "LINESTRING (0 0, 1000 0)", "reach_mm": 25.5},
        {"kind": "body-line", "shape": "LINESTRING (0 0, 1000 600, 500 0)"},
        # The whole panel, its border, and lines that touch the border lie within it.
        {"kind": "braced", "shape": PLATE},
        {"kind": "body-line", "shape": "LINESTRING (0 300, 1000 300)"},
    ],
)
def test_every_form_of_zone_is_read(zone: Table) -> None:
    assert mistakes(PLATE, [zone]) == []
    (read,) = shape_of(PLATE, [zone]).zones
    assert (read.kind, read.reach_mm) == (zone["kind"], zone.get("reach_mm", 0))


def test_a_generic_outline_becomes_shapes_with_the_same_area_and_zones() -> None:
    drawn = outline("sedan", "hood")
    shape = generic_shape(drawn)
    ring = [[(x * 10**6, y * 10**6) for x, y in [*drawn.ring, drawn.ring[0]]]]
    assert shape.generic
    assert shape.area_mm2 == area_mm2(ring)
    assert [zone.kind for zone in shape.zones] == [zone.kind for zone in drawn.zones]


# --- mistakes in an outline -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("own", "found", "expected"),
    [
        # another geometry
        ("POINT (1 2)", "a Point", "a POLYGON"),
        ("LINESTRING (0 0, 1000 0)", "a LineString", "a POLYGON"),
        (f"MULTIPOLYGON ({PLATE.removeprefix('POLYGON ')})", "a MultiPolygon", "a POLYGON"),
        (f"GEOMETRYCOLLECTION ({PLATE})", "a GeometryCollection", "a POLYGON"),
        (geojson("LineString", [[0, 0], [1000, 0]]), "a LineString", "a Polygon"),
        # nothing in it
        ("POLYGON EMPTY", "an empty Polygon", "a shape with points"),
        (geojson("Polygon", []), "an empty Polygon", "a shape with points"),
        (geojson("Polygon", [[]]), 'type "Polygon"', "rings of four points or more"),
        # crossing itself
        (
            "POLYGON ((0 0, 1000 600, 1000 0, 0 600, 0 0))",
            '"self-intersection at 500 300"',
            "does not cross or touch itself",
        ),
        (
            geojson("Polygon", [RING, [[900, 100], [1100, 100], [1100, 200], [900, 100]]]),
            '"self-intersection at 1000 1',
            "does not cross or touch itself",
        ),
        (
            geojson("Polygon", [RING, [[2000, 100], [2100, 100], [2100, 200], [2000, 100]]]),
            '"hole lies outside shell at 2000 100"',
            "does not cross or touch itself",
        ),
        ("POLYGON ((0 0, 1000 0, 500 0, 0 0))", "at", "does not cross or touch itself"),
        # three coordinates
        ("POLYGON ((0 0 1, 1000 0 1, 1000 600 1, 0 0 1))", "three coordinates", "x and y in mm"),
        ("POLYGON Z ((0 0 1, 1000 0 1, 1000 600 1, 0 0 1))", "three coordinates", "x and y"),
        # numbers that are none
        ("POLYGON ((0 0, inf 0, 1000 600, 0 600, 0 0))", "no number", "millimetres"),
        ("POLYGON ((0 0, nan 0, 1000 600, 0 600, 0 0))", "no number", "millimetres"),
        ("POLYGON ((0 0, 1e9 0, 1000 600, 0 600, 0 0))", "without measure", "millimetres"),
        # no WKT
        ("", '""', "WKT of a POLYGON"),
        ("POLYGON", "", "WKT of a POLYGON"),
        ("POLYGON ((0 0, 1000 0, 1000 600", "", "WKT of a POLYGON"),
        ("POLYGON ((0 0, 1000 0, 1000 600, 0 600))", "0 600))", "WKT of a POLYGON"),
        ("POLYGON ((0 0, 1000 x, 1000 600, 0 0))", "", "WKT of a POLYGON"),
        ("PLATE ((0 0, 1000 0, 1000 600, 0 0))", "PLATE", "WKT of a POLYGON"),
        (f"SRID=4326;{PLATE}", "SRID=4326", "WKT of a POLYGON"),
        (f"{PLATE} {PLATE}", "POLYGON", "WKT of a POLYGON"),
        # too few points
        (geojson("Polygon", [[[0, 0], [1000, 0]]]), 'type "Polygon"', "rings of four points"),
    ],
)
def test_a_mistake_in_an_outline(own: Any, found: str, expected: str) -> None:
    ((place, what, wanted),) = mistakes(own)
    assert place == "panels[0].outline"
    assert found in what
    assert expected in wanted


@pytest.mark.parametrize(
    ("own", "expected"),
    [
        (7, "WKT text, or a GeoJSON geometry"),
        (True, "WKT text, or a GeoJSON geometry"),
        (["POLYGON"], "WKT text, or a GeoJSON geometry"),
        (geojson("Point", [1, 2]), "type Polygon or LineString"),
        (geojson("MultiPolygon", [[RING]]), "type Polygon or LineString"),
        (geojson("polygon", [RING]), "type Polygon or LineString"),
        ({"type": "GeometryCollection", "geometries": []}, "type Polygon or LineString"),
        ({"type": "Feature", "geometry": geojson("Polygon", [RING])}, "type Polygon or LineString"),
        ({"coordinates": [RING]}, "type Polygon or LineString"),
        ({"type": "Polygon"}, "and its coordinates"),
        (geojson("Polygon", [RING], crs={"type": "name"}), "and its coordinates"),
        (geojson("Polygon", [RING], bbox=[0, 0, 1, 1]), "and its coordinates"),
        (geojson("Polygon", RING), "nested lists of [x, y]"),
        (geojson("Polygon", {"0": RING}), "nested lists of [x, y]"),
        (geojson("Polygon", None), "nested lists of [x, y]"),
        (geojson("Polygon", [[[0, 0, 0], [1000, 0, 0], [0, 600, 0], [0, 0, 0]]]), "of [x, y]"),
        (geojson("Polygon", [[[0], [1000], [0]]]), "of [x, y]"),
        (geojson("Polygon", [[["0", "0"], ["1000", "0"], ["0", "600"], ["0", "0"]]]), "of [x, y]"),
        (geojson("Polygon", [[[True, 0], [1000, 0], [0, 600], [True, 0]]]), "of [x, y]"),
        (geojson("Polygon", [[[10**400, 0], [1000, 0], [0, 600], [0, 0]]]), "of [x, y]"),
        (geojson("Polygon", [[[i, i * i] for i in range(5001)]]), "at most 5,000 points"),
        ("POLYGON ((" + "0 0, " * 40_001, "WKT of at most 200,000 characters"),
    ],
)
def test_what_is_no_shape_at_all(own: Any, expected: str) -> None:
    panel = {"panel": "hood", "outline": own}
    ((place, _, wanted),) = [
        (problem.place, problem.found, problem.expected)
        for problem in read_claim(json.dumps(claim(panel))).problems
    ]
    assert place == "panels[0].outline"
    assert expected in wanted


def test_a_measure_beside_the_coordinates_is_refused_as_a_height_is() -> None:
    """XYM of ISO 19125 WKT: a third number a point, which would be lost silently."""
    ((place, found, _),) = mistakes("POLYGON M ((0 0 1, 1000 0 1, 1000 600 1, 0 0 1))")
    assert (place, found) == ("panels[0].outline", "three coordinates a point")


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity"])
def test_json_has_no_such_numbers(number: str) -> None:
    text = json.dumps(claim({"panel": "hood", "outline": geojson("Polygon", [RING])}))
    (problem,) = mistakes(text=text.replace("600", number, 1))
    assert problem == ("", number, "a finite number")


def test_a_number_beyond_all_doubles_is_refused_without_a_word_on_the_error_output() -> None:
    with python_warnings.catch_warnings():
        python_warnings.simplefilter("error")
        ((_, found, _),) = mistakes("POLYGON ((0 0, 1e400 0, 1000 600, 0 600, 0 0))")
    assert "no number" in found


@pytest.mark.parametrize(
    ("own", "unit"),
    [
        # A hood at a place on the globe: some hundred-thousandths of a degree.
        (
            "POLYGON ((-89.63 44.96, -89.62998 44.96, -89.62998 44.96001, -89.63 44.96))",
            "which looks like degrees",
        ),
        ("POLYGON ((0 0, 1.4 0, 1.4 1.1, 0 1.1, 0 0))", "degrees, metres or inches"),
        ("POLYGON ((0 0, 55 0, 55 43, 0 43, 0 0))", "degrees, metres or inches"),
    ],
)
def test_an_outline_in_another_unit_is_told_which_it_looks_like(own: str, unit: str) -> None:
    ((place, found, expected),) = mistakes(own)
    assert place == "panels[0].outline"
    assert found.endswith(unit)
    assert expected == "millimetres on the panel, which is at least 100 mm long"


def test_an_outline_of_a_barn_is_too_large() -> None:
    ((_, found, expected),) = mistakes("POLYGON ((0 0, 10001 0, 10001 600, 0 0))")
    assert found == "an outline of 10001 by 600"
    assert "at most 10000 mm long" in expected


@pytest.mark.parametrize(("width", "is_taken"), [(100, True), (99.9, False), (10_000, True)])
def test_how_long_a_panel_may_be(width: float, is_taken: bool) -> None:
    own = f"POLYGON ((0 0, {width} 0, {width} 60, 0 60, 0 0))"
    assert (mistakes(own) == []) == is_taken


def test_an_outline_is_checked_even_if_the_panel_has_a_plain_tally() -> None:
    panel = {"panel": "hood", "tally": {"dime": 3}, "outline": "POINT (1 2)"}
    with pytest.raises(InputError, match="found a Point"):
        price_it(panel)


def price_it(panel: Table) -> None:
    reading = claim_from_data(claim(panel))
    assert reading.claim is not None
    price(reading.claim, require_matrix(matrix_from_data(matrix())))


# --- mistakes in zones ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("zone", "place", "found", "expected"),
    [
        (
            {"kind": "braced", "shape": "POLYGON ((990 10, 1012.3 10, 990 90, 990 10))"},
            "shape",
            "a zone that reaches 12.3 mm beyond the outline",
            "a zone within its panel",
        ),
        (
            {"kind": "body-line", "shape": "LINESTRING (500 300, 500 650)"},
            "shape",
            "a zone that reaches 50.0 mm beyond the outline",
            "a zone within its panel",
        ),
        (
            {"kind": "braced", "shape": "POLYGON ((4000 0, 4100 0, 4100 50, 4000 0))"},
            "shape",
            "a zone that reaches 3100.0 mm beyond the outline",
            "a zone within its panel",
        ),
        (
            {"kind": "braced", "shape": "LINESTRING (10 10, 90 10)"},
            "reach_mm",
            "0",
            "a reach in mm: a line or a border has no area",
        ),
        (
            {"kind": "edge"},
            "reach_mm",
            "0",
            "a reach in mm: a line or a border has no area",
        ),
        (
            {"kind": "glue-only", "reach_mm": 20},
            "shape",
            "nothing",
            "the shape of a glue-only zone; only an edge may follow the border",
        ),
        (
            {"kind": "body-line", "shape": "POLYGON ((10 10, 90 10, 90 90, 10 10))"},
            "shape",
            "a Polygon",
            "a LINESTRING",
        ),
        (
            {"kind": "body-line", "shape": geojson("Polygon", [RING])},
            "shape",
            "a Polygon",
            "a LineString",
        ),
        (
            {"kind": "braced", "shape": "POINT (10 10)"},
            "shape",
            "a Point",
            "a POLYGON or LINESTRING",
        ),
        (
            {"kind": "braced", "shape": "LINESTRING (10 10, 10 10)", "reach_mm": 5},
            "shape",
            "a line without length",
            "",
        ),
        (
            {"kind": "braced", "shape": "POLYGON ((10 10, 90 90, 90 10, 10 90, 10 10))"},
            "shape",
            "self-intersection at 50 50",
            "does not cross or touch itself",
        ),
    ],
)
def test_a_mistake_in_a_zone(zone: Table, place: str, found: str, expected: str) -> None:
    ((where, what, wanted),) = mistakes(PLATE, [{"kind": "edge", "reach_mm": 20}, zone])
    assert where == f"panels[0].zones[1].{place}"
    assert found in what
    assert expected in wanted


@pytest.mark.parametrize(
    ("zone", "place"),
    [
        ({"kind": "sharp", "shape": PLATE}, "kind"),
        ({"kind": "hole", "shape": PLATE}, "kind"),
        ({"shape": PLATE}, "kind"),
        ({"kind": "edge", "reach_mm": -1}, "reach_mm"),
        ({"kind": "edge", "reach_mm": 501}, "reach_mm"),
        ({"kind": "edge", "reach_mm": "20"}, "reach_mm"),
        ({"kind": "edge", "reach": 20}, ""),
    ],
)
def test_a_zone_that_is_none(zone: Table, place: str) -> None:
    ((where, _, _),) = mistakes(PLATE, [zone])
    assert where == ".".join(filter(None, ["panels[0].zones[0]", place]))


def test_a_zone_may_pass_the_outline_by_the_rounding_of_its_coordinates() -> None:
    def beyond(mm: float) -> Table:
        corners = f"900 10, {1000 + mm} 10, {1000 + mm} 90, 900 10"
        return {"kind": "braced", "shape": f"POLYGON (({corners}))"}

    assert mistakes(PLATE, [beyond(0.001)]) == []
    assert mistakes(PLATE, [beyond(0.1)]) != []


def test_a_zone_across_a_hole_reaches_off_the_panel() -> None:
    pierced = geojson(
        "Polygon", [RING, [[400, 200], [600, 200], [600, 400], [400, 400], [400, 200]]]
    )
    line = {"kind": "body-line", "shape": "LINESTRING (100 300, 900 300)"}
    ((place, found, _),) = mistakes(pierced, [line])
    assert place == "panels[0].zones[0].shape"
    assert "beyond the outline" in found


def test_zones_outside_a_generic_outline_are_told_as_well() -> None:
    zone = {"kind": "braced", "shape": "POLYGON ((0 9000, 100 9000, 100 9100, 0 9000))"}
    ((place, found, _),) = mistakes(None, [zone])
    assert place == "panels[0].zones[0].shape"
    assert found.endswith("mm beyond the outline")


def test_all_mistakes_of_an_outline_and_its_zones_are_told_together() -> None:
    found = mistakes(
        "POINT (1 2)",
        [{"kind": "edge"}, {"kind": "body-line", "shape": PLATE}, {"kind": "braced"}],
    )
    assert [place for place, _, _ in found] == ["panels[0].outline"]
    found = mistakes(PLATE, [{"kind": "edge"}, {"kind": "body-line", "shape": PLATE}])
    assert [place for place, _, _ in found] == [
        "panels[0].zones[0].reach_mm",
        "panels[0].zones[1].shape",
    ]


def test_too_many_zones_are_refused() -> None:
    found = mistakes(PLATE, [{"kind": "edge", "reach_mm": 5}] * 101)
    assert [(place, expected) for place, _, expected in found] == [
        ("panels[0].zones", "at most 100 items")
    ]


# --- whatever is sent -------------------------------------------------------------------------


@settings(max_examples=examples(200))
@given(st.text(alphabet="POLYGNSTRIZM()0123456789.,- eEnaif", max_size=40))
def test_any_text_at_all_is_an_outline_or_a_mistake(text: str) -> None:
    for own in (text, f"POLYGON (({text}))", f"POLYGON ((0 0, 1000 0, {text}, 0 0))"):
        for place, found, expected in mistakes(own):
            assert place.startswith("panels[0].outline")
            assert found
            assert expected


numbers = st.integers(-2000, 2000) | st.floats(width=32)


@settings(max_examples=examples(200))
@given(st.lists(st.lists(numbers, min_size=2, max_size=2), max_size=7))
def test_any_points_at_all_are_an_outline_or_a_mistake(points: list[list[float]]) -> None:
    own = geojson("Polygon", [[*points, *points[:1]]])
    try:
        text = json.dumps(claim({"panel": "hood", "outline": own}), allow_nan=False)
    except ValueError:
        return
    for place, _, _ in mistakes(text=text):
        assert place.startswith("panels[0].outline")


@settings(max_examples=examples(100))
@given(
    st.integers(100, 3000), st.integers(10, 2000), st.integers(-500, 500), st.integers(-500, 500)
)
def test_a_triangle_in_wkt_and_in_geojson_is_the_same_triangle(
    width: int, height: int, left: int, bottom: int
) -> None:
    corners = [(left, bottom), (left + width, bottom), (left, bottom + height), (left, bottom)]
    wkt = f"POLYGON (({', '.join(f'{x} {y}' for x, y in corners)}))"
    shape = geojson("Polygon", [[list(corner) for corner in corners]])
    assert paths_of(wkt) == paths_of(shape)
    assert shape_of(wkt).outline == shape_of(shape).outline
    assert shape_of(wkt).area_mm2 == Fraction(width * height, 2) == area_mm2(paths_of(wkt))
