"""Generic outlines of a body's panels, to look at, to change and to count on by hand.

`outlines_text` lists panels with their box (mm), area (m²) and zones; `outlines_geojson`
writes them in the form in which a shop's own outlines are read, so that a shop begins with
ours and moves what is otherwise on its vehicle; `counting_pdf` draws them large and empty,
with ticks every 100 mm along the box, to mark dents on with a pencil.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from io import BytesIO
from typing import Any

from hailcalc.columns import columns_text
from hailcalc.vehicle import PANEL_LABELS, PANELS, PANELS_OF_BODY
from hailcalc.vehicle.outlines import Outline, area_mm2, area_range, outline

_AROUND = 54.0
"""Points above and below a drawing, for its name, its ticks and air."""

Sizes = tuple[int | None, int | None, int | None]


def body_outlines(body: str, sizes: Sizes = (None, None, None)) -> list[Outline]:
    """Outlines of every panel of a body, in sheet order, at an overall size in mm."""
    return [outline(body, panel, *sizes) for panel in PANELS if panel in PANELS_OF_BODY[body]]


def outlines_text(body: str, sizes: Sizes, labels: str = "us") -> str:
    """One row a panel: its box, its area and what is plausible for it, and its zones."""
    rows = [["Panel", "Width, mm", "Height, mm", "Area, m²", "Plausible", "Zones"]]
    for drawn in body_outlines(body, sizes):
        low, high = area_range(body, drawn.panel)
        zones = Counter(zone.kind for zone in drawn.zones)
        rows.append(
            [
                PANEL_LABELS[labels][drawn.panel],
                str(max(x for x, _ in drawn.ring)),
                str(max(y for _, y in drawn.ring)),
                f"{float(area_mm2(drawn.ring)) / 1e6:.3f}",
                f"{low:g}–{high:g}",
                ", ".join(f"{number} {kind}" for kind, number in zones.items()),
            ]
        )
    return columns_text(rows, right=[1, 2, 3])


def outlines_geojson(body: str, sizes: Sizes) -> str:
    """Outlines and zones as GeoJSON features, in millimetres on each panel."""
    features = [feature for drawn in body_outlines(body, sizes) for feature in _features(drawn)]
    lines = ",\n".join(json.dumps(feature) for feature in features)
    return f'{{"type": "FeatureCollection", "features": [\n{lines}\n]}}\n'


def _features(drawn: Outline) -> Iterator[dict[str, Any]]:
    yield _feature(drawn.panel, "outline", 0, _polygon(drawn.ring))
    for zone in drawn.zones:
        geometry: dict[str, Any] | None = None
        if zone.form == "area":
            geometry = _polygon(zone.points)
        elif zone.form == "line":
            geometry = {"type": "LineString", "coordinates": [list(point) for point in zone.points]}
        yield _feature(drawn.panel, zone.kind, zone.reach_mm, geometry)


def _polygon(ring: tuple[tuple[int, int], ...]) -> dict[str, Any]:
    return {"type": "Polygon", "coordinates": [[list(point) for point in (*ring, ring[0])]]}


def _feature(
    panel: str, kind: str, reach_mm: int, geometry: dict[str, Any] | None
) -> dict[str, Any]:
    properties: dict[str, Any] = {"panel": panel, "kind": kind}
    if reach_mm:
        properties["reach_mm"] = reach_mm
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def counting_pdf(body: str, sizes: Sizes, *, paper: str = "letter", labels: str = "us") -> bytes:
    """Empty drawings to mark dents on by hand: two large panels a page, ticks every 100 mm."""
    from hailcalc.sheet.drawing import frame_for, outline_marks, panel_frame
    from hailcalc.sheet.layout import SECTION, SMALL_INK, Flow, RuleMark, draw, new_canvas
    from hailcalc.sheet.pdf import PAPERS
    from hailcalc.vehicle.shapes import generic_shape

    width, height = PAPERS[paper]
    flow = Flow(width, height, 42.0, top=42, bottom=42)
    room = (height - 84) / 2 - _AROUND
    for drawn in body_outlines(body, sizes):
        shape = generic_shape(drawn)
        scale, across, up = frame_for(shape, flow.inner, room)
        flow.need(up + _AROUND)
        flow.y -= SECTION.leading
        flow.text(flow.left, flow.y + 3, PANEL_LABELS[labels][drawn.panel], SECTION)
        frame = panel_frame(shape, flow.left + (flow.inner - across) / 2, flow.y - up - 8, scale)
        told = f"{body}, generic outline, 1 : {frame.reduction:.0f}, ticks every 100 mm"
        flow.text(flow.right, flow.y + 3, told, SMALL_INK, "right")
        for mark in outline_marks(shape, frame):
            flow.put(mark)
        wide, high = max(x for x, _ in drawn.ring), max(y for _, y in drawn.ring)
        for tick in range(0, wide + 1, 100):
            x, y = frame.at(tick, 0)
            flow.put(RuleMark(x, y - 6, x, y - 2, 0.5, 0.0))
        for tick in range(0, high + 1, 100):
            x, y = frame.at(0, tick)
            flow.put(RuleMark(x - 6, y, x - 2, y, 0.5, 0.0))
        flow.y -= up + _AROUND - SECTION.leading
    out = BytesIO()
    canvas = new_canvas(out, PAPERS[paper])
    canvas.setTitle(f"Panels of a {body}, to count on")
    draw(canvas, flow, lambda page, number, pages: [])
    canvas.save()
    return out.getvalue()
