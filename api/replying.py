"""Answers that are sent as they were written down, and requests that have one effect.

`once` is how every POST is answered. With an Idempotency-Key the reply is kept in the transaction
of the write; the same key and request get it again, the same key with another request is refused.
What takes long runs in `prepare`, before writers have to wait; what it returns does the write.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import NamedTuple

from fastapi import Request
from starlette.responses import Response

from api.auth import secret_of
from api.problems import Refusal, at
from api.state import setup_of
from api.store import replies
from api.store.replies import Once, Reply
from api.store.session import Store, Writing
from api.store.tokens import Caller
from hailcalc.problems import shown

JSON = "application/json"
REPLAYED = "Idempotency-Replayed"
"""On an answer that was given before."""

_KEY = re.compile(r"[\x21-\x7e]{1,255}")


class Done(NamedTuple):
    """A reply, and the claim that it is about: with a claim's person its replies are forgotten."""

    reply: Reply
    claim: str | None


Act = Callable[[Writing], Done]


def json_reply(
    text: bytes | str, status: int = 200, headers: Mapping[str, str] | None = None
) -> Reply:
    """A reply with a JSON body."""
    body = text.encode() if isinstance(text, str) else text
    return Reply(status, {"Content-Type": JSON} | dict(headers or {}), body)


def response_of(reply: Reply) -> Response:
    """A reply on its way out."""
    return Response(reply.body, reply.status, dict(reply.headers))


def once(request: Request, caller: Caller, body: bytes, prepare: Callable[[], Act]) -> Response:
    """Answer a request that writes. Raises Refusal for a key that was used otherwise."""
    store = setup_of(request.app).store
    wanted = _wanted(request, body)
    if (found := _kept(store, wanted)) is not None:
        return _again(request, *found)
    try:
        act = prepare()
    except Refusal:
        # Refused, perhaps, because the same request was done while this one was on its way.
        if (found := _kept(store, wanted)) is not None:
            return _again(request, *found)
        raise
    with store.writing(caller.token) as writing:
        found = None if wanted is None else replies.kept(writing.connection, wanted)
        if found is not None:
            return _again(request, *found)
        done = act(writing)
        if wanted is not None:
            replies.keep(writing, wanted, done.reply, done.claim)
    return response_of(done.reply)


def _kept(store: Store, wanted: Once | None) -> tuple[Reply, bool] | None:
    if wanted is None:
        return None
    with store.reading() as connection:
        return replies.kept(connection, wanted)


def computed(
    request: Request, caller: Caller, body: bytes, compute: Callable[[], Reply]
) -> Response:
    """Answer a POST that writes nothing; only with a key is its reply kept."""
    if _wanted(request, body) is None:
        return response_of(compute())

    def prepare() -> Act:
        done = Done(compute(), None)
        return lambda _: done

    return once(request, caller, body, prepare)


def _wanted(request: Request, body: bytes) -> Once | None:
    given = request.headers.getlist("idempotency-key")
    if not given:
        return None
    if len(given) > 1 or _KEY.fullmatch(given[0]) is None:
        expected = "one key of 1 to 255 visible ASCII characters"
        entry = at("header", ("Idempotency-Key",), shown(", ".join(given)), expected)
        raise Refusal("bad-key", "The Idempotency-Key cannot be used.", [entry])
    accept = ", ".join(request.headers.getlist("accept"))
    asked = f"{request.method} {request.url.path}?{request.url.query}\n{accept}\n".encode()
    return replies.once(secret_of(request) or "", given[0], asked + body)


def _again(request: Request, reply: Reply, same: bool) -> Response:
    if not same:
        key = shown(request.headers["idempotency-key"])
        entry = at("header", ("Idempotency-Key",), key, "another key for another request")
        raise Refusal("key-used", "This key was used for another request.", [entry])
    answer = response_of(reply)
    answer.headers[REPLAYED] = "true"
    return answer
