"""Claims and sheets without persons: nothing of them is left, and every sum is."""

from __future__ import annotations

import json
from typing import Any

import pytest

from hailcalc.claim.anonymous import anonymous_answers, anonymous_sheet
from hailcalc.sheet.verify import verify_sheet
from tests.builders import DEMO, demo_sheet


def words_of(file: dict[str, Any]) -> list[str]:
    """Every text of a claim file that names somebody or something of theirs.

    The shop's name may stand in the title of its own matrix, which stays whole.
    """
    shop = file.get("shop", {})
    found = [file["claim"]["number"], *(shop.get(key) for key in ("address", "contact", "licence"))]
    found += [file["claim"].get(key) for key in ("customer", "estimator")]
    found += [file["vehicle"].get(key) for key in ("vin", "description")]
    found += [panel.get("note") for panel in file["panels"]]
    found += [other["label"] for other in file.get("other", ())]
    return [word for word in found if word]


@pytest.mark.parametrize("name", DEMO)
def test_an_anonymous_sheet_has_the_same_sums_and_verifies(name: str) -> None:
    document = demo_sheet(name)
    anonymous = anonymous_sheet(document, "claim-0001")
    assert verify_sheet(anonymous) == []
    assert anonymous["totals"] == document["totals"]
    amounts = [[line["amount"] for line in each["lines"]] for each in (document, anonymous)]
    assert amounts[0] == amounts[1]


@pytest.mark.parametrize("name", DEMO)
def test_nothing_that_names_a_person_is_left(name: str) -> None:
    document = demo_sheet(name)
    text = json.dumps(anonymous_sheet(document, "claim-0001"), ensure_ascii=False)
    for word in words_of(document["claim_file"]):
        assert word not in text


def test_what_is_compared_stays() -> None:
    document = demo_sheet(DEMO[1])
    claim = anonymous_sheet(document, "claim-0001")["claim_file"]
    assert claim["claim"]["insurer"] == document["claim_file"]["claim"]["insurer"]
    assert claim["claim"]["date_of_loss"] == document["claim_file"]["claim"]["date_of_loss"]
    assert [panel["tally"] for panel in claim["panels"]] == [
        panel["tally"] for panel in document["claim_file"]["panels"]
    ]


def test_answers_keep_what_was_said_of_the_money_and_not_why() -> None:
    given = [{"line": 2, "answer": "amount", "amount": "4.00", "reason": "He said so."}]
    assert anonymous_answers(given) == [{"line": 2, "answer": "amount", "amount": "4.00"}]


def test_an_anonymous_sheet_has_no_signature() -> None:
    document = demo_sheet(DEMO[0]) | {"signature": "a.b.c"}
    assert "signature" not in anonymous_sheet(document, "claim-0001")
