"""Claims and their printed lines as CSV, a row each, for spreadsheets."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from sqlalchemy.engine import Connection

from api.store import claims as stored
from api.store.claims import Head
from hailcalc.claim.answers import LineStanding, Standing
from hailcalc.money import money_text
from hailcalc.spreadsheet import Cell, csv_text

Names = Mapping[str, str] | None
"""What claims are called where nobody may be named; None for their own numbers."""

_CLAIM = (
    "claim", "number", "state", "storm", "insurer", "date_of_loss", "created", "changed",
    "revision", "currency", "total", "net", "agreed", "open", "disputed",
)  # fmt: skip
_LINE = (
    "claim", "number", "revision", "line", "kind", "panel", "label", "currency", "amount",
    "agreed", "open", "disputed", "answer", "offered", "reason",
)  # fmt: skip


def claims_csv(connection: Connection, names: Names, wanted: Sequence[str]) -> str:
    """One row a claim."""
    return csv_text(_CLAIM, (_claim_row(head, names) for head in _heads(connection, wanted)))


def lines_csv(connection: Connection, names: Names, wanted: Sequence[str]) -> str:
    """One row a printed line of each claim's latest revision, with the adjuster's answer."""
    return csv_text(_LINE, _line_rows(connection, names, wanted))


def _heads(connection: Connection, wanted: Sequence[str]) -> Iterator[Head]:
    for claim in wanted:
        head = stored.head_of(connection, claim)
        if head is not None:
            yield head


def _called(head: Head, names: Names) -> tuple[str, str]:
    """A claim's name in the store and its number, or one name for both."""
    return (head.id, head.number) if names is None else (names[head.id], names[head.id])


def _claim_row(head: Head, names: Names) -> tuple[Cell, ...]:
    sums = (head.total, head.net, head.agreed, head.open, head.disputed)
    decimals = head.decimals or 0
    return (
        *_called(head, names),
        head.state,
        head.storm,
        head.insurer,
        head.date_of_loss,
        head.created,
        head.changed,
        head.revision or None,
        head.currency,
        *(None if each is None else money_text(each, decimals) for each in sums),
    )


def _line_rows(
    connection: Connection, names: Names, wanted: Sequence[str]
) -> Iterator[tuple[Cell, ...]]:
    for head in _heads(connection, wanted):
        stands = stored.standing_of(connection, head.id, head.revision)
        if stands is not None:
            for line in stands.lines:
                yield _line_row(head, stands, line, names)


def _line_row(head: Head, stands: Standing, line: LineStanding, names: Names) -> tuple[Cell, ...]:
    answer = None if line.answer is None else line.answer.answer
    printed, shown = line.line, names is None
    typed = printed["panel"] is None and printed["kind"] in ("part", "sublet", "refinish", "body")
    sums = (line.amount, line.agreed, line.open, line.disputed)
    amount, *rest = (None if each is None else money_text(each, stands.decimals) for each in sums)
    return (
        *_called(head, names),
        head.revision,
        line.number,
        printed["kind"],
        printed["panel"],
        printed["label"] if shown or not typed else printed["kind"],
        stands.currency,
        amount,
        *rest,
        None if answer is None else answer.answer,
        None if answer is None else answer.amount,
        answer.reason if answer is not None and shown else None,
    )
