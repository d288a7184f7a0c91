"""The store as a storm's book: what it charged, what of that was agreed, and what was not paid."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from api.issuing import estimated, freeze, waiting
from api.library import Library
from api.store import claims as stored
from api.store.answers import add_agreement, add_answers
from api.store.books import stored_book
from api.store.claims import Head, Issue
from api.store.opening import open_store
from api.store.session import Store
from hailcalc.claim.answers import LineAnswer
from hailcalc.claim.life import SIDES
from hailcalc.claimfile import claim_from_data, require_claim
from hailcalc.files import load_matrix
from hailcalc.money import minor_units, money_text
from hailcalc.portfolio.claims import Row, book_table
from hailcalc.portfolio.files import write_table
from hailcalc.problems import InputError
from hailcalc.sheet.document import sheet_json, sheet_text
from hailcalc.storm.economics import StormFigures
from hailcalc.storm.folder import figures_of, open_storm, priced_book
from tests.builders import ROOT

MATRICES = ROOT / "matrices"
MATRIX = load_matrix(MATRICES / "quendel-vereinbart-2026.toml")
"""It has tax on every line."""
OTHER = load_matrix(MATRICES / "copperfin-2026.toml")
LIBRARY = Library(MATRICES).fresh()
HOOD = {"panel": "hood", "tally": {"10c": 6}, "access": "push"}
ROOF = {"panel": "roof", "tally": {"20c": 9}, "access": "push"}
LAMP = {"kind": "part", "label": "Lamp", "unit_price": "80.00"}


@pytest.fixture
def kept(tmp_path: Path) -> Iterator[Store]:
    store = open_store(tmp_path / "data")
    yield store
    store.close()


def claim_of(number: str, *panels: Any, **more: Any) -> Any:
    data = {
        "claim": {"number": number, "date_of_loss": "2026-05-19"},
        "vehicle": {"body": "sedan"},
        "matrix": MATRIX.matrix.name,
        "panels": list(panels),
    }
    return require_claim(claim_from_data(data | more))


def opened(store: Store, number: str, *panels: Any, storm: str = "emberfold", **more: Any) -> Head:
    with store.writing("these-tests.") as writing:
        return stored.open_claim(writing, claim_of(number, *panels, **more), storm)


def issued(store: Store, head: Head) -> Head:
    reason = "more was found" if head.revision else ""
    with store.reading() as connection:
        waits = waiting(connection, head)
    estimate = estimated(LIBRARY, waits, reason)
    document = sheet_json(estimate)
    issue = Issue(
        estimate, sheet_text(document).encode(), b"%PDF-", None, document["digest"], None,
        "letter", "us", reason,
    )  # fmt: skip
    with store.writing("these-tests.") as writing:
        return freeze(writing, waits, issue)


def saved(store: Store, head: Head, *panels: Any, **more: Any) -> Head:
    with store.writing("these-tests.") as writing:
        claim = claim_of(head.number, *panels, **more)
        return stored.save_draft(writing, head, claim, head.storm)


def answer_to(number: int, line: Any, offers: dict[str, str]) -> LineAnswer:
    offer = offers.get(line["panel"] or "") if line["kind"] == "repair" else None
    if "every line" in offers:
        return LineAnswer(line=number, answer="decline", reason="not agreed")
    if offer is None:
        return LineAnswer(line=number, answer="accept")
    return LineAnswer(line=number, answer="amount", amount=offer, reason="less")


def agreed(store: Store, head: Head, offers: dict[str, str]) -> int:
    """Both agree, to `offers` for the repair of these panels. Returns what that is before tax."""
    with store.writing("these-tests.") as writing:
        stands = stored.standing_of(writing.connection, head.id, head.revision)
        assert stands is not None
        answers = [
            answer_to(each.number, each.line, offers)
            for each in stands.lines
            if each.line["kind"] != "tax"
        ]
        add_answers(writing, head.id, head.revision, answers)
        stored.refresh(writing, head.id)
        settled = stored.settlement_of(writing.connection, head.id, head.revision)
        assert settled is not None
        for side in SIDES:
            add_agreement(writing, head.id, head.revision, side, settled["settlement"])
        assert stored.refresh(writing, head.id).state == "agreed"
        lines = zip(stands.lines, settled["lines"], strict=True)
        return sum(
            minor_units(line["amount"], 2) for each, line in lines if each.line["kind"] != "tax"
        )


def rows_of(store: Store, **more: Any) -> list[Row]:
    with store.reading() as connection:
        return [
            row for claim in stored_book(connection, [MATRIX, OTHER], **more) for row in claim.rows
        ]


def facts_of(store: Store) -> dict[str, str]:
    names = ("supplement_asked", "supplement_paid", "discount")
    [facts] = {tuple((name, row[name]) for name in names if name in row) for row in rows_of(store)}
    return dict(facts)


STORM = """
[storm]
name = "{name}"
title = "Emberfold"
date = 2026-05-19
first_day = 2026-05-22
last_day = 2026-06-13
currency = "EUR"
{more}
[crew]
technicians = 1
[pay]
by = "share"
share = "50"
"""


def storm_of(folder: Path, rows: list[Row], name: str = "book.csv") -> StormFigures:
    """A storm's figures from a folder with these rows as its book."""
    (folder / "emberfold").mkdir(exist_ok=True)
    write_table(book_table(rows), folder / "emberfold" / name)
    text = STORM.format(name="emberfold", more=f'book = "{name}"')
    (folder / "emberfold" / "storm.toml").write_text(text)
    storm = open_storm(folder / "emberfold")
    return figures_of(storm, priced_book(storm, matrices=MATRICES))


def before_tax(store: Store, head: Head) -> list[int]:
    with store.reading() as connection:
        return [each.subtotal for each in stored.revisions_of(connection, head.id)]


@pytest.mark.parametrize(
    ("offers", "lost_of_supplement", "discount"),
    [
        ({}, "nothing", False),
        ({"roof": "20.00"}, "some", False),
        ({"every line": "0"}, "all", True),
    ],
)
def test_what_was_not_agreed_of_a_supplement_is_lost_before_tax_and_the_rest_is_a_discount(
    offers: dict[str, str], lost_of_supplement: str, discount: bool, kept: Store, tmp_path: Path
) -> None:
    head = issued(kept, opened(kept, "E-1", HOOD, other=[LAMP]))
    head = issued(kept, saved(kept, head, HOOD, ROOF, other=[LAMP]))
    sum_agreed = agreed(kept, head, offers)
    first, last = before_tax(kept, head)
    facts = facts_of(kept)

    assert facts["supplement_asked"] == money_text(last - first, 2)
    lost = Decimal(facts["supplement_asked"]) - Decimal(facts["supplement_paid"])
    most = Decimal(facts["supplement_asked"])
    ways = {"nothing": lost == 0, "some": 0 < lost < most, "all": lost == most}
    assert ways[lost_of_supplement]
    assert ("discount" in facts) == discount
    found = storm_of(tmp_path, rows_of(kept))
    assert found.revenue_total == sum_agreed
    assert found.counts.agreed == 1
    assert found.supplements.unpaid == lost * 100


def test_an_agreement_below_the_first_sheet_is_a_discount(kept: Store, tmp_path: Path) -> None:
    head = issued(kept, opened(kept, "E-1", HOOD, other=[LAMP]))
    sum_agreed = agreed(kept, head, {"hood": "15.00"})
    [charged] = before_tax(kept, head)
    assert facts_of(kept) == {"discount": money_text(charged - sum_agreed, 2)}
    assert storm_of(tmp_path, rows_of(kept)).revenue_total == sum_agreed


def test_a_draft_that_waits_beside_an_agreed_sheet_is_not_charged_yet(
    kept: Store, tmp_path: Path
) -> None:
    head = issued(kept, opened(kept, "E-1", HOOD))
    sum_agreed = agreed(kept, head, {})
    saved(kept, head, HOOD, ROOF)
    opened(kept, "E-2", HOOD)
    found = storm_of(tmp_path, rows_of(kept), "book.parquet")
    assert (found.counts.agreed, found.counts.open) == (1, 1)
    assert found.revenue_total == 2 * sum_agreed


def test_a_storm_of_the_store_is_a_book_by_itself(kept: Store) -> None:
    opened(kept, "E-1", HOOD)
    opened(kept, "Q-1", HOOD, storm="quendel")
    rows = rows_of(kept, storm="quendel")
    assert [(row["claim"], row["storm"]) for row in rows] == [("Q-1", "quendel")]
    assert rows[0]["drafted"] == datetime.now(UTC).date().isoformat()
    with pytest.raises(InputError, match='no claim of "nowhere", expected one of emberfold, quend'):
        rows_of(kept, storm="nowhere")


def test_a_matrix_that_was_changed_since_a_sheet_was_issued_is_told(kept: Store) -> None:
    head = issued(kept, opened(kept, "E-1", HOOD))
    dearer = MATRIX.model_copy(
        update={"rates": MATRIX.rates.model_copy(update={"repair": "990.00"})}
    )
    [charged] = before_tax(kept, head)
    with kept.reading() as connection:
        assert [each.remark for each in stored_book(connection, [MATRIX, OTHER])] == [""]
        [changed] = stored_book(connection, [dearer, OTHER])
        [under_one] = stored_book(connection, [dearer])
    assert f"and {money_text(charged, 2)} on the sheet that was issued" in changed.remark
    assert under_one.remark == ""
