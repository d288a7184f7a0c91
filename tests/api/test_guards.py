"""What stands before every route: names, sizes, ids, and one line in the log for each request.

All through real sockets. Lines are read once the server has ended, so that all are written.
"""

from __future__ import annotations

import json
import logging
import socket
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import httpx
import pytest
import sqlalchemy as sa
from starlette.responses import StreamingResponse

from api.guards import MAX_HEADER_BYTES, MAX_HEADERS, MAX_URL_BYTES, host_name
from api.logs import traceback_text, without_secrets
from api.state import LOOPBACK
from api.store.opening import DATABASE, open_store
from api.store.session import Store
from api.store.tokens import new_secret
from hailcalc import __version__
from hailcalc.photographs import MAX_BYTES
from hailcalc.reading import MAX_TEXT_BYTES
from tests.api.conftest import HERE, MATRICES, app_on, places, problem, serving, three_dimes

CLAIM = "k7m2p9qdxw3c"
PHOTOGRAPHS = f"/v1/claims/{CLAIM}/photographs"

# --- names --------------------------------------------------------------------------------------


def test_further_names_are_answered_however_they_are_spelt(
    matrices: Path, empty_store: Store
) -> None:
    hosts = LOOPBACK | {"claims.example", "[2001:db8::1]"}
    with serving(app_on(matrices, empty_store, hosts=hosts)) as client:
        for host in ("claims.example", "CLAIMS.Example:8443", "[2001:DB8:0:0::1]:80", "localhost"):
            assert client.get("/v1/health", headers={"Host": host}).status_code == 200
        for host in ("claims.example.org", "other.example", "2001.db8", "[2001:db8::2]"):
            document = problem(client.get("/v1/health", headers={"Host": host}), 421)
            assert "claims.example" in document["errors"][0]["expected"]


def test_a_host_has_one_name_in_one_spelling() -> None:
    assert host_name("Claims.Example:80") == "claims.example"
    assert host_name("[0:0:0:0:0:0:0:1]:8423") == "[::1]"
    assert [host_name(text) for text in ("", "a b", "a:b", "a/b", "[::1", "a:80:80")] == [None] * 6


# --- sizes --------------------------------------------------------------------------------------


def test_an_address_of_just_the_longest_size_is_read_and_no_longer_one(
    client: httpx.Client,
) -> None:
    path = "/v1/health?"
    longest = path + "a" * (MAX_URL_BYTES - len(path))

    assert client.get(longest).status_code == 200
    document = problem(client.get(longest + "a"), 414)
    assert places(document) == [("path", "")]
    assert document["errors"][0]["found"] == f"{MAX_URL_BYTES + 1:,} bytes"
    problem(client.get("/" + "a" * 2 * MAX_URL_BYTES), 414)


def test_headers_are_counted_and_measured(client: httpx.Client) -> None:
    own = len(client.build_request("GET", "/v1/health").headers)
    many = [(f"X-{number}", "a") for number in range(MAX_HEADERS - own)]

    assert client.get("/v1/health", headers=many).status_code == 200
    one_more = problem(client.get("/v1/health", headers=[*many, ("X-One", "a")]), 431)
    assert one_more["errors"][0]["found"].startswith(f"{MAX_HEADERS + 1} headers")
    long = problem(client.get("/v1/health", headers={"X-Long": "a" * MAX_HEADER_BYTES}), 431)
    assert places(long) == [("header", "")]


def send_without_end(connection: socket.socket) -> None:
    """Far more than buffers on the way hold, so that it must be the server who ends it."""
    for _ in range(1_000):
        connection.sendall(b"a" * 65_536)


def test_a_head_without_an_end_is_given_up(client: httpx.Client) -> None:
    where = (client.base_url.host, client.base_url.port)
    with socket.create_connection(where, timeout=60) as connection:
        connection.sendall(b"GET /v1/health HTTP/1.1\r\nHost: localhost\r\nX-Long: ")
        with pytest.raises(OSError, match=r"reset|pipe|abort"):
            send_without_end(connection)

    assert client.get("/v1/health").status_code == 200


def test_a_photograph_may_be_larger_than_a_claim_file(client: httpx.Client) -> None:
    jpeg = {"Content-Type": "image/jpeg"}
    between = b" " * (MAX_TEXT_BYTES + 1)

    photograph = client.post(PHOTOGRAPHS, content=between, headers=jpeg)
    draft = client.put(f"/v1/claims/{CLAIM}/draft", content=between, headers=jpeg)
    other = client.put(PHOTOGRAPHS, content=between, headers=jpeg)
    beyond = client.post(PHOTOGRAPHS, content=b" " * (MAX_BYTES + 1), headers=jpeg)

    assert problem(photograph, 404)["type"] == "/problems/no-such-claim"
    for answer in (draft, other):
        assert problem(answer, 413)["errors"][0]["expected"] == f"at most {MAX_TEXT_BYTES:,} bytes"
    assert problem(beyond, 413)["errors"][0]["expected"] == f"at most {MAX_BYTES:,} bytes"


@pytest.mark.parametrize("size", [MAX_BYTES + 1, 2 * MAX_BYTES])
def test_a_photograph_without_a_declared_length_is_cut_off_too(
    client: httpx.Client, size: int
) -> None:
    def pieces() -> Iterator[bytes]:
        for start in range(0, size, 500_000):
            yield b" " * min(500_000, size - start)

    answer = client.post(PHOTOGRAPHS, content=pieces(), headers={"Content-Type": "image/jpeg"})

    assert problem(answer, 413)["errors"][0]["found"] == f"more than {MAX_BYTES:,} bytes"


# --- ids and lines ------------------------------------------------------------------------------


class Lines(logging.Handler):
    """Every record of the log of requests, and of the log of crashes, of servers started since.

    A server of all tests that runs already may still owe the line of its last answer: a line is
    written after the answer has gone.
    """

    def __init__(self) -> None:
        super().__init__()
        self.before = {thread.name for thread in threading.enumerate()}
        self.texts: dict[str, list[str]] = {"hailcalc.requests": [], "hailcalc.errors": []}

    def emit(self, record: logging.LogRecord) -> None:
        if record.threadName not in self.before:
            self.texts[record.name].append(record.getMessage())

    @property
    def requests(self) -> list[dict[str, Any]]:
        return [json.loads(text) for text in self.texts["hailcalc.requests"]]

    @property
    def crashes(self) -> list[dict[str, Any]]:
        return [json.loads(text) for text in self.texts["hailcalc.errors"]]


@pytest.fixture
def lines() -> Iterator[Lines]:
    handler = Lines()
    loggers = [logging.getLogger(name) for name in handler.texts]
    levels = [logger.level for logger in loggers]
    for logger in loggers:
        logger.addHandler(handler)
        logger.setLevel(logging.INFO)
    yield handler
    for logger, level in zip(loggers, levels, strict=True):
        logger.removeHandler(handler)
        logger.setLevel(level)


def test_an_id_that_a_request_brings_is_kept(client: httpx.Client) -> None:
    for given in ("a", "A-1.b_2", "f" * 64):
        answer = client.get("/v1/health", headers={"X-Request-Id": given})
        assert answer.headers["x-request-id"] == given


@pytest.mark.parametrize("given", ["", "a b", "f" * 65, 'a"b', "a/b", "hc_" + "k" * 43])
def test_an_id_that_cannot_stand_in_a_log_is_replaced(client: httpx.Client, given: str) -> None:
    answer = client.get("/v1/health", headers={"X-Request-Id": given})

    assert len(answer.headers["x-request-id"]) == 32
    assert answer.headers["x-request-id"] != given


def test_every_answer_has_an_id_of_its_own_refusals_of_the_guards_too(
    client: httpx.Client,
) -> None:
    answers = [
        client.get("/v1/health"),
        client.get("/v1/health"),
        client.get("/nothing"),
        client.get("/v1/health", headers={"Host": "other.example"}),
        client.get("/" + "a" * 9_000),
        client.get("/v1/claims", headers={"Authorization": "Bearer no"}),
    ]

    assert [each.status_code for each in answers] == [200, 200, 404, 421, 414, 401]
    assert len({each.headers["x-request-id"] for each in answers}) == len(answers)


def test_each_request_is_one_line_without_what_opens_a_claim(
    matrices: Path, empty_store: Store, lines: Lines
) -> None:
    with serving(app_on(matrices, empty_store)) as client:
        shown = client.get("/v1/claims?text=Thornbury", headers={"X-Request-Id": "one"})
        client.post("/v1/price", json=three_dimes(), headers={"X-Request-Id": "two"})
        client.get(f"/answer/{HERE}", headers={"X-Request-Id": "three"})
        client.get("/v1/claims", headers={"Authorization": "", "X-Request-Id": "four"})
        client.head("/v1/claims", headers={"X-Request-Id": "five"})

    found = {line["id"]: line for line in lines.requests}
    assert list(found["one"]) == ["id", "at", "method", "path", "status", "ms", "token", "bytes"]
    assert found["one"]["path"] == "/v1/claims"
    assert found["one"]["bytes"] == len(shown.content)
    assert [found[name]["status"] for name in found] == [200, 200, 404, 401, 405]
    assert [found[name]["token"] for name in ("one", "four")] == ["this-machine", None]
    assert (found["five"]["method"], found["five"]["bytes"]) == ("HEAD", 0)
    assert found["three"]["path"] == "/answer/hc_…"
    told = "".join(lines.texts["hailcalc.requests"])
    assert HERE not in told
    assert "Thornbury" not in told


@pytest.mark.parametrize(
    "path", ["/a%0Ab", "/a%0D%0A%7B%22status%22:200%7D", "/%1B%5B2J", "/%E2%80%A8", "/%FF", "/%00"]
)
def test_a_path_stays_on_its_line(
    matrices: Path, empty_store: Store, lines: Lines, path: str
) -> None:
    with serving(app_on(matrices, empty_store)) as client:
        client.get(path)

    [text] = lines.texts["hailcalc.requests"]
    assert text.isascii()
    assert text.isprintable()
    assert json.loads(text)["status"] == 404


def test_a_long_path_is_cut(matrices: Path, empty_store: Store, lines: Lines) -> None:
    with serving(app_on(matrices, empty_store)) as client:
        client.get("/" + "%01" * 2_500)

    [text] = lines.texts["hailcalc.requests"]
    assert len(text) < 3_000


def test_a_crash_is_told_under_the_id_that_the_answer_names(
    matrices: Path, empty_store: Store, lines: Lines
) -> None:
    app = app_on(matrices, empty_store)

    @app.get("/crash")
    def crash() -> None:
        try:
            int("Q. Thornbury")
        except ValueError as error:
            raise RuntimeError("a note by Q. Thornbury") from error

    with serving(app) as client:
        answer = client.get("/crash")
        after = client.get("/v1/health")

    document = problem(answer, 500)
    name = answer.headers["x-request-id"]
    assert name in document["detail"]
    [told] = lines.crashes
    assert (told["id"], told["crash"]) == (name, "RuntimeError")
    types = [line for line in told["traceback"].splitlines() if line.startswith("builtins.")]
    assert types == ["builtins.ValueError", "builtins.RuntimeError"]
    assert f'File "{__file__}"' in told["traceback"]
    assert [line["status"] for line in lines.requests] == [500, 200]
    assert after.status_code == 200


def test_what_people_wrote_is_in_no_traceback() -> None:
    wrote = ["Q. Thornbury", "R. Tallow", "S. Fenwick"]

    def crash() -> None:
        try:
            raise ExceptionGroup(wrote[0], [KeyError(wrote[1]), ValueError(wrote[2])])
        except ExceptionGroup:
            raise OSError(wrote[0]) from None

    with pytest.raises(OSError, match="Thornbury") as caught:
        crash()
    alone = traceback_text(caught.value)
    assert caught.value.__context__ is not None
    caught.value.__suppress_context__ = False
    caught.value.__context__.__context__ = caught.value  # a ring ends too
    together = traceback_text(caught.value)

    assert [kind in alone for kind in ("OSError", "KeyError", "ValueError")] == [True, False, False]
    assert all(kind in together for kind in ("OSError", "KeyError", "ValueError", "Group"))
    assert not [name for name in wrote if name in together]


def test_a_crash_in_the_middle_of_an_answer_cuts_it_off(
    matrices: Path, empty_store: Store, lines: Lines
) -> None:
    app = app_on(matrices, empty_store)

    @app.get("/half")
    def half() -> StreamingResponse:
        def pieces() -> Iterator[bytes]:
            yield b"half"
            raise RuntimeError("the other half")

        return StreamingResponse(pieces())

    with serving(app) as client, pytest.raises(httpx.RemoteProtocolError):
        client.get("/half")

    [told] = lines.crashes
    [line] = lines.requests
    assert told["id"] == line["id"]
    assert (line["status"], line["bytes"]) == (200, 4)


def test_a_name_that_code_lacks_is_told() -> None:
    with pytest.raises(AttributeError) as caught:
        object.__getattribute__(None, "no_such_name")
    assert "has no attribute 'no_such_name'" in traceback_text(caught.value)


def test_whatever_looks_like_a_token_is_left_out() -> None:
    secret = new_secret()

    assert without_secrets(f"a {secret} b {secret}") == "a hc_… b hc_…"
    assert without_secrets("hc_ is how they begin") == "hc_ is how they begin"


# --- health -------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", ["/v1/health", "/v1/health/ready"])
def test_readiness_needs_no_token_and_tells_counts_alone(client: httpx.Client, path: str) -> None:
    assert client.get(path, headers={"Authorization": ""}).json() == {
        "ready": True,
        "version": __version__,
        "matrices": len(MATRICES),
        "broken": 0,
    }


def test_a_server_whose_database_is_gone_lives_and_is_not_ready(
    matrices: Path, tmp_path: Path
) -> None:
    # Nothing listens on port 1 of this machine (assigned to TCPMUX, RFC 1078).
    gone = sa.create_engine("postgresql+psycopg://nobody@127.0.0.1:1/none")
    with serving(app_on(matrices, Store(gone, tmp_path))) as client:
        answer = client.get("/v1/health/ready")
        alive = client.get("/v1/health/alive")

    assert problem(answer, 503)["type"] == "/problems/store-away"
    assert int(answer.headers["retry-after"]) > 0
    assert alive.json() == {"alive": True}
    assert "127.0.0.1" not in answer.text


def test_a_server_whose_database_is_rubbish_is_not_ready(matrices: Path, tmp_path: Path) -> None:
    store = open_store(tmp_path)
    store.close()
    (tmp_path / DATABASE).write_bytes(b"rubbish " * 1_000)
    with serving(app_on(matrices, store)) as client:
        document = problem(client.get("/v1/health"), 503)

    assert document["type"] == "/problems/store-broken"
    assert str(tmp_path) not in json.dumps(document)


def test_readiness_notices_a_database_that_is_damaged_while_it_is_open(
    matrices: Path, tmp_path: Path
) -> None:
    store = open_store(tmp_path)
    store.close()
    with serving(app_on(matrices, store)) as client:
        with store.reading():
            pass  # leaves a connection that is open and has read nothing yet
        (tmp_path / DATABASE).write_bytes(b"rubbish " * 1_000)
        after = client.get("/v1/health/ready")

    problem(after, 503)


def test_a_server_all_of_whose_hands_are_busy_still_says_that_it_lives(
    matrices: Path, empty_store: Store
) -> None:
    app = app_on(matrices, empty_store)
    many = 60  # more than the threads that routes are run in
    busy, done = threading.Semaphore(0), threading.Event()

    @app.get("/slow")
    def slow() -> dict[str, bool]:
        busy.release()
        return {"done": done.wait(60)}

    with (
        serving(app) as client,
        httpx.Client(base_url=client.base_url, limits=httpx.Limits(), timeout=60) as others,
        ThreadPoolExecutor(many) as pool,
    ):
        waiting = [pool.submit(others.get, "/slow") for _ in range(many)]
        for _ in range(40):  # AnyIO's default number of worker threads
            assert busy.acquire(timeout=60)
        alive = client.get("/v1/health/alive")
        unanswered = [each for each in waiting if not each.done()]
        done.set()
        answers = [each.result() for each in waiting]

    assert alive.json() == {"alive": True}
    assert len(unanswered) == many
    assert {each.status_code for each in answers} == {200}
