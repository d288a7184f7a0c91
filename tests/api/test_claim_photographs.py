"""Photographs of a claim through the API: sent, kept, shown, printed with the next sheet."""

from __future__ import annotations

from io import BytesIO

import httpx
import pytest
from PIL import Image

from api.issuing import waiting
from api.problems import Refusal
from api.routes.revisions import require_still
from api.store.claims import head_of
from api.store.session import Store
from hailcalc.sheet.pdfcheck import verify_pdf
from tests.api.conftest import places, problem
from tests.api.storehouse import PLAIN, issued, linked, opened, supplemented, two_panels


def picture(form: str = "JPEG", size: tuple[int, int] = (320, 240), shade: int = 90) -> bytes:
    """A plain picture, as some camera may write it."""
    out = BytesIO()
    Image.new("RGB", size, (shade, shade, 120)).save(out, form)
    return out.getvalue()


def sent(shop: httpx.Client, claim: str, data: bytes, **query: str) -> httpx.Response:
    return shop.post(
        f"/v1/claims/{claim}/photographs",
        content=data,
        params=query,
        headers={"Content-Type": "image/jpeg"},
    )


def test_a_photograph_is_kept_listed_and_shown(shop: httpx.Client) -> None:
    claim = opened(shop)["id"]
    added = sent(shop, claim, picture(), panel="hood", note="Under the light board")
    assert added.status_code == 201
    assert added.json()["panel"] == "hood"
    assert added.headers["location"] == f"/v1/claims/{claim}/photographs/1"
    listed = shop.get(f"/v1/claims/{claim}/photographs").json()["photographs"]
    assert listed == [added.json()]
    shown = shop.get(added.headers["location"])
    assert shown.headers["content-type"] == "image/jpeg"
    assert Image.open(BytesIO(shown.content)).size == (320, 240)
    tag = {"If-None-Match": shown.headers["etag"]}
    assert shop.get(added.headers["location"], headers=tag).status_code == 304


def test_the_sheet_prints_the_photographs_and_its_digest_covers_them(shop: httpx.Client) -> None:
    claim = opened(shop)["id"]
    sent(shop, claim, picture(shade=30), panel="hood")
    sent(shop, claim, picture("PNG", shade=60))
    issued(shop, claim)
    path = f"/v1/claims/{claim}/revisions/1"
    sheet = shop.get(path).json()
    assert [each.get("panel") for each in sheet["claim_file"]["photographs"]] == ["hood", None]
    pdf = shop.get(path, headers={"Accept": "application/pdf"}).content
    document, differences = verify_pdf(pdf, "sheet.pdf")
    assert differences == []
    assert document["digest"] == sheet["digest"]


def test_a_later_photograph_comes_with_the_supplement(shop: httpx.Client) -> None:
    claim = issued(shop, opened(shop)["id"])["id"]
    sent(shop, claim, picture(), panel="roof")
    supplemented(shop, claim, two_panels(), "A photograph of the roof.")
    counts = [
        len(
            shop.get(f"/v1/claims/{claim}/revisions/{n}")
            .json()["claim_file"]
            .get("photographs", [])
        )
        for n in (1, 2)
    ]
    assert counts == [0, 1]


def test_the_same_photograph_of_a_panel_is_kept_once(shop: httpx.Client) -> None:
    claim = opened(shop)["id"]
    first = sent(shop, claim, picture(), panel="hood").json()
    assert sent(shop, claim, picture(), panel="hood").json() == first
    assert sent(shop, claim, picture(), panel="roof").json()["number"] == 2


@pytest.mark.parametrize(
    "data", [b"", b"<svg xmlns='http://www.w3.org/2000/svg'/>", picture()[:200], picture("GIF")]
)
def test_what_is_no_photograph_is_refused(shop: httpx.Client, data: bytes) -> None:
    claim = opened(shop)["id"]
    document = problem(sent(shop, claim, data), 400)
    assert document["type"] == "/problems/unreadable-photograph"
    assert shop.get(f"/v1/claims/{claim}/photographs").json()["photographs"] == []


def test_a_panel_that_nobody_knows_is_refused(shop: httpx.Client) -> None:
    claim = opened(shop)["id"]
    document = problem(sent(shop, claim, picture(), panel="spoiler"), 422)
    assert places(document) == [("query", "/panel")]


def test_an_adjuster_sees_photographs_and_adds_none(shop: httpx.Client) -> None:
    claim = opened(shop)["id"]
    sent(shop, claim, picture(), panel="hood")
    issued(shop, claim)
    adjuster = linked(shop, claim)
    assert shop.get(f"/v1/claims/{claim}/photographs/1", headers=adjuster).status_code == 200
    answer = shop.post(
        f"/v1/claims/{claim}/photographs",
        content=picture(),
        headers={"Content-Type": "image/jpeg"} | adjuster | PLAIN,
    )
    assert problem(answer, 403)["type"] == "/problems/not-allowed"


def test_a_photograph_that_comes_while_the_sheet_is_drawn_is_not_left_off_it(
    shop: httpx.Client, store: Store
) -> None:
    claim = opened(shop)["id"]
    with store.reading() as connection:
        head = head_of(connection, claim)
        assert head is not None
        waits = waiting(connection, head)
        require_still(connection, head, waits)
    assert sent(shop, claim, picture()).status_code == 201
    with store.reading() as connection:
        now = head_of(connection, claim)
        assert now is not None
        with pytest.raises(Refusal) as refused:
            require_still(connection, now, waits)
    assert refused.value.headers == {"ETag": f'"{now.version}"'}
    assert [each.found for each in refused.value.mistakes] == ["other photographs"]


PDF = {"Accept": "application/pdf"}


def test_a_photograph_left_out_is_on_no_later_sheet_and_stays_on_those_that_print_it(
    shop: httpx.Client,
) -> None:
    claim = opened(shop)["id"]
    for shade in (90, 120):
        sent(shop, claim, picture(shade=shade), panel="hood")
    issued(shop, claim)
    adjuster = linked(shop, claim)
    path = f"/v1/claims/{claim}/photographs"
    first = shop.get(f"/v1/claims/{claim}/revisions/1", headers=PDF).content
    for _ in range(2):
        assert shop.delete(f"{path}/1").status_code == 204
    kept = shop.get(path).json()["photographs"]
    assert [each["left_out"] is None for each in kept] == [False, True]
    seen = shop.get(path, headers=adjuster).json()["photographs"]
    assert [each["number"] for each in seen] == [2]
    assert shop.get(f"{path}/1").status_code == 200
    problem(shop.get(f"{path}/1", headers=adjuster), 404)
    problem(shop.delete(f"{path}/3"), 404)
    supplemented(shop, claim, two_panels(), "That one was of another car.")
    sheets = [shop.get(f"/v1/claims/{claim}/revisions/{number}").json() for number in (1, 2)]
    assert [len(sheet["claim_file"]["photographs"]) for sheet in sheets] == [2, 1]
    assert shop.get(f"/v1/claims/{claim}/revisions/1", headers=PDF).content == first
    again = sent(shop, claim, picture(shade=90), panel="hood").json()
    assert (again["number"], again["left_out"]) == (3, None)
