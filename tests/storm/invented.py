"""Invented storms for tests: a storm file as data, and priced vehicles as pricing hands them on.

Money is minor units, minutes are tenths, as in `hailcalc.portfolio.frames`.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd

from hailcalc.storm.economics import StormFigures, economics
from hailcalc.storm.model import Storm, storm_from_data

Table = dict[str, Any]

LINES = ("repair", "oversize", "extra", "removal", "fastener", "part", "sublet", "refinish",
         "body_work", "minimum")  # fmt: skip
PANELS = ("hood", "roof", "fender-l")

VEHICLE: Table = dict.fromkeys(LINES, 0) | {
    "claim": "1", "body": "sedan", "insurer": "", "technician": "", "matrix": "small",
    "currency": "USD", "state": "agreed", "drafted": "", "issued": "", "answered": "", "closed": "",
    "supplement_asked": 0, "supplement_paid": 0, "discount": 0, "loan_days": 0, "dents": 3,
    "complete": True, "repair_minutes": 0, "removal_minutes": 0,
}  # fmt: skip


def storm_data(**tables: Table) -> Table:
    """A storm file that is sound, with some keys of its tables changed; None takes a key out."""
    data: Table = {
        "storm": {
            "name": "small-hail",
            "title": "A small hail",
            "date": "2026-05-12",
            "first_day": "2026-05-15",
            "last_day": "2026-06-06",
            "currency": "USD",
            "book": "book.csv",
        },
        "crew": {"technicians": 2},
        "pay": {"by": "share", "share": "50"},
        "costs": {},
    }
    for name, changed in tables.items():
        data[name] = {k: v for k, v in (data[name] | changed).items() if v is not None}
    return data


def storm(**tables: Table) -> Storm:
    """The same as a checked model."""
    return storm_from_data(storm_data(**tables))


def vehicles(*rows: Table) -> pd.DataFrame:
    """Priced vehicles, each with what is said of it; claims numbered from 1."""
    numbered = [VEHICLE | {"claim": str(at)} | row for at, row in enumerate(rows, start=1)]
    frame = pd.DataFrame(numbered, columns=list(VEHICLE))
    return frame if rows else frame.astype({"complete": bool})


def figures(*rows: Table, **tables: Table) -> StormFigures:
    """Figures of a storm with these vehicles."""
    return economics(storm(**tables), vehicles(*rows))


def random_book(size: int, seed: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Vehicles and their panels of no meaning, in which everything occurs."""
    random = np.random.Generator(np.random.PCG64(seed))
    frame = pd.DataFrame({"claim": [f"R-{at:04}" for at in range(size)]})
    for kind in LINES:
        frame[kind] = random.integers(0, 90_000, size) * (random.random(size) < 0.8)
    for name, choice in {
        "body": ["sedan", "suv", "pickup"],
        "insurer": ["Marrow Mutual", "Thistle Cover", ""],
        "technician": ["Ada", "Bo", "Cy", ""],
        "matrix": ["one", "two"],
        "state": ["draft", "issued", "answered", "agreed", "agreed", "agreed", "withdrawn"],
    }.items():
        frame[name] = random.choice(np.array(choice, dtype=object), size)
    frame["currency"] = "USD"
    frame["dents"] = random.integers(1, 200, size)
    frame["complete"] = random.random(size) < 0.95
    frame["repair_minutes"] = random.integers(0, 6000, size)
    frame["removal_minutes"] = random.integers(0, 3000, size)
    frame["supplement_asked"] = random.integers(0, 20_000, size) * (random.random(size) < 0.4)
    paid = random.choice(np.array([0, 1, 2]), size)
    frame["supplement_paid"] = frame["supplement_asked"] * paid // 2
    frame["discount"] = random.integers(0, 5_000, size) * (random.random(size) < 0.2)
    frame["loan_days"] = random.integers(0, 12, size) * (random.random(size) < 0.3)
    _scatter_days(frame, random)
    panels = pd.DataFrame(
        {
            "claim": np.repeat(frame["claim"].to_numpy(), len(PANELS)),
            "panel": list(PANELS) * size,
            "amount": random.integers(0, 30_000, size * len(PANELS)),
        }
    )
    return frame, panels


def _scatter_days(frame: pd.DataFrame, random: np.random.Generator) -> None:
    """Days of each step, each some days after the one before; later ones may be missing."""
    last = np.array([date(2026, 5, 15)] * len(frame))
    there = np.ones(len(frame), bool)
    for name in ("drafted", "issued", "answered", "closed"):
        last = last + np.array([timedelta(int(n)) for n in random.integers(0, 9, len(frame))])
        there &= random.random(len(frame)) < 0.9
        frame[name] = np.where(there, [day.isoformat() for day in last], "")
