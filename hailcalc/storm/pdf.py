"""A comparison of storms on paper: the answer, two pages a storm, and what the figures mean.

The first page says in words which storm made most, draws that measure with its limits and holds the
storms side by side. Each storm follows with its figures, from what was charged to the margin, and
its splits. The last page says in plain words what the limits know and what they do not. Black
ink, Letter or A4, no clock: the same comparison always gives the same bytes. A comparison of one
storm is a report on that storm.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction

from hailcalc.columns import counted
from hailcalc.money import money_text, rounded
from hailcalc.problems import InputError, Problem
from hailcalc.sheet.finish import finished
from hailcalc.sheet.fonts import BOLD, unprintable_texts
from hailcalc.sheet.layout import (
    BODY,
    BODY_BOLD,
    INK,
    SMALL,
    SMALL_INK,
    TIGHT,
    TINT,
    BoxMark,
    Cell,
    Column,
    Flow,
    Row,
    Style,
    narrowed,
)
from hailcalc.sheet.locale import Writer
from hailcalc.sheet.pdf import PAPERS
from hailcalc.storm.charts import (
    Chart,
    chances_chart,
    measure_chart,
    measure_name,
    measure_text,
    money_chart,
    moved,
    unit_of,
    waits_chart,
    waterfall_chart,
    writer_of,
)
from hailcalc.storm.compare import MEASURES, BreakEven, Comparison, Measure, Ranked
from hailcalc.storm.economics import Amount, SplitRow, StormFigures
from hailcalc.storm.report import (
    NO_NAME,
    REST,
    SPLIT_LABELS,
    WHAT_IT_IS,
    chance_text,
    comparison_notes,
    own_measures,
    panel_rest,
    rate_text,
    vehicles_text,
)
from hailcalc.vehicle import PANEL_LABELS

_MARGIN = 42.0
_TITLE = Style(face=BOLD, size=19, leading=23)
_ANSWER = Style(face=BOLD, size=12, leading=15.5)
_TEXT = Style(size=9.5, leading=13)
_CELL = SMALL_INK
_CELL_BOLD = Style(face=BOLD, size=7.5, leading=9.6)
_FIGURE = Style(face=BOLD, size=13, leading=16)
_NBSP = "\u00a0"
_BETWEEN = 16.0
"""Between what stands side by side."""


def comparison_pdf(comparison: Comparison, paper: str = "letter") -> bytes:
    """Draw a comparison on "letter" or "a4".

    Raises InputError for names that the fonts cannot print, naming every one.
    """
    problems = [problem for each in comparison.storms for problem in _unprintable(each.figures)]
    if problems:
        raise InputError(problems)
    return finished(composed(comparison, paper), _title(comparison), paper, "us")


def composed(comparison: Comparison, paper: str = "letter") -> Flow:
    """The marks page by page, before feet are added and anything is drawn."""
    width, height = PAPERS[paper]
    flow = Flow(width, height, _MARGIN, top=40, bottom=52, spacing=TIGHT)
    _first_page(flow, comparison)
    for each in comparison.storms:
        _storm_pages(flow, each)
    _method(flow, comparison)
    return flow


def _unprintable(figures: StormFigures) -> Iterator[Problem]:
    header = figures.storm.storm
    for key, text in (("title", header.title), ("place", header.place)):
        yield from unprintable_texts(text, f"{header.name}/storm.toml", ("storm", key))
    for by, rows in figures.splits.items():
        yield from unprintable_texts([row.name for row in rows], header.book, (by,))


def _title(comparison: Comparison) -> str:
    several = len(comparison.storms) > 1
    return "Which storm made money" if several else "What the storm made"


# --- the answer --------------------------------------------------------------------------------


def _first_page(flow: Flow, comparison: Comparison) -> None:
    flow.y -= _TITLE.leading
    flow.text(flow.left, flow.y + 5, _title(comparison), _TITLE)
    flow.rule(1.2, INK)
    flow.y -= 8
    flow.paragraph(_answer(comparison), _ANSWER)
    flow.y -= 5
    found = (_next(comparison), _other_measures(comparison), *comparison_notes(comparison))
    for sentence in found:
        if sentence:
            flow.paragraph(sentence, _TEXT)
            flow.y -= 3
    measure = comparison.by
    flow.section(f"{measure_name(measure)}, {unit_of(measure, comparison)}", keep=90)
    _put_fitting(flow, comparison, lambda some: measure_chart(some, measure, flow.inner), 0.42)
    flow.paragraph(
        f"The dot is what the storm made; the line holds {comparison.level} of 100 storms whose "
        "vehicles are drawn again, as many, from those that came (last page).",
        SMALL,
    )
    flow.section("Side by side", keep=60)
    flow.table(*_side_by_side(flow, comparison))
    flow.section("Where 100 of revenue went", keep=60)
    flow.table(*_shares(flow, comparison))
    if len(comparison.storms) > 1:
        by = measure_name(measure)
        flow.section(f"Chance that a row's storm beats a column's, by {by.lower()}", keep=60)
        flow.y -= 2
        _put_fitting(flow, comparison, lambda some: chances_chart(some, flow.inner), 0.4)
    flow.y -= 6
    flow.paragraph(WHAT_IT_IS, SMALL)


def _with_unit(value: int | None, measure: Measure, comparison: Comparison) -> str:
    text = measure_text(value, measure, comparison)
    if value is None:
        return text
    return f"{text}{_NBSP}%" if measure == "share" else f"{comparison.currency}{_NBSP}{text}"


def _answer(comparison: Comparison) -> str:
    """Which storm made most, and between which limits."""
    first, by = comparison.storms[0], comparison.by
    found = first.measures[by]
    name, title = measure_name(by), first.figures.storm.storm.title
    if found.value is None:
        return f"No storm here has a figure for {name.lower()}."
    said = f"{name} of {title}: {_with_unit(found.value, by, comparison)}"
    if len(comparison.storms) > 1:
        said = f"By {name.lower()}, {title} comes first: {_with_unit(found.value, by, comparison)}"
    if found.low is None or found.high is None:
        return f"{said}."
    low, high = (_with_unit(each, by, comparison) for each in (found.low, found.high))
    return f"{said}, and {comparison.level} times in 100 between {low} and {high}."


def _next(comparison: Comparison) -> str:
    """The chance that the first beats the next."""
    if len(comparison.storms) < 2:
        return ""
    chance, second = comparison.chances[0][1], comparison.storms[1]
    value = _with_unit(second.measures[comparison.by].value, comparison.by, comparison)
    named = f"The next is {second.figures.storm.storm.title}: {value}."
    if chance is None:
        return named
    return f"{named} Chance that the first beats it: {chance_text(chance)}."


def _other_measures(comparison: Comparison) -> str:
    """Who comes first by other measures, where that is somebody else."""
    first = comparison.storms[0]
    found: dict[str, list[str]] = {}
    for measure in MEASURES:
        valued = [each for each in comparison.storms if each.measures[measure].value is not None]
        best = max(valued, key=lambda each: each.measures[measure].value or 0, default=first)
        if best is not first:
            value = _with_unit(best.measures[measure].value, measure, comparison)
            title = best.figures.storm.storm.title
            found.setdefault(title, []).append(f"{measure_name(measure).lower()} ({value})")
    if not found:
        return "It comes first by every other measure too." if len(comparison.storms) > 1 else ""
    told = [f"{title} comes first by {' and by '.join(by)}" for title, by in found.items()]
    return f"{'; '.join(told)}."


def _side_by_side(flow: Flow, comparison: Comparison) -> tuple[list[Column], list[Row]]:
    money: list[tuple[Measure, float]] = [
        ("revenue", 66), ("margin", 66), ("per-vehicle", 52), ("per-technician-day", 62),
        ("per-repair-hour", 60), ("share", 48),
    ]  # fmt: skip
    used = 14 + 44 + sum(width for _, width in money)
    columns = [
        Column("", 14, "right"),
        Column("Storm", flow.inner - used),
        Column("Vehicles", 44, "right"),
        *(
            Column(f"{measure_name(name)}, {unit_of(name, comparison)}", width, "right")
            for name, width in money
        ),
    ]
    rows = []
    for rank, each in enumerate(comparison.storms, 1):
        texts = [
            str(rank),
            each.figures.storm.storm.title,
            vehicles_text(each),
            *(measure_text(each.measures[name].value, name, comparison) for name, _ in money),
        ]
        rows.append(_row(columns, texts))
    return columns, rows


_SHARES = {
    "Technicians": ("pay",),
    "Removal work": ("removal_pay",),
    "Estimators": ("estimators",),
    "Lot, travel, lodging": ("lot", "travel", "lodging"),
    "Lead and referral": ("lead", "referral"),
    "Parts and sublet": ("parts", "sublet"),
    "Loan cars and other": ("loan", "other"),
}
"""Kinds of cost by what they are for: why one storm keeps more of its revenue than another."""


def _shares(flow: Flow, comparison: Comparison) -> tuple[list[Column], list[Row]]:
    """Costs of each storm by what they are for, and its margin, in per cent of its revenue."""
    columns = [
        Column("Storm", flow.inner - 53 * (len(_SHARES) + 1)),
        *(Column(title, 53, "right") for title in _SHARES),
        Column("Margin", 53, "right"),
    ]
    rows = []
    for each in comparison.storms:
        figures = each.figures
        costs = [*figures.direct_costs, *figures.fixed_costs]
        sums = [sum(cost.amount for cost in costs if cost.kind in of) for of in _SHARES.values()]
        shares = [_percent(amount, figures.revenue_total) for amount in [*sums, figures.margin]]
        rows.append(_row(columns, [figures.storm.storm.title, *shares]))
    return columns, rows


def _row(columns: Sequence[Column], texts: Sequence[str], style: Style = _CELL) -> Row:
    """A row whose figures are set smaller rather than broken; words wrap."""
    cells = [
        Cell.of(text, narrowed(text, style, column.width - 5.5) if column.align == "right" and text
                else style)
        for column, text in zip(columns, texts, strict=True)
    ]  # fmt: skip
    return Row(tuple(cells))


def _put(flow: Flow, chart: Chart) -> None:
    """A chart across the page."""
    flow.need(chart.height)
    for mark in chart.marks:
        flow.put(moved(mark, flow.left, flow.y - chart.height))
    flow.y -= chart.height + 3


def _put_fitting(
    flow: Flow, comparison: Comparison, make: Callable[[Comparison], Chart], part: float
) -> None:
    """A chart of all storms, or of as many of the first as fit that part of a page."""
    room = part * (flow.height - flow.top - flow.bottom)
    drawn = len(comparison.storms)
    chart = make(comparison)
    while chart.height > room and drawn > 1:
        drawn -= 1
        chart = make(
            comparison._replace(
                storms=comparison.storms[:drawn],
                chances=tuple(row[:drawn] for row in comparison.chances[:drawn]),
            )
        )
    _put(flow, chart)
    if drawn < len(comparison.storms):
        flow.paragraph(f"The first {drawn} of {len(comparison.storms)} storms are drawn.", SMALL)


# --- a storm -----------------------------------------------------------------------------------


def _storm_pages(flow: Flow, each: Ranked) -> None:
    figures = each.figures
    write = writer_of(figures.storm.storm.currency, figures.storm.decimals)
    flow.new_page()
    pages = len(flow.pages)
    _storm_heading(flow, figures, write)
    _summary(flow, each, write)
    flow.section("From what was charged to the margin", keep=120)
    flow.y -= 2
    _put(flow, waterfall_chart(figures, flow.inner))
    flow.section("Revenue and cost", keep=80)
    _money_tables(flow, figures, write)
    flow.section("Days that claims wait", keep=90)
    flow.y -= 2
    _put(flow, waits_chart([figures], flow.inner))
    flow.paragraph(
        f"As of {write.date(figures.as_of)}. A claim leaves a state when it comes into the next "
        "one or is withdrawn; means and medians are of those that left.",
        SMALL,
    )
    if len(flow.pages) == pages:
        flow.new_page()
        flow.paragraph(f"{figures.storm.storm.title}, continued", BODY_BOLD)
        flow.rule(0.8, INK)
    flow.section("Supplements", keep=30)
    flow.paragraph(_supplements(figures, write), BODY)
    flow.section("Where it came from", keep=120)
    flow.paragraph(
        "Direct margin is revenue less the costs that vehicles cause; fixed costs belong to no "
        "vehicle and are in no split, so the parts add up to the margin before fixed costs.",
        SMALL,
    )
    _splits(flow, figures, write)
    flow.section("What was charged, and where it went", keep=190)
    flow.y -= 2
    _put(flow, money_chart(figures, flow.inner, 160))


def _storm_heading(flow: Flow, figures: StormFigures, write: Writer) -> None:
    storm, header, crew = figures.storm, figures.storm.storm, figures.storm.crew
    flow.paragraph(header.title, _TITLE)
    flow.rule(1.2, INK)
    flow.y -= 3
    place = f"{header.place}. " if header.place else ""
    flow.paragraph(
        f"{place}Hail on {write.date(header.date)}; worked {write.date(header.first_day)} to "
        f"{write.date(header.last_day)}, {counted(storm.days, 'day')}, by "
        f"{counted(crew.technicians, 'technician')} and {counted(crew.estimators, 'estimator')}.",
        BODY,
    )
    for note in _notes(figures, write):
        flow.paragraph(note, BODY)


def _notes(figures: StormFigures, write: Writer) -> Iterator[str]:
    """What must be said before anybody trusts the figures."""
    counts, currency = figures.counts, figures.storm.storm.currency
    if counts.open:
        yield (
            f"Of the revenue {currency}{_NBSP}{write.amount(figures.open_revenue)} is on claims "
            "not agreed yet."
        )
    if counts.incomplete:
        yield (
            f"{counted(counts.incomplete, 'vehicle')} with a panel that has no price: counted "
            "with the rest of it alone."
        )
    if counts.aside:
        yield f"{counted(counts.aside, 'vehicle')} could not be priced and are in no figure."


def _summary(flow: Flow, each: Ranked, write: Writer) -> None:
    """The box of figures, in the storm's own currency."""
    figures, counts = each.figures, each.figures.counts
    currency, own = figures.storm.storm.currency, own_measures(figures)

    def money(value: int | None) -> str:
        return "no figure" if value is None else write.amount(value)

    share = own["share"]
    boxes = [
        (f"Margin, {currency}", money(figures.margin)),
        (f"Revenue, {currency}", money(figures.revenue_total)),
        (f"Cost, {currency}", money(figures.cost_total)),
        ("Margin of revenue", "no figure" if share is None else f"{money_text(share, 2)} %"),
        (f"Margin a vehicle, {currency}", money(own["per-vehicle"])),
        (f"Margin a technician-day, {currency}", money(own["per-technician-day"])),
        (f"Margin an hour of repair sold, {currency}", money(own["per-repair-hour"])),
        ("Hours sold, repair and removal", _hours(figures)),
    ]
    flow.y -= 5
    height, width = 31.0, flow.inner / 4
    flow.need(2 * height + 30)
    flow.put(BoxMark(flow.left, flow.y - 2 * height - 4, flow.inner, 2 * height + 4, TINT, None))
    for at, (label, text) in enumerate(boxes):
        x, y = flow.left + 8 + at % 4 * width, flow.y - at // 4 * height
        flow.text(x, y - 12, label, narrowed(label, SMALL, width - 14))
        flow.text(x, y - 27, text, narrowed(text, _FIGURE, width - 14))
    flow.y -= 2 * height + 6
    flow.paragraph(
        f"{counted(counts.all, 'vehicle')}: {counts.agreed:,} agreed, {counts.open:,} open, "
        f"{counts.withdrawn:,} withdrawn. {_break_even(each.break_even, figures, write)}",
        BODY,
    )


def _hours(figures: StormFigures) -> str:
    repair, removal = (
        rounded(Fraction(tenths, 600)) for tenths in (figures.repair_tenths, figures.removal_tenths)
    )
    return f"{repair:,} + {removal:,}"


def _break_even(found: BreakEven, figures: StormFigures, write: Writer) -> str:
    fixed = (
        f"fixed costs of {figures.storm.storm.currency}{_NBSP}{write.amount(figures.fixed_total)}"
    )
    if found.vehicles is None:
        return f"No number of vehicles such as these pays the {fixed}."
    if found.low is None:
        limits = ""
    elif found.high is None:
        limits = f" (limits: {found.low:,}, and no number)"
    else:
        limits = f" (limits: {found.low:,} to {found.high:,})"
    return f"{counted(found.vehicles, 'vehicle')} such as these{limits} pay the {fixed}."


def _supplements(figures: StormFigures, write: Writer) -> str:
    found, currency = figures.supplements, figures.storm.storm.currency
    if not found.number:
        return "None."
    asked, paid, unpaid, unsettled = (
        f"{currency}{_NBSP}{write.amount(each)}"
        for each in (found.asked, found.paid, found.unpaid, found.unsettled)
    )
    still = f", {unsettled} not settled" if found.unsettled else ""
    return (
        f"{found.number:,} asked for {asked}: {found.won:,} paid in full, {found.part:,} in part, "
        f"{found.lost:,} not at all, {found.open:,} not settled. {paid} paid, {unpaid} lost{still}."
    )


def _percent(amount: int, whole: int) -> str:
    """Of a whole, to a tenth; nothing where the whole is not above zero."""
    return money_text(rounded(Fraction(1000 * amount, whole)), 1) if whole > 0 else "-"


def _beside(flow: Flow, parts: Sequence[Callable[[Flow], None]]) -> None:
    """Parts in columns of one width, each going over to further pages by itself."""
    width = (flow.inner - _BETWEEN * (len(parts) - 1)) / len(parts)
    first, lowest = len(flow.pages) - 1, (0, -flow.y)
    for at, part in enumerate(parts):
        column = Flow(width + 2 * flow.margin, flow.height, flow.margin, flow.top, flow.bottom,
                      flow.spacing)  # fmt: skip
        column.y = flow.y
        part(column)
        for number, marks in enumerate(column.pages):
            if first + number == len(flow.pages):
                flow.pages.append([])
            shift = at * (width + _BETWEEN)
            flow.pages[first + number] += [moved(mark, shift, 0) for mark in marks]
        lowest = max(lowest, (len(column.pages) - 1, -column.y))
    flow.y = -lowest[1]


def _money_tables(flow: Flow, figures: StormFigures, write: Writer) -> None:
    whole, currency = figures.revenue_total, figures.storm.storm.currency

    def table(column: Flow, title: str, amounts: Sequence[tuple[str, int]], total: str) -> None:
        columns = [
            Column(title, column.inner - 68 - 52),
            Column(currency, 68, "right"),
            Column("% of revenue", 52, "right"),
        ]
        rows = [
            _row(columns, [label, write.amount(amount), _percent(amount, whole)])
            for label, amount in amounts
        ]
        summed = sum(amount for _, amount in amounts)
        texts = [total, write.amount(summed), _percent(summed, whole)]
        column.table(columns, [*rows, _row(columns, texts, _CELL_BOLD)])

    def labelled(amounts: Sequence[Amount], words: str = "") -> list[tuple[str, int]]:
        return [(each.label + words, each.amount) for each in amounts]

    costs = labelled(figures.direct_costs) + labelled(figures.fixed_costs, " (fixed)")
    _beside(
        flow,
        [
            lambda column: table(column, "Revenue", labelled(figures.revenue), "Revenue"),
            lambda column: table(column, "Cost", costs, "Cost"),
        ],
    )


def _splits(flow: Flow, figures: StormFigures, write: Writer) -> None:
    def vehicles(column: Flow) -> None:
        for by in SPLIT_LABELS:
            if by != "panel" and figures.splits.get(by):
                _split_table(column, figures, by, write)

    def panels(column: Flow) -> None:
        if figures.splits.get("panel"):
            _panel_table(column, figures, write)

    _beside(flow, [vehicles, panels])


def _split_table(flow: Flow, figures: StormFigures, by: str, write: Writer) -> None:
    currency = figures.storm.storm.currency
    columns = [
        Column(SPLIT_LABELS[by], flow.inner - 38 - 58 - 58),
        Column("Vehicles", 38, "right"),
        Column(f"Revenue, {currency}", 58, "right"),
        Column("Direct margin", 58, "right"),
    ]
    rows = [
        _row(
            columns,
            [
                row.name or NO_NAME,
                f"{row.number:,}",
                write.amount(row.revenue),
                write.amount(row.revenue - (row.direct_cost or 0)),
            ],
        )
        for row in figures.splits[by]
    ]
    flow.y -= 6
    flow.table(columns, rows)


def _panel_table(flow: Flow, figures: StormFigures, write: Writer) -> None:
    currency, whole = figures.storm.storm.currency, figures.revenue_total
    columns = [
        Column("Panel", flow.inner - 38 - 58 - 58),
        Column("Panels", 38, "right"),
        Column(f"Revenue, {currency}", 58, "right"),
        Column("% of revenue", 58, "right"),
    ]
    labels, rest = PANEL_LABELS["us"], panel_rest(figures)

    def texts(row: SplitRow) -> list[str]:
        name = labels.get(row.name, row.name)
        revenue = write.amount(row.revenue)
        return [name, f"{row.number:,}", revenue, _percent(row.revenue, whole)]

    rows = [_row(columns, texts(row)) for row in figures.splits["panel"]]
    rows.append(_row(columns, [REST, "", write.amount(rest), _percent(rest, whole)]))
    flow.y -= 6
    flow.table(columns, rows)
    flow.paragraph(
        "A panel has no direct margin: its vehicle has. What belongs to no single panel is removal "
        "and refit, lines of the whole vehicle, discounts and supplements that were not paid.",
        SMALL,
    )


# --- what the figures mean ---------------------------------------------------------------------


def _method(flow: Flow, comparison: Comparison) -> None:
    flow.new_page()
    flow.y -= _TITLE.leading
    flow.text(flow.left, flow.y + 5, "What these figures mean", _TITLE)
    flow.rule(1.2, INK)
    for title, paragraphs in _explanations(comparison):
        flow.space(4)
        flow.section(title, keep=40)
        for text in paragraphs:
            flow.paragraph(text, _TEXT)
            flow.y -= 2


def _explanations(comparison: Comparison) -> list[tuple[str, list[str]]]:
    level, draws = comparison.level, f"{comparison.resamples:,}"
    several = len(comparison.storms) > 1
    chances = (
        "Chances",
        [
            "Each draw of one storm is held against a draw of the other, and the chance is the "
            "share of draws in which it is higher. Below 1 % and above 99 % no figure is "
            "printed, since draws do not know rarer things. A chance is about vehicles such as "
            "these coming again, not about next year's hail."
        ],
    )
    return [
        (
            "What they are",
            [
                WHAT_IT_IS,
                "Revenue is what the lines come to before tax, less discounts and less what was "
                "asked in supplements and not paid on agreed claims. An open claim counts with "
                "what it is priced at. A withdrawn claim earns nothing; its lead fee and loan car "
                "still cost what they cost.",
                "The book is priced by the matrix that the storm or the claim names. Minutes are "
                "minutes sold under that matrix, not minutes that anybody stopped with a watch.",
            ],
        ),
        (
            "What the limits mean",
            [
                f"The vehicles that came are taken as a sample of those that might have come: as "
                f"many are drawn again, with replacement, {draws} times, and the limits hold the "
                f"middle {level} of 100 of the draws. Two storms whose limits overlap widely may "
                "well stand the other way round next time.",
                "What the limits do not know: more or fewer vehicles, another hail, another crew, "
                "another price, claims that turn out otherwise, and mistakes in the book or in the "
                "costs that the storm's file states. They are wide where few vehicles carry much "
                "of the money.",
            ],
        ),
        *([chances] if several else []),
        (
            "Fixed costs",
            [
                "Estimators, the lot, travel, lodging and pay by the day are the storm's own. They "
                "stay as they are in every draw and in no split; with more vehicles each would "
                "bear less of them. Vehicles that pay the fixed costs: the fixed costs over what "
                "a vehicle such as these leaves after its own costs, rounded up. Vehicles such as "
                "these are all that have a price, withdrawn ones too.",
            ],
        ),
        ("Currencies", [_currencies(comparison)]),
        (
            "The same figures again",
            [
                "The draws come from a generator whose seed is fixed, with each storm's name in "
                "it: the same books and the same storm files give the same figures and the same "
                "bytes. All sums are whole minor units, and each is rounded once.",
            ],
        ),
    ]


def _currencies(comparison: Comparison) -> str:
    if not comparison.rates:
        return f"All sums are in {comparison.currency}; nothing was converted."
    given = ", ".join(
        f"one {code} is {rate_text(rate)} {comparison.currency}"
        for code, rate in sorted(comparison.rates.items())
    )
    return (
        f"A storm's own pages are in its own currency. The first page is in {comparison.currency}, "
        f"at the rates that were given: {given}. The limits do not know that rates move."
    )
