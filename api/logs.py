"""The log of requests: one line of JSON each on standard error, and what went wrong in them.

Every request has an id, which its answer, its line and its traceback share. Lines hold no query
string, no header, no body and nothing that opens a claim; a path is written with escapes, so that
it stays on its line. A traceback has places and types but not the words of errors, which may quote
what people wrote: what is forgotten in the store must not be left in a log. Times are UTC, `ms` is
milliseconds, `bytes` the size of the answer's body.
"""

from __future__ import annotations

import json
import logging
import re
import sys
import time
import traceback
from datetime import UTC, datetime
from uuid import uuid4

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.problems import on_crash
from api.store.session import now_text

REQUESTS = logging.getLogger("hailcalc.requests")
ERRORS = logging.getLogger("hailcalc.errors")

ID_HEADER = "X-Request-Id"

_ID = re.compile(r"[A-Za-z0-9._-]{1,64}")
_SECRET = re.compile(r"hc_[A-Za-z0-9_-]{8,}")
_MAX_PATH = 300
_MAX_TRACEBACK = 20_000
_MAX_ERRORS = 20
_OF_CODE = (ImportError, NameError, AttributeError)
"""Errors whose words name code alone."""


class RequestLog:
    """Gives each request an id and a line in the log, and answers for a crash.

    It stands around everything else, so that refusals of the guards have their line too.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, and write its line when it is answered."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        state = scope.setdefault("state", {})
        state["request"] = _request_id(Headers(scope=scope))
        at, begun = now_text(), time.perf_counter()
        status: int | None = None
        size = 0

        async def noted(message: Message) -> None:
            nonlocal status, size
            if message["type"] == "http.response.start":
                status = message["status"]
                MutableHeaders(scope=message)[ID_HEADER] = state["request"]
            elif scope["method"] != "HEAD":
                size += len(message.get("body", b""))
            await send(message)

        try:
            await self.app(scope, receive, noted)
        except Exception as error:
            ERRORS.error(_crash_line(state["request"], error))
            if status is None:
                answer = await on_crash(Request(scope), error)
                await answer(scope, receive, noted)
            # An answer that had begun is left unfinished: the server then cuts the connection.
        finally:
            line = {
                "id": state["request"],
                "at": at,
                "method": _cut(scope["method"]),
                "path": _cut(scope["path"]),
                "status": status,
                "ms": round((time.perf_counter() - begun) * 1000, 1),
                "token": state.get("token"),
                "bytes": size,
            }
            REQUESTS.info(json.dumps(line))


def _request_id(headers: Headers) -> str:
    """The id that a request brings if it may stand in a log, else a new one."""
    given = headers.getlist(ID_HEADER)
    if len(given) == 1 and _ID.fullmatch(given[0]) and not _SECRET.search(given[0]):
        return given[0]
    return uuid4().hex


def _crash_line(request: str, error: Exception) -> str:
    line = {
        "id": request,
        "at": now_text(),
        "crash": type(error).__name__,
        "traceback": traceback_text(error),
    }
    return json.dumps(line)


def traceback_text(error: BaseException) -> str:
    """The places that an error came through, its causes before it, each by its type.

    Words stand only with errors that name code alone.
    """
    told: list[str] = []
    waiting: list[BaseException] = [error]
    seen: set[int] = set()
    while waiting and len(seen) < _MAX_ERRORS:
        each = waiting.pop()
        if id(each) in seen:
            continue
        seen.add(id(each))
        places = "".join(traceback.format_tb(each.__traceback__))
        words = f": {without_secrets(str(each))}" if isinstance(each, _OF_CODE) else ""
        told.insert(0, f"{places}{type(each).__module__}.{type(each).__qualname__}{words}\n")
        before = each.__cause__ or (None if each.__suppress_context__ else each.__context__)
        together = each.exceptions if isinstance(each, BaseExceptionGroup) else ()
        waiting += [other for other in (*together, before) if other is not None]
    return "".join(told)[-_MAX_TRACEBACK:]


def _cut(text: str) -> str:
    """Text as a line may hold it: no secret, not without end."""
    text = without_secrets(text)
    return text if len(text) <= _MAX_PATH else f"{text[:_MAX_PATH]}…"


def without_secrets(text: str) -> str:
    """Text in which nothing that looks like a token is left."""
    return _SECRET.sub("hc_…", text)


class _Lines(logging.Formatter):
    """Our own records are lines of JSON already; those of libraries are made such."""

    def format(self, record: logging.LogRecord) -> str:
        """The record as one line."""
        if record.name in (REQUESTS.name, ERRORS.name):
            return record.getMessage()
        line = {
            "at": now_text(datetime.fromtimestamp(record.created, UTC)),
            "level": record.levelname.lower(),
            "from": record.name,
            "message": without_secrets(record.getMessage()),
        }
        if record.exc_info and record.exc_info[1] is not None:
            line["traceback"] = traceback_text(record.exc_info[1])
        return json.dumps(line)


def log_to_stderr() -> None:
    """Let requests, crashes and warnings of the server's libraries go to standard error."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(_Lines())
    root = logging.getLogger()
    root.addHandler(handler)
    root.setLevel(logging.WARNING)
    REQUESTS.setLevel(logging.INFO)
