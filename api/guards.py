"""What stands before every route: who may ask, how much may be sent, headers of answers.

Four layers of plain ASGI. The Host guard answers under known names only, so that a page from
elsewhere cannot reach the server by DNS rebinding. The limits bound addresses, headers and
bodies; the last counts bytes while they come, so that a body without a Content-Length is cut
off too. Sizes are bytes.
"""

from __future__ import annotations

import re
from contextlib import suppress
from ipaddress import IPv6Address

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.headers import SECURITY_HEADERS
from api.problems import Refusal, at, refusal_response
from hailcalc.photographs import MAX_BYTES as MAX_PHOTOGRAPH_BYTES
from hailcalc.problems import shown
from hailcalc.reading import MAX_TEXT_BYTES

MAX_URL_BYTES = 8_192
MAX_HEADERS = 100
MAX_HEADER_BYTES = 32_768
"""All names and values together. The server itself gives up a head of some 64 KB that has no end,
but takes whatever comes whole in one piece from the network, and counts no headers."""

_HOST = re.compile(r"(?P<name>\[[0-9A-Fa-f:.]+\]|[A-Za-z0-9._-]+)(?::[0-9]{1,5})?")

_PHOTOGRAPHS = re.compile(r"/v1/claims/[^/]+/photographs")

_DRAINED_BYTES = 4 * MAX_TEXT_BYTES
"""How much of a body that is too large is read and dropped before the answer, beyond its limit.

A connection closed with unread bytes is reset, and the answer may be lost with it.
"""


def host_name(host: str) -> str | None:
    """The name in a Host header, without its port and in one spelling; None if it names none."""
    match = _HOST.fullmatch(host)
    if match is None:
        return None
    name = match["name"].lower()
    if name.startswith("["):
        with suppress(ValueError):
            return f"[{IPv6Address(name[1:-1])}]"
    return name


class HostGuard:
    """Refuses requests whose Host is none of the names that the server answers under."""

    def __init__(self, app: ASGIApp, hosts: frozenset[str]) -> None:
        self.app = app
        self.hosts = hosts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request pass, or answer it with a problem document."""
        refusal = None
        if scope["type"] == "http":
            refusal = _host_refusal(Headers(scope=scope), self.hosts)
        if refusal is None:
            await self.app(scope, receive, send)
        else:
            await refusal_response(scope["path"], refusal)(scope, receive, send)


def _host_refusal(headers: Headers, allowed: frozenset[str]) -> Refusal | None:
    hosts = headers.getlist("host")
    name = host_name(hosts[0]) if len(hosts) == 1 else None
    if name in allowed:
        return None
    *others, last = sorted(allowed)
    expected = f"{', '.join(others)} or {last}, with or without a port"
    if name is None:
        found = shown(", ".join(hosts)) if hosts else "nothing"
        entry = at("header", ("Host",), found, expected)
        return Refusal("missing-host", "The Host header names no host.", [entry])
    entry = at("header", ("Host",), shown(hosts[0]), expected)
    return Refusal("misdirected-request", f"The Host header names {shown(hosts[0])}.", [entry])


class HeadLimit:
    """Refuses addresses and headers that are far longer than any that this API needs."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request pass, or answer it with a problem document."""
        refusal = _head_refusal(scope) if scope["type"] == "http" else None
        if refusal is None:
            await self.app(scope, receive, send)
        else:
            # The address told back is cut too.
            await refusal_response(scope["path"][:100], refusal)(scope, receive, send)


def _head_refusal(scope: Scope) -> Refusal | None:
    url = len(scope.get("raw_path") or scope["path"].encode()) + len(scope["query_string"]) + 1
    if url > MAX_URL_BYTES:
        detail = f"Path and query are longer than {MAX_URL_BYTES:,} bytes."
        entry = at("path", (), f"{url:,} bytes", f"at most {MAX_URL_BYTES:,} bytes")
        return Refusal("url-too-long", detail, [entry], {"Connection": "close"})
    headers = scope["headers"]
    size = sum(len(name) + len(value) for name, value in headers)
    if len(headers) > MAX_HEADERS or size > MAX_HEADER_BYTES:
        limits = f"at most {MAX_HEADERS} headers, {MAX_HEADER_BYTES:,} bytes together"
        entry = at("header", (), f"{len(headers):,} headers, {size:,} bytes", limits)
        detail = "There are more headers, or longer ones, than this server reads."
        return Refusal("headers-too-large", detail, [entry], {"Connection": "close"})
    return None


class BodyLimit:
    """Refuses bodies larger than a claim file, or a photograph where one is sent, may be."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request pass with its body counted, or answer it with a problem document."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        limit = _body_limit(scope)
        headers = Headers(scope=scope)
        declared = headers.get("content-length", "")
        length = int(declared) if declared.isascii() and declared.isdigit() else 0
        if length > limit:
            # Who expects a 100 (Continue) has not sent the body yet and need not.
            if length <= limit + _DRAINED_BYTES and "expect" not in headers:
                await _drain(receive, 0, limit)
            refusal = _too_large(f"{length:,} bytes", limit)
            await refusal_response(scope["path"], refusal)(scope, receive, send)
            return
        received = 0

        async def counted() -> Message:
            nonlocal received
            message = await receive()
            received += len(message.get("body", b""))
            if received > limit:
                if message.get("more_body", False):
                    await _drain(receive, received, limit)
                raise _too_large(f"more than {limit:,} bytes", limit)
            return message

        await self.app(scope, counted, send)


def _body_limit(scope: Scope) -> int:
    picture = scope["method"] == "POST" and _PHOTOGRAPHS.fullmatch(scope["path"])
    return MAX_PHOTOGRAPH_BYTES if picture else MAX_TEXT_BYTES


async def _drain(receive: Receive, received: int, limit: int) -> None:
    """Read a body on and drop it, up to a bound."""
    while received <= limit + _DRAINED_BYTES:
        message = await receive()
        received += len(message.get("body", b""))
        if message["type"] != "http.request" or not message.get("more_body", False):
            return


def _too_large(found: str, limit: int) -> Refusal:
    return Refusal(
        "body-too-large",
        f"The body is larger than {limit:,} bytes.",
        [at("body", (), found, f"at most {limit:,} bytes")],
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
