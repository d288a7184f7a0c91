"""What stands before every route: who may ask, how much may be sent, headers of answers.

Three layers of plain ASGI. The Host guard answers under loopback names only, so that a page
from elsewhere cannot reach the server by DNS rebinding. The body limit counts bytes while
they come, so that a body without a Content-Length is cut off too. Sizes are bytes.
"""

from __future__ import annotations

import re

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.headers import SECURITY_HEADERS
from api.problems import Refusal, at, refusal_response
from hailcalc.problems import shown
from hailcalc.reading import MAX_TEXT_BYTES

_HOST = re.compile(r"(?P<name>\[[0-9A-Fa-f:.]+\]|[A-Za-z0-9._-]+)(?::[0-9]{1,5})?")
_LOOPBACK = frozenset({"127.0.0.1", "localhost", "[::1]"})

_DRAINED_BYTES = 4 * MAX_TEXT_BYTES
"""How much of a body that is too large is read and dropped before the answer.

A connection closed with unread bytes is reset, and the answer may be lost with it.
"""


class HostGuard:
    """Refuses requests whose Host is not a loopback name."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request pass, or answer it with a problem document."""
        refusal = _host_refusal(Headers(scope=scope)) if scope["type"] == "http" else None
        if refusal is None:
            await self.app(scope, receive, send)
        else:
            await refusal_response(scope["path"], refusal)(scope, receive, send)


def _host_refusal(headers: Headers) -> Refusal | None:
    hosts = headers.getlist("host")
    match = _HOST.fullmatch(hosts[0]) if len(hosts) == 1 else None
    names = "127.0.0.1, localhost or [::1], with or without a port"
    if match is None:
        found = shown(", ".join(hosts)) if hosts else "nothing"
        entry = at("header", ("Host",), found, names)
        return Refusal("missing-host", "The Host header names no host.", [entry])
    if match["name"].lower() in _LOOPBACK:
        return None
    entry = at("header", ("Host",), shown(hosts[0]), names)
    return Refusal("misdirected-request", f"The Host header names {shown(hosts[0])}.", [entry])


class BodyLimit:
    """Refuses bodies larger than a claim file may be."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request pass with its body counted, or answer it with a problem document."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        declared = headers.get("content-length", "")
        length = int(declared) if declared.isascii() and declared.isdigit() else 0
        if length > MAX_TEXT_BYTES:
            # Who expects a 100 (Continue) has not sent the body yet and need not.
            if length <= _DRAINED_BYTES and "expect" not in headers:
                await _drain(receive, 0)
            refusal = _too_large(f"{length:,} bytes")
            await refusal_response(scope["path"], refusal)(scope, receive, send)
            return
        received = 0

        async def counted() -> Message:
            nonlocal received
            message = await receive()
            received += len(message.get("body", b""))
            if received > MAX_TEXT_BYTES:
                if message.get("more_body", False):
                    await _drain(receive, received)
                raise _too_large(f"more than {MAX_TEXT_BYTES:,} bytes")
            return message

        await self.app(scope, counted, send)


async def _drain(receive: Receive, received: int) -> None:
    """Read a body on and drop it, up to a bound."""
    while received <= _DRAINED_BYTES:
        message = await receive()
        received += len(message.get("body", b""))
        if message["type"] != "http.request" or not message.get("more_body", False):
            return


def _too_large(found: str) -> Refusal:
    limit = f"at most {MAX_TEXT_BYTES:,} bytes"
    return Refusal(
        "body-too-large",
        f"The body is larger than {MAX_TEXT_BYTES:,} bytes.",
        [at("body", (), found, limit)],
        {"Connection": "close"},
    )


class SecureHeaders:
    """Adds the security headers to answers that do not set them themselves."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, and its answer back with the headers."""

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in SECURITY_HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        await self.app(scope, receive, with_headers)
