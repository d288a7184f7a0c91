"""The difference sheet of a supplement: old, new and difference of every line that changed.

It goes with the supplement's own claim sheet, which stands complete for itself, and names the
digests of both. Black ink, Letter or A4; the same two sheets always give the same bytes.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from hailcalc.cautions import NATURE
from hailcalc.claim.changes import Changes, LineChange, PanelChange, Sheet
from hailcalc.claim.facts import matrix_words
from hailcalc.claim.report import TOTALS, change_words, group_name, line_sums
from hailcalc.matrix.model import MatrixHeader
from hailcalc.problems import InputError
from hailcalc.sheet.finish import finished
from hailcalc.sheet.fonts import BOLD, unprintable_texts
from hailcalc.sheet.layout import (
    BODY,
    BODY_BOLD,
    SMALL,
    SMALL_INK,
    TINT,
    BoxMark,
    Cell,
    Column,
    Flow,
    Row,
    Style,
    narrowed,
)
from hailcalc.sheet.locale import Writer, writer
from hailcalc.sheet.pdf import PAPERS
from hailcalc.vehicle import PANEL_LABELS

_TITLE = Style(face=BOLD, size=19, leading=23)
_BIG = Style(face=BOLD, size=17, leading=20)
_GROUP = Style(face=BOLD, size=9, leading=11.5)


def changes_pdf(
    changes: Changes, *, reason: str = "", paper: str = "letter", labels: str = "us"
) -> bytes:
    """Draw what changed. Raises InputError for text that the fonts cannot print."""
    problems = [
        problem
        for side, sheet in (("old", changes.old), ("new", changes.new))
        for part in ("claim_file", "matrix", "lines")
        for problem in unprintable_texts(sheet[part], f"the {side} sheet's {part}", ())
    ]
    problems += unprintable_texts(reason, "the reason", ())
    if problems:
        raise InputError(problems)
    width, height = PAPERS[paper]
    flow = Flow(width, height, 42.0, top=54, bottom=52)
    flow.y = height - 40
    names = PANEL_LABELS[labels]
    write = writer(_locale(changes.new), changes.currency, changes.decimals)
    _heading(flow, changes, reason, write)
    _summary(flow, changes, write)
    _facts(flow, changes)
    _lines(flow, changes, names, write)
    _totals(flow, changes, write)
    flow.space(8)
    flow.paragraph(NATURE, BODY_BOLD)
    title = f"Changes of claim {changes.new['claim_file']['claim']['number']}"
    return finished(flow, title, paper, labels)


def _locale(sheet: Sheet) -> str:
    default = MatrixHeader.model_fields["locale"].default
    return str(sheet["matrix"]["matrix"].get("locale", default))


def _heading(flow: Flow, changes: Changes, reason: str, write: Writer) -> None:
    flow.y -= _TITLE.leading
    flow.text(flow.left, flow.y + 4, "Supplement: what changed", _TITLE)
    file = changes.new["claim_file"]
    shop = f"{file['shop']['name']}. " if file.get("shop") else ""
    flow.paragraph(
        f"{shop}Claim {file['claim']['number']}, {file['vehicle']['body']}, date of loss "
        f"{_day(file['claim']['date_of_loss'], write)}.",
        BODY,
    )
    if reason:
        flow.paragraph(f"Reason: {reason}", BODY_BOLD)
    for side, sheet in (("Old", changes.old), ("New", changes.new)):
        flow.paragraph(f"{side}: {_about(sheet, write)}; digest {sheet['digest']}", SMALL_INK)
    if changes.about_versions:
        flow.paragraph(changes.about_versions, SMALL_INK)


def _day(day: str, write: Writer) -> str:
    return write.date(date.fromisoformat(day))


def _about(sheet: Sheet, write: Writer) -> str:
    header, claim = sheet["matrix"]["matrix"], sheet["claim_file"]["claim"]
    which = f"revision {claim['revision']}, " if claim.get("revision") else ""
    dated = claim.get("dated")
    day = f"sheet of {_day(dated, write)}" if dated else "sheet without a date"
    return f"{which}{day}; matrix {matrix_words(header)}"


def _summary(flow: Flow, changes: Changes, write: Writer) -> None:
    """The box that says what it comes to."""
    old, new = changes.totals
    height = 50.0
    flow.need(height + 10)
    flow.y -= 6
    flow.put(BoxMark(flow.left, flow.y - height, flow.inner, height, TINT, None))
    differ = new.total - old.total
    sums = [
        ("Difference of the total", ("+" if differ > 0 else "") + write.sum(differ), _BIG),
        ("Old total", write.sum(old.total), _GROUP),
        ("New total", write.sum(new.total), _GROUP),
        ("State", "Complete" if new.complete else "INCOMPLETE", _GROUP),
    ]
    x, width = flow.left + 10, (flow.inner - 14) / len(sums)
    for label, text, style in sums:
        flow.text(x, flow.y - 17, label, SMALL)
        flow.text(x, flow.y - 36, text, narrowed(text, style, width - 8))
        x += width
    flow.y -= height


def _facts(flow: Flow, changes: Changes) -> None:
    """What is said otherwise of claim and vehicle: corrected, or learnt since."""
    if not changes.facts:
        return
    flow.section("Claim and vehicle", keep=50)
    columns = [
        Column("What changed", 128),
        Column("Old", (flow.inner - 128) / 2),
        Column("New", (flow.inner - 128) / 2),
    ]
    rows = [
        Row((Cell.of(label), Cell.of(old or "nothing"), Cell.of(new or "nothing", BODY_BOLD)))
        for label, old, new in changes.facts
    ]
    flow.table(columns, rows)


def _lines(flow: Flow, changes: Changes, names: dict[str, str], write: Writer) -> None:
    changed = [group for group in changes.panels if not group.same]
    flow.section("Lines that changed", keep=60)
    if not changed:
        flow.paragraph("None: every line is as it was.", BODY)
    else:
        rows = [row for group in changed for row in _group_rows(group, names, write)]
        flow.table(_columns(flow, write), rows)
    same = [group_name(group, names) for group in changes.panels if group.same]
    if same:
        flow.paragraph(f"As before: {', '.join(same)}.", SMALL_INK)


def _columns(flow: Flow, write: Writer) -> list[Column]:
    return [
        Column("Line", 128),
        Column("What changed", flow.inner - 128 - 3 * 66),
        Column(f"Old, {write.currency}", 66, "right"),
        Column(f"New, {write.currency}", 66, "right"),
        Column("Difference", 66, "right"),
    ]


def _group_rows(group: PanelChange, names: dict[str, str], write: Writer) -> Iterator[Row]:
    differ = group.new - group.old
    yield Row(
        (
            Cell.of(group_name(group, names), _GROUP),
            Cell.of(""),
            Cell.of(write.amount(group.old), _GROUP),
            Cell.of(write.amount(group.new), _GROUP),
            Cell.of(_signed(differ, write), _GROUP),
        ),
        with_next=True,
        tinted=True,
        ruled=False,
    )
    for change in group.changed:
        yield _line_row(change, write)
    for fact in group.facts:
        told = Cell.of(fact.words, SMALL_INK)
        yield Row((Cell.of(fact.label), told, Cell.of(""), Cell.of(""), Cell.of("")))


def _signed(amount: int, write: Writer) -> str:
    return ("+" if amount > 0 else "") + write.amount(amount) if amount else ""


def _line_row(change: LineChange, write: Writer) -> Row:
    old, new, differ = line_sums(change, write.amount)
    words = write.words(change_words(change, write.formula))
    return Row(
        (
            Cell.of(change.line.label),
            Cell.of(words[:1].upper() + words[1:], SMALL_INK),
            Cell.of(old),
            Cell.of(new),
            Cell.of(differ),
        )
    )


def _totals(flow: Flow, changes: Changes, write: Writer) -> None:
    flow.section("Totals", keep=80)
    rows = []
    for key, label in TOTALS:
        old, new = (getattr(totals, key) for totals in changes.totals)
        style = BODY_BOLD if key in ("total", "net") else BODY
        rows.append(
            Row(
                (
                    Cell.of(label, style),
                    Cell.of(""),
                    Cell.of(write.amount(old), style),
                    Cell.of(write.amount(new), style),
                    Cell.of(_signed(new - old, write), style),
                )
            )
        )
    columns = _columns(flow, write)
    flow.table([Column("Sum", columns[0].width), Column("", columns[1].width), *columns[2:]], rows)
