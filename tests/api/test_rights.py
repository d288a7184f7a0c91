"""Who may do what: every route, tried by everybody who might.

The table names for each route who gets an answer; all others get a problem document that says
401, 403 or 404, and change nothing. A route that is not in the table fails the first test.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from api.routes.plan import EXAMPLE as PLANNED
from api.store import tokens
from api.store.audit import audit
from api.store.opening import open_store
from api.store.session import Store
from tests.api.conftest import app_on, bearer, serving, three_dimes
from tests.api.storehouse import PLAIN, answered, issued, linked, opened, two_panels
from tests.api.stormhouse import write_storm
from tests.api.test_claim_photographs import picture, sent

SHOP = {"owner", "estimator"}
"""The shop's people; `reader` is an owner whose token was narrowed to reading."""

EVERYBODY = {
    "owner", "estimator", "adjuster", "another adjuster", "reader", "nobody", "unknown", "expired",
    "revoked", "revoked link",
}  # fmt: skip
READERS = SHOP | {"adjuster", "reader"}

JSON = {"Content-Type": "application/json"}


@dataclass(frozen=True)
class Line:
    """A route as somebody asks it, and who gets an answer."""

    method: str
    path: str
    who: set[str]
    body: Any = None
    headers: dict[str, str] | None = None


OPEN = EVERYBODY
TABLE = [
    Line("POST", "/v1/claims", SHOP, three_dimes()),
    Line("GET", "/v1/claims", SHOP | {"reader"}),
    Line("GET", "/v1/claims/{claim}", READERS),
    Line("GET", "/v1/claims/{claim}/draft", SHOP),
    Line("PUT", "/v1/claims/{claim}/draft", SHOP, two_panels(number="Changed")),
    Line("POST", "/v1/claims/{claim}/withdrawal", SHOP, {"reason": "Sold."}),
    Line("GET", "/v1/claims/{claim}/history", SHOP | {"reader"}),
    Line("POST", "/v1/claims/{claim}/revisions", SHOP, {"reason": "More."}),
    Line("GET", "/v1/claims/{claim}/revisions", READERS),
    Line("GET", "/v1/claims/{claim}/revisions/{number}", READERS),
    Line("GET", "/v1/claims/{claim}/changes", READERS),
    Line("GET", "/v1/claims/{claim}/answers", READERS),
    Line("POST", "/v1/claims/{claim}/answers", {"adjuster"}, {"revision": 2, "others": "accept"}),
    Line("POST", "/v1/claims/{claim}/agreement", SHOP | {"adjuster"}, {"settlement": "0" * 64}),
    Line("POST", "/v1/claims/{claim}/links", SHOP, {"name": "Another"}),
    Line("GET", "/v1/claims/{claim}/links", SHOP),
    Line("DELETE", "/v1/claims/{claim}/links/{link}", SHOP),
    Line("POST", "/v1/claims/{claim}/photographs", SHOP, picture(), {"Content-Type": "image/jpeg"}),
    Line("GET", "/v1/claims/{claim}/photographs", READERS),
    Line("GET", "/v1/claims/{claim}/photographs/{photograph}", READERS),
    Line("DELETE", "/v1/claims/{claim}/photographs/{photograph}", SHOP),
    Line("POST", "/v1/price", SHOP | {"reader"}, three_dimes()),
    Line("POST", "/v1/plan", SHOP | {"reader"}, PLANNED),
    Line("GET", "/v1/matrices", SHOP | {"reader"}),
    Line("GET", "/v1/matrices/{name}", SHOP | {"reader"}),
    Line("GET", "/v1/storms", {"owner"}),
    Line("GET", "/v1/storms/comparison", {"owner"}),
    Line("GET", "/v1/storms/charts/{chart}.svg", {"owner"}),
    Line("GET", "/v1/token", READERS | {"another adjuster"}),
    Line("GET", "/v1/outlines/{body}", OPEN),
    Line("GET", "/v1/schemas/{name}", OPEN),
    Line("GET", "/v1/health", OPEN),
    Line("GET", "/v1/health/alive", OPEN),
    Line("GET", "/v1/health/ready", OPEN),
    Line("GET", "/problems/{kind}", OPEN),
    Line("GET", "/docs", OPEN),
    Line("GET", "/docs/start.js", OPEN),
    Line("GET", "/openapi.json", OPEN),
    Line("GET", "/", OPEN),
    Line("GET", "/claims", OPEN),
    Line("GET", "/storms", OPEN),
    Line("GET", "/answer", OPEN),
    Line("GET", "/pages/words.json", OPEN),
    Line("GET", "/pages/{name}", OPEN),
]


NAMES = {"name": "", "kind": "no-token", "body": "sedan", "chart": "measures"}


@dataclass
class House:
    """A claim with everything on it, and everybody's header."""

    client: httpx.Client
    store: Store
    people: dict[str, dict[str, str]]
    names: dict[str, str]


@pytest.fixture(scope="module")
def house(matrices: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    store = open_store(tmp_path_factory.mktemp("rights"))
    storms = tmp_path_factory.mktemp("storms")
    write_storm(storms, "small-hail")
    with serving(app_on(matrices, store, storms=storms)) as client:
        other = str(issued(client, opened(client)["id"])["id"])
        people = {"another adjuster": linked(client, other), "nobody": {}}
        people["unknown"] = bearer(tokens.new_secret())
        later, before = (datetime.now(UTC) + timedelta(days=days) for days in (1, -1))
        with store.writing("these-tests.") as writing:
            for role in ("owner", "estimator"):
                people[role] = bearer(tokens.add(writing, role, role, later)[1])
            people["expired"] = bearer(tokens.add(writing, "owner", "old", before)[1])
            people["reader"] = bearer(
                tokens.add(writing, "owner", "reader", later, scopes=("read",))[1]
            )
            gone, secret = tokens.add(writing, "owner", "gone", later)
            tokens.revoke(writing, gone.id)
            people["revoked"] = bearer(secret)
        found = House(client, store, people, dict(NAMES))
        found.names |= fresh_claim(found)
        yield found
    store.close()


def fresh_claim(house: House) -> dict[str, str]:
    """A new claim with a supplement, an answer, a photograph, a waiting draft and links."""
    shop = house.client
    claim = str(opened(shop)["id"])
    sent(shop, claim, picture(), panel="hood")
    issued(shop, claim)
    shop.put(f"/v1/claims/{claim}/draft", json=two_panels(), headers=PLAIN)
    issued(shop, claim, "Counted again.")
    house.people["adjuster"] = linked(shop, claim)
    house.people["revoked link"] = linked(shop, claim)
    links = shop.get(f"/v1/claims/{claim}/links").json()["links"]
    revoked = shop.delete(f"/v1/claims/{claim}/links/{links[0]['id']}")
    assert revoked.status_code == 204
    adjuster = house.people["adjuster"]
    answered(shop, claim, adjuster, {"line": 1, "answer": "accept"})
    shop.put(f"/v1/claims/{claim}/draft", json=two_panels(), headers=PLAIN)
    return {"claim": claim, "number": "1", "photograph": "1", "link": links[1]["id"]}


def routes_of(app: FastAPI) -> set[tuple[str, str]]:
    found: set[tuple[str, str]] = set()
    for route in app.routes:
        for method in getattr(route, "methods", None) or ():
            if method != "HEAD":
                found.add((method, str(getattr(route, "path", ""))))
    return found


def test_every_route_stands_in_the_table(matrices: Path, empty_store: Store) -> None:
    app = app_on(matrices, empty_store)
    documented = {
        (method.upper(), path)
        for path, operations in app.openapi()["paths"].items()
        for method in operations
    }
    assert documented | routes_of(app) <= {(line.method, line.path) for line in TABLE}
    assert len(TABLE) >= 43


def asked(house: House, line: Line, names: dict[str, str], who: str) -> httpx.Response:
    values = house.names | names
    values["name"] = {"/v1/schemas/{name}": "claim", "/pages/{name}": "page.js"}.get(
        line.path, "thistle-own"
    )
    url = line.path.format(**values)
    body = line.body if isinstance(line.body, bytes) or line.body is None else json.dumps(line.body)
    headers = PLAIN | (line.headers or (JSON if body is not None else {})) | house.people[who]
    request = house.client.build_request(line.method, url, content=body, headers=headers)
    if not house.people[who]:
        del request.headers["authorization"]
    return house.client.send(request)


@pytest.mark.parametrize("line", TABLE, ids=lambda line: f"{line.method} {line.path}")
def test_exactly_those_who_may_get_an_answer(house: House, line: Line) -> None:
    names = house.names
    before = audit(house.store).head
    for who in sorted(EVERYBODY - line.who):
        refused = asked(house, line, names, who)
        assert refused.status_code in (401, 403, 404), who
        assert refused.headers["content-type"] == "application/problem+json"
        assert ("www-authenticate" in refused.headers) == (refused.status_code == 401)
    assert audit(house.store).head == before
    people = house.people.copy()
    for who in sorted(line.who):
        if line.method != "GET" and "{claim}" in line.path:
            names = fresh_claim(house)
        answer = asked(house, line, names, who)
        # A settlement that nobody made is refused for what it is, not for who sends it.
        expected = (409,) if line.path.endswith("/agreement") else (200, 201, 204)
        assert answer.status_code in expected, (who, answer.text)
    # The links of the claims just made go with them.
    house.people.update(people)


def test_an_adjuster_cannot_tell_another_claim_from_none(house: House) -> None:
    names = house.names
    theirs = house.people["another adjuster"]
    one = house.client.get(f"/v1/claims/{names['claim']}", headers=theirs)
    none = house.client.get("/v1/claims/c7k2m9pq4xya", headers=theirs)
    same = [
        {key: value for key, value in answer.json().items() if key in ("type", "title", "status")}
        for answer in (one, none)
    ]
    assert same[0] == same[1]


def test_a_link_to_a_draft_shows_nothing_before_it_is_issued(house: House) -> None:
    claim = opened(house.client)["id"]
    answer = house.client.post(f"/v1/claims/{claim}/links", json={"name": "Too early"})
    assert answer.status_code == 409


@pytest.mark.parametrize(
    "header",
    ["Bearer", "Basic aGM6eA==", "bearer\thc_x", "hc_x", "Bearer hc_x hc_y", "Bearer \xe9"],
)
def test_what_is_no_token_is_none(house: House, header: str) -> None:
    given = [(b"Authorization", header.encode("latin-1"))]
    request = httpx.Request("GET", house.client.base_url.join("/v1/claims"), headers=given)
    assert house.client.send(request).status_code == 401
