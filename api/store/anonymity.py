"""What of a claim may be looked at by others: no person, no VIN, no place, no free text."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from sqlalchemy.engine import Connection

from api.store import claims as stored
from api.store import contents as kept
from api.store.answers import agreements_of, parts_of
from hailcalc.claim.anonymous import anonymous_answers, anonymous_claim, anonymous_sheet
from hailcalc.fields import as_json
from hailcalc.money import money_text

_OF_REVISION = ("number", "currency", "complete", "dents", "at", "version")
_SUMS = ("subtotal", "tax", "total", "deductible", "net")


def anonymous_parts(
    connection: Connection, claim: str, number: str
) -> Iterator[tuple[str, dict[str, Any]]]:
    """File names and JSON values of a claim under another number."""
    head = stored.head_of(connection, claim)
    assert head is not None, "a claim that was listed exists"
    revisions = stored.revisions_of(connection, claim)
    yield (
        "claim.json",
        {
            "number": number,
            "state": head.state,
            "storm": head.storm,
            "insurer": head.insurer,
            "date_of_loss": head.date_of_loss,
            "created": head.created,
            "changed": head.changed,
            "revisions": [_revision(each) for each in revisions],
            "answers": [
                _part(each.number, part)
                for each in revisions
                for part in parts_of(connection, claim, each.number)
            ],
            "agreements": [
                {"revision": word.revision, "side": word.side, "at": word.at}
                for each in revisions
                for word in agreements_of(connection, claim, each.number)
            ],
        },
    )
    draft = stored.draft_of(connection, head)
    if draft is not None and draft.claim_file is not None:
        yield f"draft-{draft.number}.json", anonymous_claim(plain(draft.claim_file), number)
    for revision in revisions:
        data = kept.content(connection, claim, revision.sheet)
        if data is not None:
            yield f"revision-{revision.number}.json", anonymous_sheet(json.loads(data), number)


def plain(value: Any) -> Any:
    """JSON values with numbers as files have them."""
    from hailcalc.sheet.document import plain_numbers

    return plain_numbers(value)


def _revision(revision: stored.Revision) -> dict[str, Any]:
    sums = {name: money_text(getattr(revision, name), revision.decimals) for name in _SUMS}
    return {name: getattr(revision, name) for name in _OF_REVISION} | sums


def _part(revision: int, part: Any) -> dict[str, Any]:
    lines = anonymous_answers([as_json(line) for line in part.lines])
    return {"revision": revision, "part": part.part, "at": part.at, "lines": lines}
