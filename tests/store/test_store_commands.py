"""Looking after a store from the command line, by real processes."""

from __future__ import annotations

import csv
import subprocess
import sys
from decimal import Decimal
from pathlib import Path

import pytest

from api.store import claims as stored
from api.store.opening import open_store


def hailcalc(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "hailcalc", *words],
        cwd=folder, capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL,
    )  # fmt: skip


@pytest.fixture(scope="module")
def storm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the invented storm's claims in a store."""
    folder = tmp_path_factory.mktemp("storm")
    done = hailcalc(folder, "demo", "--data", "hailcalc-data")
    assert done.returncode == 0, done.stderr
    return folder


def test_the_demo_storm_lives_in_a_store_in_every_state(storm: Path) -> None:
    store = open_store(storm / "hailcalc-data", create=False)
    with store.reading() as connection:
        heads = stored.listed(connection, stored.Wanted(), None, 100)
        argued = [head for head in heads if head.revision == 3]
        assert len(argued) == 1
        stands = stored.standing_of(connection, argued[0].id, 3)
    store.close()
    assert len(heads) == 16
    assert {head.state for head in heads} == {"draft", "issued", "agreed", "withdrawn"}
    assert stands is not None
    assert stands.disputed > 0
    assert stands.agreed + stands.open + stands.disputed == stands.total


def test_the_demo_goes_into_an_empty_store_only(storm: Path) -> None:
    again = hailcalc(storm, "demo", "--data", "hailcalc-data")
    assert again.returncode == 2
    assert "expected an empty one" in again.stderr


def test_an_audit_of_a_whole_store_names_the_last_hash(storm: Path) -> None:
    done = hailcalc(storm, "audit")
    assert done.returncode == 0, done.stdout
    last = done.stdout.split("the log ends at ")[1].split()[0]
    assert hailcalc(storm, "audit", "--head", last).returncode == 0
    other = hailcalc(storm, "audit", "--head", "ab" * 32)
    assert other.returncode == 1
    assert "one with the hash" in other.stdout


def test_out_in_and_forgotten(storm: Path, tmp_path: Path) -> None:
    assert hailcalc(storm, "export", "--all", "--out", "all.zip").returncode == 0
    came = hailcalc(storm, "import", "all.zip", "--data", str(tmp_path / "elsewhere"))
    assert came.returncode == 0, came.stderr
    store = open_store(tmp_path / "elsewhere", create=False)
    with store.reading() as connection:
        claim = stored.all_ids(connection)[1]
    store.close()
    where = ("--data", str(tmp_path / "elsewhere"))
    gone = hailcalc(storm, "forget", claim, "--yes", *where)
    assert gone.returncode == 0, gone.stderr
    assert "archives and backups" in gone.stdout
    assert hailcalc(storm, "audit", *where).returncode == 0


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("export",), "neither a claim nor --all"),
        (("export", "abc", "--all"), "both a claim and --all"),
        (("export", "abc"), 'no claim "abc"'),
        (("forget", "abc"), "nobody to ask"),
        (("forget", "abc", "--yes"), 'no claim "abc"'),
        (("import", "missing.zip"), "no such file"),
        (("audit", "--data", "nowhere"), "no store"),
    ],
)
def test_what_cannot_be_done_is_said_plainly(
    storm: Path, words: tuple[str, ...], told: str
) -> None:
    done = hailcalc(storm, *words)
    assert done.returncode == 2
    assert told in done.stderr
    assert "Traceback" not in done.stderr


def test_the_stores_claims_are_priced_as_a_book_to_what_their_sheets_say(storm: Path) -> None:
    words = ["portfolio", "--store", "--data", "hailcalc-data", "--out", "storm.csv"]
    done = hailcalc(storm, *words, "--book", "book.csv")
    assert done.returncode in (0, 3), done.stderr
    assert "the store's claims as a book in book.csv" in done.stderr
    assert (storm / "book.csv").read_text().startswith("claim,body,")
    with (storm / "storm.csv").open(newline="") as file:
        rows = {row["claim"]: row for row in csv.DictReader(file)}
    store = open_store(storm / "hailcalc-data", create=False)
    with store.reading() as connection:
        heads = stored.listed(connection, stored.Wanted(), None, 100)
    store.close()
    assert rows.keys() == {head.number for head in heads}
    for head in heads:
        row = rows[head.number]
        assert row["state"] == head.state
        assert row["drafted"] == head.created[:10]
        if head.total is not None:
            assert Decimal(row["total"]) == Decimal(head.total).scaleb(-(head.decimals or 0))
            assert Decimal(row["net"]) == Decimal(head.net or 0).scaleb(-(head.decimals or 0))
    argued = next(head for head in heads if head.revision == 3)
    assert Decimal(rows[argued.number]["supplement_asked"]) > 0


def test_a_store_takes_one_matrix_for_all_or_each_claims_own(storm: Path) -> None:
    words = ["portfolio", "--store", "--data", "hailcalc-data", "--matrix", "copperfin-2026"]
    done = hailcalc(storm, *words, "--matrix", "larkspur-agreed-2026")
    assert done.returncode == 2
    assert "expected one, or none for each claim's own" in done.stderr
