"""What the shop's storms earned, over HTTP and on the owner's page."""

from __future__ import annotations

import json
import os
import shutil
import sys
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import httpx
import pytest
from playwright.sync_api import Browser, Page, expect

from api.storms import MAX_COMPARISONS, MAX_STORMS
from hailcalc.cli import main
from hailcalc.storm.compare import MEASURES, compare
from hailcalc.storm.economics import StormFigures
from hailcalc.storm.folder import figures_of, open_storm, priced_book
from hailcalc.storm.report import comparison_json, storm_json
from tests.api.browsing import DESK, PHONE, Seat, chromium
from tests.api.conftest import HERE, OWN, app_on, places, problem, serving, write_matrices
from tests.api.stormhouse import write_book, write_storm
from tests.api.test_page import TABLET, check_for_everybody

DEMO = Path(__file__).parents[2] / "demo" / "storms"
MATRICES = Path(__file__).parents[2] / "matrices"
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def owner(tmp_path_factory: pytest.TempPathFactory, empty_store: Any) -> Iterator[httpx.Client]:
    """The owner before the demo's storms."""
    with serving(app_on(MATRICES, empty_store, storms=DEMO)) as client:
        yield client


@pytest.fixture(scope="module")
def figures() -> list[StormFigures]:
    """The figures of the demo's storms, from their folders."""
    opened_storms = [open_storm(path.parent) for path in sorted(DEMO.glob("*/storm.toml"))]
    return [figures_of(each, priced_book(each)) for each in opened_storms]


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    """Two small storms, of 15 and 9 dimes: 8 dollars a dime, half of it the technician's."""
    folder = tmp_path / "storms"
    write_storm(folder, "first-hail", title="First hail")
    write_storm(folder, "later-hail", title="Later hail", dimes=(2, 3, 4), other="0")
    return folder


@pytest.fixture
def small(shelf: Path, matrices: Path, empty_store: Any) -> Iterator[httpx.Client]:
    with serving(app_on(matrices, empty_store, storms=shelf)) as client:
        yield client


def comparison(client: httpx.Client, **query: str) -> dict[str, Any]:
    answer = client.get("/v1/storms/comparison", params=query)
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json()
    return found


def listed(client: httpx.Client) -> dict[str, dict[str, Any]]:
    answer = client.get("/v1/storms")
    assert answer.status_code == 200, answer.text
    return {each["name"]: each for each in answer.json()["storms"]}


# --- the list and the comparison -----------------------------------------------------------------


def test_every_storm_is_listed_with_what_it_brought_and_what_it_cost(small: httpx.Client) -> None:
    """Bands [1, 3] of flat minutes: 1 and 2 dimes are 10 min, 3 to 5 are 16, at 90.00 an hour."""
    found = listed(small)
    assert list(found) == ["first-hail", "later-hail"]
    first = found["first-hail"]
    # Two vehicles at 15.00 and three at 24.00; half is paid out, and 10.00 are fixed.
    assert (first["vehicles"], first["revenue"]) == (5, "102.00")
    assert (first["cost"], first["margin"]) == ("61.00", "41.00")
    assert first["problems"] == []
    assert found["later-hail"]["revenue"] == "63.00"


def test_the_comparison_is_the_one_that_the_command_writes(
    owner: httpx.Client, figures: list[StormFigures]
) -> None:
    for by in MEASURES:
        assert comparison(owner, by=by) == comparison_json(compare(figures, by))


def test_without_a_measure_storms_are_ranked_by_margin(small: httpx.Client) -> None:
    found = comparison(small)
    assert found == comparison(small, by="margin")
    assert [each["storm"] for each in found["ranking"]] == ["first-hail", "later-hail"]
    by_share = comparison(small, by="share")
    assert [each["storm"] for each in by_share["ranking"]] == ["later-hail", "first-hail"]


def test_a_measure_that_there_is_not_is_refused(small: httpx.Client) -> None:
    refused = problem(small.get("/v1/storms/comparison", params={"by": "luck"}), 422)
    assert places(refused) == [("query", "/by")]
    extra = problem(small.get("/v1/storms/comparison", params={"luck": "1"}), 422)
    assert places(extra) == [("query", "/luck")]


@pytest.mark.parametrize(
    "rates",
    [
        ["EUR"], ["EUR=0"], ["EUR=1e9"], ["eur=1"], ["EUR=1", "EUR=2"], ["EUR=-1"], ["EUR=1,1"],
        ["<b>=1"], ["EUR=1\n"], ["EUR=1"] * 21, ["EUR=" + "1" * 40],
    ],
)  # fmt: skip
def test_a_rate_that_is_none_is_refused(small: httpx.Client, rates: list[str]) -> None:
    for path in ("comparison", "charts/measures.svg"):
        refused = problem(small.get(f"/v1/storms/{path}", params={"rate": rates}), 422)
        assert {where.split("/")[1] for _, where in places(refused)} == {"rate"}


# --- charts --------------------------------------------------------------------------------------


def test_each_chart_is_a_titled_picture_that_runs_nothing(small: httpx.Client) -> None:
    names = ["measure-share", "measures", "waits", "chances"]
    for storm in ("first-hail", "later-hail"):
        names += [f"{storm}-waterfall", f"{storm}-money"]
    for name in names:
        answer = small.get(f"/v1/storms/charts/{name}.svg", params={"by": "share"})
        assert answer.status_code == 200, answer.text
        assert answer.headers["content-type"] == "image/svg+xml"
        assert answer.headers["content-security-policy"].startswith("default-src 'none'")
        drawn = ElementTree.fromstring(answer.content)
        assert drawn.findtext(f"{SVG}title")
        assert drawn.findtext(f"{SVG}desc")
        assert {each.tag.removeprefix(SVG) for each in drawn.iter()} <= {
            "svg", "title", "desc", "rect", "line", "text", "circle", "polyline",
        }  # fmt: skip
        assert not [key for each in drawn.iter() for key in each.attrib if key.startswith("on")]


def test_a_chart_that_there_is_not_is_not_found(small: httpx.Client) -> None:
    for name in ("nothing", "measure-margin", "third-hail-money", "..%2Fstorm"):
        problem(small.get(f"/v1/storms/charts/{name}.svg", params={"by": "share"}), 404)
    refused = problem(small.get("/v1/storms/charts/nothing.svg"), 404)
    assert refused["type"] == "/problems/no-such-chart"
    assert "first-hail-waterfall" in refused["errors"][0]["expected"]


# --- what stands on disk -------------------------------------------------------------------------


def test_a_storm_that_cannot_be_read_comes_with_its_mistakes_and_in_no_comparison(
    small: httpx.Client, shelf: Path
) -> None:
    file = shelf / "first-hail" / "storm.toml"
    text = file.read_text(encoding="utf-8").replace('share = "50"', 'share = "150"')
    file.write_text(text, encoding="utf-8")
    torn = listed(small)["first-hail"]
    assert torn["margin"] is None
    assert [(each["file"], each["pointer"]) for each in torn["problems"]] == [
        ("storm.toml", "/pay/share")
    ]
    assert str(shelf) not in json.dumps(torn)
    found = comparison(small)
    assert [each["storm"] for each in found["ranking"]] == ["later-hail"]
    assert small.get("/v1/storms/charts/chances.svg").status_code == 404

    (shelf / "later-hail" / "book.csv").unlink()
    assert listed(small)["later-hail"]["problems"]
    refused = problem(small.get("/v1/storms/comparison"), 409)
    assert refused["type"] == "/problems/storms-not-comparable"


def test_what_changes_on_disk_is_read_with_the_next_request(
    small: httpx.Client, shelf: Path
) -> None:
    before = comparison(small)
    write_book(shelf / "later-hail", (5, 5, 5, 5, 5, 5, 5))
    changed = comparison(small)
    assert changed["ranking"][0]["storm"] == "later-hail"
    assert before["ranking"][0]["storm"] == "first-hail"
    write_storm(shelf, "third-hail")
    assert len(comparison(small)["ranking"]) == 3
    shutil.rmtree(shelf / "first-hail")
    assert list(listed(small)) == ["later-hail", "third-hail"]
    assert len(comparison(small)["ranking"]) == 2


def test_another_matrix_on_disk_is_priced_with(
    shelf: Path, tmp_path: Path, empty_store: Any
) -> None:
    folder = tmp_path / "matrices"
    folder.mkdir()
    write_matrices(folder, {"thistle-own": OWN})
    with serving(app_on(folder, empty_store, storms=shelf)) as client:
        before = Fraction(listed(client)["first-hail"]["revenue"])
        write_matrices(folder, {"thistle-own": OWN.replace('"90.00"', '"180.00"')})
        assert Fraction(listed(client)["first-hail"]["revenue"]) == 2 * before


def test_what_did_not_change_is_not_worked_out_again(small: httpx.Client, shelf: Path) -> None:
    """Seen by a book put back with the time and size that it had: nobody has looked inside."""
    book = shelf / "first-hail" / "book.csv"
    before, text = book.stat(), book.read_text(encoding="utf-8")
    found = listed(small), comparison(small)
    with book.open("r+", encoding="utf-8") as file:
        file.write(text.replace("hood", "roof"))
    os.utime(book, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert (listed(small), comparison(small)) == found
    os.utime(book)
    assert comparison(small) != found[1]


@pytest.fixture
def mixed(shelf: Path, tmp_path: Path, empty_store: Any) -> Iterator[httpx.Client]:
    """Two storms in dollars and one in euros."""
    folder = tmp_path / "matrices"
    folder.mkdir()
    euros = OWN.replace("thistle-own", "thistle-euro").replace('"USD"', '"EUR"')
    write_matrices(folder, {"thistle-own": OWN, "thistle-euro": euros})
    write_storm(shelf, "third-hail", currency="EUR", matrix="thistle-euro")
    with serving(app_on(folder, empty_store, storms=shelf)) as client:
        yield client


def test_storms_in_two_currencies_cannot_be_compared_without_a_rate(mixed: httpx.Client) -> None:
    assert listed(mixed)["third-hail"]["currency"] == "EUR"
    refused = problem(mixed.get("/v1/storms/comparison"), 409)
    assert refused["type"] == "/problems/storms-not-comparable"
    assert places(refused) == [("storm", "/storm/currency")]
    assert "EUR beside USD" in refused["errors"][0]["found"]
    problem(mixed.get("/v1/storms/charts/measures.svg"), 409)
    own = problem(mixed.get("/v1/storms/comparison", params={"rate": "USD=1"}), 409)
    assert ("storm", "/USD") in places(own)


def test_with_a_rate_storms_in_two_currencies_are_compared(mixed: httpx.Client) -> None:
    found = comparison(mixed, rate="EUR=1.5")
    assert (found["currency"], found["rates"]) == ("USD", {"EUR": "1.5"})
    third = next(each for each in found["ranking"] if each["storm"] == "third-hail")
    assert third["measures"]["margin"]["value"] == "61.50"  # 41.00 euros
    assert comparison(mixed, rate="EUR=2")["rates"] == {"EUR": "2"}
    for at in range(MAX_COMPARISONS + 3):
        comparison(mixed, rate=f"EUR=1.{at}")
    assert comparison(mixed, rate="EUR=1.5") == found


def test_a_folder_of_too_many_storms_is_read_as_far_as_it_goes(
    tmp_path: Path, matrices: Path, empty_store: Any
) -> None:
    for at in range(MAX_STORMS + 1):
        (tmp_path / f"storm-{at:03}").mkdir()
        (tmp_path / f"storm-{at:03}" / "storm.toml").write_text("", encoding="utf-8")
    with serving(app_on(matrices, empty_store, storms=tmp_path)) as client:
        found = listed(client)
    assert len(found) == MAX_STORMS + 1
    told = [each["problems"][0]["found"] for each in found.values()]
    assert told.count("one storm too many") == 1
    assert told[-1] == "one storm too many"


def test_a_server_without_storms_says_how_to_turn_them_on(client: httpx.Client) -> None:
    for path in ("", "/comparison", "/charts/measures.svg"):
        refused = problem(client.get(f"/v1/storms{path}"), 404)
        assert refused["type"] == "/problems/no-storms"
        assert "hailcalc serve --storms DIR" in refused["detail"]


def test_serve_wants_a_folder_that_is_there(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    nowhere = tmp_path / "nowhere"
    asked = ["--port", "0", "--storms", str(nowhere), "--data", str(tmp_path)]
    monkeypatch.setattr(sys, "argv", ["hailcalc", "serve", *asked])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 2
    told = f"{nowhere}: found no folder, expected a folder of storms' folders"
    assert told in capsys.readouterr().err


# --- the page ------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


def opened(seat: Seat, charts: int, path: str = "/storms") -> Page:
    """The page once all of its charts are there."""
    page = seat.open(f"{path}#{HERE}")
    expect(page.locator(".chart img")).to_have_count(charts)
    return page


def shown_first(page: Page) -> str:
    return page.locator(".ranking tbody th").first.inner_text().split("\n")[0]


def grouped(text: str) -> str:
    whole, _, rest = text.partition(".")
    return f"{int(whole):,}.{rest}".replace("-", "−")


def test_the_page_is_for_everybody(browser: Browser, owner: httpx.Client) -> None:
    seat = Seat(browser, str(owner.base_url), DESK)
    page = opened(seat, 10)
    for size in (DESK, TABLET, PHONE):
        page.set_viewport_size({"width": size[0], "height": size[1]})
        # Drawn for a phone a chart is narrower, so that its letters are as large on the screen.
        wide = 238 if size == PHONE else 660
        expect(page.locator(".chart img")).to_have_count(10)
        for image in page.locator(".chart img").all():
            expect(image).to_have_js_property("naturalWidth", wide)
            assert image.evaluate("each => 8 * each.clientWidth / each.naturalWidth") > 7.9 * (
                1.3 if size == PHONE else 1
            )
        check_for_everybody(page)
    page.locator(".chart summary").first.click()
    expect(page.locator(".chart details p").first).to_contain_text("with limits: ")
    check_for_everybody(page)
    for image in page.locator(".chart img").all():
        assert (image.get_attribute("src") or "").startswith("blob:")
        assert image.get_attribute("alt")
    seat.end()


def test_the_page_shows_the_figures_of_each_storm(
    browser: Browser, owner: httpx.Client, figures: list[StormFigures]
) -> None:
    seat = Seat(browser, str(owner.base_url), DESK)
    page = opened(seat, 10)
    for each in figures:
        told = storm_json(each)
        section = page.locator("section.storm").filter(
            has=page.get_by_role("heading", name=told["title"], exact=True)
        )
        shown = section.locator(".figures tbody td").all_inner_texts()
        amounts = [*told["revenue"].values(), told["revenue_total"]]
        amounts += [*told["direct_costs"].values(), *told["fixed_costs"].values()]
        amounts += [told["cost_total"], told["margin"]]
        assert shown[: len(amounts)] == [grouped(amount) for amount in amounts]
        assert shown[len(amounts)].startswith(grouped(told["margin"]))
    expect(page.locator("footer")).to_contain_text("the shop's own figures: estimates")
    seat.end()


def test_another_measure_ranks_anew_keeps_the_focus_and_can_be_gone_back_from(
    browser: Browser, small: httpx.Client
) -> None:
    seat = Seat(browser, str(small.base_url), DESK)
    page = opened(seat, 8)
    assert shown_first(page) == "1. First hail"
    expect(page.locator("#answer")).to_have_text(comparison(small)["answer"])
    choice = page.get_by_label("Rank the storms by")
    choice.focus()
    choice.select_option(label="Margin of revenue")
    expect(page.locator("#answer")).to_have_text(comparison(small, by="share")["answer"])
    expect(page.locator(".chart img")).to_have_count(8)
    assert shown_first(page) == "1. Later hail"
    expect(choice).to_be_focused()
    assert page.url.endswith("/storms?by=share")
    title = page.locator(".chart img").first.get_attribute("alt")
    assert title == "Margin of revenue, %, with limits that hold 90 in 100"
    page.go_back()
    expect(page.locator("#answer")).to_have_text(comparison(small)["answer"])
    expect(choice).to_have_value("margin")
    seat.end()


def test_a_storm_with_mistakes_is_told_beside_the_others(
    browser: Browser, small: httpx.Client, shelf: Path
) -> None:
    (shelf / "first-hail" / "book.csv").write_text("claim\n<b>x</b>\n", encoding="utf-8")
    seat = Seat(browser, str(small.base_url), PHONE)
    page = opened(seat, 5)
    expect(page.locator("#broken")).to_contain_text("first-hail cannot be read")
    expect(page.locator(".ranking tbody tr")).to_have_count(1)
    check_for_everybody(page)
    seat.end()


def test_storms_that_cannot_be_compared_stand_each_by_itself(
    browser: Browser, mixed: httpx.Client
) -> None:
    seat = Seat(browser, str(mixed.base_url), PHONE)
    seat.allowed.append("status of 409")
    page = seat.open(f"/storms#{HERE}")
    expect(page.get_by_role("heading", name="Several currencies")).to_be_visible()
    expect(page.locator(".ranking tbody tr")).to_have_count(3)
    expect(page.locator(".ranking tbody tr").last).to_contain_text("41.00 EUR")
    check_for_everybody(page)
    page.get_by_label("1 EUR is worth, in USD").fill("1.5")
    page.get_by_role("button", name="Compare").click()
    expect(page.locator("#answer")).to_contain_text("comes first by margin: USD 61.50")
    expect(page.get_by_text("1 EUR = 1.5 USD")).to_be_visible()
    assert page.url.endswith("/storms?by=margin&rate=EUR%3D1.5")
    expect(page.locator(".warned")).to_have_count(3)
    check_for_everybody(page)
    page.get_by_role("button", name="Other rates").click()
    expect(page.get_by_label("1 EUR is worth, in USD")).to_be_focused()
    expect(page.get_by_label("1 EUR is worth, in USD")).to_have_value("1.5")
    seat.end()


def test_the_page_says_what_keeps_it_from_showing_storms(
    browser: Browser, client: httpx.Client, desk_people: dict[str, str], small: httpx.Client
) -> None:
    bare = Seat(browser, str(client.base_url), PHONE)
    bare.allowed.append("status of 404")
    page = bare.open(f"/storms#{HERE}")
    expect(page.locator("#notice")).to_contain_text("hailcalc serve --storms DIR")
    bare.end()
    seat = Seat(browser, str(small.base_url), PHONE)
    page = seat.open(f"/storms#{desk_people['estimator']}")
    expect(page.locator("#notice")).to_contain_text("owner's token alone")
    page.get_by_label("Token, or the whole address").fill(HERE)
    page.get_by_role("button", name="Go on").click()
    expect(page.locator(".chart img")).to_have_count(8)
    expect(page.locator("#notice")).to_be_hidden()
    seat.end()


@pytest.fixture
def desk_people(empty_store: Any) -> dict[str, str]:
    """What an estimator shows at the same store."""
    from datetime import UTC, datetime, timedelta

    from api.store import tokens

    with empty_store.writing("these-tests.") as writing:
        until = datetime.now(UTC) + timedelta(days=1)
        return {"estimator": tokens.add(writing, "estimator", "E. Fennimore", until)[1]}


def test_the_desk_leads_its_owner_to_the_storms_and_nobody_else(
    browser: Browser, small: httpx.Client, desk_people: dict[str, str]
) -> None:
    seat = Seat(browser, str(small.base_url), DESK)
    page = seat.open(f"/claims#{desk_people['estimator']}")
    expect(page.get_by_text("No claim is kept yet")).to_be_visible()
    expect(page.get_by_role("link", name="Storms", exact=True)).to_be_hidden()
    page = seat.open(f"/claims?state=draft#{HERE}")
    page.get_by_role("link", name="Storms", exact=True).click()
    expect(page.locator("#answer")).to_contain_text("First hail comes first")
    expect(page.locator(".chart img")).to_have_count(8)
    seat.end()
