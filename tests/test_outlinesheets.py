"""Generic outlines to look at, to change and to count on by hand.

Sizes in mm; pages are read back from the file, in points.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from fractions import Fraction
from io import BytesIO
from pathlib import Path

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader

from hailcalc.counting.geojson import outlines_from_geojson
from hailcalc.counting.survey import panel_shape
from hailcalc.estimate import price
from hailcalc.intake import take_in
from hailcalc.outlinesheets import (
    Sizes,
    body_outlines,
    counting_pdf,
    outlines_geojson,
    outlines_text,
)
from hailcalc.sheet.pdf import PAPERS
from hailcalc.vehicle import BODIES, PANEL_LABELS, PANELS, PANELS_OF_BODY
from hailcalc.vehicle.outlines import AREA_RANGES, TYPICAL_SIZE, area_range
from hailcalc.vehicle.shapes import PanelShape, generic_shape
from tests.builders import ROOT, claim, estimate, matrix, names, page_texts, panel
from tests.effort import examples
from tests.test_cli import BAD_INPUT, DONE, hailcalc
from tests.test_drawing import Ink, ink
from tests.test_sheet_pdf import Box, fragments, overlaps

TYPICAL: Sizes = (None, None, None)
MATRIX = str(ROOT / "matrices" / "copperfin-2026.toml")
MARGIN = 42.0


def panels_of(body: str) -> list[str]:
    return [name for name in PANELS if name in PANELS_OF_BODY[body]]


def same_shape(one: PanelShape, other: PanelShape) -> bool:
    """Whether outlines and zones are the same, ring by ring, whatever point they begin with."""
    return (
        one.outline.normalize().equals_exact(other.outline.normalize(), 0)
        and [(zone.kind, zone.reach_mm) for zone in one.zones]
        == [(zone.kind, zone.reach_mm) for zone in other.zones]
        and all(
            a.geometry.normalize().equals_exact(b.geometry.normalize(), 0)
            for a, b in zip(one.zones, other.zones, strict=True)
        )
    )


# --- GeoJSON ----------------------------------------------------------------------------------


@pytest.mark.parametrize("body", BODIES)
def test_outlines_written_and_read_back_by_price_are_the_same_shapes(
    tmp_path: Path, body: str
) -> None:
    """What a shop begins with, before it moves a point, changes no count and no price."""
    (tmp_path / "own.geojson").write_text(outlines_geojson(body, TYPICAL), "utf-8")
    parts = []
    for name, drawn in zip(panels_of(body), body_outlines(body), strict=True):
        place = generic_shape(drawn).outline.representative_point()
        dent = {"mm": 12, "x": round(place.x, 1), "y": round(place.y, 1)}
        parts.append({"panel": name, "dents": [dent]})
    (tmp_path / "claim.json").write_text(json.dumps(claim(*parts, body=body)))
    own = take_in(tmp_path / "claim.json", MATRIX, outlines=tmp_path / "own.geojson")
    plain = take_in(tmp_path / "claim.json", MATRIX)
    for mine, drawn in zip(own.claim.panels, body_outlines(body), strict=True):
        shape, problems = panel_shape(mine, own.claim.vehicle)
        assert problems == []
        assert shape is not None
        assert not shape.generic
        assert same_shape(shape, generic_shape(drawn))
    ours, generic = price(own.claim, own.compiled), price(plain.claim, plain.compiled)
    assert ours.totals == generic.totals
    assert [result.count for result in ours.panels] == [result.count for result in generic.panels]


@settings(max_examples=examples(16))
@given(
    st.sampled_from(BODIES),
    st.integers(3000, 6500),
    st.integers(1300, 2400),
    st.integers(1000, 3000),
)
def test_outlines_of_any_size_are_read_back_as_they_were_written(
    body: str, length: int, width: int, height: int
) -> None:
    sizes = length, width, height
    read = outlines_from_geojson(outlines_geojson(body, sizes), "own.geojson")
    vehicle = {"length_mm": length, "width_mm": width, "height_mm": height}
    assert list(read) == panels_of(body)
    for (name, keys), drawn in zip(read.items(), body_outlines(body, sizes), strict=True):
        whole = estimate(claim(panel(name, **keys), body=body, vehicle=vehicle))
        survey = whole.panels[0].survey
        assert survey is not None
        assert same_shape(survey.shape, generic_shape(drawn))


@pytest.mark.parametrize("body", BODIES)
def test_the_geojson_is_rfc_7946_with_closed_rings_and_a_feature_a_line(body: str) -> None:
    text = outlines_geojson(body, TYPICAL)
    data = json.loads(text)
    assert data.keys() == {"type", "features"}
    assert len(text.splitlines()) == len(data["features"]) + 2, "a shop edits and compares lines"
    for feature in data["features"]:
        assert feature.keys() == {"type", "properties", "geometry"}
        assert feature["type"] == "Feature"
        geometry = feature["geometry"]
        if geometry is None:
            assert feature["properties"]["kind"] == "edge"
            assert feature["properties"]["reach_mm"] > 0
        elif geometry["type"] == "Polygon":
            (ring,) = geometry["coordinates"]
            assert ring[0] == ring[-1]
            assert len(ring) >= 4
            assert shapely.is_ccw(shapely.LinearRing(ring)), "counter-clockwise, RFC 7946 3.1.6"
        else:
            assert geometry["type"] == "LineString"
            assert feature["properties"]["reach_mm"] > 0


# --- the table --------------------------------------------------------------------------------


def rows_of(text: str) -> list[list[str]]:
    return [re.split(r" {2,}", line) for line in text.splitlines()]


@pytest.mark.parametrize("body", BODIES)
def test_the_table_has_a_row_a_panel_with_box_area_and_zones(body: str) -> None:
    head, *rows = rows_of(outlines_text(body, TYPICAL))
    assert head == ["Panel", "Width, mm", "Height, mm", "Area, m²", "Plausible", "Zones"]
    assert [row[0] for row in rows] == [PANEL_LABELS["us"][name] for name in panels_of(body)]
    for row, name, drawn in zip(rows, panels_of(body), body_outlines(body), strict=True):
        shape = generic_shape(drawn)
        left, bottom, right, top = shape.outline.bounds
        assert (left, bottom) == (0, 0)
        assert row[1:3] == [f"{right:.0f}", f"{top:.0f}"]
        assert Fraction(row[3]) == Fraction(f"{shape.outline.area / 1e6:.3f}")
        low, high = area_range(body, name)
        assert low <= float(row[3]) <= high
        assert [float(end) for end in row[4].split("–")] == [low, high]
        told = {
            kind: int(number) for number, kind in (entry.split() for entry in row[5].split(", "))
        }
        assert sum(told.values()) == len(shape.zones)
        for zone in shape.zones:
            assert zone.kind in told
    assert AREA_RANGES


def test_uk_labels_name_the_panels() -> None:
    assert "Bonnet" in outlines_text("hatch", TYPICAL, "uk")
    assert "Hood" not in outlines_text("hatch", TYPICAL, "uk")


def test_outlines_grow_with_the_vehicle_each_way_by_itself() -> None:
    """A hood is as long as the vehicle's length has it and as wide as its width."""
    typical = TYPICAL_SIZE["sedan"]

    def hood(sizes: Sizes) -> tuple[int, int, float]:
        row = rows_of(outlines_text("sedan", sizes))[1]
        assert row[0] == "Hood"
        return int(row[1]), int(row[2]), float(row[3])

    width, height, area = hood(TYPICAL)
    assert hood((typical.length_mm, typical.width_mm, typical.height_mm)) == (width, height, area)
    longer = hood((round(typical.length_mm * 1.2), None, None))
    assert longer[0] == width
    assert longer[1] == pytest.approx(height * 1.2, abs=1)
    assert longer[2] == pytest.approx(area * 1.2, rel=0.005)
    wider = hood((None, round(typical.width_mm * 1.1), None))
    assert wider[0] == pytest.approx(width * 1.1, abs=1)
    assert wider[1] == height
    assert hood((None, None, typical.height_mm + 300)) == (width, height, area)


def test_a_door_is_as_long_as_the_length_has_it_and_as_high_as_the_height() -> None:
    typical = TYPICAL_SIZE["sedan"]

    def door(sizes: Sizes) -> tuple[int, int]:
        (row,) = [r for r in rows_of(outlines_text("sedan", sizes)) if r[0] == "Left front door"]
        return int(row[1]), int(row[2])

    width, height = door(TYPICAL)
    higher = door((None, None, round(typical.height_mm * 1.2)))
    assert higher[0] == width
    assert higher[1] == pytest.approx(height * 1.2, abs=1)
    assert door((None, typical.width_mm + 200, None)) == (width, height)


# --- the sheets -------------------------------------------------------------------------------


def rings_of(pdf: bytes) -> list[Ink]:
    """Outlines, which are drawn with the broadest line."""
    return [path for path in ink(pdf) if path.width == 0.9 and path.ways.endswith("h")]


def test_the_same_body_gives_the_same_bytes() -> None:
    for sizes in (TYPICAL, (4180, 1775, 1462)):
        assert counting_pdf("hatch", sizes) == counting_pdf("hatch", sizes)
    script = (
        "import sys; from hailcalc.outlinesheets import counting_pdf\n"
        "sys.stdout.buffer.write(counting_pdf('hatch', (None, None, None)))\n"
    )
    settings_ = {"PYTHONHASHSEED": "77", "TZ": "Asia/Tokyo", "LC_ALL": "C"}
    elsewhere = subprocess.run(
        [sys.executable, "-c", script],
        cwd=ROOT,
        env=os.environ | settings_,
        capture_output=True,
        check=True,
    )
    assert elsewhere.stdout == counting_pdf("hatch", TYPICAL)


@pytest.mark.parametrize(
    ("body", "paper"), [(body, ("letter", "a4")[k % 2]) for k, body in enumerate(BODIES)]
)
def test_every_panel_is_drawn_once_to_scale_two_or_more_a_page(body: str, paper: str) -> None:
    pdf = counting_pdf(body, TYPICAL, paper=paper)
    pages = PdfReader(BytesIO(pdf)).pages
    width, height = PAPERS[paper]
    assert all((float(p.mediabox.width), float(p.mediabox.height)) == PAPERS[paper] for p in pages)
    drawn = rings_of(pdf)
    assert len(drawn) == len(panels_of(body))
    assert len(pages) <= (len(drawn) + 1) // 2, "rails are flat: more than two go on a page"
    for ring, of_panel in zip(drawn, body_outlines(body), strict=True):
        left, bottom, right, top = ring.box
        across, up = (max(axis) for axis in zip(*of_panel.ring, strict=True))
        assert (right - left) / across == pytest.approx((top - bottom) / up, rel=1e-3)
        assert left >= MARGIN - 0.01
        assert right <= width - MARGIN + 0.01
        assert bottom >= MARGIN - 0.01
        assert top <= height - MARGIN
        fills = (right - left) / (width - 2 * MARGIN), (top - bottom) / ((height - 84) / 2 - 54)
        assert max(fills) == pytest.approx(1, abs=0.001), "as large as the place allows"


def test_the_scale_that_is_printed_is_the_scale_that_is_drawn() -> None:
    pdf = counting_pdf("van", TYPICAL)
    told = re.findall(r"1 : ([0-9]+), ticks every 100 mm", " ".join(page_texts(pdf)))
    assert len(told) == len(panels_of("van"))
    for reduction, ring, of_panel in zip(told, rings_of(pdf), body_outlines("van"), strict=True):
        left, _, right, _ = ring.box
        paper_mm = (right - left) / 72 * 25.4
        assert int(reduction) == round(max(x for x, _ in of_panel.ring) / paper_mm)


@pytest.mark.parametrize(
    ("body", "sizes"),
    [("hatch", TYPICAL), ("sedan", (4750, 1820, 1450)), ("van", (5000, 2000, 2000)),
     ("van", (4849, None, None)),
     ("pickup", (6000, 2100, 1900))],
)  # fmt: skip
def test_ticks_stand_every_100_mm_along_two_sides_of_the_box(body: str, sizes: Sizes) -> None:
    pdf = counting_pdf(body, sizes)
    ticks = [path for path in ink(pdf) if path.ways == "ml" and path.width == 0.5]
    for ring, of_panel in zip(rings_of(pdf), body_outlines(body, sizes), strict=True):
        left, bottom, right, _ = ring.box
        across, up = (max(axis) for axis in zip(*of_panel.ring, strict=True))
        step = (right - left) / across * 100
        below = [
            path.box[0]
            for path in ticks
            if path.page == ring.page
            and path.box[0] == path.box[2]
            and abs(path.box[3] - (bottom - 2)) < 0.05
        ]
        beside = [
            path.box[1]
            for path in ticks
            if path.page == ring.page
            and path.box[1] == path.box[3]
            and abs(path.box[2] - (left - 2)) < 0.05
            and bottom - 1 < path.box[1] < bottom + up * step / 100 + 1
        ]
        assert below == pytest.approx([left + k * step for k in range(across // 100 + 1)], abs=0.05)
        assert beside == pytest.approx([bottom + k * step for k in range(up // 100 + 1)], abs=0.05)


@pytest.mark.parametrize(("paper", "labels"), [("letter", "uk"), ("a4", "us")])
def test_nothing_on_the_sheets_overlaps(paper: str, labels: str) -> None:
    width, height = PAPERS[paper]
    for body in ("pickup", "van"):
        pdf = counting_pdf(body, TYPICAL, paper=paper, labels=labels)
        pieces, painted = fragments(pdf), ink(pdf)
        for page in {piece.page for piece in pieces}:
            boxes = [
                Box(p.x, p.right, p.y - 0.22 * p.size, p.y + 0.76 * p.size, p.text)
                for p in pieces
                if p.page == page
            ]
            assert list(overlaps(boxes)) == []
            for box in boxes:
                assert box.left >= MARGIN - 0.5
                assert box.right <= width - MARGIN + 0.5
                assert box.foot > 28
                assert box.top < height - 28
                assert not [
                    path
                    for path in painted
                    if path.page == page
                    for x, y in path.points
                    if box.left < x < box.right and box.foot < y < box.top
                ]
        for path in painted:
            left, bottom, right, top = path.box
            assert left >= MARGIN - 8
            assert bottom >= MARGIN - 8
            assert right <= width - MARGIN + 1
            assert top <= height - MARGIN + 1


def test_the_sheets_are_empty_of_dents_and_name_each_panel() -> None:
    pdf = counting_pdf("coupe", TYPICAL, labels="uk")
    assert not [path for path in ink(pdf) if "c" in path.ways]
    printed = " ".join(page_texts(pdf))
    for name in panels_of("coupe"):
        assert PANEL_LABELS["uk"][name] in printed
    assert "generic outline" in printed


def test_a_larger_vehicle_is_drawn_at_a_smaller_scale() -> None:
    def scale(sizes: Sizes) -> int:
        told = re.findall(r"1 : ([0-9]+),", " ".join(page_texts(counting_pdf("sedan", sizes))))
        return int(told[0])

    assert scale((6200, None, None)) > scale(TYPICAL)


# --- the command ------------------------------------------------------------------------------


def test_the_command_prints_the_table_and_writes_both_files(tmp_path: Path) -> None:
    ran = hailcalc(
        "outlines", "hatch", "--length", "4180", "--width", "1775", "--height", "1462",
        "--geojson", tmp_path / "h.geojson", "--pdf", tmp_path / "h.pdf", "--paper", "a4",
    )  # fmt: skip
    sizes = 4180, 1775, 1462
    assert (ran.returncode, ran.stderr) == (DONE, "")
    assert ran.stdout == outlines_text("hatch", sizes)
    assert (tmp_path / "h.geojson").read_text("utf-8") == outlines_geojson("hatch", sizes)
    assert (tmp_path / "h.pdf").read_bytes() == counting_pdf("hatch", sizes, paper="a4")
    assert names(tmp_path) == ["h.geojson", "h.pdf"]


@pytest.mark.parametrize("arguments", [["hearse"], ["hatch", "--length", "1999"]])
def test_a_body_or_a_size_that_can_not_be_is_refused(arguments: list[str]) -> None:
    ran = hailcalc("outlines", *arguments)
    assert (ran.returncode, ran.stdout) == (BAD_INPUT, "")
    assert "Traceback" not in ran.stderr


def test_if_one_file_can_not_be_written_neither_is(tmp_path: Path) -> None:
    (tmp_path / "h.pdf").mkdir()
    ran = hailcalc(
        "outlines", "hatch", "--geojson", tmp_path / "h.geojson", "--pdf", tmp_path / "h.pdf"
    )
    assert (ran.returncode, ran.stdout) == (BAD_INPUT, "")
    assert names(tmp_path) == ["h.pdf"]


def test_both_into_one_file_is_a_mistake_as_with_the_sheets(tmp_path: Path) -> None:
    same = tmp_path / "hatch"
    ran = hailcalc("outlines", "hatch", "--geojson", same, "--pdf", same)
    assert ran.returncode == BAD_INPUT
    assert names(tmp_path) == []


def test_the_help_has_an_example() -> None:
    ran = hailcalc("outlines", "--help")
    assert ran.returncode == DONE
    assert "Example: hailcalc outlines hatch" in " ".join(ran.stdout.split())


def test_a_claim_priced_on_the_outlines_it_was_given_says_so_on_its_sheet() -> None:
    keys = outlines_from_geojson(outlines_geojson("sedan", TYPICAL), "own")["hood"]
    priced = estimate(
        claim(panel("hood", dents=[{"mm": 12, "x": 700, "y": 500}], **keys)), matrix()
    )
    survey = priced.panels[0].survey
    assert survey is not None
    assert not survey.shape.generic
