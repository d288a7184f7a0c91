"""CSV for spreadsheets: a table, and nothing that runs."""

from __future__ import annotations

import csv
from io import StringIO

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hailcalc.spreadsheet import cell_text, csv_text


@pytest.mark.parametrize(
    "text",
    [
        "=1+1",
        "+49 30",
        "-x",
        "@SUM(A1)",
        "\t=1",
        "\r=1",
        " =1",
        "＝1",
        "=cmd|' /C calc'!A0",
        "%0A=1",
    ],
)
def test_what_a_spreadsheet_would_run_begins_with_an_apostrophe(text: str) -> None:
    assert cell_text(text) == f"'{text}"


@pytest.mark.parametrize("text", ["-12.50", "12", "0.00", "A-1041", "Inés Ñuñoval", "a=b", ""])
def test_numbers_and_plain_words_stay_as_they_are(text: str) -> None:
    assert cell_text(text) == text


def test_nothing_is_an_empty_cell_and_a_yes_is_a_word() -> None:
    assert [cell_text(cell) for cell in (None, True, False, 7)] == ["", "yes", "no", "7"]


@given(st.lists(st.text(st.characters(exclude_categories=["Cs"])), min_size=1, max_size=5))
def test_a_row_reads_back_as_it_was_but_for_apostrophes(cells: list[str]) -> None:
    text = csv_text(["x"] * len(cells), [cells])
    _, row = csv.reader(StringIO(text, newline=""))
    assert [cell.removeprefix("'") if cell != own else cell
            for cell, own in zip(row, cells, strict=True)] == cells  # fmt: skip


@given(st.text(st.characters(exclude_categories=["Cs"]), min_size=1))
def test_no_cell_but_a_number_begins_a_formula(text: str) -> None:
    shown = cell_text(text)
    number = shown.lstrip("-").replace(".", "", 1).isdigit()
    assert number or not shown.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))
