"""A book priced by a Dask cluster of real worker processes, one of which is killed on the way."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from distributed import LocalCluster

from hailcalc.files import load_matrix
from hailcalc.portfolio.book import prepare, price_book
from hailcalc.portfolio.cluster import price_parts_on
from hailcalc.portfolio.files import Outputs, price_file, source
from hailcalc.problems import InputError
from tests.books import random_rows, table_of

MATRIX = load_matrix(Path(__file__).parents[2] / "matrices" / "copperfin-2026.toml")
COINS = ("dime", "nickel", "quarter", "half-dollar")
PRICING = prepare(MATRIX)


@pytest.fixture
def cluster() -> Iterator[LocalCluster]:
    settings = {"n_workers": 2, "threads_per_worker": 1, "dashboard_address": None}
    with LocalCluster(**settings, processes=True) as made:  # type: ignore[no-untyped-call]
        made.wait_for_workers(2)
        yield made


def test_a_book_is_priced_by_two_workers_though_one_is_killed(
    cluster: LocalCluster, tmp_path: Path
) -> None:
    book = tmp_path / "book.parquet"
    rows = table_of(random_rows(4_000, 6, 4, seed=8), COINS)
    pq.write_table(pa.concat_tables([rows, rows.slice(0, 6)]), book)
    victim = next(iter(cluster.workers.values())).pid
    killed: list[int] = []

    def kill_one(rows: int, of: int | None) -> None:
        if not killed:
            os.kill(victim, signal.SIGKILL)
            killed.append(rows)

    out = Outputs(tmp_path / "out.parquet", tmp_path / "panels.parquet", tmp_path / "aside.csv")
    done = price_file(
        source(book),
        PRICING,
        out,
        rows=600,
        told=kill_one,
        price_parts=price_parts_on(cluster.scheduler_address, PRICING, panels=True),
    )

    assert killed
    assert killed[0] < 24_000
    assert (done.vehicles, done.vehicles_aside) == (3_999, 1)
    at_once = price_book(pq.read_table(book), MATRIX)
    assert pq.read_table(out.vehicles).equals(at_once.vehicles)
    assert pq.read_table(tmp_path / "panels.parquet").equals(at_once.panels)


def test_a_scheduler_that_does_not_answer_is_told(tmp_path: Path) -> None:
    book = tmp_path / "book.parquet"
    pq.write_table(table_of(random_rows(10, 6, 4, seed=8), COINS), book)
    out = Outputs(tmp_path / "out.parquet", None, tmp_path / "aside.csv")
    with pytest.raises(InputError, match="--scheduler"):
        price_file(
            source(book),
            PRICING,
            out,
            price_parts=price_parts_on("tcp://127.0.0.1:9", PRICING, panels=False, patience="1s"),
        )
