"""The shop's pages in a real browser: a counted claim kept in the store, and the desk."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from playwright.sync_api import Browser, Locator, Page, Route, expect

from api.store.opening import open_store
from hailcalc.sheet.pdfcheck import verify_pdf
from tests.api.browsing import DESK, PHONE, Seat, Way, chromium
from tests.api.conftest import HERE, Claim, app_on, serving
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
from tests.api.test_page import TABLET, check_for_everybody, fill_header, open_panel

KEPT = "#kept-said"


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
def phone(browser: Browser, owner: httpx.Client) -> Iterator[Seat]:
    seat = Seat(browser, str(owner.base_url), PHONE)
    yield seat
    seat.end()


def numbered(number: str) -> Claim:
    return two_panels(number=number)


def one_more_quarter(number: str) -> Claim:
    file = numbered(number)
    file["panels"][0]["tally"]["quarter"] = 1
    return file


def found(owner: httpx.Client, number: str) -> list[Claim]:
    claims: list[Claim] = owner.get("/v1/claims", params={"text": number}).json()["claims"]
    return [claim for claim in claims if claim["number"] == number]


def button(page: Page, name: str) -> Locator:
    return page.get_by_role("button", name=name, exact=True)


def lose_the_first_answer(page: Page, address: str) -> None:
    """The server does what is asked once, but its answer never arrives."""

    def lose(route: Route) -> None:
        route.fetch()
        route.abort("connectionreset")

    page.route(address, lose, times=1)


# --- a counted claim kept ------------------------------------------------------------------------


def test_a_counted_claim_is_kept_once_though_the_first_answer_is_lost(
    owner: httpx.Client, phone: Seat
) -> None:
    page = phone.open(f"/#{HERE}")
    expect(page.locator(KEPT)).to_contain_text("Not kept yet")
    expect(button(page, "Keep this claim")).to_be_disabled()
    fill_header(page, "K-1")
    open_panel(page, "Hood")
    page.get_by_label("Dents of dime on Hood").fill("3")
    page.get_by_label("Storm, to find it by").fill("alderbeck-2026-05")
    phone.allowed.append("net::ERR_CONNECTION_RESET")
    way = Way(page, "**/v1/claims?*")
    way.hold_up()
    lose_the_first_answer(page, "**/v1/claims?*")
    button(page, "Keep this claim").click()
    expect(page.locator(KEPT)).to_contain_text("It will be kept when it is back.")
    way.mend()
    expect(page.locator(KEPT)).to_have_text(re.compile(r"^Kept as draft 1 at \d\d:\d\d"))
    [claim] = found(owner, "K-1")
    assert (claim["storm"], claim["draft"]) == ("alderbeck-2026-05", 1)

    page.get_by_label("Dents of dime on Hood").fill("4")
    expect(page.locator(KEPT)).to_contain_text("Changed since draft 1 was kept")
    page.reload()
    button(page, "Keep it as the next draft").click()
    expect(page.locator(KEPT)).to_contain_text("Kept as draft 2")
    draft = owner.get(f"/v1/claims/{claim['id']}/draft").json()
    assert draft["claim_file"]["panels"][0]["tally"] == {"dime": 4}


def test_a_claim_kept_without_a_connection_is_kept_after_a_reload(
    owner: httpx.Client, phone: Seat
) -> None:
    page = phone.open(f"/#{HERE}")
    fill_header(page, "K-2")
    expect(page.locator("#sums")).to_contain_text("0.00")
    phone.allowed += ["net::ERR_INTERNET_DISCONNECTED", "net::ERR_CONNECTION_RESET"]
    lose_the_first_answer(page, "**/v1/claims")
    phone.context.set_offline(True)
    button(page, "Keep this claim").click()
    expect(page.locator(KEPT)).to_contain_text("It will be kept when it is back.")
    phone.context.set_offline(False)
    page.reload()
    expect(page.locator(KEPT)).to_contain_text("Kept as draft 1")
    assert len(found(owner, "K-2")) == 1


def test_what_the_server_finds_wrong_stands_where_it_was_to_be_kept(
    owner: httpx.Client, desk: Seat
) -> None:
    page = desk.open(f"/#{HERE}")
    fill_header(page, "K-3")
    page.get_by_label("Storm, to find it by").fill("A storm!")
    desk.allowed.append("status of 422")
    button(page, "Keep this claim").click()
    expect(page.locator(KEPT)).to_contain_text('storm: found "A storm!", expected')
    page.get_by_label("Storm, to find it by").fill("storm-9")
    button(page, "Keep this claim").click()
    expect(page.locator(KEPT)).to_contain_text("Kept as draft 1")


def test_somebody_elses_draft_is_not_overwritten_unasked(owner: httpx.Client, desk: Seat) -> None:
    claim = opened(owner, numbered("K-4"))["id"]
    path = f"/v1/claims/{claim}/draft"
    page = desk.open(f"/?claim={claim}#{HERE}")
    expect(page.locator(KEPT)).to_contain_text("Kept as draft 1")
    desk.allowed.append("status of 412")
    page.locator("#claim-fold summary").first.click()
    page.get_by_label("Insurer").fill("Marram Mutual")

    owner.put(path, json=numbered("K-4b"), headers=PLAIN)
    button(page, "Keep it as the next draft").click()
    expect(page.locator("#question")).to_contain_text("Somebody else has changed this claim")
    expect(page.locator("#question")).to_contain_text("now at draft 2")
    assert owner.get(path).json()["number"] == 2
    button(page, "Keep mine as the next draft").click()
    expect(page.locator(KEPT)).to_contain_text("Kept as draft 3")
    assert owner.get(f"/v1/claims/{claim}").json()["insurer"] == "Marram Mutual"

    owner.put(path, json=numbered("K-4c"), headers=PLAIN)
    page.get_by_label("Insurer").fill("Teasel Mutual")
    button(page, "Keep it as the next draft").click()
    button(page, "Open theirs").click()
    expect(page.get_by_label("Claim number")).to_have_value("K-4c")
    expect(page.locator(KEPT)).to_contain_text("Kept as draft 4")
    assert owner.get(path).json()["number"] == 4


def test_photographs_go_to_a_panel_and_one_that_failed_is_sent_again(
    owner: httpx.Client, phone: Seat, tmp_path: Path
) -> None:
    claim = opened(owner, numbered("K-5"))["id"]
    for name, data in {"hood.jpg": picture(), "none.png": b"no picture"}.items():
        (tmp_path / name).write_bytes(data)
    page = phone.open(f"/?claim={claim}#{HERE}")
    box = page.locator("#photographs")
    expect(box.locator("input[capture]")).to_have_attribute("capture", "environment")
    box.get_by_label("Photograph of").select_option(label="Hood")
    box.get_by_label("Note, if any").fill("Under the board")
    phone.allowed += ["status of 400", "net::ERR_CONNECTION_RESET"]
    lose_the_first_answer(page, "**/photographs?*")
    box.locator("input[multiple]").set_input_files([tmp_path / "hood.jpg", tmp_path / "none.png"])
    expect(box.get_by_role("status")).to_have_text("1 photograph not kept, 1 kept.")
    expect(box.locator("li")).to_contain_text("none.png was not kept: ")
    button(page, "Send it again").click()
    expect(box.locator("li")).to_contain_text("none.png was not kept: ")
    button(page, "Leave it out").click()
    expect(box.locator("li")).to_have_count(0)
    [kept] = owner.get(f"/v1/claims/{claim}/photographs").json()["photographs"]
    assert (kept["panel"], kept["note"], kept["place_kept"]) == ("hood", "Under the board", False)
    page = phone.open(f"/claims?claim={claim}")
    button(page, "Leave out: Hood. Under the board").click()
    button(page, "Leave it out").click()
    expect(page.locator(".pictures")).to_contain_text("Left out of sheets")
    expect(page.get_by_text("Photograph 1 is left out.")).to_be_visible()
    [kept] = owner.get(f"/v1/claims/{claim}/photographs").json()["photographs"]
    assert kept["left_out"] is not None


# --- the desk ------------------------------------------------------------------------------------


def test_a_supplement_is_counted_issued_and_compared(owner: httpx.Client, desk: Seat) -> None:
    claim = issued(owner, opened(owner, numbered("D-1"))["id"])["id"]
    page = desk.open(f"/claims?claim={claim}#{HERE}")
    page.get_by_role("link", name="Count for a supplement").click()
    expect(page.locator(KEPT)).to_contain_text("As issued in revision 1.")
    open_panel(page, "Hood")
    page.get_by_label("Dents of quarter on Hood").fill("1")
    button(page, "Keep it as a supplement").click()
    expect(page.locator(KEPT)).to_contain_text("Kept as draft 2")
    page.get_by_role("link", name="To the claim").click()

    button(page, "Issue the supplement").click()
    assert owner.get(f"/v1/claims/{claim}").json()["revision"] == 1  # the reason is missing
    page.get_by_label("Why there is a supplement").fill("One more on the hood.")
    page.get_by_label("Paper").select_option("a4")
    button(page, "Issue the supplement").click()
    expect(page.locator("#notice")).to_contain_text("Revision 2 is issued.")
    page.get_by_text("What changed since revision 1").click()
    # Three dimes 16 min; four dents 16 min and a step to quarter 20 - 10 = 10 min; 90.00 an hour.
    expect(page.locator(".differences")).to_contain_text("24.00 → 39.00")
    expect(page.locator(".differences")).not_to_contain_text("Roof")
    with page.expect_popup():
        page.get_by_role("button", name="PDF of revision 2").click()
    with page.expect_download() as download:
        page.get_by_role("link", name="claim-r2-D-1.pdf").click()
    pdf = download.value.path().read_bytes()
    document, differences = verify_pdf(pdf, "sheet.pdf")
    assert differences == []
    assert document["claim_file"]["claim"]["supplement"] == "One more on the hood."


def test_the_desk_shows_answers_with_their_reasons_and_who_gave_them(
    owner: httpx.Client, desk: Seat
) -> None:
    claim = issued(owner, opened(owner, numbered("D-2"))["id"])["id"]
    adjuster = linked(owner, claim)
    declined = {"line": 3, "answer": "decline", "reason": "<i>No</i> clip broke"}
    answered(owner, claim, adjuster, *accepting(1), declined)
    page = desk.open(f"/claims?claim={claim}#{HERE}")
    expect(page.locator(".answer-line.disputed")).to_have_count(1)
    line = page.locator(".answer-line.disputed")
    expect(line).to_contain_text("Declined: <i>No</i> clip broke. R. Tallow")
    expect(page.get_by_text("1 line is still open.")).to_be_visible()
    page.get_by_text("History").click()
    expect(page.locator(".events")).to_contain_text("2 lines of revision 1 answered")

    button(page, "Revoke the link of R. Tallow").click()
    button(page, "Revoke it").click()
    expect(page.locator("#notice")).to_contain_text("The link of R. Tallow is revoked.")
    assert owner.get("/v1/token", headers=adjuster).status_code == 401


def test_a_withdrawal_asks_for_its_reason_and_is_final(owner: httpx.Client, desk: Seat) -> None:
    claim = opened(owner, numbered("D-3"))["id"]
    page = desk.open(f"/claims?claim={claim}#{HERE}")
    button(page, "Withdraw the claim").click()
    button(page, "Withdraw it").click()
    expect(page.locator("#question")).to_be_visible()
    page.get_by_label("Why").fill("Sold as it is.")
    page.keyboard.press("Enter")
    stands = page.get_by_role("region", name="Withdrawn")
    expect(stands).to_contain_text("Sold as it is.")
    expect(page.get_by_role("heading", name="What can be done")).to_have_count(0)
    desk.open(f"/?claim={claim}")
    expect(page.locator("#notice")).to_contain_text("It is withdrawn and can only be read.")


def test_a_claim_changed_meanwhile_is_shown_as_it_is_now(owner: httpx.Client, desk: Seat) -> None:
    claim = issued(owner, opened(owner, numbered("D-4"))["id"])["id"]
    path = f"/v1/claims/{claim}/draft"
    owner.put(path, json=one_more_quarter("D-4"), headers=PLAIN)
    page = desk.open(f"/claims?claim={claim}#{HERE}")
    page.get_by_label("Why there is a supplement").fill("More dents.")
    owner.put(path, json=one_more_quarter("D-4"), headers=PLAIN)
    desk.allowed.append("status of 412")
    button(page, "Issue the supplement").click()
    expect(page.locator("#notice")).to_contain_text("This is the claim as it is now.")
    expect(page.get_by_role("heading", name="Draft 3, for a supplement")).to_be_visible()
    expect(page.get_by_label("Why there is a supplement")).to_have_value("More dents.")
    assert owner.get(f"/v1/claims/{claim}").json()["revision"] == 1


def test_the_list_finds_claims_page_by_page_and_goes_back(owner: httpx.Client, phone: Seat) -> None:
    for number in range(51):
        opened(owner, numbered(f"L-{number}"), storm="brindlemoor-2026")
    page = phone.open(f"/claims#{HERE}")
    page.get_by_text("Storm, insurer, state").click()
    page.get_by_label("Storm", exact=True).fill("brindlemoor-2026")
    button(page, "Find").click()
    # The list of all claims is as long, but leads to no longer one.
    expect(page.get_by_role("link", name="All", exact=True)).to_be_visible()
    expect(page.locator(".claims > li")).to_have_count(50)
    button(page, "Show more").click()
    expect(page.locator(".claims > li")).to_have_count(51)
    expect(page.get_by_role("link", name="L-0", exact=True)).to_be_focused()
    page.get_by_role("link", name="L-0", exact=True).click()
    expect(page.get_by_role("heading", name="Draft, not issued yet")).to_be_visible()
    page.go_back()
    expect(page.get_by_label("Storm", exact=True)).to_have_value("brindlemoor-2026")


def test_a_filter_that_is_none_is_told_once_and_can_be_mended(
    owner: httpx.Client, desk: Seat
) -> None:
    opened(owner, numbered("L-x"), storm="dunnock-2026")
    page = desk.open(f"/claims?storm=Dunnock!#{HERE}")
    desk.allowed.append("status of 422")
    expect(page.locator("#notice p")).to_have_text(re.compile('^storm: found "Dunnock!", [^:]*$'))
    page.get_by_label("Storm", exact=True).fill("dunnock-2026")
    button(page, "Find").click()
    expect(page.get_by_role("link", name="L-x")).to_be_visible()
    expect(page.locator("#notice")).to_be_hidden()


def test_photographs_on_their_way_outlive_that_the_claim_is_shown_anew(
    owner: httpx.Client, desk: Seat, tmp_path: Path
) -> None:
    claim = opened(owner, numbered("D-5"))["id"]
    (tmp_path / "hood.jpg").write_bytes(picture())
    page = desk.open(f"/claims?claim={claim}#{HERE}")
    waiting: list[Route] = []
    page.route("**/photographs?*", lambda route: waiting.append(route), times=1)
    page.get_by_text("Add photographs").click()
    page.get_by_label("Photograph of").select_option(label="Hood")
    page.locator(".uploader input[multiple]").set_input_files([tmp_path / "hood.jpg"])
    expect(page.locator(".uploader")).to_contain_text("Sending photograph 1 of 1")
    button(page, "Issue it").click()
    expect(page.locator("#notice")).to_contain_text("Revision 1 is issued.")
    expect(page.locator(".uploader")).to_contain_text("Sending photograph 1 of 1")
    waiting[0].continue_()
    expect(page.locator(".uploader")).to_contain_text("1 photograph is kept.")
    expect(page.get_by_alt_text("Hood")).to_be_visible()


# --- tokens --------------------------------------------------------------------------------------


def test_without_a_token_the_page_asks_for_one_and_the_server_for_nothing(
    owner: httpx.Client, desk: Seat
) -> None:
    for path in ("/", "/claims", "/claims#%E0%A4%A"):
        page = desk.open(path)
        expect(page.locator("#notice")).to_contain_text("This needs a token.")
    page.get_by_label("Token, or the whole address").fill(f"{owner.base_url}/#{HERE}")
    button(page, "Go on").click()
    expect(button(page, "Find")).to_be_visible()
    # Nor does it stay in the address when it is put there while the page is open.
    page.evaluate("(token) => { location.hash = token; }", HERE)
    page.wait_for_url("**/claims")
    expect(button(page, "Find")).to_be_visible()


def test_an_adjusters_link_on_the_desk_is_led_to_its_own_page(
    owner: httpx.Client, desk: Seat
) -> None:
    claim = issued(owner, opened(owner, numbered("T-1"))["id"])["id"]
    secret = linked(owner, claim)["Authorization"].removeprefix("Bearer ")
    desk.allowed.append("status of 403")
    for path in ("/", "/claims"):
        page = desk.open(f"{path}#{secret}")
        expect(page.locator("#notice")).to_contain_text("This link is an adjuster's")
    page.locator("#notice").get_by_role("link", name="To the claim").click()
    page.wait_for_url("**/answer")


# --- for everybody -------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [PHONE, TABLET, DESK])
def test_the_desk_is_for_everybody(
    browser: Browser, owner: httpx.Client, size: tuple[int, int]
) -> None:
    number = f"E-{size[0]}"
    claim = issued(owner, opened(owner, numbered(number), storm="storm-9")["id"])["id"]
    answered(owner, claim, linked(owner, claim), *accepting(1, 2, 3))
    sent(owner, claim, picture(), panel="hood")
    supplemented(owner, claim, one_more_quarter(number), "One more on the hood.")
    owner.put(f"/v1/claims/{claim}/draft", json=numbered(number), headers=PLAIN)
    seat = Seat(browser, str(owner.base_url), size)
    page = seat.open(f"/claims?text={number}#{HERE}")
    expect(page.locator(".claims > li")).to_have_count(1)
    check_for_everybody(page)
    page.get_by_role("link", name=number).click()
    page.get_by_text("What changed since revision 1").click()
    expect(page.locator(".differences")).to_be_visible()
    page.get_by_text("Add photographs").click()
    page.get_by_text("History").click()
    expect(page.get_by_alt_text("Hood")).to_be_visible()
    check_for_everybody(page)
    button(page, "Give an adjuster a link").click()
    expect(page.get_by_label("For whom (shown beside every answer)")).to_be_focused()
    check_for_everybody(page)
    seat.end()


# --- both sides at one claim ----------------------------------------------------------------------


def test_a_claim_is_issued_linked_answered_and_agreed_on_the_pages(
    owner: httpx.Client, desk: Seat, phone: Seat
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

    theirs = phone.open(address.removeprefix(phone.base))
    expect(theirs.get_by_role("heading", name="Claim P-1")).to_be_visible()
    expect(theirs.get_by_alt_text("Hood. Under the board")).to_be_visible()
    theirs.locator("#line-3").get_by_label("Decline").check()
    theirs.get_by_role("button", name="Accept every open line").click()
    theirs.get_by_role("button", name="Send the answers").click()
    expect(theirs.locator("#line-3").get_by_text("the reason is missing")).to_be_visible()
    theirs.locator("#line-3").get_by_label("Reason").fill("<b>No</b> clip broke")
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
