"""Panels drawn on the claim sheet: outlines, hatching, dents and squares to scale.

Places on a panel in mm, places on paper in points, origin bottom left. Marks are those that the
page setter puts, or are read back from the finished file operator by operator.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from io import BytesIO
from itertools import pairwise
from math import cos, hypot, pi, sin
from typing import Any

import pikepdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader
from shapely.geometry import LineString, MultiPoint, Polygon, box
from shapely.geometry.base import BaseGeometry

from hailcalc.estimate import Estimate
from hailcalc.sheet import pdf as sheet_drawing
from hailcalc.sheet.counts import panels_drawn
from hailcalc.sheet.document import digest
from hailcalc.sheet.drawing import (
    MAX_DRAWN,
    DrawnDent,
    Frame,
    frame_for,
    hatch,
    legend_marks,
    outline_marks,
    panel_drawing,
    panel_frame,
)
from hailcalc.sheet.layout import BoxMark, CircleMark, Flow, Mark, PathMark, RuleMark, TextMark
from hailcalc.sheet.pdf import PAPERS, sheet_pdf
from hailcalc.sheet.pdfcheck import verify_pdf
from hailcalc.vehicle import BODIES, PANELS, PANELS_OF_BODY
from hailcalc.vehicle.outlines import outline
from hailcalc.vehicle.shapes import PanelShape, ShapeZone, generic_shape
from tests.builders import (
    DEMO,
    FULLEST,
    PICKUP,
    SMALLEST,
    Table,
    claim,
    demo_estimate,
    estimate,
    matrix,
    page_texts,
    panel,
)
from tests.effort import examples
from tests.test_sheet_pdf import page_faults

MARGIN = 42.0
GAP = 3.4
"""Between the strokes of hatching, points."""

# --- reading ink back from a file -------------------------------------------------------------

_PAINTS = {
    b"S": (True, False), b"s": (True, False), b"f": (False, True), b"f*": (False, True),
    b"B": (True, True), b"B*": (True, True), b"b": (True, True), b"b*": (True, True),
    b"n": (False, False),
}  # fmt: skip
_COLOURED = {b"rg", b"RG", b"k", b"K", b"cs", b"CS", b"sc", b"SC", b"scn", b"SCN", b"sh", b"Do"}


@dataclass(frozen=True)
class Ink:
    """A path that a page paints: its points, and how. `ways` has its operators, m l c h re."""

    page: int
    ways: str
    points: tuple[tuple[float, float], ...]
    stroke: float | None
    fill: float | None
    width: float
    dashed: bool

    @property
    def box(self) -> tuple[float, float, float, float]:
        xs, ys = zip(*self.points, strict=True)
        return min(xs), min(ys), max(xs), max(ys)


def ink(pdf: bytes) -> list[Ink]:
    """Every painted path of a file, in the order in which it is painted."""
    found: list[Ink] = []
    for number, page in enumerate(PdfReader(BytesIO(pdf)).pages, 1):
        contents = page.get_contents()
        assert contents is not None
        stroke, fill, width, dashed = 0.0, 0.0, 1.0, False
        ways, points = "", list[tuple[float, float]]()
        for operands, operator in contents.operations:
            assert operator not in _COLOURED, f"page {number} is painted in colour"
            if operator == b"cm":
                assert [float(part) for part in operands] == [1, 0, 0, 1, 0, 0]
            elif operator == b"G":
                stroke = float(operands[0])
            elif operator == b"g":
                fill = float(operands[0])
            elif operator == b"w":
                width = float(operands[0])
            elif operator == b"d":
                dashed = bool(operands[0])
            elif operator in (b"m", b"l", b"c"):
                ways += operator.decode()
                numbers = [float(part) for part in operands]
                points += zip(numbers[::2], numbers[1::2], strict=True)
            elif operator == b"h":
                ways += "h"
            elif operator == b"re":
                x, y, across, up = (float(part) for part in operands)
                ways += "r"
                points += [(x, y), (x + across, y), (x + across, y + up), (x, y + up)]
            elif operator in _PAINTS:
                strokes, fills = _PAINTS[operator]
                if points and (strokes or fills):
                    inks = (stroke if strokes else None, fill if fills else None)
                    found.append(Ink(number, ways, tuple(points), *inks, width, dashed))
                ways, points = "", []
    return found


def is_circle(path: Ink) -> bool:
    """Whether a path is four curves about a point, as circles are drawn in PDF."""
    left, bottom, right, top = path.box
    return path.ways.startswith("mcccc") and abs((right - left) - (top - bottom)) < 0.01


# --- claims to draw ---------------------------------------------------------------------------


def dent(x: float, y: float, mm: float = 12, **more: Any) -> Table:
    return {"mm": mm, "x": x, "y": y, **more}


def shape_of(body: str, name: str) -> PanelShape:
    return generic_shape(outline(body, name))


def inner_points(shape: PanelShape, count: int) -> list[tuple[float, float]]:
    """Places well on a panel, spread evenly."""
    inner = shape.outline.buffer(-8)
    left, bottom, right, top = inner.bounds
    found: list[tuple[float, float]] = []
    steps = 4
    while len(found) < count:
        steps *= 2
        grid = [
            (round(left + (right - left) * (i + 0.5) / steps), round(y))
            for j in range(steps)
            for i in range(steps)
            for y in [bottom + (top - bottom) * (j + 0.5) / steps]
        ]
        found = [place for place in grid if inner.covers(MultiPoint([place]))]
    step = len(found) / count
    return [found[int(k * step)] for k in range(count)]


def marked_panel(body: str, name: str, count: int = 9, mm: float = 12) -> Table:
    places = inner_points(shape_of(body, name), count)
    return {"panel": name, "dents": [dent(x, y, mm) for x, y in places]}


PLATE = "POLYGON ((0 0, 1000 0, 1000 600, 0 600, 0 0))"


def drawn_pages(priced: Estimate, paper: str = "letter", labels: str = "us") -> Flow:
    """Only the annex of a sheet, on pages of its own."""
    sheet = sheet_drawing._sheet(priced, labels)
    flow = Flow(*PAPERS[paper], MARGIN, top=54, bottom=52)
    panels_drawn(flow, sheet)
    return flow


def marks_of(flow: Flow) -> list[Mark]:
    return [mark for page in flow.pages for mark in page]


def texts_of(flow: Flow) -> list[str]:
    return [mark.text for mark in marks_of(flow) if isinstance(mark, TextMark)]


def circles(marks: Sequence[Mark]) -> list[CircleMark]:
    return [mark for mark in marks if isinstance(mark, CircleMark)]


# --- hatching ---------------------------------------------------------------------------------


@st.composite
def plates(draw: st.DrawFn) -> list[list[tuple[float, float]]]:
    """Rings of a plate: a star about its middle, at times with a hole, at times a second plate."""
    number = draw(st.integers(3, 14))
    reaches = draw(st.lists(st.floats(15, 120), min_size=number, max_size=number))
    x, y = draw(st.floats(-50, 400)), draw(st.floats(-50, 600))
    outer = [
        (x + reach * cos(2 * pi * k / number), y + reach * sin(2 * pi * k / number))
        for k, reach in enumerate(reaches)
    ]
    rings = [outer]
    inner = draw(st.sampled_from([0.0, 0.3, 0.6]))
    if inner:
        rings.append([(x + (a - x) * inner, y + (b - y) * inner) for a, b in outer])
    if draw(st.booleans()):
        rings.append([(a + 300, b) for a, b in outer])
    return rings


def even_odd(rings: Sequence[Sequence[tuple[float, float]]]) -> BaseGeometry:
    area: BaseGeometry = Polygon()
    for ring in rings:
        area = area.symmetric_difference(Polygon(ring))
    return area


@settings(max_examples=examples(40))
@given(plates(), st.floats(2.5, 12), st.sampled_from([1, -1]))
def test_strokes_of_hatching_lie_within_the_zone_and_leave_no_part_of_it_out(
    rings: list[list[tuple[float, float]]], gap: float, way: int
) -> None:
    """Held against shapely: on each line the strokes are what lies within, no more and no less."""
    area = even_odd(rings)
    strokes = list(hatch(rings, gap, way))
    step = gap * 2**0.5
    by_line: Counter[int] = Counter()
    for (x, y), (x2, y2) in strokes:
        assert abs((y2 - y) - way * (x2 - x)) < 1e-6, "at 45 degrees one way, at 135 the other"
        assert area.buffer(1e-6).covers(LineString([(x, y), (x2, y2)]))
        number = (y - way * x) / step
        assert abs(number - round(number)) < 1e-6, "whole multiples of the gap"
        by_line[round(number)] += 1
    total = sum(hypot(x2 - x, y2 - y) for (x, y), (x2, y2) in strokes)
    left, bottom, right, top = area.bounds
    low = min(bottom - way * left, bottom - way * right)
    high = max(top - way * left, top - way * right)
    lines = [
        LineString([(left - 1, c + way * (left - 1)), (right + 1, c + way * (right + 1))])
        for number in range(int(low / step) - 2, int(high / step) + 3)
        for c in [number * step]
    ]
    within = sum(line.intersection(area).length for line in lines)
    assert abs(total - within) <= 1e-6 * max(1.0, within)


@pytest.mark.parametrize("way", [1, -1])
def test_neighbouring_strokes_are_one_gap_apart(way: int) -> None:
    plate = [(0.0, 0.0), (120.0, 0.0), (120.0, 80.0), (0.0, 80.0)]
    strokes = list(hatch([plate], GAP, way))
    offsets = sorted((y - way * x) / 2**0.5 for (x, y), _ in strokes)
    assert len(offsets) == 41 or len(offsets) == 42
    for before, after in pairwise(offsets):
        assert abs(after - before - GAP) < 1e-9


def test_strokes_of_neighbouring_zones_meet() -> None:
    left = [(0.0, 0.0), (50.0, 0.0), (50.0, 40.0), (0.0, 40.0)]
    right = [(x + 50, y) for x, y in left]
    both = [(0.0, 0.0), (100.0, 0.0), (100.0, 40.0), (0.0, 40.0)]
    apart = sum(hypot(c - a, d - b) for r in (left, right) for (a, b), (c, d) in hatch([r], GAP, 1))
    whole = sum(hypot(c - a, d - b) for (a, b), (c, d) in hatch([both], GAP, 1))
    assert abs(apart - whole) < 1e-6


@pytest.mark.parametrize("rings", [[], [[]], [[(3.0, 3.0)]], [[(0.0, 0.0), (9.0, 9.0)]]])
def test_nothing_is_hatched_where_there_is_no_area(rings: list[list[tuple[float, float]]]) -> None:
    assert list(hatch(rings, GAP, 1)) == []


# --- outlines and zones -----------------------------------------------------------------------


def drawn_zone(kind: Any, geometry: BaseGeometry, reach_mm: float = 0.0) -> list[Mark]:
    """What is drawn of one zone on a plate of 400 by 300 mm, at a point a mm."""
    shape = PanelShape(box(0, 0, 400, 300), (ShapeZone(kind, geometry, reach_mm),), False)
    *zone, ring = outline_marks(shape, Frame(0, 0, 1, 0, 0))
    assert isinstance(ring, PathMark)
    assert ring.closed
    return zone


def slopes(marks: Sequence[Mark]) -> set[int]:
    return {
        round((mark.y2 - mark.y) / (mark.x2 - mark.x))
        for mark in marks
        if isinstance(mark, RuleMark)
    }


def test_kinds_of_zone_are_told_apart_by_their_strokes_not_by_tone() -> None:
    plate = box(50, 50, 200, 150)
    braced, glue_only = drawn_zone("braced", plate), drawn_zone("glue-only", plate)
    assert slopes(braced) == {1}
    assert slopes(glue_only) == {1, -1}
    edge = drawn_zone("edge", box(0, 0, 400, 300).boundary, 20)
    line = drawn_zone("body-line", LineString([(20, 30), (380, 60)]), 3)
    assert slopes(edge) == slopes(line) == set()
    (edge_mark,), (line_mark,) = edge, line
    assert isinstance(edge_mark, PathMark)
    assert isinstance(line_mark, PathMark)
    assert edge_mark.dash
    assert line_mark.dash
    assert edge_mark.dash != line_mark.dash
    assert (edge_mark.closed, line_mark.closed) == (True, False)
    assert line_mark.points == ((20, 30), (380, 60))


def test_an_edge_is_drawn_as_far_from_the_border_as_it_reaches() -> None:
    (strip,) = drawn_zone("edge", box(0, 0, 400, 300).boundary, 25)
    assert isinstance(strip, PathMark)
    assert Polygon(strip.points).equals(box(25, 25, 375, 275))


def test_a_strip_along_a_line_is_drawn_as_wide_as_it_reaches_and_cut_at_the_panels_border() -> None:
    rules = drawn_zone("glue-only", LineString([(200, 0), (200, 300)]), 15)
    assert slopes(rules) == {1, -1}
    (ring,) = [mark for mark in rules if isinstance(mark, PathMark)]
    assert Polygon(ring.points).bounds == pytest.approx((185, 0, 215, 300))
    for mark in rules:
        if isinstance(mark, RuleMark):
            assert min(mark.x, mark.x2) >= 185 - 1e-6
            assert max(mark.x, mark.x2) <= 215 + 1e-6


def test_an_edge_that_reaches_over_the_whole_panel_leaves_nothing_to_draw() -> None:
    assert drawn_zone("edge", box(0, 0, 400, 300).boundary, 160) == []


@pytest.mark.parametrize("body", BODIES)
def test_nothing_of_a_generic_panel_is_drawn_beyond_its_outline(body: str) -> None:
    for name in PANELS:
        if name not in PANELS_OF_BODY[body]:
            continue
        shape = shape_of(body, name)
        frame = panel_frame(shape, 100, 200, 0.1)
        ring = Polygon(frame.ring(list(shape.outline.exterior.coords)))
        paper = ring.buffer(1e-6)
        for mark in outline_marks(shape, frame):
            if isinstance(mark, RuleMark):
                assert paper.covers(LineString([(mark.x, mark.y), (mark.x2, mark.y2)])), name
            else:
                assert isinstance(mark, PathMark)
                assert paper.covers(LineString([*mark.points, mark.points[0]][: len(mark.points)]))


def test_a_hole_in_the_shops_own_outline_is_drawn_as_a_second_ring() -> None:
    hole = [(100, 100), (200, 100), (200, 200), (100, 200)]
    plate = Polygon([(0, 0), (400, 0), (400, 300), (0, 300)], [hole])
    shape = PanelShape(plate, (), False)
    rings = list(outline_marks(shape, Frame(0, 0, 1, 0, 0)))
    assert len(rings) == 2
    assert all(isinstance(ring, PathMark) and ring.closed and not ring.dash for ring in rings)


# --- scale ------------------------------------------------------------------------------------


@settings(max_examples=examples(60))
@given(st.integers(100, 4000), st.integers(100, 4000), st.floats(60, 600), st.floats(60, 600))
def test_a_panel_fills_its_box_in_one_direction_and_stays_within_it_in_the_other(
    width: int, height: int, across: float, up: float
) -> None:
    shape = PanelShape(box(30, -20, 30 + width, height - 20), (), False)
    scale, drawn_across, drawn_up = frame_for(shape, across, up)
    assert drawn_across <= across * (1 + 1e-9)
    assert drawn_up <= up * (1 + 1e-9)
    assert max(drawn_across / across, drawn_up / up) == pytest.approx(1)
    assert drawn_across / drawn_up == pytest.approx(width / height)
    frame = panel_frame(shape, 11, 22, scale)
    assert frame.at(30, -20) == (11, 22)
    assert frame.at(30 + width, height - 20) == pytest.approx((11 + drawn_across, 22 + drawn_up))
    # 1 : n means that a mm of paper, 72/25.4 points, is n mm of the panel.
    assert drawn_across / 72 * 25.4 * frame.reduction == pytest.approx(width)


@settings(max_examples=examples(60))
@given(
    st.lists(
        st.tuples(st.floats(0, 400), st.floats(0, 300), st.floats(0.5, 200), st.booleans()),
        max_size=20,
    ),
    st.floats(0.05, 1),
)
def test_dents_are_circles_at_their_places_and_of_their_size(
    dents: list[tuple[float, float, float, bool]], scale: float
) -> None:
    shape = PanelShape(box(0, 0, 400, 300), (), False)
    marks = panel_drawing(shape, Frame(20, 30, scale, 0, 0), [DrawnDent(*each) for each in dents])
    drawn = circles(list(marks))
    assert len(drawn) == len(dents)
    for (x, y, mm, oversize), circle in zip(dents, drawn, strict=True):
        assert (circle.x, circle.y) == pytest.approx((20 + x * scale, 30 + y * scale))
        assert circle.radius == pytest.approx(max(0.7, mm / 2 * scale))
        assert circle.width == (1.1 if oversize else 0.55)


def ring_on_paper(marks: Sequence[Mark]) -> tuple[float, float, float]:
    """Lower left corner and width of the one outline that is drawn."""
    (ring,) = [mark for mark in marks if isinstance(mark, PathMark) and mark.width == 0.9]
    xs, ys = zip(*ring.points, strict=True)
    return min(xs), min(ys), max(xs) - min(xs)


def test_a_dents_longer_axis_is_drawn_and_an_oversize_dent_bolder() -> None:
    dents = [dent(300, 200, 12, mm2=24), dent(500, 300, 40), dent(700, 400, 30.61)]
    marks = marks_of(drawn_pages(estimate(claim(panel(dents=dents, outline=PLATE)))))
    x0, y0, width = ring_on_paper(marks)
    drawn = [circle for circle in circles(marks) if circle.radius != 2.4]
    assert len(circles(marks)) == 5, "two in the legend"
    for circle, (x, y, mm, bold) in zip(
        drawn,
        [(300, 200, 24, False), (500, 300, 40, True), (700, 400, 30.61, False)],
        strict=True,
    ):
        assert circle.radius / width * 1000 == pytest.approx(mm / 2)
        assert (circle.x - x0) / width * 1000 == pytest.approx(x)
        assert (circle.y - y0) / width * 1000 == pytest.approx(y)
        assert circle.width == (1.1 if bold else 0.55)


def test_the_scale_is_printed_with_every_drawing() -> None:
    flow = drawn_pages(estimate(claim(panel(dents=[dent(300, 200)], outline=PLATE))))
    _, _, width = ring_on_paper(marks_of(flow))
    (caption,) = [text for text in texts_of(flow) if text.startswith("1 : ")]
    assert caption == f"1 : {1000 / (width / 72 * 25.4):.0f}, the shop's own outline"


def test_the_demos_dents_are_in_the_file_at_their_places_and_of_their_size() -> None:
    """Read from the pages: after each outline come its dents."""
    priced = demo_estimate("13-hatch-counted-by-marks")
    drawn: list[tuple[Ink, list[Ink]]] = []
    for path in ink(sheet_pdf(priced)):
        if path.width == 0.9 and path.ways.endswith("h"):
            drawn.append((path, []))
        elif drawn and is_circle(path):
            drawn[-1][1].append(path)
    marked = [result for result in priced.panels if result.panel.dents]
    assert sum(len(result.panel.dents) for result in marked) > 40
    for (ring, dents), result in zip(drawn, marked, strict=True):
        assert result.survey is not None
        left, bottom, right, _ = result.survey.shape.outline.bounds
        x0, y0, x1, _ = ring.box
        scale = (x1 - x0) / (right - left)
        for path, mark in zip(dents, result.panel.dents, strict=True):
            assert (path.stroke, path.fill) == (0, 1)
            assert mark.x is not None
            assert mark.y is not None
            a, b, c, d = path.box
            assert ((a + c) / 2, (b + d) / 2) == pytest.approx(
                (x0 + (float(mark.x) - left) * scale, y0 + (float(mark.y) - bottom) * scale),
                abs=0.02,
            )
            assert (c - a) / 2 == pytest.approx(max(0.7, float(mark.mm) / 2 * scale), abs=0.02)


# --- legend -----------------------------------------------------------------------------------

ZONES: dict[str, Table] = {
    "braced": {"kind": "braced", "shape": "POLYGON ((100 100, 300 100, 300 200, 100 100))"},
    "glue-only": {"kind": "glue-only", "shape": "POLYGON ((500 100, 700 100, 700 200, 500 100))"},
    "edge": {"kind": "edge", "reach_mm": 20},
    "body line": {"kind": "body-line", "shape": "LINESTRING (100 400, 900 400)", "reach_mm": 3},
}
WORDS = [*ZONES, "dent, to scale", "oversize dent"]


@pytest.mark.parametrize(
    ("zones", "sizes"),
    [
        ([], [12]),
        (["edge"], [12]),
        (["braced", "body line"], [12, 40]),
        (["glue-only"], [40]),
        (list(ZONES), [12, 40]),
    ],
)
def test_the_legend_lists_what_occurs_and_nothing_else(zones: list[str], sizes: list[int]) -> None:
    dents = [dent(400 + 50 * k, 300, mm) for k, mm in enumerate(sizes)]
    part = panel(dents=dents, outline=PLATE, zones=[ZONES[name] for name in zones])
    told = [text for text in texts_of(drawn_pages(estimate(claim(part)))) if text in WORDS]
    assert told == [*zones, "dent, to scale", *(["oversize dent"] if 40 in sizes else [])]


def test_the_legend_of_squares_alone_lists_no_dents() -> None:
    sample = {"side_mm": 100, "squares": [{"tally": {"dime": 4}, "at": [100, 100]}]}
    part = {"panel": "hood", "sample": sample, "outline": PLATE, "zones": [ZONES["braced"]]}
    told = [text for text in texts_of(drawn_pages(estimate(claim(part)))) if text in WORDS]
    assert told == ["braced"]


@pytest.mark.parametrize("kind", ["braced", "glue-only", "edge", "body-line", "dent", "oversize"])
def test_a_swatch_of_the_legend_looks_like_what_it_stands_for(kind: str) -> None:
    marks = list(legend_marks(10, 20, kind))
    assert slopes(marks) == {"braced": {1}, "glue-only": {1, -1}}.get(kind, set())
    (drawn,) = [mark for mark in marks if not isinstance(mark, RuleMark)]
    if kind in ("dent", "oversize"):
        assert isinstance(drawn, CircleMark)
        shape = PanelShape(box(0, 0, 400, 300), (), False)
        dents = [DrawnDent(50, 50, 40, kind == "oversize")]
        (like,) = circles(list(panel_drawing(shape, Frame(0, 0, 0.2, 0, 0), dents)))
        assert drawn.width == like.width
    else:
        assert isinstance(drawn, PathMark)
        real = drawn_zone(
            kind,
            {"edge": box(0, 0, 400, 300).boundary, "body-line": LineString([(9, 9), (90, 90)])}.get(
                kind, box(50, 50, 200, 150)
            ),
            20.0 if kind == "edge" else 0.0,
        )
        (like_path,) = [mark for mark in real if isinstance(mark, PathMark)]
        assert (drawn.dash, drawn.width, drawn.grey) == (
            like_path.dash,
            like_path.width,
            like_path.grey,
        )
    assert all(
        10 <= x <= 26 and 20 <= y <= 28
        for mark in marks
        if isinstance(mark, PathMark)
        for x, y in mark.points
    )


# --- sample squares ---------------------------------------------------------------------------


def sampled(*squares: Table, side: int = 150) -> Table:
    return {
        "panel": "hood",
        "outline": PLATE,
        "sample": {"side_mm": side, "squares": list(squares)},
    }


def roomy() -> Table:
    grid = matrix()["grid"][0] | {"last": 2000}
    return matrix(grid=[grid])


def test_squares_are_drawn_where_they_were_laid_each_with_its_count() -> None:
    places = [(100, 100), (500, 100), (700, 400)]
    squares = [
        {"tally": {"dime": 3 + k, "half-dollar": k}, "at": [x, y]}
        for k, (x, y) in enumerate(places)
    ]
    flow = drawn_pages(estimate(claim(sampled(*squares)), roomy()))
    marks = marks_of(flow)
    x0, y0, width = ring_on_paper(marks)
    scale = width / 1000
    drawn = [mark for mark in marks if isinstance(mark, PathMark) and mark.fill == 1.0]
    assert len(drawn) == 3
    for square, (x, y), count in zip(drawn, places, ("3", "5", "7"), strict=True):
        corner = (x0 + x * scale, y0 + y * scale)
        side = 150 * scale
        assert square.points[0] == pytest.approx(corner)
        assert square.points[2] == pytest.approx((corner[0] + side, corner[1] + side))
        (text,) = [
            mark
            for mark in marks
            if isinstance(mark, TextMark)
            and corner[0] < mark.x < corner[0] + side
            and corner[1] < mark.y < corner[1] + side
        ]
        assert text.text == count
    assert "sampled, 3 squares of 150 mm" in " ".join(texts_of(flow))


def test_squares_without_a_place_are_not_drawn_and_it_is_said() -> None:
    flow = drawn_pages(
        estimate(claim(sampled({"tally": {"dime": 3}}, {"tally": {"dime": 5}})), roomy())
    )
    assert not [mark for mark in marks_of(flow) if isinstance(mark, PathMark) and mark.fill == 1.0]
    assert "places not noted" in " ".join(texts_of(flow))


def test_one_square_is_not_called_squares() -> None:
    told = " ".join(
        texts_of(drawn_pages(estimate(claim(sampled({"tally": {"dime": 3}})), roomy())))
    )
    assert "sampled, 1 square of 150 mm" in told


def test_a_sampled_panel_is_drawn_with_about_how_many_dents_it_has() -> None:
    priced = demo_estimate("16-pickup-roof-and-hood-by-sample-squares")
    told = texts_of(drawn_pages(priced))
    for result in priced.panels:
        if result.panel.sample is not None:
            assert f"about {result.count.all}" in told


# --- twenty panels ----------------------------------------------------------------------------


def twenty(panels: Sequence[Table], body: str = "pickup") -> Estimate:
    """A vehicle of twenty panels; no body has as many, so the first ones are there twice."""
    priced = estimate(claim(*panels, body=body))
    return priced._replace(panels=(priced.panels + priced.panels)[:20])


@cache
def twenty_marked() -> Estimate:
    return twenty([marked_panel("pickup", name) for name in PICKUP])


@cache
def twenty_tallied() -> Estimate:
    marks = {mark: {"dime": 2} for mark in ("braced", "glue-only", "body-line", "sharp", "edge")}
    counted: Table = {"tally": {"dime": 9, "half-dollar": 8}, "marked": marks}
    return twenty([panel(name, **counted, oversize=[{"mm": 44}]) for name in PICKUP])


@pytest.mark.parametrize("labels", ["us", "uk"])
@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_twenty_panels_drawn_take_no_more_than_two_pages(paper: str, labels: str) -> None:
    for priced in (twenty_marked(), twenty_tallied()):
        flow = drawn_pages(priced, paper, labels)
        assert len(flow.pages) <= 2
        numbers = [text for text in texts_of(flow) if text == str(priced.panels[0].count.all)]
        assert len(numbers) >= 20, "every panel has its count"


def test_tallied_panels_are_plates_and_take_one_page_or_less() -> None:
    flow = drawn_pages(twenty_tallied())
    assert len(flow.pages) == 1
    plates_ = [mark for mark in marks_of(flow) if isinstance(mark, BoxMark)]
    assert len(plates_) == 20
    assert not [mark for mark in marks_of(flow) if isinstance(mark, PathMark | CircleMark)]
    assert "Panels, plate by plate" in texts_of(flow)
    for one, other in pairwise(sorted(plates_, key=lambda plate: (-plate.y, plate.x))):
        assert one.x + one.width <= other.x or one.y >= other.y + other.height or one.y > other.y
    assert all(
        plate.x >= MARGIN and plate.x + plate.width <= 612 - MARGIN + 0.01 for plate in plates_
    )


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_drawings_stay_apart_and_on_the_paper(paper: str) -> None:
    flow = drawn_pages(twenty_marked(), paper)
    width, _ = PAPERS[paper]
    for page in flow.pages:
        outlines = [mark for mark in page if isinstance(mark, PathMark) and mark.width == 0.9]
        boxes = [
            box(
                min(x for x, _ in mark.points),
                min(y for _, y in mark.points),
                max(x for x, _ in mark.points),
                max(y for _, y in mark.points),
            )
            for mark in outlines
        ]
        for place, one in enumerate(boxes):
            left, bottom, right, _ = one.bounds
            assert left >= MARGIN - 0.01
            assert right <= width - MARGIN + 0.01
            assert bottom >= flow.bottom
            assert all(one.distance(other) > 5 for other in boxes[place + 1 :])


@pytest.mark.parametrize(("body", "paper"), [("pickup", "letter"), ("van", "a4")])
def test_nothing_overlaps_where_every_panel_of_a_body_is_drawn(body: str, paper: str) -> None:
    names = [name for name in PANELS if name in PANELS_OF_BODY[body]]
    parts = [marked_panel(body, name, 4) for name in names]
    assert page_faults(estimate(claim(*parts, body=body)), paper, "us") == []


@pytest.mark.parametrize("mm", [20, 30, 45, 60])
def test_a_dent_at_the_very_border_covers_no_text(mm: int) -> None:
    """A panel's name stands above its drawing, its scale below."""
    dents = [dent(30, 595, mm), dent(975, 595, mm), dent(30, 5, mm)]
    faults = page_faults(estimate(claim(panel(dents=dents, outline=PLATE))), "letter", "us")
    assert faults == []


def test_small_squares_side_by_side_have_counts_that_can_be_read() -> None:
    """Squares of 100 mm, the smallest that anybody would lay, in a row."""
    squares = [{"tally": {"dime": 24 + k}, "at": [100 + 100 * k, 100]} for k in range(6)]
    part = sampled(*squares, side=100)
    assert page_faults(estimate(claim(part), roomy()), "letter", "us") == []


# --- many dents, no dents, ink ----------------------------------------------------------------


@pytest.mark.parametrize("beyond", [0, 1])
def test_dents_beyond_what_is_drawn_are_said_not_drawn(beyond: int) -> None:
    places = [(10 + 10 * (k % 98), 10 + 10 * (k // 98)) for k in range(MAX_DRAWN + beyond)]
    part = panel(dents=[dent(x, y, 8) for x, y in places], outline=PLATE)
    flow = drawn_pages(estimate(claim(part)))
    assert len(circles(marks_of(flow))) == MAX_DRAWN + 1, "and one in the legend"
    said = "No more than 5,000 dents are drawn on one panel." in " ".join(texts_of(flow))
    assert said == bool(beyond)
    assert f"{MAX_DRAWN + beyond:,}" in texts_of(flow)


def test_a_claim_without_a_dent_has_no_drawings() -> None:
    priced = estimate(claim(panel(tally={}), panel("roof", tally={"dime": 0})))
    assert marks_of(drawn_pages(priced)) == []


def test_only_damaged_panels_are_drawn() -> None:
    told = texts_of(drawn_pages(estimate(claim(panel(), panel("roof", tally={})))))
    assert "Hood" in told
    assert "Roof" not in told


def test_dents_measured_without_a_place_are_counted_on_a_plate() -> None:
    flow = drawn_pages(estimate(claim(panel(dents=[{"mm": 12}, {"mm": 40}]))))
    assert "1 dime, 1 oversize" in texts_of(flow)
    assert circles(marks_of(flow)) == []


@pytest.mark.parametrize("name", [SMALLEST, FULLEST, *(name for name in DEMO if name >= "13")])
def test_a_sheet_is_black_and_grey_ink_on_white_paper(name: str) -> None:
    painted = ink(sheet_pdf(demo_estimate(name)))
    assert painted
    for path in painted:
        for tone in (path.stroke, path.fill):
            assert tone is None or 0 <= tone <= 1
    dents = [path for path in painted if is_circle(path)]
    assert all(path.stroke == 0 for path in dents), "black, also on a poor copier"


# --- verification -----------------------------------------------------------------------------

ON_THE_PANEL = [name for name in DEMO if name >= "13"]


@cache
def demo_pdf(name: str) -> bytes:
    return sheet_pdf(demo_estimate(name))


def test_there_are_four_claims_counted_on_the_panel() -> None:
    assert [name[:2] for name in ON_THE_PANEL] == ["13", "14", "15", "16"]


@pytest.mark.parametrize("paper", ["letter", "a4"])
@pytest.mark.parametrize("name", ON_THE_PANEL)
def test_a_sheet_with_drawings_verifies_from_its_pdf_alone(name: str, paper: str) -> None:
    pdf = sheet_pdf(demo_estimate(name), paper=paper)
    document, found = verify_pdf(pdf, name)
    assert found == []
    assert document["claim_file"]["claim"]["number"] == demo_estimate(name).claim.claim.number


def with_json(pdf: bytes, document: Table) -> bytes:
    """The file with another JSON attached."""
    out = BytesIO()
    with pikepdf.open(BytesIO(pdf)) as opened:
        opened.attachments["claim-sheet.json"] = pikepdf.AttachedFileSpec(
            opened, json.dumps(document).encode(), filename="claim-sheet.json"
        )
        opened.save(out)
    return out.getvalue()


def attached(pdf: bytes) -> Table:
    read: Table = json.loads(PdfReader(BytesIO(pdf)).attachments["claim-sheet.json"][0])
    return read


def moved(document: Table, digest_anew: bool) -> Table:
    """A sheet's JSON with one dent 7 mm to the side of where it was."""
    placed = [part for part in document["claim_file"]["panels"] if "x" in str(part.get("dents"))]
    first = placed[0]["dents"][0]
    first["x"] += 7 if first["x"] < 700 else -7
    content = {key: value for key, value in document.items() if key != "digest"}
    return content | {"digest": digest(content) if digest_anew else document["digest"]}


def test_a_dent_moved_in_the_attached_json_is_found_by_the_digest() -> None:
    name = ON_THE_PANEL[2]
    pdf = demo_pdf(name)
    _, found = verify_pdf(with_json(pdf, moved(attached(pdf), False)), name)
    assert any(difference.where == "digest" for difference in found)


@pytest.mark.parametrize("name", ON_THE_PANEL[:3:2])
def test_a_dent_moved_with_a_new_digest_is_found_on_the_page_that_draws_it(name: str) -> None:
    pdf = demo_pdf(name)
    document = moved(attached(pdf), True)
    _, found = verify_pdf(with_json(pdf, document), name)
    _, unmoved = verify_pdf(with_json(pdf, attached(pdf)), name)
    assert not any("drawn otherwise" in difference.printed for difference in unmoved)
    pages = [number for number, text in enumerate(page_texts(pdf), 1) if "Panels drawn" in text]
    where = [difference.where for difference in found if "drawn otherwise" in difference.printed]
    assert where
    assert int(where[0].removeprefix("page ")) >= pages[0]


def test_a_square_with_another_count_in_the_attached_json_is_found() -> None:
    pdf = demo_pdf(ON_THE_PANEL[3])
    document = attached(pdf)
    for part in document["claim_file"]["panels"]:
        for square in part.get("sample", {}).get("squares", []):
            size = next(iter(square["tally"]))
            square["tally"][size] += 1
            break
    content = {key: value for key, value in document.items() if key != "digest"}
    _, found = verify_pdf(with_json(pdf, content | {"digest": digest(content)}), "16")
    told = [difference.where for difference in found]
    assert any("per_square" in where for where in told)
    assert any(where.startswith("page ") for where in told)


def test_the_drawings_of_the_same_claim_are_the_same_bytes() -> None:
    name = ON_THE_PANEL[2]
    assert sheet_pdf(demo_estimate(name)) == demo_pdf(name)
