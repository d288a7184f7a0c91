"""The matrices that the server prices with, listed and shown; whether it is ready."""

from __future__ import annotations

import tomllib
from pathlib import Path

import httpx
import pytest

from api.library import Library
from api.store.session import Store
from hailcalc import __version__
from hailcalc.matrix import matrix_from_data
from tests.api.conftest import MATRICES, OWN, app_on, places, problem, serving, write_matrices


def test_matrices_are_listed_by_name_with_owner_and_dates(client: httpx.Client) -> None:
    listed = client.get("/v1/matrices").json()["matrices"]

    assert [each["name"] for each in listed] == sorted(MATRICES)
    assert listed[-1] == {
        "name": "thistle-own",
        "title": "Thistle, own matrix",
        "revision": 2,
        "insurer": None,
        "currency": "USD",
        "effective": "2026-01-01",
        "until": "2099-12-31",
        "problems": [],
    }
    assert listed[0]["insurer"] == "Marram Mutual"


def test_a_matrix_is_shown_as_its_file_says_and_reads_back(client: httpx.Client) -> None:
    shown = client.get("/v1/matrices/thistle-own").json()

    expected = tomllib.loads(OWN)
    for day in ("effective", "until"):
        expected["matrix"][day] = expected["matrix"][day].isoformat()
    assert shown == expected
    assert matrix_from_data(shown).problems == ()


@pytest.mark.parametrize(
    "name", ["thistle", "THISTLE-OWN", "thistle-own.toml", "..", "%2e%2e", "thistle-own%00", "%20"]
)
def test_a_matrix_that_is_not_there_is_a_404_that_lists_those_that_are(
    client: httpx.Client, name: str
) -> None:
    response = client.get(f"/v1/matrices/./{name}" if name == ".." else f"/v1/matrices/{name}")

    document = problem(response, 404)
    if document["type"] != "about:blank":  # the client itself may have resolved the dots
        assert places(document) == [("path", "/name")]
        assert document["errors"][0]["expected"] == "one of " + ", ".join(sorted(MATRICES))


@pytest.mark.parametrize(
    "path",
    ["..%2Fsecret", "%2e%2e%2fsecret", "..%5Csecret", "%2Fetc%2Fpasswd", "x%2F..%2Fthistle-own"],
)
def test_no_name_leads_out_of_the_folder(tmp_path: Path, path: str, empty_store: Store) -> None:
    inside = tmp_path / "matrices"
    inside.mkdir()
    write_matrices(tmp_path, {"secret": OWN})
    write_matrices(inside, {"thistle-own": OWN})
    with serving(app_on(inside, empty_store)) as client:
        problem(client.get(f"/v1/matrices/{path}"), 404)


def test_a_broken_matrix_is_listed_with_its_mistakes(tmp_path: Path, empty_store: Store) -> None:
    folder = write_matrices(
        tmp_path, {"thistle-own": OWN, "torn": OWN.replace("[16, 32]", "[16, 8]")}
    )
    with serving(app_on(folder, empty_store)) as client:
        listed = client.get("/v1/matrices").json()["matrices"]
        shown = client.get("/v1/matrices/torn")
        health = client.get("/v1/health").json()

    assert listed[0]["problems"] == []
    torn = listed[1]
    assert torn["name"] == "torn"
    assert torn["currency"] is None
    pointers = [each["pointer"] for each in torn["problems"]]
    assert "/matrix/name" in pointers  # the file's own name is another
    assert "/grid/0/rows/1/1" in pointers
    assert {each["file"] for each in problem(shown, 409)["errors"]} == {"torn.toml"}
    assert (health["matrices"], health["broken"]) == (1, 1)


def test_the_server_is_ready_with_its_version(client: httpx.Client) -> None:
    assert client.get("/v1/health").json() == {
        "ready": True,
        "version": __version__,
        "matrices": len(MATRICES),
        "broken": 0,
    }


def test_without_a_sound_matrix_the_server_is_not_ready(tmp_path: Path, empty_store: Store) -> None:
    with serving(app_on(tmp_path, empty_store)) as client:
        document = problem(client.get("/v1/health"), 503)
        listed = client.get("/v1/matrices").json()

    assert document["type"] == "/problems/no-matrices"
    assert listed == {"matrices": []}


def test_only_files_that_changed_are_read_again(tmp_path: Path) -> None:
    folder = write_matrices(tmp_path, MATRICES)
    first = Library(folder).fresh()
    assert first.fresh() is first

    write_matrices(folder, {"thistle-own": OWN.replace("revision = 2", "revision = 30")})
    second = first.fresh()

    changed = [name for name in MATRICES if second.entries[name] is not first.entries[name]]
    assert changed == ["thistle-own"]
