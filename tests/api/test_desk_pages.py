"""The desk and the adjuster's page in a real browser, both at one claim."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from playwright.sync_api import Browser, Page, expect

from api.store.opening import open_store
from tests.api.browsing import DESK, PHONE, Seat, chromium
from tests.api.conftest import HERE, Claim, app_on, serving
from tests.api.storehouse import issued, opened, supplemented, two_panels
from tests.api.test_claim_photographs import picture, sent

PDF = {"Accept": "application/pdf"}


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


@pytest.fixture(scope="module")
def owner(matrices: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[httpx.Client]:
    store = open_store(tmp_path_factory.mktemp("desk"))
    with serving(app_on(matrices, store)) as client:
        yield client
    store.close()


@pytest.fixture
def desk(browser: Browser, owner: httpx.Client) -> Iterator[Seat]:
    seat = Seat(browser, str(owner.base_url), DESK)
    yield seat
    seat.end()


@pytest.fixture
def adjuster(browser: Browser, owner: httpx.Client) -> Iterator[Seat]:
    seat = Seat(browser, str(owner.base_url), PHONE)
    yield seat
    seat.end()


def link_of(owner: httpx.Client, claim: str) -> str:
    made = owner.post(f"/v1/claims/{claim}/links", json={"name": "R. Tallow"}).json()
    return str(made["address"]).removeprefix(str(owner.base_url).rstrip("/"))


def numbered(number: str) -> Claim:
    return two_panels(number=number)


def at(page: Page, line: int) -> str:
    return f"#line-{line}"


def test_a_claim_is_issued_linked_answered_and_agreed_on_the_pages(
    owner: httpx.Client, desk: Seat, adjuster: Seat
) -> None:
    claim = opened(owner, numbered("P-1"))["id"]
    sent(owner, claim, picture(), panel="hood", note="Under the board")
    page = desk.open(f"/claims?claim={claim}#{HERE}")
    assert HERE not in page.url
    page.get_by_role("button", name="Issue it").click()
    expect(page.get_by_text("Revision 1", exact=True)).to_be_visible()
    page.get_by_role("button", name="Give an adjuster a link").click()
    page.get_by_label("For whom").fill("R. Tallow")
    page.get_by_role("button", name="Make the link").click()
    address = page.get_by_label("The link", exact=True).input_value()

    theirs = adjuster.open(address.removeprefix(adjuster.base))
    expect(theirs.get_by_role("heading", name="Claim P-1")).to_be_visible()
    expect(theirs.get_by_alt_text("Hood. Under the board")).to_be_visible()
    theirs.locator(at(theirs, 3)).get_by_label("Decline").check()
    theirs.get_by_role("button", name="Accept every open line").click()
    theirs.get_by_role("button", name="Send the answers").click()
    expect(theirs.locator(at(theirs, 3)).get_by_text("the reason is missing")).to_be_visible()
    theirs.locator(at(theirs, 3)).get_by_label("Reason").fill("<b>No</b> clip broke")
    theirs.get_by_role("button", name="Send the answers").click()
    expect(theirs.get_by_text("Declined: <b>No</b> clip broke.")).to_be_visible()
    theirs.get_by_role("button", name="Agree to this settlement").click()
    theirs.get_by_role("button", name="Agree", exact=True).click()
    expect(theirs.get_by_text("You agreed")).to_be_visible()

    page.get_by_role("link", name="All claims").click()
    page.get_by_role("link", name="P-1").click()
    page.get_by_role("button", name="Agree for the shop").click()
    page.get_by_role("button", name="Agree", exact=True).click()
    expect(page.get_by_text("Agreed by both sides")).to_be_visible()
    assert owner.get(f"/v1/claims/{claim}").json()["state"] == "agreed"


def test_what_was_typed_outlives_a_lost_connection(owner: httpx.Client, adjuster: Seat) -> None:
    claim = issued(owner, opened(owner, numbered("P-2"))["id"])["id"]
    page = adjuster.open(link_of(owner, claim))
    page.locator(at(page, 1)).get_by_label("Other amount").check()
    page.locator(at(page, 1)).get_by_label("Amount,").fill("20,00")
    page.locator(at(page, 1)).get_by_label("Reason").fill("Ten minutes are agreed")
    adjuster.allowed.append("net::ERR_INTERNET_DISCONNECTED")
    adjuster.context.set_offline(True)
    page.get_by_role("button", name="Send the answers").click()
    expect(page.locator("#said")).to_contain_text("nothing is lost")
    adjuster.context.set_offline(False)
    expect(page.get_by_text("Another amount 20.00: Ten minutes are agreed.")).to_be_visible(
        timeout=15_000
    )
    parts = owner.get(f"/v1/claims/{claim}/answers").json()["parts"]
    assert len(parts) == 1


def test_a_supplement_in_between_is_told_and_keeps_what_was_typed(
    owner: httpx.Client, adjuster: Seat
) -> None:
    claim = issued(owner, opened(owner, numbered("P-3"))["id"])["id"]
    page = adjuster.open(link_of(owner, claim))
    page.locator(at(page, 2)).get_by_label("Decline").check()
    page.locator(at(page, 2)).get_by_label("Reason").fill("An old dent")
    more = numbered("P-3")
    more["panels"][0]["tally"]["quarter"] = 1
    supplemented(owner, claim, more, "One more on the hood.")
    adjuster.allowed.append("status of 4")
    page.get_by_role("button", name="Send the answers").click()
    expect(page.locator("#notice")).to_contain_text("the claim has changed meanwhile")
    expect(page.get_by_text("One more on the hood.")).to_be_visible()
    assert page.locator(at(page, 2)).get_by_label("Reason").input_value() == "An old dent"
    page.get_by_role("button", name="Send the answers").click()
    expect(page.get_by_text("Declined: An old dent.")).to_be_visible()


def test_the_server_says_what_is_wrong_with_an_amount_at_its_line(
    owner: httpx.Client, adjuster: Seat
) -> None:
    claim = issued(owner, opened(owner, numbered("P-4"))["id"])["id"]
    page = adjuster.open(link_of(owner, claim))
    page.locator(at(page, 1)).get_by_label("Other amount").check()
    page.locator(at(page, 1)).get_by_label("Amount,").fill("9000")
    page.locator(at(page, 1)).get_by_label("Reason").fill("More")
    adjuster.allowed.append("status of 422")
    page.get_by_role("button", name="Send the answers").click()
    expect(page.locator(at(page, 1)).locator(".problem")).to_contain_text(
        "a supplement charges more"
    )


def test_a_revoked_link_says_so(owner: httpx.Client, adjuster: Seat) -> None:
    claim = issued(owner, opened(owner, numbered("P-5"))["id"])["id"]
    address = link_of(owner, claim)
    [link] = owner.get(f"/v1/claims/{claim}/links").json()["links"]
    owner.delete(f"/v1/claims/{claim}/links/{link['id']}")
    adjuster.allowed.append("status of 401")
    page = adjuster.open(address)
    expect(page.locator("#notice")).to_contain_text("This token was revoked.")
