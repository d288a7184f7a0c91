"""Behaving well on a bad connection: requests sent twice, two people at once, long lists."""

from __future__ import annotations

import json
import threading
from pathlib import Path
from typing import Any

import httpx
import pytest

from api.routes.plan import EXAMPLE as PLANNED
from api.store.audit import audit
from api.store.session import Store
from tests.api.conftest import places, problem, three_dimes
from tests.api.storehouse import PLAIN, answered, issued, linked, opened, two_panels
from tests.api.test_claim_photographs import picture

KEY = {"Idempotency-Key": "5b0d9c1e-3f5e-4a57-9a55-2f2b8f3f6c11"}
JSON = {"Content-Type": "application/json"}


def count(shop: httpx.Client) -> int:
    return len(shop.get("/v1/claims").json()["claims"])


def test_a_claim_sent_twice_is_opened_once(shop: httpx.Client) -> None:
    first = shop.post("/v1/claims", json=two_panels(), headers=KEY)
    again = shop.post("/v1/claims", json=two_panels(), headers=KEY)
    assert (again.status_code, again.content) == (201, first.content)
    for name in ("etag", "location", "content-type"):
        assert again.headers[name] == first.headers[name]
    assert "idempotency-replayed" not in first.headers
    assert again.headers["idempotency-replayed"] == "true"
    assert count(shop) == 1


def test_the_same_key_for_something_else_is_refused(shop: httpx.Client) -> None:
    claim = shop.post("/v1/claims", json=two_panels(), headers=KEY).json()["id"]
    other = shop.post("/v1/claims", json=three_dimes(), headers=KEY)
    assert problem(other, 422)["type"] == "/problems/key-used"
    elsewhere = shop.post(f"/v1/claims/{claim}/revisions", json=two_panels(), headers=KEY | PLAIN)
    assert problem(elsewhere, 422)["type"] == "/problems/key-used"
    asked = shop.post("/v1/claims?storm=alder", json=two_panels(), headers=KEY)
    assert problem(asked, 422)["type"] == "/problems/key-used"
    assert count(shop) == 1


@pytest.mark.parametrize("key", ["", "a b", "é", "x" * 256])
def test_what_is_no_key_is_refused(shop: httpx.Client, key: str) -> None:
    headers = [(b"Idempotency-Key", key.encode("latin-1"))]
    answer = shop.post("/v1/claims", json=two_panels(), headers=httpx.Headers(headers))
    document = problem(answer, 400)
    assert places(document) == [("header", "/Idempotency-Key")]


def test_a_key_belongs_to_whoever_sends_it(shop: httpx.Client) -> None:
    one, two = (issued(shop, opened(shop)["id"])["id"] for _ in range(2))
    for claim in (one, two):
        adjuster = linked(shop, claim)
        body = {"revision": 1, "others": "accept"}
        path = f"/v1/claims/{claim}/answers"
        assert shop.post(path, json=body, headers=adjuster | PLAIN | KEY).status_code == 201


def test_a_refused_request_can_be_sent_again_with_its_key(shop: httpx.Client) -> None:
    claim = opened(shop)["id"]
    path = f"/v1/claims/{claim}/revisions"
    old = {"If-Match": '"0"'} | KEY
    problem(shop.post(path, json={}, headers=old), 412)
    assert shop.post(path, json={}, headers=PLAIN | KEY).status_code == 201


def test_every_post_answers_the_same_to_the_same_key(shop: httpx.Client) -> None:
    claim = opened(shop)["id"]
    at = f"/v1/claims/{claim}"
    jpeg = {"Content-Type": "image/jpeg"}
    steps: list[tuple[str, str, bytes, dict[str, str]]] = [
        ("POST", "/v1/price", json.dumps(three_dimes()).encode(), JSON),
        ("POST", "/v1/plan", json.dumps(PLANNED).encode(), JSON),
        ("POST", f"{at}/photographs?panel=hood", picture(), jpeg),
        ("PUT", f"{at}/draft", json.dumps(two_panels(number="B")).encode(), JSON),
        ("POST", f"{at}/revisions", b"{}", JSON),
        ("POST", f"{at}/links", b'{"name": "R. Tallow"}', JSON),
        ("POST", f"{at}/withdrawal", b'{"reason": "Sold."}', JSON),
    ]
    for number, (method, path, body, headers) in enumerate(steps):
        key = PLAIN | headers | {"Idempotency-Key": f"step-{number}"}
        first = shop.request(method, path, content=body, headers=key)
        assert first.is_success, first.text
        events = shop.get(f"{at}/history").json()["events"]
        again = shop.request(method, path, content=body, headers=key)
        assert (again.status_code, again.content) == (first.status_code, first.content), path
        assert shop.get(f"{at}/history").json()["events"] == events


def test_two_at_once_with_one_key_have_one_effect(shop: httpx.Client) -> None:
    answers: list[httpx.Response] = []
    ready = threading.Barrier(4)

    def send() -> None:
        ready.wait()
        answers.append(shop.post("/v1/claims", json=two_panels(), headers=KEY))

    threads = [threading.Thread(target=send) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert {answer.status_code for answer in answers} == {201}
    assert len({answer.content for answer in answers}) == 1
    assert count(shop) == 1


@pytest.mark.parametrize("store", ["sqlite"], indirect=True)
def test_a_kept_reply_does_not_give_away_a_link(
    shop: httpx.Client, store: Store, tmp_path: Path
) -> None:
    claim = issued(shop, opened(shop)["id"])["id"]
    made = shop.post(f"/v1/claims/{claim}/links", json={"name": "R. Tallow"}, headers=KEY)
    token = made.json()["token"].encode()
    files = [path for path in (tmp_path / "data").rglob("*") if path.is_file()]
    assert any(claim.encode() in path.read_bytes() for path in files)
    assert not any(token in path.read_bytes() for path in files)
    again = shop.post(f"/v1/claims/{claim}/links", json={"name": "R. Tallow"}, headers=KEY)
    assert again.json()["token"].encode() == token


# --- two people at once -----------------------------------------------------------------------


def test_a_change_without_the_version_is_told_which_there_is(shop: httpx.Client) -> None:
    claim = opened(shop)
    path = f"/v1/claims/{claim['id']}"
    for method, part, body in (
        ("PUT", "draft", two_panels()), ("POST", "revisions", {}),
        ("POST", "withdrawal", {"reason": "Sold."}),
    ):  # fmt: skip
        answer = shop.request(method, f"{path}/{part}", json=body)
        document = problem(answer, 428)
        assert answer.headers["etag"] == f'"{claim["version"]}"'
        assert places(document) == [("header", "/If-Match")]


def test_of_two_edits_of_one_version_exactly_one_is_kept(shop: httpx.Client) -> None:
    claim = opened(shop)
    path, tag = f"/v1/claims/{claim['id']}/draft", {"If-Match": f'"{claim["version"]}"'}
    answers: dict[str, httpx.Response] = {}
    ready = threading.Barrier(2)

    def edit(name: str) -> None:
        ready.wait()
        answers[name] = shop.put(path, json=two_panels(number=name), headers=tag)

    threads = [threading.Thread(target=edit, args=(name,)) for name in ("one", "other")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    by_status = {answer.status_code: name for name, answer in answers.items()}
    assert sorted(by_status) == [200, 412]
    lost = problem(answers[by_status[412]], 412)
    assert lost["type"] == "/problems/version-old"
    assert "version 2" in lost["detail"]
    assert answers[by_status[412]].headers["etag"] == '"2"'
    kept = shop.get(path).json()["claim_file"]["claim"]["number"]
    assert kept == by_status[200]


@pytest.mark.parametrize("tag", ['"1"', '"7", "1"', "*", '"7" , "1"'])
def test_a_version_that_fits_is_taken(shop: httpx.Client, tag: str) -> None:
    claim = opened(shop)["id"]
    answer = shop.put(f"/v1/claims/{claim}/draft", json=two_panels(), headers={"If-Match": tag})
    assert answer.status_code == 200


@pytest.mark.parametrize("tag", ['"2"', 'W/"1"', "1", "'1'", '"1', '"1";', "**"])
def test_a_version_that_does_not_fit_is_refused(shop: httpx.Client, tag: str) -> None:
    claim = opened(shop)["id"]
    answer = shop.put(f"/v1/claims/{claim}/draft", json=two_panels(), headers={"If-Match": tag})
    problem(answer, 412)


def test_what_has_not_changed_is_not_sent_again(shop: httpx.Client) -> None:
    claim = issued(shop, opened(shop)["id"])["id"]
    for path in (f"/v1/claims/{claim}", f"/v1/claims/{claim}/revisions/1"):
        tag = shop.get(path).headers["etag"]
        for given in (tag, f"W/{tag}", f'"x", {tag}', "*"):
            again = shop.get(path, headers={"If-None-Match": given})
            assert (again.status_code, again.content) == (304, b"")
        assert shop.get(path, headers={"If-None-Match": '"other"'}).status_code == 200


def test_a_link_given_meanwhile_changes_no_version(shop: httpx.Client) -> None:
    claim = issued(shop, opened(shop)["id"])
    linked(shop, claim["id"])
    assert shop.get(f"/v1/claims/{claim['id']}").json()["version"] == claim["version"]


# --- finding ----------------------------------------------------------------------------------


def numbers(answer: httpx.Response) -> list[str]:
    assert answer.status_code == 200, answer.text
    return [claim["number"] for claim in answer.json()["claims"]]


def stocked(shop: httpx.Client) -> None:
    for number, day, insurer, storm in (
        ("A-1", "2026-05-19", "Marram Mutual", "alderbeck-2026-05"),
        ("A-2", "2026-05-20", "Sorrel Assurance", "alderbeck-2026-05"),
        ("B-1", "2026-07-03", "Marram Mutual", "thornmere-2026-07"),
        ("100%_B", "2026-07-04", "Marram Mutual", "thornmere-2026-07"),
    ):
        file = two_panels(number=number, insurer=insurer, date_of_loss=day)
        file["vehicle"]["description"] = "Grüner Wagen" if number == "B-1" else "Grey sedan"
        opened(shop, file, storm=storm)


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ({}, ["100%_B", "B-1", "A-2", "A-1"]),
        ({"storm": "alderbeck-2026-05"}, ["A-2", "A-1"]),
        ({"insurer": "Marram Mutual"}, ["100%_B", "B-1", "A-1"]),
        ({"insurer": "marram"}, []),
        ({"state": "draft"}, ["100%_B", "B-1", "A-2", "A-1"]),
        ({"state": "issued"}, []),
        ({"since": "2026-05-20", "until": "2026-07-03"}, ["B-1", "A-2"]),
        ({"text": "grüner"}, ["B-1"]),
        ({"text": "GRÜNER wagen"}, ["B-1"]),
        ({"text": "thornbury a-"}, ["A-2", "A-1"]),
        ({"text": "%"}, ["100%_B"]),
        ({"text": "0%_"}, ["100%_B"]),
        ({"text": "nobody"}, []),
    ],
)
def test_claims_are_found(shop: httpx.Client, query: dict[str, str], found: list[str]) -> None:
    stocked(shop)
    assert numbers(shop.get("/v1/claims", params=query)) == found


def test_a_long_list_comes_in_pages_also_while_claims_come_in(shop: httpx.Client) -> None:
    for number in range(7):
        opened(shop, two_panels(number=f"N-{number}"))
    seen: list[str] = []
    answer = shop.get("/v1/claims", params={"limit": 3})
    while True:
        seen += numbers(answer)
        opened(shop, two_panels(number="late"))
        if answer.json()["next"] is None:
            assert "link" not in answer.headers
            break
        target = answer.headers["link"].removesuffix('>; rel="next"').removeprefix("<")
        assert answer.json()["next"] in target
        answer = shop.get(target)
    assert seen == [f"N-{number}" for number in reversed(range(7))]


@pytest.mark.parametrize(
    "query",
    [
        {"cursor": "x"}, {"cursor": "AAAAAAAAABE="}, {"cursor": "__________8"}, {"limit": "0"},
        {"limit": "201"}, {"state": "lost"}, {"since": "yesterday"}, {"storm": "A B"},
        {"text": "a\0b"}, {"insurer": "a\nb"}, {"colour": "red"},
    ],
)  # fmt: skip
def test_what_cannot_be_asked_is_said(shop: httpx.Client, query: dict[str, str]) -> None:
    document = problem(shop.get("/v1/claims", params=query), 422)
    [name] = query
    assert places(document) == [("query", f"/{name}")]


# --- hostile bodies ---------------------------------------------------------------------------

HOSTILE: dict[str, bytes] = {
    "nothing": b"",
    "half": b'{"reason": "x',
    "a list": b"[]",
    "a number": b"7",
    "null": b"null",
    "not UTF-8": b'{"reason": "\xff"}',
    "a key twice": b'{"reason": "a", "reason": "b"}',
    "NaN": b'{"revision": NaN}',
    "deep": b'{"a":' * 500 + b"1" + b"}" * 500,
    "very deep": b"[" * 100_000 + b"]" * 100_000,
    "an unknown key": b'{"reason": "x", "colour": "red", "name": "x", "settlement": "x"}',
    "other types": b'{"reason": 7, "name": [], "days": "x", "settlement": null, "answers": "x"}',
    "a half of a pair": b'{"reason": "\\ud800", "name": "\\ud800"}',
    "NUL": b'{"reason": "a\\u0000b", "name": "a\\u0000b"}',
    "right to left": b'{"reason": "\\u202e", "name": "\\u202e"}',
    "long": b'{"reason": "' + b"x" * 3000 + b'", "name": "' + b"x" * 3000 + b'"}',
    "a huge number": b'{"revision": 1e400, "days": ' + b"9" * 5000 + b"}",
}
"""Bodies that no route takes."""

ROUTES = [
    ("POST", ""), ("PUT", "/draft"), ("POST", "/revisions"), ("POST", "/withdrawal"),
    ("POST", "/links"), ("POST", "/answers"), ("POST", "/agreement"),
]  # fmt: skip


@pytest.mark.parametrize("what", HOSTILE)
def test_a_hostile_body_is_refused_by_every_route(
    shop: httpx.Client, store: Store, what: str
) -> None:
    claim = issued(shop, opened(shop)["id"])["id"]
    adjuster = linked(shop, claim)
    shop.put(f"/v1/claims/{claim}/draft", json=two_panels(), headers=PLAIN)
    before = audit(store).head
    for method, part in ROUTES:
        path = f"/v1/claims/{claim}{part}" if part else "/v1/claims"
        headers = PLAIN | JSON | (adjuster if part == "/answers" else {})
        answer = shop.request(method, path, content=HOSTILE[what], headers=headers)
        assert answer.status_code in (400, 422), (path, answer.text)
        assert answer.headers["content-type"] == "application/problem+json"
        assert answer.json()["errors"]
    assert audit(store).head == before


@pytest.mark.parametrize(
    "headers",
    [{}, {"Content-Type": "text/plain"}, JSON | {"Content-Encoding": "gzip"},
     {"Content-Type": "application/json; charset=utf-16"}],
)  # fmt: skip
def test_another_content_type_is_refused_by_every_route(
    shop: httpx.Client, headers: dict[str, str]
) -> None:
    claim = issued(shop, opened(shop)["id"])["id"]
    adjuster = linked(shop, claim)
    for method, part in [*ROUTES, ("POST", "/photographs")]:
        path = f"/v1/claims/{claim}{part}" if part else "/v1/claims"
        who = adjuster if part == "/answers" else {}
        answer = shop.request(method, path, content=b"{}", headers=PLAIN | headers | who)
        if part == "/photographs" and "json" in headers.get("Content-Type", ""):
            continue
        assert problem(answer, 415)["type"] == "/problems/unsupported-media-type"


def test_a_body_without_end_is_cut_off(shop: httpx.Client) -> None:
    def endless() -> Any:
        for _ in range(700):
            yield b" " * 10_000

    answer = shop.post("/v1/claims", content=endless(), headers=JSON)
    assert problem(answer, 413)["type"] == "/problems/body-too-large"


@pytest.mark.parametrize("claim", ["%00", "..", "a" * 12, "C7K2M9PQ4XYA", "c7k2m9pq4xy%27", "é"])
def test_what_names_no_claim_is_not_found(shop: httpx.Client, claim: str) -> None:
    answer = shop.get(f"/v1/claims/{claim}/answers")
    assert problem(answer, 404)


def test_answers_at_the_same_time_lose_nothing(shop: httpx.Client, store: Store) -> None:
    claim = issued(shop, opened(shop)["id"])["id"]
    adjuster = linked(shop, claim)
    ready = threading.Barrier(3)

    def send(line: int) -> None:
        ready.wait()
        answered(shop, claim, adjuster, {"line": line, "answer": "accept"})

    threads = [threading.Thread(target=send, args=(line,)) for line in (1, 2, 3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    stands = shop.get(f"/v1/claims/{claim}/answers").json()
    assert (stands["lines_open"], len(stands["parts"])) == (0, 3)
    assert audit(store).findings == ()


def test_one_issue_sent_thrice_at_once_is_issued_once_and_answered_thrice(
    shop: httpx.Client,
) -> None:
    claim = opened(shop)
    path, answers = f"/v1/claims/{claim['id']}/revisions", []
    headers = KEY | {"If-Match": f'"{claim["version"]}"'}
    ready = threading.Barrier(3)

    def send() -> None:
        ready.wait()
        answers.append(shop.post(path, json={}, headers=headers))

    threads = [threading.Thread(target=send) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [answer.status_code for answer in answers] == [201, 201, 201]
    assert len({answer.content for answer in answers}) == 1
    assert len(shop.get(path).json()["revisions"]) == 1
