"""Random books, large and quick to make: for the bench, and for tests that need many vehicles.

Invented figures of no meaning: dents are scattered so that every rule of a matrix is used. The
same seed gives the same book.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from hailcalc.money import money_text
from hailcalc.portfolio.rows import ABSENT, ACCESSES, EQUIPMENT, MARKS, METALS, Rows, Whole
from hailcalc.vehicle import BODIES, PANELS, PANELS_OF_BODY

PANELS_OF = [
    np.array([at for at, name in enumerate(PANELS) if name in PANELS_OF_BODY[body]], np.int8)
    for body in BODIES
]
SEDAN_LIKE = [at for at, panels in enumerate(PANELS_OF) if len(panels) >= 12]


def random_rows(vehicles: int, panels: int, columns: int, seed: int, last: int = 30) -> Rows:
    """Vehicles with so many panels each, under a matrix with so many columns."""
    random = np.random.Generator(np.random.PCG64(seed))
    size = vehicles * panels
    body = random.choice(np.array(SEDAN_LIKE, np.int8), vehicles)
    panel = np.empty((vehicles, panels), np.int8)
    for kind in SEDAN_LIKE:
        of_kind = np.flatnonzero(body == kind)
        have = PANELS_OF[kind]
        shuffled = random.permuted(np.tile(have, (len(of_kind), 1)), axis=1)
        panel[of_kind] = np.sort(shuffled[:, :panels], axis=1)
    counts = tuple(_dents(random, size, 6 / (column + 1)) for column in range(columns))
    everything = sum(count.astype(np.int64) for count in counts)
    access = random.choice(np.array([0, 1, 2], np.int8), size, p=[0.86, 0.12, 0.02])
    marks = tuple(
        np.where(
            random.random(size) < 0.1, np.minimum(_dents(random, size, 2), everything), 0
        ).astype(np.int16)
        for _ in MARKS
    )
    beyond = (random.random(size) < 0.02) * random.integers(1, 3, size)
    agreed = np.where(
        (random.random(size) < 0.01) & (access != 2), random.integers(0, 50_000, size), ABSENT
    )
    replaced = np.where(access == 2, random.integers(10_000, 90_000, size), ABSENT)
    return Rows(
        first=np.arange(0, size + 1, panels, dtype=np.int64),
        body=body,
        equipment=random.integers(0, 8, vehicles).astype(np.int64),
        by_minutes=None,
        panel=panel.reshape(-1),
        metal=random.choice(np.array([0, 1, 2], np.int8), size, p=[0.8, 0.15, 0.05]),
        repainted=random.random(size) < 0.08,
        access=access,
        counts=counts,
        marks=marks,
        oversize_first=np.concatenate([[0], np.cumsum(beyond)]).astype(np.int64),
        oversize=random.integers(310_000, 600_000, int(beyond.sum())) // 1000 * 1000,
        no_price=None,
        agreed=agreed,
        replace_cost=replaced,
        deductible=random.choice(np.array([0, 25_000, 50_000]), vehicles),
        other=(np.where(random.random(vehicles) < 0.1, 8450, ABSENT), None, None, None),
    )


def _dents(random: np.random.Generator, size: int, mean: float) -> np.ndarray:
    """Counts that vary more than Poisson's: half of the panels have none of a size."""
    hit = random.random(size) < 0.5
    return (hit * random.geometric(1 / (1 + mean), size)).clip(0, 400).astype(np.int16)


def arrays_of(rows: Rows) -> Sequence[np.ndarray]:
    """Every input array that pricing looks at."""
    flat = [
        *rows.counts,
        *rows.marks,
        *rows.other,
        *(getattr(rows, name) for name in Rows._fields if name not in {"counts", "marks", "other"}),
    ]
    return [column for column in flat if column is not None]


def table_of(rows: Rows, coins: Sequence[str]) -> pa.Table:
    """Rows as a book: claims numbered, text as Parquet keeps it, money as decimals."""
    of_vehicle = np.repeat(np.arange(rows.vehicles), np.diff(rows.first))
    cells = {
        "claim": pa.array([f"B-{number:07}" for number in range(rows.vehicles)]).take(
            pa.array(of_vehicle)
        ),
        "body": _named(rows.body[of_vehicle], BODIES),
        "equipment": _named(
            rows.equipment[of_vehicle],
            [
                ";".join(name for bit, name in enumerate(EQUIPMENT) if number >> bit & 1)
                for number in range(1 << len(EQUIPMENT))
            ],
        ),
        "panel": _named(rows.panel, PANELS),
        "metal": _named(rows.metal, METALS),
        "access": _named(rows.access, ACCESSES),
        "repainted": pa.array(rows.repainted),
        "deductible": _money(there(rows.deductible)[of_vehicle]),
        "other_part": _money(there(rows.other[0])[of_vehicle]),
        "agreed": _money(there(rows.agreed)),
        "replace_cost": _money(there(rows.replace_cost)),
    }
    cells |= dict(zip(coins, map(pa.array, rows.counts), strict=True))
    cells |= dict(zip(MARKS, map(pa.array, rows.marks), strict=True))
    texts: list[str | None] = [None] * rows.panels
    begins = there(rows.oversize_first)
    for at in np.flatnonzero(np.diff(begins)).tolist():
        dents = there(rows.oversize)[begins[at] : begins[at + 1]]
        texts[at] = "; ".join(f"{size / 10_000:.3f}" for size in dents.tolist())
    cells["oversize"] = pa.array(texts, pa.string())
    return pa.table(cells)


def there(column: Whole | None) -> Whole:
    """A column that random books always have."""
    assert column is not None
    return column


def _named(codes: np.ndarray, names: Sequence[str]) -> pa.Array:
    return pa.array(list(names)).take(pa.array(codes.astype(np.int32)))


def _money(amounts: np.ndarray) -> pa.Array:
    """Minor units as decimals with two places, ABSENT as nothing."""
    words = np.empty((len(amounts), 2), "<i8")
    words[:, 0], words[:, 1] = amounts, amounts >> 63
    money = pa.Array.from_buffers(pa.decimal128(18, 2), len(amounts), [None, pa.py_buffer(words)])
    return pc.if_else(pa.array(amounts == ABSENT), pa.scalar(None, money.type), money)


def claims_of(rows: Rows, coins: Sequence[str], decimals: int) -> Iterator[dict[str, Any]]:
    """The same vehicles as claim files."""
    counts = [count.tolist() for count in rows.counts]
    marks = [there(marked).tolist() for marked in rows.marks]
    begins, dents = there(rows.oversize_first).tolist(), there(rows.oversize).tolist()
    agreed, replace_cost = there(rows.agreed).tolist(), there(rows.replace_cost).tolist()
    for vehicle in range(rows.vehicles):
        panels = []
        for at in range(int(rows.first[vehicle]), int(rows.first[vehicle + 1])):
            tally = {coin: count[at] for coin, count in zip(coins, counts, strict=True)}
            panel: dict[str, Any] = {
                "panel": PANELS[rows.panel[at]],
                "metal": METALS[rows.metal[at]],
                "repainted": bool(rows.repainted[at]),
                "access": ACCESSES[rows.access[at]],
                "tally": tally,
                "marked": {
                    mark: _spread(marked[at], tally)
                    for mark, marked in zip(MARKS, marks, strict=True)
                    if marked[at]
                },
                "oversize": [{"mm": size / 10_000} for size in dents[begins[at] : begins[at + 1]]],
            }
            if agreed[at] != ABSENT:
                panel["agreed"] = money_text(agreed[at], decimals)
            if replace_cost[at] != ABSENT:
                panel["replace_cost"] = money_text(replace_cost[at], decimals)
            panels.append(panel)
        part = int(there(rows.other[0])[vehicle])
        yield {
            "claim": {
                "number": f"B-{vehicle:07}",
                "date_of_loss": "2026-05-19",
                "deductible": money_text(int(there(rows.deductible)[vehicle]), decimals),
            },
            "vehicle": {
                "body": BODIES[rows.body[vehicle]],
                "equipment": [
                    name for bit, name in enumerate(EQUIPMENT) if rows.equipment[vehicle] >> bit & 1
                ],
            },
            "panels": panels,
            "other": []
            if part == ABSENT
            else [{"kind": "part", "label": "A part", "unit_price": money_text(part, decimals)}],
        }


def _spread(marked: int, tally: Mapping[str, int]) -> dict[str, int]:
    """So many marked dents, taken from the sizes in turn."""
    sizes = {}
    for coin, count in tally.items():
        sizes[coin] = min(marked, count)
        marked -= sizes[coin]
    return sizes
