"""The store's claims as a book: a row a panel, with the course that each claim has taken.

Every claim is priced as it stands now (its latest draft) to make its rows, since dents measured
singly, sample squares and planned access become counts and a way of reaching them only under a
matrix. Dates are those of the store, in UTC.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from sqlalchemy.engine import Connection

from api.store import answers
from api.store import claims as stored
from api.store.claims import Head, Revision
from hailcalc.claimfile import claim_from_data, require_claim
from hailcalc.estimate import price
from hailcalc.matrix import Matrix, choose_matrix
from hailcalc.money import money_text
from hailcalc.portfolio.claims import Row, book_rows
from hailcalc.problems import InputError, Problem


class StoredClaim(NamedTuple):
    """A stored claim as rows of a book, or why there are none."""

    number: str
    rows: list[Row]
    problems: tuple[Problem, ...]


def stored_book(connection: Connection, matrices: Sequence[Matrix]) -> Iterator[StoredClaim]:
    """Each claim of the store under the one of `matrices` that it names or that fits it."""
    seen: set[str] = set()
    for claim in stored.all_ids(connection):
        head = stored.head_of(connection, claim)
        draft = None if head is None else stored.draft_numbered(connection, head.id, head.draft)
        if head is None or draft is None or draft.claim_file is None:
            reason = Problem(claim, (), "a claim that was forgotten", "a claim file")
            yield StoredClaim(claim, [], (reason,))
            continue
        number = head.number if head.number not in seen else f"{head.number} ({head.id})"
        seen.add(number)
        try:
            file = require_claim(claim_from_data(draft.claim_file, head.number))
            name = None if len(matrices) == 1 else file.matrix
            matrix = (
                matrices[0]
                if len(matrices) == 1
                else choose_matrix(file.claim, name, matrices, head.number)
            )
            rows = book_rows(price(file, matrix), course(connection, head))
        except InputError as error:
            yield StoredClaim(number, [], error.problems)
            continue
        yield StoredClaim(number, [row | {"claim": number} for row in rows], ())


def course(connection: Connection, head: Head) -> dict[str, str]:
    """When a claim was drafted, issued, answered and closed, and what its supplements asked for."""
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
    if head.state == "agreed" and agreements:
        facts["closed"] = max(each.at for each in agreements)[:10]
    return facts | _supplements(head, first, last) | _withdrawn(connection, head)


def _supplements(head: Head, first: Revision, last: Revision) -> dict[str, str]:
    """What the later revisions asked beyond the first, and, once agreed, what of it is paid."""
    asked = last.total - first.total
    if last.number == first.number or asked <= 0:
        return {}
    facts = {"supplement_asked": money_text(asked, last.decimals)}
    if head.state == "agreed" and head.agreed is not None:
        paid = min(asked, max(0, head.agreed - first.total))
        facts["supplement_paid"] = money_text(paid, last.decimals)
    return facts


def _withdrawn(connection: Connection, head: Head) -> dict[str, str]:
    found = stored.withdrawal_of(connection, head.id)
    return {} if found is None else {"closed": found[0][:10]}
