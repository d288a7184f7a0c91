"""The job card on paper: one page that a technician reads at arm's length, with boxes to tick.

`job_card_pdf` draws a `JobCard` on Letter or A4, set as large and as wide as one page allows, in
a few sizes of type. A card that needs more pages even in the smallest is set in the largest that
takes no more. Order: which vehicle; cautions; what comes off and, beside it, how it goes back on;
panels in order of work; where to look again. Black ink, points. No clock: the same estimate
gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, groupby, takewhile
from typing import Any

from hailcalc.estimate import Estimate
from hailcalc.fields import as_json
from hailcalc.jobcard.card import CardOperation, CardPanel, JobCard, job_card
from hailcalc.money import plain
from hailcalc.problems import InputError
from hailcalc.sheet.finish import finished
from hailcalc.sheet.fonts import BOLD, unprintable_texts
from hailcalc.sheet.layout import (
    INK,
    RULE,
    SOFT,
    TINT,
    Align,
    BoxMark,
    Flow,
    Mark,
    RuleMark,
    Style,
    TextMark,
    narrowed,
    text_width,
    wrap,
)
from hailcalc.sheet.locale import Writer, writer
from hailcalc.sheet.pdf import PAPERS
from hailcalc.vehicle import PANEL_LABELS

MARGIN = 36.0
TOP = 28.0
BOTTOM = 46.0
"""Above the foot lines."""
_HEAD_AGAIN = 24.0
"""What the running head takes at the top of the second page and those after it."""

_GAP = 14.0
"""Between what stands side by side."""
_AIR = 6.0
"""Between columns of a table."""

_SMALLEST = 6.5
"""No type is smaller, points."""

_FOOT = Style(size=7, leading=9)
_FOOT_BOLD = Style(face=BOLD, size=7, leading=9)


@dataclass(frozen=True, slots=True)
class Scale:
    """A size of type with the air above and below a row, points; the rest follows from them."""

    size: float
    pad: float

    @property
    def small(self) -> float:
        """Size of sentences."""
        return max(_SMALLEST, self.size * 0.88)

    @property
    def gap(self) -> float:
        """Above a section."""
        return 3.0 + (self.size - _SMALLEST) * 2

    @property
    def body(self) -> Style:
        """Text that is worked by."""
        return Style(size=self.size, leading=self.size * 1.2)

    @property
    def bold(self) -> Style:
        """What has to be found at once."""
        return Style(face=BOLD, size=self.size, leading=self.size * 1.2)

    @property
    def text(self) -> Style:
        """Sentences."""
        return Style(size=self.small, leading=self.small * 1.22)

    @property
    def text_bold(self) -> Style:
        """Sentences that must not be missed."""
        return Style(face=BOLD, size=self.small, leading=self.small * 1.22)

    @property
    def label(self) -> Style:
        """What names a value or a column."""
        size = max(_SMALLEST, self.size * 0.8)
        return Style(face=BOLD, size=size, leading=size * 1.25, grey=SOFT)

    @property
    def section(self) -> Style:
        """A section's heading."""
        return Style(face=BOLD, size=self.size + 2, leading=self.size * 1.2 + 3)

    @property
    def box(self) -> float:
        """Side of a box to tick."""
        return self.size * 0.86


_SIZES = ((10.5, 3.0), (9.6, 2.4), (8.8, 1.9), (8.0, 1.5), (7.2, 1.1), (6.5, 0.6))
SCALES = tuple(Scale(size, pad * air) for size, pad in _SIZES for air in (1.4, 1.0, 0.6))
"""From what is easily read at arm's length down to what is still read."""


@dataclass(frozen=True, slots=True)
class Print:
    """All that the sections read: the card, names of panels, locale, size of type."""

    card: JobCard
    names: dict[str, str]
    write: Writer
    scale: Scale


def job_card_pdf(estimate: Estimate, *, paper: str = "letter", labels: str = "us") -> bytes:
    """Draw the job card of an estimate, on "letter" or "a4", with "us" or "uk" names of panels.

    Raises InputError for text that the fonts cannot print, naming every place.
    """
    problems = [
        problem
        for file, printed in _printed_texts(estimate).items()
        for problem in unprintable_texts(printed, file, ())
    ]
    if problems:
        raise InputError(problems)
    card = job_card(estimate)
    flow = _compose(card, _writer(estimate), paper, labels)
    return finished(
        flow,
        f"Job card, claim {card.claim}",
        paper,
        labels,
        author=card.shop,
        subject=f"Digest of the claim sheet {card.digest}",
        furniture=lambda page, number, pages: furniture(card, page, number, pages),
    )


def _printed_texts(estimate: Estimate) -> dict[str, dict[str, Any]]:
    """The parts of claim file and matrix whose texts stand on a card, each in its place."""
    claim, matrix = as_json(estimate.claim), as_json(estimate.compiled.matrix)
    keys = {
        "claim": ("number", "estimator"),
        "vehicle": ("description", "vin"),
        "shop": ("name",),
    }
    printed = {
        table: {key: text for key, text in (claim.get(table) or {}).items() if key in wanted}
        for table, wanted in keys.items()
    }
    header = {key: matrix["matrix"][key] for key in ("coins", "columns") if key in matrix["matrix"]}
    return {
        "claim_file": printed | {"panels": claim.get("panels", [])},
        "matrix": {"matrix": header, "removal": matrix.get("removal", [])},
    }


def composed(estimate: Estimate, *, paper: str = "letter", labels: str = "us") -> Flow:
    """The card's marks page by page, before heads and feet are added and anything is drawn."""
    return _compose(job_card(estimate), _writer(estimate), paper, labels)


def _writer(estimate: Estimate) -> Writer:
    tables = estimate.compiled.tables
    return writer(estimate.compiled.matrix.matrix.locale, tables.currency, tables.decimals)


def _compose(card: JobCard, write: Writer, paper: str, labels: str) -> Flow:
    """The card in the largest type that needs the fewest pages."""
    flows: list[Flow] = []
    for scale in SCALES:
        flows.append(_set(Print(card, PANEL_LABELS[labels], write, scale), *PAPERS[paper]))
        if len(flows[-1].pages) == 1:
            break
    return min(flows, key=lambda flow: len(flow.pages))


class _CardFlow(Flow):
    """A flow whose first page has no running head above it."""

    def new_page(self) -> None:
        """Go on at the head of a new page, below the running head."""
        super().new_page()
        if len(self.pages) > 1:
            self.y -= _HEAD_AGAIN


def _set(card: Print, width: float, height: float) -> Flow:
    flow = _CardFlow(width, height, MARGIN, top=TOP, bottom=BOTTOM)
    _heading(flow, card)
    _cautions(flow, card)
    _removal(flow, card)
    _panels(flow, card)
    _look_again(flow, card)
    return flow


def furniture(card: JobCard, flow: Flow, page: int, pages: int) -> list[Mark]:
    """Foot of every page, and the head of every page but the first."""
    under = f" under matrix {card.matrix}, revision {card.revision}."
    claim = f"Made from claim {card.claim}"
    [claim] = _lines(claim, _FOOT, flow.inner - text_width(under, _FOOT), 1)
    order = "A job card, not an order to repair: the vehicle maker's procedures come first."
    told = f"Digest of the claim sheet {card.digest}    Page {page} of {pages}"
    first, second = flow.bottom - 17, flow.bottom - 26.5
    marks: list[Mark] = [
        RuleMark(flow.left, flow.bottom - 8, flow.right, flow.bottom - 8, 0.5, SOFT),
        _text(flow.left, first, claim + under, _FOOT),
        _text(flow.left, second, order, _FOOT_BOLD),
        _right(flow.right, second, told, _FOOT),
    ]
    if page > 1:
        y = flow.height - TOP - 11
        style = Style(face=BOLD, size=10, leading=12)
        title = f"Job card, claim {card.claim}"
        marks += [
            _text(flow.left, y, title, narrowed(title, style, flow.inner - 80)),
            _right(flow.right, y, "continued", Style(size=9, leading=11)),
            RuleMark(flow.left, y - 5, flow.right, y - 5, 0.8, INK),
        ]
    return marks


def _text(x: float, y: float, text: str, style: Style) -> TextMark:
    return TextMark(x, y, text, style.face, style.size, style.grey)


def _right(x: float, y: float, text: str, style: Style) -> TextMark:
    return _text(x - text_width(text, style), y, text, style)


def _base(style: Style) -> float:
    """From the foot of a line of text up to its base line."""
    return (style.leading - style.size) / 2 + style.size * 0.22


def _tick(flow: Flow, x: float, base: float, scale: Scale) -> None:
    """A box to tick, beside a text on a base line."""
    side = scale.box
    flow.put(BoxMark(x, base - (side - scale.size * 0.7) / 2, side, side, None, INK))


def _lines(text: str, style: Style, width: float, most: int) -> list[str]:
    """`text` wrapped to `most` lines, the last of them with an ellipsis if there were more."""
    lines = wrap(text, style, width)
    if len(lines) <= most:
        return lines
    rest = text
    for line in lines[: most - 1]:
        rest = rest.removeprefix(line).lstrip()
    room = width - text_width("…", style)
    reached = accumulate(text_width(char, style) for char in rest)
    cut = sum(1 for _ in takewhile(lambda end: end <= room, reached))
    return [*lines[: most - 1], rest[:cut].rstrip() + "…"]


# --- which vehicle ------------------------------------------------------------------------------


def _heading(flow: Flow, card: Print) -> None:
    """The title with the claim's number, the vehicle, and totals that are no money."""
    scale = card.scale
    title = Style(face=BOLD, size=scale.size + 9, leading=scale.size + 12)
    number = Style(face=BOLD, size=scale.size + 4, leading=scale.size + 7)
    room = flow.inner - text_width("Job card", title) - 2 * _GAP
    base = flow.y - title.leading + _base(title)
    flow.text(flow.left, base, "Job card", title)
    claim = f"Claim {card.card.claim}"
    flow.text(flow.right, base, claim, narrowed(claim, number, room), "right")
    flow.y -= title.leading + 1
    flow.rule(1.2, INK)
    flow.y -= scale.pad
    for row in _facts(card):
        _fact_row(flow, card, row)
    _totals(flow, card)


_Fact = tuple[str, str, float]
"""A name, its value and the share of the width that it gets."""


def _facts(card: Print) -> Iterator[list[_Fact]]:
    about = card.card
    description = f"{about.vehicle} ({about.body})" if about.vehicle else about.body
    warm = f"{card.write.figure(about.temperature_c)} °C" if about.temperature_c else "not given"
    if about.glued and not about.temperature_c:
        warm += ", measure first"
    if about.glue_limit_c:
        warm += f"; glue up to {card.write.figure(about.glue_limit_c)} °C"
    yield [
        ("Vehicle", description, 0.52),
        ("VIN", about.vin or "not given", 0.26),
        ("Dated", card.write.date(about.dated) if about.dated else "not given", 0.22),
    ]
    yield [
        ("Shop", about.shop or "not given", 0.27),
        ("Estimator", about.estimator or "not given", 0.25),
        ("Panel temperature", warm, 0.26),
        ("Equipment", ", ".join(about.equipment) or "none stated", 0.22),
    ]


def _fact_row(flow: Flow, card: Print, facts: Sequence[_Fact]) -> None:
    scale = card.scale
    lowest = flow.y
    x = flow.left
    for name, value, share in facts:
        width = flow.inner * share
        y = flow.y - scale.label.leading
        flow.text(x, y + _base(scale.label), name, scale.label)
        for line in _lines(value, scale.body, width - _AIR, 2):
            y -= scale.body.leading
            flow.text(x, y + _base(scale.body), line, scale.body)
        lowest = min(lowest, y)
        x += width
    flow.y = lowest - scale.pad


def _totals(flow: Flow, card: Print) -> None:
    scale, about = card.scale, card.card
    repaired = about.repaired
    so_many = "about " if any(panel.sampled for panel in repaired) else ""
    panels = f"{len(repaired)} to repair"
    if replaced := len(about.panels) - len(repaired):
        panels += f", {replaced} to replace"
    minutes = f"{card.write.figure(about.minutes)} min" if about.off else "nothing comes off"
    aims = {"cost": "planned for least cost", "minutes": "planned for least time"}
    totals = [
        ("Panels", panels),
        ("Dents to repair", f"{so_many}{about.dents}"),
        ("Removal and refit", minutes),
        ("New fasteners", str(about.fasteners)),
        ("Methods", aims.get(about.aim or "", "as the estimator chose")),
    ]
    height = scale.label.leading + scale.bold.leading + 2 * scale.pad + 2
    flow.y -= scale.pad
    flow.put(BoxMark(flow.left, flow.y - height, flow.inner, height, TINT, None))
    shares = (0.27, 0.16, 0.20, 0.15, 0.22)
    x = flow.left + 5
    for (name, value), share in zip(totals, shares, strict=True):
        y = flow.y - scale.pad - 1 - scale.label.leading
        flow.text(x, y + _base(scale.label), name, scale.label)
        y -= scale.bold.leading
        flow.text(x, y + _base(scale.bold), value, scale.bold)
        x += (flow.inner - 8) * share
    flow.y -= height


# --- sections -----------------------------------------------------------------------------------


def _section(flow: Flow, card: Print, title: str, keep: float, aside: str = "") -> None:
    """A section's heading, with something to know beside it."""
    style, text = card.scale.section, card.scale.text
    flow.space(card.scale.gap)
    flow.need(style.leading + keep)
    flow.y -= style.leading
    base = flow.y + _base(style)
    flow.text(flow.left, base, title, style)
    if aside:
        flow.text(flow.right, base, aside, text, "right")
    flow.y -= 1


def _cautions(flow: Flow, card: Print) -> None:
    """Where the work can hurt, before the work: two columns, each caution's word before it."""
    scale = card.scale
    blocks = _caution_blocks(card, flow.inner)
    heights = [len(lines) * scale.text.leading + scale.pad for _, lines in blocks]
    first = _first_column(heights)
    _section(flow, card, "Cautions", 0)
    flow.y -= 1
    flow.rule(0.8, INK)
    flow.y -= scale.pad
    top = lowest = flow.y
    word_width = _word_width(card)
    x = flow.left
    for column in (blocks[:first], blocks[first:]):
        y = top
        for word, lines in column:
            for number, line in enumerate(lines):
                y -= scale.text.leading
                if number == 0:
                    flow.text(x, y + _base(scale.text), word, scale.text_bold)
                flow.text(x + word_width, y + _base(scale.text), line, scale.text)
            y -= scale.pad
        lowest = min(lowest, y)
        x += (flow.inner + _GAP) / 2
    flow.y = lowest


def _word_width(card: Print) -> float:
    words = [caution.word for caution in card.card.cautions]
    return max(text_width(word, card.scale.text_bold) for word in words) + _AIR


def _caution_blocks(card: Print, inner: float) -> list[tuple[str, list[str]]]:
    """Each caution's word, and its text in lines."""
    width = (inner - _GAP) / 2 - _word_width(card)
    return [
        (caution.word, wrap(caution.text, card.scale.text, width)) for caution in card.card.cautions
    ]


def _first_column(heights: Sequence[float]) -> int:
    """How many blocks stand in the first of two columns, so that the taller one is least tall."""
    return min(
        range(1, len(heights) + 1),
        key=lambda count: (max(sum(heights[:count]), sum(heights[count:])), count),
    )


# --- removal and refit --------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Part:
    """The heading of a part of the vehicle in a list of operations."""

    name: str


_Item = _Part | CardOperation


def _items(operations: Sequence[CardOperation]) -> list[_Item]:
    """Operations with the parts of the vehicle as headings between them."""
    items: list[_Item] = []
    for part, group in groupby(operations, key=lambda operation: operation.part):
        items += [_Part(part[:1].upper() + part[1:]), *group]
    return items


@dataclass(frozen=True, slots=True)
class _OperationColumn:
    """A column beside the labels: heading, width, an operation's text, side."""

    title: str
    width: float
    text: Callable[[CardOperation], str]
    align: Align = "left"


@dataclass(frozen=True, slots=True)
class _Side:
    """One of the two lists: where it stands, and the columns after the label."""

    x: float
    width: float
    number: float
    columns: tuple[_OperationColumn, ...]

    def label_x(self, scale: Scale) -> float:
        """Where the labels begin: after the box and the number."""
        return self.x + scale.box + 4 + self.number + 4

    def label_width(self, scale: Scale) -> float:
        """What the labels have."""
        columns = sum(column.width + _AIR for column in self.columns)
        return self.x + self.width - columns - self.label_x(scale)


def _sides(flow: Flow, card: Print) -> tuple[_Side, _Side]:
    scale, operations = card.scale, card.card.off
    number = max(text_width(str(operation.number), scale.body) for operation in operations)

    def cautions(operation: CardOperation) -> str:
        return ", ".join(operation.cautions)

    def minutes(operation: CardOperation) -> str:
        return card.write.figure(operation.minutes)

    def fasteners(operation: CardOperation) -> str:
        return str(operation.fasteners) if operation.fasteners else "·"

    def new(operation: CardOperation) -> str:
        return f"{operation.fasteners} new" if operation.fasteners else ""

    def width(title: str, style: Style, text: Callable[[CardOperation], str]) -> float:
        widest = max(text_width(text(operation), style) for operation in operations)
        return max(widest, text_width(title, scale.label))

    off_columns: tuple[_OperationColumn, ...] = (
        _OperationColumn(
            "Caution", min(width("Caution", scale.bold, cautions), flow.inner * 0.16), cautions
        ),
        _OperationColumn("Min", width("Min", scale.body, minutes), minutes, "right"),
        _OperationColumn(
            "Fasteners", width("Fasteners", scale.body, fasteners), fasteners, "right"
        ),
    )
    on_columns = (_OperationColumn("Fasteners", width("Fasteners", scale.body, new), new, "right"),)
    # Both lists have the same labels, and so the same room for them.
    beside = [sum(column.width + _AIR for column in each) for each in (off_columns, on_columns)]
    rest = (flow.inner - _GAP - sum(beside)) / 2
    off = _Side(flow.left, rest + beside[0], number, off_columns)
    on = _Side(flow.left + off.width + _GAP, rest + beside[1], number, on_columns)
    return off, on


def _removal(flow: Flow, card: Print) -> None:
    """What comes off, in order, and beside it what goes back on, in reverse."""
    scale, operations = card.scale, card.card.off
    if not operations:
        _section(flow, card, "Removal and refit", scale.body.leading)
        flow.paragraph("Nothing comes off.", scale.body)
        return
    new = card.card.fasteners
    have = f"Have {new} new single-use fasteners at hand" if new else ""
    keep = scale.label.leading + 3 * scale.body.leading
    _section(flow, card, "Removal and refit", keep, have)
    sides = _sides(flow, card)
    rows = list(zip(_items(operations), _items(operations[::-1]), strict=True))
    heights = [max(_item_height(item, side, scale) for item, side in zip(row, sides, strict=True))
               for row in rows]  # fmt: skip
    _list_heads(flow, card, sides)
    parts = ["", ""]
    for index, row in enumerate(rows):
        headings = any(isinstance(item, _Part) for item in row)
        follows = heights[index + 1] if headings and index + 1 < len(rows) else 0.0
        if flow.y - heights[index] - follows < flow.bottom:
            flow.new_page()
            _list_heads(flow, card, sides, parts, row)
        for at, (item, side) in enumerate(zip(row, sides, strict=True)):
            if isinstance(item, _Part):
                parts[at] = item.name
            _put_item(flow, item, side, heights[index], scale)
        flow.y -= heights[index]


def _list_heads(
    flow: Flow,
    card: Print,
    sides: tuple[_Side, _Side],
    parts: Sequence[str] = ("", ""),
    row: Sequence[_Item] = (),
) -> None:
    """The heads of both lists, and on a new page the parts that go on there."""
    scale = card.scale
    style, titles = scale.bold, ("Off, in this order", "Back on, in reverse")
    flow.y -= style.leading + 1
    for side, title in zip(sides, titles, strict=True):
        base = flow.y + _base(style)
        flow.text(side.x, base, title, style)
        for x, column in _places(side):
            edge = x + column.width if column.align == "right" else x
            flow.text(edge, base, column.title, scale.label, column.align)
        flow.put(RuleMark(side.x, flow.y, side.x + side.width, flow.y, 0.8, INK))
    going_on = [not isinstance(item, _Part) for item in row]
    if any(going_on):
        height = _item_height(_Part(""), sides[0], scale)
        for side, part, goes_on in zip(sides, parts, going_on, strict=True):
            if goes_on:
                _put_item(flow, _Part(f"{part}, continued"), side, height, scale)
        flow.y -= height


def _places(side: _Side) -> Iterator[tuple[float, _OperationColumn]]:
    x = side.x + side.width - sum(column.width + _AIR for column in side.columns) + _AIR
    for column in side.columns:
        yield x, column
        x += column.width + _AIR


def _item_height(item: _Item, side: _Side, scale: Scale) -> float:
    if isinstance(item, _Part):
        return scale.bold.leading + scale.pad
    lines = len(wrap(item.label, scale.body, side.label_width(scale)))
    for column in side.columns:
        if column.align == "left":
            lines = max(lines, len(wrap(column.text(item), scale.bold, column.width)))
    return lines * scale.body.leading + scale.pad


def _put_item(flow: Flow, item: _Item, side: _Side, height: float, scale: Scale) -> None:
    base = flow.y - scale.pad / 2 - scale.body.leading + _base(scale.body)
    if isinstance(item, _Part):
        flow.text(side.x, base, item.name, scale.bold)
        return
    _tick(flow, side.x, base, scale)
    number_edge = side.x + scale.box + 4 + side.number
    flow.text(number_edge, base, str(item.number), scale.body, "right")
    label_width = side.label_width(scale)
    foot = flow.y - height
    flow.put(RuleMark(side.x, foot, side.x + side.width, foot, 0.3, RULE))
    for number, line in enumerate(wrap(item.label, scale.body, label_width)):
        flow.text(side.label_x(scale), base - number * scale.body.leading, line, scale.body)
    for x, column in _places(side):
        if column.align == "right":
            flow.text(x + column.width, base, column.text(item), scale.body, "right")
            continue
        for number, line in enumerate(wrap(column.text(item), scale.bold, column.width)):
            flow.text(x, base - number * scale.body.leading, line, scale.bold)


# --- panels in order of work --------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Column:
    """A column of the list of panels: heading, width, side, and a panel's text in its style."""

    title: str
    width: float
    align: Align
    text: Callable[[CardPanel], str]
    style: Callable[[CardPanel], Style]
    air: float = _AIR


def _panel_columns(flow: Flow, card: Print) -> tuple[list[_Column], bool]:
    """The columns of the list of panels, and whether it has one for each size."""
    scale, panels, sizes = card.scale, card.card.panels, card.card.sizes

    def regular(panel: CardPanel) -> Style:
        return scale.body

    def bold(panel: CardPanel) -> Style:
        return scale.bold

    def unusual(panel: CardPanel) -> Style:
        return scale.body if panel.metal == "steel" and not panel.repainted else scale.bold

    def fitted(
        title: str,
        align: Align,
        text: Callable[[CardPanel], str],
        style: Callable[[CardPanel], Style],
        most: float = flow.inner,
    ) -> _Column:
        widest = max(text_width(text(panel), style(panel)) for panel in panels)
        width = max(min(widest, most), text_width(title, scale.label))
        return _Column(title, width, align, text, style)

    def at_size(at: int) -> Callable[[CardPanel], str]:
        return lambda panel: str(panel.counts[at] or "·")

    def oversize(panel: CardPanel) -> str:
        return _oversize_words(panel, card.write)

    def metal(panel: CardPanel) -> str:
        return f"{panel.metal}, repainted" if panel.repainted else panel.metal

    front = [
        fitted("Panel", "left", lambda panel: card.names[panel.panel], bold),
        fitted("Method", "left", lambda panel: panel.method, bold),
    ]
    counts = [fitted(size, "right", at_size(at), regular) for at, size in enumerate(sizes)]
    counts[-1] = _wider(counts[-1], after=_AIR)
    large = []
    if any(panel.oversize for panel in panels):
        large = [fitted("Oversize, mm", "left", oversize, regular, flow.inner * 0.13)]
    every = [_wider(fitted("All", "right", _all_words, bold), after=_AIR)]
    marks = [fitted("Marks", "left", _marks_words, regular, flow.inner * 0.2)]
    state = [fitted("Metal, paint", "left", metal, unusual, flow.inner * 0.15)]
    columns = [*front, *counts, *large, *every, *marks, *state]
    spare = _spare(columns, flow, scale)
    each = spare >= 0
    if not each:
        columns = [*front, *large, *every, *marks, *state]
        spare = _spare(columns, flow, scale)
    spare = max(0.0, spare)
    # First all marks on one line, if that can be; what is left goes between the columns.
    wanted = max(text_width(_marks_words(panel), scale.body) for panel in panels)
    room = min(spare, max(0.0, wanted - marks[0].width))
    columns[columns.index(marks[0])] = replace(marks[0], width=marks[0].width + room)
    more = min((spare - room) / len(columns), 1.3 * _AIR)
    return [
        _wider(column, before=more) if column.align == "right" else _wider(column, after=more)
        for column in columns
    ], each


def _spare(columns: Sequence[_Column], flow: Flow, scale: Scale) -> float:
    """What the columns leave of the width."""
    return flow.inner - scale.box - 4 - sum(column.width + column.air for column in columns)


def _wider(column: _Column, before: float = 0.0, after: float = 0.0) -> _Column:
    """The column with more room before its text, which is flush right, or after it."""
    return replace(column, width=column.width + before, air=column.air + after)


def _sizes_words(panel: CardPanel, sizes: Sequence[str]) -> str:
    """Counts by size as words, where there are too many sizes for a column each."""
    pairs = zip(panel.counts, sizes, strict=True)
    return ", ".join(f"{number}\u00a0{size}" for number, size in pairs if number)


def _oversize_words(panel: CardPanel, write: Writer) -> str:
    sizes = [write.figure(plain(mm)) for mm in panel.oversize[:6]]
    more = len(panel.oversize) - len(sizes)
    return ", ".join(sizes) + (f" and {more} more" if more else "")


def _all_words(panel: CardPanel) -> str:
    if not panel.all:
        return "·"
    return f"about {panel.all}" if panel.sampled else str(panel.all)


def _marks_words(panel: CardPanel) -> str:
    return ", ".join(f"{mark}\u00a0{number}" for mark, number in panel.marks)


def _panels(flow: Flow, card: Print) -> None:
    """The panels in order of work, each with what must be known before it is touched."""
    scale, panels = card.scale, card.card.panels
    _section(flow, card, "Panels, in order of work", 4 * scale.body.leading)
    if not panels:
        flow.paragraph("No panel has a dent.", scale.body)
        return
    columns, each_size = _panel_columns(flow, card)
    _panel_heads(flow, columns, scale)
    for panel in panels:
        cells = [wrap(column.text(panel), column.style(panel), column.width) for column in columns]
        below = list(_below(panel, flow, card, each_size))
        lines = max(map(len, cells))
        height = lines * scale.body.leading + sum(style.leading for _, style in below)
        height += 2 * scale.pad
        if flow.y - height < flow.bottom:
            flow.new_page()
            _panel_heads(flow, columns, scale)
        _put_panel(flow, panel, columns, cells, below, scale)
        flow.y -= height
        flow.rule(0.3)


def _below(
    panel: CardPanel, flow: Flow, card: Print, each_size: bool
) -> Iterator[tuple[str, Style]]:
    """Sizes that have no column, alerts in full, and the note in no more than two lines."""
    scale = card.scale
    width = flow.inner - scale.box - 4
    if not each_size:
        for line in wrap(_sizes_words(panel, card.card.sizes), scale.body, width):
            yield line, scale.body
    for alert in panel.alerts:
        for line in wrap(card.write.words(alert), scale.text_bold, width):
            yield line, scale.text_bold
    if panel.note:
        for line in _lines(panel.note, scale.text, width, 2):
            yield line, scale.text


def _across(
    flow: Flow, columns: Sequence[_Column], scale: Scale
) -> Iterator[tuple[float, _Column]]:
    """Where each column's text is anchored."""
    x = flow.left + scale.box + 4
    for column in columns:
        yield (x + column.width if column.align == "right" else x), column
        x += column.width + column.air


def _panel_heads(flow: Flow, columns: Sequence[_Column], scale: Scale) -> None:
    titles = [wrap(column.title, scale.label, column.width) for column in columns]
    lines = max(map(len, titles))
    for (x, column), title in zip(_across(flow, columns, scale), titles, strict=True):
        for number, line in enumerate(title):
            y = flow.y - (lines - len(title) + number + 1) * scale.label.leading
            flow.text(x, y + _base(scale.label), line, scale.label, column.align)
    flow.y -= lines * scale.label.leading + 1
    flow.rule(0.8, INK)


def _put_panel(
    flow: Flow,
    panel: CardPanel,
    columns: Sequence[_Column],
    cells: Sequence[Sequence[str]],
    below: Sequence[tuple[str, Style]],
    scale: Scale,
) -> None:
    base = flow.y - scale.pad - scale.body.leading + _base(scale.body)
    _tick(flow, flow.left, base, scale)
    for (x, column), lines in zip(_across(flow, columns, scale), cells, strict=True):
        for number, line in enumerate(lines):
            y = base - number * scale.body.leading
            flow.text(x, y, line, column.style(panel), column.align)
    y = flow.y - scale.pad - max(map(len, cells)) * scale.body.leading
    for line, style in below:
        y -= style.leading
        flow.text(flow.left + scale.box + 4, y + _base(style), line, style)


# --- look again ---------------------------------------------------------------------------------


_MORE = "more:"
_FOUR_ACROSS = 8.0
"""Up to this size of type, four panels stand side by side."""


def _look_again(flow: Flow, card: Print) -> None:
    """Where to look once more while everything is still off, with room for what is found."""
    scale, about = card.scale, card.card
    before = "before refit" if about.off else "before the vehicle goes out"
    first = "once the trim is off, and again before refit" if about.off else before
    names = [card.names[panel] for panel in about.again]
    across = 3 if scale.size > _FOUR_ACROSS else 4
    width = (flow.inner - (across - 1) * _GAP) / across
    height = scale.body.leading + 2 * scale.pad + 3
    rows = [names[start : start + across] for start in range(0, len(names), across)]
    longest = max((text_width(name, scale.body) for name in names), default=0.0)
    told_x = scale.box + 4 + longest + _AIR
    _section(flow, card, f"Look again {before}", 3 * scale.text.leading + height)
    flow.paragraph(
        f"Look round every dent under the light board {first}; note how many more there are. What "
        "shows up is photographed and goes to the estimator as a supplement before it is worked.",
        scale.text,
    )
    for row in rows:
        flow.need(height)
        flow.y -= height
        base = flow.y + scale.pad + _base(scale.body)
        for column, name in enumerate(row):
            x = flow.left + column * (width + _GAP)
            _tick(flow, x, base, scale)
            flow.text(x + scale.box + 4, base, name, scale.body)
            flow.text(x + told_x, base, _MORE, scale.text)
            end = x + told_x + text_width(_MORE, scale.text) + 3
            flow.put(RuleMark(end, base - 1, x + width, base - 1, 0.6, INK))
