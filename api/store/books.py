"""The store's claims as a book: a row a panel, with the course that each claim has taken.

An issued claim is priced as it was last issued, so that its rows, its state and its sums speak of
the same lines; a supplement that waits as a draft is not asked for yet. A claim that is not issued
is priced as its draft stands. Each is priced to make its rows, since dents measured singly, sample
squares and planned access become counts and a way of reaching them only under a matrix. Dates are
those of the store, in UTC.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from sqlalchemy.engine import Connection

from api.store import answers
from api.store import claims as stored
from api.store.claims import Head, Revision
from hailcalc.claim.answers import Standing
from hailcalc.claimfile import claim_from_data, require_claim
from hailcalc.estimate import Estimate, price
from hailcalc.matrix import Matrix, choose_matrix
from hailcalc.money import money_text
from hailcalc.portfolio.claims import Row, book_rows
from hailcalc.problems import InputError, Problem, shown


class StoredClaim(NamedTuple):
    """A stored claim as rows of a book, or why there are none; `remark` on what they differ in."""

    number: str
    rows: list[Row]
    problems: tuple[Problem, ...]
    remark: str = ""


def stored_book(
    connection: Connection, matrices: Sequence[Matrix], storm: str | None = None
) -> Iterator[StoredClaim]:
    """Each claim of the store, or of one storm, under the one of `matrices` it names or fits.

    Raises InputError if no claim is of that storm.
    """
    heads = [stored.head_of(connection, claim) for claim in stored.all_ids(connection)]
    there = [head for head in heads if head is not None]
    wanted = there if storm is None else [head for head in there if head.storm == storm]
    if storm is not None and not wanted:
        names = ", ".join(sorted({head.storm for head in there if head.storm}))
        expected = f"one of {names}" if names else "no --storm: no claim has one"
        raise InputError([Problem("--storm", (), f"no claim of {shown(storm)}", expected)])
    seen: set[str] = set()
    for head in wanted:
        number = head.number if head.number not in seen else f"{head.number} ({head.id})"
        seen.add(number)
        yield _stored_claim(connection, head, number, matrices)


def _stored_claim(
    connection: Connection, head: Head, number: str, matrices: Sequence[Matrix]
) -> StoredClaim:
    draft = stored.draft_numbered(connection, head.id, head.issued_draft or head.draft)
    if draft is None or draft.claim_file is None:
        reason = Problem(head.id, (), "a claim that was forgotten", "a claim file")
        return StoredClaim(head.id, [], (reason,))
    try:
        file = require_claim(claim_from_data(draft.claim_file, head.number))
        matrix = (
            matrices[0]
            if len(matrices) == 1
            else choose_matrix(file.claim, file.matrix, matrices, head.number)
        )
        priced = price(file, matrix)
        rows = book_rows(priced, course(connection, head))
    except InputError as error:
        return StoredClaim(number, [], error.problems)
    found = "" if len(matrices) == 1 else _other_sum(connection, head, priced)
    return StoredClaim(number, [row | {"claim": number} for row in rows], (), found)


def _other_sum(connection: Connection, head: Head, priced: Estimate) -> str:
    """What to say where an issued sheet has another sum than its claim comes to today."""
    issued = stored.revision_of(connection, head.id, head.revision)
    now, decimals = priced.totals.subtotal, priced.compiled.tables.decimals
    if issued is None or issued.subtotal == now:
        return ""
    return (
        f"{money_text(now, decimals)} before tax under {priced.compiled.matrix.name} as it is "
        f"today, and {money_text(issued.subtotal, issued.decimals)} on the sheet that was issued"
    )


def course(connection: Connection, head: Head) -> dict[str, str]:
    """When a claim was drafted, issued, answered and closed, and what was not paid of it.

    `closed` is the day on which both sides had agreed, or of the withdrawal; when the vehicle was
    repaired the store does not know.
    """
    facts = {"storm": head.storm or "", "state": head.state, "drafted": head.created[:10]}
    revisions = stored.revisions_of(connection, head.id)
    if not revisions:
        return facts | _withdrawn(connection, head)
    first, last = min(revisions), max(revisions)
    facts["issued"] = first.at[:10]
    parts = [
        part
        for revision in revisions
        for part in answers.parts_of(connection, head.id, revision.number)
    ]
    if parts:
        facts["answered"] = min(part.at for part in parts)[:10]
    agreements = answers.agreements_of(connection, head.id, last.number)
    agreed = head.state == "agreed"
    if agreed and agreements:
        facts["closed"] = max(each.at for each in agreements)[:10]
    standing = stored.standing_of(connection, head.id, last.number) if agreed else None
    return facts | _taken_off(first, last, standing) | _withdrawn(connection, head)


def _taken_off(first: Revision, last: Revision, standing: Standing | None) -> dict[str, str]:
    """What the later revisions asked beyond the first, and what of the whole is not paid.

    Sums before tax, as the lines of a book are: what is charged less the discount and less what
    was asked and not paid is what was agreed. Without a `standing` nothing is agreed yet.
    """
    facts = {}
    asked = max(0, last.subtotal - first.subtotal)
    if asked:
        facts["supplement_asked"] = money_text(asked, last.decimals)
    if standing is None:
        return facts
    short = last.subtotal - _agreed_before_tax(standing)
    unpaid = min(asked, max(0, short))
    if asked:
        facts["supplement_paid"] = money_text(asked - unpaid, last.decimals)
    if short > unpaid:
        facts["discount"] = money_text(short - unpaid, last.decimals)
    return facts


def _agreed_before_tax(standing: Standing) -> int:
    return sum(line.agreed for line in standing.lines if line.line["kind"] != "tax")


def _withdrawn(connection: Connection, head: Head) -> dict[str, str]:
    found = stored.withdrawal_of(connection, head.id)
    return {} if found is None else {"closed": found[0][:10]}
