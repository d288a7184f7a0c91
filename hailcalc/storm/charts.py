"""Charts of storms, drawn with plain shapes: the same ones on the PDF's pages and as SVG.

Points, origin at the bottom left, in the marks of `hailcalc.sheet.layout`: texts, lines, boxes,
circles. The one idea: a chart is black on white and says everything in words and figures beside its
shapes. What differs is told apart by label, place, lightness and hatching, never by colour, so a
copy in grey and an eye that sees no red lose nothing. Long names wrap and make their row taller.

Amounts stay whole numbers until a place on the paper is worked out from them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import NamedTuple
from xml.sax.saxutils import escape, quoteattr

from hailcalc.money import money_text
from hailcalc.sheet.fonts import BOLD
from hailcalc.sheet.layout import (
    INK,
    SOFT,
    Align,
    BoxMark,
    CircleMark,
    ImageMark,
    Mark,
    PathMark,
    RuleMark,
    Style,
    TextMark,
    text_width,
    wrap,
)
from hailcalc.sheet.locale import Writer, writer
from hailcalc.storm.compare import MEASURE_LABELS, MEASURES, Comparison, Measure, Measured, Ranked
from hailcalc.storm.economics import Amount, StormFigures, Wait
from hailcalc.storm.report import STATE_LABELS, chance_text

LABEL = Style(size=8, leading=10)
LABEL_BOLD = Style(face=BOLD, size=8, leading=10)
FAINT = Style(size=7, leading=9, grey=SOFT)
FIGURE = Style(face=BOLD, size=8, leading=10)

DARK, MIDDLE, LIGHT = 0.25, 0.62, 0.86
"""Lightness of shapes, 0 being black."""
_TONES = (0.30, 0.80, 0.52, 0.92)
"""Those of neighbours in a stack, in turn."""
_GRID = 0.82
_GAP = 8.0
_MOST_TICKS = 6
_NARROW = 400.0
"""Below it what stands beside something else stands below it."""


class Chart(NamedTuple):
    """A drawn chart: points wide and high, what it shows in a line, and all of it in words."""

    name: str
    title: str
    words: str
    width: float
    height: float
    marks: tuple[Mark, ...]


@dataclass(slots=True)
class _Paper:
    """Marks as they are put down from the top: `y` is zero there and falls."""

    width: float
    y: float = 0.0
    marks: list[Mark] = field(default_factory=list)

    def text(
        self, x: float, y: float, text: str, style: Style = LABEL, align: Align = "left"
    ) -> None:
        """A line of text; `y` is its base line."""
        if align != "left":
            wide = text_width(text, style)
            x -= wide if align == "right" else wide / 2
        self.marks.append(TextMark(x, y, text, style.face, style.size, style.grey))

    def lines(self, x: float, y: float, lines: Iterable[str], style: Style = LABEL) -> None:
        """Lines of text below each other, the first one's top at `y`."""
        for line in lines:
            y -= style.leading
            self.text(x, y + style.leading * 0.26, line, style)

    def line(
        self, x: float, y: float, x2: float, y2: float, width: float = 0.5, grey: float = INK
    ) -> None:
        """A straight line."""
        self.marks.append(RuleMark(x, y, x2, y2, width, grey))

    def box(
        self, x: float, y: float, width: float, height: float, fill: float, hatched: bool = False
    ) -> None:
        """A filled box with a border; a hatched one is white with slanting lines."""
        if width < 0:
            x, width = x + width, -width
        self.marks.append(BoxMark(x, y, width, height, 1.0 if hatched else fill, INK))
        if hatched:
            self.marks += hatching(x, y, width, height)

    def chart(self, name: str, title: str, words: str) -> Chart:
        """All of it as a chart, as high as it became."""
        height = -self.y
        marks = tuple(moved(mark, 0, height) for mark in self.marks)
        return Chart(name, title, words, self.width, height, marks)


def moved(mark: Mark, x: float, y: float) -> Mark:
    """A mark so far to the right and up."""
    if isinstance(mark, RuleMark):
        return replace(mark, x=mark.x + x, y=mark.y + y, x2=mark.x2 + x, y2=mark.y2 + y)
    if isinstance(mark, PathMark):
        return replace(mark, points=tuple((a + x, b + y) for a, b in mark.points))
    return replace(mark, x=mark.x + x, y=mark.y + y)


def hatching(x: float, y: float, width: float, height: float, gap: float = 3.2) -> Iterator[Mark]:
    """Lines at 45 degrees that fill a box."""
    start = gap
    while start < width + height:
        left, right = max(0.0, start - height), min(width, start)
        if right - left > 0.05:
            yield RuleMark(x + left, y + start - left, x + right, y + start - right, 0.45, INK)
        start += gap


# --- axes --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Axis:
    """Whole numbers along a line from `left` to `right`, which are `low` and `high`."""

    low: int
    high: int
    step: int
    left: float
    right: float

    @classmethod
    def over(cls, values: Iterable[int], left: float, right: float) -> _Axis:
        """An axis that holds the values and zero, with a handful of round ticks."""
        found = [0, *values]
        low, high = min(found), max(found)
        span = max(high - low, 1)
        # A little air at an end where a line would else begin on the frame.
        air = span // 40 + 1
        return cls(low - air * (low < 0), high + air, _step(span), left, right)

    def at(self, value: int) -> float:
        """Where a value lies."""
        return self.left + (value - self.low) / (self.high - self.low) * (self.right - self.left)

    @property
    def ticks(self) -> range:
        """Values with a line of their own."""
        return range(-(-self.low // self.step) * self.step, self.high + 1, self.step)


def _step(span: int) -> int:
    """1, 2 or 5 times a power of ten, so that a span has few ticks."""
    power = 1
    while True:
        for times in (1, 2, 5):
            if span <= times * power * (_MOST_TICKS - 1):
                return times * power
        power *= 10


def _draw_axis(paper: _Paper, axis: _Axis, top: float, decimals: int) -> None:
    """Grid lines from `top` down to where the paper is, and the ticks' figures below."""
    whole = axis.step % 10**decimals == 0
    grid: list[Mark] = []
    reached = -paper.width
    for tick in axis.ticks:
        x = axis.at(tick)
        if tick == 0:
            paper.line(x, top, x, paper.y, 0.9, SOFT)
        else:
            # Boxes lie in the order in which they come, below all else: so bars hide the grid.
            grid.append(BoxMark(x - 0.2, paper.y, 0.4, top - paper.y, _GRID, None))
        text = f"{tick // 10**decimals:,}" if whole else _grouped(tick, decimals)
        half = text_width(text, FAINT) / 2
        if x - half > reached + 4:
            paper.text(x, paper.y - 8, text, FAINT, "center")
            reached = x + half
    paper.marks[:0] = grid
    paper.y -= 11


def _grouped(value: int, decimals: int) -> str:
    """A figure with thousands apart and its decimals."""
    return f"{'-' if value < 0 else ''}{_digits(abs(value), decimals)}"


def _digits(value: int, decimals: int) -> str:
    whole, _, rest = money_text(value, decimals).partition(".")
    return f"{int(whole):,}{'.' + rest if rest else ''}"


def writer_of(currency: str, decimals: int) -> Writer:
    """How a report on storms writes sums: it has no matrix's locale of its own."""
    return writer("en_US", currency, decimals)


# --- measures with their limits ----------------------------------------------------------------


def measure_text(value: int | None, measure: Measure, comparison: Comparison) -> str:
    """A measure's figure, without its unit."""
    if value is None:
        return "no figure"
    return _grouped(value, 2 if measure == "share" else comparison.decimals)


def unit_of(measure: Measure, comparison: Comparison) -> str:
    """What a measure is counted in."""
    return "%" if measure == "share" else comparison.currency


def measure_name(measure: Measure) -> str:
    """What a measure is called, without its unit."""
    return MEASURE_LABELS[measure].removesuffix(", %")


def measure_chart(comparison: Comparison, measure: Measure, width: float) -> Chart:
    """A storm a row: a dot at the measure, a line between its limits, both figures beside."""
    paper = _Paper(width)
    unit = unit_of(measure, comparison)
    title = f"{measure_name(measure)}, {unit}, with limits that hold {comparison.level} in 100"
    _measure_rows(paper, comparison, measure)
    return paper.chart(f"measure-{measure}", title, _measure_words(comparison, measure))


def measures_chart(comparison: Comparison, width: float) -> Chart:
    """Every measure, each on an axis of its own."""
    paper = _Paper(width)
    for measure in MEASURES:
        paper.lines(0, paper.y, [f"{measure_name(measure)}, {unit_of(measure, comparison)}"],
                    LABEL_BOLD)  # fmt: skip
        paper.y -= LABEL_BOLD.leading + 2
        _measure_rows(paper, comparison, measure)
        paper.y -= _GAP
    words = " ".join(_measure_words(comparison, measure) for measure in MEASURES)
    return paper.chart(
        "measures", f"Every measure, with limits that hold {comparison.level} in 100", words
    )


def _measure_words(comparison: Comparison, measure: Measure) -> str:
    told = []
    for each in comparison.storms:
        found = each.measures[measure]
        said = f"{each.figures.storm.storm.title}: {measure_text(found.value, measure, comparison)}"
        told.append(said + _limits(found, measure, comparison, " (", ")"))
    unit = unit_of(measure, comparison)
    return f"{measure_name(measure)}, {unit}, with limits: {'; '.join(told)}."


def _limits(
    found: Measured, measure: Measure, comparison: Comparison, before: str = "", after: str = ""
) -> str:
    if found.low is None or found.high is None:
        return ""
    low, high = (measure_text(each, measure, comparison) for each in (found.low, found.high))
    return f"{before}{low} to {high}{after}"


def _measure_rows(paper: _Paper, comparison: Comparison, measure: Measure) -> None:
    found = [each.measures[measure] for each in comparison.storms]
    texts = [measure_text(each.value, measure, comparison) for each in found]
    limits = [_limits(each, measure, comparison) for each in found]
    beside = max(
        *(text_width(text, FIGURE) for text in texts), *(text_width(text, FAINT) for text in limits)
    )
    names = min(0.3 * paper.width, max(map(_name_width, comparison.storms)) + 2)
    values = [value for each in found for value in each if value is not None]
    axis = _Axis.over(values, names + 12, paper.width - beside - 16)
    top = paper.y
    for each, measured, text, limit in zip(comparison.storms, found, texts, limits, strict=True):
        lines = wrap(each.figures.storm.storm.title, LABEL, names)
        height = max(24.0, len(lines) * LABEL.leading + 6)
        middle = paper.y - height / 2
        paper.lines(0, middle + len(lines) * LABEL.leading / 2, lines)
        _dot_and_line(paper, axis, measured, middle)
        paper.text(paper.width, middle + (1.5 if limit else -3), text, FIGURE, "right")
        if limit:
            paper.text(paper.width, middle - 7.5, limit, FAINT, "right")
        paper.y -= height
    _draw_axis(paper, axis, top, 2 if measure == "share" else comparison.decimals)


def _name_width(each: Ranked) -> float:
    return text_width(each.figures.storm.storm.title, LABEL)


def _dot_and_line(paper: _Paper, axis: _Axis, found: Measured, middle: float) -> None:
    if found.low is not None and found.high is not None:
        left, right = axis.at(found.low), axis.at(found.high)
        paper.line(left, middle, right, middle, 1.6)
        for x in (left, right):
            paper.line(x, middle - 3.5, x, middle + 3.5, 1.0)
    if found.value is not None:
        paper.marks.append(CircleMark(axis.at(found.value), middle, 3.4, 0.8, INK, INK))


# --- from what was charged to the margin -------------------------------------------------------


class _Step(NamedTuple):
    """A row of a waterfall: `total` stands on zero, others hang where the one before ended."""

    label: str
    amount: int
    kind: str


def _steps(figures: StormFigures) -> list[_Step]:
    charged = sum(each.amount for each in figures.revenue if each.amount > 0)
    taken_off = [each for each in figures.revenue if each.amount < 0]
    steps = [_Step("Charged, before tax", charged, "total")] if taken_off else []
    steps += [_Step(each.label, each.amount, "taken off") for each in taken_off]
    steps.append(_Step("Revenue", figures.revenue_total, "total"))
    steps += [_Step(each.label, -each.amount, "by vehicle") for each in figures.direct_costs]
    steps += [_Step(each.label, -each.amount, "fixed") for each in figures.fixed_costs]
    return [*steps, _Step("Margin", figures.margin, "total")]


_BAR = 8.6
_ROW = 12.4
_FILLS = {"total": DARK, "taken off": LIGHT, "by vehicle": MIDDLE, "fixed": 1.0}
_KIND_WORDS = {
    "taken off": "taken off what was charged",
    "by vehicle": "costs that vehicles cause",
    "fixed": "costs of the storm as such",
}


def waterfall_chart(figures: StormFigures, width: float) -> Chart:
    """From what was charged down to the margin, a row a kind of money."""
    paper = _Paper(width)
    currency, decimals = figures.storm.storm.currency, figures.storm.decimals
    write = writer_of(currency, decimals)
    steps = _steps(figures)
    names = max(text_width(step.label, LABEL_BOLD) for step in steps)
    amounts = [write.amount(step.amount) for step in steps]
    beside = max(text_width(amount, FIGURE) for amount in amounts)
    ends = _ends(steps)
    reached = [value for pair in ends for value in pair]
    axis = _Axis.over(reached, names + 12, width - beside - 14)
    _legend(paper, [kind for kind in _KIND_WORDS if any(step.kind == kind for step in steps)])
    top = paper.y
    for at, (step, (start, end), amount) in enumerate(zip(steps, ends, amounts, strict=True)):
        style = LABEL_BOLD if step.kind == "total" else LABEL
        foot = paper.y - _ROW + (_ROW - _BAR) / 2
        paper.text(0, foot + 1.6, step.label, style)
        left, right = sorted((axis.at(start), axis.at(end)))
        paper.box(left, foot, max(right - left, 0.4), _BAR, _FILLS[step.kind], step.kind == "fixed")
        paper.text(width, foot + 1.6, amount, replace(FIGURE, face=style.face), "right")
        if at + 1 < len(steps):
            x = axis.at(end)
            paper.line(x, foot, x, foot - (_ROW - _BAR), 0.5)
        paper.y -= _ROW
    _draw_axis(paper, axis, top, decimals)
    told = "; ".join(f"{step.label} {amount}" for step, amount in zip(steps, amounts, strict=True))
    title = f"{figures.storm.storm.title}: from what was charged to the margin, {currency}"
    return paper.chart(f"{figures.storm.storm.name}-waterfall", title, f"{told}.")


def _ends(steps: Sequence[_Step]) -> list[tuple[int, int]]:
    """Where each step's bar begins and ends."""
    ends: list[tuple[int, int]] = []
    running = 0
    for step in steps:
        start = 0 if step.kind == "total" else running
        running = start + step.amount
        ends.append((start, running))
    return ends


def _legend(paper: _Paper, kinds: Sequence[str]) -> None:
    if not kinds:
        return
    x = 0.0
    for kind in kinds:
        if x and x + 16 + text_width(_KIND_WORDS[kind], FAINT) > paper.width:
            x, paper.y = 0.0, paper.y - 11
        paper.box(x, paper.y - 9, 12, 7, _FILLS[kind], kind == "fixed")
        paper.text(x + 16, paper.y - 8, _KIND_WORDS[kind], FAINT)
        x += 16 + text_width(_KIND_WORDS[kind], FAINT) + 14
    paper.y -= 15


# --- what was charged, and where it went -------------------------------------------------------


def money_chart(figures: StormFigures, width: float, height: float = 190.0) -> Chart:
    """Two stacks of one height: what was charged by kind, and where it went."""
    paper = _Paper(width)
    currency = figures.storm.storm.currency
    write = writer_of(currency, figures.storm.decimals)
    charged, went = _two_stacks(figures)
    whole = sum(each.amount for each in charged)
    beside = width >= _NARROW
    places = [(0.0, 0.0), (width / 2, 0.0) if beside else (0.0, -height - 34)]
    for (x, y), title, parts in zip(
        places, ("What was charged", "Where it went"), (charged, went), strict=True
    ):
        paper.text(x, y - 8, f"{title}, {currency} {write.amount(whole)}", LABEL_BOLD)
        size = (width / 2 - 10 if beside else width, height)
        _stack(paper, parts, (x, y - 16.0), size, write)
    paper.y = places[1][1] - 16.0 - height - 4
    told = [
        f"{title}, {write.amount(whole)}: "
        + ", ".join(f"{each.label} {write.amount(each.amount)}" for each in parts)
        for title, parts in (("What was charged", charged), ("where it went", went))
    ]
    title = f"{figures.storm.storm.title}: what was charged and where it went, {currency}"
    return paper.chart(f"{figures.storm.storm.name}-money", title, "; ".join(told) + ".")


def _two_stacks(figures: StormFigures) -> tuple[list[Amount], list[Amount]]:
    """Amounts above zero that come to the same on both sides; a loss is money put in."""
    charged = [each for each in figures.revenue if each.amount > 0]
    went = [each._replace(amount=-each.amount) for each in figures.revenue if each.amount < 0]
    went += [*figures.direct_costs, *figures.fixed_costs]
    if figures.margin < 0:
        charged.append(Amount("loss", "Loss", -figures.margin))
    elif figures.margin > 0:
        went.append(Amount("margin", "Margin", figures.margin))
    return charged, went


_STACK_WIDTH = 46.0


def _stack(
    paper: _Paper,
    parts: Sequence[Amount],
    place: tuple[float, float],
    size: tuple[float, float],
    write: Writer,
) -> None:
    """Boxes on each other from the top down, each with its label, figure and a line to it."""
    (x, top), (width, height) = place, size
    whole = sum(each.amount for each in parts)
    if not whole:
        paper.text(x, top - 12, "No money", LABEL)
        return
    middles, y = [], top
    for at, each in enumerate(parts):
        tall = height * (each.amount / whole)
        loud = each.kind in ("margin", "loss")
        paper.box(x, y - tall, _STACK_WIDTH, tall, _TONES[at % len(_TONES)], hatched=loud)
        middles.append(y - tall / 2)
        y -= tall
    places = _spread(middles, top, top - height, min(LABEL.leading, height / len(parts)))
    amounts = [write.amount(each.amount) for each in parts]
    longest = max(text_width(each.label, LABEL_BOLD) for each in parts)
    longest += max(text_width(amount, LABEL_BOLD) for amount in amounts)
    right = x + min(width, _STACK_WIDTH + 17 + longest + 14)
    for each, amount, middle, level in zip(parts, amounts, middles, places, strict=True):
        loud = each.kind in ("margin", "loss")
        elbow = x + _STACK_WIDTH
        points = ((elbow, middle), (elbow + 5, middle), (elbow + 11, level), (elbow + 14, level))
        paper.marks.append(PathMark(points, 0.4, SOFT, False))
        style = LABEL_BOLD if loud else LABEL
        paper.text(elbow + 17, level - 2.7, each.label, style)
        paper.text(right, level - 2.7, amount, style, "right")


def _spread(middles: Sequence[float], top: float, bottom: float, gap: float) -> list[float]:
    """Places for labels, top down, as near to their boxes as they go without touching."""
    places: list[float] = []
    highest = top - gap / 2
    for middle in middles:
        highest = min(middle, highest)
        places.append(highest)
        highest -= gap
    lowest = bottom + gap / 2
    for at in range(len(places) - 1, -1, -1):
        places[at] = max(places[at], lowest)
        lowest = places[at] + gap
    return places


# --- days waited -------------------------------------------------------------------------------


def waits_chart(storms: Sequence[StormFigures], width: float, name: str = "waits") -> Chart:
    """Days in each state: a bar to the mean, a tick at the median, and who waits still."""
    paper = _Paper(width)
    rows = [
        (state, figures.storm.storm.title, wait)
        for state in STATE_LABELS
        for figures in storms
        for wait in figures.waits
        if wait.state == state
    ]
    several = len(storms) > 1
    labels = [title if several else STATE_LABELS[state] for state, title, _ in rows]
    names = min(0.3 * width, max(text_width(label, LABEL) for label in labels) + 2)
    texts = [_wait_text(wait) for _, _, wait in rows]
    beside = max(text_width(text, LABEL) for text in texts) if width >= _NARROW else 0
    days = [value for _, _, wait in rows for value in (wait.mean_tenths, wait.median_tenths)]
    axis = _Axis.over([day for day in days if day is not None], names + 12, width - beside - 14)
    top, before = paper.y, ""
    for (state, _, wait), label, text in zip(rows, labels, texts, strict=True):
        if several and state != before:
            paper.lines(0, paper.y - 2, [STATE_LABELS[state]], LABEL_BOLD)
            paper.y -= LABEL_BOLD.leading + 3
        before = state
        _wait_row(paper, axis, wait, wrap(label, LABEL, names), text)
    _draw_axis(paper, axis, top, 1)
    key = "days; bar to the mean, black tick at the median"
    paper.text(min(axis.left, width - text_width(key, FAINT)), paper.y - 8, key, FAINT)
    paper.y -= 11
    told = [f"{STATE_LABELS[state]}, {title}: {_wait_text(wait)}" for state, title, wait in rows]
    return paper.chart(name, "Days that claims spend in each state", "; ".join(told) + ".")


def _wait_row(paper: _Paper, axis: _Axis, wait: Wait, lines: list[str], text: str) -> None:
    """A name, its bar and its figures: beside the bar, or below it where the paper is narrow."""
    height = max(15.0, len(lines) * LABEL.leading + 4)
    middle = paper.y - height / 2
    paper.lines(0, middle + len(lines) * LABEL.leading / 2, lines)
    if wait.mean_tenths is not None:
        paper.box(axis.at(0), middle - 3.4, axis.at(wait.mean_tenths) - axis.at(0), 6.8, MIDDLE)
    if wait.median_tenths is not None:
        x = axis.at(wait.median_tenths)
        paper.line(x, middle - 5.2, x, middle + 5.2, 2.0)
    paper.y -= height
    if paper.width >= _NARROW:
        paper.text(paper.width, middle - 2.7, text, LABEL, "right")
    else:
        size = LABEL.size * min(1.0, paper.width / text_width(text, LABEL))
        paper.text(0, paper.y - 6, text, replace(LABEL, size=size, grey=SOFT))
        paper.y -= LABEL.leading + 3


def _wait_text(wait: Wait) -> str:
    if wait.mean_tenths is None or wait.median_tenths is None:
        left = "none has left it"
    else:
        mean, median = money_text(wait.mean_tenths, 1), money_text(wait.median_tenths, 1)
        left = f"mean {mean}, median {median}"
    if not wait.waiting:
        return f"{left}; none there still"
    days = "day" if wait.longest == 1 else "days"
    return f"{left}; {wait.waiting} there still, for up to {wait.longest} {days}"


# --- chances -----------------------------------------------------------------------------------


def chances_chart(comparison: Comparison, width: float) -> Chart:
    """How often the storm of a row beats that of a column, by the measure compared by."""
    paper = _Paper(width)
    titles = [each.figures.storm.storm.title for each in comparison.storms]
    names = min(0.4 * width, max(text_width(title, LABEL) for title in titles) + 22)
    cell = min(64.0, (width - names - 4) / len(titles))
    for at in range(len(titles)):
        paper.text(names + (at + 0.5) * cell, paper.y - 8, str(at + 1), LABEL_BOLD, "center")
    paper.y -= 13
    for at, (title, chances) in enumerate(zip(titles, comparison.chances, strict=True)):
        lines = wrap(title, LABEL, names - 18)
        height = max(20.0, len(lines) * LABEL.leading + 6)
        middle = paper.y - height / 2
        paper.text(0, middle - 2.7, str(at + 1), LABEL_BOLD)
        paper.lines(16, middle + len(lines) * LABEL.leading / 2, lines)
        for other, chance in enumerate(chances):
            _chance_cell(paper, (names + other * cell, middle), (cell, height), chance, at == other)
        paper.y -= height
    said = [
        f"{titles[at]} beats {titles[other]}: {chance_text(chance)}"
        for at, chances in enumerate(comparison.chances)
        for other, chance in enumerate(chances)
        if chance is not None
    ]
    title = f"Chance that a row's storm beats a column's, by {measure_name(comparison.by).lower()}"
    return paper.chart("chances", title, ("; ".join(said) or "No figure: too few vehicles") + ".")


def _chance_cell(
    paper: _Paper,
    place: tuple[float, float],
    size: tuple[float, float],
    chance: Fraction | None,
    itself: bool,
) -> None:
    """A cell as dark as the chance is high; its middle left edge is the place."""
    (x, middle), (width, height) = place, size
    fill = 1.0 if chance is None else 1.0 - 0.42 * float(chance)
    paper.box(x, middle - height / 2, width, height, fill)
    text = "" if itself else "no figure" if chance is None else chance_text(chance)
    if text:
        style = FIGURE if chance is not None and chance > Fraction(1, 2) else LABEL
        wide = text_width(text, style)
        size_fits = style.size * min(1.0, (width - 4) / wide)
        paper.text(x + width / 2, middle - 2.7, text, replace(style, size=size_fits), "center")


# --- SVG ---------------------------------------------------------------------------------------

SVG_WIDTH = 640.0
PHONE_WIDTH = 218.0
"""For a screen of 360 px, on which it is shown at half as large again: letters of 12 px."""
_FAMILY = "'IBM Plex Sans Condensed', 'Arial Narrow', sans-serif"


def svg_files(comparison: Comparison, width: float = SVG_WIDTH) -> dict[str, bytes]:
    """Every chart of a comparison as an SVG file so wide, by file name."""
    charts = [
        measure_chart(comparison, comparison.by, width),
        measures_chart(comparison, width),
        waits_chart([each.figures for each in comparison.storms], width),
    ]
    if len(comparison.storms) > 1:
        charts.append(chances_chart(comparison, width))
    for each in comparison.storms:
        charts += [waterfall_chart(each.figures, width), money_chart(each.figures, width)]
    return {f"{chart.name}.svg": svg(chart).encode() for chart in charts}


_MARGIN = 10.0


def svg(chart: Chart) -> str:
    """A chart as an SVG document: an image with a title and a description that can be read out.

    Texts keep their width in whichever font they are shown, so that nothing runs into anything.
    """
    style = Style(face=BOLD, size=9.5, leading=12)
    lines = wrap(chart.title, style, chart.width)
    width = chart.width + 2 * _MARGIN
    height = chart.height + 2 * _MARGIN + 4 + len(lines) * style.leading
    marks = [moved(mark, _MARGIN, _MARGIN) for mark in chart.marks]
    heading = [
        TextMark(_MARGIN, height - _MARGIN - 8 - at * style.leading, line, BOLD, style.size, INK)
        for at, line in enumerate(lines)
    ]
    named = escape(chart.name)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_n(width)} {_n(height)}" '
        f'width="{_n(width)}" height="{_n(height)}" role="img" '
        f'aria-labelledby="{named}-title {named}-words" font-family={quoteattr(_FAMILY)}>',
        f'<title id="{named}-title">{escape(chart.title)}</title>',
        f'<desc id="{named}-words">{escape(chart.words)}</desc>',
        f'<rect width="{_n(width)}" height="{_n(height)}" fill="#fff"/>',
    ]
    # Boxes lie below everything, as on paper.
    ordered = [mark for mark in marks if isinstance(mark, BoxMark)]
    ordered_rest = [mark for mark in marks if not isinstance(mark, BoxMark)]
    parts += [_svg_mark(mark, height) for mark in [*ordered, *ordered_rest, *heading]]
    return "\n".join([*parts, "</svg>", ""])


def _n(value: float) -> str:
    """A number with two decimals at most."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _grey(lightness: float) -> str:
    level = round(255 * lightness)
    return f"#{level:02x}{level:02x}{level:02x}"


def _svg_mark(mark: Mark, height: float) -> str:
    """A mark as an element; SVG counts from the top."""
    if isinstance(mark, TextMark):
        style = Style(face=mark.face, size=mark.size)
        weight = ' font-weight="600"' if mark.face == BOLD else ""
        return (
            f'<text x="{_n(mark.x)}" y="{_n(height - mark.y)}" font-size="{_n(mark.size)}"{weight} '
            f'fill="{_grey(mark.grey)}" textLength="{_n(text_width(mark.text, style))}" '
            f'lengthAdjust="spacingAndGlyphs">{escape(mark.text)}</text>'
        )
    if isinstance(mark, RuleMark):
        return (
            f'<line x1="{_n(mark.x)}" y1="{_n(height - mark.y)}" x2="{_n(mark.x2)}" '
            f'y2="{_n(height - mark.y2)}" stroke="{_grey(mark.grey)}" '
            f'stroke-width="{_n(mark.width)}"/>'
        )
    if isinstance(mark, BoxMark):
        fill = "none" if mark.fill is None else _grey(mark.fill)
        stroke = "" if mark.stroke is None else f' stroke="{_grey(mark.stroke)}" stroke-width="0.6"'
        return (
            f'<rect x="{_n(mark.x)}" y="{_n(height - mark.y - mark.height)}" '
            f'width="{_n(mark.width)}" height="{_n(mark.height)}" fill="{fill}"{stroke}/>'
        )
    if isinstance(mark, CircleMark):
        fill = "none" if mark.fill is None else _grey(mark.fill)
        return (
            f'<circle cx="{_n(mark.x)}" cy="{_n(height - mark.y)}" r="{_n(mark.radius)}" '
            f'fill="{fill}" stroke="{_grey(mark.stroke)}" stroke-width="{_n(mark.width)}"/>'
        )
    assert not isinstance(mark, ImageMark), "charts have no pictures"
    points = " ".join(f"{_n(x)},{_n(height - y)}" for x, y in mark.points)
    return (
        f'<polyline points="{points}" fill="none" stroke="{_grey(mark.grey)}" '
        f'stroke-width="{_n(mark.width)}"/>'
    )
