"""What tests of stored claims share: claims to send, and the steps of a claim's life."""

from __future__ import annotations

from typing import Any

import httpx

from tests.api.conftest import Claim, bearer, three_dimes

PLAIN = {"If-Match": "*"}
"""For tests in which nobody else changes the claim."""


def two_panels(**claim: Any) -> Claim:
    """A hood and a roof, and a part: lines enough to answer them differently."""
    file = three_dimes()
    file["panels"].append({"panel": "roof", "tally": {"dime": 1, "quarter": 2}})
    file["other"] = [{"kind": "part", "label": "Clips", "unit_price": "8.40"}]
    file["claim"] |= {"deductible": "10.00", "customer": "Q. Thornbury"} | claim
    return file


def opened(shop: httpx.Client, file: Claim | None = None, **query: str) -> dict[str, Any]:
    """A claim with its first draft."""
    answer = shop.post("/v1/claims", json=file or two_panels(), params=query)
    assert answer.status_code == 201, answer.text
    found: dict[str, Any] = answer.json()
    return found


def issued(shop: httpx.Client, claim: str, reason: str = "", **query: str) -> dict[str, Any]:
    """The claim once its draft is issued."""
    answer = shop.post(
        f"/v1/claims/{claim}/revisions", json={"reason": reason}, params=query, headers=PLAIN
    )
    assert answer.status_code == 201, answer.text
    found: dict[str, Any] = answer.json()
    return found


def supplemented(shop: httpx.Client, claim: str, file: Claim, reason: str) -> dict[str, Any]:
    """The claim once another draft is saved and issued."""
    answer = shop.put(f"/v1/claims/{claim}/draft", json=file, headers=PLAIN)
    assert answer.status_code == 200, answer.text
    return issued(shop, claim, reason)


def linked(shop: httpx.Client, claim: str, name: str = "R. Tallow") -> dict[str, str]:
    """The header by which an adjuster's link opens the claim."""
    answer = shop.post(f"/v1/claims/{claim}/links", json={"name": name})
    assert answer.status_code == 201, answer.text
    return bearer(answer.json()["token"])


def answered(
    shop: httpx.Client, claim: str, adjuster: dict[str, str], *answers: dict[str, Any]
) -> dict[str, Any]:
    """How the claim stands after the adjuster's answer to its latest revision."""
    revision = shop.get(f"/v1/claims/{claim}").json()["revision"]
    answer = shop.post(
        f"/v1/claims/{claim}/answers",
        json={"revision": revision, "answers": list(answers)},
        headers=adjuster | PLAIN,
    )
    assert answer.status_code == 201, answer.text
    found: dict[str, Any] = answer.json()
    return found


def accepting(*lines: int) -> list[dict[str, Any]]:
    """Acceptance of some lines."""
    return [{"line": line, "answer": "accept"} for line in lines]
