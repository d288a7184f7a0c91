"""A claim's life through the API: drafted, issued, answered, supplemented, agreed or withdrawn."""

from __future__ import annotations

import json
from pathlib import Path

import httpx

from api.store.session import Store
from hailcalc.reading import load_json
from hailcalc.sheet.pdfcheck import verify_pdf
from hailcalc.sheet.verify import verify_sheet
from tests.api.conftest import (
    OWN,
    app_on,
    places,
    problem,
    serving,
    three_dimes,
    write_matrices,
)
from tests.api.storehouse import (
    PLAIN,
    accepting,
    answered,
    issued,
    linked,
    opened,
    supplemented,
    two_panels,
)


def test_a_claim_goes_from_draft_to_agreed_when_both_sides_agree(shop: httpx.Client) -> None:
    claim = opened(shop, storm="alderbeck-2026-05")
    assert (claim["state"], claim["draft"], claim["revision"]) == ("draft", 1, None)
    claim = issued(shop, claim["id"])
    assert (claim["state"], claim["draft"], claim["revision"]) == ("issued", None, 1)
    assert claim["sums"]["open"] == claim["sums"]["total"]
    adjuster = linked(shop, claim["id"])
    stands = answered(shop, claim["id"], adjuster, *accepting(1, 2))
    assert (stands["state"], stands["lines_open"]) == ("issued", 1)
    stands = answered(
        shop, claim["id"], adjuster, {"line": 3, "answer": "decline", "reason": "No clips broke."}
    )
    assert (stands["state"], stands["disputed"]) == ("answered", "8.40")
    word = {"settlement": stands["settlement"]["digest"]}
    path = f"/v1/claims/{claim['id']}/agreement"
    one = shop.post(path, json=word, headers=PLAIN)
    assert one.json()["state"] == "answered"
    assert one.json()["settlement"]["adjuster"] is None
    both = shop.post(path, json=word, headers=adjuster | PLAIN).json()
    assert both["state"] == "agreed"
    assert both["settlement"]["adjuster"]["by"] == "R. Tallow"
    acts = [
        event["act"] for event in shop.get(f"/v1/claims/{claim['id']}/history").json()["events"]
    ]
    assert acts == [
        "claim opened", "revision issued", "link given", "lines answered", "lines answered",
        "agreed", "agreed",
    ]  # fmt: skip


def test_an_answer_after_one_side_agreed_makes_its_word_lapse(shop: httpx.Client) -> None:
    claim = issued(shop, opened(shop)["id"])["id"]
    adjuster = linked(shop, claim)
    stands = answered(shop, claim, adjuster, *accepting(1, 2, 3))
    old = {"settlement": stands["settlement"]["digest"]}
    path = f"/v1/claims/{claim}/agreement"
    shop.post(path, json=old, headers=PLAIN)
    stands = answered(
        shop, claim, adjuster, {"line": 1, "answer": "amount", "amount": "20.00", "reason": "Ours."}
    )
    assert stands["settlement"]["shop"] is None
    document = problem(shop.post(path, json=old, headers=adjuster | PLAIN), 409)
    assert document["type"] == "/problems/another-settlement"
    assert shop.get(f"/v1/claims/{claim}").json()["state"] == "answered"


def test_a_word_that_lapsed_is_not_given_again_by_an_answer_that_is_taken_back(
    shop: httpx.Client,
) -> None:
    claim = issued(shop, opened(shop)["id"])["id"]
    adjuster = linked(shop, claim)
    stands = answered(shop, claim, adjuster, *accepting(1, 2, 3))
    word = {"settlement": stands["settlement"]["digest"]}
    path = f"/v1/claims/{claim}/agreement"
    for side in (PLAIN, adjuster | PLAIN):
        assert shop.post(path, json=word, headers=side).status_code == 200
    assert shop.get(f"/v1/claims/{claim}").json()["state"] == "agreed"
    answered(shop, claim, adjuster, {"line": 1, "answer": "decline", "reason": "Not hail."})
    back = answered(shop, claim, adjuster, {"line": 1, "answer": "accept"})
    assert back["settlement"]["digest"] == word["settlement"]
    assert (back["settlement"]["shop"], back["settlement"]["adjuster"]) == (None, None)
    assert shop.get(f"/v1/claims/{claim}").json()["state"] == "answered"
    for side in (adjuster | PLAIN, PLAIN):
        agreed = shop.post(path, json=word, headers=side).json()
    assert agreed["state"] == "agreed"


def test_the_issued_sheet_verifies_as_json_and_as_pdf(shop: httpx.Client) -> None:
    claim = issued(shop, opened(shop)["id"], paper="a4", labels="uk")
    path = f"/v1/claims/{claim['id']}/revisions/1"
    sheet = load_json(shop.get(path).text, "sheet")
    assert verify_sheet(sheet) == []
    assert sheet["digest"] == claim["revisions"][0]["digest"]
    assert sheet["claim_file"]["claim"]["revision"] == 1
    pdf = shop.get(path, headers={"Accept": "application/pdf"})
    document, differences = verify_pdf(pdf.content, "sheet.pdf")
    assert differences == []
    assert document["digest"] == sheet["digest"]


def test_a_supplement_is_printed_as_the_sheet_before_it_was(shop: httpx.Client) -> None:
    claim = issued(shop, opened(shop)["id"], paper="a4", labels="uk")["id"]
    shop.put(f"/v1/claims/{claim}/draft", json=two_panels(), headers=PLAIN)
    found = issued(shop, claim, "Counted again.")["revisions"]
    assert [(each["paper"], each["labels"]) for each in found] == [("a4", "uk")] * 2


def test_sheets_of_old_revisions_stay_byte_for_byte(shop: httpx.Client) -> None:
    claim = issued(shop, opened(shop)["id"])["id"]
    path = f"/v1/claims/{claim}/revisions/1"
    accept = {"Accept": "application/pdf"}
    before = shop.get(path).content, shop.get(path, headers=accept).content
    more = two_panels()
    more["panels"][0]["tally"]["quarter"] = 2
    supplemented(shop, claim, more, "Two more under the bonnet strut.")
    assert (shop.get(path).content, shop.get(path, headers=accept).content) == before


def test_a_supplement_says_why_and_what_it_changes(shop: httpx.Client) -> None:
    claim = issued(shop, opened(shop)["id"])["id"]
    more = two_panels()
    more["panels"][0]["tally"]["quarter"] = 2
    found = supplemented(shop, claim, more, "Two more under the strut.")
    assert [each["reason"] for each in found["revisions"]] == ["", "Two more under the strut."]
    sheet = shop.get(f"/v1/claims/{claim}/revisions/2").json()
    assert sheet["claim_file"]["claim"]["supplement"] == "Two more under the strut."
    changes = shop.get(f"/v1/claims/{claim}/changes").json()
    assert changes["reason"] == "Two more under the strut."
    moved = [panel["panel"] for panel in changes["panels"] if panel["old"] != panel["new"]]
    assert moved == ["hood"]
    asked = shop.get(f"/v1/claims/{claim}/changes", params={"from": 1, "to": 2})
    assert asked.content == shop.get(f"/v1/claims/{claim}/changes").content
    pdf = shop.get(f"/v1/claims/{claim}/changes", headers={"Accept": "application/pdf"})
    assert pdf.content.startswith(b"%PDF")


def test_two_supplements_compare_with_the_first_sheet_too(shop: httpx.Client) -> None:
    claim = issued(shop, opened(shop)["id"])["id"]
    for count in (4, 5):
        file = two_panels()
        file["panels"][0]["tally"]["dime"] = count
        supplemented(shop, claim, file, f"{count} by now.")
    whole = shop.get(f"/v1/claims/{claim}/changes", params={"from": 1, "to": 3}).json()
    sums = [shop.get(f"/v1/claims/{claim}/revisions/{n}").json()["totals"]["total"] for n in (1, 3)]
    assert [whole["totals"]["total"]["old"], whole["totals"]["total"]["new"]] == sums


def test_answers_to_lines_that_stayed_are_carried_into_the_supplement(shop: httpx.Client) -> None:
    claim = issued(shop, opened(shop)["id"])["id"]
    adjuster = linked(shop, claim)
    answered(shop, claim, adjuster, *accepting(1, 2, 3))
    more = two_panels()
    more["panels"][0]["tally"]["quarter"] = 2
    assert supplemented(shop, claim, more, "Two more.")["state"] == "issued"
    stands = shop.get(f"/v1/claims/{claim}/answers").json()
    carried = [line["number"] for line in stands["lines"] if line["answer"]]
    assert carried == [2, 3]
    assert all(stands["lines"][n - 1]["answer"]["carried_from"] == 1 for n in carried)
    stands = answered(shop, claim, adjuster, *accepting(1))
    assert (stands["state"], stands["agreed"]) == ("answered", stands["total"])


def test_the_first_sheet_has_no_reason_and_a_supplement_needs_one(shop: httpx.Client) -> None:
    claim = opened(shop)["id"]
    path = f"/v1/claims/{claim}/revisions"
    document = problem(shop.post(path, json={"reason": "Why"}, headers=PLAIN), 422)
    assert places(document) == [("body", "/reason")]
    issued(shop, claim)
    shop.put(f"/v1/claims/{claim}/draft", json=two_panels(), headers=PLAIN)
    document = problem(shop.post(path, json={}, headers=PLAIN), 422)
    assert places(document) == [("body", "/reason")]


def test_a_draft_that_no_matrix_prices_is_kept_and_not_issued(shop: httpx.Client) -> None:
    file = three_dimes(panel="fender-l", tally={"florin": 2})
    claim = opened(shop, file | {"matrix": "thistle-own"})["id"]
    draft = shop.get(f"/v1/claims/{claim}/draft").json()
    assert draft["totals"] is None
    assert draft["problems"][0]["in"] == "draft"
    document = problem(shop.post(f"/v1/claims/{claim}/revisions", json={}, headers=PLAIN), 422)
    assert places(document) == [("draft", "/panels/0/tally/florin")]


def test_nothing_is_issued_twice(shop: httpx.Client) -> None:
    claim = issued(shop, opened(shop)["id"])["id"]
    answer = shop.post(f"/v1/claims/{claim}/revisions", json={"reason": "Again"}, headers=PLAIN)
    assert problem(answer, 404)["type"] == "/problems/no-such-draft"


def test_a_withdrawn_claim_can_still_be_read_and_no_longer_changed(shop: httpx.Client) -> None:
    claim = issued(shop, opened(shop)["id"])["id"]
    adjuster = linked(shop, claim)
    path = f"/v1/claims/{claim}/withdrawal"
    found = shop.post(path, json={"reason": "Sold as it is."}, headers=PLAIN).json()
    assert (found["state"], found["withdrawn"]["reason"]) == ("withdrawn", "Sold as it is.")
    assert shop.get(f"/v1/claims/{claim}/revisions/1", headers=adjuster).status_code == 200
    for method, each, body in (
        ("PUT", "draft", two_panels()),
        ("POST", "links", {"name": "Another"}),
        ("POST", "withdrawal", {"reason": "Again"}),
        ("POST", "revisions", {"reason": "Again"}),
    ):
        url = f"/v1/claims/{claim}/{each}"
        answer = shop.request(method, url, content=json.dumps(body), headers=PLAIN | JSON)
        assert problem(answer, 409)["type"] == "/problems/not-in-this-state"


JSON = {"Content-Type": "application/json"}


def test_a_supplement_corrects_number_vin_and_body_and_tells_old_and_new(
    shop: httpx.Client,
) -> None:
    claim = issued(shop, opened(shop, two_panels(number="TYPO-1"))["id"])["id"]
    vehicle = {"body": "wagon", "vin": "0ZZHAL017TE000001"}
    right = two_panels(number="EF-100") | {"vehicle": vehicle}
    found = supplemented(shop, claim, right, "The insurer's number has come.")
    assert (found["number"], found["revision"]) == ("EF-100", 2)
    facts = shop.get(f"/v1/claims/{claim}/changes").json()["facts"]
    assert [(fact["label"], fact["old"], fact["new"]) for fact in facts] == [
        ("Claim number", "TYPO-1", "EF-100"),
        ("Body", "sedan", "wagon"),
        ("VIN", None, "0ZZHAL017TE000001"),
    ]
    listed = shop.get("/v1/claims", params={"text": "EF-100"}).json()["claims"]
    assert [each["id"] for each in listed] == [claim]


def test_the_draft_of_a_supplement_says_that_it_cannot_be_in_another_currency(
    tmp_path: Path, store: Store
) -> None:
    euro = OWN.replace("thistle-own", "thistle-euro").replace('"USD"', '"EUR"')
    folder = write_matrices(tmp_path, {"thistle-own": OWN, "thistle-euro": euro})
    with serving(app_on(folder, store)) as shop:
        claim = issued(shop, opened(shop, two_panels() | {"matrix": "thistle-own"})["id"])["id"]
        other = two_panels() | {"matrix": "thistle-euro"}
        shop.put(f"/v1/claims/{claim}/draft", json=other, headers=PLAIN)
        draft = shop.get(f"/v1/claims/{claim}/draft").json()
        answer = shop.post(f"/v1/claims/{claim}/revisions", json={"reason": "More"}, headers=PLAIN)
    assert places(problem(answer, 422)) == [("draft", "/matrix")]
    assert draft["problems"] == answer.json()["errors"]
    assert "withdraw the claim" in draft["problems"][0]["expected"]


def test_an_adjuster_sees_no_draft_and_no_storm(shop: httpx.Client) -> None:
    claim = issued(shop, opened(shop, storm="alderbeck-2026-05")["id"])["id"]
    adjuster = linked(shop, claim)
    shop.put(f"/v1/claims/{claim}/draft", json=two_panels(), headers=PLAIN)
    mine = shop.get(f"/v1/claims/{claim}").json()
    theirs = shop.get(f"/v1/claims/{claim}", headers=adjuster).json()
    assert (mine["draft"], mine["storm"]) == (2, "alderbeck-2026-05")
    assert (theirs["draft"], theirs["storm"]) == (None, None)
    assert theirs["sums"] == mine["sums"]


def test_a_supplement_that_leaves_no_line_open_is_issued_until_the_adjuster_speaks(
    shop: httpx.Client,
) -> None:
    claim = issued(shop, opened(shop)["id"])["id"]
    adjuster = linked(shop, claim)
    path = f"/v1/claims/{claim}/agreement"
    stands = answered(shop, claim, adjuster, *accepting(1, 2, 3))
    word = {"settlement": stands["settlement"]["digest"]}
    for side in ({}, adjuster):
        shop.post(path, json=word, headers=side | PLAIN)
    fewer = two_panels()
    del fewer["other"]
    found = supplemented(shop, claim, fewer, "The clips could be kept.")
    assert (found["state"], found["sums"]["open"]) == ("issued", "0.00")
    word = {"settlement": found["settlement"]["digest"]}
    assert shop.post(path, json=word, headers=PLAIN).json()["state"] == "issued"
    assert shop.post(path, json=word, headers=adjuster | PLAIN).json()["state"] == "agreed"
    supplemented(shop, claim, two_panels(), "They could not.")
    assert answered(shop, claim, adjuster, *accepting(3))["state"] == "answered"


def test_a_sheet_without_a_line_is_issued_until_it_is_agreed_to(shop: httpx.Client) -> None:
    claim = issued(shop, opened(shop, two_panels() | {"panels": [], "other": []})["id"])
    assert claim["state"] == "issued"
    word = {"settlement": claim["settlement"]["digest"]}
    path = f"/v1/claims/{claim['id']}/agreement"
    adjuster = linked(shop, claim["id"])
    assert shop.post(path, json=word, headers=adjuster | PLAIN).json()["state"] == "answered"
    assert shop.post(path, json=word, headers=PLAIN).json()["state"] == "agreed"
