"""A claim file in, the plan of how its panels are reached out: as JSON, or as the job card.

Amounts are dollars, worked out by hand from the figures of `TRIM` in conftest.
"""

from __future__ import annotations

import json
from io import BytesIO
from typing import Any

import httpx
import pypdf
import pytest
from jsonschema import Draft202012Validator

from api.routes.plan import EXAMPLE
from hailcalc.claimfile import claim_from_data
from tests.api.conftest import places, planned, problem, three_dimes

PDF = {"Accept": "application/pdf"}
JSON = {"Content-Type": "application/json"}


def plan_of(client: httpx.Client, claim: dict[str, Any], **params: str) -> dict[str, Any]:
    response = client.post("/v1/plan", json=claim, params=params)
    assert response.status_code == 200, response.text
    assert response.headers["content-type"] == "application/json"
    found: dict[str, Any] = response.json()
    return found


def card_text(response: httpx.Response) -> str:
    assert response.status_code == 200, response.text
    return "\n".join(
        page.extract_text() for page in pypdf.PdfReader(BytesIO(response.content)).pages
    )


# --- the plan ----------------------------------------------------------------------------------


def test_the_hood_is_pushed_and_the_roof_glued_because_of_the_trim(
    trim_client: httpx.Client,
) -> None:
    answer = plan_of(trim_client, planned("roof", "hood"))

    assert answer["claim"] == "T-7"
    hood, roof = answer["plan"]["panels"]
    assert (hood["panel"], hood["method"], hood["own"]) == ("hood", "push", "24.00")
    assert (roof["panel"], roof["method"], roof["own"]) == ("roof", "glue", "36.00")
    # The hood glued: 36.00 and no liner instead of 24.00 and 9.00.
    assert hood["next_best"] == {"method": "glue", "more": "3.00", "more_minutes": "-1"}
    # The roof pushed: 24.00 and 35 min of trim instead of 36.00.
    assert roof["next_best"] == {"method": "push", "more": "23.00", "more_minutes": "27"}
    assert answer["plan"]["against_all_push"]["saves"] == "23.00"
    assert answer["plan"]["against_all_glue"]["saves"] == "3.00"


def test_what_comes_off_stands_in_order_and_the_refit_is_the_reverse(
    trim_client: httpx.Client,
) -> None:
    claim = planned("hood", "roof", access="push")
    claim["vehicle"]["equipment"] = ["sunroof"]

    answer = plan_of(trim_client, claim)

    assert answer["removal"] == [
        {
            "id": "hood-liner",
            "label": "Hood liner",
            "part": "front",
            "minutes": "9",
            "fasteners": 10,
            "cautions": ["heat"],
        },
        {
            "id": "visors",
            "label": "Sun visors",
            "part": "roof",
            "minutes": "5",
            "fasteners": 0,
            "cautions": ["airbag", "glass"],
        },
        {
            "id": "sunroof",
            "label": "Sunroof frame",
            "part": "roof",
            "minutes": "20",
            "fasteners": 0,
            "cautions": [],
        },
        {
            "id": "headliner",
            "label": "Headliner lowered",
            "part": "roof",
            "minutes": "30",
            "fasteners": 0,
            "cautions": [],
        },
    ]
    assert answer["refit"] == ["headliner", "sunroof", "visors", "hood-liner"]
    assert answer["removal_minutes"] == "64"


def test_a_claim_that_plans_nothing_has_no_plan_but_its_removal(trim_client: httpx.Client) -> None:
    answer = plan_of(trim_client, three_dimes())

    assert answer["plan"] is None
    assert [operation["id"] for operation in answer["removal"]] == ["hood-liner"]
    assert plan_of(trim_client, three_dimes(access="glue"))["refit"] == []


def test_the_aim_of_the_claim_is_the_plans(trim_client: httpx.Client) -> None:
    claim = planned("hood") | {"aim": "minutes"}

    plan = plan_of(trim_client, claim)["plan"]

    # Pushed 16 min and 9 min for the liner; glued 24 min.
    assert (plan["aim"], plan["panels"][0]["method"], plan["minutes"]) == ("minutes", "glue", "24")


def test_the_plan_is_the_one_that_the_sheet_carries(trim_client: httpx.Client) -> None:
    claim = planned("hood", "roof", repainted=True)

    sheet = trim_client.post("/v1/price", json=claim).json()

    answer = plan_of(trim_client, claim)
    assert answer["plan"] == sheet["evidence"]["plan"]
    assert answer["refit"] == sheet["evidence"]["removal"]["refit"]
    ruled_out = {
        (rule["method"], rule["rule"]) for rule in answer["plan"]["panels"][0]["ruled_out"]
    }
    assert ("glue", "glue-repainted") in ruled_out


def test_a_matrix_in_the_query_goes_before_the_claims_own_choice(client: httpx.Client) -> None:
    answer = plan_of(client, three_dimes(access="plan"), matrix="marram-agreed")

    assert answer["matrix"] == "marram-agreed"


# --- the job card ------------------------------------------------------------------------------


def test_the_technician_gets_a_job_card_without_any_price(trim_client: httpx.Client) -> None:
    response = trim_client.post("/v1/plan", json=planned("hood", "roof"), headers=PDF)

    assert response.headers["content-type"] == "application/pdf"
    assert response.headers["content-disposition"] == 'attachment; filename="job-card-T-7.pdf"'
    text = card_text(response)
    assert "Hood liner" in text
    assert "24.00" not in text
    assert "USD" not in text


def test_the_job_card_calls_panels_and_takes_paper_as_asked(trim_client: httpx.Client) -> None:
    params = {"labels": "uk", "paper": "a4"}

    response = trim_client.post("/v1/plan", json=planned("hood"), headers=PDF, params=params)

    assert "Bonnet" in card_text(response)
    box = pypdf.PdfReader(BytesIO(response.content)).pages[0].mediabox
    assert (round(float(box.width)), round(float(box.height))) == (595, 842)  # ISO 216


def test_text_that_cannot_be_printed_is_a_mistake_with_its_place(
    trim_client: httpx.Client,
) -> None:
    claim = planned("hood", note="ice \U0001f9ca")

    document = problem(trim_client.post("/v1/plan", json=claim, headers=PDF), 422)

    assert places(document) == [("body", "/panels/0/note")]
    assert trim_client.post("/v1/plan", json=claim).status_code == 200


# --- refused like a claim to be priced -----------------------------------------------------------

BAD: dict[str, dict[str, Any]] = {
    "no JSON": {"content": "{", "headers": JSON},
    "another content type": {"content": "{}", "headers": {"Content-Type": "text/plain"}},
    "a form that it does not have": {
        "content": json.dumps(three_dimes()),
        "headers": JSON | {"Accept": "image/png"},
    },
    "an unknown parameter": {"json": three_dimes(), "params": {"colour": "red"}},
    "an unknown paper": {"json": three_dimes(), "params": {"paper": "a5"}},
    "an unknown matrix": {"json": three_dimes(), "params": {"matrix": "nettle"}},
    "an unknown aim": {"json": three_dimes() | {"aim": "beauty"}},
    "equipment twice": {
        "json": three_dimes() | {"vehicle": {"body": "sedan", "equipment": ["sunroof", "sunroof"]}},
    },
    "a panel that no method reaches": {
        "json": planned("hood", repainted=True, marked={"glue-only": {"dime": 3}}),
    },
}


@pytest.mark.parametrize("what", BAD)
def test_mistakes_are_told_as_they_are_for_a_price(trim_client: httpx.Client, what: str) -> None:
    refused = trim_client.post("/v1/plan", **BAD[what])
    of_price = trim_client.post("/v1/price", **BAD[what])

    document = problem(refused, of_price.status_code)
    assert document.pop("instance") == "/v1/plan"
    assert document == {k: v for k, v in of_price.json().items() if k != "instance"}
    assert document["errors"] != []


def test_a_panel_that_no_method_reaches_says_which_rule_forbids_each(
    trim_client: httpx.Client,
) -> None:
    document = problem(trim_client.post("/v1/plan", **BAD["a panel that no method reaches"]), 422)

    [error] = document["errors"]
    assert (error["in"], error["pointer"]) == ("body", "/panels/0/access")
    for method in ("push", "glue", "replace"):
        assert method in error["found"]


def test_plans_are_kept_by_no_cache_and_vary_with_the_accept_header(
    trim_client: httpx.Client,
) -> None:
    for headers in ({}, PDF):
        response = trim_client.post("/v1/plan", json=planned("hood"), headers=headers)

        assert response.headers["cache-control"] == "no-store"
        assert response.headers["vary"] == "Accept"


# --- as documented -----------------------------------------------------------------------------


def test_answers_have_the_form_that_the_documentation_gives(trim_client: httpx.Client) -> None:
    document = trim_client.get("/openapi.json").json()
    described = document["paths"]["/v1/plan"]["post"]["responses"]["200"]["content"]
    assert set(described) == {"application/json", "application/pdf"}
    form = Draft202012Validator(
        described["application/json"]["schema"] | {"components": document["components"]}
    )

    for claim in (planned("hood", "roof"), three_dimes(), three_dimes(access="glue")):
        answer = plan_of(trim_client, claim)
        form.validate(answer)
        assert not form.is_valid(answer | {"plan": "push"})
        assert not form.is_valid(answer | {"removal": [{"id": "hood-liner"}]})
        assert not form.is_valid(answer | {"surplus": 1})


def test_the_example_is_a_claim_that_is_planned(trim_client: httpx.Client) -> None:
    assert claim_from_data(EXAMPLE).claim is not None
    claim = EXAMPLE | {"panels": [panel | {"tally": {"dime": 3}} for panel in EXAMPLE["panels"]]}

    plan = plan_of(trim_client, claim)["plan"]

    assert [panel["panel"] for panel in plan["panels"]] == ["hood", "roof"]
