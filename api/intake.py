"""From a request to a claim and a compiled matrix that fit each other.

The body is parsed by the same code as a claim file on disk, so duplicate keys, NaN and
numbers beyond measure are mistakes, and all mistakes come in one answer: those of the claim
by itself, those that show only against the matrix, and that the matrix cannot be found.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from email.message import Message
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request

from api.library import Entry, Library
from api.problems import BODY, Mistake, Refusal, at, claim_refusal, count_text, mistake
from hailcalc.claimfile import ClaimFile, ClaimReading, claim_from_data
from hailcalc.counting.survey import survey_claim
from hailcalc.estimate import CompiledMatrix, fit_problems
from hailcalc.files import text_of
from hailcalc.matrix import choose_matrix
from hailcalc.problems import InputError, Problem, shown
from hailcalc.reading import Model, check, load_json


@dataclass(frozen=True, slots=True)
class Intake:
    """A claim and the matrix that prices it."""

    claim: ClaimFile
    compiled: CompiledMatrix


async def json_body(request: Request) -> bytes:
    """The bytes of a request that sends JSON. Raises Refusal for another content type."""
    given = request.headers.get("content-type")
    declared = Message()
    declared["content-type"] = given or ""
    charset = declared.get_content_charset("utf-8")
    if given is None or declared.get_content_type() != "application/json" or charset != "utf-8":
        found = "nothing" if given is None else shown(given)
        raise _wrong_type("Content-Type", found, "application/json in UTF-8")
    encoding = request.headers.get("content-encoding", "identity")
    if encoding.strip().lower() != "identity":
        raise _wrong_type("Content-Encoding", shown(encoding), "identity, or no such header")
    try:
        return await request.body()
    except ClientDisconnect:
        # Nobody is left to read this, but an upload broken off is no mistake of the server.
        raise HTTPException(400) from None


def _wrong_type(header: str, found: str, expected: str) -> Refusal:
    return Refusal(
        "unsupported-media-type",
        f"{header} is {found}.",
        [at("header", (header,), found, expected)],
        {"Accept": "application/json", "Accept-Encoding": "identity"},
    )


def take_in(body: bytes, library: Library, matrix: str | None) -> Intake:
    """A claim with its matrix; `matrix` goes before the claim's own choice.

    Raises Refusal with every mistake of the claim and of the choice of the matrix.
    """
    return fitted(claim_from_data(json_object(body), BODY), library, matrix, BODY)


def claim_in(body: bytes) -> ClaimFile:
    """A claim file that is to be kept; whether a matrix can price it shows later.

    Raises Refusal with every mistake of the claim by itself.
    """
    reading = claim_from_data(json_object(body), BODY)
    if reading.claim is None:
        raise claim_refusal(reading.problems)
    return reading.claim


def fitted(reading: ClaimReading, library: Library, matrix: str | None, file: str) -> Intake:
    """A claim that was read from `file`, with the matrix that prices it.

    Raises Refusal with every mistake of the claim and of the choice of the matrix.
    """
    compiled, mistakes, problems = _find_matrix(reading, library, matrix, file)
    problems = [*reading.problems, *problems]
    if compiled is not None:
        problems += fit_problems(reading.parts, compiled, file)
    else:
        problems += survey_claim(reading.parts, file)[1]
    if reading.claim is None or compiled is None or problems:
        raise claim_refusal(problems, mistakes)
    return Intake(reading.claim, compiled)


def model_in(model: type[Model], body: bytes, kind: str = "invalid-request") -> Model:
    """A body as a model. Raises Refusal of a kind with every mistake."""
    found, problems = check(model, json_object(body), BODY)
    if found is None:
        detail = f"The body has {count_text(len(problems), 'mistake')}."
        raise Refusal(kind, detail, map(mistake, problems))
    return found


def json_object(body: bytes) -> dict[str, Any]:
    """The JSON object that a body holds. Raises Refusal with the line and column, or the place."""
    try:
        data = load_json(text_of(body, BODY), BODY)
    except InputError as error:
        raise _unreadable([_at_the_top(problem) for problem in error.problems]) from None
    if not isinstance(data, dict):
        raise _unreadable([Problem(BODY, (), _named(data), "one JSON object")])
    return data


def _unreadable(problems: list[Problem]) -> Refusal:
    detail = "; ".join(problem.found for problem in problems[:3])
    return Refusal("unreadable-body", f"In the body: {detail}.", map(mistake, problems))


def _named(data: Any) -> str:
    """A JSON value that is no object, in a few words."""
    if isinstance(data, list):
        return f"a list of {len(data)}"
    if data is None or isinstance(data, bool):
        return json.dumps(data)
    return shown(data)


def _at_the_top(problem: Problem) -> Problem:
    """A problem of the text as one of the whole body: a line and column are no JSON Pointer."""
    if not problem.where:
        return problem
    return Problem(BODY, (), f"{problem.found} at {problem.place}", problem.expected)


Found = tuple[CompiledMatrix | None, list[Mistake], list[Problem]]


def _find_matrix(reading: ClaimReading, library: Library, named: str | None, file: str) -> Found:
    """The matrix named by the query, by the claim, or by insurer and date; or why there is none."""
    if named is not None:
        entry = library.entries.get(named)
        if entry is None:
            return None, [at("query", ("matrix",), shown(named), f"one of {library.names}")], []
        return _of_entry(entry)
    own = reading.parts.matrix
    if own is not None:
        entry = library.entries.get(own)
        if entry is None:
            problem = Problem(file, ("matrix",), shown(own), f"one of {library.names}")
            return None, [], [problem]
        return _of_entry(entry)
    header = reading.parts.claim
    if header is None or any(problem.where == ("matrix",) for problem in reading.problems):
        return None, [], []  # what it would be chosen by is a mistake already
    if library.broken:
        # A broken file might be the one that fits, so none is chosen until it is mended.
        return None, [], library.broken
    sound = {compiled.matrix.name: compiled for compiled in library.sound}
    try:
        chosen = choose_matrix(header, None, [each.matrix for each in sound.values()], file)
    except InputError as error:
        return None, [], list(error.problems)
    return sound[chosen.name], [], []


def _of_entry(entry: Entry) -> Found:
    return entry.compiled, [], list(entry.problems)
