"""What cannot be priced is answered with a problem document that names every mistake's place.

Problem documents: RFC 9457. Places: JSON Pointers, RFC 6901. Bodies are sent as bytes, so that
they can be what no JSON library would write.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import httpx
import pytest

from api.problems import KINDS, MAX_ERRORS
from api.store.session import Store
from tests.api.conftest import (
    OWN,
    agreed,
    app_on,
    places,
    problem,
    serving,
    three_dimes,
    with_claim,
    write_matrices,
)

JSON = {"Content-Type": "application/json"}
GOOD = json.dumps(three_dimes())


def post(client: httpx.Client, body: bytes | str | Any, **params: str) -> httpx.Response:
    content = body if isinstance(body, bytes | str) else json.dumps(body)
    return client.post("/v1/price", content=content, headers=JSON, params=params)


# --- bodies that are no JSON object -------------------------------------------------------------

UNREADABLE: dict[str, tuple[bytes | str, str, str]] = {
    "nothing at all": ("", "expecting value at line 1, column 1", "JSON (RFC 8259)"),
    "blanks": (" \n ", "expecting value at line 2, column 2", "JSON (RFC 8259)"),
    "half an object": (GOOD[:-1], "at line 1, column", "JSON (RFC 8259)"),
    "something after the end": (GOOD + "]", "extra data at line 1", "JSON (RFC 8259)"),
    "a comma too many": ('{"claim": {},\n}', "at line", "JSON (RFC 8259)"),
    "a key twice": ('{"panels": [], "panels": []}', 'the key "panels" twice', "each key once"),
    "a key twice deep inside": (
        '{"panels": [{"tally": {"dime": 1, "dime": 2}}]}',
        'the key "dime" twice',
        "each key once",
    ),
    "NaN": ('{"panels": [{"oversize": [{"mm": NaN}]}]}', "NaN", "a finite number"),
    "minus infinity": ('{"panels": -Infinity}', "-Infinity", "a finite number"),
    "a list": ("[]", "a list of 0", "one JSON object"),
    "a list of claims": (f"[{GOOD}]", "a list of 1", "one JSON object"),
    "a text": ('"hood"', '"hood"', "one JSON object"),
    "false": ("false", "false", "one JSON object"),
    "null": ("null", "null", "one JSON object"),
    "lists in lists": ("[" * 100_000, "absurdly nested data", "at most 40 levels"),
    "objects in objects": ('{"a":' * 41 + "1" + "}" * 41, "absurdly nested", "at most 40 levels"),
    "bytes that are no UTF-8": (b'{"claim": "\xff"}', "byte 0xff at position 11", "UTF-8 text"),
    "UTF-16": (GOOD.encode("utf-16"), "byte 0xff at position 0", "UTF-8 text"),
    "an exponent beyond measure": (
        '{"panels": 1e99999999999999999999999}',
        '"1e99999999999999999999999"',
        "a number of ordinary size",
    ),
    "a number of thousands of digits": (
        '{"panels": ' + "9" * 5000 + "}",
        "a number of thousands of digits",
        "numbers of at most 10 digits",
    ),
    "a key with half a surrogate pair": (
        '{"panels": [{"tally": {"\\ud800": 1}}]}',
        'the key "\\ud800"',
        "valid Unicode text",
    ),
}


@pytest.mark.parametrize("what", UNREADABLE)
def test_a_body_that_is_no_json_object_is_refused(client: httpx.Client, what: str) -> None:
    body, found, expected = UNREADABLE[what]

    document = problem(post(client, body), 400)

    assert document["type"] == "/problems/unreadable-body"
    [error] = document["errors"]
    assert error["in"] == "body"
    assert found in error["found"]
    assert error["expected"].startswith(expected)


def test_every_key_with_half_a_surrogate_pair_is_refused(client: httpx.Client) -> None:
    document = problem(post(client, '{"panels": [{"tally": {"\\udfff": 1}}], "\\ud800": 2}'), 400)

    assert places(document) == [("body", ""), ("body", "")]


def test_a_byte_order_mark_does_no_harm(client: httpx.Client) -> None:
    assert post(client, GOOD.encode("utf-8-sig")).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Content-Type": ""},
        {"Content-Type": "text/plain"},
        {"Content-Type": "application/x-www-form-urlencoded"},
        {"Content-Type": "application/json; charset=utf-16"},
        {"Content-Type": "application/jsonp"},
        {"Content-Type": "application/json", "Content-Encoding": "gzip"},
    ],
)
def test_another_content_type_is_refused(client: httpx.Client, headers: dict[str, str]) -> None:
    response = client.post("/v1/price", content=GOOD.encode(), headers=headers)

    document = problem(response, 415)
    assert response.headers["accept"] == "application/json"
    assert document["errors"][0]["pointer"] in ("/Content-Type", "/Content-Encoding")


@pytest.mark.parametrize(
    "content_type", ["application/json", "application/json;charset=utf-8", "Application/JSON"]
)
def test_json_in_utf8_is_taken_however_it_is_spelt(client: httpx.Client, content_type: str) -> None:
    response = client.post("/v1/price", content=GOOD, headers={"Content-Type": content_type})

    assert response.status_code == 200


# --- claims with one mistake --------------------------------------------------------------------

BIG = 10**12
MISTAKES: dict[str, tuple[Any, str, str, str]] = {
    "an unknown panel": (three_dimes(panel="bonnet"), "/panels/0/panel", '"bonnet"', "'hood'"),
    "an unknown size": (
        three_dimes(tally={"dime": 3, "penny": 1}),
        "/panels/0/tally/penny",
        'the size "penny"',
        "one of the matrix's sizes: dime, quarter",
    ),
    "a size beyond the matrix's columns": (
        three_dimes(tally={"half-dollar": 1}),
        "/panels/0/tally/half-dollar",
        'the size "half-dollar"',
        "dents beyond quarter under oversize",
    ),
    "an unknown metal": (three_dimes(metal="tin"), "/panels/0/metal", '"tin"', "'steel'"),
    "an unknown access": (three_dimes(access="pull"), "/panels/0/access", '"pull"', "'push'"),
    "the same panel twice": (
        three_dimes() | {"panels": [{"panel": "hood"}, {"panel": "hood"}]},
        "/panels/1/panel",
        '"hood" again, as in panels[0]',
        "each panel once",
    ),
    "a panel that the body lacks": (
        three_dimes(panel="tailgate"),
        "/panels/0/panel",
        '"tailgate" on a sedan',
        "a panel that a sedan has",
    ),
    "more marked than counted": (
        three_dimes(marked={"braced": {"dime": 4}}),
        "/panels/0/marked/braced/dime",
        "4 marked",
        "at most the 3 counted",
    ),
    "an oversize dent that a column covers": (
        three_dimes(oversize=[{"mm": 24.26}]),
        "/panels/0/oversize/0/mm",
        "24.26 mm",
        "more than the largest column, quarter",
    ),
    "an oversize dent beyond measure": (
        GOOD.replace('"tally"', '"oversize": [{"mm": 1e999}], "tally"'),
        "/panels/0/oversize/0/mm",
        "1E+999",
        "at most 500",
    ),
    "a count beyond measure": (
        GOOD.replace("3}", "1e999}"),
        "/panels/0/tally/dime",
        "1E+999",
        "a whole number",
    ),
    "a negative count": (three_dimes(tally={"dime": -1}), "/panels/0/tally/dime", "-1", "0 or"),
    "half a dent": (three_dimes(tally={"dime": 2.5}), "/panels/0/tally/dime", "2.5", "a whole"),
    "a count that is a text": (
        three_dimes(tally={"dime": "3"}),
        "/panels/0/tally/dime",
        '"3"',
        "a whole number",
    ),
    "a count that is true": (
        three_dimes(tally={"dime": True}),
        "/panels/0/tally/dime",
        "true",
        "a whole number",
    ),
    "millions of millions of dents": (
        three_dimes(tally={"dime": BIG}),
        "/panels/0/tally/dime",
        str(BIG),
        "at most 9999",
    ),
    "money that is a number": (with_claim() | {"other": [
        {"kind": "part", "label": "Clip", "unit_price": 1.5}
    ]}, "/other/0/unit_price", "1.5", "text in quotes"),
    "money finer than a cent": (
        with_claim(deductible="0.005"),
        "/claim/deductible",
        '"0.005"',
        "at most 2 decimals, as USD has",
    ),
    "half a surrogate pair": (
        with_claim(customer="\ud800"),
        "/claim/customer",
        '"\\ud800"',
        "valid Unicode text",
    ),
    "a control character": (
        with_claim(customer="A\u0000B"),
        "/claim/customer",
        '"A\\x00B"',
        "one line of text",
    ),
    "a day that no calendar has": (
        with_claim(date_of_loss="2026-02-30"),
        "/claim/date_of_loss",
        '"2026-02-30"',
        "a date such as 2026-05-19",
    ),
    "no body style": (three_dimes() | {"vehicle": {}}, "/vehicle/body", "nothing", "a value"),
    "a key with a slip of the pen": (
        three_dimes(metl="steel"),
        "/panels/0",
        'the unknown key "metl"',
        '"metal"',
    ),
    "a size whose name needs escaping in a pointer": (
        three_dimes(tally={"a/b~c": 1}),
        "/panels/0/tally/a~1b~0c",
        'the size "a/b~c"',
        "one of the matrix's sizes",
    ),
    "an unknown matrix": (
        three_dimes() | {"matrix": "thistle"},
        "/matrix",
        '"thistle"',
        "one of marram-agreed, sorrel-spring, sorrel-summer, thistle-own",
    ),
    "a path for a matrix": (
        three_dimes() | {"matrix": "../thistle-own"},
        "/matrix",
        '"../thistle-own"',
        "lower-case letters, digits and single hyphens",
    ),
    "no matrix for the date": (
        with_claim(date_of_loss="2019-05-19"),
        "/matrix",
        "no matrices that fit no insurer and 2019-05-19",
        "one, or its name",
    ),
    "two matrices for the date": (
        with_claim(insurer="Sorrel Assurance"),
        "/matrix",
        '2 matrices that fit insurer "Sorrel Assurance"',
        "one, or its name under `matrix`: sorrel-spring",
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", MISTAKES)
def test_a_mistake_in_a_claim_is_named_with_its_place(client: httpx.Client, what: str) -> None:
    body, pointer, found, expected = MISTAKES[what]

    document = problem(post(client, body), 422)

    assert document["type"] == "/problems/invalid-claim"
    assert document["detail"] == "The claim has 1 mistake."
    assert document["instance"] == "/v1/price"
    [error] = document["errors"]
    assert (error["in"], error["pointer"]) == ("body", pointer)
    assert error["found"].startswith(found)
    assert error["expected"].startswith(expected)


# --- claims with several ------------------------------------------------------------------------


def test_all_mistakes_come_in_one_answer_those_against_the_matrix_too(
    client: httpx.Client,
) -> None:
    claim = with_claim(deductible="0.005", colour="red") | {
        "matrix": "thistle-own",
        "panels": [
            {"panel": "hood", "tally": {"penny": 1}, "metal": "tin"},
            {"panel": "hood", "tally": {"dime": 2}, "marked": {"sharp": {"dime": 3}}},
        ],
        "other": [{"kind": "part", "label": "Clip", "unit_price": "1.234"}],
    }

    document = problem(post(client, claim), 422)

    assert document["detail"] == "The claim has 6 mistakes."
    assert sorted(places(document)) == [
        ("body", "/claim"),
        ("body", "/other/0/unit_price"),
        ("body", "/panels/0/metal"),
        ("body", "/panels/0/tally/penny"),
        ("body", "/panels/1/marked/sharp/dime"),
        ("body", "/panels/1/panel"),
    ]


def test_an_unknown_matrix_in_the_query_comes_with_the_claims_own_mistakes(
    client: httpx.Client,
) -> None:
    document = problem(post(client, three_dimes(metal="tin"), matrix="thistle"), 422)

    assert sorted(places(document)) == [("body", "/panels/0/metal"), ("query", "/matrix")]


def test_a_matrix_of_the_wrong_type_is_one_mistake_and_not_also_a_missing_one(
    client: httpx.Client,
) -> None:
    claim = with_claim(date_of_loss="2019-05-19") | {"matrix": 5}

    assert places(problem(post(client, claim), 422)) == [("body", "/matrix")]


def test_a_flood_of_mistakes_is_cut_off_and_says_so(client: httpx.Client) -> None:
    claim = three_dimes(tally={f"coin-{number}": -1 for number in range(2 * MAX_ERRORS)})

    document = problem(post(client, claim), 422)

    assert len(document["errors"]) == MAX_ERRORS
    assert document["detail"] == (
        f"The claim has {MAX_ERRORS + 1} mistakes. The first {MAX_ERRORS} are listed."
    )


# --- parameters, paths and methods --------------------------------------------------------------


@pytest.mark.parametrize(
    ("params", "pointer", "found", "expected"),
    [
        ({"paper": "a3"}, "/paper", '"a3"', "'letter' or 'a4'"),
        ({"labels": "de"}, "/labels", '"de"', "'us' or 'uk'"),
        ({"matrix": "../x"}, "/matrix", '"../x"', "lower-case letters, digits"),
        ({"matrix": "x" * 61}, "/matrix", '"xxx', "string should have at most 60 characters"),
        ({"papier": "a4"}, "/papier", "an unknown parameter", "one of those that /docs lists"),
    ],
)
def test_a_bad_parameter_is_named(
    client: httpx.Client, params: dict[str, str], pointer: str, found: str, expected: str
) -> None:
    document = problem(post(client, GOOD, **params), 422)

    assert document["type"] == "/problems/invalid-parameter"
    assert places(document) == [("query", pointer)]
    assert document["errors"][0]["found"].startswith(found)
    assert document["errors"][0]["expected"].startswith(expected)


def test_an_unknown_matrix_in_the_query_is_named(client: httpx.Client) -> None:
    document = problem(post(client, GOOD, matrix="thistle"), 422)

    assert places(document) == [("query", "/matrix")]
    assert "thistle-own" in document["errors"][0]["expected"]


@pytest.mark.parametrize(
    "path", ["/nothing", "/v1", "/v1/price/", "/v2/price", "/docs/assets/none.js"]
)
def test_a_path_that_nothing_answers_is_a_plain_404(client: httpx.Client, path: str) -> None:
    document = problem(client.get(path), 404)

    assert (document["type"], document["title"]) == ("about:blank", "Not Found")
    assert document["instance"] == path


@pytest.mark.parametrize("path", ["/docs/assets/../../core.py", "/docs/assets/%2e%2e/core.py"])
def test_nothing_beside_the_documentations_assets_is_served(
    client: httpx.Client, path: str
) -> None:
    problem(client.get(path), 404)


def test_a_path_is_told_back_as_a_uri(client: httpx.Client) -> None:
    document = problem(client.get("/v1/%C3%A4%20%3Cb%3E"), 404)

    assert document["instance"] == "/v1/%C3%A4%20%3Cb%3E"


@pytest.mark.parametrize(("method", "path"), [("GET", "/v1/price"), ("DELETE", "/v1/matrices")])
def test_a_method_that_a_path_does_not_have_is_a_plain_405(
    client: httpx.Client, method: str, path: str
) -> None:
    response = client.request(method, path)

    assert problem(response, 405)["title"] == "Method Not Allowed"
    assert response.headers["allow"] in ("GET", "POST")


def test_every_type_of_problem_answers_with_an_explanation(client: httpx.Client) -> None:
    for name, kind in KINDS.items():
        response = client.get(f"/problems/{name}")

        assert response.status_code == 200
        assert kind.title in response.text
    problem(client.get("/problems/none"), 404)


# --- the server's own trouble -------------------------------------------------------------------


def test_a_broken_matrix_is_named_with_its_file_and_not_with_its_folder(
    tmp_path: Path, empty_store: Store
) -> None:
    torn = OWN.replace("[16, 32]", "[9, 32]")
    folder = write_matrices(
        tmp_path,
        {
            "thistle-own": torn,
            "marram-agreed": agreed("marram-agreed", "Marram Mutual", "2026-01-01"),
        },
    )
    with serving(app_on(folder, empty_store)) as client:
        by_date = post(client, with_claim(insurer="Marram Mutual"))
        by_name = post(client, three_dimes() | {"matrix": "thistle-own"})
        sound = post(client, three_dimes() | {"matrix": "marram-agreed"})
        both = post(client, three_dimes(metal="tin"), matrix="thistle-own")

    for response in (by_date, by_name):
        document = problem(response, 409)
        assert document["type"] == "/problems/broken-matrix"
        [error] = document["errors"]
        assert (error["in"], error["file"]) == ("matrix", "thistle-own.toml")
        assert error["pointer"] == "/grid/0/rows/1/0"
        assert str(tmp_path) not in response.text
    assert sound.status_code == 200
    document = problem(both, 422)
    assert document["detail"].startswith("The claim has 1 mistake. A matrix file")
    assert places(document) == [("body", "/panels/0/metal"), ("matrix", "/grid/0/rows/1/0")]


def test_a_crash_tells_nothing_of_itself(matrices: Path, empty_store: Store) -> None:
    app = app_on(matrices, empty_store)

    @app.get("/crash")
    def crash() -> None:
        raise RuntimeError("the secret of the house")

    with serving(app) as client:
        response = client.get("/crash")

    document = problem(response, 500)
    assert document["type"] == "about:blank"
    assert document["errors"] == []
    assert "secret" not in response.text


@pytest.mark.parametrize("accept", ["application/json", "application/pdf"])
def test_text_that_cannot_be_printed_is_a_mistake_of_the_pdf_alone(
    client: httpx.Client, accept: str
) -> None:
    claim = with_claim(customer="\u6d25\u6ce2")

    response = client.post("/v1/price", json=claim, headers={"Accept": accept})

    if accept == "application/json":
        assert response.status_code == 200
    else:
        assert places(problem(response, 422)) == [("body", "/claim/customer")]


def test_text_of_a_matrix_that_cannot_be_printed_is_a_mistake_of_its_file(
    tmp_path: Path, empty_store: Store
) -> None:
    folder = write_matrices(tmp_path, {"thistle-own": OWN.replace("Thistle,", "\u6d25\u6ce2")})
    with serving(app_on(folder, empty_store)) as client:
        response = client.post(
            "/v1/price", json=three_dimes(), headers={"Accept": "application/pdf"}
        )

    document = problem(response, 409)
    assert places(document) == [("matrix", "/matrix/title")]
    assert document["errors"][0]["file"] == "thistle-own.toml"
