"""What is wrong with a request about a claim is told all at once, and blanks are no words."""

from __future__ import annotations

import httpx

from tests.api.conftest import places, problem
from tests.api.storehouse import PLAIN, issued, linked, opened


def test_mistakes_that_only_the_sheet_shows_are_told_beside_those_of_the_form(
    shop: httpx.Client,
) -> None:
    claim = issued(shop, opened(shop)["id"])["id"]
    adjuster = linked(shop, claim) | PLAIN
    answers = [
        {"line": 1, "answer": "decline"},  # without a reason
        {"line": 1, "answer": "acept"},  # nothing that can be read
        {"line": 99, "answer": "accept"},
        {"line": 1, "answer": "amount", "amount": "500.00", "reason": "More."},
        {"line": 3, "answer": "amount", "amount": "8,00", "reason": "A comma."},
    ]
    path = f"/v1/claims/{claim}/answers"
    body = {"revision": 1, "answers": answers}
    document = problem(shop.post(path, json=body, headers=adjuster), 422)
    assert document["type"] == "/problems/invalid-answer"
    assert sorted(pointer for _, pointer in places(document)) == [
        "/answers/0/reason",
        "/answers/1/answer",
        "/answers/2/line",
        "/answers/3/amount",
        "/answers/3/line",
        "/answers/4/amount",
    ]
    found = {each["pointer"]: each["found"] for each in document["errors"]}
    assert found["/answers/3/line"] == "line 1 again, as in answers[0]"
    assert document["detail"] == "The answer has 6 mistakes."

    of_another = problem(shop.post(path, json=body | {"revision": 2}, headers=adjuster), 422)
    assert sorted(pointer for _, pointer in places(of_another)) == [
        "/answers/0/reason",
        "/answers/1/answer",
        "/answers/4/amount",
    ]


def test_a_reason_or_a_name_of_blanks_alone_is_none(shop: httpx.Client) -> None:
    claim = issued(shop, opened(shop)["id"])["id"]
    path = f"/v1/claims/{claim}"
    withdrawal = shop.post(f"{path}/withdrawal", json={"reason": "  \u3000"}, headers=PLAIN)
    [mistake] = problem(withdrawal, 422)["errors"]
    assert (mistake["pointer"], mistake["expected"]) == ("/reason", "why the claim ends, in words")
    link = problem(shop.post(f"{path}/links", json={"name": " ", "days": 0}), 422)
    assert places(link) == [("body", "/name"), ("body", "/days")]
    assert shop.get(path).json()["state"] == "issued"
    assert shop.get(f"{path}/links").json() == {"links": []}
