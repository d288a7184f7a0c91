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
from copy import deepcopy
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cache
from itertools import count
from pathlib import Path
from typing import Any

import pytest
import requests
import schemathesis
import sqlalchemy as sa
from hypothesis import HealthCheck, Phase, settings
from schemathesis.checks import not_a_server_error
from schemathesis.generation.meta import TestPhase
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
from api.store.audit import audit
from api.store.claims import Issue
from api.store.forget import forget
from api.store.ids import PATTERN
from api.store.opening import open_store
from api.store.session import Store
from hailcalc.claim.answers import LineAnswer
from hailcalc.claimfile import claim_from_data, require_claim
from hailcalc.photographs import Photograph, examine
from tests.api.conftest import HERE, TRIM, app_on, bearer, serving, write_matrices
from tests.api.storehouse import two_panels
from tests.api.stormhouse import write_storm
from tests.databases import KINDS, new_database
from tests.effort import SOAK, examples

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
"""What claims are about; `supplement`: issued twice, with a third draft that waits."""

FITTING = {
    "GET /v1/claims/{claim}/draft": "supplement",
    "PUT /v1/claims/{claim}/draft": "issued",
    "POST /v1/claims/{claim}/withdrawal": "answered",
    "POST /v1/claims/{claim}/revisions": "draft",
    "GET /v1/claims/{claim}/changes": "supplement",
    "POST /v1/claims/{claim}/answers": "issued",
    "POST /v1/claims/{claim}/agreement": "answered",
    "POST /v1/claims/{claim}/links": "issued",
    "POST /v1/claims/{claim}/photographs": "draft",
    "DELETE /v1/claims/{claim}/photographs/{photograph}": "draft",
}
"""In which state a claim may have such a thing done; every other request is about one of these."""

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
    second: Issue
    picture: Photograph
    known: dict[str, Known] = field(default_factory=dict)

    def of(self, state: str) -> Known:
        """A claim in a state."""
        if state not in self.known:
            self.known[state] = self._made(state)
        return self.known[state]

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
                head = freeze(writing, waiting(writing.connection, head), self.second)
                head = stored.save_draft(writing, head, FILE, None)
            if state in ("answered", "agreed", "forgotten"):
                stands = stored.standing_of(writing.connection, head.id, 1)
                assert stands is not None
                given = [LineAnswer(line=each.number, answer="accept") for each in stands.lines]
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


@cache
def jpeg() -> bytes:
    """A small picture."""
    from PIL import Image

    data = io.BytesIO()
    Image.new("RGB", (320, 240), "grey").save(data, "JPEG")
    return data.getvalue()


def stocked(store: Store, matrices: Path) -> Stock:
    """A stock whose claims are all issued as the same sheets."""
    library = Library(matrices).fresh()

    def issue(head: stored.Head, reason: str) -> tuple[stored.Head, Issue]:
        with store.reading() as connection:
            waits = waiting(connection, head)
        done = made(waits, library, store, None, paper="letter", labels="us", reason=reason)
        with store.writing(WHO) as writing:
            head = freeze(writing, waits, done)
            return stored.save_draft(writing, head, FILE, None), done

    with store.writing(WHO) as writing:
        head = stored.open_claim(writing, FILE, None)
    head, first = issue(head, "")
    _, second = issue(head, "Counted again.")
    return Stock(store, first, second, examine(jpeg(), "a picture"))


@pytest.fixture(scope="module")
def matrices(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A matrix with trim, so that the plan of the documentation can be made."""
    return write_matrices(tmp_path_factory.mktemp("trim"), {"thistle-own": TRIM})


@pytest.fixture(scope="module", params=KINDS)
def stock(
    request: pytest.FixtureRequest, matrices: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Stock]:
    url = None
    if request.param == "postgresql":
        url = new_database(request.getfixturevalue("postgres_server"))
    store = open_store(tmp_path_factory.mktemp("fuzzed"), url)
    yield stocked(store, matrices)
    whole = audit(store).findings
    store.close()
    assert whole == ()


def document() -> dict[str, Any]:
    """The OpenAPI document, which depends on no store."""
    nowhere = Store(sa.create_engine("sqlite://"), Path())
    return create_app(Setup(Path(), nowhere)).openapi()


api = schemathesis.openapi.from_dict(document())
# A header that is missing may be a 428 too (RFC 6585, section 3).
api.config.checks.missing_required_header.expected_statuses = [
    "401",
    "404",
    "410",
    "415",
    "422",
    "428",
]
# A body that breaks the schema by its size is refused for its size (RFC 9110, 15.5.14).
api.config.checks.negative_data_rejection.expected_statuses = [
    *api.config.checks.negative_data_rejection.expected_statuses,
    "413",
]


@pytest.fixture(scope="module")
def address(
    stock: Stock, matrices: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[str]:
    """Where the application is served."""
    storms = tmp_path_factory.mktemp("storms")
    write_storm(storms, "small-hail")
    with serving(app_on(matrices, stock.store, storms=storms)) as client:
        yield str(client.base_url)


@pytest.fixture(scope="module")
def session() -> Iterator[requests.Session]:
    """Connections that stay open."""
    with requests.Session() as opened:
        yield opened


@pytest.fixture
def statuses() -> Iterator[Counter[int]]:
    """How often an operation answered what; it must have done at least once what it is for."""
    seen: Counter[int] = Counter()
    yield seen
    assert any(200 <= status < 300 for status in seen), seen


@pytest.fixture
def turns() -> Iterator[int]:
    """The number of a request among those to one operation, whatever else runs."""
    return count()


Case = schemathesis.Case[Any]


def copied(case: Case) -> Case:
    """A request to change: the one given is sent again, to the other database."""
    meta = deepcopy(case.meta)
    copy = case.derive()
    copy._meta = meta  # before anything changes: a change is noted there
    copy.body = deepcopy(case.body)
    return copy


def is_wrong(case: Case) -> bool:
    """Whether a request is wrong on purpose; the document's own examples are not."""
    return case.meta is not None and case.meta.generation.mode.is_negative


def aimed(case: Case, known: Known) -> None:
    """Let a request be about something that is there, unless its path is wrong on purpose."""
    path = case.path_parameters
    for name, there in (("claim", known.claim), ("link", known.link)):
        if re.fullmatch(PATTERN, str(path.get(name, ""))):
            path[name] = there
    for name in ("number", "photograph"):
        if re.fullmatch("[1-9][0-9]{0,2}", str(path.get(name, ""))):
            path[name] = 1


def is_example(case: Case) -> bool:
    """Whether a request is the one that the documentation shows."""
    return case.meta is None or case.meta.phase.name is TestPhase.EXAMPLES


def filled(case: Case, settlement: str | None, turn: int) -> None:
    """Give a request that is right what only somebody knows who has read the claim."""
    path = case.path_parameters
    if path.get("name") not in (None, "claim", "matrix", "sheet") and (
        turn % 2 or is_example(case)
    ):
        path["name"] = "thistle-own"
    if (
        is_example(case) or turn % 5 != 3
    ):  # the documentation has one key for all, so few may use it
        case.headers.pop("Idempotency-Key", None)
        if "If-Match" in case.headers:
            case.headers["If-Match"] = "*"
    known = {"matrix": "thistle-own"} | (
        {"revision": 1, "from": 1, "to": 2} if turn % 2 or is_example(case) else {}
    )
    case.query |= {name: value for name, value in known.items() if name in case.query}
    body: Any = case.body
    if not isinstance(body, dict):
        return
    if isinstance(body.get("matrix"), str):
        body["matrix"] = "thistle-own"
    if case.path.endswith("/answers"):
        body["revision"] = 1
        if turn % 3:
            body["answers"] = fitting_answers(body.get("answers") or [])
            body["others"] = body.get("others") if body["answers"] else "accept"
        if is_example(case):  # its amounts are those of another sheet
            body["answers"] = [{"line": 1, "answer": "accept"}]
    if "settlement" in body and settlement and (turn % 3 or is_example(case)):
        body["settlement"] = settlement
    if case.path.endswith("/revisions") and (turn % 3 or is_example(case)):
        body["reason"] = ""


def fitting_answers(lines: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Answers to the first lines of the sheet, each with what its kind needs and nothing else."""
    fitting = []
    for number, line in enumerate(lines[:3], start=1):
        kind = line["answer"]
        amount = {"amount": "1.00"} if kind == "amount" else {}
        fitting.append(
            {**line, "line": number, "reason": line.get("reason") or "As seen."} | amount
        )
        if kind != "amount":
            fitting[-1].pop("amount", None)
    return fitting


def adjusts(case: Case, turn: int) -> bool:
    """Whether the adjuster asks, rather than the owner."""
    if case.path.endswith("/answers") and case.method == "POST":
        return True
    return case.path.endswith(("/agreement", "/answers", "/{claim}")) and turn % 2 == 1


LARGE = {
    "POST /v1/claims": 15,
    "PUT /v1/claims/{claim}/draft": 23,
    "POST /v1/price": 23,
    "POST /v1/plan": 23,
}
"""They take a claim file, which has a thousand edges: one of so many is tried in every run.

Of the edges of every other operation one of `FEW`. All odd, since every second turn meets a claim
in a fitting state.
"""

FEW = 3


def left_out(case: Case, turn: int) -> bool:
    """Whether a case is left to longer runs."""
    edge = case.meta is not None and case.meta.phase.name is TestPhase.COVERAGE
    return edge and not SOAK and turn % LARGE.get(case.operation.label, FEW) > 0


@api.parametrize()
@settings(
    max_examples=examples(10),
    deadline=None,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
)
def test_every_answer_is_what_the_document_says(
    case: Case,
    stock: Stock,
    address: str,
    session: requests.Session,
    statuses: Counter[int],
    turns: Iterator[int],
) -> None:
    turn = next(turns)
    if left_out(case, turn):
        return
    wrong, case = is_wrong(case), copied(case)
    state = STATES[turn % len(STATES)]
    if turn % 2 or is_example(case):
        state = FITTING.get(case.operation.label, state)
    known = stock.of(state)
    aimed(case, known)
    if not wrong:
        filled(case, stock.settlement(known.claim), turn)
    who = known.adjuster if adjusts(case, turn) else bearer(HERE)
    checks = CHECKS
    if (case.media_type or "").startswith("image/"):
        # Bytes fit no schema of a text, so every picture would count as wrong.
        checks = [check for check in CHECKS if check is not negative_data_rejection]
        if not wrong and (turn % 2 or is_example(case)):
            case.media_type, case.body = "image/jpeg", jpeg()
    response = case.call(base_url=address, session=session, headers=who, timeout=60)
    statuses[response.status_code] += 1
    if case.method != "GET" and response.status_code < 300:
        del stock.known[state]
    case.validate_response(response, checks=checks, headers=who)
