"""From a draft to the revision that it is issued as: priced, written down, signed, drawn.

All of it takes some tenths of a second and writes nothing, so it is done before the transaction.
The sheet says which revision it is, why there is another, and which photographs belong to it.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, Literal

from sqlalchemy.engine import Connection

from api.intake import fitted
from api.library import Library
from api.problems import DRAFT, Refusal, claim_refusal
from api.store import claims as stored
from api.store import photographs
from api.store.answers import given_to
from api.store.claims import Draft, Head, Issue, Labels, Paper
from api.store.photographs import Entry
from api.store.session import Store, Writing
from hailcalc.claim.answers import LineAnswer, carried
from hailcalc.claimfile import claim_from_data
from hailcalc.estimate import CompiledMatrix, Estimate, price
from hailcalc.fields import as_json
from hailcalc.problems import InputError, Problem
from hailcalc.reading import load_json
from hailcalc.sheet.document import sheet_json, sheet_text


def _listed(entry: Entry) -> dict[str, Any]:
    """A photograph as a claim file lists it."""
    shown: dict[str, Any] = {"panel": entry.panel} if entry.panel else {}
    for name in ("sha256", "preview", "width", "height", "taken", "note"):
        if getattr(entry, name):
            shown[name] = getattr(entry, name)
    return shown


@dataclass(frozen=True, slots=True)
class Waiting:
    """What is to be issued: the draft with its photographs, and the sheet before, if any.

    `version`: of hailcalc, by which the sheet before was issued.
    """

    head: Head
    draft: Draft
    pictures: list[Entry]
    before: dict[str, Any] | None
    version: str | None


def waiting(connection: Connection, head: Head) -> Waiting:
    """A claim's draft with what belongs to it. Raises Refusal (404) if none waits."""
    draft = stored.draft_of(connection, head)
    if draft is None or draft.claim_file is None:
        raise Refusal("no-such-draft", "There is no draft to issue; its file was issued already.")
    last = stored.revision_of(connection, head.id, head.revision)
    return Waiting(
        head,
        draft,
        photographs.shown_of(connection, head.id),
        None if last is None else stored.sheet_of(connection, head.id, last),
        None if last is None else last.version,
    )


def estimated(library: Library, waits: Waiting, reason: str) -> Estimate:
    """The draft that waits, priced as the next revision; as one of today if it has no date.

    Raises Refusal with every mistake that stands against issuing it.
    """
    data: dict[str, Any] = dict(waits.draft.claim_file or {})
    today = date.today().isoformat()
    data["claim"] = {"dated": today} | dict(data["claim"]) | {"revision": waits.head.revision + 1}
    data["claim"].pop("supplement", None)
    if reason:
        data["claim"]["supplement"] = reason
    data.pop("photographs", None)
    if waits.pictures:
        data["photographs"] = [_listed(entry) for entry in waits.pictures]
    intake = fitted(claim_from_data(data, DRAFT), library, None, DRAFT)
    _require_currency(waits.before, intake.compiled)
    try:
        return price(intake.claim, intake.compiled)
    except InputError as error:
        raise _at_home(error, intake.compiled.matrix.name) from None


def _require_currency(before: dict[str, Any] | None, compiled: CompiledMatrix) -> None:
    """Raise Refusal for a supplement in another currency than the sheet before it."""
    from hailcalc.claim.changes import currency_problems

    if before is not None:
        found = list(currency_problems(before, as_json(compiled.matrix.matrix)))
        if found:
            raise claim_refusal([replace(each, file=DRAFT) for each in found])


def made(
    waits: Waiting,
    library: Library,
    store: Store,
    key: dict[str, Any] | None,
    *,
    paper: Paper,
    labels: Labels,
    reason: str,
) -> Issue:
    """Everything that the next revision freezes; signed if the shop has a `key`.

    Raises Refusal with every mistake that stands against issuing it.
    """
    from hailcalc.sheet.pdf import sheet_pdf

    estimate = estimated(library, waits, reason)
    document, signed_by = _signed(sheet_json(estimate), key)
    try:
        pdf = sheet_pdf(
            estimate,
            paper=paper,
            labels=labels,
            previews=_previews(store, waits.pictures),
            signature=document.get("signature"),
        )
        changes = _changes(waits, document, paper, labels, reason)
    except InputError as error:
        raise _at_home(error, estimate.compiled.matrix.name) from None
    return Issue(
        estimate=estimate,
        sheet=sheet_text(document).encode(),
        pdf=pdf,
        changes=changes,
        digest=document["digest"],
        signed_by=signed_by,
        paper=paper,
        labels=labels,
        reason=reason,
    )


def freeze(writing: Writing, waits: Waiting, issued: Issue) -> Head:
    """Issue what was made, with the answers to lines that did not change carried over."""
    claim, number = waits.head.id, waits.head.revision
    kept: tuple[LineAnswer, ...] = ()
    if waits.before is not None:
        given = given_to(writing.connection, claim, number)
        sheet = load_json(issued.sheet.decode(), "the sheet")
        kept = carried(waits.before, given, sheet)
    return stored.issue(writing, waits.head, waits.draft, issued, kept)


def _signed(
    document: dict[str, Any], key: dict[str, Any] | None
) -> tuple[dict[str, Any], str | None]:
    """The sheet with the shop's signature and the key's fingerprint, if the shop has a key."""
    if key is None:
        return document, None
    from hailcalc.signing import fingerprint, signed

    return signed(document, key), fingerprint(key)


def _previews(store: Store, pictures: list[Entry]) -> dict[str, bytes]:
    """The pictures that the contact sheet prints."""
    found = {entry.preview: photographs.read_file(store, entry.preview) for entry in pictures}
    return {sha256: data for sha256, data in found.items() if data is not None}


def _changes(
    waits: Waiting, document: dict[str, Any], paper: Paper, labels: Labels, reason: str
) -> tuple[bytes, bytes] | None:
    """What a supplement changes, as JSON and PDF; None for the first sheet."""
    from hailcalc import __version__

    if waits.before is None or waits.version is None:
        return None
    pair, versions = (waits.before, document), (waits.version, __version__)
    return (
        changes_in("json", pair, reason, versions=versions),
        changes_in("pdf", pair, reason, paper=paper, labels=labels, versions=versions),
    )


def changes_in(
    form: Literal["json", "pdf"],
    pair: tuple[dict[str, Any], dict[str, Any]],
    reason: str,
    *,
    paper: Paper = "letter",
    labels: Labels = "us",
    versions: tuple[str, str] | None = None,
) -> bytes:
    """What changed from one issued sheet of a claim to the other; `versions`: those of the two.

    Raises Refusal for sheets in two currencies.
    """
    from hailcalc.claim.changes import changes_between
    from hailcalc.claim.pdf import changes_pdf
    from hailcalc.claim.report import changes_json

    try:
        found = changes_between(*pair, one_claim=True, versions=versions)
    except InputError as error:
        raise claim_refusal([replace(each, file=DRAFT) for each in error.problems]) from None
    if form == "pdf":
        return changes_pdf(found, reason=reason, paper=paper, labels=labels)
    told = changes_json(found, reason)
    return (json.dumps(told, ensure_ascii=False, indent=2) + "\n").encode()


def _at_home(error: InputError, matrix: str) -> Refusal:
    """The mistakes of a sheet, each as one of the draft or of the matrix file."""

    def home(problem: Problem) -> Problem:
        return replace(problem, file=f"{matrix}.toml" if "matrix" in problem.file else DRAFT)

    return claim_refusal([home(problem) for problem in error.problems])
