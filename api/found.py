"""Finding what a path names, as far as the caller may see it."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path
from sqlalchemy.engine import Connection

from api.problems import Refusal, at
from api.store import claims as stored
from api.store.claims import Head, Revision
from api.store.ids import PATTERN
from api.store.tokens import Caller
from hailcalc.claim.life import Act, may, refused

ClaimId = Annotated[
    str,
    Path(pattern=PATTERN, description="The claim's name in the store.", examples=["c7k2m9pq4xya"]),
]
RevisionNumber = Annotated[int, Path(ge=1, le=999, description="A revision, counted from 1.")]


def claim_for(connection: Connection, caller: Caller, claim: str) -> Head:
    """A claim's head. Raises Refusal (404) if there is none, or none for this caller.

    To an adjuster's link other claims are not there, and its own is not before it is issued.
    """
    foreign = caller.claim is not None and caller.claim != claim
    head = None if foreign else stored.head_of(connection, claim)
    if head is None or (caller.claim is not None and head.revision == 0):
        entry = at("path", ("claim",), claim, "a claim that the token may see")
        raise Refusal("no-such-claim", f'There is no claim "{claim}".', [entry])
    return head


def revision_for(connection: Connection, head: Head, number: int) -> Revision:
    """One of a claim's revisions. Raises Refusal (404) if there is none."""
    revision = stored.revision_of(connection, head.id, number)
    if revision is None:
        expected = f"1 to {head.revision}" if head.revision else "none yet: issue the draft first"
        entry = at("path", ("number",), str(number), expected)
        raise Refusal("no-such-revision", f"There is no revision {number}.", [entry])
    return revision


def require_act(head: Head, act: Act, *, settled: bool = False) -> None:
    """Raise Refusal (409, 410) if a claim in its state may not have this done to it.

    `settled`: whether there is a settlement to agree to.
    """
    if head.forgotten is not None:
        raise forgotten()
    if not may(head.state, act, settled=settled):
        raise Refusal("not-in-this-state", refused(head.state, act))


def forgotten() -> Refusal:
    """What is said of something that was forgotten."""
    return Refusal("forgotten", "Persons and photographs of this claim were removed.")
