"""The outlines that dents are counted on: every panel of a body, scaled to the vehicle, in mm."""

from __future__ import annotations

import subprocess
import sys
from typing import Any

import httpx
import pytest

from hailcalc.vehicle import BODIES, PANELS, PANELS_OF_BODY
from hailcalc.vehicle.outlines import TYPICAL_SIZE, area_mm2, outline
from tests.api.conftest import places, problem


def outlines(client: httpx.Client, body: str, **sizes: int) -> dict[str, Any]:
    response = client.get(f"/v1/outlines/{body}", params=sizes)
    assert response.status_code == 200, response.text
    found: dict[str, Any] = response.json()
    return found


@pytest.mark.parametrize("body", BODIES)
def test_a_body_has_an_outline_of_each_of_its_panels_in_the_order_of_the_sheet(
    client: httpx.Client, body: str
) -> None:
    answer = outlines(client, body)

    assert list(answer["panels"]) == [each for each in PANELS if each in PANELS_OF_BODY[body]]
    assert answer["body"] == body
    assert answer["generic"] is True


def test_without_sizes_it_is_a_typical_vehicle_and_says_which(client: httpx.Client) -> None:
    answer = outlines(client, "wagon", width_mm=1900)

    typical = TYPICAL_SIZE["wagon"]
    assert answer["length_mm"] == typical.length_mm
    assert answer["width_mm"] == 1900
    assert answer["height_mm"] == typical.height_mm


def test_a_panel_is_drawn_with_its_zones_for_the_size_that_is_asked_for(
    client: httpx.Client,
) -> None:
    answer = outlines(client, "suv", length_mm=4900, width_mm=1950, height_mm=1800)

    for name, drawn in answer["panels"].items():
        expected = outline("suv", name, 4900, 1950, 1800)
        assert drawn["ring"] == [list(point) for point in expected.ring]
        assert drawn["zones"] == [
            {
                "kind": zone.kind,
                "form": zone.form,
                "points": [list(point) for point in zone.points],
                "reach_mm": zone.reach_mm,
            }
            for zone in expected.zones
        ]
        assert drawn["area_mm2"] == area_mm2(expected.ring)


def test_a_hood_of_twice_the_width_is_twice_as_wide(client: httpx.Client) -> None:
    narrow = outlines(client, "sedan", width_mm=1300)["panels"]["hood"]
    wide = outlines(client, "sedan", width_mm=2600)["panels"]["hood"]

    assert max(x for x, _ in wide["ring"]) == pytest.approx(
        2 * max(x for x, _ in narrow["ring"]), abs=1
    )
    assert max(y for _, y in wide["ring"]) == max(y for _, y in narrow["ring"])


def test_the_smallest_and_the_largest_vehicle_are_drawn(client: httpx.Client) -> None:
    outlines(client, "coupe", length_mm=2000, width_mm=1000, height_mm=900)
    outlines(client, "van", length_mm=9000, width_mm=2600, height_mm=3500)


@pytest.mark.parametrize(
    ("query", "place"),
    [
        ("length_mm=1999", "/length_mm"),
        ("length_mm=9001", "/length_mm"),
        ("width_mm=999", "/width_mm"),
        ("width_mm=2601", "/width_mm"),
        ("height_mm=899", "/height_mm"),
        ("height_mm=3501", "/height_mm"),
        ("length_mm=4700.5", "/length_mm"),
        ("length_mm=4%2C7", "/length_mm"),
        ("length_mm=NaN", "/length_mm"),
        ("length_mm=", "/length_mm"),
        ("depth_mm=1000", "/depth_mm"),
    ],
)
def test_a_size_that_no_vehicle_has_is_refused_by_name(
    client: httpx.Client, query: str, place: str
) -> None:
    document = problem(client.get(f"/v1/outlines/sedan?{query}"), 422)

    assert document["type"] == "/problems/invalid-parameter"
    assert places(document) == [("query", place)]


def test_all_sizes_that_will_not_do_are_listed_together(client: httpx.Client) -> None:
    response = client.get("/v1/outlines/sedan?length_mm=1&width_mm=1&height_mm=1")

    assert places(problem(response, 422)) == [
        ("query", "/length_mm"),
        ("query", "/width_mm"),
        ("query", "/height_mm"),
    ]


@pytest.mark.parametrize("body", ["boat", "Sedan", "sedan%00", "%2e%2e"])
def test_a_body_that_is_not_known_is_refused_with_those_that_are(
    client: httpx.Client, body: str
) -> None:
    document = problem(client.get(f"/v1/outlines/{body}"), 404)

    assert document["type"] == "/problems/no-such-body"
    assert places(document) == [("path", "/body")]
    assert document["errors"][0]["expected"] == "one of " + ", ".join(BODIES)


def test_an_outline_names_nobody_and_may_be_kept(client: httpx.Client) -> None:
    assert "max-age=86400" in client.get("/v1/outlines/sedan").headers["cache-control"]
    assert client.get("/v1/outlines/boat").headers["cache-control"] == "no-store"


def test_outlines_are_drawn_without_the_library_of_geometry() -> None:
    # It takes long to import, and a server that only draws has no use for it.
    script = (
        "import sys; from api.routes.outlines import OutlineQuery, body_outlines; "
        "body_outlines('sedan', OutlineQuery()); print('shapely' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)

    assert done.stdout.strip() == "False", done.stderr
