"""Claims as the API shows them: the shapes, and how rows become them.

Money as decimal strings with a point, times as UTC, sizes of photographs in pixels and bytes. An
adjuster sees a claim without what is the shop's own: drafts, links and the name of the storm.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy.engine import Connection

from api.auth import HERE
from api.store import claims as stored
from api.store import contents
from api.store.answers import Agreement
from api.store.claims import Head, Revision
from api.store.photographs import Entry
from api.store.tokens import Caller, Grant
from hailcalc.claim.life import State
from hailcalc.money import money_text

Money = Annotated[str, Field(pattern=r"^-?[0-9]+(\.[0-9]+)?$", examples=["1240.50"])]
Hash = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]


class View(BaseModel):
    """A shape of an answer."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class SumsView(View):
    """What the latest revision comes to; agreed, open and disputed add up to its total."""

    currency: str
    total: Money
    net: Money = Field(description="The total less the deductible.")
    agreed: Money
    open: Money
    disputed: Money


class ClaimItem(View):
    """A claim in a list."""

    id: str
    number: str
    state: State
    storm: str | None
    insurer: str | None
    date_of_loss: date
    created: str
    changed: str
    version: int = Field(description="Grows with every change; the claim's ETag.")
    revision: int | None = Field(description="The latest one issued.")
    draft: int | None = Field(description="The draft that waits to be issued.")
    forgotten: str | None = Field(description="When persons and photographs were removed.")
    sums: SumsView | None


class ClaimPage(View):
    """Claims, newest first; `next` is the cursor of those after them."""

    claims: list[ClaimItem]
    next: str | None


class RevisionView(View):
    """An issued sheet; from the second on a supplement, with its reason."""

    number: int
    issued: str
    reason: str
    digest: Hash
    signed_by: str | None = Field(description="Fingerprint of the shop's key.")
    paper: Literal["letter", "a4"]
    labels: Literal["us", "uk"]
    currency: str
    total: Money
    net: Money
    complete: bool = Field(description="False while a panel has no price.")
    dents: int


class RevisionList(View):
    """A claim's revisions, oldest first."""

    revisions: list[RevisionView]


class WordView(View):
    """One side's word to the settlement."""

    at: str
    by: str = Field(description="The name that the token or link was given.")


class SettlementView(View):
    """What there is to agree to, once no line is open; null for a side that has not agreed."""

    digest: Hash
    agreed: Money
    disputed: Money
    net: Money = Field(description="The agreed sum less the deductible.")
    shop: WordView | None
    adjuster: WordView | None


class WithdrawnView(View):
    """How a claim ended without an agreement."""

    at: str
    reason: str


class ClaimView(ClaimItem):
    """A claim with its revisions and what there is to agree to."""

    revisions: list[RevisionView]
    settlement: SettlementView | None
    withdrawn: WithdrawnView | None


class DraftView(View):
    """A claim file as it was saved, and what it comes to under the matrices as they are now."""

    number: int
    saved: str
    storm: str | None
    claim_file: dict[str, Any]
    currency: str | None = Field(description="Of the matrix that prices it; null with problems.")
    totals: dict[str, Any] | None = Field(description="As on a sheet; null with problems.")
    problems: list[dict[str, str]] = Field(description="What stands against issuing it.")


class LinkView(View):
    """An adjuster's link; what opens it was shown once."""

    id: str
    name: str
    created: str
    until: str
    revoked: str | None


class LinkList(View):
    """A claim's links, newest first."""

    links: list[LinkView]


class NewLink(LinkView):
    """A link just made: its token and address are not to be had again."""

    token: str
    address: str = Field(description="To be handed to the adjuster.")


class PhotographView(View):
    """A photograph of a claim."""

    number: int
    panel: str | None
    media_type: str
    width: int
    height: int
    size: int
    sha256: Hash
    taken: str | None
    place_kept: bool
    note: str
    added: str
    left_out: str | None = Field(description="Since when no sheet prints it, if so.")


class PhotographList(View):
    """A claim's photographs in the order they came; to an adjuster those not left out."""

    photographs: list[PhotographView]


class EventView(View):
    """An entry of the log about a claim."""

    seq: int
    at: str
    who: str
    act: str
    details: dict[str, Any]
    hash: Hash


class History(View):
    """What was done to a claim, oldest first."""

    events: list[EventView]


def item(head: Head, caller: Caller) -> ClaimItem:
    """A claim as a list shows it to a caller."""
    return ClaimItem(**_item(head, caller))


def _item(head: Head, caller: Caller) -> dict[str, Any]:
    shop = caller.role != "adjuster"
    return {
        "id": head.id,
        "number": head.number,
        "state": head.state,
        "storm": head.storm if shop else None,
        "insurer": head.insurer,
        "date_of_loss": head.date_of_loss,
        "created": head.created,
        "changed": head.changed,
        "version": head.version,
        "revision": head.revision or None,
        "draft": stored.waiting_draft(head) if shop else None,
        "forgotten": head.forgotten,
        "sums": _sums(head),
    }


def _sums(head: Head) -> SumsView | None:
    if head.currency is None or head.decimals is None:
        return None
    names = ("total", "net", "agreed", "open", "disputed")
    amounts = {name: money_text(getattr(head, name), head.decimals) for name in names}
    return SumsView(currency=head.currency, **amounts)


def claim_view(connection: Connection, head: Head, caller: Caller) -> ClaimView:
    """A claim as a caller sees it."""
    reason = stored.withdrawal_of(connection, head.id)
    return ClaimView(
        **_item(head, caller),
        revisions=revision_views(connection, head),
        settlement=settlement_view(connection, head),
        withdrawn=None if reason is None else WithdrawnView(at=reason[0], reason=reason[1]),
    )


def revision_views(connection: Connection, head: Head) -> list[RevisionView]:
    """A claim's revisions."""
    return [
        _revision_view(connection, head, revision)
        for revision in stored.revisions_of(connection, head.id)
    ]


def _revision_view(connection: Connection, head: Head, revision: Revision) -> RevisionView:
    return RevisionView(
        number=revision.number,
        issued=revision.at,
        reason=contents.text_content(connection, head.id, revision.reason),
        digest=revision.digest,
        signed_by=revision.signed_by,
        paper=revision.paper,
        labels=revision.labels,
        currency=revision.currency,
        total=money_text(revision.total, revision.decimals),
        net=money_text(revision.net, revision.decimals),
        complete=revision.complete,
        dents=revision.dents,
    )


def settlement_view(connection: Connection, head: Head) -> SettlementView | None:
    """What there is to agree to about the latest revision."""
    settled = stored.settlement_of(connection, head.id, head.revision)
    if settled is None:
        return None
    words = stored.words_of(connection, head.id, head.revision)
    return SettlementView(
        digest=settled["settlement"],
        agreed=settled["agreed"],
        disputed=settled["disputed"],
        net=settled["net"],
        shop=_word(words.get("shop")),
        adjuster=_word(words.get("adjuster")),
    )


def _word(agreement: Agreement | None) -> WordView | None:
    """A side's word; the token made at start has no name, and is the shop's own machine's."""
    if agreement is None:
        return None
    by = agreement.name or ("the shop's machine" if agreement.who == HERE else "")
    return WordView(at=agreement.at, by=by)


def link_view(grant: Grant) -> LinkView:
    """A link as lists show it."""
    return LinkView(
        id=grant.id,
        name=grant.name,
        created=grant.created,
        until=grant.until,
        revoked=grant.revoked,
    )


def photograph_view(entry: Entry) -> PhotographView:
    """A photograph as lists show it."""
    shown = entry._asdict()
    for hidden in ("preview", "at", "who"):
        del shown[hidden]
    return PhotographView(**shown, added=entry.at)


def view_text(view: View) -> str:
    """A view as the text of an answer."""
    return view.model_dump_json(indent=2) + "\n"
