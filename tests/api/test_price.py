"""A claim file in, a claim sheet out: as JSON or PDF, under the right matrix, over a socket.

Amounts are dollars, worked out by hand from the figures in conftest.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from io import BytesIO
from pathlib import Path
from typing import Any

import httpx
import pypdf
import pytest

from api.claims import file_name
from api.negotiation import preferred
from api.store.session import Store
from hailcalc.claimfile import claim_from_data, require_claim
from hailcalc.estimate import price
from hailcalc.files import load_matrix
from hailcalc.reading import MAX_TEXT_BYTES
from hailcalc.sheet.document import sheet_json, sheet_text
from hailcalc.sheet.pdfcheck import verify_pdf
from hailcalc.sheet.verify import verify_sheet
from tests.api.conftest import (
    OWN,
    app_on,
    places,
    problem,
    serving,
    three_dimes,
    with_claim,
    write_matrices,
)

PDF = {"Accept": "application/pdf"}
LETTER = (612, 792)  # points: 8.5 by 11 inches of 72
A4 = (595, 842)  # points: 210 by 297 mm (ISO 216), whole points


def test_a_claim_comes_back_as_a_sheet_that_adds_up(client: httpx.Client) -> None:
    response = client.post("/v1/price", json=three_dimes(metal="aluminium"))

    assert response.status_code == 200
    assert response.headers["content-type"] == "application/json"
    sheet = response.json()
    # 16 min × 90 / 60 = 24.00, and 20 % of it.
    amounts = [(line["kind"], line["panel"], line["amount"]) for line in sheet["lines"]]
    assert amounts == [("repair", "hood", "24.00"), ("extra", "hood", "4.80")]
    assert sheet["totals"]["total"] == "28.80"
    assert sheet["totals"]["complete"] is True
    assert verify_sheet(sheet) == []


def test_the_sheet_is_byte_for_byte_the_one_that_the_library_makes(
    client: httpx.Client, matrices: Path
) -> None:
    claim = require_claim(claim_from_data(three_dimes()))
    estimate = price(claim, load_matrix(matrices / "thistle-own.toml"))

    response = client.post("/v1/price", json=three_dimes())

    assert response.text == sheet_text(sheet_json(estimate))


def test_a_pdf_is_sent_to_who_prefers_one_with_the_same_sheet_inside(client: httpx.Client) -> None:
    response = client.post("/v1/price", json=with_claim(number="T 7/ä"), headers=PDF)

    assert response.status_code == 200
    assert response.headers["content-type"] == "application/pdf"
    assert response.headers["content-disposition"] == 'attachment; filename="claim-T-7.pdf"'
    document, differences = verify_pdf(response.content, "sheet.pdf")
    assert differences == []
    assert document == client.post("/v1/price", json=with_claim(number="T 7/ä")).json()


@pytest.mark.parametrize(("paper", "size"), [(None, LETTER), ("letter", LETTER), ("a4", A4)])
def test_the_paper_is_letter_unless_a4_is_asked_for(
    client: httpx.Client, paper: str | None, size: tuple[int, int]
) -> None:
    params = {} if paper is None else {"paper": paper}

    response = client.post("/v1/price", json=three_dimes(), headers=PDF, params=params)

    box = pypdf.PdfReader(BytesIO(response.content)).pages[0].mediabox
    assert (round(float(box.width)), round(float(box.height))) == size


@pytest.mark.parametrize(("labels", "word"), [("us", "Hood"), ("uk", "Bonnet")])
def test_panels_are_called_as_the_label_table_says(
    client: httpx.Client, labels: str, word: str
) -> None:
    response = client.post("/v1/price", json=three_dimes(), headers=PDF, params={"labels": labels})

    pages = pypdf.PdfReader(BytesIO(response.content)).pages
    assert word in "".join(page.extract_text() for page in pages)


@pytest.mark.parametrize(
    ("accept", "taken"),
    [
        (None, "json"),
        ("", "json"),
        ("*/*", "json"),
        ("application/*", "json"),
        ("application/json, application/pdf", "json"),
        ("application/pdf", "pdf"),
        ("APPLICATION/PDF", "pdf"),
        ("application/pdf, */*", "pdf"),
        ("application/pdf;q=0.4, application/json;q=0.5", "json"),
        ("application/pdf;q=0.6, application/json;q=0.5", "pdf"),
        ("application/json;q=0, */*", "pdf"),
        ("text/html, application/pdf;q=0.9, */*;q=0.1", "pdf"),
        ("text/html", None),
        ("application/pdf;q=0", None),
        ("application/json;q=0, application/pdf;q=0, */*", None),
        ("application/pdf;q=2", None),
        ("nonsense", None),
    ],
)
def test_the_form_follows_the_accept_header(accept: str | None, taken: str | None) -> None:
    offers = ["application/json", "application/pdf"]

    found = preferred(accept, offers)

    assert found == (None if taken is None else f"application/{taken}")


def test_a_form_that_a_sheet_does_not_have_is_refused(client: httpx.Client) -> None:
    response = client.post("/v1/price", json=three_dimes(), headers={"Accept": "image/png"})

    document = problem(response, 406)
    assert places(document) == [("header", "/Accept")]
    assert document["errors"][0]["expected"] == "application/json or application/pdf"


@pytest.mark.parametrize(
    ("number", "name"),
    [
        ("T-7", "claim-T-7.pdf"),
        ('../"x"; a=b', "claim-x-a-b.pdf"),
        ("Ärger\u20ac", "claim-rger.pdf"),
        ("損害", "claim.pdf"),
        ("CON.", "claim-CON.pdf"),
    ],
)
def test_a_claim_number_makes_a_safe_file_name(number: str, name: str) -> None:
    assert file_name("claim", number) == name


# --- which matrix ------------------------------------------------------------------------------


def matrix_of(response: httpx.Response) -> Any:
    assert response.status_code == 200, response.text
    return response.json()["matrix"]["matrix"]["name"]


def test_without_an_insurer_the_shops_own_matrix_prices(client: httpx.Client) -> None:
    assert matrix_of(client.post("/v1/price", json=three_dimes())) == "thistle-own"


def test_the_matrix_agreed_with_the_insurer_goes_before_the_shops_own(
    client: httpx.Client,
) -> None:
    response = client.post("/v1/price", json=with_claim(insurer="marram  mutual"))

    assert matrix_of(response) == "marram-agreed"
    assert response.json()["totals"]["total"] == "32.00"  # 16 min at 120.00 an hour


def test_the_matrix_that_the_claim_names_goes_before_insurer_and_date(
    client: httpx.Client,
) -> None:
    claim = three_dimes() | {"matrix": "marram-agreed"}

    assert matrix_of(client.post("/v1/price", json=claim)) == "marram-agreed"


def test_the_matrix_that_the_query_names_goes_before_the_claims(client: httpx.Client) -> None:
    claim = three_dimes() | {"matrix": "marram-agreed"}

    response = client.post("/v1/price", json=claim, params={"matrix": "sorrel-summer"})

    assert matrix_of(response) == "sorrel-summer"


def test_a_panel_beyond_the_matrix_makes_an_incomplete_sheet_and_no_error(
    client: httpx.Client,
) -> None:
    response = client.post("/v1/price", json=three_dimes(tally={"dime": 7}))

    assert response.status_code == 200
    assert response.json()["lines"][0]["amount"] is None
    assert response.json()["totals"]["complete"] is False


def test_a_matrix_edited_on_disk_prices_the_next_claim(tmp_path: Path, empty_store: Store) -> None:
    folder = write_matrices(tmp_path, {"thistle-own": OWN})
    with serving(app_on(folder, empty_store)) as client:
        before = client.post("/v1/price", json=three_dimes()).json()
        write_matrices(folder, {"thistle-own": OWN.replace('"90.00"', '"105.00"')})
        after = client.post("/v1/price", json=three_dimes()).json()
        (folder / "thistle-own.toml").unlink()
        gone = client.post("/v1/price", json=three_dimes())

    assert before["totals"]["total"] == "24.00"
    assert after["totals"]["total"] == "28.00"
    assert problem(gone, 422)["errors"][0]["expected"].endswith("none")


def test_claims_sent_at_once_get_the_sheets_that_they_get_one_by_one(
    matrices: Path, empty_store: Store
) -> None:
    claims = [three_dimes(tally={"dime": count}) for count in range(1, 7)] * 4
    with serving(app_on(matrices, empty_store)) as client:
        with ThreadPoolExecutor(12) as pool:
            together = list(pool.map(lambda claim: client.post("/v1/price", json=claim), claims))
        alone = [client.post("/v1/price", json=claim) for claim in claims]

    assert [each.text for each in together] == [each.text for each in alone]
    # One or two dents 10 min, three to six 16 min, at 90.00 an hour.
    totals = [each.json()["totals"]["total"] for each in together[:6]]
    assert totals == ["15.00", "15.00", "24.00", "24.00", "24.00", "24.00"]


# --- who may ask, and how much ------------------------------------------------------------------


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost:8423", "LOCALHOST", "[::1]:80"])
def test_loopback_names_are_answered(client: httpx.Client, host: str) -> None:
    response = client.get("/v1/health", headers={"Host": host})

    assert response.status_code == 200


@pytest.mark.parametrize(
    "host", ["hail.example", "127.0.0.1.hail.example:80", "localhost.", "10.0.0.1", "[::2]"]
)
def test_a_name_pointed_at_this_machine_from_elsewhere_is_not_answered(
    client: httpx.Client, host: str
) -> None:
    response = client.post("/v1/price", json=three_dimes(), headers={"Host": host})

    document = problem(response, 421)
    assert places(document) == [("header", "/Host")]
    assert "[::1]" in document["errors"][0]["expected"]


@pytest.mark.parametrize("host", ["", "127.0.0.1:", "a b", "localhost:80:80", "user@localhost"])
def test_a_host_header_that_names_no_host_is_refused(client: httpx.Client, host: str) -> None:
    problem(client.get("/v1/health", headers={"Host": host}), 400)


def test_pages_of_other_origins_are_given_no_leave_to_read_or_post(client: httpx.Client) -> None:
    origin = {"Origin": "http://hail.example"}
    asked = client.options("/v1/price", headers=origin | {"Access-Control-Request-Method": "POST"})
    read = client.get("/v1/matrices", headers=origin)
    form = client.post("/v1/price", content=b"{}", headers={"Content-Type": "text/plain"})

    problem(asked, 405)
    problem(form, 415)
    for response in (asked, read, form):
        assert not [name for name in response.headers if name.startswith("access-control-")]


def test_a_body_of_just_the_largest_size_is_read(client: httpx.Client) -> None:
    body = httpx.Request("POST", "http://h/", json=three_dimes()).content
    padded = body + b" " * (MAX_TEXT_BYTES - len(body))

    response = client.post(
        "/v1/price", content=padded, headers={"Content-Type": "application/json"}
    )

    assert len(padded) == MAX_TEXT_BYTES
    assert response.status_code == 200


def chunks(size: int) -> Iterator[bytes]:
    """So many bytes in pieces; sent like this a body has no Content-Length."""
    for _ in range(size // 50_000):
        yield b" " * 50_000
    yield b" " * (size % 50_000)


@pytest.mark.parametrize("declared", [True, False])
@pytest.mark.parametrize("size", [MAX_TEXT_BYTES + 1, 12_000_000])
def test_a_body_beyond_the_largest_size_is_refused(
    client: httpx.Client, size: int, declared: bool
) -> None:
    content = b" " * size if declared else chunks(size)

    response = client.post(
        "/v1/price", content=content, headers={"Content-Type": "application/json"}
    )

    document = problem(response, 413)
    assert places(document) == [("body", "")]
    assert document["errors"][0]["expected"] == "at most 5,000,000 bytes"
    found = f"{size:,} bytes" if declared else "more than 5,000,000 bytes"
    assert document["errors"][0]["found"] == found
    assert client.get("/v1/health").status_code == 200


def test_sheets_are_kept_by_no_cache_and_guessed_as_nothing_else(client: httpx.Client) -> None:
    for headers in ({}, PDF):
        response = client.post("/v1/price", json=three_dimes(), headers=headers)

        assert response.headers["cache-control"] == "no-store"
        assert response.headers["x-content-type-options"] == "nosniff"
        assert response.headers["vary"] == "Accept"
        assert "default-src 'none'" in response.headers["content-security-policy"]
