"""The documentation: a page that needs no internet, and an OpenAPI document that says the truth."""

from __future__ import annotations

from collections.abc import Iterator
from html.parser import HTMLParser
from typing import Any

import httpx
import pytest
from jsonschema import Draft202012Validator

from tests.api.conftest import three_dimes


class References(HTMLParser):
    """What a page loads, and the scripts and styles written into it."""

    def __init__(self) -> None:
        super().__init__()
        self.links: list[str] = []
        self.inline: list[str] = []
        self._inside = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._inside = tag
        self.links += [value or "" for name, value in attrs if name in ("src", "href")]
        self.inline += [name for name, _ in attrs if name.startswith("on") or name == "style"]

    def handle_data(self, data: str) -> None:
        if self._inside in ("script", "style") and data.strip():
            self.inline.append(data)


@pytest.fixture(scope="module")
def document(client: httpx.Client) -> dict[str, Any]:
    found: dict[str, Any] = client.get("/openapi.json").json()
    return found


def test_the_page_loads_everything_from_this_server(client: httpx.Client) -> None:
    page = client.get("/docs")
    references = References()
    references.feed(page.text)

    assert page.headers["content-type"].startswith("text/html")
    assert "//" not in page.text.replace("<!--", "")
    assert references.inline == []
    assert len(references.links) == 4
    for link in references.links:
        assert link.startswith("/docs/")
        loaded = client.get(link)
        assert loaded.status_code == 200
        assert loaded.content


def test_the_page_is_let_load_from_this_server_only(client: httpx.Client) -> None:
    policy = dict(
        part.strip().split(" ", 1)
        for part in client.get("/docs").headers["content-security-policy"].split(";")
    )

    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == policy["connect-src"] == "'self'"
    assert not [sources for sources in policy.values() if "//" in sources or "*" in sources]


def test_the_script_that_starts_the_page_names_no_host(client: httpx.Client) -> None:
    start = client.get("/docs/start.js")

    assert start.headers["content-type"].startswith("text/javascript")
    assert 'url: "/openapi.json"' in start.text
    assert "//" not in start.text


ROUTES = """
get /v1/claims
post /v1/claims
get /v1/claims/{claim}
get /v1/claims/{claim}/answers
post /v1/claims/{claim}/answers
post /v1/claims/{claim}/agreement
get /v1/claims/{claim}/changes
get /v1/claims/{claim}/draft
put /v1/claims/{claim}/draft
get /v1/claims/{claim}/history
get /v1/claims/{claim}/links
post /v1/claims/{claim}/links
delete /v1/claims/{claim}/links/{link}
get /v1/claims/{claim}/photographs
post /v1/claims/{claim}/photographs
delete /v1/claims/{claim}/photographs/{photograph}
get /v1/claims/{claim}/photographs/{photograph}
get /v1/claims/{claim}/revisions
post /v1/claims/{claim}/revisions
get /v1/claims/{claim}/revisions/{number}
post /v1/claims/{claim}/withdrawal
get /v1/health
get /v1/health/alive
get /v1/health/ready
get /v1/matrices
get /v1/matrices/{name}
get /v1/outlines/{body}
post /v1/plan
post /v1/price
get /v1/schemas/{name}
get /v1/storms
get /v1/storms/charts/{chart}.svg
get /v1/storms/comparison
get /v1/token
"""


def operations_of(document: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {
        f"{method} {path}": operation
        for path, operations in document["paths"].items()
        for method, operation in operations.items()
    }


def test_every_route_is_described(document: dict[str, Any]) -> None:
    assert document["openapi"].startswith("3.1.")
    assert sorted(operations_of(document)) == sorted(ROUTES.split("\n")[1:-1])


def test_every_route_shows_an_example_of_its_answer_and_of_its_body(
    document: dict[str, Any],
) -> None:
    """A picture or a PDF is its own example."""
    without = []
    for name, operation in operations_of(document).items():
        bodies = [operation["requestBody"]] if "requestBody" in operation else []
        answers = [
            answer for status, answer in operation["responses"].items() if status.startswith("2")
        ]
        for each in (*bodies, *answers):
            for kind, media in each.get("content", {}).items():
                if kind.endswith("json") and "example" not in media:
                    without.append((name, kind))
    assert without == []


def test_what_changes_a_claim_takes_a_key_and_the_version_it_was_made_against(
    document: dict[str, Any],
) -> None:
    for name, operation in operations_of(document).items():
        headers = {each["name"] for each in operation["parameters"] if each["in"] == "header"}
        if name.startswith("post"):
            assert "Idempotency-Key" in headers, name
        assert ("If-Match" in headers) == ("428" in operation["responses"]), name


def test_every_error_is_described_as_a_problem_document(document: dict[str, Any]) -> None:
    for operation in operations_of(document).values():
        for status, answer in operation["responses"].items():
            if not status.startswith("2"):
                assert list(answer["content"]) == ["application/problem+json"]


def references_in(node: Any) -> Iterator[str]:
    if isinstance(node, dict):
        if isinstance(node.get("$ref"), str):
            yield node["$ref"]
        for key, inner in node.items():
            if key != "example":  # that of a schema is a schema
                yield from references_in(inner)
    elif isinstance(node, list):
        for inner in node:
            yield from references_in(inner)


def test_every_reference_leads_somewhere(document: dict[str, Any]) -> None:
    found = set(references_in(document))

    assert "#/components/schemas/ClaimSheet" in found
    for reference in found:
        inner: Any = document
        for key in reference.removeprefix("#/").split("/"):
            inner = inner[key]
        Draft202012Validator.check_schema(inner)


def fits(value: Any, name: str, document: dict[str, Any]) -> bool:
    """Whether a value fits a component of the OpenAPI document."""
    reference = {"$ref": f"#/components/schemas/{name}", "components": document["components"]}
    return bool(Draft202012Validator(reference).is_valid(value))


def test_the_example_is_a_claim_that_is_priced(
    client: httpx.Client, document: dict[str, Any]
) -> None:
    body = document["paths"]["/v1/price"]["post"]["requestBody"]["content"]["application/json"]
    assert body["schema"] == {"$ref": "#/components/schemas/ClaimFile"}
    assert fits(body["example"], "ClaimFile", document)

    claim = body["example"] | {"matrix": "thistle-own"}
    for panel in claim["panels"]:
        panel["tally"] = {"dime": 2}
    response = client.post("/v1/price", json=claim)

    assert response.status_code == 200
    assert fits(response.json(), "ClaimSheet", document)


def test_the_example_of_an_outline_has_the_shape_of_one(document: dict[str, Any]) -> None:
    answer = document["paths"]["/v1/outlines/{body}"]["get"]["responses"]["200"]
    described = answer["content"]["application/json"]

    assert described["schema"] == {"$ref": "#/components/schemas/BodyOutlines"}
    assert fits(described["example"], "BodyOutlines", document)


def test_the_example_of_a_schema_is_how_the_one_of_claims_begins(
    client: httpx.Client, document: dict[str, Any]
) -> None:
    answer = document["paths"]["/v1/schemas/{name}"]["get"]["responses"]["200"]
    example = answer["content"]["application/schema+json"]["example"]
    served = client.get("/v1/schemas/claim").json()

    assert example == {key: served[key] for key in example}


def test_answers_are_as_described(client: httpx.Client, document: dict[str, Any]) -> None:
    assert fits(client.get("/v1/matrices").json(), "MatrixList", document)
    assert fits(client.get("/v1/matrices/thistle-own").json(), "Matrix", document)
    assert fits(client.get("/v1/outlines/pickup").json(), "BodyOutlines", document)
    assert fits(client.get("/v1/health").json(), "Health", document)
    assert fits(client.post("/v1/price", json=three_dimes()).json(), "ClaimSheet", document)
    assert fits(client.get("/nowhere").json(), "Problem", document)
    assert not fits(client.get("/nowhere").json(), "Health", document)


def test_every_example_is_of_the_shape_that_is_promised(document: dict[str, Any]) -> None:
    schemas = document["components"]
    for name, operation in operations_of(document).items():
        answers = [*operation["responses"].values(), operation.get("requestBody", {})]
        for answer in answers:
            media = answer.get("content", {}).get("application/json", {})
            if "example" in media and "schema" in media:
                shape = media["schema"] | {"components": schemas}
                errors = list(Draft202012Validator(shape).iter_errors(media["example"]))
                assert errors == [], name
