"""Forgetting a person: nothing of them is left, every sum is, and the chain is whole."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import httpx
import pytest

from api.store import claims as stored
from api.store.audit import audit
from api.store.forget import forget
from api.store.session import Store
from tests.api.conftest import problem
from tests.api.storehouse import PLAIN, answered, issued, linked, opened, supplemented, two_panels
from tests.api.test_claim_photographs import picture, sent

SECRETS = {
    "customer": "Q. Thornbury",
    "estimator": "V. Marrowglass",
    "vin": "0ZZHAL028TE000002",
    "description": "Green car with a dented memory",
    "panel note": "Parked before the Larches",
    "label": "Clips from Aunt Sorrel",
    "reason of the supplement": "Found by Mr Yarrowby",
    "reason of an answer": "Said the widow",
    "note of a photograph": "With the dog Bramble",
    "adjuster": "Perpetua Skellick",
    "number": "TH-77-4711",
}


def personal() -> dict[str, Any]:
    """A claim file that names persons wherever it can."""
    file = two_panels(
        number=SECRETS["number"], customer=SECRETS["customer"], estimator=SECRETS["estimator"]
    )
    file["vehicle"] |= {"vin": SECRETS["vin"], "description": SECRETS["description"]}
    file["panels"][0]["note"] = SECRETS["panel note"]
    file["other"][0]["label"] = SECRETS["label"]
    file["shop"] = {"name": "Thistle Hail Line", "address": "4 Tallow Yard"}
    return file


def lived(shop: httpx.Client) -> str:
    """A claim with a supplement, an answer and a photograph."""
    claim = str(opened(shop, personal(), storm="alderbeck-2026-05")["id"])
    sent(shop, claim, picture(), panel="hood", note=SECRETS["note of a photograph"])
    issued(shop, claim)
    more = personal()
    more["panels"][0]["tally"]["quarter"] = 1
    supplemented(shop, claim, more, SECRETS["reason of the supplement"])
    adjuster = linked(shop, claim, SECRETS["adjuster"])
    line = {"line": 1, "answer": "decline", "reason": SECRETS["reason of an answer"]}
    answered(shop, claim, adjuster, line)
    return claim


def test_sums_counts_and_state_stay(shop: httpx.Client, store: Store) -> None:
    claim = lived(shop)
    before = shop.get(f"/v1/claims/{claim}").json()
    forget(store, claim, "command-line")
    after = shop.get(f"/v1/claims/{claim}").json()
    assert after["number"] == "forgotten"
    assert after["forgotten"] is not None
    for key in ("state", "sums", "storm", "insurer", "date_of_loss", "revision"):
        assert after[key] == before[key]
    counts = [(each["dents"], each["digest"], each["total"]) for each in before["revisions"]]
    assert counts == [(each["dents"], each["digest"], each["total"]) for each in after["revisions"]]


def test_the_sheet_is_anonymous_and_the_pdf_is_gone(shop: httpx.Client, store: Store) -> None:
    claim = lived(shop)
    total = shop.get(f"/v1/claims/{claim}/revisions/2").json()["totals"]
    forget(store, claim, "command-line")
    path = f"/v1/claims/{claim}/revisions/2"
    assert shop.get(path).json()["totals"] == total
    gone = problem(shop.get(path, headers={"Accept": "application/pdf"}), 410)
    assert gone["type"] == "/problems/forgotten"
    problem(shop.get(f"/v1/claims/{claim}/changes"), 410)
    problem(shop.get(f"/v1/claims/{claim}/photographs/1"), 410)
    problem(shop.put(f"/v1/claims/{claim}/draft", json=personal(), headers=PLAIN), 410)


def test_nothing_of_the_person_is_told_by_any_route(shop: httpx.Client, store: Store) -> None:
    claim = lived(shop)
    forget(store, claim, "command-line")
    for path in ("", "/draft", "/revisions", "/revisions/1", "/revisions/2", "/answers", "/links",
                 "/photographs", "/history"):  # fmt: skip
        text = shop.get(f"/v1/claims/{claim}{path}").text
        assert [name for name, word in SECRETS.items() if word in text] == []
    assert SECRETS["number"] not in shop.get("/v1/claims").text


@pytest.mark.parametrize("store", ["sqlite"], indirect=True)
def test_no_byte_of_the_person_is_left_in_any_file(
    shop: httpx.Client, store: Store, tmp_path: Path
) -> None:
    claim = lived(shop)
    found = [name for name, word in SECRETS.items() if anywhere(tmp_path, word)]
    assert found == list(SECRETS)
    forget(store, claim, "command-line")
    assert [name for name, word in SECRETS.items() if anywhere(tmp_path, word)] == []
    assert [path for path in (tmp_path / "data" / "photographs").rglob("*") if path.is_file()] == []


def anywhere(folder: Path, word: str) -> bool:
    """Whether a word stands in a file of the store, byte for byte or as JSON or search have it."""
    forms = {word.encode(), word.casefold().encode()}
    files = [path for path in (folder / "data").rglob("*") if path.is_file()]
    return any(form in path.read_bytes() for path in files for form in forms)


def test_the_store_is_whole_before_and_after(shop: httpx.Client, store: Store) -> None:
    claim = lived(shop)
    assert audit(store).findings == ()
    gone = forget(store, claim, "command-line")
    assert gone is not None
    assert (gone.links, gone.files) == (1, 2)
    assert audit(store).findings == ()


def test_the_link_opens_nothing_any_more(shop: httpx.Client, store: Store) -> None:
    claim = lived(shop)
    adjuster = linked(shop, claim)
    forget(store, claim, "command-line")
    problem(shop.get(f"/v1/claims/{claim}", headers=adjuster), 401)


def test_forgetting_again_finishes_and_changes_nothing(shop: httpx.Client, store: Store) -> None:
    claim = lived(shop)
    forget(store, claim, "command-line")
    with store.reading() as connection:
        before = stored.head_of(connection, claim)
    again = forget(store, claim, "command-line")
    with store.reading() as connection:
        assert stored.head_of(connection, claim) == before
    assert again is not None
    assert again.contents == again.files == 0


def test_a_photograph_of_another_claim_stays(shop: httpx.Client, store: Store) -> None:
    claim, other = lived(shop), str(opened(shop)["id"])
    sent(shop, other, picture(), panel="hood")
    forget(store, claim, "command-line")
    assert shop.get(f"/v1/claims/{other}/photographs/1").status_code == 200
    assert audit(store).findings == ()


def test_a_claim_that_is_not_there_is_not_forgotten(store: Store) -> None:
    assert forget(store, "c7k2m9pq4xya", "command-line") is None
