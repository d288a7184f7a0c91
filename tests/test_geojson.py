"""Marks and outlines from GeoJSON (RFC 7946): what is read, and every mistake by its feature.

Coordinates are millimetres on the panel, by arrangement. What is read is plain claim-file data.
"""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hailcalc.claimfile import claim_from_data, require_claim
from hailcalc.counting.csvfiles import panels_from_dents
from hailcalc.counting.geojson import outlines_from_geojson, panels_from_geojson
from hailcalc.fields import as_json
from hailcalc.problems import InputError
from tests.builders import Table, claim
from tests.effort import examples

RING = [[0, 0], [1000, 0], [1000, 600], [0, 600], [0, 0]]
PLATE = {"type": "Polygon", "coordinates": [RING]}


def point(x: Any, y: Any, **properties: Any) -> Table:
    return feature({"type": "Point", "coordinates": [x, y]}, **properties)


def feature(geometry: Any, **properties: Any) -> Table:
    return {"type": "Feature", "geometry": geometry, "properties": properties}


def collection(*features: Any, **more: Any) -> str:
    return json.dumps({"type": "FeatureCollection", "features": list(features), **more})


def dents(text: str) -> list[dict[str, Any]]:
    return panels_from_geojson(text, "marks.geojson")


def outlines(text: str) -> dict[str, dict[str, Any]]:
    return outlines_from_geojson(text, "outlines.geojson")


def mistakes(text: str, read: Any = dents) -> list[tuple[str, str, str]]:
    with pytest.raises(InputError) as caught:
        read(text)
    return [(problem.place, problem.found, problem.expected) for problem in caught.value.problems]


# --- dents ------------------------------------------------------------------------------------


def test_dents_are_points_gathered_by_panel() -> None:
    text = collection(
        point(412, 655.5, panel="hood", mm=17.5, marks=["sharp", "edge"]),
        point(10, 20, panel="roof", mm=9, mm2=12),
        point(-2.5, 0, panel="hood", mm=12, marks="sharp + edge"),
        point(1, 2, panel="hood", mm=12, marks=[]),
    )
    assert dents(text) == [
        {
            "panel": "hood",
            "dents": [
                {
                    "x": 412,
                    "y": Decimal("655.5"),
                    "mm": Decimal("17.5"),
                    "marks": ["sharp", "edge"],
                },
                {"x": Decimal("-2.5"), "y": 0, "mm": 12, "marks": ["sharp", "edge"]},
                {"x": 1, "y": 2, "mm": 12},
            ],
        },
        {"panel": "roof", "dents": [{"x": 10, "y": 20, "mm": 9, "mm2": 12}]},
    ]


def test_a_single_feature_and_an_empty_collection_are_read() -> None:
    assert dents(json.dumps(point(1, 2, panel="hood", mm=9))) == [
        {"panel": "hood", "dents": [{"x": 1, "y": 2, "mm": 9}]}
    ]
    assert dents(collection()) == []


def test_foreign_members_of_a_collection_and_of_a_feature_are_let_be() -> None:
    """RFC 7946, section 6.1: foreign members do not change what the rest means."""
    marked = point(1, 2, panel="hood", mm=9) | {"id": 7, "bbox": [1, 2, 1, 2]}
    assert dents(collection(marked, title="a hood")) == [
        {"panel": "hood", "dents": [{"x": 1, "y": 2, "mm": 9}]}
    ]


@settings(max_examples=examples(60))
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["hood", "roof"]),
            st.decimals(-100, 2000, places=2),
            st.decimals(-100, 2000, places=2),
            st.decimals("0.1", 60, places=1),
            st.sampled_from(["", "sharp", "edge+sharp"]),
        ),
        max_size=8,
    )
)
def test_marks_in_geojson_and_in_csv_are_the_same_claim(
    rows: list[tuple[str, Decimal, Decimal, Decimal, str]],
) -> None:
    features = [
        point(float(x), float(y), panel=panel, mm=float(mm), marks=marks)
        for panel, x, y, mm, marks in rows
    ]
    table = "".join(f"{p},{x:f},{y:f},{mm:f},{marks}\n" for p, x, y, mm, marks in rows)
    from_csv = panels_from_dents(f"panel,x,y,mm,marks\n{table}", "marks.csv")
    there, back = (
        as_json(require_claim(claim_from_data(claim(*panels))))
        for panels in (dents(collection(*features)), from_csv)
    )
    assert there == back


@pytest.mark.parametrize(
    ("geometry", "found"),
    [
        ({"type": "MultiPoint", "coordinates": [[1, 2]]}, 'a "MultiPoint"'),
        ({"type": "LineString", "coordinates": [[1, 2], [3, 4]]}, 'a "LineString"'),
        ({"type": "Polygon", "coordinates": [RING]}, 'a "Polygon"'),
        ({"type": "GeometryCollection", "geometries": []}, 'a "GeometryCollection"'),
        ({"type": "point", "coordinates": [1, 2]}, 'a "point"'),
        ({"type": 7, "coordinates": [1, 2]}, "no geometry"),
        (None, "no geometry"),
        ([1, 2], "no geometry"),
    ],
)
def test_a_dent_is_a_point(geometry: Any, found: str) -> None:
    text = collection(point(1, 2, panel="hood", mm=9), feature(geometry, panel="hood", mm=9))
    assert mistakes(text) == [("features[1].geometry", found, "a Point, one a dent")]


@pytest.mark.parametrize(
    "position", [[1, 2, 3], [1], [], None, "1 2", [[1, 2]], ["1", "2"], [True, 2], {"x": 1, "y": 2}]
)
def test_a_place_is_two_numbers(position: Any) -> None:
    geometry = {"type": "Point", "coordinates": position}
    ((place, _, expected),) = mistakes(collection(feature(geometry, panel="hood", mm=9)))
    assert place == "features[0].geometry.coordinates"
    assert expected == "[x, y] in millimetres"


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e99999"])
def test_numbers_that_json_has_not_or_that_have_no_measure(number: str) -> None:
    text = collection(point(123, 2, panel="hood", mm=9)).replace("123", number)
    ((_, found, expected),) = mistakes(text)
    assert number in found
    assert "number" in expected


def test_an_unknown_property_is_named() -> None:
    text = collection(point(1, 2, panel="hood", mm=9, depth=3, size="dime"))
    assert mistakes(text) == [
        ("features[0].properties", 'the unknown property "depth"', "one of panel, mm, mm2, marks"),
        ("features[0].properties", 'the unknown property "size"', "one of panel, mm, mm2, marks"),
    ]


@pytest.mark.parametrize("marks", [["bent"], "bent", "sharp+bent", 7, None, {"sharp": 1}, [["a"]]])
def test_an_unknown_mark_is_named(marks: Any) -> None:
    ((place, _, expected),) = mistakes(collection(point(1, 2, panel="hood", mm=9, marks=marks)))
    assert place == "features[0].properties.marks"
    assert expected == "marks: braced, glue-only, body-line, sharp, edge"


@pytest.mark.parametrize(
    "other", [None, 7, {}, {"type": "Feature"}, point(1, 2) | {"type": "feature"}, PLATE]
)
def test_what_is_no_feature(other: Any) -> None:
    assert mistakes(collection(other)) == [
        ("features[0]", "something else", "a Feature with properties")
    ]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        (json.dumps(PLATE), 'a GeoJSON "Polygon"'),
        (json.dumps({"type": "Point", "coordinates": [1, 2]}), 'a GeoJSON "Point"'),
        ("[]", "no GeoJSON object"),
        ("7", "no GeoJSON object"),
        ("null", "no GeoJSON object"),
        ("{}", "no GeoJSON object"),
        ('{"type": ["FeatureCollection"]}', "no GeoJSON object"),
    ],
)
def test_what_is_no_collection(text: str, found: str) -> None:
    assert mistakes(text) == [("", found, "a FeatureCollection (RFC 7946)")]


@pytest.mark.parametrize("features", [None, {}, "x"])
def test_a_collection_has_a_list_of_features(features: Any) -> None:
    text = json.dumps({"type": "FeatureCollection", "features": features})
    assert mistakes(text) == [("features", "no list", "a list of features")]
    assert mistakes('{"type": "FeatureCollection"}') == [
        ("features", "no list", "a list of features")
    ]


@pytest.mark.parametrize("text", ["", "{", '{"type": }', "hood,1,2", "{'type': 'Point'}"])
def test_broken_json_is_told_with_line_and_column(text: str) -> None:
    ((place, _, expected),) = mistakes(text)
    assert place.startswith("line 1, column ")
    assert expected == "JSON (RFC 8259)"


def test_a_key_twice_is_refused() -> None:
    text = collection(point(1, 2, panel="hood", mm=9)).replace('"mm": 9', '"mm": 9, "mm": 12')
    ((_, found, _),) = mistakes(text)
    assert found == 'the key "mm" twice in one object'


def test_a_coordinate_reference_system_is_refused() -> None:
    """RFC 7946, section 4, did away with it; a file that has one is not in millimetres."""
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:OGC:1.3:CRS84"}}
    text = collection(point(1, 2, panel="hood", mm=9), crs=crs)
    for read in (dents, outlines):
        found = mistakes(text, read)
        assert found[0] == (
            "crs",
            "a coordinate reference system",
            "none: coordinates are millimetres on the panel",
        )


def test_all_mistakes_of_a_file_are_told_together() -> None:
    text = collection(
        point(1, 2, panel="hood", mm=9, depth=3),
        feature(None, panel="hood", mm=9),
        7,
        point(1, 2, panel="hood", mm=9, marks="bent"),
    )
    assert [place for place, _, _ in mistakes(text)] == [
        "features[0].properties",
        "features[1].geometry",
        "features[2]",
        "features[3].properties.marks",
    ]


def test_a_dent_without_panel_or_size_is_caught_with_the_claim() -> None:
    panels = dents(collection(point(1, 2, panel="hood")))
    problems = claim_from_data(claim(*panels)).problems
    assert [problem.place for problem in problems] == ["panels[0].dents[0].mm"]
    with pytest.raises(InputError) as caught:
        dents(collection(point(1, 2, mm=9), point(1, 2, mm=9, panel=7)))
    assert [(problem.place, problem.found) for problem in caught.value.problems] == [
        ("features[0].properties.panel", "nothing"),
        ("features[1].properties.panel", "7"),
    ]


# --- outlines ---------------------------------------------------------------------------------


def test_outlines_and_zones_are_gathered_by_panel() -> None:
    line = {"type": "LineString", "coordinates": [[0, 300], [1000, 300]]}
    text = collection(
        feature(line, panel="hood", kind="body-line", reach_mm=2.5),
        feature(PLATE, panel="hood", kind="outline"),
        feature(None, panel="hood", kind="edge", reach_mm=25),
        feature(PLATE, panel="roof", kind="braced"),
    )
    assert outlines(text) == {
        "hood": {
            "outline": PLATE,
            "zones": [
                {"kind": "body-line", "shape": line, "reach_mm": Decimal("2.5")},
                {"kind": "edge", "reach_mm": 25},
            ],
        },
        "roof": {"zones": [{"kind": "braced", "shape": PLATE}]},
    }


def test_an_outlines_file_is_a_sound_part_of_a_claim() -> None:
    text = collection(
        feature(PLATE, panel="hood", kind="outline"),
        feature(None, panel="hood", kind="edge", reach_mm=25),
    )
    panel = {"panel": "hood", "dents": [{"mm": 9, "x": 10, "y": 300}], **outlines(text)["hood"]}
    assert claim_from_data(claim(panel)).problems == ()


@pytest.mark.parametrize(
    ("properties", "place", "found"),
    [
        ({"panel": "wing", "kind": "outline"}, "features[0].panel", '"wing"'),
        ({"kind": "outline"}, "features[0].panel", '"None"'),
        ({"panel": "hood", "kind": "hole"}, "features[0].kind", '"hole"'),
        ({"panel": "hood"}, "features[0].kind", '"None"'),
        ({"panel": "hood", "kind": "sharp"}, "features[0].kind", '"sharp"'),
        (
            {"panel": "hood", "kind": "edge", "reach_mm": "25"},
            "features[0].properties.reach_mm",
            '"25"',
        ),
        (
            {"panel": "hood", "kind": "edge", "reach_mm": True},
            "features[0].properties.reach_mm",
            "True",
        ),
        (
            {"panel": "hood", "kind": "edge", "reach_mm": None},
            "features[0].properties.reach_mm",
            "None",
        ),
        (
            {"panel": "hood", "kind": "outline", "name": "mine"},
            "features[0].properties",
            'the unknown property "name"',
        ),
    ],
)
def test_a_mistake_in_an_outlines_file(properties: Table, place: str, found: str) -> None:
    ((where, what, _),) = mistakes(collection(feature(PLATE, **properties)), outlines)
    assert (where, what) == (place, found)


def test_one_outline_a_panel() -> None:
    text = collection(
        feature(PLATE, panel="hood", kind="outline"), feature(PLATE, panel="hood", kind="outline")
    )
    assert mistakes(text, outlines) == [
        ("features[1]", "a second outline of the hood", "one outline a panel")
    ]


def test_an_outline_without_a_geometry_is_caught_with_the_claim() -> None:
    found = outlines(collection(feature(None, panel="hood", kind="outline")))
    assert found == {"hood": {"outline": ""}}


# --- whatever is sent -------------------------------------------------------------------------

leaves: st.SearchStrategy[Any] = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=3)
    | st.sampled_from(["hood", "sharp", "outline", "Point", "Feature", 10**400])
)
anything = st.recursive(
    leaves,
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(["type", "coordinates", "properties", "panel", "kind", "mm", "marks"]),
            inner,
            max_size=4,
        )
    ),
    max_leaves=12,
)


@settings(max_examples=examples(300))
@given(anything, st.sampled_from(["geometry", "properties", "feature", "features", "all"]))
def test_anything_at_all_is_read_or_refused(value: Any, place: str) -> None:
    whole = {"type": "FeatureCollection", "features": [point(1, 2, panel="hood", mm=9)]}
    if place == "all":
        whole = value
    elif place == "features":
        whole["features"] = value
    elif place == "feature":
        whole["features"] = [value]
    else:
        whole["features"] = [point(1, 2, panel="hood", mm=9) | {place: value}]
    text = json.dumps(whole)
    for read in (dents, outlines):
        try:
            found: Any = read(text)
        except InputError as error:
            found = [str(problem) for problem in error.problems]
        assert isinstance(found, list | dict)
        assert all(found)
