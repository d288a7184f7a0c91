"""Sections of the sheet on the count itself: samples, near edges of bands, panels drawn.

A sampled panel is never printed as if every dent had been counted: its squares, areas,
limits and the price at each stand in a table whose figures a pocket calculator follows. At
the end every damaged panel is drawn: with its dents where they are marked, with its squares
where it was sampled, or, from a tally, as a plain plate with the counts.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from hailcalc.bandedges import NearEdge, band_words, dents_words
from hailcalc.claimfile import longest_axis
from hailcalc.estimate import PanelResult
from hailcalc.money import plain
from hailcalc.sheet.document import counting_method
from hailcalc.sheet.layout import (
    BODY,
    BODY_BOLD,
    HEAD,
    INK,
    SMALL,
    SMALL_INK,
    SOFT,
    BoxMark,
    Cell,
    Column,
    Flow,
    PathMark,
    Row,
    Style,
    text_width,
    wrap,
)
from hailcalc.sheet.source import Sheet

if TYPE_CHECKING:
    from hailcalc.counting.squares import SampleEstimate
    from hailcalc.counting.survey import Survey
    from hailcalc.sheet.drawing import DrawnDent

_PLATES_ACROSS = 4
_GAP = 12.0
_FEW = (2, 190.0)
_MANY = (3, 126.0)
"""Drawings across, and height of one in points: of many, four rows go on a page."""


def count_text(sheet: Sheet, number: int) -> str:
    """A count with the locale's grouping."""
    from babel.numbers import format_decimal

    return sheet.write.printable(format_decimal(number, locale=sheet.write.locale))


def is_sampled(result: PanelResult) -> bool:
    """Whether a panel's count is an estimate from sample squares."""
    return result.panel.sample is not None


def near_edges(flow: Flow, sheet: Sheet) -> None:
    """Where a handful of dents decides the band."""
    edges = sheet.edges
    if not edges:
        return
    flow.section("Near an edge of a band", keep=44)
    flow.paragraph(
        "On these panels a few dents decide the band. Count them again before you argue about "
        "the price. Told for the size with most dents that does it; the sums are the panel's, "
        "with its extras.",
        SMALL_INK,
    )
    currency = sheet.write.currency
    columns = [
        Column("Panel", 98),
        Column("If there were", flow.inner - 98 - 118 - 62 - 62 - 58),
        Column("Then the band", 118),
        Column(f"Now, {currency}", 62, "right"),
        Column(f"Then, {currency}", 62, "right"),
        Column("Change", 58, "right"),
    ]
    flow.table(columns, [_edge_row(sheet, edge) for edge in edges])


def _edge_row(sheet: Sheet, edge: NearEdge) -> Row:
    total, change = "no price", ""
    if edge.total is not None and edge.change is not None:
        total = sheet.write.amount(edge.total)
        change = ("+" if edge.change > 0 else "") + sheet.write.amount(edge.change)
    return Row(
        (
            Cell.of(sheet.labels[edge.panel], BODY_BOLD),
            Cell.of(dents_words(edge, sheet.estimate.compiled.tables)),
            Cell.of(band_words(edge)),
            Cell.of(sheet.write.amount(edge.was_total)),
            Cell.of(total),
            Cell.of(change),
        )
    )


def samples(flow: Flow, sheet: Sheet) -> None:
    """Every sampled panel: squares, counts, areas, limits, and the price at each."""
    estimate = sheet.estimate
    if estimate.limits is None:
        return
    flow.section("Sampled panels: estimates, not counts", keep=90)
    rows: list[Row] = []
    for result in estimate.panels:
        if result.survey is not None and result.survey.sample is not None:
            rows += _sample_rows(sheet, result, result.survey, result.survey.sample)
    columns = [
        Column("Sampled", 118),
        Column("Figures", flow.inner - 118 - 128),
        Column("Result", 128, "right"),
    ]
    flow.table(columns, rows)
    lower, upper = (limit.totals for limit in estimate.limits)
    with_all = "With every sampled panel at its lower limit the total"
    low, high = sheet.write.sum(lower.total), sheet.write.sum(upper.total)
    unpriced = "" if lower.complete and upper.complete else ", leaving out what then has no price"
    flow.paragraph(
        f"{with_all} would be {low}, at its upper limit {high}{unpriced}; at the estimate it is "
        f"{sheet.write.sum(estimate.totals.total)}. Zones of an outline do not mark sampled dents: "
        "only those marked in the squares are priced as marked.",
        SMALL_INK,
    )


def _sample_rows(
    sheet: Sheet, result: PanelResult, survey: Survey, sample: SampleEstimate
) -> Iterator[Row]:
    def row(what: str, figures: str, outcome: str, style: Style = BODY) -> Row:
        return Row((Cell.of(what, SMALL), Cell.of(figures, SMALL_INK), Cell.of(outcome, style)))

    assert sheet.estimate.limits is not None, "a sampled panel has limits"
    write = sheet.write
    name = result.panel.panel
    side = write.figure(plain(sample.side_mm))
    each = ", ".join(map(str, sample.per_square))
    n = len(sample.per_square)
    squares = f"{n} square{'' if n == 1 else 's'}"
    area, part = count_text(sheet, sample.area_cm2), _area(sheet, sample.squares_cm2)
    outline = "generic outline" if survey.shape.generic else "the shop's own outline"
    by_size = ", ".join(f"{number} {coin}" for coin, number in sample.estimate.tally.items())
    seen = sample.counted
    scaled = f"{float(seen * sample.factor):.1f}"
    low, high = (write.figure(f"{limit:.2f}") for limit in sample.limits[:2])
    prices = (limit.panels[name] for limit in sheet.estimate.limits)
    at_lower, at_upper = (sheet.amount(price) for price in prices)
    at_count = sheet.amount(result.total if result.priced else None)
    yield Row(
        (
            Cell.of(sheet.labels[name], BODY_BOLD),
            Cell.of(f"sampled in {squares} of {side} by {side} mm", SMALL_INK),
            Cell.of(f"about {count_text(sheet, sample.estimate.total)} dents", BODY_BOLD),
        ),
        with_next=True,
        tinted=True,
        ruled=False,
    )
    yield row("Counted in the squares", each, f"{count_text(sheet, seen)} dents")
    yield row("Panel's area", outline, f"{area} cm²")
    yield row("Squares' area", f"{n} × {side} mm × {side} mm", f"{part} cm²")
    yield row(
        "Scaled to the panel",
        f"{seen} × {area} ÷ {part} = {write.figure(scaled)}",
        f"about {count_text(sheet, sample.estimate.total)} dents",
    )
    yield row("By size", f"in the same proportions: {by_size}", "")
    yield row("95 % limits of the squares", write.words(sample.limits.because), f"{low} to {high}")
    bounds = f"{count_text(sheet, sample.lower.total)} to {count_text(sheet, sample.upper.total)}"
    yield row(
        "95 % limits of the panel",
        f"those × {area} ÷ {part}, rounded outward, never below what was seen",
        f"{bounds} dents",
        BODY_BOLD,
    )
    yield row(
        "Panel's price",
        f"{at_lower} at the lower limit, {at_upper} at the upper",
        at_count,
        BODY_BOLD,
    )


def _area(sheet: Sheet, cm2: Fraction) -> str:
    """An area in cm² with grouping, and two decimals where it is not whole."""
    if cm2.denominator == 1:
        return count_text(sheet, int(cm2))
    return sheet.write.figure(f"{float(cm2):.2f}")


class _Tile(NamedTuple):
    """What stands in one place of the annex: its height, and how it is put there."""

    height: float
    put: Callable[[float, float], None]


def panels_drawn(flow: Flow, sheet: Sheet) -> None:
    """Every damaged panel: drawn where it was counted on its outline, else a plate of counts."""
    damaged = [result for result in sheet.estimate.panels if result.count.all]
    if not damaged:
        return
    on_outline = [result for result in damaged if _is_drawn(result)]
    tallied = [result for result in damaged if not _is_drawn(result)]
    across, tallest = _FEW if len(on_outline) <= _FEW[0] ** 2 else _MANY
    width = (flow.inner - (across - 1) * _GAP) / across
    tiles = [_drawn_tile(flow, sheet, result, width, tallest) for result in on_outline]
    plate_width = (flow.inner - (_PLATES_ACROSS - 1) * _GAP) / _PLATES_ACROSS
    plates = [_plate_tile(flow, sheet, result, plate_width) for result in tallied]
    first = (tiles or plates)[0]
    flow.section("Panels drawn" if tiles else "Panels, plate by plate", keep=first.height + 30)
    if tiles:
        _legend(flow, on_outline)
        _put_tiles(flow, tiles, across, width)
    if plates:
        _put_tiles(flow, plates, _PLATES_ACROSS, plate_width)


def _is_drawn(result: PanelResult) -> bool:
    return counting_method(result.panel) in ("marks", "sample squares")


def _put_tiles(flow: Flow, tiles: Sequence[_Tile], across: int, width: float) -> None:
    """Tiles in rows, a row as tall as its tallest."""
    for start in range(0, len(tiles), across):
        row = tiles[start : start + across]
        height = max(tile.height for tile in row)
        flow.need(height)
        top = flow.y
        for column, tile in enumerate(row):
            tile.put(flow.left + column * (width + _GAP), top)
        flow.y = top - height - 9


def _legend(flow: Flow, results: Sequence[PanelResult]) -> None:
    """What the strokes mean, as far as they occur."""
    from hailcalc.sheet.drawing import MAX_DRAWN, ZONE_WORDS, legend_marks

    shapes = [result.survey.shape for result in results if result.survey is not None]
    kinds = dict.fromkeys(zone.kind for shape in shapes for zone in shape.zones)
    entries: list[tuple[str, str]] = [
        (kind, words) for kind, words in ZONE_WORDS.items() if kind in kinds
    ]
    if any(result.panel.dents for result in results):
        entries.append(("dent", "dent, to scale"))
    if any(result.count.oversize and result.panel.dents for result in results):
        entries.append(("oversize", "oversize dent"))
    flow.y -= 12
    x = flow.left
    for kind, words in entries:
        for mark in legend_marks(x, flow.y, kind):
            flow.put(mark)
        flow.text(x + 20, flow.y + 1.2, words, SMALL_INK)
        x += 20 + text_width(words, SMALL_INK) + 14
    flow.y -= 3
    whose = "Generic outlines, no maker's drawing; seen from outside, the hood, the roof and the "
    whose += "decklid from above with the front of the vehicle up."
    if any(not shape.generic for shape in shapes):
        whose += " Where it is said, the outline is the shop's own."
    flow.paragraph(whose, SMALL)
    if any(len(result.panel.dents) > MAX_DRAWN for result in results):
        flow.paragraph(f"No more than {MAX_DRAWN:,} dents are drawn on one panel.", SMALL)
    flow.y -= 4


def _drawn_tile(
    flow: Flow, sheet: Sheet, result: PanelResult, width: float, tallest: float
) -> _Tile:
    """A panel drawn to scale, its name above, scale and marks below."""
    from hailcalc.sheet.drawing import frame_for, overhang, panel_drawing, panel_frame

    survey = result.survey
    assert survey is not None, "a panel counted on its outline was surveyed"
    scale, drawn_width, drawn_height = frame_for(survey.shape, width, tallest)
    caption = _caption(sheet, result, panel_frame(survey.shape, 0, 0, scale).reduction)
    lines = [line for text in caption for line in wrap(text, SMALL_INK, width)]
    about = "about " if is_sampled(result) else ""
    number = f"{about}{count_text(sheet, result.count.all)}"
    dents = list(_dents_of(sheet, result))
    below, above = overhang(survey.shape, dents, scale)

    def put(x: float, top: float) -> None:
        flow.text(x, top - 9, sheet.labels[result.panel.panel], BODY_BOLD)
        flow.text(x + width, top - 9, number, BODY_BOLD, "right")
        bottom = top - 15 - above - drawn_height
        frame = panel_frame(survey.shape, x + (width - drawn_width) / 2, bottom, scale)
        for mark in panel_drawing(survey.shape, frame, dents):
            flow.put(mark)
        _put_squares(flow, result, frame.at, frame.scale)
        for index, line in enumerate(lines, 1):
            flow.text(x, bottom - below - index * SMALL_INK.leading, line, SMALL_INK)

    height = 15 + above + drawn_height + below + 4 + len(lines) * SMALL_INK.leading
    return _Tile(height, put)


def _caption(sheet: Sheet, result: PanelResult, reduction: float) -> list[str]:
    survey = result.survey
    assert survey is not None, "a panel counted on its outline was surveyed"
    parts = [f"1 : {reduction:.0f}"]
    if not survey.shape.generic:
        parts.append("the shop's own outline")
    sample = result.panel.sample
    if sample is not None:
        side = sheet.write.figure(plain(sample.side_mm))
        number = len(sample.squares)
        placed = "" if sample.squares[0].at is not None else ", places not noted"
        squares = f"{number} square{'' if number == 1 else 's'}"
        parts.append(f"sampled, {squares} of {side} mm{placed}")
    marks = [f"{number} {mark}" for mark, number in result.count.marks.items() if number]
    return [", ".join(parts), *([", ".join(marks)] if marks else [])]


def _dents_of(sheet: Sheet, result: PanelResult) -> Iterator[DrawnDent]:
    from hailcalc.sheet.drawing import DrawnDent

    largest = sheet.estimate.compiled.tables.columns[-1].mm
    for dent in result.panel.dents:
        if dent.x is not None and dent.y is not None:
            size = longest_axis(dent)
            yield DrawnDent(float(dent.x), float(dent.y), float(size), size > largest)


def _put_squares(
    flow: Flow, result: PanelResult, at: Callable[[float, float], tuple[float, float]], scale: float
) -> None:
    """Sample squares where they have a place, each with its count."""
    sample = result.panel.sample
    if sample is None:
        return
    side = float(sample.side_mm) * scale
    for square in sample.squares:
        if square.at is not None:
            x, y = at(float(square.at[0]), float(square.at[1]))
            corners = ((x, y), (x + side, y), (x + side, y + side), (x, y + side))
            flow.put(PathMark(corners, 0.7, INK, True, 1.0))
            text = str(sum(square.tally.values()))
            flow.text(x + side / 2, y + side / 2 - 2.7, text, SMALL_INK, "center")


def _plate_tile(flow: Flow, sheet: Sheet, result: PanelResult, width: float) -> _Tile:
    """A plain plate: the panel's name, its counts by size, marks, and all dents."""
    columns = sheet.estimate.compiled.tables.columns
    pairs = zip(columns, result.count.counts, strict=True)
    sizes = [f"{number} {coin.name}" for coin, number in pairs if number]
    if result.count.oversize:
        sizes.append(f"{len(result.count.oversize)} oversize")
    marks = [f"{number} {mark}" for mark, number in result.count.marks.items() if number]
    room = width - 10
    lines = [(line, SMALL_INK) for line in wrap(", ".join(sizes), SMALL_INK, room)]
    if marks:
        lines += [(line, SMALL) for line in wrap(", ".join(marks), SMALL, room)]
    names = wrap(sheet.labels[result.panel.panel], HEAD, room - 34)
    height = 8 + len(names) * 10 + len(lines) * SMALL.leading + 4

    def put(x: float, top: float) -> None:
        flow.put(BoxMark(x, top - height, width, height, None, SOFT))
        y = top - 3
        for name in names:
            y -= 10
            flow.text(x + 5, y, name, Style(face=HEAD.face, size=8))
        flow.text(x + width - 5, top - 13, str(result.count.all), BODY_BOLD, "right")
        y -= 2
        for line, style in lines:
            y -= style.leading
            flow.text(x + 5, y, line, style)

    return _Tile(height, put)
