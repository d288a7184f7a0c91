"""The page in a real browser against a real server: Debian's Chromium, driven from outside.

Every test that has a page also checks, when it ends, that nothing was asked of another host,
that no script failed and that the browser had nothing to complain about. Sizes are CSS pixels.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, get_args
from urllib.parse import urlsplit

import httpx
import pypdf
import pytest
from playwright.sync_api import (
    Browser,
    ConsoleMessage,
    Locator,
    Page,
    Request,
    expect,
)

from api.store.session import Store
from hailcalc.cautions import CAUTIONS, NATURE
from hailcalc.sheet.pdfcheck import verify_pdf
from hailcalc.vehicle import PANEL_LABELS, PANELS, PANELS_OF_BODY, Equipment
from tests.api.browsing import DESK, PATIENCE_MS, PHONE, Way, chromium
from tests.api.conftest import (
    HERE,
    TRIM,
    Claim,
    app_on,
    planned,
    serving,
    three_dimes,
    with_claim,
    write_matrices,
)

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "demo" / "claims"
EVERY_PANEL = DEMO / "12-sedan-every-panel.json"
TABLET = (820, 1100)

MORNING = datetime(2026, 5, 20, 8, tzinfo=UTC)
"""When the page is opened, where a test lets time pass as it needs it."""

REFUSAL = "the server responded with a status of 422"
"""What Chromium itself writes for a refused claim, which is no fault of the page."""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


@pytest.fixture(scope="module")
def demo_client(empty_store: Store) -> Iterator[httpx.Client]:
    """A server over the matrices that come with hailcalc."""
    with serving(app_on(ROOT / "matrices", empty_store)) as client:
        yield client


class Visit:
    """A page in a browser window of its own, and what it asked for and complained of."""

    def __init__(self, browser: Browser, base: httpx.URL, size: tuple[int, int]) -> None:
        self.base = str(base)
        self.context = browser.new_context(
            viewport={"width": size[0], "height": size[1]},
            locale="en-US",
            timezone_id="UTC",
            accept_downloads=True,
        )
        self.context.set_default_timeout(PATIENCE_MS)
        self.requests: list[str] = []
        self.complaints: list[str] = []
        self.allowed = [REFUSAL]
        self.context.on("request", self._asked)
        self.context.on("console", self._said)
        self.context.on("weberror", lambda error: self.complaints.append(str(error.error)))
        self.page = self.context.new_page()
        self.page.goto(f"{self.base}/#{HERE}")

    def _asked(self, request: Request) -> None:
        self.requests.append(request.url)

    def _said(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            self.complaints.append(message.text)

    def end(self) -> None:
        self.context.close()
        own = urlsplit(self.base).netloc
        # The browser's own viewer of PDFs is no request of the page.
        asked = [urlsplit(url) for url in self.requests if url.startswith("http")]
        assert {url.netloc for url in asked} == {own}
        unexpected = [
            text for text in self.complaints if not any(known in text for known in self.allowed)
        ]
        assert unexpected == []


@pytest.fixture
def phone(browser: Browser, client: httpx.Client) -> Iterator[Visit]:
    visit = Visit(browser, client.base_url, PHONE)
    yield visit
    visit.end()


@pytest.fixture
def trim(browser: Browser, trim_client: httpx.Client) -> Iterator[Visit]:
    """A phone on a server whose matrix has trim that comes off."""
    visit = Visit(browser, trim_client.base_url, PHONE)
    yield visit
    visit.end()


@pytest.fixture
def desk(browser: Browser, demo_client: httpx.Client) -> Iterator[Visit]:
    visit = Visit(browser, demo_client.base_url, DESK)
    yield visit
    visit.end()


def sums(page: Page) -> Locator:
    return page.locator("#sums")


def fill_header(page: Page, number: str = "T-7") -> None:
    page.get_by_label("Body", exact=True).select_option("sedan")
    page.get_by_label("Claim number").fill(number)
    page.get_by_label("Date of loss", exact=True).fill("2026-05-19")


def open_panel(page: Page, name: str) -> None:
    # The list is drawn anew when the matrix comes; a click just then meets no button.
    expect(page.locator("#sizes-note")).to_contain_text("Sizes of the matrix")
    button = page.locator("#panels").get_by_role("button", name=re.compile(f"^{name}")).first
    expect(button).to_have_attribute("aria-expanded", "false")
    button.click()
    expect(button).to_have_attribute("aria-expanded", "true")


def open_file(page: Page, claim: Claim | Path, tmp_path: Path) -> None:
    if not isinstance(claim, Path):
        path = tmp_path / "claim.json"
        path.write_text(json.dumps(claim), encoding="utf-8")
        claim = path
    page.set_input_files("#file", claim)


def total(client: httpx.Client, claim: Claim) -> str:
    response = client.post("/v1/price", json=claim)
    assert response.status_code == 200, response.text
    found: str = response.json()["totals"]["total"]
    return found


def problem_of(field: Locator) -> Locator:
    """What is said to be wrong with a field, as a screen reader finds it."""
    described = field.get_attribute("aria-describedby")
    assert described is not None
    return field.page.locator(f"#{described}")


# --- counting and the price ----------------------------------------------------------------------


def test_dents_counted_on_a_phone_get_the_total_that_the_api_gives(
    phone: Visit, client: httpx.Client
) -> None:
    page = phone.page
    fill_header(page)
    open_panel(page, "Hood")
    for _ in range(3):
        page.get_by_role("button", name="One dime on Hood more").click()
    page.get_by_label("Dents of quarter on Hood").fill("2")

    # Five dents at the smallest size 16 min, the step from dime to quarter for two of them
    # 20 - 10 = 10 min: 26 min at 90.00 an hour.
    expect(sums(page)).to_contain_text("39.00")
    assert total(client, three_dimes(tally={"dime": 3, "quarter": 2})) == "39.00"
    expect(sums(page)).to_contain_text("Complete")
    expect(page.locator("#counted")).to_have_text("5 dents on 1 panel")
    page.get_by_role("button", name="One quarter on Hood less").click()
    expect(page.locator("#counted")).to_have_text("4 dents on 1 panel")
    expect(page.get_by_label("Dents of quarter on Hood")).to_have_value("1")


def test_every_choice_at_a_panel_reaches_the_price(phone: Visit, client: httpx.Client) -> None:
    page = phone.page
    fill_header(page)
    open_panel(page, "Hood")
    page.get_by_label("Dents of dime on Hood").fill("3")
    page.get_by_role("radio", name="aluminium", exact=True).check()
    page.get_by_text("Oversize dents").click()
    page.get_by_role("button", name="Add an oversize dent").click()
    page.get_by_label("mm", exact=True).fill("30.5")
    page.get_by_role("group", name="Marks of dent 1").get_by_label("sharp").check()
    page.locator('[data-fold="marks"] summary').click()
    page.get_by_role("group", name="How many behind a brace").get_by_label("dime").fill("2")
    page.get_by_label("Repainted").check()

    panel = {
        "metal": "aluminium",
        "repainted": True,
        "marked": {"braced": {"dime": 2}},
        "oversize": [{"mm": 30.5, "marks": ["sharp"]}],
    }
    expect(sums(page)).to_contain_text(total(client, three_dimes(**panel)))
    with page.expect_download() as download:
        page.get_by_role("button", name="Download claim").click()
    claim = json.loads(download.value.path().read_text(encoding="utf-8"))
    assert download.value.suggested_filename == "claim-T-7.json"
    assert claim["panels"] == three_dimes(access="plan", **panel)["panels"]


def test_a_claim_that_is_only_begun_is_not_scolded(phone: Visit) -> None:
    page = phone.page
    expect(page.locator("#state")).to_contain_text("claim number")
    expect(page.locator("#state")).to_contain_text("date of loss")
    page.get_by_label("Body", exact=True).select_option("sedan")
    open_panel(page, "Hood")
    page.get_by_label("Dents of dime on Hood").fill("3")

    expect(page.locator("#state")).not_to_contain_text("body")
    expect(sums(page)).to_contain_text("no price yet")
    expect(page.locator("#problems")).to_be_hidden()
    expect(page.locator(".problem:visible")).to_have_count(0)
    page.locator("#state").get_by_role("button", name="claim number").click()
    expect(page.get_by_label("Claim number")).to_be_focused()


def test_a_panel_beyond_the_matrix_is_incomplete_until_a_price_is_agreed(phone: Visit) -> None:
    page = phone.page
    fill_header(page)
    open_panel(page, "Hood")
    page.get_by_label("Dents of dime on Hood").fill("7")

    expect(sums(page)).to_contain_text("Incomplete")
    expect(page.locator("#state")).to_contain_text("Hood without a price yet")
    expect(page.locator(".panel-name").first).to_contain_text("no price yet")
    page.get_by_label("Agreed price of the repair").fill("55.00")
    expect(sums(page)).to_contain_text("55.00")
    expect(sums(page)).to_contain_text("Complete")


def test_a_replaced_panel_waits_for_its_price_and_then_has_one_line(phone: Visit) -> None:
    page = phone.page
    fill_header(page)
    open_panel(page, "Hood")
    page.get_by_label("Dents of dime on Hood").fill("3")
    page.get_by_role("radio", name="replace", exact=True).check()

    expect(page.locator("#state")).to_contain_text("Hood: price of the replacement")
    expect(page.locator("#problems")).to_be_hidden()
    page.get_by_label("Price of the replacement").fill("480,50")
    expect(sums(page)).to_contain_text("480.50")
    expect(page.locator("tr.line")).to_have_count(1)


def test_the_sizes_are_those_of_the_matrix_that_insurer_and_date_choose(desk: Visit) -> None:
    page = desk.page
    fill_header(page)
    open_panel(page, "Hood")
    expect(page.get_by_label("Dents of half-dollar on Hood")).to_be_visible()
    page.locator("#claim-fold summary").first.click()
    page.get_by_label("Insurer", exact=True).fill("Quendel Gegenseitige")

    expect(page.get_by_label("Dents of 2-euro on Hood")).to_be_visible()
    expect(page.get_by_label("Dents of half-dollar on Hood")).to_have_count(0)
    expect(page.locator("#sizes-note")).to_contain_text("quendel-vereinbart-2026")


def test_sizes_that_came_while_somebody_typed_on_are_asked_for_again(phone: Visit) -> None:
    page = phone.context.new_page()
    way = Way(page, "**/v1/price")
    way.hold_up()
    with page.expect_request("**/v1/price"):
        page.goto(f"{phone.base}/#{HERE}")
    with page.expect_request("**/v1/price"):
        page.get_by_label("Body", exact=True).select_option("sedan")
    with page.expect_response("**/v1/price"):
        way.let_one_through()
    with page.expect_request("**/v1/price"):
        page.get_by_label("Claim number").fill("T-7")
    way.mend()
    open_panel(page, "Hood")
    expect(page.get_by_label("Dents of dime on Hood")).to_be_visible()


# --- counting on the drawing ---------------------------------------------------------------------


def on_the_drawing(page: Page, panel: str = "Hood") -> Locator:
    """Open a panel and its drawing."""
    open_panel(page, panel)
    page.get_by_role("radio", name="on the drawing").check()
    drawing = page.locator(".sheet > svg")
    expect(drawing).to_be_visible()
    return drawing


def tap(page: Page, x: float, y: float) -> None:
    """Tap the drawing at a place of the panel, mm."""
    drawing = page.locator(".sheet > svg")
    left, top, width, height = map(float, (drawing.get_attribute("viewBox") or "").split())
    box = drawing.bounding_box()
    assert box is not None
    panel_height = height + 2 * top
    drawing.click(
        position={
            "x": (x - left) / width * box["width"],
            "y": (panel_height - y - top) / height * box["height"],
        }
    )


def kept_claim(page: Page) -> Claim:
    claim: Claim = json.loads(page.evaluate("localStorage.getItem('hailcalc.claim')"))
    return claim


def kept_dents(page: Page, panel: str = "hood") -> list[dict[str, Any]]:
    found = [entry for entry in kept_claim(page)["panels"] if entry["panel"] == panel]
    return list(found[0].get("dents", [])) if found else []


def dents_drawn(page: Page) -> Locator:
    return page.locator(".dent")


def size_at_hand(page: Page, size: str) -> None:
    page.get_by_role("radio", name=re.compile(f"^{size},")).check()


def three_marks() -> Claim:
    """A sedan with three dimes on its hood, each with its place."""
    claim = three_dimes()
    claim["panels"] = [
        {
            "panel": "hood",
            "dents": [
                {"mm": 17.2, "x": 300, "y": 400},
                {"mm": 16, "mm2": 12, "x": 760.5, "y": 300, "marks": ["sharp"]},
                {"mm": 17.91, "x": 1100, "y": 800},
            ],
        }
    ]
    return claim


def test_a_tap_is_a_dent_of_the_size_at_hand_at_that_place(
    phone: Visit, client: httpx.Client
) -> None:
    page = phone.page
    fill_header(page)
    on_the_drawing(page)
    tap(page, 700, 500)
    size_at_hand(page, "quarter")
    tap(page, 400, 800)

    expect(page.locator("#counted")).to_have_text("2 dents on 1 panel")
    first, second = kept_dents(page)
    assert (first["mm"], second["mm"]) == (17.91, 24.26)
    # A pixel of this phone is five millimetres of a hood.
    assert (first["x"], first["y"]) == pytest.approx((700, 500), abs=5)
    assert (second["x"], second["y"]) == pytest.approx((400, 800), abs=5)
    assert all(isinstance(dent[key], int) for dent in (first, second) for key in "xy")
    # Two dents 10 min, the step to quarter for one of them 20 - 10 = 10 min, 90.00 an hour.
    expect(sums(page)).to_contain_text("30.00")
    assert total(client, kept_claim(page)) == "30.00"
    expect(page.get_by_role("radio", name="dime, 1 dent")).to_be_visible()
    expect(page.get_by_role("radio", name="quarter, 1 dent")).to_be_checked()


def test_the_zones_of_a_panel_are_drawn_each_with_its_pattern_and_its_words(
    phone: Visit, client: httpx.Client
) -> None:
    page = phone.page
    fill_header(page)
    on_the_drawing(page)
    hood = client.get("/v1/outlines/sedan").json()["panels"]["hood"]

    zones = page.locator(".sheet [data-zone]")
    kinds = [zone.get_attribute("data-zone") for zone in zones.all()]
    assert kinds == [zone["kind"] for zone in hood["zones"]]
    words = page.locator(".legend li").all_text_contents()
    assert words == ["behind a brace", "glue only", "on a body line", "at an edge"]
    patterns = page.locator(".patterns pattern path").evaluate_all(
        "(paths) => paths.map((path) => path.getAttribute('d'))"
    )
    assert len(set(patterns)) == len(patterns) == 3  # a body line is a line
    # In its real proportions: the same length on the screen for a millimetre across and up.
    box = page.locator(".sheet .outline").bounding_box()
    assert box is not None
    width, height = (max(point[axis] for point in hood["ring"]) for axis in (0, 1))
    assert box["width"] / box["height"] == pytest.approx(width / height, rel=0.01)


def test_a_dent_in_a_braced_zone_is_priced_behind_a_brace(
    desk: Visit, demo_client: httpx.Client
) -> None:
    page = desk.page
    fill_header(page)
    on_the_drawing(page)
    hood = demo_client.get("/v1/outlines/sedan").json()["panels"]["hood"]
    brace = next(zone["points"] for zone in hood["zones"] if zone["kind"] == "braced")
    x, y = (sum(point[axis] for point in brace) / len(brace) for axis in (0, 1))
    tap(page, x, y)
    tap(page, 740, 500)

    expect(page.locator("#lines")).to_contain_text("Dents behind a brace")
    expect(page.locator("#lines")).to_contain_text("1 of 2 dents")
    expect(page.locator(".as-priced")).to_have_text("As priced: 1 behind a brace.")
    assert all("marks" not in dent for dent in kept_dents(page))


def test_a_dent_that_is_tapped_can_be_marked_made_larger_moved_and_removed(phone: Visit) -> None:
    page = phone.page
    fill_header(page)
    on_the_drawing(page)
    tap(page, 700, 500)
    tap(page, 400, 800)
    tap(page, 400, 800)  # on the dent that is there: chosen, not a third
    chosen = page.get_by_role("group", name="Dent 2", exact=True)
    chosen.get_by_label("sharp").check()
    chosen.get_by_label("Size of dent 2").select_option("quarter, 24.26 mm")
    chosen.get_by_role("button", name="Move", exact=True).click()
    tap(page, 1000, 300)

    expect(dents_drawn(page)).to_have_count(2)
    first, second = kept_dents(page)
    assert (second["mm"], second["marks"]) == (24.26, ["sharp"])
    assert (second["x"], second["y"]) == pytest.approx((1000, 300), abs=5)
    chosen.get_by_role("button", name="Remove").click()
    expect(dents_drawn(page)).to_have_count(1)
    assert kept_dents(page) == [first]
    expect(chosen).to_have_count(0)


def test_the_drawing_stays_under_the_finger_when_the_price_comes(phone: Visit) -> None:
    page = phone.page
    fill_header(page)
    on_the_drawing(page)
    height = "() => document.querySelector('.sheet').getBoundingClientRect().top + scrollY"
    before = page.evaluate(height)
    tap(page, 700, 500)
    expect(page.locator(".panel-name").first).to_contain_text("planned: push")
    expect(sums(page)).to_contain_text("15.00")

    assert page.evaluate(height) == before


def test_undo_takes_back_the_last_thing_that_was_done(phone: Visit) -> None:
    page = phone.page
    fill_header(page)
    on_the_drawing(page)
    undo = page.get_by_role("button", name="Undo")
    expect(undo).to_be_disabled()
    tap(page, 700, 500)
    tap(page, 400, 800)
    tap(page, 400, 800)
    page.get_by_label("sharp").check()
    marked = kept_dents(page)
    page.get_by_role("button", name="Remove", exact=True).click()

    undo.click()
    assert kept_dents(page) == marked
    undo.click()
    assert all("marks" not in dent for dent in kept_dents(page))
    undo.click()
    expect(dents_drawn(page)).to_have_count(1)
    undo.click()
    expect(dents_drawn(page)).to_have_count(0)
    assert kept_claim(page)["panels"] == []
    expect(undo).to_be_disabled()


def test_dents_can_be_put_down_changed_and_removed_by_keyboard_alone(phone: Visit) -> None:
    page = phone.page
    fill_header(page)
    on_the_drawing(page)
    tab_to(page, "Dents one by one")
    page.keyboard.press("Enter")
    for x, y, mm in [("300", "400", "22"), ("800", "250", "16.5")]:
        tab_to(page, "Add a dent")
        page.keyboard.press("Enter")
        expect(page.get_by_label(re.compile(r"^x of dent \d, mm$")).last).to_be_focused()
        for value in (x, y, mm):
            page.keyboard.press("Control+A")
            page.keyboard.type(value)
            page.keyboard.press("Tab")
    page.keyboard.press("Enter")  # on "Marks of dent 2"
    expect(page.get_by_label("Size of dent 2")).to_be_focused()
    tab_to(page, "sharp")
    page.keyboard.press("Space")

    assert kept_dents(page) == [
        {"mm": 22, "x": 300, "y": 400},
        {"mm": 16.5, "x": 800, "y": 250, "marks": ["sharp"]},
    ]
    expect(dents_drawn(page)).to_have_count(2)
    tab_to(page, "Remove dent 1")
    page.keyboard.press("Enter")
    assert [dent["mm"] for dent in kept_dents(page)] == [16.5]
    expect(page.get_by_label("Remove dent 1")).to_be_focused()
    expect(page.get_by_label("x of dent 1, mm")).to_have_value("800")


def test_a_reload_keeps_the_dents_on_the_drawing(phone: Visit) -> None:
    page = phone.page
    fill_header(page)
    on_the_drawing(page)
    tap(page, 700, 500)
    before = kept_dents(page)
    page.reload()
    open_panel(page, "Hood")

    expect(dents_drawn(page)).to_have_count(1)
    assert kept_dents(page) == before
    # The next panel is counted as the last one was.
    open_panel(page, "Roof")
    expect(page.get_by_role("radio", name="on the drawing")).to_be_checked()


def test_counting_on_the_drawing_goes_on_without_the_server(phone: Visit) -> None:
    phone.allowed.append("net::ERR_FAILED")
    page = phone.page
    fill_header(page)
    on_the_drawing(page)
    tap(page, 700, 500)
    expect(sums(page)).to_contain_text("15.00")
    way = Way(page, "**/v1/**")
    tap(page, 400, 800)
    expect(page.locator("#notice")).to_contain_text("Go on counting")
    open_panel(page, "Roof")  # whose drawing came with the hood's
    tap(page, 500, 700)

    expect(page.locator("#counted")).to_have_text("3 dents on 2 panels")
    way.hold_up()
    page.get_by_role("button", name="Try now").click()
    way.mend()
    # Two dimes on the hood and one on the roof, 10 min a panel.
    expect(sums(page)).to_contain_text("30.00")


def test_a_drawing_that_was_fetched_once_is_kept_on_the_device(phone: Visit) -> None:
    phone.allowed.append("net::ERR_FAILED")
    page = phone.page
    fill_header(page)
    on_the_drawing(page)
    page.route("**/v1/outlines/**", lambda route: route.abort())
    page.reload()
    open_panel(page, "Hood")
    expect(page.get_by_role("radio", name="dime, 0 dents")).to_be_checked()
    tap(page, 700, 500)

    expect(dents_drawn(page)).to_have_count(1)
    page.locator("#claim-fold summary").first.click()
    page.get_by_label("Body", exact=True).select_option("coupe")
    expect(page.locator(".drawing-said")).to_contain_text("as soon as the server is reached")
    assert len(kept_dents(page)) == 1


def test_a_claim_file_with_places_is_shown_on_the_drawing_and_left_as_it_is(
    phone: Visit, tmp_path: Path
) -> None:
    page = phone.page
    claim = three_marks()
    open_file(page, claim, tmp_path)
    open_panel(page, "Hood")

    expect(dents_drawn(page)).to_have_count(3)
    expect(page.get_by_role("radio", name="on the drawing")).to_be_checked()
    # Three dimes: 16 min at 90.00 an hour.
    expect(sums(page)).to_contain_text("24.00")
    page.locator('[data-fold="dents"] summary').click()
    expect(page.get_by_label("x of dent 2, mm")).to_have_value("760.5")
    with page.expect_download() as download:
        page.get_by_role("button", name="Download claim").click()
    assert json.loads(download.value.path().read_text(encoding="utf-8")) == claim


SQUARES = {
    "side_mm": 200,
    "squares": [
        {"tally": {"dime": count}, "at": [x, y]}
        for count, x, y in [(1, 200, 200), (0, 600, 400), (1, 900, 700)]
    ],
}
"""Two dents in three squares, about a twelfth of a sedan's hood."""

OWN_PLATE = "POLYGON ((0 0, 1200 0, 1200 900, 0 900, 0 0))"


def test_a_panel_counted_by_sample_squares_is_kept_as_it_is_and_priced(
    phone: Visit, client: httpx.Client, tmp_path: Path
) -> None:
    page = phone.page
    claim = three_dimes()
    claim["panels"] = [{"panel": "hood", "sample": SQUARES, "agreed": "310.00"}]
    open_file(page, claim, tmp_path)
    open_panel(page, "Hood")

    expect(page.locator(".kept")).to_contain_text("by sample squares: 3 squares of 200 mm")
    sheet = client.post("/v1/price", json=claim).json()
    about = sheet["evidence"]["counts"][0]["sample"]["estimate"]
    expect(page.locator(".kept")).to_contain_text(f"About {about} dents")
    expect(page.locator(".drawing, .stepper, .way")).to_have_count(0)
    expect(sums(page)).to_contain_text("310.00")
    page.get_by_label("Note, printed on the sheet").fill("squares photographed")
    assert kept_claim(page)["panels"][0]["sample"] == SQUARES


@pytest.mark.parametrize(
    ("own", "words"),
    [
        ({"outline": OWN_PLATE}, "on the shop's own outline: 3 dents"),
        (
            {"zones": [{"kind": "edge", "reach_mm": 30}]},
            "with the shop's own zones: 3 dents",
        ),
    ],
)
def test_a_panel_with_an_outline_or_zones_of_the_shops_own_is_kept_as_it_is_and_priced(
    phone: Visit, tmp_path: Path, own: dict[str, Any], words: str
) -> None:
    page = phone.page
    claim = three_marks()
    claim["panels"][0] |= own
    open_file(page, claim, tmp_path)
    open_panel(page, "Hood")

    expect(page.locator(".kept")).to_contain_text(words)
    expect(page.locator(".drawing, .stepper, .way")).to_have_count(0)
    expect(sums(page)).to_contain_text("24.00")
    page.get_by_label("Note, printed on the sheet").fill("shop's own")
    panel = kept_claim(page)["panels"][0]
    assert panel == claim["panels"][0] | {"note": "shop's own"}


def test_counts_by_size_are_not_lost_to_the_drawing_without_being_asked(
    phone: Visit, tmp_path: Path
) -> None:
    page = phone.page
    claim = three_dimes(marked={"sharp": {"dime": 1}}, oversize=[{"mm": 41}])
    open_file(page, claim, tmp_path)
    open_panel(page, "Hood")
    page.get_by_role("radio", name="on the drawing").click()
    expect(page.locator("#question")).to_contain_text("4 dents")
    page.get_by_role("button", name="Keep the counts").click()
    expect(page.get_by_role("radio", name="by size")).to_be_checked()
    expect(page.get_by_label("Dents of dime on Hood")).to_have_value("3")

    page.get_by_role("radio", name="on the drawing").click()
    page.get_by_role("button", name="Take them out").click()
    expect(page.locator(".sheet > svg")).to_be_visible()
    # Pushed is what the file says of it, and stays said.
    assert kept_claim(page)["panels"] == [{"panel": "hood"}]
    page.locator("#notice").get_by_role("button", name="Undo").click()
    expect(page.get_by_label("Dents of dime on Hood")).to_have_value("3")
    assert kept_claim(page)["panels"] == claim["panels"]


def test_dents_on_the_drawing_can_become_counts_by_size(phone: Visit, tmp_path: Path) -> None:
    page = phone.page
    claim = three_marks()
    claim["panels"][0]["dents"].append({"mm": 30.5, "x": 800, "y": 600, "marks": ["sharp"]})
    open_file(page, claim, tmp_path)
    open_panel(page, "Hood")
    page.get_by_role("radio", name="by size").click()
    expect(page.locator("#question")).to_contain_text("Their places are lost")
    page.get_by_role("button", name="Count by size").click()

    assert kept_claim(page)["panels"] == [
        {
            "panel": "hood",
            "tally": {"dime": 3},
            "marked": {"sharp": {"dime": 1}},
            "oversize": [{"mm": 30.5, "marks": ["sharp"]}],
        }
    ]
    page.locator("#notice").get_by_role("button", name="Undo").click()
    expect(dents_drawn(page)).to_have_count(4)
    assert kept_claim(page)["panels"] == claim["panels"]


def test_the_vehicles_own_size_scales_the_drawing(phone: Visit, client: httpx.Client) -> None:
    page = phone.page
    fill_header(page)
    page.get_by_text("More about claim and vehicle").click()
    for label, mm in [("Length, mm", "5000"), ("Width, mm", "1950"), ("Height, mm", "1500")]:
        page.get_by_label(label).fill(mm)
    on_the_drawing(page)
    hood = client.get(
        "/v1/outlines/sedan", params={"length_mm": 5000, "width_mm": 1950, "height_mm": 1500}
    ).json()["panels"]["hood"]

    width, height = (max(point[axis] for point in hood["ring"]) for axis in (0, 1))
    expect(page.locator(".about")).to_contain_text(f"{width} × {height} mm")
    expect(page.locator(".about")).not_to_contain_text("typical")
    assert kept_claim(page)["vehicle"] == {
        "body": "sedan",
        "length_mm": 5000,
        "width_mm": 1950,
        "height_mm": 1500,
    }


def test_a_dent_of_another_size_is_put_down_once_its_millimetres_are_given(phone: Visit) -> None:
    page = phone.page
    fill_header(page)
    on_the_drawing(page)
    size_at_hand(page, "another size")
    tap(page, 700, 500)
    expect(page.get_by_label("Longest axis, mm")).to_be_focused()
    expect(page.locator(".other-size .problem")).to_contain_text("give the size first")
    assert kept_dents(page) == []
    page.get_by_label("Longest axis, mm").fill("41,5")
    tap(page, 700, 500)

    assert kept_dents(page)[0]["mm"] == 41.5
    expect(page.get_by_role("radio", name="another size, 1 dent")).to_be_checked()


def test_a_finger_beside_the_panel_is_no_dent_but_one_just_beside_it_is_on_the_border(
    phone: Visit, client: httpx.Client
) -> None:
    page = phone.page
    fill_header(page)
    on_the_drawing(page)
    ring = client.get("/v1/outlines/sedan").json()["panels"]["hood"]["ring"]
    top = max(y for _, y in ring)
    tap(page, 10, top)  # the corner that the curved nose leaves
    assert kept_dents(page) == []
    middle = max(x for x, _ in ring) / 2
    tap(page, middle, top + 14)

    [dent] = kept_dents(page)
    assert dent["y"] == pytest.approx(top, abs=1)
    expect(sums(page)).to_contain_text("15.00")


def test_the_drawing_can_fill_the_screen_and_then_shows_dents_to_scale(desk: Visit) -> None:
    page = desk.page
    fill_header(page)
    drawing = on_the_drawing(page)
    tap(page, 700, 500)
    radius = "() => Number(document.querySelector('.spot').getAttribute('r'))"
    assert page.evaluate(radius) > 17.91 / 2  # to scale it would be too small to see
    page.get_by_role("button", name="Larger").click()

    box = drawing.bounding_box()
    assert box is not None
    assert box["width"] > 0.9 * DESK[0]
    assert page.evaluate(SIDEWAYS) == 0
    assert page.evaluate(radius) == 17.91 / 2
    tap(page, 900, 500)
    assert (kept_dents(page)[1]["x"], kept_dents(page)[1]["y"]) == pytest.approx((900, 500), abs=1)
    page.get_by_role("button", name="Smaller").click()
    box = drawing.bounding_box()
    assert box is not None
    assert box["width"] < DESK[0] / 2


def test_a_dent_off_its_panel_is_a_problem_that_leads_to_it(phone: Visit, tmp_path: Path) -> None:
    page = phone.page
    claim = three_marks()
    claim["panels"][0]["dents"][1]["x"] = 5000
    open_file(page, claim, tmp_path)
    expect(page.locator("#problem-list li")).to_have_count(1)
    page.locator("#problem-list").get_by_role("button", name="Hood, dent 2").click()

    expect(page.get_by_role("group", name="Dent 2", exact=True)).to_be_visible()
    page.get_by_role("button", name="Remove", exact=True).click()
    expect(page.locator("#problems")).to_be_hidden()
    expect(sums(page)).to_contain_text("15.00")


# --- how panels are reached ----------------------------------------------------------------------


def plan_item(page: Page, panel: str) -> Locator:
    return page.locator(f'[data-plan="{panel}"]')


def test_a_new_panel_is_planned_and_the_page_says_what_was_chosen_and_why(trim: Visit) -> None:
    page = trim.page
    fill_header(page)
    for panel in ("Hood", "Roof"):
        open_panel(page, panel)
        expect(page.get_by_role("radio", name="let the plan choose")).to_be_checked()
        page.get_by_label(f"Dents of dime on {panel}").fill("3")

    assert [entry["access"] for entry in kept_claim(page)["panels"]] == ["plan", "plan"]
    # Pushed 24.00 and 9.00 for the liner against 36.00 glued; the roof's trim costs 35.00.
    expect(plan_item(page, "hood")).to_contain_text("Hood: push 24.00 USD, 16 min")
    expect(plan_item(page, "hood")).to_contain_text(
        "Next best: glue pull, 3.00 USD dearer, 1 min faster."
    )
    expect(plan_item(page, "roof")).to_contain_text("Roof: glue pull 36.00 USD, 24 min")
    expect(plan_item(page, "roof")).to_contain_text(
        "Pushing becomes 12.00 cheaper once this is off for another panel: Headliner lowered."
    )
    expect(page.locator(".panel-name").first).to_contain_text("planned: push")
    expect(page.locator("#plan")).to_contain_text(
        "Against pushing every panel: 23.00 USD less, 27 min less."
    )
    expect(page.locator("#plan")).to_contain_text(
        "Against gluing every panel: 3.00 USD less, 1 min more."
    )
    expect(sums(page)).to_contain_text("69.00")


def test_the_plan_shows_what_is_ruled_out_by_which_rule_and_what_remains(
    trim: Visit, tmp_path: Path
) -> None:
    page = trim.page
    claim = planned("hood", marked={"glue-only": {"dime": 1}}, repainted=True)
    open_file(page, claim, tmp_path)

    hood = plan_item(page, "hood")
    expect(hood).to_contain_text("Hood: push no price yet")
    expect(hood).to_contain_text("1 glue-only dent without a method")
    expect(hood.locator(".offers li")).to_have_text(
        [
            "agree a price",
            "replace the panel, at a price to be given",
            "leave it unrepaired by agreement",
        ]
    )
    expect(hood).to_contain_text("No glue pull: repainted")
    expect(hood).to_contain_text("(rule glue-repainted)")
    expect(hood).to_contain_text("Nothing else is open.")
    open_panel(page, "Hood")
    page.locator('[data-fold="replacement"] summary').click()
    page.get_by_label("Price of the replacement").fill("480,50")
    page.get_by_label("Minutes of the replacement").fill("90")

    expect(hood).to_contain_text("Hood: replace 480.50 USD, 90 min")
    expect(sums(page)).to_contain_text("Complete")
    entry = kept_claim(page)["panels"][0]
    assert (entry["access"], entry["replace_cost"]) == ("plan", "480.50")
    assert entry["replace_minutes"] == "90"


def test_equipment_aim_and_temperature_of_the_vehicle_reach_the_plan(
    trim: Visit, trim_client: httpx.Client
) -> None:
    page = trim.page
    fill_header(page)
    page.get_by_label("sunroof").check()
    page.get_by_role("radio", name="least time").check()
    page.get_by_label("Panel temperature, °C").fill("38")
    open_panel(page, "Roof")
    page.get_by_label("Dents of dime on Roof").fill("3")

    roof = plan_item(page, "roof")
    expect(roof).to_contain_text("Roof: push")
    expect(roof).to_contain_text("(rule glue-hot)")
    expect(roof).to_contain_text("At 30 °C or less gluing becomes")
    expect(page.locator("#plan")).to_contain_text("takes the least time")
    expect(page.locator("#removal > .operations li")).to_contain_text(
        ["Sun visors", "Sunroof frame", "Headliner lowered"]
    )
    claim = kept_claim(page)
    assert claim["vehicle"]["equipment"] == ["sunroof"]
    assert (claim["aim"], claim["conditions"]) == ("minutes", {"panel_temperature_c": 38})
    expect(sums(page)).to_contain_text(total(trim_client, claim))


def test_what_comes_off_stands_in_order_with_its_cautions_and_the_refit_reversed(
    trim: Visit, tmp_path: Path
) -> None:
    page = trim.page
    open_file(page, planned("hood", "roof", access="push"), tmp_path)

    off = page.locator("#removal > .operations li")
    expect(off).to_contain_text(["Hood liner", "Sun visors", "Headliner lowered"])
    expect(off.first).to_contain_text("9 min, 10 single-use fasteners")
    expect(off.nth(1)).to_contain_text("Caution: airbag, glass")
    for caution in ("heat", "airbag", "glass"):
        expect(page.locator("#removal")).to_contain_text(CAUTIONS[caution])
    page.locator("#removal summary").click()
    expect(page.locator("#removal details .operations li")).to_have_text(
        ["Headliner lowered", "Sun visors", "Hood liner"]
    )
    expect(page.locator("#plan-section")).to_be_hidden()


def test_a_claim_kept_before_there_were_plans_stays_as_it_was(
    trim: Visit, trim_client: httpx.Client
) -> None:
    page = trim.page
    claim = three_dimes()
    page.evaluate("(text) => localStorage.setItem('hailcalc.claim', text)", json.dumps(claim))
    page.reload()

    expect(sums(page)).to_contain_text(total(trim_client, claim))
    expect(page.locator("#plan-section")).to_be_hidden()
    open_panel(page, "Hood")
    expect(page.get_by_role("radio", name="push", exact=True)).to_be_checked()
    for _ in range(3):
        page.get_by_role("button", name="One dime on Hood less").click()
    page.get_by_role("button", name="One quarter on Hood more").click()
    assert kept_claim(page)["panels"] == [{"panel": "hood", "tally": {"quarter": 1}}]


def test_the_access_that_somebody_chose_is_kept_on_a_panel_without_dents(trim: Visit) -> None:
    page = trim.page
    fill_header(page)
    open_panel(page, "Hood")
    page.get_by_role("radio", name="push", exact=True).check()
    page.reload()
    open_panel(page, "Hood")

    expect(page.get_by_role("radio", name="push", exact=True)).to_be_checked()
    page.get_by_role("button", name="One dime on Hood more").click()
    assert kept_claim(page)["panels"][0] == {
        "panel": "hood",
        "access": "push",
        "tally": {"dime": 1},
    }
    # One that nobody touched but by mistake is not in the claim.
    open_panel(page, "Roof")
    page.get_by_role("button", name="One dime on Roof more").click()
    page.get_by_role("button", name="One dime on Roof less").click()
    assert [entry["panel"] for entry in kept_claim(page)["panels"]] == ["hood"]


def test_a_replacements_figures_go_when_the_panel_is_to_be_pushed(
    trim: Visit, tmp_path: Path
) -> None:
    page = trim.page
    open_file(page, planned("hood", replace_cost="300.00", replace_minutes="45"), tmp_path)
    open_panel(page, "Hood")
    expect(page.get_by_label("Price of the replacement")).to_have_value("300.00")
    page.get_by_role("radio", name="replace", exact=True).check()
    expect(page.get_by_label("Minutes of the replacement")).to_have_value("45")
    expect(sums(page)).to_contain_text("300.00")
    page.get_by_role("radio", name="push", exact=True).check()

    expect(page.get_by_label("Price of the replacement")).to_have_count(0)
    assert kept_claim(page)["panels"] == three_dimes(access="push")["panels"]


def test_a_panel_that_no_method_reaches_is_a_problem_at_its_access(
    trim: Visit, tmp_path: Path
) -> None:
    page = trim.page
    claim = planned("hood", marked={"glue-only": {"dime": 3}}, repainted=True)
    open_file(page, claim, tmp_path)
    page.locator("#problem-list").get_by_role("button", name="Hood, access").click()

    expect(page.get_by_role("radio", name="let the plan choose")).to_be_focused()
    expect(problem_of(page.get_by_role("group", name="Access"))).to_contain_text("no method")
    expect(page.locator("#plan-section")).to_be_hidden()
    expect(page.get_by_role("button", name="Open job card")).to_be_disabled()


def test_the_job_card_opens_beside_the_sheet(trim: Visit, tmp_path: Path) -> None:
    page = trim.page
    open_file(page, planned("hood"), tmp_path)
    page.get_by_label("Panel names").select_option("uk")
    expect(page.get_by_role("button", name="Open job card")).to_be_enabled()
    with trim.context.expect_page() as opened, page.expect_request("**/v1/plan?*") as asked:
        page.get_by_role("button", name="Open job card").click()
    with page.expect_download() as download:
        page.get_by_role("link", name="job-card-T-7.pdf").click()

    assert opened.value.url.startswith("blob:")
    assert asked.value.url.endswith("?paper=letter&labels=uk")
    text = pypdf.PdfReader(download.value.path()).pages[0].extract_text()
    assert "Bonnet" in text
    assert "24.00" not in text


def test_what_the_matrix_calls_an_operation_is_text_and_no_markup(
    browser: Browser, tmp_path: Path, empty_store: Store
) -> None:
    hostile = "<b>Liner</b> <img src=x onerror=alert(1)>"
    folder = write_matrices(tmp_path, {"thistle-own": TRIM.replace("Hood liner", hostile)})
    with serving(app_on(folder, empty_store)) as client:
        visit = Visit(browser, client.base_url, PHONE)
        open_file(visit.page, planned("hood"), tmp_path)

        expect(visit.page.locator("#removal > .operations li")).to_contain_text(hostile)
        assert visit.page.locator("main b, main img").count() == 0
        visit.end()


# --- keeping and handing over --------------------------------------------------------------------


def test_a_reload_loses_nothing(phone: Visit) -> None:
    page = phone.page
    fill_header(page)
    open_panel(page, "Hood")
    page.get_by_label("Dents of dime on Hood").fill("3")
    expect(page.locator("#saved")).to_contain_text("Saved on this device")
    page.reload()

    expect(sums(page)).to_contain_text("24.00")
    expect(page.locator("#claim-fold")).not_to_have_attribute("open", "")
    open_panel(page, "Hood")
    expect(page.get_by_label("Dents of dime on Hood")).to_have_value("3")


def test_two_windows_show_the_same_claim_and_do_not_overwrite_each_other(phone: Visit) -> None:
    page = phone.page
    fill_header(page)
    other = phone.context.new_page()
    other.goto(f"{phone.base}/#{HERE}")
    open_panel(page, "Hood")
    page.get_by_label("Dents of dime on Hood").fill("3")

    expect(other.locator("#counted")).to_have_text("3 dents on 1 panel")
    open_panel(other, "Roof")
    other.get_by_label("Dents of dime on Roof").fill("2")
    expect(page.locator("#counted")).to_have_text("5 dents on 2 panels")


def test_a_claim_file_from_disk_is_shown_as_it_is_and_priced(
    desk: Visit, demo_client: httpx.Client, tmp_path: Path
) -> None:
    page = desk.page
    claim = json.loads(EVERY_PANEL.read_text(encoding="utf-8"))
    open_file(page, EVERY_PANEL, tmp_path)
    sheet = demo_client.post("/v1/price", json=claim).json()

    expect(sums(page)).to_contain_text(sheet["totals"]["total"])
    expect(page.locator("tr.line")).to_have_count(len(sheet["lines"]))
    amounts = page.locator("tr.line .amount").all_text_contents()
    # Groups keep the order of the sheet; numbers tell which line is which.
    numbers = [int(text) for text in page.locator("tr.line .no").all_text_contents()]
    assert amounts == [sheet["lines"][number - 1]["amount"] for number in numbers]
    assert sorted(numbers) == list(range(1, len(numbers) + 1))
    first = page.locator("tr.line").first
    expect(first).to_contain_text(sheet["lines"][0]["because"]["words"])
    open_panel(page, "Left fender")
    expect(page.get_by_text("19.05 mm, counts as nickel")).to_be_visible()
    with page.expect_download() as download:
        page.get_by_role("button", name="Download claim").click()
    assert json.loads(download.value.path().read_text(encoding="utf-8")) == claim
    with page.expect_download() as download:
        page.get_by_role("button", name="Download JSON").click()
    assert json.loads(download.value.path().read_text(encoding="utf-8")) == sheet


def test_dents_measured_singly_are_listed_and_can_be_changed(
    desk: Visit, demo_client: httpx.Client, tmp_path: Path
) -> None:
    page = desk.page
    file = DEMO / "09-convertible-single-measured-dents.json"
    claim = json.loads(file.read_text(encoding="utf-8"))
    before = total(demo_client, claim)
    open_file(page, file, tmp_path)
    open_panel(page, "Hood")
    rows = page.locator(".editor .rows > li")

    expect(rows).to_have_count(13)
    expect(sums(page)).to_contain_text(before)
    page.get_by_role("button", name="Remove dent 1", exact=True).click()
    expect(rows).to_have_count(12)
    expect(page.locator(".panel-name").first).to_contain_text("12 dents")
    del claim["panels"][0]["dents"][0]
    after = total(demo_client, claim)
    assert after != before
    expect(sums(page)).to_contain_text(after)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("{", "not readable JSON"),
        ("[]", "holds no claim"),
        ('{"claim": {}, "vehicle": {}, "panels": [{"panel": "hood", "tally": 3}]}', "hood"),
        ('{"claim": {}, "vehicle": {}, "panels": {}}', "panels is not a list"),
        ('{"claim": {}, "vehicle": {"equipment": 3}}', "equipment is no list"),
    ],
)
def test_a_file_that_is_no_claim_file_is_not_opened_and_says_why(
    phone: Visit, tmp_path: Path, text: str, why: str
) -> None:
    page = phone.page
    path = tmp_path / "other.json"
    path.write_text(text, encoding="utf-8")
    fill_header(page)
    page.set_input_files("#file", path)

    expect(page.locator("#notice")).to_contain_text(why)
    expect(page.get_by_label("Claim number")).to_have_value("T-7")


def test_a_new_claim_asks_first_and_keeps_what_the_next_vehicle_shares(phone: Visit) -> None:
    page = phone.page
    fill_header(page)
    page.get_by_text("More about claim and vehicle").click()
    page.get_by_label("Estimator").fill("Ida Brook")
    page.get_by_role("button", name="New claim").click()
    page.get_by_role("button", name="Stay with this claim").click()
    expect(page.get_by_label("Claim number")).to_have_value("T-7")
    page.get_by_role("button", name="New claim").click()
    page.get_by_role("button", name="Begin a new claim").click()

    expect(page.get_by_label("Claim number")).to_have_value("")
    expect(page.get_by_label("Body", exact=True)).to_have_value("")
    expect(page.get_by_label("Date of loss", exact=True)).to_have_value("2026-05-19")
    page.get_by_text("More about claim and vehicle").click()
    expect(page.get_by_label("Estimator")).to_have_value("Ida Brook")


def test_a_cleared_panel_comes_back_by_undo(phone: Visit, tmp_path: Path) -> None:
    page = phone.page
    open_file(page, three_dimes(), tmp_path)
    expect(sums(page)).to_contain_text("24.00")
    open_panel(page, "Hood")
    page.get_by_role("button", name="Clear this panel").click()
    expect(page.locator("#counted")).to_have_text("")
    page.get_by_role("button", name="Undo").click()

    expect(page.get_by_label("Dents of dime on Hood")).to_have_value("3")
    expect(sums(page)).to_contain_text("24.00")


def test_the_sheet_opens_as_a_pdf_on_the_paper_and_with_the_names_chosen(
    desk: Visit, tmp_path: Path
) -> None:
    page = desk.page
    open_file(page, EVERY_PANEL, tmp_path)
    page.get_by_label("Paper").select_option("a4")
    page.get_by_label("Panel names").select_option("uk")
    expect(page.locator(".panel-name").first).to_contain_text("Bonnet")
    with desk.context.expect_page() as opened, page.expect_request("**/v1/price?*") as asked:
        page.get_by_role("button", name="Open PDF").click()
    with page.expect_download() as download:
        page.get_by_role("link", name="claim-EF-2026-0012.pdf").click()

    assert opened.value.url.startswith("blob:")
    assert asked.value.url.endswith("?paper=a4&labels=uk")
    document, differences = verify_pdf(download.value.path().read_bytes(), "sheet.pdf")
    assert differences == []
    assert document["claim_file"]["claim"]["number"] == "EF-2026-0012"


def test_counting_goes_on_without_the_server_and_the_price_comes_when_it_is_back(
    phone: Visit, tmp_path: Path
) -> None:
    phone.allowed.append("net::ERR_FAILED")
    page = phone.page
    open_file(page, three_dimes(), tmp_path)
    expect(sums(page)).to_contain_text("24.00")
    open_panel(page, "Hood")
    way = Way(page, "**/v1/**")
    page.get_by_role("button", name="One dime on Hood less").click()
    page.get_by_role("button", name="One dime on Hood less").click()

    expect(page.locator("#notice")).to_contain_text("Go on counting")
    expect(page.locator("#state")).to_contain_text("from before the last change")
    expect(page.get_by_label("Dents of dime on Hood")).to_have_value("1")
    way.hold_up()
    page.get_by_role("button", name="Try now").click()
    way.mend()
    expect(sums(page)).to_contain_text("15.00")
    expect(page.locator("#notice")).to_be_hidden()


# --- problems ------------------------------------------------------------------------------------


def test_a_problem_stands_at_its_field_and_in_a_list_that_leads_there(
    phone: Visit, tmp_path: Path
) -> None:
    page = phone.page
    claim = three_dimes(marked={"braced": {"dime": 9}}, agreed="1.2.3")
    claim["vehicle"]["vin"] = "ABC"
    open_file(page, claim, tmp_path)
    expect(page.locator("#problem-list li")).to_have_count(3)
    expect(sums(page)).to_contain_text("3 problems")
    page.get_by_role("button", name="Hood, marks, braced, dime").click()

    field = page.get_by_role("group", name="How many behind a brace").get_by_label("dime")
    expect(field).to_be_focused()
    expect(field).to_have_attribute("aria-invalid", "true")
    expect(problem_of(field)).to_have_text("found 9 marked, expected at most the 3 counted")
    field.fill("2")
    page.get_by_label("Agreed price of the repair").fill("")
    # The list is made anew once what was mended is known to be.
    expect(page.locator("#problem-list li")).to_have_count(1)
    page.get_by_role("button", name="VIN").click()
    page.get_by_label("VIN").fill("")
    expect(page.locator("#problems")).to_be_hidden()
    expect(sums(page)).to_contain_text("24.00")
    expect(page.locator(".problem:visible")).to_have_count(0)


def test_a_value_being_typed_is_left_alone_until_the_field_is_left(phone: Visit) -> None:
    page = phone.page
    page.clock.install(time=MORNING)
    page.reload()
    fill_header(page)
    open_panel(page, "Hood")
    page.get_by_label("Dents of dime on Hood").fill("3")
    expect(sums(page)).to_contain_text("24.00")
    # Time stands still, so that a slow server does not make a long time of typing.
    page.clock.pause_at(MORNING + timedelta(hours=1))
    with page.expect_response(lambda answer: answer.status == 422):
        page.get_by_label("Agreed price of the repair").fill("12.")
        page.clock.run_for(300)
    expect(page.locator("#state")).to_contain_text("from before the last change")
    expect(page.locator("#problems")).to_be_hidden()
    page.keyboard.press("Tab")
    page.clock.run_for(300)

    expect(page.locator("#problem-list")).to_contain_text("Hood, agreed price of the repair")
    expect(problem_of(page.get_by_label("Agreed price of the repair"))).to_be_visible()


def test_text_that_looks_like_markup_is_shown_letter_by_letter(
    phone: Visit, tmp_path: Path
) -> None:
    page = phone.page
    hostile = "<b>Ann</b> & \U0001f9ca <img src=x onerror=alert(1)>"
    claim = with_claim(number="<i>7</i>")
    claim["vehicle"]["description"] = hostile
    claim["other"] = [{"kind": "part", "label": hostile, "unit_price": "5.00"}]
    claim["panels"][0]["note"] = hostile
    open_file(page, claim, tmp_path)

    expect(page.locator("#claim-summary")).to_contain_text(hostile)
    expect(page.locator("tr.line .what").last).to_have_text(hostile)
    expect(page).to_have_title("<i>7</i> – hailcalc")
    open_panel(page, "Hood")
    expect(page.get_by_label("Note")).to_have_value(hostile)
    assert page.locator("main b, main i, main img").count() == 0
    # The sheet's fonts have no ice cube; the page says where it stands.
    page.get_by_role("button", name="Open PDF").click()
    expect(page.locator("#problem-list")).to_contain_text("U+1F9CA")


def test_mistakes_that_the_page_has_no_field_for_are_listed_all_the_same(
    phone: Visit, tmp_path: Path
) -> None:
    page = phone.page
    claim = three_dimes()
    claim["panels"].append({"panel": "hood", "tally": {"dime": 1}})
    claim["colour"] = "grey"
    open_file(page, claim, tmp_path)

    expect(page.locator("#problem-list")).to_contain_text("colour")
    expect(page.locator("#problem-list")).to_contain_text('"hood" again')


# --- for everybody -------------------------------------------------------------------------------


def tab_to(page: Page, label: str) -> None:
    """Press Tab until what is called so has the focus."""
    named = (
        "() => { const it = document.activeElement; return (it.getAttribute('aria-label')"
        " ?? it.labels?.[0]?.innerText ?? it.innerText ?? '').trim(); }"
    )
    for _ in range(80):
        page.keyboard.press("Tab")
        if str(page.evaluate(named)).startswith(label):
            return
    pytest.fail(f"no way to {label} by the Tab key")


def test_a_claim_can_be_counted_and_priced_by_keyboard_alone(desk: Visit) -> None:
    page = desk.page
    expect(page.get_by_label("Body", exact=True)).to_be_visible()
    tab_to(page, "Body")
    page.keyboard.type("sedan")
    tab_to(page, "Claim number")
    page.keyboard.type("K-1")
    tab_to(page, "Date of loss")
    page.keyboard.type("05192026")
    tab_to(page, "Hood")
    page.keyboard.press("Enter")
    tab_to(page, "Dents of dime on Hood")
    page.keyboard.type("33")
    page.keyboard.press("ArrowUp")
    tab_to(page, "One dime on Hood more")
    page.keyboard.press("Space")
    tab_to(page, "let the plan choose")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    tab_to(page, "Next: Roof")
    page.keyboard.press("Enter")
    tab_to(page, "Dents of dime on Roof")
    page.keyboard.type("2")

    expect(page.locator("#counted")).to_have_text("37 dents on 2 panels")
    # Horizontal panels: 35 dimes 91 min, and glued 33 % more and 7 min; 2 dimes 22 min.
    expect(page.locator("tr.line .amount").first).to_have_text("145.60")
    expect(page.locator("#lines")).to_contain_text("33 % of the base, all 35 dents")
    expect(page.get_by_label("Dents of dime on Roof")).to_be_focused()


CONTRASTS = """() => {
  const parts = (colour) => colour.match(/[\\d.]+/g).map(Number);
  const shade = (part) => (part /= 255) <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4;
  const light = ([r, g, b]) => 0.2126 * shade(r) + 0.7152 * shade(g) + 0.0722 * shade(b);
  const behind = (element) => {
    for (let at = element; at !== null; at = at.parentElement) {
      const colour = parts(getComputedStyle(at).backgroundColor);
      if (colour.length === 3 || colour[3] > 0) return colour;
    }
    return [255, 255, 255];
  };
  const low = [];
  for (const element of document.querySelectorAll("body *")) {
    const own = [...element.childNodes].some((node) => node.nodeType === 3 && node.data.trim());
    if (!own && !element.matches("input") || !element.checkVisibility()) continue;
    const both = [light(parts(getComputedStyle(element).color)), light(behind(element))].sort();
    const ratio = (Math.max(...both) + 0.05) / (Math.min(...both) + 0.05);
    if (ratio < 4.5) low.push(`${element.outerHTML.slice(0, 90)}: ${ratio.toFixed(2)}`);
  }
  return low;
}"""
"""Texts with less contrast than WCAG 2.2, 1.4.3 asks for; the formula is that of its glossary."""

SMALL = """(least) => [...document.querySelectorAll("button, input, select, summary, main a")]
  .filter((each) => each.checkVisibility() && each.type !== "radio")
  .map((each) => [each.closest("label.tick") ?? each, each.outerHTML.slice(0, 90)])
  .filter(([each]) => each.getBoundingClientRect().height < least
    || each.getBoundingClientRect().width < least)
  .map(([, text]) => text)"""

NAMELESS = """() => [...document.querySelectorAll("input, select, button, a")]
  .filter((each) => each.checkVisibility())
  .filter((each) => !each.getAttribute("aria-label") && !each.labels?.[0]?.innerText.trim()
    && !each.innerText?.trim())
  .map((each) => each.outerHTML.slice(0, 90))"""

SIDEWAYS = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"


def check_for_everybody(page: Page) -> None:
    assert page.evaluate(SIDEWAYS) == 0
    assert page.evaluate(SMALL, 24) == []  # WCAG 2.2, 2.5.8
    assert page.evaluate(CONTRASTS) == []
    assert page.evaluate(NAMELESS) == []


@pytest.mark.parametrize("size", [PHONE, TABLET, DESK])
def test_the_drawing_is_for_everybody_too(
    browser: Browser, demo_client: httpx.Client, tmp_path: Path, size: tuple[int, int]
) -> None:
    visit = Visit(browser, demo_client.base_url, size)
    page = visit.page
    open_file(page, three_marks(), tmp_path)
    open_panel(page, "Hood")
    tap(page, 300, 400)
    page.locator('[data-fold="dents"] summary').click()
    expect(page.get_by_role("group", name="Dent 1", exact=True)).to_be_visible()
    check_for_everybody(page)
    page.get_by_role("button", name="Larger").click()
    check_for_everybody(page)
    # What is larger than its box can be scrolled by keyboard.
    expect(page.locator(".sheet")).to_have_attribute("tabindex", "0")
    visit.end()


@pytest.mark.parametrize("size", [PHONE, TABLET, DESK])
def test_nothing_scrolls_sideways_is_too_small_too_pale_or_without_a_name(
    browser: Browser, demo_client: httpx.Client, tmp_path: Path, size: tuple[int, int]
) -> None:
    visit = Visit(browser, demo_client.base_url, size)
    page = visit.page

    def check() -> None:
        check_for_everybody(page)

    expect(page.locator("#state")).to_contain_text("claim number")
    check()
    open_file(page, EVERY_PANEL, tmp_path)
    claim = json.loads(EVERY_PANEL.read_text(encoding="utf-8"))
    expect(sums(page)).to_contain_text(total(demo_client, claim))
    check()
    open_panel(page, "Hood")
    page.locator('[data-fold="marks"] summary').click()
    check()
    for step in page.locator(".step").all():
        box = step.bounding_box()
        assert box is not None
        assert min(box["width"], box["height"]) >= 44
    page.get_by_label("Agreed price of the repair").fill("nothing " * 20)
    page.keyboard.press("Tab")
    expect(page.locator("#problem-list li")).to_have_count(1)
    check()
    visit.end()


@pytest.mark.parametrize("size", [PHONE, TABLET, DESK])
def test_the_plan_is_for_everybody_too(
    browser: Browser, trim_client: httpx.Client, tmp_path: Path, size: tuple[int, int]
) -> None:
    visit = Visit(browser, trim_client.base_url, size)
    page = visit.page
    claim = planned("hood", "roof", marked={"glue-only": {"dime": 1}}, repainted=True)
    claim["panels"][1] = {"panel": "roof", "access": "push", "tally": {"dime": 2}}
    open_file(page, claim, tmp_path)
    expect(plan_item(page, "hood")).to_contain_text("without a method")
    page.locator("#removal summary").click()
    open_panel(page, "Hood")
    page.locator("#claim-fold > summary").click()
    page.locator('[data-fold="replacement"] summary').click()
    check_for_everybody(page)
    # Headings tell the sections apart, and nothing of the plan is told by colour.
    expect(page.get_by_role("region", name="How panels are reached, and why")).to_be_visible()
    expect(page.get_by_role("region", name="What comes off, in order")).to_be_visible()
    visit.end()


def test_the_bar_with_the_total_does_not_hide_the_field_that_is_typed_in(phone: Visit) -> None:
    page = phone.page
    fill_header(page)
    open_panel(page, "Hood")
    for label in ("Note, printed on the sheet", "Agreed price of the repair"):
        field = page.get_by_label(label)
        field.focus()
        box, bar = field.bounding_box(), page.locator(".bar").bounding_box()
        assert box is not None
        assert bar is not None
        assert box["y"] + box["height"] <= bar["y"]


def test_the_total_is_read_out_when_it_changes(phone: Visit) -> None:
    expect(sums(phone.page)).to_have_attribute("aria-live", "polite")
    expect(sums(phone.page)).to_have_attribute("aria-atomic", "true")


# --- what is served ------------------------------------------------------------------------------


def test_the_page_may_load_and_ask_nothing_but_this_server(client: httpx.Client) -> None:
    for path, media_type in [
        ("/", "text/html"),
        ("/pages/page.js", "text/javascript"),
        ("/pages/page.css", "text/css"),
    ]:
        response = client.get(path)
        assert response.status_code == 200
        assert response.headers["content-type"].split(";")[0] == media_type
        assert response.headers["content-security-policy"] == (
            "default-src 'none'; script-src 'self'; style-src 'self'; "
            "img-src 'self' data: blob:; connect-src 'self'; form-action 'none'; "
            "base-uri 'none'; frame-ancestors 'none'"
        )
    html = client.get("/").text
    assert re.findall(r"<style|\sstyle=|\son\w+=|<script(?![^>]* src=)", html) == []
    # A namespace is a name and not an address.
    urls = set(re.findall(r"https?://[^'\" ]+", html)) - {"http://www.w3.org/2000/svg"}
    assert urls == set()


@pytest.mark.parametrize("name", ["..%2Froutes%2Fpages.py", "%2E%2E", "pages.py", "index.html.bak"])
def test_nothing_but_the_pages_files_is_served(client: httpx.Client, name: str) -> None:
    assert client.get(f"/pages/{name}").status_code == 404


def test_the_page_says_what_an_estimate_is(client: httpx.Client) -> None:
    def words(text: str) -> str:
        return " ".join(re.sub(r"<[^>]+>", " ", text).split())

    page = words(client.get("/").text)
    assert words(NATURE).removeprefix("This sheet") in page
    assert "local law and licensed practice come before any sheet" in page


def test_the_page_knows_the_bodies_and_panels_of_hailcalc(client: httpx.Client) -> None:
    known: dict[str, Any] = client.get("/pages/words.json").json()

    assert known["labels"] == PANEL_LABELS
    assert known["equipment"] == list(get_args(Equipment))
    assert known["cautions"] == CAUTIONS
    assert {body: set(panels) for body, panels in known["bodies"].items()} == PANELS_OF_BODY
    for panels in known["bodies"].values():
        assert panels == sorted(panels, key=PANELS.index)
