"""A recount on paper: the comparison as tables, and every panel that both marked, drawn.

Marks found by both, only by A and only by B are told apart by shape as well as tone: a grey
disc, a white triangle, a black square, at A's place for those found by both, in proportion
to the dent's size and never smaller than can be told apart. Black ink, Letter or A4.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from hailcalc.claimfile import MeasuredDent, longest_axis
from hailcalc.problems import InputError, Problem
from hailcalc.recount.compare import MarkedTwice, PanelRecount, Recount
from hailcalc.recount.report import (
    band_of,
    costs_together,
    is_estimated,
    marks_texts,
    panel_costs,
    plausible_words,
    remarks,
    verdict,
)
from hailcalc.sheet.drawing import (
    MAX_DRAWN,
    ZONE_WORDS,
    DrawnDent,
    Frame,
    frame_for,
    legend_marks,
    outline_marks,
    overhang,
    panel_frame,
    polygon_points,
)
from hailcalc.sheet.finish import finished
from hailcalc.sheet.fonts import BOLD, unprintable
from hailcalc.sheet.layout import (
    BODY,
    BODY_BOLD,
    INK,
    SMALL,
    SMALL_INK,
    Cell,
    CircleMark,
    Column,
    Flow,
    Mark,
    PathMark,
    Row,
    Style,
    text_width,
)
from hailcalc.sheet.locale import Writer, writer
from hailcalc.sheet.pdf import PAPERS
from hailcalc.vehicle import PANEL_LABELS, with_label

_TITLE = Style(face=BOLD, size=19, leading=23)
_SMALLEST = 2.3
_STRETCH = 1.45
"""How far a triangle's corners lie out, over the radius of a disc as heavy."""
_ACROSS = 2
_GAP = 16.0
_TALLEST = 190.0
_GREY = 0.6


def recount_pdf(recount: Recount, *, paper: str = "letter", labels: str = "us") -> bytes:
    """Draw a recount. Raises InputError for text that the fonts cannot print."""
    _require_printable(recount)
    width, height = PAPERS[paper]
    flow = Flow(width, height, 42.0, top=54, bottom=52)
    flow.y = height - 40
    names = PANEL_LABELS[labels]
    tables = recount.a.compiled.tables
    write = writer(recount.a.compiled.matrix.matrix.locale, tables.currency, tables.decimals)
    _heading(flow, recount, write)
    if recount.panels:
        _counts(flow, recount, names, write)
    else:
        flow.paragraph("Neither has a panel.", BODY)
    marked = [panel for panel in recount.panels if panel.marked is not None]
    if marked:
        _found(flow, marked, names)
        _costs(flow, marked, names, write)
    flow.section("What the figures rest on", keep=40)
    for remark in remarks(recount):
        flow.paragraph(with_label(remark, names), SMALL_INK)
        flow.space(2)
    if marked:
        _drawings(flow, marked, names)
    title = f"Recount of claim {recount.a.claim.claim.number}"
    return finished(flow, title, paper, labels)


def _require_printable(recount: Recount) -> None:
    """Raise InputError for names and notes in letters that the fonts lack."""
    problems: list[Problem] = []
    for side, estimate in (("A", recount.a), ("B", recount.b)):
        header = estimate.claim.claim
        for key in ("number", "estimator"):
            missing = unprintable(getattr(header, key) or "")
            if missing:
                expected = "Latin letters, digits and signs that the sheet's fonts have"
                found = ", ".join(missing[:5])
                problems.append(Problem(side, ("claim", key), found, expected))
    if problems:
        raise InputError(problems)


def _heading(flow: Flow, recount: Recount, write: Writer) -> None:
    flow.y -= _TITLE.leading
    flow.text(flow.left, flow.y + 4, "Recount", _TITLE)
    header = recount.a.compiled.matrix.matrix
    claim = recount.a.claim
    flow.paragraph(
        f"Claim {claim.claim.number}, {claim.vehicle.body}, date of loss "
        f"{write.date(claim.claim.date_of_loss)}. Both counts priced under {header.name}, revision "
        f"{header.revision}, whatever was agreed.",
        BODY,
    )
    for side, estimate in (("A", recount.a), ("B", recount.b)):
        about = estimate.claim.claim
        who = about.estimator or "no name given"
        day = f", {write.date(about.dated)}" if about.dated else ""
        total = write.sum(estimate.totals.total)
        so_far = "" if estimate.totals.complete else " so far"
        flow.paragraph(f"{side}: {who}{day}. The whole claim comes to {total}{so_far}.", BODY_BOLD)
    flow.y -= 2


def _counts(flow: Flow, recount: Recount, names: dict[str, str], write: Writer) -> None:
    flow.section("Counted", keep=50)
    currency = write.currency
    columns = [
        Column("Panel", 88),
        Column("A", 28, "right"),
        Column("B", 28, "right"),
        Column("Differ", 34, "right"),
        Column("May differ", 52, "center"),
        Column("Verdict", flow.inner - 452),
        Column("Band A", 42, "right"),
        Column("Band B", 42, "right"),
        Column(f"{currency} A", 46, "right"),
        Column(f"{currency} B", 46, "right"),
        Column("Differ", 46, "right"),
    ]
    flow.table(columns, [_counts_row(panel, names, write) for panel in recount.panels])


def _counts_row(panel: PanelRecount, names: dict[str, str], write: Writer) -> Row:
    sides = (panel.a, panel.b)
    numbers: list[str] = []
    bands = [band_of(result).replace("-", "–") for result in sides]
    sums: list[str] = []
    for result in sides:
        if result is None:
            numbers, sums = [*numbers, "–"], [*sums, "–"]
            continue
        about = "~" if result.panel.sample is not None else ""
        numbers.append(f"{about}{result.count.all}")
        sums.append(write.amount(result.total) if result.priced else "no price")
    difference = ""
    if panel.a is not None and panel.b is not None and panel.a.priced and panel.b.priced:
        difference = write.amount(panel.b.total - panel.a.total)
    told = BODY if panel.within in (True, None) else BODY_BOLD
    return Row(
        (
            Cell.of(names[panel.panel], BODY_BOLD),
            *(Cell.of(number) for number in numbers),
            Cell.of("" if panel.difference is None else f"{panel.difference:+d}", told),
            Cell.of(plausible_words(panel)),
            Cell.of(verdict(panel), told),
            *(Cell.of(text) for text in (*bands, *sums, difference)),
        )
    )


def _found(flow: Flow, panels: Sequence[PanelRecount], names: dict[str, str]) -> None:
    flow.section("Marked by both", keep=50)
    columns = [
        Column("Panel", 100),
        Column("Both", 36, "right"),
        Column("Only A", 38, "right"),
        Column("Only B", 38, "right"),
        Column("A found", 44, "right"),
        Column("B found", 44, "right"),
        Column("Dents there", flow.inner - 446, "center"),
        Column("95 %", 60, "center"),
        Column("Same size", 52, "right"),
        Column("Kappa", 34, "right"),
    ]
    rows = [
        Row((Cell.of(names[panel.panel], BODY_BOLD), *map(Cell.of, marks_texts(panel))))
        for panel in panels
    ]
    flow.table(columns, rows)


def _costs(
    flow: Flow, panels: Sequence[PanelRecount], names: dict[str, str], write: Writer
) -> None:
    flow.section(f"What these panels would cost, {write.currency}", keep=50)
    columns = [
        Column("Panel", 160),
        Column("A", 70, "right"),
        Column("B", 70, "right"),
        Column("Both counts together", 110, "right"),
        Column("Dents there", 84, "right"),
    ]
    rows = []
    for panel in panels:
        texts = [_amount(cost, write) for cost in panel_costs(panel)]
        if not is_estimated(panel):
            texts[-1] = "–"
        cells = (Cell.of(text) for text in texts)
        rows.append(Row((Cell.of(names[panel.panel], BODY_BOLD), *cells)))
    if len(panels) > 1:
        texts = [_amount(total, write) for total in costs_together(panels)]
        if not all(map(is_estimated, panels)):
            texts[-1] = "–"
        cells = (Cell.of(text, BODY_BOLD) for text in texts)
        rows.append(Row((Cell.of("These panels", BODY_BOLD), *cells), tinted=True))
    flow.table(columns, rows)


def _amount(amount: int | None, write: Writer) -> str:
    return "no price" if amount is None else write.amount(amount)


def _drawings(flow: Flow, panels: Sequence[PanelRecount], names: dict[str, str]) -> None:
    """Panels two across, each with its three kinds of marks."""
    width = (flow.inner - (_ACROSS - 1) * _GAP) / _ACROSS
    sizes = [
        frame_for(panel.marked.survey.shape, width, _TALLEST)
        for panel in panels
        if panel.marked is not None
    ]
    flow.section("Where they differ", keep=sizes[0][2] + 60)
    _legend(flow, [panel.marked for panel in panels if panel.marked is not None])
    for start in range(0, len(panels), _ACROSS):
        row = list(zip(panels, sizes, strict=True))[start : start + _ACROSS]
        beyond = [_overhang(panel.marked, size[0]) for panel, size in row if panel.marked]
        below, above = (max(side) for side in zip(*beyond, strict=True))
        height = max(size[2] for _, size in row) + 32 + below + above
        flow.need(height)
        top = flow.y
        for column, (panel, size) in enumerate(row):
            place = (flow.left + column * (width + _GAP), top)
            _drawing(flow, panel, size, place, (width, below, above), names)
        flow.y = top - height - 8


def _overhang(marked: MarkedTwice, scale: float) -> tuple[float, float]:
    """Points by which marks reach below and above a panel's box."""
    dents = [
        DrawnDent(float(dent.x or 0), float(dent.y or 0), float(longest_axis(dent)), False)
        for dent in marked.union
    ]
    return overhang(marked.survey.shape, dents, scale, _STRETCH)


def _drawing(
    flow: Flow,
    panel: PanelRecount,
    size: tuple[float, float, float],
    place: tuple[float, float],
    room: tuple[float, float, float],
    names: dict[str, str],
) -> None:
    """One panel at a place; `room` is the width, and what marks take below and above."""
    (x, top), (width, below, above) = place, room
    marked = panel.marked
    assert marked is not None, "only panels with marks in both claims get here"
    scale, drawn_width, drawn_height = size
    counts = marked.counts
    bottom = top - 15 - above - drawn_height
    frame = panel_frame(marked.survey.shape, x + (width - drawn_width) / 2, bottom, scale)
    flow.text(x, top - 9, names[panel.panel], BODY_BOLD)
    told = f"{counts.both} both, {counts.only_a} only A, {counts.only_b} only B"
    flow.text(x + width, top - 9, told, SMALL_INK, "right")
    for mark in outline_marks(marked.survey.shape, frame):
        flow.put(mark)
    for mark in _three_kinds(marked, frame):
        flow.put(mark)
    flow.text(x, bottom - below - 11, f"1 : {frame.reduction:.0f}", SMALL_INK)


def _three_kinds(marked: MarkedTwice, frame: Frame) -> Iterator[Mark]:
    pairs = len(marked.matching.pairs)
    ours = pairs + len(marked.matching.only_a)
    for index, dent in enumerate(marked.union[:MAX_DRAWN]):
        kind = "both" if index < pairs else "a" if index < ours else "b"
        yield _mark(kind, *_place(dent, frame))


def _place(dent: MeasuredDent, frame: Frame) -> tuple[float, float, float]:
    """Place and radius of a dent on the page."""
    x, y = frame.at(float(dent.x or 0), float(dent.y or 0))
    return x, y, max(_SMALLEST, float(longest_axis(dent)) / 2 * frame.scale)


def _mark(kind: str, x: float, y: float, radius: float) -> Mark:
    if kind == "both":
        return CircleMark(x, y, radius, 0.5, INK, _GREY)
    if kind == "a":
        return PathMark(polygon_points(x, y, radius * _STRETCH, 3), 0.9, INK, True, 1.0)
    side = radius * 0.9
    corners = (
        (x - side, y - side),
        (x + side, y - side),
        (x + side, y + side),
        (x - side, y + side),
    )
    return PathMark(corners, 0.5, INK, True, 0.0)


def _legend(flow: Flow, marked: Sequence[MarkedTwice]) -> None:
    """Kinds of marks, then kinds of zones, as far as they occur."""
    flow.y -= 13
    x = flow.left
    for kind, words in (("both", "found by both"), ("a", "only by A"), ("b", "only by B")):
        flow.put(_mark(kind, x + 5, flow.y + 3.6, 3.0))
        flow.text(x + 14, flow.y + 1.2, words, SMALL_INK)
        x += 14 + text_width(words, SMALL_INK) + 18
    kinds = {zone.kind for each in marked for zone in each.survey.shape.zones}
    for zone, words in ZONE_WORDS.items():
        if zone in kinds:
            for mark in legend_marks(x, flow.y, zone):
                flow.put(mark)
            flow.text(x + 20, flow.y + 1.2, words, SMALL_INK)
            x += 20 + text_width(words, SMALL_INK) + 14
    flow.y -= 3
    if any(each.survey.shape.generic for each in marked):
        flow.paragraph("Generic outlines, no maker's drawing.", SMALL)
    flow.y -= 4
