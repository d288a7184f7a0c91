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
from starlette.routing import Match, Mount

from api.headers import SECURITY_HEADERS
from api.store.faults import FAULTS, StoreFault
from hailcalc.fields import EXPECTED
from hailcalc.problems import Place, Problem, shown

MEDIA_TYPE = "application/problem+json"
MAX_ERRORS = 500
"""Places listed in one answer; a file with more mistakes than that is another file."""

BODY = "body"
"""The name under which a request's body is read, so that its problems can be told apart."""

DRAFT = "draft"
"""The name under which a draft that is to be issued is read."""

Source = Literal["body", "draft", "query", "path", "header", "matrix", "storm"]


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
    "bad-key": Kind(
        400,
        "The Idempotency-Key cannot be used",
        "Send one key of visible ASCII characters, such as a random UUID, a new one for every "
        "request that is not a repetition.",
    ),
    "unreadable-photograph": Kind(
        400,
        "The body is no photograph",
        "Send the bytes of one JPEG, PNG, HEIC or WebP picture as it came from the camera.",
    ),
    "no-token": Kind(
        401,
        "A token is needed",
        "Send Authorization: Bearer and a token. The shop's are made by `hailcalc token add`; "
        "an adjuster's is in the link to the claim, after the #.",
    ),
    "unknown-token": Kind(
        401,
        "The token opens nothing",
        "It is unknown, has ended or was revoked. Ask whoever gave it for another.",
    ),
    "not-allowed": Kind(
        403,
        "The token does not allow it",
        "What a token allows was settled when it was made; ask the owner for another.",
    ),
    "no-such-claim": Kind(
        404, "There is no such claim", "An adjuster's link shows its own claim, once it is issued."
    ),
    "no-such-revision": Kind(404, "There is no such revision", "GET the claim: it lists them."),
    "no-such-draft": Kind(
        404, "There is no draft", "The latest draft is issued; PUT another to begin a supplement."
    ),
    "no-such-link": Kind(404, "There is no such link", "GET the claim's links: it lists them."),
    "no-such-photograph": Kind(
        404, "There is no such photograph", "GET the claim's photographs: it lists them."
    ),
    "no-such-matrix": Kind(
        404, "There is no such matrix", "Take one of the names listed, or see GET /v1/matrices."
    ),
    "no-such-body": Kind(404, "There is no such body", "Ask for one of the bodies listed."),
    "no-such-schema": Kind(404, "There is no such schema", "Ask for claim, matrix or sheet."),
    "no-storms": Kind(
        404,
        "This server shows no storms",
        "Start it with a folder of storms' folders: hailcalc serve --storms DIR.",
    ),
    "no-such-chart": Kind(404, "There is no such chart", "Take one of the names listed."),
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
    "storms-not-comparable": Kind(
        409,
        "The storms cannot be compared",
        "GET /v1/storms: it says which can be read. Each needs vehicles, all one currency; "
        "`hailcalc storm compare --rate` compares several.",
    ),
    "not-in-this-state": Kind(
        409,
        "The claim's state does not allow it",
        "A claim goes from draft to issued, answered and agreed, or is withdrawn; a supplement "
        "takes it back to issued.",
    ),
    "older-revision": Kind(
        409,
        "It is not about the latest revision",
        "A supplement replaces the revision before it: read the latest and answer that.",
    ),
    "another-settlement": Kind(
        409,
        "The settlement is another by now",
        "An answer has changed what there is to agree to: read it again first.",
    ),
    "forgotten": Kind(
        410,
        "It was forgotten",
        "Persons and photographs of this claim were removed; sums and counts are kept.",
    ),
    "version-old": Kind(
        412,
        "The claim has changed meanwhile",
        "Somebody else was quicker: GET the claim, look at what changed and try again.",
    ),
    "body-too-large": Kind(
        413,
        "The body is too large",
        "A claim file is a few kilobytes, a photograph a few megabytes; see the limit named.",
    ),
    "url-too-long": Kind(
        414, "The address is too long", "No address of this API is; see the limit named."
    ),
    "unsupported-media-type": Kind(
        415,
        "The body has the wrong content type",
        "Send the claim file as application/json in UTF-8, without a content encoding.",
    ),
    "misdirected-request": Kind(
        421,
        "This server does not answer under that name",
        "Ask for one of the names listed; `hailcalc serve --name` adds others. The rest are "
        "refused so that a page from elsewhere cannot reach this server by pointing its own name "
        "at it.",
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
    "invalid-answer": Kind(
        422,
        "The answer cannot be taken as it is",
        "Every mistake is listed with its place, what was found and what was expected.",
    ),
    "invalid-request": Kind(
        422,
        "The body is not what this route takes",
        "Every mistake is listed with its place, what was found and what was expected.",
    ),
    "key-used": Kind(
        422,
        "The Idempotency-Key was used for another request",
        "Repeat the very same request with a key, or take a new key.",
    ),
    "version-missing": Kind(
        428,
        "A change names the version it was made against",
        "GET the claim and send its ETag as If-Match with the change.",
    ),
    "headers-too-large": Kind(
        431, "The headers are too large", "Send fewer and shorter headers; see the limit named."
    ),
    "store-away": Kind(
        503,
        "The database does not answer",
        "Nothing was written. Try again after the seconds that Retry-After names.",
    ),
    "store-busy": Kind(
        503,
        "The database is locked by somebody else",
        "Nothing was written. Try again after the seconds that Retry-After names.",
    ),
    "store-read-only": Kind(
        503,
        "The database or its folder may only be read",
        "Nothing was written. Whoever runs the server gives it leave to write.",
    ),
    "store-broken": Kind(
        503,
        "The database is damaged",
        "Nothing was written. Whoever runs the server looks at it with `hailcalc audit`.",
    ),
    "store-full": Kind(
        507,
        "There is no space left",
        "Nothing was written. Whoever runs the server makes space.",
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
    """One entry of `errors`. `file` names a matrix file, or a storm or a file of it."""

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


_SOURCES: dict[str, Source] = {BODY: "body", DRAFT: "draft"}


def mistake(problem: Problem) -> Mistake:
    """A problem of the body, a draft or a matrix file; no path of this machine is told."""
    source = _SOURCES.get(problem.file)
    if source is not None:
        return Mistake(source, problem.pointer, problem.found, problem.expected)
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


async def on_store_fault(request: Request, error: Exception) -> Response:
    """Handler of a database that cannot do what was asked."""
    assert isinstance(error, StoreFault)
    after = FAULTS[error.kind].retry_after
    headers = {} if after is None else {"Retry-After": str(after)}
    refusal = Refusal(f"store-{error.kind}", error.words, (), headers)
    return refusal_response(request.scope["path"], refusal)


async def on_http_error(request: Request, error: Exception) -> Response:
    """Handler of errors of routing (404, 405) and of whatever else has a plain status."""
    assert isinstance(error, HTTPException)
    phrase = HTTPStatus(error.status_code).phrase
    detail = {
        404: "There is nothing here; /docs describes what there is.",
        405: f"{request.method} is not allowed here; see the Allow header.",
    }.get(error.status_code, f"{phrase}.")
    headers = dict(error.headers or {})
    if error.status_code == 405:
        headers["Allow"] = ", ".join(_methods_at(request))
    return _document(
        "about:blank", phrase, error.status_code, detail, request.scope["path"], (), headers
    )


def _methods_at(request: Request) -> list[str]:
    """Every method that a path has; the router tells those of one of its routes only."""
    routes = [route for route in request.app.routes if not isinstance(route, Mount)]
    found = [
        method
        for method in ("GET", "HEAD", "POST", "PUT", "DELETE")
        if any(
            route.matches({**request.scope, "method": method})[0] is Match.FULL for route in routes
        )
    ]
    return found or ["GET", "HEAD"]  # what is mounted are files


async def on_parameter_error(request: Request, error: Exception) -> Response:
    """Handler of parameters that are not valid; a path that names nothing is a 404."""
    assert isinstance(error, RequestValidationError)
    mistakes = [_parameter_mistake(detail) for detail in error.errors()]
    kind = "invalid-parameter"
    if any(entry.source == "path" for entry in mistakes):
        kind = _MISSING.get(mistakes[0].pointer, "no-such-schema")
    detail = "; ".join(
        f"{entry.pointer[1:]}: found {entry.found}, expected {entry.expected}" for entry in mistakes
    )
    return refusal_response(request.scope["path"], Refusal(kind, f"{detail}.", mistakes))


_MISSING = {
    "/claim": "no-such-claim",
    "/number": "no-such-revision",
    "/link": "no-such-link",
    "/photograph": "no-such-photograph",
}
"""What a path names that names nothing."""


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
    under = request.scope.get("state", {}).get("request")
    where = "its log says more" + (f" under {under}" if under else "")
    return _document(
        "about:blank",
        HTTPStatus.INTERNAL_SERVER_ERROR.phrase,
        500,
        f"The server made a mistake; {where}. Nothing was stored.",
        request.scope["path"],
    )
