"""The adjuster's page in a real browser: what he is told, answers, and what can go wrong between.

Dollars. Under the matrix of these tests three dimes on a hood are 24.00; the page's own sums are
those that the server gives, and are held against them.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any, NamedTuple

import httpx
import pytest
from playwright.sync_api import Browser, Locator, Page, Route, expect

from api.store import tokens
from api.store.opening import open_store
from api.store.session import Store
from tests.api.browsing import DESK, PHONE, Seat, chromium
from tests.api.conftest import HERE, OWN, Claim, app_on, serving, write_matrices
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
from tests.api.test_claim_photographs import picture, sent

TABLET = (820, 1100)
HOOD, ROOF, CLIPS, TAX = 1, 2, 3, 4
"""Lines of `two_panels` as they are printed; tax is on the clips alone."""


class Place(NamedTuple):
    """A server with its store."""

    shop: httpx.Client
    store: Store

    def claim(self, **header: str) -> str:
        """A claim that was issued."""
        return str(issued(self.shop, opened(self.shop, two_panels(**header))["id"])["id"])

    def link(self, claim: str) -> str:
        """The path that an adjuster's new link leads to."""
        made = self.shop.post(f"/v1/claims/{claim}/links", json={"name": "R. Tallow"}).json()
        return str(made["address"]).removeprefix(str(self.shop.base_url).rstrip("/"))

    def answers(self, claim: str) -> dict[str, Any]:
        found: dict[str, Any] = self.shop.get(f"/v1/claims/{claim}/answers").json()
        return found


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Place]:
    taxed = f'{OWN}\n[tax]\nlabour = "0"\nparts = "7.5"\nsublet = "0"\n'
    folder = write_matrices(tmp_path_factory.mktemp("taxed"), {"thistle-own": taxed})
    store = open_store(tmp_path_factory.mktemp("answered"))
    with serving(app_on(folder, store)) as shop:
        yield Place(shop, store)
    store.close()


@pytest.fixture
def seat(browser: Browser, place: Place) -> Iterator[Seat]:
    found = Seat(browser, str(place.shop.base_url), PHONE)
    yield found
    found.end()


def line(page: Page, number: int) -> Locator:
    return page.locator(f"#line-{number}")


def said(page: Page) -> Locator:
    return page.locator("#said")


def choose(page: Page, number: int, answer: str, reason: str = "", amount: str = "") -> None:
    row = line(page, number)
    row.get_by_label(answer, exact=True).check()
    if amount:
        row.get_by_label("Amount,").fill(amount)
    if reason:
        row.get_by_label("Reason").fill(reason)


def send(page: Page) -> None:
    page.get_by_role("button", name="Send the answers").click()


def forget_viewer(seat: Seat) -> None:
    """The browser's own viewer of PDFs, an extension of its own, is no request of the page."""
    seat.hosts = {host for host in seat.hosts if not re.fullmatch("[a-p]{32}", host)}


def sent_all(page: Page, count: str) -> None:
    send(page)
    expect(said(page)).to_contain_text(f"{count} sent.")


# --- reading --------------------------------------------------------------------------------------


def test_the_page_says_whose_claim_it_is_and_what_it_comes_to(place: Place, seat: Seat) -> None:
    claim = place.claim(number="A-1", insurer="Marram Mutual")
    page = seat.open(place.link(claim))
    expect(page.get_by_role("heading", name="Claim A-1")).to_be_visible()
    summary = page.locator("#summary")
    revision = place.shop.get(f"/v1/claims/{claim}").json()["revisions"][0]
    for text in ("Q. Thornbury", "Marram Mutual", "Revision 1, issued", "10.00 USD"):
        expect(summary).to_contain_text(text)
    expect(summary).to_contain_text(f"{revision['total']} USD")
    expect(summary).to_contain_text(f"{revision['net']} USD")
    expect(summary).to_contain_text("Thistle, own matrix, revision 2")
    expect(summary).to_contain_text("not an offer and not a decision on coverage")
    expect(line(page, HOOD)).to_contain_text("24.00")
    sheet = place.shop.get(f"/v1/claims/{claim}/revisions/1").json()
    formula = sheet["lines"][0]["because"]["formula"]
    expect(line(page, HOOD).locator(".formula")).to_have_text(
        f"= {formula.replace('*', '×').replace('/', '÷')}"
    )


def test_sheet_and_photographs_open_with_the_token_of_the_link(place: Place, seat: Seat) -> None:
    claim = opened(place.shop, two_panels(number="A-2"))["id"]
    sent(place.shop, claim, picture(), panel="hood", note="Under the board")
    issued(place.shop, claim)
    page = seat.open(place.link(claim))
    # The browser would style its own view of a bare picture, which our policy forbids it.
    seat.allowed.append("Applying inline style violates")
    thumbnail = page.get_by_alt_text("Hood. Under the board")
    thumbnail.scroll_into_view_if_needed()
    expect(thumbnail).to_have_js_property("naturalWidth", 320)
    with page.expect_popup() as popup:
        thumbnail.click()
    assert popup.value.url.startswith("blob:")
    for button, ending in (("Open the sheet (PDF)", "pdf"), ("The sheet as JSON", "json")):
        with page.expect_popup():
            page.get_by_role("button", name=button).click()
        link = page.locator(".files").get_by_role("link")
        expect(link).to_have_text(re.compile(rf"\.{ending}$"))
        with page.expect_download() as download:
            link.click()
        form = {"Accept": f"application/{ending}"}
        kept = place.shop.get(f"/v1/claims/{claim}/revisions/1", headers=form).content
        assert download.value.path().read_bytes() == kept
    forget_viewer(seat)


def test_the_sums_are_in_view_wherever_one_reads(place: Place, seat: Seat) -> None:
    page = seat.open(place.link(place.claim(number="A-3")))
    sums = page.locator("#standing")
    for text in ("Agreed", "Open", "Disputed"):
        expect(sums).to_contain_text(text)
    for width, height in (PHONE, TABLET, DESK):
        page.set_viewport_size({"width": width, "height": height})
        for where in (0, 400, 10_000):
            page.evaluate("y => scrollTo(0, y)", where)
            expect(sums).to_be_in_viewport(ratio=1)
        assert page.evaluate("document.documentElement.scrollWidth") <= width


# --- answering ------------------------------------------------------------------------------------


def test_lines_are_answered_in_parts_with_every_sum_from_the_server(
    place: Place, seat: Seat
) -> None:
    claim = place.claim(number="A-4")
    page = seat.open(place.link(claim))
    choose(page, HOOD, "Accept")
    sent_all(page, "1 answer")
    expect(line(page, HOOD)).to_contain_text("Accepted.")
    expect(line(page, HOOD)).to_contain_text("by R. Tallow")
    expect(said(page)).to_contain_text("2 lines to answer.")
    choose(page, ROOF, "Other amount", "Ten minutes\nare agreed", amount="10,50")
    choose(page, CLIPS, "Decline", "No clip broke")
    sent_all(page, "2 answers")

    found = place.answers(claim)
    assert [len(part["lines"]) for part in found["parts"]] == [1, 2]
    assert found["lines"][ROOF - 1]["answer"]["reason"] == "Ten minutes are agreed"
    for part in ("agreed", "open", "disputed"):
        expect(page.locator(f"#standing .parts .{part}")).to_contain_text(f"{found[part]} USD")
    expect(line(page, ROOF)).to_contain_text("agreed 10.50, open 0.00")
    line(page, HOOD).get_by_role("button", name="Change the answer").click()
    choose(page, HOOD, "Decline", "Counted twice")
    sent_all(page, "1 answer")
    line(page, HOOD).get_by_text("1 earlier answer").click()
    expect(line(page, HOOD).get_by_role("listitem")).to_contain_text("Accepted.")


def test_tax_follows_its_lines_until_it_is_answered_by_itself(place: Place, seat: Seat) -> None:
    claim = place.claim(number="A-5")
    page = seat.open(place.link(claim))
    expect(line(page, TAX)).to_contain_text("Follows the lines that it is on.")
    page.get_by_role("button", name="Accept every open line").click()
    sent_all(page, "3 answers")
    assert place.answers(claim)["lines"][TAX - 1]["answer"] is None
    line(page, TAX).get_by_role("button", name="Answer it by itself").click()
    choose(page, TAX, "Decline", "The insured deducts it")
    sent_all(page, "1 answer")
    expect(line(page, TAX)).to_contain_text("Declined: The insured deducts it.")
    assert place.answers(claim)["lines"][TAX - 1]["disputed"] == "0.63"  # 7.5 % of 8.40


def test_all_open_lines_of_a_panel_are_accepted_at_once(place: Place, seat: Seat) -> None:
    file = two_panels(number="A-6")
    file["panels"][0]["metal"] = "aluminium"
    claim = issued(place.shop, opened(place.shop, file)["id"])["id"]
    page = seat.open(place.link(claim))
    page.get_by_role("button", name="Accept all open lines of: Hood").click()
    expect(said(page)).to_contain_text("2 answers not sent yet, 2 lines still without one.")
    sent_all(page, "2 answers")
    kinds = [each["answer"] is not None for each in place.answers(claim)["lines"]]
    assert kinds == [True, True, False, False, False]


def test_a_mistake_is_said_at_its_line_before_and_after_sending(place: Place, seat: Seat) -> None:
    page = seat.open(place.link(place.claim(number="A-7")))
    choose(page, HOOD, "Accept")
    choose(page, ROOF, "Other amount", amount="9000")
    send(page)
    expect(line(page, ROOF).locator(".problem")).to_contain_text("the reason is missing")
    reason = line(page, ROOF).get_by_label("Reason")
    expect(reason).to_be_focused()
    expect(reason).to_have_accessible_description(re.compile("the reason is missing"))
    reason.fill("More")
    expect(line(page, ROOF).locator(".problem")).to_be_hidden()
    seat.allowed.append("status of 422")
    send(page)
    expect(line(page, ROOF).locator(".problem")).to_contain_text("a supplement charges more")
    expect(line(page, ROOF).get_by_label("Amount,")).to_be_focused()
    expect(line(page, HOOD).locator(".problem")).to_be_hidden()
    expect(line(page, HOOD).get_by_label("Accept", exact=True)).to_be_checked()


def test_a_line_is_answered_with_the_keyboard_alone(place: Place, seat: Seat) -> None:
    claim = place.claim(number="A-8")
    page = seat.open(place.link(claim))
    line(page, HOOD).get_by_label("Accept", exact=True).focus()
    keys = page.keyboard
    keys.press("Space")
    keys.press("ArrowRight")
    keys.press("ArrowRight")
    expect(line(page, HOOD).get_by_label("Decline", exact=True)).to_be_focused()
    keys.press("Tab")
    keys.type("Counted twice")
    page.get_by_role("button", name="Send the answers").focus()
    keys.press("Enter")
    expect(line(page, HOOD)).to_contain_text("Declined: Counted twice.")


def test_markup_in_a_reason_stays_text(place: Place, seat: Seat) -> None:
    markup = "<img src=x onerror=\"document.title='run'\">"
    claim = place.claim(number="A-9", customer=markup)
    page = seat.open(place.link(claim))
    choose(page, HOOD, "Decline", markup)
    sent_all(page, "1 answer")
    expect(line(page, HOOD)).to_contain_text(f"Declined: {markup}.")
    expect(page.locator("#summary")).to_contain_text(markup)
    supplemented(place.shop, claim, two_panels(number="A-9"), markup)
    page.reload()
    expect(page.locator("#summary")).to_contain_text(f"reason: {markup}")
    expect(page.locator("main img")).to_have_count(0)
    assert page.title() != "run"


# --- what can go wrong between --------------------------------------------------------------------


def test_what_is_typed_outlives_the_page_and_the_connection(place: Place, seat: Seat) -> None:
    claim = place.claim(number="A-10")
    page = seat.open(place.link(claim))
    choose(page, HOOD, "Other amount", "Ten minutes", amount="20.00")
    choose(page, CLIPS, "Decline", "No clip broke")
    page.reload()
    expect(line(page, HOOD).get_by_label("Amount,")).to_have_value("20.00")
    expect(line(page, CLIPS).get_by_label("Reason")).to_have_value("No clip broke")
    seat.allowed.append("net::ERR_INTERNET_DISCONNECTED")
    seat.context.set_offline(True)
    send(page)
    expect(said(page)).to_contain_text("nothing is lost")
    choose(page, ROOF, "Decline", "Typed while it was being sent")
    seat.context.set_offline(False)
    expect(line(page, HOOD)).to_contain_text("Another amount 20.00: Ten minutes.")
    expect(line(page, ROOF).get_by_label("Reason")).to_have_value("Typed while it was being sent")
    [part] = place.answers(claim)["parts"]
    assert [each["line"] for each in part["lines"]] == [HOOD, CLIPS]


def test_an_answer_whose_reply_is_lost_is_sent_again_and_counts_once(
    place: Place, seat: Seat
) -> None:
    claim = place.claim(number="A-11")
    page = seat.open(place.link(claim))
    keys: list[str | None] = []

    def lose_first(route: Route) -> None:
        keys.append(route.request.header_value("Idempotency-Key"))
        if len(keys) > 1:
            route.continue_()
        else:
            route.fetch()
            route.abort()

    seat.allowed.append("net::ERR_FAILED")
    page.route(re.compile("/answers$"), lose_first)
    choose(page, HOOD, "Accept")
    sent_all(page, "1 answer")
    assert len(keys) == 2
    assert len(set(keys)) == 1
    assert len(place.answers(claim)["parts"]) == 1


def test_an_answer_that_came_in_unknown_to_the_page_is_not_sent_again(
    place: Place, seat: Seat
) -> None:
    claim = place.claim(number="A-22")
    page = seat.open(place.link(claim))

    def lose(route: Route) -> None:
        route.fetch()
        route.abort()

    seat.allowed.append("net::ERR_FAILED")
    page.route(re.compile("/answers$"), lose)
    choose(page, HOOD, "Decline", "An old dent")
    choose(page, ROOF, "Accept")
    send(page)
    expect(said(page)).to_contain_text("nothing is lost")
    choose(page, ROOF, "Decline", "Typed after it was sent")
    page.unroute(re.compile("/answers$"))
    page.reload()
    expect(line(page, HOOD)).to_contain_text("Declined: An old dent.")
    expect(line(page, HOOD).get_by_role("radio")).to_have_count(0)
    expect(said(page)).to_contain_text("1 answer not sent yet")
    sent_all(page, "1 answer")
    assert [len(part["lines"]) for part in place.answers(claim)["parts"]] == [2, 1]


def test_a_supplement_in_between_keeps_what_was_typed_for_lines_that_stay(
    place: Place, seat: Seat
) -> None:
    claim = place.claim(number="A-12")
    page = seat.open(place.link(claim))
    choose(page, HOOD, "Decline", "An old dent")
    choose(page, CLIPS, "Decline", "No clip broke")
    more = two_panels(number="A-12")
    more["panels"][0] |= {"metal": "aluminium", "tally": {"dime": 3, "quarter": 1}}
    supplemented(place.shop, claim, more, "One more on the hood, of aluminium.")
    seat.allowed.append("status of 4")
    send(page)
    notice = page.locator("#notice")
    expect(notice).to_contain_text("the shop has issued revision 2, a supplement")
    expect(notice.get_by_role("listitem")).to_have_text("Push, 24.00; declined; An old dent")
    expect(page.locator("#summary")).to_contain_text("One more on the hood, of aluminium.")
    # An aluminium hood has a line of its own, so the clips are one line further down.
    expect(line(page, CLIPS + 1).get_by_label("Reason")).to_have_value("No clip broke")
    expect(line(page, HOOD).get_by_label("Decline", exact=True)).not_to_be_checked()
    assert place.answers(claim)["parts"] == []
    with page.expect_popup():
        page.get_by_role("button", name="What changed (PDF)").click()
    expect(page.locator(".files").get_by_role("link")).to_have_text(re.compile(r"changes-r1-r2"))
    sent_all(page, "1 answer")
    [part] = place.answers(claim)["parts"]
    assert [each["line"] for each in part["lines"]] == [CLIPS + 1]
    forget_viewer(seat)


def test_somebody_elses_answer_in_between_is_told(place: Place, seat: Seat) -> None:
    claim = place.claim(number="A-13")
    page = seat.open(place.link(claim))
    choose(page, ROOF, "Accept")
    answered(place.shop, claim, linked(place.shop, claim, "C. Fennel"), *accepting(HOOD))
    seat.allowed.append("status of 412")
    send(page)
    expect(page.locator("#notice")).to_contain_text("changed meanwhile: C. Fennel has answered.")
    expect(line(page, HOOD)).to_contain_text("by C. Fennel")
    sent_all(page, "1 answer")
    expect(page.locator("#notice")).to_be_hidden()


def test_a_draft_that_the_shop_saves_in_between_stops_no_answer_and_no_agreement(
    place: Place, seat: Seat
) -> None:
    claim = place.claim(number="A-23")
    page = seat.open(place.link(claim))
    notice = page.locator("#notice")
    draft = f"/v1/claims/{claim}/draft"
    choose(page, HOOD, "Decline", "An old dent")
    page.get_by_role("button", name="Accept every open line").click()
    place.shop.put(draft, json=two_panels(number="A-23"), headers=PLAIN)
    seat.allowed.append("status of 412")
    sent_all(page, "3 answers")
    expect(said(page)).to_contain_text("The shop works on a supplement.")
    expect(notice).to_contain_text("It has saved a draft meanwhile.")
    [part] = place.answers(claim)["parts"]
    assert part["lines"][0]["reason"] == "An old dent"

    page.get_by_role("button", name="Agree to this settlement").click()
    place.shop.put(draft, json=two_panels(number="A-23"), headers=PLAIN)
    page.get_by_role("button", name="Agree", exact=True).click()
    expect(page.locator("#where")).to_contain_text("Waiting for the shop to agree.")
    expect(notice).to_contain_text("The shop works on a supplement")

    def saves_again(route: Route) -> None:
        place.shop.put(draft, json=two_panels(number="A-23"), headers=PLAIN)
        route.continue_()

    page.route(re.compile("/answers$"), saves_again)
    line(page, HOOD).get_by_role("button", name="Change the answer").click()
    choose(page, HOOD, "Decline", "Hail of another day")
    send(page)
    expect(notice).to_contain_text("Not sent, because the claim has changed meanwhile: the shop is")
    expect(line(page, HOOD).get_by_label("Reason")).to_have_value("Hail of another day")
    page.unroute(re.compile("/answers$"))
    sent_all(page, "1 answer")


def test_whoever_comes_back_to_the_page_is_told_what_happened_meanwhile(
    place: Place, seat: Seat
) -> None:
    claim = place.claim(number="A-24")
    adjuster = linked(place.shop, claim, "C. Fennel")
    page = seat.open(place.link(claim))
    notice = page.locator("#notice")
    come_back = "document.dispatchEvent(new Event('visibilitychange'))"
    choose(page, HOOD, "Decline", "An old dent")
    place.shop.put(f"/v1/claims/{claim}/draft", json=two_panels(number="A-24"), headers=PLAIN)
    page.evaluate(come_back)
    expect(notice).to_have_text(re.compile("^The shop works on a supplement"))
    answered(place.shop, claim, adjuster, *accepting(HOOD, ROOF, CLIPS))
    word = {"settlement": place.answers(claim)["settlement"]["digest"]}
    place.shop.post(f"/v1/claims/{claim}/agreement", json=word, headers=PLAIN)
    sent(place.shop, claim, picture())
    page.evaluate(come_back)
    expect(notice).to_contain_text(
        "C. Fennel has answered, the shop has agreed to the settlement and the shop has added a "
        "photograph."
    )
    expect(line(page, HOOD).get_by_label("Reason")).to_have_value("An old dent")
    place.shop.post(f"/v1/claims/{claim}/withdrawal", json={"reason": "Sold."}, headers=PLAIN)
    page.evaluate(come_back)
    expect(notice).to_contain_text("since you last looked: the shop has withdrawn it.")


def test_a_withdrawn_claim_says_why_and_asks_for_nothing(place: Place, seat: Seat) -> None:
    claim = place.claim(number="A-14")
    address = place.link(claim)
    reason = {"reason": "The owner sold the vehicle."}
    place.shop.post(f"/v1/claims/{claim}/withdrawal", json=reason, headers=PLAIN)
    page = seat.open(address)
    expect(page.locator("#summary")).to_contain_text("The owner sold the vehicle.")
    expect(line(page, HOOD)).to_contain_text("Open.")
    expect(page.get_by_role("button", name="Send the answers")).to_be_hidden()
    expect(page.get_by_role("radio")).to_have_count(0)


# --- agreeing -------------------------------------------------------------------------------------


def test_both_sides_agree_and_a_later_answer_opens_the_claim_again(
    place: Place, seat: Seat
) -> None:
    claim = place.claim(number="A-15")
    page = seat.open(place.link(claim))
    choose(page, CLIPS, "Decline", "No clip broke")
    page.get_by_role("button", name="Accept every open line").click()
    sent_all(page, "3 answers")
    settled = place.answers(claim)["settlement"]
    settlement = page.locator("#settlement")
    for key in ("agreed", "disputed", "net"):
        expect(settlement).to_contain_text(f"{settled[key]} USD")
    page.get_by_role("button", name="Agree to this settlement").click()
    page.get_by_role("button", name="Agree", exact=True).click()
    expect(page.locator("#where")).to_contain_text("Waiting for the shop to agree.")
    word = {"settlement": settled["digest"]}
    place.shop.post(f"/v1/claims/{claim}/agreement", json=word, headers=PLAIN)
    page.reload()
    expect(page.locator("#where")).to_contain_text("both sides have agreed")

    line(page, CLIPS).get_by_role("button", name="Change the answer").click()
    choose(page, CLIPS, "Accept")
    expect(said(page)).to_contain_text("The claim is agreed; an answer that changes a sum opens it")
    sent_all(page, "1 answer")
    expect(settlement).to_contain_text("You have not agreed yet. The shop has not agreed yet.")
    assert place.shop.get(f"/v1/claims/{claim}").json()["state"] == "answered"


def test_a_settlement_that_changed_meanwhile_is_not_agreed_to(place: Place, seat: Seat) -> None:
    claim = place.claim(number="A-16")
    adjuster = linked(place.shop, claim)
    answered(place.shop, claim, adjuster, *accepting(HOOD, ROOF, CLIPS))
    page = seat.open(place.link(claim))
    page.get_by_role("button", name="Agree to this settlement").click()
    declined = {"line": HOOD, "answer": "decline", "reason": "An old dent"}
    answered(place.shop, claim, adjuster, declined)
    seat.allowed.append("status of 412")
    page.get_by_role("button", name="Agree", exact=True).click()
    expect(page.locator("#notice")).to_contain_text("Not agreed, because the claim has changed")
    assert place.answers(claim)["settlement"]["adjuster"] is None


# --- links ----------------------------------------------------------------------------------------


def test_a_link_that_is_revoked_while_one_types_loses_nothing(place: Place, seat: Seat) -> None:
    claim = place.claim(number="A-17")
    page = seat.open(place.link(claim))
    choose(page, HOOD, "Decline", "An old dent")
    [link] = place.shop.get(f"/v1/claims/{claim}/links").json()["links"]
    place.shop.delete(f"/v1/claims/{claim}/links/{link['id']}")
    seat.allowed.append("status of 401")
    send(page)
    expect(page.locator("#notice")).to_contain_text("This token was revoked.")
    expect(page.locator("#notice")).to_contain_text("ask the shop for another")
    page.get_by_label("Token, or the whole address").fill(f"{seat.base}{place.link(claim)}")
    page.get_by_role("button", name="Go on").click()
    expect(line(page, HOOD).get_by_label("Reason")).to_have_value("An old dent")
    sent_all(page, "1 answer")


def test_a_link_that_has_ended_says_when(place: Place, seat: Seat) -> None:
    claim = place.claim(number="A-18")
    with place.store.writing("command-line") as writing:
        yesterday = datetime.now(UTC) - timedelta(days=1)
        _, secret = tokens.add(writing, "adjuster", "R. Tallow", yesterday, claim=claim)
    seat.allowed.append("status of 401")
    page = seat.open(f"/answer#{secret}")
    expect(page.locator("#notice")).to_contain_text(f"{yesterday:%Y-%m-%d}")
    expect(page.locator("main")).to_be_hidden()


def test_another_claims_link_in_the_same_window_shows_the_other_claim(
    place: Place, seat: Seat
) -> None:
    one, other = place.claim(number="A-19"), place.claim(number="A-20")
    page = seat.open(place.link(one))
    choose(page, HOOD, "Decline", "An old dent")
    page = seat.open(place.link(other))
    expect(page.get_by_role("heading", name="Claim A-20")).to_be_visible()
    assert "hc_" not in page.url
    expect(page.get_by_role("radio", checked=True)).to_have_count(0)
    seat.open(place.link(one))
    expect(page.get_by_role("heading", name="Claim A-19")).to_be_visible()
    expect(line(page, HOOD).get_by_label("Reason")).to_have_value("An old dent")


def test_the_shops_own_token_is_told_that_it_cannot_answer(place: Place, seat: Seat) -> None:
    page = seat.open(f"/answer#{HERE}")
    expect(page.locator("#notice")).to_contain_text("This token is the shop’s own")
    expect(page.locator("main")).to_be_hidden()


def test_a_line_without_a_price_waits_for_a_supplement(place: Place, seat: Seat) -> None:
    file: Claim = two_panels(number="A-21")
    file["panels"][0]["tally"] = {"dime": 7}  # beyond the matrix
    claim = issued(place.shop, opened(place.shop, file)["id"])["id"]
    page = seat.open(place.link(claim))
    expect(page.locator("#summary")).to_contain_text("The sheet is incomplete")
    expect(line(page, HOOD)).to_contain_text("No price yet: a supplement gives it.")
    expect(line(page, HOOD).get_by_role("radio")).to_have_count(0)
    page.get_by_role("button", name="Accept every open line").click()
    sent_all(page, "2 answers")
    expect(page.locator("#settlement")).to_be_empty()
    expect(page.locator("#where")).to_contain_text("wait for a price from the shop")
