"""A book spread over several processes or machines, by Dask (`pip install hailcalc[cluster]`).

The parts of a book do not depend on each other: each is sent to a worker, priced there by the same
`price_table`, and written here in the order of the book. A few parts more than there are workers
are under way at a time, so memory stays bounded on both sides. A worker that dies has its parts
priced again elsewhere; pricing is a pure function of the part.
"""

from __future__ import annotations

import json
from collections import deque
from collections.abc import Iterator
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import pyarrow as pa

from hailcalc.fields import as_json
from hailcalc.matrix import Matrix, matrix_from_data, require_matrix
from hailcalc.portfolio.book import PricedBook, Pricing, prepare, price_table
from hailcalc.problems import InputError, Problem

if TYPE_CHECKING:
    from hailcalc.portfolio.files import PriceParts

_AHEAD = 2
"""Parts under way for each worker."""


def price_parts_on(
    address: str, pricing: Pricing, *, panels: bool, patience: str = "10s"
) -> PriceParts:
    """Price parts on the workers of a Dask scheduler. Raises InputError if it cannot be reached."""
    try:
        from distributed import Client
    except ImportError:
        expected = "Dask: pip install hailcalc[cluster]"
        raise InputError([Problem("--scheduler", (), "no Dask here", expected)]) from None
    matrices = json.dumps([as_json(each.compiled.matrix) for each in pricing.matrices])

    def price_parts(tables: Iterator[tuple[int, pa.Table]]) -> Iterator[PricedBook]:
        try:
            client: Any = Client(address, timeout=patience, set_as_default=False)  # type: ignore[no-untyped-call]
        except (OSError, ValueError) as error:
            found = str(error).splitlines()[0] if str(error) else "no answer"
            expected = "the address of a Dask scheduler, such as tcp://127.0.0.1:8786"
            raise InputError([Problem("--scheduler", (address,), found, expected)]) from None
        with client:
            under_way: deque[Any] = deque()
            for first_row, table in tables:
                under_way.append(
                    client.submit(
                        _price_part, matrices, pricing.own, panels, first_row, table, pure=False
                    )
                )
                workers = len(client.scheduler_info()["workers"]) or 1
                if len(under_way) >= _AHEAD * workers:
                    yield under_way.popleft().result()
            while under_way:
                yield under_way.popleft().result()

    return price_parts


def _price_part(
    matrices: str, own: bool, panels: bool, first_row: int, table: pa.Table
) -> PricedBook:
    """Price a part where it was sent to."""
    return price_table(table, _prepared(matrices, own), panels=panels, first_row=first_row)


@lru_cache(maxsize=4)
def _prepared(matrices: str, own: bool) -> Pricing:
    """Matrices from their JSON, made ready once in a worker."""
    read = [require_matrix(matrix_from_data(data)) for data in json.loads(matrices)]
    named: dict[str, Matrix] = {matrix.name: matrix for matrix in read}
    return prepare(named) if own else prepare(read)
