"""The adjuster's answer, how the claim stands with it, and the word of both sides."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request
from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import Response

from api.auth import Answerer, EitherSide, Reader
from api.examples import AGREEMENT, ANSWER_FILE, ANSWERS, CLAIM
from api.found import ClaimId, claim_for, require_act, revision_for
from api.intake import json_body, json_object, model_in
from api.problems import BODY, Refusal, at, count_text, mistake
from api.replying import Act, Done, json_reply, once, response_of
from api.routes.claims import shown_claim
from api.routing import body_of, described
from api.state import setup_of
from api.store import claims as stored
from api.store.answers import add_agreement, add_answers, given_to, parts_of
from api.store.claims import Head
from api.store.session import Writing
from api.store.tokens import Caller
from api.versions import etag, require_version
from api.views import ClaimView, Hash, Money, SettlementView, View, settlement_view, view_text
from hailcalc.claim.answers import (
    AnswerFile,
    AnswerKind,
    LineAnswer,
    Sheet,
    answer_problems,
    answers_json,
    read_answers,
    standing,
    with_others,
)
from hailcalc.claim.life import Side, State
from hailcalc.claimfile import Sha256
from hailcalc.fields import FileModel, as_json
from hailcalc.problems import InputError, Problem
from hailcalc.reading import sound_parts

router = APIRouter(prefix="/v1/claims/{claim}", tags=["answers"])

_UNREAD = LineAnswer.model_construct(line=1_000_001, answer="accept")
"""Stands for an answer that cannot be read: no answer that can be is to this line."""


class GivenView(View):
    """The answer that counts for a line; `carried_from` an older revision."""

    answer: AnswerKind
    amount: str | None
    reason: str
    part: int
    at: str
    by: str
    carried_from: int | None


class LineView(View):
    """A printed line and how it stands; `follows`: a tax line that goes by those it is on."""

    number: int
    line: dict[str, Any]
    agreed: Money
    open: Money
    disputed: Money
    answer: GivenView | None
    follows: bool


class PartView(View):
    """One part of the answer, as it came in."""

    part: int
    at: str
    by: str
    carried_from: int | None
    lines: list[dict[str, Any]]


class AnswersView(View):
    """How a revision stands: agreed + open + disputed = total, and every line with its answer."""

    revision: int
    digest: Hash
    state: State
    currency: str
    agreed: Money
    open: Money
    disputed: Money
    total: Money
    deductible: Money
    net_agreed: Money
    complete: bool
    lines_answered: int
    lines_open: int
    lines: list[LineView]
    parts: list[PartView]
    settlement: SettlementView | None


class AnswersQuery(BaseModel):
    """Which revision; without, the latest."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    revision: int | None = Field(None, ge=1, le=999)


class Agreement(FileModel):
    """A side's word: the digest of the settlement that it agrees to."""

    settlement: Sha256


@router.get(
    "/answers",
    summary="How a revision stands",
    **described(AnswersView, ANSWERS, 401, 403, 404, 422, 503),
)
def show_answers(
    request: Request, caller: Reader, claim: ClaimId, query: Annotated[AnswersQuery, Query()]
) -> Response:
    """Every line with its answer, the sums, and each part of the answer as it came in."""
    with setup_of(request.app).store.reading() as connection:
        head = claim_for(connection, caller, claim)
        number = query.revision or max(head.revision, 1)
        view = _answers_view(connection, head, number)
    return response_of(json_reply(view_text(view), 200, {"ETag": etag(head)}))


def _answers_view(connection: Any, head: Head, number: int) -> AnswersView:
    revision = revision_for(connection, head, number)
    sheet = stored.sheet_of(connection, head.id, revision)
    told = answers_json(standing(sheet, given_to(connection, head.id, number)))
    parts = [
        {
            "part": part.part,
            "at": part.at,
            "by": part.name,
            "carried_from": part.carried_from,
            "lines": [as_json(line) for line in part.lines],
        }
        for part in parts_of(connection, head.id, number)
    ]
    latest = number == head.revision
    return AnswersView.model_validate(
        {
            "revision": number,
            "digest": revision.digest,
            "state": head.state,
            **told,
            "parts": parts,
            "settlement": settlement_view(connection, head) if latest else None,
        }
    )


@router.post(
    "/answers",
    summary="Answer lines",
    **described(
        AnswersView, ANSWERS, 400, 401, 403, 404, 409, 410, 412, 413, 415, 422, 428, 503, 507,
        status=201, body=body_of(AnswerFile, ANSWER_FILE, "Answers to some or all lines."),
    ),
)  # fmt: skip
def answer_lines(
    request: Request,
    caller: Answerer,
    claim: ClaimId,
    body: Annotated[bytes, Depends(json_body)],
) -> Response:
    """The adjuster answers lines of the latest revision, all at once or in parts.

    Accept a line, offer another amount with a reason, or decline it with a reason; `others`
    accepts whatever else is open. The latest
    answer to a line counts; earlier ones are kept. Tax follows the lines that it is on.
    """

    def prepare() -> Act:
        answers = _read(request, caller, claim, body)

        def act(writing: Writing) -> Done:
            connection = writing.connection
            head = claim_for(connection, caller, claim)
            require_version(request, head)
            require_act(head, "answer")
            if answers.revision != head.revision:
                expected = f"{head.revision}, the latest"
                entry = at("body", ("revision",), str(answers.revision), expected)
                raise Refusal("older-revision", "A supplement has replaced it.", [entry])
            revision = revision_for(connection, head, head.revision)
            sheet = stored.sheet_of(connection, claim, revision)
            _refuse(answer_problems(answers, sheet, BODY))
            stands = standing(sheet, given_to(connection, claim, head.revision))
            given = with_others(answers, stands)
            if not given:
                entry = at("body", ("others",), "no open line left", "answers to some lines")
                raise Refusal("invalid-answer", "There is nothing left to accept.", [entry])
            add_answers(writing, claim, head.revision, given)
            head = stored.refresh(writing, claim)
            view = _answers_view(connection, head, head.revision)
            return Done(json_reply(view_text(view), 201, {"ETag": etag(head)}), claim)

        return act

    return once(request, caller, body, prepare)


def _read(request: Request, caller: Caller, claim: str, body: bytes) -> AnswerFile:
    """The answers. Raises Refusal with every mistake, also those that only the sheet shows."""
    data = json_object(body)
    try:
        return read_answers(data, BODY)
    except InputError as error:
        problems = list(error.problems)
    with setup_of(request.app).store.reading() as connection:
        head = claim_for(connection, caller, claim)
        require_act(head, "answer")
        parts = sound_parts(AnswerFile, data, problems)
        if parts.get("revision") == head.revision:
            revision = revision_for(connection, head, head.revision)
            sheet = stored.sheet_of(connection, claim, revision)
            problems += _sound_problems(head.revision, parts.get("answers", []), sheet)
    raise _mistaken(problems)


def _sound_problems(
    revision: int, sound: list[tuple[int, LineAnswer]], sheet: Sheet
) -> Iterator[Problem]:
    """What the sheet shows to be wrong with those answers, by position, that can be read."""
    read = dict(sound)
    # In place of one that cannot be read another stands, so that positions are those of the body.
    answers = tuple(read.get(each, _UNREAD) for each in range(max(read, default=-1) + 1))
    readable = AnswerFile.model_construct(revision=revision, answers=answers)
    for problem in answer_problems(readable, sheet, BODY):
        if problem.where[1] in read:
            yield problem


def _refuse(problems: Any) -> None:
    """Raise Refusal if there are problems."""
    found: list[Problem] = list(problems)
    if found:
        raise _mistaken(found)


def _mistaken(problems: list[Problem]) -> Refusal:
    detail = f"The answer has {count_text(len(problems), 'mistake')}."
    return Refusal("invalid-answer", detail, map(mistake, problems))


@router.post(
    "/agreement",
    summary="Agree to the settlement",
    **described(
        ClaimView, CLAIM, 400, 401, 403, 404, 409, 410, 412, 413, 415, 422, 428, 503, 507,
        body=body_of(Agreement, AGREEMENT),
    ),
)  # fmt: skip
def agree(
    request: Request,
    caller: EitherSide,
    claim: ClaimId,
    body: Annotated[bytes, Depends(json_body)],
) -> Response:
    """A side agrees to what the answers come to, named by its digest.

    The claim is agreed once both sides have. An answer that changes the sums makes it lapse.
    """

    def prepare() -> Act:
        word = model_in(Agreement, body)
        side: Side = "adjuster" if caller.role == "adjuster" else "shop"

        def act(writing: Writing) -> Done:
            connection = writing.connection
            head = claim_for(connection, caller, claim)
            require_version(request, head)
            settled = stored.settlement_of(connection, claim, head.revision)
            require_act(head, "agree", settled=settled is not None)
            present = settled["settlement"] if settled else "nothing to agree to yet"
            if word.settlement != present:
                entry = at("body", ("settlement",), word.settlement, present)
                detail = "What there is to agree to is another by now."
                raise Refusal("another-settlement", detail, [entry])
            add_agreement(writing, claim, head.revision, side, present)
            return shown_claim(writing, stored.refresh(writing, claim), caller)

        return act

    return once(request, caller, body, prepare)
