"""The claim sheet as PDF, for the adjuster with a pocket calculator.

`sheet_pdf` draws an estimate on Letter or A4 and attaches the sheet's JSON. Order: what it
comes to; panels as counted; every line with the figures that make it; removal and refit;
other lines; totals; how the count was made, samples and near edges of bands; cautions;
signatures; every panel drawn; photographs. Black ink, one family of
type, legible on any printer. The same estimate always gives the same bytes: no clock, and
the file identifier is a hash of the file itself (see `seal`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from io import BytesIO
from types import MappingProxyType

from hailcalc.cautions import ALWAYS, CAUTIONS, NATURE
from hailcalc.claimfile import Panel
from hailcalc.estimate import Estimate, PanelResult
from hailcalc.lines import Line, dents
from hailcalc.money import minor_units, plain
from hailcalc.problems import InputError
from hailcalc.sheet.attach import attach_json, seal
from hailcalc.sheet.contactsheet import Picture, contact_sheet, pictures
from hailcalc.sheet.counts import is_sampled, near_edges, panels_drawn, samples
from hailcalc.sheet.document import SIGNATURE, counting_method, digest, sheet_json, sheet_text
from hailcalc.sheet.fonts import BOLD, unprintable_texts
from hailcalc.sheet.layout import (
    AIRY,
    BODY,
    BODY_BOLD,
    HEAD,
    INK,
    SMALL,
    SMALL_INK,
    SOFT,
    TIGHT,
    TINT,
    BoxMark,
    Cell,
    Column,
    Flow,
    Mark,
    Row,
    RuleMark,
    Spacing,
    Style,
    TextMark,
    draw,
    narrowed,
    new_canvas,
    text_width,
    wrap,
)
from hailcalc.sheet.locale import writer
from hailcalc.sheet.reach import planned, removal_groups, removal_words
from hailcalc.sheet.source import Sheet
from hailcalc.signing import shown_fingerprint, signer
from hailcalc.vehicle import PANEL_LABELS, with_label

PAPERS = {"letter": (612.0, 792.0), "a4": (595.28, 841.89)}
"""Paper sizes in points (ISO 216 A4 is 210 by 297 mm)."""

_MARGIN = 42.0
_TITLE = Style(face=BOLD, size=21, leading=24)
_NAME = Style(face=BOLD, size=12, leading=15)
_BIG = Style(face=BOLD, size=17, leading=20)
_GROUP = Style(face=BOLD, size=9, leading=11.5)

_MIXED = {
    "layers": "All dents are priced at the smallest size counted; for each larger size the step "
    "from the size below it is added, in the band of the dents of that size or larger.",
    "share": "Every size is priced in the band of the panel's whole count and weighs by its share "
    "of the dents.",
    "largest": "The whole count is priced at the largest size on the panel.",
    "most": "The whole count is priced at the size with the most dents; a tie goes to the larger.",
    "each": "Every size is priced by itself, in the band of its own count, and the prices add up.",
}
_WITHIN = {
    "flat": "Within a band the cell holds for every count.",
    "ramp": "Between a band's lower bound and the next band's the cell runs in a straight line; "
    "the last band is flat.",
}
_STACKING = {
    "add": "Percentages work on the panel's base and oversize lines.",
    "compound": "Percentages work on the panel's base, oversize and the extras above them.",
}
_ACCESS = {"push": "pushed from behind", "glue": "glue pulled", "replace": "replaced", "plan": ""}


def sheet_pdf(
    estimate: Estimate,
    *,
    paper: str = "letter",
    labels: str = "us",
    previews: Mapping[str, bytes] = MappingProxyType({}),
    signature: str | None = None,
) -> bytes:
    """Draw the claim sheet of an estimate; the sheet's JSON is attached as claim-sheet.json.

    `paper` is "letter" or "a4", `labels` "us" or "uk"; `previews` are those of the claim's
    photographs by their SHA-256, as far as they are at hand; `signature` is that of the digest by
    the shop's key, taken as it is. Raises InputError for text that the
    sheet's fonts cannot print, naming every place, and for previews that are none.
    """
    sheet = _sheet(estimate, labels, signature)
    problems = [*unprintable_texts(sheet.document["claim_file"], "claim_file", ())]
    problems += unprintable_texts(sheet.document["matrix"], "matrix", ())
    if problems:
        raise InputError(problems)
    flow = _compose(sheet, *PAPERS[paper], pictures(previews))
    return _finish(sheet, flow, paper, labels)


def composed(estimate: Estimate, *, paper: str = "letter", labels: str = "us") -> Flow:
    """The sheet's marks page by page, before heads and feet are added and anything is drawn."""
    return _compose(_sheet(estimate, labels), *PAPERS[paper])


def _sheet(estimate: Estimate, labels: str, signature: str | None = None) -> Sheet:
    tables = estimate.compiled.tables
    document = sheet_json(estimate)
    return Sheet(
        estimate,
        document if signature is None else document | {SIGNATURE: signature},
        PANEL_LABELS[labels],
        writer(estimate.compiled.matrix.matrix.locale, tables.currency, tables.decimals),
        {id(line): number for number, line in enumerate(estimate.lines, 1)},
        estimate.near_edges,
    )


def _finish(sheet: Sheet, flow: Flow, paper: str, labels: str) -> bytes:
    import reportlab

    from hailcalc import __version__

    claim = sheet.estimate.claim
    out = BytesIO()
    canvas = new_canvas(out, PAPERS[paper])
    canvas.setTitle(f"Claim sheet {claim.claim.number}")
    canvas.setAuthor(claim.shop.name if claim.shop else "")
    canvas.setSubject(f"Hail damage, {claim.vehicle.body}, digest {sheet.document['digest']}")
    canvas.setCreator(f"hailcalc {__version__}")
    canvas.setKeywords(f"paper={paper} labels={labels} reportlab={reportlab.Version}")
    draw(canvas, flow, lambda page, number, pages: _furniture(sheet, page, number, pages))
    attach_json(canvas, "claim-sheet.json", sheet_text(sheet.document).encode())
    canvas.save()
    return seal(out.getvalue())


def _compose(
    sheet: Sheet,
    width: float,
    height: float,
    found: Mapping[str, Picture] = MappingProxyType({}),
) -> Flow:
    """The pages, set closer where that saves a last page with little on it."""
    flow = _set(sheet, width, height, AIRY, found)
    if len(flow.pages) > 1 and flow.y > height * 0.68:
        closer = _set(sheet, width, height, TIGHT, found)
        return closer if len(closer.pages) < len(flow.pages) else flow
    return flow


def _set(
    sheet: Sheet, width: float, height: float, spacing: Spacing, found: Mapping[str, Picture]
) -> Flow:
    flow = Flow(width, height, _MARGIN, top=54, bottom=52, spacing=spacing)
    flow.y = height - 40
    _heading(flow, sheet)
    _particulars(flow, sheet)
    _summary(flow, sheet)
    _panel_table(flow, sheet)
    _repair_lines(flow, sheet)
    _removal(flow, sheet)
    planned(flow, sheet)
    _other_lines(flow, sheet)
    _totals(flow, sheet)
    samples(flow, sheet)
    near_edges(flow, sheet)
    _count(flow, sheet)
    _notes(flow, sheet)
    _cautions(flow, sheet)
    _signatures(flow, sheet)
    panels_drawn(flow, sheet)
    contact_sheet(flow, sheet, found)
    return flow


def _furniture(sheet: Sheet, flow: Flow, page: int, pages: int) -> list[Mark]:
    """Foot of every page, and the head of every page but the first."""
    foot = flow.bottom - 16
    number = f"Page {page} of {pages}"
    right = flow.right - text_width(number, SMALL_INK)
    printed = f"Digest {sheet.document['digest']}"
    claim = _short(_named(sheet), BODY_BOLD, flow.inner - 120)
    marks: list[Mark] = [
        RuleMark(flow.left, foot + 9, flow.right, foot + 9, 0.5, SOFT),
        _mark(flow.left, foot - 3, printed, Style(size=6.8, grey=SOFT)),
        _mark(right, foot - 3, number, SMALL_INK),
    ]
    if page > 1:
        head = flow.height - 38
        title = "Claim sheet, continued"
        right = flow.right - text_width(title, SMALL)
        marks += [
            _mark(flow.left, head, claim, BODY_BOLD),
            _mark(right, head, title, SMALL),
            RuleMark(flow.left, head - 6, flow.right, head - 6, 0.5, SOFT),
        ]
    return marks


def _mark(x: float, y: float, text: str, style: Style) -> TextMark:
    return TextMark(x, y, text, style.face, style.size, style.grey)


def _short(text: str, style: Style, width: float) -> str:
    """`text` on one line, with an ellipsis if it is wider than `width`."""
    lines = wrap(text, style, width)
    return lines[0] if len(lines) == 1 else lines[0].rstrip() + "…"


def _heading(flow: Flow, sheet: Sheet) -> None:
    """Who made the sheet, that it is a claim sheet, and why there is another."""
    shop = sheet.estimate.claim.shop
    top = flow.y
    title_width = text_width("Claim sheet", _TITLE) + 60
    room = flow.inner - title_width - 24
    if shop is not None:
        for line in wrap(shop.name, _NAME, room):
            flow.y -= _NAME.leading
            flow.text(flow.left, flow.y + 3, line, _NAME)
        about = [shop.address, shop.contact, f"Licence {shop.licence}" if shop.licence else ""]
        for text in filter(None, about):
            for line in wrap(text, SMALL, room):
                flow.y -= SMALL.leading
                flow.text(flow.left, flow.y + 2, line, SMALL)
    flow.text(flow.right, top - 19, "Claim sheet", _TITLE, "right")
    claim = sheet.estimate.claim.claim
    below = top - 32
    for line in wrap(_named(sheet), BODY_BOLD, title_width):
        flow.text(flow.right, below, line, BODY_BOLD, "right")
        below -= BODY_BOLD.leading
    flow.y = min(flow.y, below + 3) - 6
    flow.rule(1.2, INK)
    if claim.supplement:
        flow.paragraph(
            f"Supplement, in place of the sheets before it: {claim.supplement}", BODY_BOLD
        )
        flow.space(4)


def _named(sheet: Sheet) -> str:
    """The claim, and which of its sheets this is."""
    claim = sheet.estimate.claim.claim
    which = f", revision {claim.revision}" if claim.revision else ""
    return f"Claim {claim.number}{which}"


def _particulars(flow: Flow, sheet: Sheet) -> None:
    """Claim, vehicle and matrix side by side."""
    estimate = sheet.estimate
    claim, vehicle = estimate.claim.claim, estimate.claim.vehicle
    header = estimate.compiled.matrix.matrix
    rates = estimate.compiled.matrix.rates
    write = sheet.write
    temperature = estimate.claim.conditions.panel_temperature_c
    date = write.date(claim.dated) if claim.dated else ""
    value = _money(sheet, vehicle.value) if vehicle.value else ""
    warm = f"{write.figure(plain(temperature))} °C" if temperature is not None else ""
    dates = f"losses from {write.date(header.effective)}"
    if header.until:
        dates = f"losses {write.date(header.effective)} to {write.date(header.until)}"
    an_hour = f"repair {write.figure(rates.repair)}, removal {write.figure(rates.removal)}"
    where = claim.loss_location
    blocks = [
        (
            "Claim",
            [
                ("Customer", claim.customer or ""),
                ("Insurer", claim.insurer or ""),
                ("Date of loss", write.date(claim.date_of_loss)),
                ("Place of loss", f"{plain(where.lat)}, {plain(where.lon)}" if where else ""),
                ("Sheet dated", date),
                ("Estimator", claim.estimator or ""),
            ],
        ),
        (
            "Vehicle",
            [
                ("Vehicle", vehicle.description or ""),
                ("Body", vehicle.body),
                ("VIN", vehicle.vin or ""),
                ("Value stated", value),
                ("Equipment", ", ".join(vehicle.equipment)),
                ("Panel temp.", warm),
            ],
        ),
        (
            "Matrix",
            [
                ("Title", header.title),
                ("Name", f"{header.name}, revision {header.revision}"),
                ("Agreed with", header.insurer or "nobody; the shop's own"),
                ("In force", dates),
                (f"{header.currency} an hour", an_hour),
                ("Digest", digest(sheet.document["matrix"])[:16] + "…"),
            ],
        ),
    ]
    top = flow.y - 3
    widths = (flow.inner * 0.31, flow.inner * 0.31, flow.inner * 0.38)
    lowest = top
    x = flow.left
    for (title, pairs), width in zip(blocks, widths, strict=True):
        lowest = min(lowest, _block(flow, x, top, width - 12, title, pairs))
        x += width
    flow.y = lowest - 4


def _block(
    flow: Flow, x: float, y: float, width: float, title: str, pairs: Sequence[tuple[str, str]]
) -> float:
    """Labelled values under a title; returns where it ends."""
    y -= _GROUP.leading
    flow.text(x, y, title, _GROUP)
    y -= 3
    label_width = 50.0
    for label, value in pairs:
        if not value:
            continue
        for number, line in enumerate(wrap(value, BODY, width - label_width)):
            y -= BODY.leading
            if number == 0:
                flow.text(x, y, label, SMALL)
            flow.text(x + label_width, y, line, BODY)
    return y - 3


def _money(sheet: Sheet, text: str) -> str:
    return sheet.write.sum(minor_units(text, sheet.write.decimals))


def _summary(flow: Flow, sheet: Sheet) -> None:
    """The box that says what it comes to."""
    estimate, write = sheet.estimate, sheet.write
    totals = estimate.totals
    height = 50.0
    flow.need(height + 10)
    flow.y -= 4
    flow.put(BoxMark(flow.left, flow.y - height, flow.inner, height, TINT, None))
    count = sum(result.count.all for result in estimate.panels)
    damaged = sum(1 for result in estimate.panels if result.count.all)
    what = f"{damaged} panel{'' if damaged == 1 else 's'}"
    about = "about " if any(map(is_sampled, estimate.panels)) else ""
    so_far = "" if totals.complete else ", so far"
    sums = [
        (f"Net of the deductible{so_far}", write.sum(totals.net), _BIG),
        (f"Total{so_far}", write.sum(totals.total), _GROUP),
        ("Deductible", write.sum(totals.deductible), _GROUP),
        ("Sampled" if about else "Counted", f"{about}{dents(count)} on {what}", _GROUP),
        ("State", "Complete" if totals.complete else "INCOMPLETE", _GROUP),
    ]
    widths = (0.30, 0.185, 0.165, 0.20, 0.15)
    x = flow.left + 10
    for (label, text, style), share in zip(sums, widths, strict=True):
        flow.text(x, flow.y - 17, label, SMALL)
        width = (flow.inner - 14) * share
        flow.text(x, flow.y - 36, text, narrowed(text, style, width - 8))
        x += width
    flow.y -= height
    if not totals.complete:
        flow.y -= 2
        names = ", ".join(sheet.labels[p.panel.panel] for p in estimate.panels if not p.priced)
        flow.paragraph(
            f"Incomplete: {names} without a price yet. The sums leave out what has no price; they "
            "stand once a price is agreed or the panel is replaced.",
            BODY_BOLD,
        )


def _panel_table(flow: Flow, sheet: Sheet) -> None:
    """Panels as counted: dents by size, marks, band, base."""
    results = sheet.estimate.panels
    if not results:
        return
    flow.section("Panels as counted", keep=44)
    coins = sheet.estimate.compiled.tables.columns
    name_width, band_width, base_width, all_width = 92.0, 44.0, 58.0, 32.0
    oversize = any(result.count.oversize for result in results)
    sizes = [*(coin.name for coin in coins), *(["oversize"] if oversize else [])]
    widths = [max(24.0, text_width(name, HEAD) + 8) for name in sizes]
    note_width = flow.inner - name_width - band_width - base_width - all_width - sum(widths)
    narrow = note_width < 110
    if narrow:
        # Too many sizes for a column each: they are written out in one.
        sizes, widths = ["Sizes"], [flow.inner * 0.3]
        note_width = flow.inner - name_width - band_width - base_width - all_width - widths[0]
    columns = [
        Column("Panel", name_width),
        Column("State and marks", note_width),
        *(
            Column(name, width, "left" if narrow else "right")
            for name, width in zip(sizes, widths, strict=True)
        ),
        Column("All", all_width, "right"),
        Column("Band", band_width, "right"),
        Column(f"Base, {sheet.write.currency}", base_width, "right"),
    ]
    flow.table(columns, [_panel_row(sheet, result, oversize, narrow) for result in results])


def _panel_row(sheet: Sheet, result: PanelResult, oversize: bool, narrow: bool) -> Row:
    count = result.count
    coins = sheet.estimate.compiled.tables.columns
    if narrow:
        pairs = zip(coins, count.counts, strict=True)
        written = [f"{number} {coin.name}" for coin, number in pairs if number]
        written += [f"{len(count.oversize)} oversize"] if count.oversize else []
        numbers = [", ".join(written)]
    else:
        numbers = [str(number) if number else "·" for number in count.counts]
        numbers += [str(len(count.oversize) or "·")] if oversize else []
    low, high = result.band or (0, 0)
    band = "" if result.band is None else str(low) if low == high else f"{low}–{high}"
    base = "" if result.base is None else sheet.write.amount(result.base)
    if not result.priced:
        base = "no price"
        band = band or "beyond"
    return Row(
        (
            Cell.of(sheet.labels[result.panel.panel], BODY_BOLD),
            Cell.of(_state_and_marks(sheet, result), SMALL_INK),
            *(Cell.of(number) for number in numbers),
            Cell.of(f"~{count.all}" if is_sampled(result) else str(count.all), BODY_BOLD),
            Cell.of(band),
            Cell.of(base),
        )
    )


def _state(panel: Panel) -> list[str]:
    """What is said of the panel itself."""
    state: list[str] = [] if panel.sample is None else ["sampled"]
    if panel.metal != "steel":
        state.append(panel.metal)
    if panel.repainted:
        state.append("repainted")
    return [*state, _ACCESS[panel.access]]


def _state_and_marks(sheet: Sheet, result: PanelResult) -> str:
    marks = [f"{number} {mark}" for mark, number in result.count.marks.items() if number]
    sizes = [f"{sheet.write.figure(plain(mm))} mm" for mm in result.count.oversize[:6]]
    more = len(result.count.oversize) - len(sizes)
    texts = [", ".join(_state(result.panel))]
    if marks:
        texts.append(", ".join(marks))
    if sizes:
        texts.append("oversize " + ", ".join(sizes) + (f" and {more} more" if more else ""))
    return "; ".join(texts)


def _because_width(flow: Flow) -> float:
    return flow.inner - 24 - 140 - 66


def _line_columns(flow: Flow, sheet: Sheet, what: str) -> list[Column]:
    return [
        Column("No.", 24, "right"),
        Column(what, 140),
        Column("Because", _because_width(flow)),
        Column(f"Amount, {sheet.write.currency}", 66, "right"),
    ]


def _because(sheet: Sheet, line: Line, width: float) -> tuple[tuple[str, Style], ...]:
    """Words and arithmetic of a line: side by side where there is room, else below each other."""
    words = sheet.write.words(line.words)
    words = words[:1].upper() + words[1:]
    if not _worth_printing(line.formula):
        return ((words, SMALL_INK),)
    formula = f"= {sheet.write.formula(line.formula)}"
    together = f"{words}   {formula}"
    if text_width(together, SMALL_INK) <= width - 6:
        return ((together, SMALL_INK),)
    return (words, SMALL_INK), (formula, SMALL_INK)


def _line_row(sheet: Sheet, line: Line, width: float, caution: str = "") -> Row:
    amount = Cell.of(sheet.amount(line.amount), BODY_BOLD if line.amount is None else BODY)
    return Row(
        (
            Cell.of(str(sheet.numbers[id(line)]), SMALL),
            Cell(((line.label, BODY), *([(f"Caution: {caution}", HEAD)] if caution else []))),
            Cell(_because(sheet, line, width)),
            amount,
        )
    )


def _worth_printing(formula: str) -> bool:
    """A formula that is only the amount again explains nothing."""
    return any(sign in formula for sign in ("*", "/", "+", " - "))


def _repair_lines(flow: Flow, sheet: Sheet) -> None:
    """Every line of every panel, with the figures that make it."""
    estimate = sheet.estimate
    by_panel: dict[str, list[Line]] = {}
    for line in estimate.lines:
        if line.panel is not None:
            by_panel.setdefault(line.panel, []).append(line)
    whole = [line for line in estimate.lines if line.panel is None and line.kind == "extra"]
    if not by_panel and not whole:
        return
    flow.section("Repair, panel by panel", keep=70)
    rows: list[Row] = []
    for result in estimate.panels:
        lines = by_panel.get(result.panel.panel, [])
        if lines:
            state = ", ".join(_state(result.panel))
            total = result.total if result.priced else None
            rows.append(_group_row(sheet, sheet.labels[result.panel.panel], state, total))
            rows += [_line_row(sheet, line, _because_width(flow)) for line in lines]
    if whole:
        total = sum(line.amount or 0 for line in whole)
        rows.append(_group_row(sheet, "Whole vehicle", "", total))
        rows += [_line_row(sheet, line, _because_width(flow)) for line in whole]
    flow.table(_line_columns(flow, sheet, "Line"), rows)


def _group_row(sheet: Sheet, name: str, state: str, total: int | None) -> Row:
    """A panel's name with its sum, repeated without the sum where its lines go on."""
    return Row(
        (
            Cell.of(""),
            Cell.of(name, _GROUP),
            Cell.of(state, SMALL_INK),
            Cell.of(sheet.amount(total), _GROUP),
        ),
        again=(
            Cell.of(""),
            Cell.of(name, _GROUP),
            Cell.of("continued", SMALL_INK),
            Cell.of(""),
        ),
        with_next=True,
        tinted=True,
        ruled=False,
    )


def _removal(flow: Flow, sheet: Sheet) -> None:
    """What comes off, in order, part by part, and the refit in reverse."""
    rows: list[Row] = []
    for part, lines in removal_groups(sheet):
        total = sum(line.amount or 0 for line, _ in lines)
        rows.append(_group_row(sheet, part.capitalize(), "", total))
        rows += [_line_row(sheet, line, _because_width(flow), caution) for line, caution in lines]
    if not rows:
        return
    flow.section("Removal & refit", keep=60)
    flow.table(_line_columns(flow, sheet, "Off, in this order"), rows)
    flow.paragraph(removal_words(sheet), SMALL_INK)


_OTHER = ("part", "sublet", "refinish", "body", "minimum", "tax")


def _other_lines(flow: Flow, sheet: Sheet) -> None:
    """Parts, sublet work, refinishing, the minimum and tax."""
    lines = [line for line in sheet.estimate.lines if line.panel is None and line.kind in _OTHER]
    if not lines:
        return
    flow.section("Other lines and tax", keep=40)
    flow.table(
        _line_columns(flow, sheet, "Line"),
        [_line_row(sheet, line, _because_width(flow)) for line in lines],
    )


def _totals(flow: Flow, sheet: Sheet) -> None:
    """Sums of the printed lines."""
    totals, write = sheet.estimate.totals, sheet.write
    rows = [
        ("Subtotal of the lines without tax", totals.subtotal, BODY),
        ("Tax", totals.tax, BODY),
        ("Total", totals.total, _GROUP),
        ("Deductible", -totals.deductible, BODY),
        ("Net of the deductible", totals.net, _NAME),
    ]
    flow.section("Totals", keep=sum(style.leading + 4 for _, _, style in rows))
    for label, amount, style in rows:
        if style is not BODY:
            flow.put(RuleMark(flow.right - 250, flow.y - 1, flow.right, flow.y - 1, 0.8, INK))
        flow.y -= style.leading + 4 if label != rows[0][0] else 0
        text = write.amount(amount) if style is BODY else write.sum(amount)
        flow.text(flow.right - 250, flow.y + 3.5, label, style)
        flow.text(flow.right - 2.5, flow.y + 3.5, text, style, "right")
    if totals.net == 0 and totals.total < totals.deductible:
        flow.paragraph("The deductible is larger than the total.", SMALL_INK)


def _count(flow: Flow, sheet: Sheet) -> None:
    """How the count was made and how the matrix reads it."""
    estimate, write = sheet.estimate, sheet.write
    header = estimate.compiled.matrix.matrix
    flow.section("How the count was made, and how it is priced", keep=44)
    ways = {
        "tally": "Counted by size on the panel, each dent by its longest axis against the "
        "smallest coin that covers it",
        "single dents": "Each dent measured by itself, the longer axis in millimetres, and "
        "sorted into the coin sizes",
        "marks": "Each dent marked at its place on the panel's outline and measured, the longer "
        "axis in millimetres; the outline's zones say which are braced, glue-only, at an edge or "
        "on a body line",
        "sample squares": "SAMPLED: counted in squares and scaled to the panel's area; an "
        "estimate with the margin printed above",
    }
    for method, words in ways.items():
        names = [
            sheet.labels[result.panel.panel]
            for result in estimate.panels
            if counting_method(result.panel) == method
        ]
        if names:
            flow.paragraph(f"{words}: {', '.join(names)}.", SMALL_INK)
    coins = estimate.compiled.tables.columns
    sizes = ", ".join(f"{coin.name} {write.figure(plain(coin.mm))} mm" for coin in coins)
    sources = "; ".join(dict.fromkeys(coin.source for coin in coins))
    flow.paragraph(f"Sizes: {sizes} ({sources}). Larger dents are oversize.", SMALL_INK)
    flow.paragraph(
        f"{_MIXED[header.mixed]} {_WITHIN[header.within_band]} {_STACKING[header.stacking]} "
        f"Every line is rounded once, half away from zero, and the lines add up to the totals. "
        "The whole matrix is in the JSON attached to this file.",
        SMALL_INK,
    )


def _notes(flow: Flow, sheet: Sheet) -> None:
    """Notes on panels, and warnings."""
    estimate = sheet.estimate
    notes = [
        f"{sheet.labels[result.panel.panel]}: {result.panel.note}"
        for result in estimate.panels
        if result.panel.note
    ]
    notes += [sheet.write.words(with_label(warning, sheet.labels)) for warning in estimate.warnings]
    if not notes:
        return
    flow.section("Notes", keep=24)
    for note in notes:
        flow.paragraph(note, SMALL_INK)
        flow.space(2)


def _cautions(flow: Flow, sheet: Sheet) -> None:
    """Where the work can hurt, and what this sheet is."""
    keys = dict.fromkeys(key for rule in sheet.estimate.removal for key in rule.cautions)
    if any(result.glued for result in sheet.estimate.panels):
        keys = keys | {"heat": None}
    flow.section("Cautions", keep=36)
    for text in [*(CAUTIONS[key] for key in keys), *ALWAYS]:
        flow.paragraph(text, SMALL_INK)
        flow.space(2)


def _signatures(flow: Flow, sheet: Sheet) -> None:
    """What the sheet is, boxes to sign it in, and by which key it is signed."""
    height, gap = 52.0, 10.0
    flow.need(height + 2 * BODY_BOLD.leading + 12 + 3 * SMALL_INK.leading)
    flow.space(4)
    flow.paragraph(NATURE, BODY_BOLD)
    flow.space(8)
    width = (flow.inner - 2 * gap) / 3
    x = flow.left
    for title in ("Estimator", "Adjuster", "Owner of the vehicle"):
        flow.put(BoxMark(x, flow.y - height, width, height, None, SOFT))
        flow.text(x + 6, flow.y - 11, title, HEAD)
        flow.text(x + 6, flow.y - height + 6, "Date", SMALL)
        flow.text(x + width * 0.34, flow.y - height + 6, "Signature", SMALL)
        x += width + gap
    flow.y -= height
    flow.space(4)
    flow.paragraph(_key_words(sheet.document.get(SIGNATURE)), SMALL_INK)


def _key_words(signature: object) -> str:
    if signature is None:
        return "Not signed by a key."
    named = signer(signature)
    if named is None:
        return "With a signature that is none of the form that hailcalc makes."
    return (
        f"Signed by the key with the fingerprint {shown_fingerprint(named)}; hailcalc verify --key "
        "checks the signature. Compare the fingerprint with the one that the shop gave you."
    )
