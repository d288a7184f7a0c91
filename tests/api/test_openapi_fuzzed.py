"""The OpenAPI document held against the application, by requests that are made from it.

schemathesis makes them: the document's own examples, values at the edges of every schema, values
just outside, and random ones. They go to a real server on either database, about claims in every
state, with a token that may do what is asked. No answer may be a mistake of the server's, and each
must be what the document says: its status, content type and schema.
"""

from __future__ import annotations

import io
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path
from typing import Any

import pytest
import schemathesis
import sqlalchemy as sa
from hypothesis import HealthCheck, Phase, settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    allow_header_conformance,
    content_type_conformance,
    missing_required_header,
    negative_data_rejection,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
    unsupported_method,
)

from api.app import create_app
from api.issuing import freeze, made, waiting
from api.library import Library
from api.state import Setup
from api.store import claims as stored
from api.store import photographs, tokens
from api.store.answers import add_agreement, add_answers
from api.store.claims import Issue
from api.store.forget import forget
from api.store.ids import PATTERN
from api.store.opening import open_store
from api.store.session import Store
from hailcalc.claim.answers import LineAnswer
from hailcalc.claimfile import claim_from_data, require_claim
from hailcalc.photographs import examine
from tests.api.conftest import HERE, app_on, bearer, serving
from tests.api.storehouse import two_panels
from tests.databases import KINDS, new_database
from tests.effort import examples

CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    negative_data_rejection,
    missing_required_header,
    unsupported_method,
    allow_header_conformance,
]

WHO = "shop-fuzzed"
STATES = ("draft", "issued", "supplement", "answered", "agreed", "withdrawn", "forgotten")
"""What claims are about; `supplement`: issued, with another draft that waits."""

LINES = 3
FILE = require_claim(claim_from_data(two_panels()))


@dataclass(frozen=True, slots=True)
class Known:
    """A claim that is there: what its path parameters are, and what its adjuster shows."""

    claim: str
    link: str
    adjuster: dict[str, str]


@dataclass(slots=True)
class Stock:
    """Claims in every state, and more of them when requests have changed some."""

    store: Store
    first: Issue
    picture: Any
    known: dict[str, Known] = field(default_factory=dict)
    turn: Iterator[int] = field(default_factory=count)

    def next(self) -> tuple[str, Known]:
        """A claim of the next state."""
        state = STATES[next(self.turn) % len(STATES)]
        if state not in self.known:
            self.known[state] = self._made(state)
        return state, self.known[state]

    def _made(self, state: str) -> Known:
        store = self.store
        with store.writing(WHO) as writing:
            head = stored.open_claim(writing, FILE, "alderbeck-2026-05")
            until = datetime.now(UTC) + timedelta(days=1)
            link, secret = tokens.add(writing, "adjuster", "R. Tallow", until, claim=head.id)
            photographs.add(writing, store, head.id, self.picture, "hood", "Before")
            if state != "draft":
                waits = waiting(writing.connection, head)
                head = freeze(writing, waits, self.first)
            if state == "supplement":
                head = stored.save_draft(writing, head, FILE, None)
            if state in ("answered", "agreed", "forgotten"):
                given = [LineAnswer(line=line + 1, answer="accept") for line in range(LINES)]
                add_answers(writing, head.id, 1, given)
                head = stored.refresh(writing, head.id)
            if state == "agreed":
                settled = stored.settlement_of(writing.connection, head.id, 1)
                assert settled is not None
                for side in ("shop", "adjuster"):
                    add_agreement(writing, head.id, 1, side, settled["settlement"])
                head = stored.refresh(writing, head.id)
            if state == "withdrawn":
                head = stored.withdraw(writing, head, "Sold as it is.")
        if state == "forgotten":
            forget(store, head.id, WHO)
        return Known(head.id, link.id, bearer(secret))

    def settlement(self, claim: str) -> str | None:
        """What there is to agree to about a claim."""
        with self.store.reading() as connection:
            settled = stored.settlement_of(connection, claim, 1)
        return None if settled is None else str(settled["settlement"])


def picture() -> Any:
    from PIL import Image

    data = io.BytesIO()
    Image.new("RGB", (320, 240), "grey").save(data, "JPEG")
    return examine(data.getvalue(), "a picture")


def stocked(store: Store, matrices: Path) -> Stock:
    """A stock whose claims are all issued as the same sheet."""
    with store.writing(WHO) as writing:
        head = stored.open_claim(writing, FILE, None)
    with store.reading() as connection:
        waits = waiting(connection, head)
    library = Library(matrices).fresh()
    first = made(waits, library, store, None, paper="letter", labels="us", reason="")
    return Stock(store, first, picture())


@pytest.fixture(scope="module", params=KINDS)
def stock(
    request: pytest.FixtureRequest, matrices: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Stock]:
    url = None
    if request.param == "postgresql":
        url = new_database(request.getfixturevalue("postgres_server"))
    store = open_store(tmp_path_factory.mktemp("fuzzed"), url)
    yield stocked(store, matrices)
    store.close()


def document() -> dict[str, Any]:
    """The OpenAPI document, which depends on no store."""
    nowhere = Store(sa.create_engine("sqlite://"), Path())
    return create_app(Setup(Path(), nowhere)).openapi()


api = schemathesis.openapi.from_dict(document())


@pytest.fixture(scope="module")
def address(stock: Stock, matrices: Path) -> Iterator[str]:
    """Where the application is served."""
    with serving(app_on(matrices, stock.store)) as client:
        yield str(client.base_url)


@pytest.fixture
def statuses() -> Iterator[Counter[int]]:
    """How often an operation answered what; it must have done at least once what it is for."""
    seen: Counter[int] = Counter()
    yield seen
    print(sorted(seen.items()))
    assert any(200 <= status < 300 for status in seen), seen


def aimed(case: schemathesis.Case, stock: Stock) -> dict[str, str]:
    """Let a request be about something that is there; returns the headers of who asks."""
    state, known = stock.next()
    path = case.path_parameters
    for name, there in (("claim", known.claim), ("link", known.link)):
        if re.fullmatch(PATTERN, str(path.get(name, ""))):
            path[name] = there
    for name in ("number", "photograph"):
        if re.fullmatch("[0-9]+", str(path.get(name, ""))) and int(path[name]) > 1:
            path[name] = 1
    turn = next(stock.turn)
    if case.headers.get("If-Match") and turn % 4:
        case.headers["If-Match"] = "*"
    if turn % 4:
        case.headers.pop("Idempotency-Key", None)
    body = case.body
    if isinstance(body, dict):
        if "/answers" in case.path and isinstance(body.get("revision"), int):
            body["revision"] = 1
            for number, line in enumerate(body.get("answers") or []):
                if isinstance(line, dict) and turn % 3:
                    line["line"] = number % LINES + 1
        settled = stock.settlement(known.claim) if "settlement" in body and turn % 3 else None
        if settled is not None:
            body["settlement"] = settled
    answers = case.method == "POST" and case.path.endswith("/answers")
    adjusts = answers or (case.path.endswith("/agreement") and turn % 2)
    return known.adjuster if adjusts else bearer(HERE)


@api.parametrize()
@settings(
    max_examples=examples(8),
    deadline=None,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
)
def test_every_answer_is_what_the_document_says(
    case: schemathesis.Case, stock: Stock, address: str, statuses: Counter[int]
) -> None:
    who = aimed(case, stock)
    response = case.call(base_url=address, headers=who, timeout=60)
    statuses[response.status_code] += 1
    if case.method != "GET" and response.status_code < 300:
        stock.known.clear()
    case.validate_response(response, checks=CHECKS, headers=who)
