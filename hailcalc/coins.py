"""Coin sizes: what a dent is compared with.

Diameters in millimetres as exact decimals. A dent's size is its longest axis; its
size class is the smallest coin *of the matrix's columns* that covers it (diameter
at least the size). A dent larger than the largest column is oversize and keeps its
own millimetres. A set is ordered by diameter, not by the coins' value: in euro
coins the 10 cent is smaller than the 5 cent.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import NamedTuple


class Coin(NamedTuple):
    """A coin: its name in files, diameter in mm, and where the diameter comes from."""

    name: str
    mm: Decimal
    source: str


def _coin_set(source: str, diameters: Iterable[tuple[str, str]]) -> tuple[Coin, ...]:
    coins = (Coin(name, Decimal(mm), source) for name, mm in diameters)
    return tuple(sorted(coins, key=lambda coin: coin.mm))


US = _coin_set(
    "United States Mint, coin specifications; 31 U.S.C. 5112(a)",
    [
        ("dime", "17.91"),
        ("cent", "19.05"),
        ("nickel", "21.21"),
        ("quarter", "24.26"),
        ("dollar", "26.49"),
        ("half-dollar", "30.61"),
    ],
)

EU = _coin_set(
    "Council Regulation (EU) No 729/2014, Annex I",
    [
        ("1c", "16.25"),
        ("2c", "18.75"),
        ("10c", "19.75"),
        ("5c", "21.25"),
        ("20c", "22.25"),
        ("1-euro", "23.25"),
        ("50c", "24.25"),
        ("2-euro", "25.75"),
    ],
)

UK = _coin_set(
    "The Royal Mint, coin specifications",
    [
        ("5p", "18.0"),
        ("1p", "20.3"),
        ("20p", "21.4"),
        ("1-pound", "23.43"),
        ("10p", "24.5"),
        ("2p", "25.9"),
        ("50p", "27.3"),
        ("2-pound", "28.4"),
    ],
)

COIN_SETS: dict[str, tuple[Coin, ...]] = {"us": US, "eu": EU, "uk": UK}
"""The sets that a matrix may name; a shop's own set stands in its matrix file."""


def size_class(mm: Decimal, columns: Sequence[Coin]) -> int | None:
    """Position in `columns` (ascending) of the coin that covers `mm`; None if oversize."""
    for position, coin in enumerate(columns):
        if mm <= coin.mm:
            return position
    return None
