"""The invented storms: their books are as promised, and are what their script writes."""

from __future__ import annotations

import csv
import re
import subprocess
import sys
from collections import Counter
from datetime import date
from functools import cache
from itertools import groupby
from pathlib import Path
from typing import Any

import pytest

from hailcalc.claimfile import ClaimFile, claim_from_data
from hailcalc.estimate import CompiledMatrix, compile_matrix, price
from hailcalc.files import load_matrix
from hailcalc.matrix.library import matrix_problem_of_choice
from hailcalc.money import minor_units
from hailcalc.portfolio.rows import MARKS, OTHER_KINDS
from hailcalc.storm.folder import open_storm, priced_book
from tests.builders import MATRICES, ROOT

STORMS = ROOT / "demo" / "storms"
NEAR, FAR, AGREED = NAMES = ("saltmarsh-may", "drovermoor-june", "tansywick-july")
COINS = ("dime", "nickel", "quarter", "half-dollar")
DAYS = ("drafted", "issued", "answered", "closed")
STATES = ("draft", "issued", "answered", "agreed")

Row = dict[str, str]


@cache
def rows_of(name: str) -> tuple[tuple[Row, ...], ...]:
    """A storm's rows, those of each claim together."""
    with (STORMS / name / "book.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return tuple(tuple(rows) for _, rows in groupby(rows, key=lambda row: row["claim"]))


@cache
def compiled(name: str) -> CompiledMatrix:
    return compile_matrix(load_matrix(MATRICES / f"{name}.toml"))


def matrix_of(storm: str, row: Row) -> str:
    return row.get("matrix") or "copperfin-2026" if storm == AGREED else "copperfin-2026"


def claim_of(rows: tuple[Row, ...]) -> dict[str, Any]:
    """A claim file's data for a claim of a book."""
    head = rows[0]
    header = {"number": head["claim"], "date_of_loss": head["date_of_loss"]}
    header |= {key: head[key] for key in ("insurer", "deductible") if head[key]}
    vehicle = {"body": head["body"], "equipment": list(filter(None, head["equipment"].split(";")))}
    other = [
        {"kind": kind, "label": "From the book", "unit_price": head[f"other_{kind}"]}
        for kind in OTHER_KINDS
        if head.get(f"other_{kind}")
    ]
    return {
        "claim": header,
        "vehicle": vehicle,
        "panels": [panel_of(row) for row in rows],
        "other": other,
    }


def panel_of(row: Row) -> dict[str, Any]:
    tally = {coin: int(row[coin] or 0) for coin in COINS}
    panel: dict[str, Any] = {
        "panel": row["panel"],
        "metal": row["metal"] or "steel",
        "repainted": row["repainted"] == "yes",
        "access": row["access"],
        "tally": tally,
        "marked": {mark: spread(int(row[mark]), tally) for mark in MARKS if row.get(mark)},
        "oversize": [{"mm": float(mm)} for mm in row["oversize"].split("; ") if mm],
    }
    return panel | {key: row[key] for key in ("agreed", "replace_cost") if row[key]}


def spread(marked: int, tally: dict[str, int]) -> dict[str, int]:
    """So many marked dents, taken from the sizes in turn: a book does not know their sizes."""
    sizes = {}
    for coin, count in tally.items():
        sizes[coin] = min(marked, count)
        marked -= sizes[coin]
    return sizes


@pytest.mark.parametrize("name", NAMES)
def test_a_book_holds_150_to_400_vehicles_in_less_than_400_kilobytes(name: str) -> None:
    claims = [rows[0]["claim"] for rows in rows_of(name)]
    assert 150 <= len(claims) <= 400
    assert len(set(claims)) == len(claims)
    assert (STORMS / name / "book.csv").stat().st_size < 400_000


@pytest.mark.parametrize("name", NAMES)
def test_every_claim_passes_the_checks_of_a_claim_file(name: str) -> None:
    for rows in rows_of(name):
        reading = claim_from_data(claim_of(rows), rows[0]["claim"])
        assert not reading.problems, rows[0]["claim"]


@pytest.mark.parametrize("name", NAMES)
def test_a_book_is_priced_to_the_cent_as_its_claims_one_by_one(name: str) -> None:
    priced = priced_book(open_storm(STORMS / name))
    assert priced.vehicles_aside == 0
    found = priced.vehicles.select(["claim", "matrix", "subtotal", "total", "complete"]).to_pylist()
    for rows, vehicle in zip(rows_of(name), found, strict=True):
        claim = claim_from_data(claim_of(rows)).claim
        assert isinstance(claim, ClaimFile)
        matrix = matrix_of(name, rows[0])
        single = price(claim, compiled(matrix))
        assert (vehicle["claim"], vehicle["matrix"]) == (rows[0]["claim"], matrix)
        assert vehicle["complete"] == single.totals.complete
        assert minor_units(str(vehicle["subtotal"]), 2) == single.totals.subtotal
        assert minor_units(str(vehicle["total"]), 2) == single.totals.total


@pytest.mark.parametrize("name", NAMES)
def test_no_claim_is_priced_under_a_matrix_that_its_insurer_or_date_does_not_fit(
    name: str,
) -> None:
    for rows in rows_of(name):
        claim = claim_from_data(claim_of(rows)).claim
        assert claim is not None
        matrix = compiled(matrix_of(name, rows[0])).matrix
        assert not matrix_problem_of_choice(claim.claim, matrix)


@pytest.mark.parametrize("name", NAMES)
def test_the_days_of_a_claim_follow_each_other_and_fit_its_state(name: str) -> None:
    storm = open_storm(STORMS / name).storm.storm
    kept_until = max(date.fromisoformat(row[0][day]) for row in rows_of(name) for day in DAYS
                     if row[0][day])  # fmt: skip
    assert kept_until <= written_days()[name]
    for rows in rows_of(name):
        head = rows[0]
        days = [date.fromisoformat(head[day]) for day in DAYS if head[day]]
        assert days == sorted(days)
        assert head["date_of_loss"] == storm.date.isoformat()
        assert storm.first_day <= days[0] <= storm.last_day
        known = [day for day in DAYS if head[day]]
        if head["state"] != "withdrawn":
            assert known == list(DAYS[: STATES.index(head["state"]) + 1])


def written_days() -> dict[str, date]:
    """The days up to which the README says that the books were kept."""
    text = (STORMS / "README.txt").read_text(encoding="utf-8")
    return {
        name: date.fromisoformat(day)
        for name, day in re.findall(r"^ +([a-z-]+) +(\d{4}-\d\d-\d\d)$", text, re.MULTILINE)
    }


@pytest.mark.parametrize("name", NAMES)
def test_a_book_has_withdrawn_claims_and_open_ones_and_supplements_won_and_lost(name: str) -> None:
    heads = [rows[0] for rows in rows_of(name)]
    states = Counter(head["state"] for head in heads)
    assert states["withdrawn"] >= 5
    assert states["agreed"] > len(heads) / 2
    assert sum(states[state] for state in ("draft", "issued", "answered")) >= 1
    paid = [
        (float(head["supplement_asked"]), float(head["supplement_paid"]))
        for head in heads
        if head["supplement_asked"] and head["supplement_paid"]
    ]
    assert any(got == asked for asked, got in paid)
    assert any(got == 0 for _, got in paid)
    assert all(0 <= got <= asked for asked, got in paid)


def test_beyond_the_matrix_panels_are_replaced_or_agreed_and_a_handful_have_no_price() -> None:
    panels = [row for name in NAMES for rows in rows_of(name) for row in rows]
    replaced = [row for row in panels if row["access"] == "replace"]
    assert len(replaced) >= 3
    assert all(row["replace_cost"] for row in replaced)
    assert sum(bool(row["agreed"]) for row in panels) >= 5
    complete = [
        each
        for name in NAMES
        for each in priced_book(open_storm(STORMS / name)).vehicles.column("complete").to_pylist()
    ]
    assert 1 <= complete.count(False) <= 15


def test_the_three_storms_differ_in_what_came_down() -> None:
    def mean(name: str) -> float:
        """Dents of a vehicle."""
        rows = [row for rows in rows_of(name) for row in rows]
        return sum(int(row[coin] or 0) for row in rows for coin in COINS) / len(rows_of(name))

    def share(name: str, column: str, cell: str) -> float:
        """Of the panels."""
        rows = [row for rows in rows_of(name) for row in rows]
        return sum(row[column] == cell for row in rows) / len(rows)

    assert len(rows_of(NEAR)) > len(rows_of(AGREED)) > len(rows_of(FAR))
    assert mean(NEAR) < mean(AGREED) < mean(FAR)
    assert share(FAR, "metal", "aluminium") > 3 * share(NEAR, "metal", "aluminium")
    assert share(FAR, "body", "pickup") > 0.4
    assert share(AGREED, "matrix", "larkspur-agreed-2026") > 0.6


@pytest.mark.parametrize("name", NAMES)
def test_dents_vary_more_than_poissons(name: str) -> None:
    hoods = [
        sum(int(row[coin] or 0) for coin in COINS)
        for rows in rows_of(name)
        for row in rows
        if row["panel"] == "hood"
    ]
    mean = sum(hoods) / len(hoods)
    assert sum((count - mean) ** 2 for count in hoods) / len(hoods) > 2 * mean


def test_the_script_writes_these_books_again_byte_for_byte(tmp_path: Path) -> None:
    subprocess.run([sys.executable, STORMS / "make_books.py", tmp_path], check=True)
    for name in NAMES:
        written = (tmp_path / name / "book.csv").read_bytes()
        assert written == (STORMS / name / "book.csv").read_bytes()


def test_the_readme_calls_all_of_it_invented_and_names_every_folder() -> None:
    text = (STORMS / "README.txt").read_text(encoding="utf-8")
    assert "Everything in these folders is invented" in text
    assert all(name in text for name in NAMES)
    assert all(folder.name in text for folder in STORMS.iterdir() if folder.is_dir())
