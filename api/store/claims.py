"""Claims: their heads, drafts, revisions and ends, and the lists that find them.

Whatever changes a claim adds its rows and a log entry, then works the head out anew from all
rows of the claim (`refresh`), so the head never says anything that they do not. `version` grows
with every change: it is what If-Match compares.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from api.store import contents
from api.store.answers import (
    Agreement,
    Part,
    add_answers,
    agreements_of,
    given_in,
    given_to,
    parts_of,
)
from api.store.ids import new_id
from api.store.log import note
from api.store.session import Writing
from api.store.tables import claims, drafts, revisions, withdrawals
from hailcalc.claim.answers import LineAnswer, Standing, settlement, standing
from hailcalc.claim.life import Side, State, state_after
from hailcalc.claimfile import ClaimFile
from hailcalc.estimate import Estimate, Totals
from hailcalc.fields import as_json

Paper = Literal["letter", "a4"]
Labels = Literal["us", "uk"]


class Head(NamedTuple):
    """A claim as lists show it. Sums in minor units, None before the first revision.

    `draft` and `revision` are the latest numbers, 0 where there is none; the latest revision was
    made from `issued_draft`.
    """

    id: str
    seq: int
    version: int
    created: str
    changed: str
    state: State
    draft: int
    revision: int
    issued_draft: int
    storm: str | None
    insurer: str | None
    number: str
    date_of_loss: str
    search: str
    forgotten: str | None
    currency: str | None
    decimals: int | None
    total: int | None
    net: int | None
    agreed: int | None
    open: int | None
    disputed: int | None


class Draft(NamedTuple):
    """A claim file as it was saved; `claim_file` None if it was forgotten."""

    number: int
    storm: str | None
    at: str
    claim_file: dict[str, Any] | None


class Revision(NamedTuple):
    """An issued sheet: its sums in minor units, the hashes of its contents, who issued it."""

    number: int
    draft: int
    reason: str | None
    sheet: str
    pdf: str
    changes: str | None
    changes_pdf: str | None
    digest: str
    signed_by: str | None
    paper: Paper
    labels: Labels
    version: str
    currency: str
    decimals: int
    subtotal: int
    tax: int
    total: int
    deductible: int
    net: int
    complete: bool
    dents: int
    at: str
    who: str


@dataclass(frozen=True, slots=True)
class Issue:
    """What a revision freezes: the sheet as text and as PDF, and what it was made from.

    `changes`: a supplement's difference to the revision before, as JSON and as PDF.
    """

    estimate: Estimate
    sheet: bytes
    pdf: bytes
    changes: tuple[bytes, bytes] | None
    digest: str
    signed_by: str | None
    paper: Paper
    labels: Labels
    reason: str


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a list is to show; None for whatever there is. `text`: words that all occur."""

    storm: str | None = None
    insurer: str | None = None
    state: State | None = None
    since: str | None = None
    until: str | None = None
    text: str | None = None


def head_of(connection: Connection, claim: str) -> Head | None:
    """A claim's head; None if there is no such claim."""
    row = connection.execute(sa.select(claims).where(claims.c.id == claim)).first()
    return None if row is None else _head(row)


def listed(connection: Connection, wanted: Wanted, before: int | None, limit: int) -> list[Head]:
    """Claims newest first, from before a `seq` on, at most `limit`."""
    query = sa.select(claims).order_by(claims.c.seq.desc()).limit(limit)
    if before is not None:
        query = query.where(claims.c.seq < before)
    for name in ("storm", "insurer", "state"):
        if (value := getattr(wanted, name)) is not None:
            query = query.where(claims.c[name] == value)
    if wanted.since is not None:
        query = query.where(claims.c.date_of_loss >= wanted.since)
    if wanted.until is not None:
        query = query.where(claims.c.date_of_loss <= wanted.until)
    for word in (wanted.text or "").casefold().split():
        query = query.where(claims.c.search.contains(word, autoescape=True))
    return [_head(row) for row in connection.execute(query)]


def all_ids(connection: Connection) -> list[str]:
    """Every claim, oldest first."""
    return list(connection.scalars(sa.select(claims.c.id).order_by(claims.c.seq)))


def open_claim(writing: Writing, claim_file: ClaimFile, storm: str | None) -> Head:
    """A new claim with its first draft."""
    connection, claim = writing.connection, new_id()
    last = connection.scalar(sa.select(sa.func.max(claims.c.seq))) or 0
    connection.execute(
        sa.insert(claims).values(
            id=claim,
            seq=last + 1,
            version=0,
            created=writing.at,
            changed=writing.at,
            state="draft",
            draft=0,
            revision=0,
            issued_draft=0,
            **found_by(as_json(claim_file), storm),
        )
    )
    _add_draft(writing, claim, 1, claim_file, storm, "claim opened")
    return refresh(writing, claim)


def save_draft(writing: Writing, head: Head, claim_file: ClaimFile, storm: str | None) -> Head:
    """The next draft of a claim; of a claim that is not issued yet, lists show it at once."""
    _add_draft(writing, head.id, head.draft + 1, claim_file, storm, "draft saved")
    if head.revision == 0:
        _set_found_by(writing, head.id, claim_file, storm)
    return refresh(writing, head.id)


def _add_draft(
    writing: Writing, claim: str, number: int, file: ClaimFile, storm: str | None, act: str
) -> None:
    key = contents.keep_json(writing, claim, as_json(file))
    row = {"claim": claim, "number": number, "claim_file": key, "storm": storm}
    writing.connection.execute(sa.insert(drafts).values(row | _made(writing)))
    note(writing, act, claim, {"draft": number, "claim_file": key, "storm": storm})


def draft_of(connection: Connection, head: Head) -> Draft | None:
    """The draft that waits to be issued; None if the latest one is issued already."""
    number = waiting_draft(head)
    return None if number is None else draft_numbered(connection, head.id, number)


def waiting_draft(head: Head) -> int | None:
    """The number of the draft that waits to be issued."""
    return head.draft if head.draft > head.issued_draft else None


def draft_numbered(connection: Connection, claim: str, number: int) -> Draft | None:
    """One of a claim's drafts."""
    query = sa.select(drafts).where(drafts.c.claim == claim, drafts.c.number == number)
    row = connection.execute(query).first()
    if row is None:
        return None
    file = contents.json_content(connection, claim, row.claim_file)
    return Draft(row.number, row.storm, row.at, file)


def issue(
    writing: Writing, head: Head, draft: Draft, made: Issue, kept_answers: Sequence[LineAnswer]
) -> Head:
    """Freeze a sheet as the next revision, with the answers that still hold."""
    estimate, totals = made.estimate, made.estimate.totals
    tables = estimate.compiled.tables
    number = head.revision + 1
    kept: dict[str, str | None] = {
        "reason": contents.keep_text(writing, head.id, made.reason),
        "sheet": contents.keep(writing, head.id, made.sheet, contents.JSON),
        "pdf": contents.keep(writing, head.id, made.pdf, contents.PDF),
    }
    if made.changes is not None:
        data, pdf = made.changes
        kept["changes"] = contents.keep(writing, head.id, data, contents.JSON)
        kept["changes_pdf"] = contents.keep(writing, head.id, pdf, contents.PDF)
    sums = {name: getattr(totals, name) for name in Totals._fields}
    told = kept | {"digest": made.digest, "signed_by": made.signed_by, "draft": draft.number}
    from hailcalc import __version__

    told |= sums | {
        "paper": made.paper,
        "labels": made.labels,
        "version": __version__,
        "currency": tables.currency,
        "decimals": tables.decimals,
        "dents": sum(panel.count.all for panel in estimate.panels),
    }
    note(writing, "revision issued", head.id, told | {"revision": number})
    row = told | {"claim": head.id, "number": number} | _made(writing)
    writing.connection.execute(sa.insert(revisions).values(row))
    if kept_answers:
        add_answers(writing, head.id, number, kept_answers, carried_from=head.revision)
    _set_found_by(writing, head.id, estimate.claim, draft.storm)
    return refresh(writing, head.id)


def withdraw(writing: Writing, head: Head, reason: str) -> Head:
    """End a claim without an agreement."""
    key = contents.keep_text(writing, head.id, reason)
    row = {"claim": head.id, "reason": key} | _made(writing)
    writing.connection.execute(sa.insert(withdrawals).values(row))
    note(writing, "withdrawn", head.id, {"reason": key})
    return refresh(writing, head.id)


def withdrawal_of(connection: Connection, claim: str) -> tuple[str, str] | None:
    """When a claim was withdrawn, and why; None if it was not."""
    query = sa.select(withdrawals).where(withdrawals.c.claim == claim)
    row = connection.execute(query).first()
    if row is None:
        return None
    return row.at, contents.text_content(connection, claim, row.reason)


def revision_of(connection: Connection, claim: str, number: int) -> Revision | None:
    """One of a claim's revisions."""
    found = revisions_of(connection, claim, number)
    return found[0] if found else None


def revisions_of(connection: Connection, claim: str, number: int | None = None) -> list[Revision]:
    """A claim's revisions, or the one with this number."""
    query = sa.select(revisions).where(revisions.c.claim == claim).order_by(revisions.c.number)
    if number is not None:
        query = query.where(revisions.c.number == number)
    return [
        Revision(**{name: row._mapping[name] for name in Revision._fields})
        for row in connection.execute(query)
    ]


def sheet_of(connection: Connection, claim: str, revision: Revision) -> dict[str, Any]:
    """A revision's sheet, or what stands in its place if persons were forgotten."""
    document = contents.json_content(connection, claim, revision.sheet)
    assert isinstance(document, dict), "a forgotten sheet has an anonymous one instead"
    return document


def standing_of(connection: Connection, claim: str, number: int) -> Standing | None:
    """How a revision stands with the adjuster; None before there is one."""
    revision = revision_of(connection, claim, number)
    if revision is None:
        return None
    return standing(sheet_of(connection, claim, revision), given_to(connection, claim, number))


def settlement_of(connection: Connection, claim: str, number: int) -> dict[str, Any] | None:
    """What both sides can agree to; None while a line is open."""
    revision = revision_of(connection, claim, number)
    if revision is None:
        return None
    sheet = sheet_of(connection, claim, revision)
    return _settled(sheet, revision, parts_of(connection, claim, number))


def _settled(
    sheet: dict[str, Any], revision: Revision, parts: Sequence[Part]
) -> dict[str, Any] | None:
    """What there was to agree to after these parts of the answer."""
    found = standing(sheet, given_in(parts))
    return settlement(sheet | {"digest": revision.digest}, revision.number, found)


def words_of(connection: Connection, claim: str, number: int) -> dict[Side, Agreement]:
    """The word of each side that has agreed to the settlement as it is now.

    A word lapses for good with the first answer after it that changes the settlement: should the
    old one come back, whoever agreed to it then may have thought better of it since.
    """
    given = agreements_of(connection, claim, number)
    revision = revision_of(connection, claim, number)
    if not given or revision is None:
        return {}
    sheet = sheet_of(connection, claim, revision)
    parts = parts_of(connection, claim, number)
    lapsed_at, last = "", None
    for at in range(len(parts) + 1):
        settled = _settled(sheet, revision, parts[:at])
        present = None if settled is None else settled["settlement"]
        if at and present != last:
            lapsed_at = parts[at - 1].at
        last = present
    return {word.side: word for word in given if word.settlement == last and word.at >= lapsed_at}


def _heard(connection: Connection, claim: str, number: int) -> bool:
    """Whether the adjuster has said anything about a revision; what was carried into it is not."""
    parts = parts_of(connection, claim, number)
    if any(part.carried_from is None for part in parts):
        return True
    return any(word.side == "adjuster" for word in agreements_of(connection, claim, number))


def refresh(writing: Writing, claim: str) -> Head:
    """Work a claim's head out anew, as the next version."""
    connection = writing.connection
    found = worked_out(connection, claim)
    change = sa.update(claims).where(claims.c.id == claim)
    connection.execute(
        change.values(found | {"version": claims.c.version + 1, "changed": writing.at})
    )
    head = head_of(connection, claim)
    assert head is not None, "a claim that is written to exists"
    return head


def worked_out(connection: Connection, claim: str) -> dict[str, Any]:
    """State, numbers and sums of a claim from the rows of all other tables."""
    draft = connection.scalar(
        sa.select(sa.func.max(drafts.c.number)).where(drafts.c.claim == claim)
    )
    number = connection.scalar(
        sa.select(sa.func.max(revisions.c.number)).where(revisions.c.claim == claim)
    )
    withdrawn = connection.execute(
        sa.select(withdrawals.c.at).where(withdrawals.c.claim == claim)
    ).first()
    revision = revision_of(connection, claim, number or 0)
    stands = standing_of(connection, claim, number or 0)
    settled = settlement_of(connection, claim, number or 0)
    words = words_of(connection, claim, number or 0)
    state = state_after(
        withdrawn=withdrawn is not None,
        revision=number or 0,
        open_lines=None if stands is None else stands.lines_open,
        settlement=None if settled is None else settled["settlement"],
        agreements={side: word.settlement for side, word in words.items()},
        heard=_heard(connection, claim, number or 0),
    )
    sums: dict[str, Any] = dict.fromkeys(
        ("currency", "decimals", "total", "net", "agreed", "open", "disputed")
    )
    if revision is not None and stands is not None:
        sums = {name: getattr(revision, name) for name in ("currency", "decimals", "total", "net")}
        sums |= {name: getattr(stands, name) for name in ("agreed", "open", "disputed")}
    latest = {"draft": draft or 0, "revision": number or 0, "state": state}
    return latest | sums | {"issued_draft": 0 if revision is None else revision.draft}


def found_by(file: dict[str, Any], storm: str | None) -> dict[str, Any]:
    """What a claim is found by, of its claim file as JSON values."""
    claim, vehicle = file["claim"], file["vehicle"]
    words = [claim.get(name) for name in ("number", "insurer", "customer")]
    words += [storm, vehicle.get("vin"), vehicle.get("description")]
    return {
        "number": claim["number"],
        "insurer": claim.get("insurer"),
        "storm": storm,
        "date_of_loss": claim["date_of_loss"],
        "search": "\n".join(filter(None, words)).casefold(),
    }


def _set_found_by(writing: Writing, claim: str, file: ClaimFile, storm: str | None) -> None:
    change = sa.update(claims).where(claims.c.id == claim).values(found_by(as_json(file), storm))
    writing.connection.execute(change)


def _made(writing: Writing) -> dict[str, str]:
    return {"at": writing.at, "who": writing.who}


def _head(row: sa.Row[Any]) -> Head:
    return Head(**{name: row._mapping[name] for name in Head._fields})
