"""Books as files: what is read, what is written, and that a kill loses nothing."""

from __future__ import annotations

import csv
import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from hailcalc.files import load_matrix
from hailcalc.portfolio.book import prepare, price_book, price_table
from hailcalc.portfolio.files import Done, Outputs, batches_of, price_file, read_book, source
from hailcalc.problems import InputError, Problem
from tests.books import random_rows, table_of

ROOT = Path(__file__).parents[2]
MATRIX = ROOT / "matrices" / "copperfin-2026.toml"
OTHER_MATRIX = ROOT / "matrices" / "larkspur-agreed-2026.toml"
COINS = ("dime", "nickel", "quarter", "half-dollar")
PRICING = prepare(load_matrix(MATRIX))

CSV = "claim,body,panel,dime,agreed\r\n1,sedan,hood,3,\r\n1,sedan,roof,,84.50\r\n2,suv,hood,2,\r\n"


def outputs(folder: Path, name: str = "out.parquet") -> Outputs:
    return Outputs(folder / name, folder / "panels.parquet", folder / "out.aside.csv")


def run(folder: Path, book: Path, rows: int = 100, **more: Any) -> Done:
    return price_file(source(book), PRICING, outputs(folder), rows=rows, **more)


def totals(path: Path) -> list[Any]:
    found: list[Any] = pq.read_table(path).column("total").to_pylist()
    return found


@pytest.fixture
def parquet(tmp_path: Path) -> Path:
    path = tmp_path / "book.parquet"
    pq.write_table(table_of(random_rows(300, 5, 4, seed=3), COINS), path, row_group_size=170)
    return path


@pytest.mark.parametrize(
    "text",
    [
        CSV.encode(),
        b"\xef\xbb\xbf" + CSV.encode(),
        CSV.replace(",", ";").encode(),
        CSV.replace(",", "\t").encode(),
        CSV.replace("\r\n", "\n").encode(),
        CSV.replace("hood", '"hood"').encode(),
    ],
)
def test_a_csv_is_read_with_commas_semicolons_or_tabs_with_or_without_a_bom(
    text: bytes, tmp_path: Path
) -> None:
    (tmp_path / "book.csv").write_bytes(text)
    table = read_book(tmp_path / "book.csv")
    assert table.column("panel").to_pylist() == ["hood", "roof", "hood"]
    assert price_book(table, load_matrix(MATRIX)).vehicles.num_rows == 2


def test_a_latin_1_csv_is_refused_until_its_encoding_is_said(tmp_path: Path) -> None:
    path = tmp_path / "book.csv"
    text = CSV.replace("1,sedan,hood", "Böe,sedan,hood").replace("1,sedan,roof", "Böe,sedan,roof")
    path.write_bytes(text.encode("latin-1"))
    with pytest.raises(InputError, match="say --encoding latin-1"):
        read_book(path)
    assert read_book(path, "latin-1").column("claim").to_pylist() == ["Böe", "Böe", "2"]


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("a.csv", b"", "an empty file"),
        ("a.csv", CSV.encode() + b"3,suv\r\n", "2 cells"),
        ("a.parquet", b"PAR1 and then nothing", "a broken file"),
        ("a.parquet", CSV.encode(), "no Parquet"),
        ("none.csv", None, "no such file"),
    ],
)
def test_a_file_that_is_no_whole_book_is_refused(
    name: str, content: bytes | None, said: str, tmp_path: Path
) -> None:
    if content is not None:
        (tmp_path / name).write_bytes(content)
    with pytest.raises(InputError, match=said):
        read_book(tmp_path / name)


def test_a_truncated_parquet_file_is_refused(parquet: Path) -> None:
    whole = parquet.read_bytes()
    parquet.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(InputError, match="a broken file"):
        read_book(parquet)


def test_claims_that_are_no_text_are_refused_with_their_column(tmp_path: Path) -> None:
    for cell in (["a", "list"], b"\xff"):
        table = pa.table({"claim": [cell] * 3, "body": ["suv"] * 3, "panel": ["hood"] * 3})
        pq.write_table(table, tmp_path / "book.parquet")
        with pytest.raises(InputError, match="claim: found a column of"):
            run(tmp_path, tmp_path / "book.parquet")


def test_a_claims_rows_stay_together_whatever_the_batch(parquet: Path) -> None:
    for rows in (1, 7, 64, 10_000):
        parts = list(batches_of(source(parquet), rows))
        claims = [set(table.column("claim").to_pylist()) for _, table in parts]
        assert sum(map(len, claims)) == len(set().union(*claims)) == 300
        numbers = [first for first, _ in parts]
        assert numbers == [
            1 + sum(table.num_rows for _, table in parts[:at]) for at in range(len(parts))
        ]


def test_a_file_priced_in_parts_is_the_book_priced_at_once(parquet: Path, tmp_path: Path) -> None:
    done = run(tmp_path, parquet)
    at_once = price_book(pq.read_table(parquet), load_matrix(MATRIX))
    assert pq.read_table(tmp_path / "out.parquet").equals(at_once.vehicles)
    assert pq.read_table(tmp_path / "panels.parquet").equals(at_once.panels)
    assert (done.rows, done.vehicles, done.vehicles_aside) == (1500, 300, 0)
    assert not (tmp_path / "out.parquet.parts").exists()


def test_a_run_that_was_cut_off_goes_on_where_it_was(parquet: Path, tmp_path: Path) -> None:
    class CutError(Exception):
        pass

    def cut(rows: int, _: int | None) -> None:
        if rows > 700:
            raise CutError

    with pytest.raises(CutError):
        run(tmp_path, parquet, told=cut)
    assert not (tmp_path / "out.parquet").exists()
    done = run(tmp_path, parquet)
    assert done.resumed_at > 700
    at_once = price_book(pq.read_table(parquet), load_matrix(MATRIX))
    assert pq.read_table(tmp_path / "out.parquet").equals(at_once.vehicles)


def test_another_book_or_matrix_begins_anew(parquet: Path, tmp_path: Path) -> None:
    with pytest.raises(KeyboardInterrupt):
        run(tmp_path, parquet, told=interrupting)
    pq.write_table(table_of(random_rows(200, 5, 4, seed=4), COINS), parquet)
    done = run(tmp_path, parquet)
    assert (done.resumed_at, done.vehicles) == (0, 200)


def interrupting(rows: int, of: int | None) -> None:
    raise KeyboardInterrupt


@pytest.fixture
def torn(tmp_path: Path) -> Path:
    """A book in parts of which one claim comes again, with a mistake, and one that had a mistake.

    A third stands in two places of one part, and again in a later one.
    """
    rows = table_of(random_rows(60, 5, 4, seed=5), COINS)
    dimes = rows.column("dime").cast(pa.string()).to_pylist()
    dimes[5] = "many"
    rows = rows.set_column(rows.column_names.index("dime"), "dime", pa.array(dimes))
    wrong = rows.slice(0, 5).set_column(
        rows.column_names.index("metal"), "metal", pa.array(["tin"] * 5)
    )
    apart = [rows, wrong, rows.slice(10, 2), rows.slice(5, 1), rows.slice(6, 4)]
    torn = pa.concat_tables([rows.slice(12, 3), *apart])
    pq.write_table(torn, tmp_path / "torn.parquet")
    return tmp_path / "torn.parquet"


def aside_of(path: Path) -> list[tuple[str, ...]]:
    with path.open(newline="") as file:
        return [tuple(row) for row in csv.reader(file)][1:]


@pytest.mark.parametrize("matrices", [[MATRIX], [MATRIX, OTHER_MATRIX]])
def test_a_claim_that_comes_again_in_a_later_part_is_set_aside_whole_as_if_priced_at_once(
    matrices: list[Path], torn: Path, tmp_path: Path
) -> None:
    several = [load_matrix(path) for path in matrices]
    done = price_file(source(torn), prepare(several), outputs(tmp_path), rows=100)
    at_once = price_book(pq.read_table(torn), several)
    assert "B-0000000" not in at_once.vehicles.column("claim").to_pylist()
    assert pq.read_table(tmp_path / "out.parquet").equals(at_once.vehicles)
    assert pq.read_table(tmp_path / "panels.parquet").equals(at_once.panels)
    told = [(int(row), *rest) for row, *rest in aside_of(tmp_path / "out.aside.csv")]
    assert [row for row, *_ in told] == [each.row for each in at_once.aside]
    assert sorted(told) == sorted(at_once.aside)
    assert (done.vehicles, done.vehicles_aside) == (57 * len(several), 3)
    totals_written = sum(totals(tmp_path / "out.parquet"))
    assert sum(each.sums["total"] for each in done.by_matrix) == totals_written * 100


def test_a_claim_that_comes_again_after_a_kill_is_set_aside_whole(
    torn: Path, tmp_path: Path
) -> None:
    for _ in range(2):
        with pytest.raises(KeyboardInterrupt):
            run(tmp_path, torn, told=interrupting)
    done = run(tmp_path, torn)
    assert done.resumed_at > 100
    at_once = price_book(pq.read_table(torn), load_matrix(MATRIX))
    assert pq.read_table(tmp_path / "out.parquet").equals(at_once.vehicles)
    assert done.vehicles_aside == 3


def test_vehicles_set_aside_are_counted_once_however_their_rows_are_scattered(
    tmp_path: Path,
) -> None:
    rows = table_of(random_rows(20, 5, 4, seed=9), COINS)
    scattered = rows.take(pa.array([5 * claim + row for row in range(5) for claim in range(20)]))
    pq.write_table(scattered, tmp_path / "book.parquet")
    assert price_book(scattered, load_matrix(MATRIX)).vehicles_aside == 20
    done = run(tmp_path, tmp_path / "book.parquet", rows=40)
    assert (done.vehicles, done.vehicles_aside) == (0, 20)


def test_what_is_set_aside_stands_in_a_file_that_a_spreadsheet_does_not_run(tmp_path: Path) -> None:
    text = CSV + "=1+1,sedan,hood,x,\r\n=1+1,sedan,roof,y,\r\n"
    (tmp_path / "book.csv").write_text(text)
    done = run(tmp_path, tmp_path / "book.csv")
    assert (done.vehicles, done.vehicles_aside) == (2, 1)
    with (tmp_path / "out.aside.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert [(row["row"], row["claim"], row["column"]) for row in rows] == [
        ("4", "'=1+1", "dime"),
        ("5", "'=1+1", "dime"),
    ]


def test_results_may_be_csv(parquet: Path, tmp_path: Path) -> None:
    out = Outputs(tmp_path / "out.csv", None, tmp_path / "aside.csv")
    price_file(source(parquet), PRICING, out, rows=100)
    with (tmp_path / "out.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    at_once = price_book(pq.read_table(parquet), load_matrix(MATRIX)).vehicles
    assert [row["total"] for row in rows] == [
        str(each) for each in at_once.column("total").to_pylist()
    ]


def test_one_file_for_two_things_is_refused(parquet: Path, tmp_path: Path) -> None:
    for out in (
        Outputs(parquet, None, tmp_path / "aside.csv"),
        Outputs(tmp_path / "x.csv", tmp_path / "x.csv", tmp_path / "aside.csv"),
        Outputs(tmp_path / "x.xlsx", None, tmp_path / "aside.csv"),
    ):
        with pytest.raises(InputError):
            price_file(source(parquet), PRICING, out)


def test_what_cannot_be_gone_on_with_leaves_no_parts_behind(tmp_path: Path) -> None:
    rows = [f"{claim},sedan,hood,3," for claim in range(8_000)]
    endings = {
        "no heading of a book": [],
        "a row too short": ["9,sedan"],
        "Latin-1": ["B\xf6e,suv,hood,1,"],
    }
    for name, more in endings.items():
        head = "claim,body,panel,dime,agreed" if more else "claim,body,dime,agreed"
        text = "\n".join([head, *rows, *more]) if more else f"{head}\n1,sedan,3,\n"
        (tmp_path / "book.csv").write_text(text, "latin-1")
        with pytest.raises(InputError):
            run(tmp_path, tmp_path / "book.csv", rows=1)
        assert not (tmp_path / "out.parquet.parts").exists(), name


def test_parts_stay_where_the_same_command_may_go_on(parquet: Path, tmp_path: Path) -> None:
    def gone(tables: Any) -> Any:
        for first_row, table in tables:
            if first_row > 700:
                raise InputError([Problem("--scheduler", ("tcp://x",), "no answer", "another")])
            yield price_table(table, PRICING, first_row=first_row)

    with pytest.raises(InputError):
        run(tmp_path, parquet, price_parts=gone)
    assert run(tmp_path, parquet).resumed_at > 600


def test_a_folder_of_somebody_elses_is_not_taken_for_parts(parquet: Path, tmp_path: Path) -> None:
    (tmp_path / "out.parquet.parts").mkdir()
    (tmp_path / "out.parquet.parts" / "letter.txt").write_text("Keep me.")
    with pytest.raises(InputError, match="another name"):
        run(tmp_path, parquet)
    assert (tmp_path / "out.parquet.parts" / "letter.txt").read_text() == "Keep me."


def command(*arguments: str) -> list[str]:
    return [sys.executable, "-m", "hailcalc", "portfolio", *arguments, "--matrix", str(MATRIX)]


def test_the_command_prices_a_book_and_goes_on_after_a_kill(tmp_path: Path) -> None:
    """Killed without warning as soon as the first part is noted; then run again."""
    book = tmp_path / "book.parquet"
    pq.write_table(table_of(random_rows(8_000, 12, 4, seed=6), COINS), book)
    out = str(tmp_path / "out.parquet")
    arguments = command(str(book), "--out", out, "--threads", "1", "--batch", "4000")
    note = tmp_path / "out.parquet.parts" / "progress.json"
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    killed = subprocess.Popen(arguments, env=environment, stdout=subprocess.DEVNULL)
    while not note.exists():
        assert killed.poll() is None, "it ended before its first part was noted"
    killed.send_signal(signal.SIGKILL)
    killed.wait()
    assert not (tmp_path / "out.parquet").exists()

    again = subprocess.run(arguments, env=environment, capture_output=True, text=True, check=False)
    # Some panels of the random book have more dents than the matrix prices.
    assert again.returncode in (0, 3)
    assert "went on after row" in again.stderr
    at_once = price_book(pq.read_table(book), load_matrix(MATRIX), panels=False)
    assert pq.read_table(tmp_path / "out.parquet").equals(at_once.vehicles)


def test_the_command_tells_what_it_set_aside(tmp_path: Path) -> None:
    (tmp_path / "book.csv").write_text(CSV + "3,boat,hood,1,\r\n")
    done = subprocess.run(
        command("book.csv"),
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 3
    assert "copperfin-2026         2           0" in done.stdout
    assert "1 vehicle set aside, with rows and reasons in book-priced.aside.csv" in done.stderr
    assert "boat" in (tmp_path / "book-priced.aside.csv").read_text()


def test_mistakes_of_the_command_are_told_without_a_traceback(tmp_path: Path) -> None:
    for arguments in (
        [],
        ["none.csv", "--book", "book.csv"],
        ["none.csv"],
        ["--store", "--data", "nowhere"],
    ):
        done = subprocess.run(
            command(*arguments),
            cwd=tmp_path,
            env=os.environ | {"PYTHONPATH": str(ROOT)},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 2
        assert "Traceback" not in done.stderr
        assert "expected" in done.stderr
