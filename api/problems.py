"""Errors as problem documents (RFC 9457, application/problem+json).

Every error that leaves this API has the same shape: type, title, status, detail, instance
and `errors`, a list of places with what was found and what was expected. A place is a JSON
Pointer (RFC 6901) *into* something: the body, the query, the path, the headers, or a matrix
file of the server, which is then named. `KINDS` is the whole list of errors; each type is a
relative reference that answers with an explanation.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from http import HTTPStatus
from pathlib import Path
from typing import Literal
from urllib.parse import quote

from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from api.headers import SECURITY_HEADERS
from hailcalc.fields import EXPECTED
from hailcalc.problems import Place, Problem, shown

MEDIA_TYPE = "application/problem+json"
MAX_ERRORS = 500
"""Places listed in one answer; a file with more mistakes than that is another file."""

BODY = "body"
"""The name under which a request's body is read, so that its problems can be told apart."""

Source = Literal["body", "query", "path", "header", "matrix"]


@dataclass(frozen=True, slots=True)
class Kind:
    """One sort of error: its status, its title, and what to do about it."""

    status: int
    title: str
    help: str


KINDS: dict[str, Kind] = {
    "unreadable-body": Kind(
        400,
        "The body is not readable JSON",
        "Send one JSON object (RFC 8259) in UTF-8: each key once, finite numbers, at most 40 "
        "levels deep.",
    ),
    "missing-host": Kind(
        400, "The Host header is missing or malformed", "Send exactly one valid Host header."
    ),
    "no-such-matrix": Kind(
        404, "There is no such matrix", "Take one of the names listed, or see GET /v1/matrices."
    ),
    "no-such-body": Kind(404, "There is no such body", "Ask for one of the bodies listed."),
    "no-such-schema": Kind(404, "There is no such schema", "Ask for claim, matrix or sheet."),
    "not-acceptable": Kind(
        406,
        "No acceptable form of the answer",
        "A sheet or plan is application/json or application/pdf; let the Accept header allow one.",
    ),
    "broken-matrix": Kind(
        409,
        "A matrix file has mistakes",
        "The file stands in the server's folder of matrices: mend it there. It is read again "
        "with the next request. While a file is broken no matrix is chosen by insurer and "
        "date, because the broken one might be the one that fits; name a sound one instead.",
    ),
    "body-too-large": Kind(
        413, "The body is too large", "A claim file is a few kilobytes; see the limit named."
    ),
    "unsupported-media-type": Kind(
        415,
        "The body has the wrong content type",
        "Send the claim file as application/json in UTF-8, without a content encoding.",
    ),
    "misdirected-request": Kind(
        421,
        "This server answers under loopback names only",
        "Ask for 127.0.0.1, localhost or [::1]. Other names are refused so that a page from "
        "elsewhere cannot reach this server by pointing its own name at it.",
    ),
    "invalid-claim": Kind(
        422,
        "The claim cannot be priced as it is",
        "Every mistake is listed with its place, what was found and what was expected.",
    ),
    "invalid-parameter": Kind(
        422,
        "A parameter is not valid",
        "Every mistake is listed with its name, what was found and what was expected.",
    ),
    "no-matrices": Kind(
        503,
        "There is no sound matrix to price with",
        "Put a matrix file into the server's folder of matrices.",
    ),
}
"""Every type of problem but about:blank, by the last part of its reference."""


@dataclass(frozen=True, slots=True)
class Mistake:
    """One entry of `errors`. `file` names a matrix file."""

    source: Source
    pointer: str
    found: str
    expected: str
    file: str | None = None

    def as_json(self) -> dict[str, str]:
        """The entry as it stands in a problem document."""
        entry = {
            "in": self.source,
            "pointer": self.pointer,
            "found": self.found,
            "expected": self.expected,
        }
        return entry if self.file is None else entry | {"file": self.file}


class Refusal(Exception):
    """A request that gets a problem document of one of the `KINDS`."""

    def __init__(
        self,
        kind: str,
        detail: str,
        mistakes: Iterable[Mistake] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:
        self.kind = kind
        self.detail = detail
        self.mistakes = tuple(mistakes)
        self.headers = dict(headers or {})
        super().__init__(detail)


def mistake(problem: Problem) -> Mistake:
    """A problem of the body or of a matrix file as an entry; no path of this machine is told."""
    if problem.file == BODY:
        return Mistake("body", problem.pointer, problem.found, problem.expected)
    name = Path(problem.file).name
    return Mistake("matrix", problem.pointer, problem.found, problem.expected, name)


def at(source: Source, where: Place, found: str, expected: str) -> Mistake:
    """An entry for a place that no file has: a parameter or a header."""
    return Mistake(source, Problem("", where, "", "").pointer, found, expected)


def count_text(number: int, singular: str) -> str:
    """1 mistake, 3 mistakes."""
    return f"{number:,} {singular}" + ("" if number == 1 else "s")


def refusal_response(instance: str, refusal: Refusal) -> Response:
    """The problem document of a refusal."""
    kind = KINDS[refusal.kind]
    return _document(
        f"/problems/{refusal.kind}",
        kind.title,
        kind.status,
        refusal.detail,
        instance,
        refusal.mistakes,
        refusal.headers,
    )


def _document(
    type_: str,
    title: str,
    status: int,
    detail: str,
    instance: str,
    mistakes: tuple[Mistake, ...] = (),
    headers: Mapping[str, str] | None = None,
) -> Response:
    if len(mistakes) > MAX_ERRORS:
        detail += f" The first {MAX_ERRORS} are listed."
    content = {
        "type": type_,
        "title": title,
        "status": status,
        "detail": detail,
        "instance": quote(instance),
        "errors": [entry.as_json() for entry in mistakes[:MAX_ERRORS]],
    }
    # ASCII with escapes, because what was found may hold text that UTF-8 cannot carry.
    body = json.dumps(content, indent=2).encode("ascii") + b"\n"
    # An error in the middle of a stack passes no further layer, so it brings the headers itself.
    own = {**SECURITY_HEADERS, **(headers or {})}
    return Response(body, status, own, MEDIA_TYPE)


async def on_refusal(request: Request, error: Exception) -> Response:
    """Handler of `Refusal`."""
    assert isinstance(error, Refusal)
    return refusal_response(request.scope["path"], error)


async def on_http_error(request: Request, error: Exception) -> Response:
    """Handler of errors of routing (404, 405) and of whatever else has a plain status."""
    assert isinstance(error, HTTPException)
    phrase = HTTPStatus(error.status_code).phrase
    detail = {
        404: "There is nothing here; /docs describes what there is.",
        405: f"{request.method} is not allowed here; see the Allow header.",
    }.get(error.status_code, f"{phrase}.")
    return _document(
        "about:blank", phrase, error.status_code, detail, request.scope["path"], (), error.headers
    )


async def on_parameter_error(request: Request, error: Exception) -> Response:
    """Handler of parameters that are not valid; a path that names nothing is a 404."""
    assert isinstance(error, RequestValidationError)
    mistakes = [_parameter_mistake(detail) for detail in error.errors()]
    kind = "invalid-parameter"
    if any(entry.source == "path" for entry in mistakes):
        kind = "no-such-schema"
    detail = "; ".join(
        f"{entry.pointer[1:]}: found {entry.found}, expected {entry.expected}" for entry in mistakes
    )
    return refusal_response(request.scope["path"], Refusal(kind, f"{detail}.", mistakes))


def _parameter_mistake(detail: Mapping[str, object]) -> Mistake:
    location = detail["loc"]
    assert isinstance(location, tuple)
    source: Source = "path" if location[0] == "path" else "query"
    if detail["type"] == "extra_forbidden":
        found, expected = "an unknown parameter", "one of those that /docs lists"
    else:
        found, expected = shown(detail.get("input")), _parameter_expected(detail)
    return at(source, location[1:], found, expected)


def _parameter_expected(detail: Mapping[str, object]) -> str:
    context = detail.get("ctx")
    if isinstance(context, dict):
        if detail["type"] == "literal_error":
            return str(context["expected"])
        if detail["type"] == "string_pattern_mismatch":
            return EXPECTED.get(context["pattern"], "a value of the documented form")
    message = str(detail["msg"])
    return message[:1].lower() + message[1:]


def claim_refusal(problems: Iterable[Problem], mistakes: Iterable[Mistake] = ()) -> Refusal:
    """The refusal of a claim with these problems; a sound claim over a broken matrix is a 409."""
    entries = (*mistakes, *map(mistake, problems))
    in_request = [entry for entry in entries if entry.source != "matrix"]
    if in_request:
        detail = f"The claim has {count_text(len(in_request), 'mistake')}."
        if len(in_request) < len(entries):
            detail += " A matrix file of the server has mistakes too."
        return Refusal("invalid-claim", detail, entries)
    files = sorted({entry.file or "" for entry in entries})
    return Refusal("broken-matrix", f"Mistakes in {', '.join(files)}.", entries)


async def on_crash(request: Request, error: Exception) -> Response:
    """Handler of our own mistakes: nothing of them is told, the server's log has it all."""
    return _document(
        "about:blank",
        HTTPStatus.INTERNAL_SERVER_ERROR.phrase,
        500,
        "The server made a mistake; its log says more. Nothing was stored.",
        request.scope["path"],
    )
