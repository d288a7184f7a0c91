"""A small page setter: text, rules and tables flow down pages; drawing comes afterwards.

Points, origin at the bottom left. `Flow` only collects marks page by page (so the number
of pages is known before anything is drawn); `draw` puts them on a reportlab canvas.
Tables break between rows and repeat their heading; a row taller than a page breaks inside.
Direct canvas drawing rather than a general layout engine: a sheet is all short strings at
known places, and measuring them by their widths is all that is needed.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from io import BytesIO
from typing import TYPE_CHECKING, Any, Literal

from hailcalc.sheet.fonts import BOLD, REGULAR, faces

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

Align = Literal["left", "right", "center"]

INK = 0.0
SOFT = 0.36
RULE = 0.70
TINT = 0.945


@dataclass(frozen=True, slots=True)
class Style:
    """How text looks: face, size, line height, grey (0 is black)."""

    face: str = REGULAR
    size: float = 8.5
    leading: float = 11.0
    grey: float = INK


BODY = Style()
BODY_BOLD = Style(face=BOLD)
SMALL = Style(size=7.5, leading=9.6, grey=SOFT)
SMALL_INK = Style(size=7.5, leading=9.6)
HEAD = Style(face=BOLD, size=7.5, leading=9.6, grey=SOFT)
SECTION = Style(face=BOLD, size=11.5, leading=15)


@dataclass(frozen=True, slots=True)
class TextMark:
    """A string at a place."""

    x: float
    y: float
    text: str
    face: str
    size: float
    grey: float


@dataclass(frozen=True, slots=True)
class RuleMark:
    """A straight line."""

    x: float
    y: float
    x2: float
    y2: float
    width: float
    grey: float


@dataclass(frozen=True, slots=True)
class BoxMark:
    """A rectangle, filled and without border, or with a border and not filled."""

    x: float
    y: float
    width: float
    height: float
    fill: float | None
    stroke: float | None


@dataclass(frozen=True, slots=True)
class PathMark:
    """Straight lines from point to point; closed and filled white if it is a ring."""

    points: tuple[tuple[float, float], ...]
    width: float
    grey: float
    closed: bool
    fill: float | None = None
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class CircleMark:
    """A circle with a border, and filled or not."""

    x: float
    y: float
    radius: float
    width: float
    stroke: float
    fill: float | None


@dataclass(frozen=True, slots=True)
class ImageMark:
    """An RGB JPEG, stretched over a rectangle; `pixels` is its own width and height."""

    x: float
    y: float
    width: float
    height: float
    jpeg: bytes
    pixels: tuple[int, int]


Mark = TextMark | RuleMark | BoxMark | PathMark | CircleMark | ImageMark


@dataclass(frozen=True, slots=True)
class Cell:
    """Text of a table cell: paragraphs, each with a style, wrapped to the column."""

    paragraphs: tuple[tuple[str, Style], ...]

    @classmethod
    def of(cls, text: str, style: Style = BODY) -> Cell:
        """A cell of one paragraph."""
        return cls(((text, style),))


@dataclass(frozen=True, slots=True)
class Column:
    """A table's column: heading, width in points, side on which its text stands."""

    title: str
    width: float
    align: Align = "left"


@dataclass(frozen=True, slots=True)
class Row:
    """A table's row. `with_next` keeps it on the page of the row after it.

    `again` is the row to repeat when the rows that follow go over to a new page.
    """

    cells: tuple[Cell, ...]
    again: tuple[Cell, ...] = ()
    with_next: bool = False
    tinted: bool = False
    ruled: bool = True


def text_width(text: str, style: Style) -> float:
    """Width in points."""
    return faces()[style.face].width(text, style.size)


def narrowed(text: str, style: Style, width: float) -> Style:
    """`style`, made smaller where `text` would be wider than `width`: a sum is never cut."""
    return replace(style, size=min(style.size, style.size * width / text_width(text, style)))


def wrap(text: str, style: Style, width: float) -> list[str]:
    """Lines of `text` no wider than `width`; a word that is wider breaks within."""
    face = faces()[style.face]
    if face.width(text, style.size) <= width:
        return [text]
    space = face.width(" ", style.size)
    lines: list[str] = []
    line, used = "", 0.0
    for word in text.split(" "):
        size = face.width(word, style.size)
        if line and used + space + size <= width:
            line, used = f"{line} {word}", used + space + size
            continue
        if line:
            lines.append(line)
        while size > width:
            cut = _fitting(word, style, width)
            lines.append(word[:cut])
            word = word[cut:]
            size = face.width(word, style.size)
        line, used = word, size
    lines.append(line)
    return lines


def _fitting(word: str, style: Style, width: float) -> int:
    """How many leading characters of `word` fit, at least one."""
    face = faces()[style.face]
    used, cut = 0.0, 0
    for char in word:
        used += face.width(char, style.size)
        if used > width:
            break
        cut += 1
    return max(1, cut)


@dataclass(frozen=True, slots=True)
class Spacing:
    """Air in a sheet: above and below a table row's text, above a section, line of a note."""

    pad: float
    gap: float


AIRY = Spacing(pad=2.6, gap=14.0)
TIGHT = Spacing(pad=1.5, gap=8.0)

_GAP = 5.0
"""Space between columns."""


@dataclass(slots=True)
class Flow:
    """The place where the next mark goes: pages so far, and how far down the current one."""

    width: float
    height: float
    margin: float
    top: float
    bottom: float
    spacing: Spacing = AIRY
    pages: list[list[Mark]] = field(default_factory=list)
    y: float = 0.0

    def __post_init__(self) -> None:
        self.new_page()

    @property
    def left(self) -> float:
        """Left edge of the text."""
        return self.margin

    @property
    def right(self) -> float:
        """Right edge of the text."""
        return self.width - self.margin

    @property
    def inner(self) -> float:
        """Width of the text."""
        return self.width - 2 * self.margin

    def new_page(self) -> None:
        """Go on at the head of a new page."""
        self.pages.append([])
        self.y = self.height - self.top

    def at_head(self) -> bool:
        """Whether nothing has been put on the page yet."""
        return self.y >= self.height - self.top

    def need(self, height: float) -> None:
        """Begin a new page unless `height` is left on this one."""
        if self.y - height < self.bottom and not self.at_head():
            self.new_page()

    def space(self, height: float) -> None:
        """Leave room, except at the head of a page."""
        if not self.at_head():
            self.y -= height

    def put(self, mark: Mark) -> None:
        """A mark on the current page."""
        self.pages[-1].append(mark)

    def text(
        self, x: float, y: float, text: str, style: Style = BODY, align: Align = "left"
    ) -> None:
        """One line of text at a place of the current page."""
        if not text:
            return
        if align != "left":
            width = text_width(text, style)
            x -= width if align == "right" else width / 2
        self.put(TextMark(x, y, text, style.face, style.size, style.grey))

    def rule(self, width: float = 0.5, grey: float = RULE) -> None:
        """A line across the text."""
        self.put(RuleMark(self.left, self.y, self.right, self.y, width, grey))

    def paragraph(self, text: str, style: Style = BODY, indent: float = 0.0) -> None:
        """Wrapped text across the page."""
        for line in wrap(text, style, self.inner - indent):
            self.need(style.leading)
            self.y -= style.leading
            self.text(self.left + indent, self.y + _descent(style), line, style)

    def section(self, title: str, keep: float = 60.0) -> None:
        """A section's heading, kept with the beginning of what follows."""
        self.space(self.spacing.gap)
        self.need(SECTION.leading + keep)
        self.y -= SECTION.leading
        self.text(self.left, self.y + 3.5, title, SECTION)
        self.y -= 2

    def table(self, columns: Sequence[Column], rows: Sequence[Row]) -> None:
        """A table with its heading, continued with the heading repeated on each new page."""
        pad = self.spacing.pad
        set_rows = [_set_row(row, columns, pad) for row in rows]
        self._table_head(columns, _together(set_rows, 0))
        again: _SetRow | None = None
        for index, row in enumerate(set_rows):
            together = _together(set_rows, index)
            repeated = None if rows[index].with_next else again
            self._row(row, together, columns, repeated)
            if rows[index].again:
                again = _set_row(replace(rows[index], cells=rows[index].again), columns, pad)
        self.y -= 2

    def _table_head(self, columns: Sequence[Column], follows: float = 0.0) -> None:
        """The heading, on the page of the rows that follow it (points, as far as a page holds)."""
        titles = [wrap(column.title, HEAD, column.width - _GAP) for column in columns]
        lines = max(map(len, titles))
        room = self.height - self.top - self.bottom - 60
        self.need(lines * HEAD.leading + 4 + min(follows, room))
        for position, (x, column) in enumerate(_places(self.left, columns)):
            first = self.y - (lines - len(titles[position])) * HEAD.leading
            for number, title in enumerate(titles[position], 1):
                y = first - number * HEAD.leading + _descent(HEAD)
                self.text(_edge(x, column), y, title, HEAD, column.align)
        self.y -= lines * HEAD.leading + 1.5
        self.rule(0.8, INK)

    def _row(
        self, row: _SetRow, together: float, columns: Sequence[Column], again: _SetRow | None
    ) -> None:
        room = self.height - self.top - self.bottom - 60
        if self.y - min(together, room) < self.bottom:
            self._next_page_of_table(columns, again)
        rest = row
        while rest.height > self.y - self.bottom and rest.lines_within(self.y - self.bottom):
            head, rest = rest.split(self.y - self.bottom)
            self._put_row(head, columns)
            self._next_page_of_table(columns, again)
        self._put_row(rest, columns)

    def _next_page_of_table(self, columns: Sequence[Column], again: _SetRow | None) -> None:
        self.new_page()
        self._table_head(columns)
        if again is not None:
            self._put_row(again, columns)

    def _put_row(self, row: _SetRow, columns: Sequence[Column]) -> None:
        if row.tinted:
            self.put(BoxMark(self.left, self.y - row.height, self.inner, row.height, TINT, None))
        tallest = _tallest_first(row.cells)
        base = self.y - row.pad - tallest.leading + _descent(tallest)
        for (x, column), lines in zip(_places(self.left, columns), row.cells, strict=True):
            y = base
            for number, (text, style) in enumerate(lines):
                if number:
                    y -= style.leading
                self.text(_edge(x, column), y, text, style, column.align)
        self.y -= row.height
        if row.ruled:
            self.rule(0.3)


@dataclass(frozen=True, slots=True)
class _SetRow:
    """A row with its cells wrapped."""

    cells: tuple[tuple[tuple[str, Style], ...], ...]
    pad: float
    height: float
    with_next: bool
    tinted: bool
    ruled: bool

    def lines_within(self, room: float) -> int:
        """How many text lines of the row fit into `room`."""
        return max(0, int((room - 2 * self.pad) // BODY.leading))

    def split(self, room: float) -> tuple[_SetRow, _SetRow]:
        """What fits into `room`, and the rest."""
        count = self.lines_within(room)
        first = tuple(lines[:count] for lines in self.cells)
        second = tuple(lines[count:] for lines in self.cells)
        return (
            replace(self, cells=first, height=_height(first, self.pad), ruled=False),
            replace(self, cells=second, height=_height(second, self.pad)),
        )


def _together(rows: Sequence[_SetRow], index: int) -> float:
    """Height of a row with the rows that it must stay with."""
    height = rows[index].height
    while rows[index].with_next and index + 1 < len(rows):
        index += 1
        height += rows[index].height
    return height


def _tallest_first(cells: Sequence[Sequence[tuple[str, Style]]]) -> Style:
    """The style of the tallest first line: all first lines of a row stand on its base line."""
    firsts = [lines[0][1] for lines in cells if lines]
    return max(firsts, key=lambda style: style.leading, default=BODY)


def _height(cells: Sequence[Sequence[tuple[str, Style]]], pad: float) -> float:
    first = _tallest_first(cells).leading
    return first + max(sum(style.leading for _, style in lines[1:]) for lines in cells) + 2 * pad


def _set_row(row: Row, columns: Sequence[Column], pad: float) -> _SetRow:
    cells = tuple(
        tuple(
            (line, style)
            for text, style in cell.paragraphs
            for line in (wrap(text, style, column.width - _GAP) if text else [""])
        )
        for cell, column in zip(row.cells, columns, strict=True)
    )
    return _SetRow(cells, pad, _height(cells, pad), row.with_next, row.tinted, row.ruled)


def _places(left: float, columns: Sequence[Column]) -> list[tuple[float, Column]]:
    places: list[tuple[float, Column]] = []
    for column in columns:
        places.append((left, column))
        left += column.width
    return places


def _edge(x: float, column: Column) -> float:
    """Where a column's text is anchored."""
    if column.align == "right":
        return x + column.width - _GAP / 2
    if column.align == "center":
        return x + column.width / 2
    return x + _GAP / 2


def _descent(style: Style) -> float:
    """From the foot of a text line up to its base line."""
    return (style.leading - style.size) / 2 + style.size * 0.22


def new_canvas(out: BytesIO, paper: tuple[float, float]) -> Canvas:
    """An empty PDF on a paper of so many points, without a clock in it: the same bytes anew."""
    from reportlab.pdfgen.canvas import Canvas

    return Canvas(
        out,
        pagesize=paper,
        pageCompression=1,
        invariant=1,
        lang="en",
        # Else a font that is not embedded would be named.
        initialFontName=REGULAR,  # type: ignore[arg-type]
    )


def draw(canvas: Canvas, flow: Flow, furniture: Callable[[Flow, int, int], Sequence[Mark]]) -> None:
    """Draw every page, with `furniture(flow, page, pages)` (head and foot lines) on each."""
    pages = len(flow.pages)
    for number, marks in enumerate(flow.pages, 1):
        _draw_page(canvas, [*marks, *furniture(flow, number, pages)])
        canvas.showPage()


def foot(flow: Flow, name: str, page: int, pages: int) -> list[Mark]:
    """The foot of a page: what it is, and which page of how many."""
    y = flow.bottom - 16
    number = f"Page {page} of {pages}"
    right = flow.right - text_width(number, SMALL_INK)
    short = wrap(name, SMALL, flow.inner - 100)[0]
    return [
        RuleMark(flow.left, y + 9, flow.right, y + 9, 0.5, SOFT),
        TextMark(flow.left, y - 3, short, SMALL.face, SMALL.size, SMALL.grey),
        TextMark(right, y - 3, number, SMALL_INK.face, SMALL_INK.size, SMALL_INK.grey),
    ]


def _draw_page(canvas: Canvas, marks: Sequence[Mark]) -> None:
    for mark in marks:
        if isinstance(mark, BoxMark):
            _draw_box(canvas, mark)
        elif isinstance(mark, ImageMark):
            _draw_image(canvas, mark)
    face, grey = ("", 0.0), -1.0
    for mark in marks:
        if isinstance(mark, RuleMark):
            canvas.setLineWidth(mark.width)
            canvas.setStrokeGray(mark.grey)
            canvas.line(mark.x, mark.y, mark.x2, mark.y2)
        elif isinstance(mark, PathMark):
            grey = -1.0
            _draw_path(canvas, mark)
        elif isinstance(mark, CircleMark):
            grey = -1.0
            _draw_circle(canvas, mark)
        elif isinstance(mark, TextMark):
            if (mark.face, mark.size) != face:
                face = (mark.face, mark.size)
                canvas.setFont(*face)
            if mark.grey != grey:
                grey = mark.grey
                canvas.setFillGray(grey)
            canvas.drawString(mark.x, mark.y, mark.text)


def _draw_box(canvas: Canvas, mark: BoxMark) -> None:
    if mark.fill is not None:
        canvas.setFillGray(mark.fill)
    if mark.stroke is not None:
        canvas.setStrokeGray(mark.stroke)
        canvas.setLineWidth(0.6)
    canvas.rect(
        mark.x,
        mark.y,
        mark.width,
        mark.height,
        stroke=int(mark.stroke is not None),
        fill=int(mark.fill is not None),
    )


def _draw_image(canvas: Canvas, mark: ImageMark) -> None:
    """The JPEG as an image object (ISO 32000-1, 8.9.5), its bytes untouched, once a document.

    The canvas' own way would write them as text, a quarter longer.
    """
    from reportlab.pdfbase import pdfdoc

    document: Any = canvas._doc  # type: ignore[attr-defined]
    name = hashlib.sha256(mark.jpeg).hexdigest()
    if not canvas.hasForm(name):
        about = {
            "Type": pdfdoc.PDFName("XObject"),
            "Subtype": pdfdoc.PDFName("Image"),
            "Width": mark.pixels[0],
            "Height": mark.pixels[1],
            "BitsPerComponent": 8,
            "ColorSpace": pdfdoc.PDFName("DeviceRGB"),
            "Filter": pdfdoc.PDFName("DCTDecode"),
        }
        document.addForm(name, pdfdoc.PDFStream(pdfdoc.PDFDictionary(about), mark.jpeg))
    canvas.saveState()
    canvas.transform(mark.width, 0, 0, mark.height, mark.x, mark.y)
    canvas.doForm(name)
    canvas.restoreState()


def _draw_path(canvas: Canvas, mark: PathMark) -> None:
    canvas.setLineWidth(mark.width)
    canvas.setStrokeGray(mark.grey)
    if mark.fill is not None:
        canvas.setFillGray(mark.fill)
    canvas.setDash(list(mark.dash))
    path = canvas.beginPath()
    path.moveTo(*mark.points[0])
    for point in mark.points[1:]:
        path.lineTo(*point)
    if mark.closed:
        path.close()
    canvas.drawPath(path, stroke=1, fill=int(mark.fill is not None))
    canvas.setDash([])


def _draw_circle(canvas: Canvas, mark: CircleMark) -> None:
    canvas.setLineWidth(mark.width)
    canvas.setStrokeGray(mark.stroke)
    if mark.fill is not None:
        canvas.setFillGray(mark.fill)
    canvas.circle(mark.x, mark.y, mark.radius, stroke=1, fill=int(mark.fill is not None))
