"""Small invented storms on disk, priced under the matrices of these tests."""

from __future__ import annotations

from pathlib import Path

DIMES = (2, 3, 1, 5, 4)
"""On the hood of each vehicle."""

STORM = """
[storm]
name = "{name}"
title = "{title}"
date = 2026-05-12
first_day = 2026-05-15
last_day = 2026-06-06
currency = "{currency}"
matrix = "{matrix}"

[crew]
technicians = 1

[pay]
by = "share"
share = "50"

[costs]
other = "{other}"
"""


def write_storm(
    shelf: Path,
    name: str,
    *,
    title: str = "A small hail",
    dimes: tuple[int, ...] = DIMES,
    currency: str = "USD",
    other: str = "10.00",
    matrix: str = "thistle-own",
) -> Path:
    """A storm's folder on a shelf: a hood with so many dimes on each vehicle."""
    folder = shelf / name
    folder.mkdir(parents=True, exist_ok=True)
    text = STORM.format(name=name, title=title, currency=currency, other=other, matrix=matrix)
    (folder / "storm.toml").write_text(text, encoding="utf-8")
    write_book(folder, dimes)
    return folder


def write_book(folder: Path, dimes: tuple[int, ...]) -> None:
    """The book of a storm: a vehicle for each number of dimes."""
    rows = [
        f"{folder.name}-{at},sedan,agreed,hood,{count}\n" for at, count in enumerate(dimes, start=1)
    ]
    text = "claim,body,state,panel,dime\n" + "".join(rows)
    (folder / "book.csv").write_text(text, encoding="utf-8")
