"""Coin diameters against the laws and mints that set them, and the size classes they bound.

Millimetres, except the statute's inches. The idea: a table is copied here from its source once
more, so that a slip in the product's own table shows; then a single dent of every coin's own
diameter, and one a hundredth of a millimetre to either side, is counted under all coins.
"""

from __future__ import annotations

import json
from decimal import ROUND_HALF_UP, Decimal

import pytest

from hailcalc.claimfile import Panel, read_claim, require_claim
from hailcalc.coins import COIN_SETS, EU, UK, US, Coin
from hailcalc.counting import PanelCount, count_panel

# 31 U.S.C. 5112(a)(1)-(6): diameters in inches.
STATUTE_INCHES = {
    "dollar": "1.043",
    "half-dollar": "1.205",
    "quarter": "0.955",
    "dime": "0.705",
    "nickel": "0.835",
    "cent": "0.75",
}

# United States Mint, coin specifications: diameters in millimetres.
US_MINT = {
    "cent": "19.05",
    "nickel": "21.21",
    "dime": "17.91",
    "quarter": "24.26",
    "half-dollar": "30.61",
    "dollar": "26.49",
}

# Council Regulation (EU) No 729/2014, Annex I: diameters in millimetres, by value.
EU_ANNEX = {
    "2-euro": "25.75",
    "1-euro": "23.25",
    "50c": "24.25",
    "20c": "22.25",
    "10c": "19.75",
    "5c": "21.25",
    "2c": "18.75",
    "1c": "16.25",
}

# The Royal Mint, coin specifications: diameters in millimetres; the pound from point to point.
ROYAL_MINT = {
    "1p": "20.3",
    "2p": "25.9",
    "5p": "18.0",
    "10p": "24.5",
    "20p": "21.4",
    "50p": "27.3",
    "1-pound": "23.43",
    "2-pound": "28.4",
}

HUNDREDTH = Decimal("0.01")

every_coin = pytest.mark.parametrize(
    ("coins", "position"),
    [
        pytest.param(coins, position, id=f"{name}-{coin.name}")
        for name, coins in COIN_SETS.items()
        for position, coin in enumerate(coins)
    ],
)


@pytest.mark.parametrize("name", STATUTE_INCHES)
def test_the_statutes_inches_round_to_the_mints_millimetres(name: str) -> None:
    exact = Decimal(STATUTE_INCHES[name]) * Decimal("25.4")
    assert exact.quantize(HUNDREDTH, ROUND_HALF_UP) == Decimal(US_MINT[name])


@pytest.mark.parametrize(
    ("coins", "published"), [(US, US_MINT), (EU, EU_ANNEX), (UK, ROYAL_MINT)], ids=COIN_SETS
)
def test_a_coin_set_has_the_published_diameters(
    coins: tuple[Coin, ...], published: dict[str, str]
) -> None:
    assert {coin.name: coin.mm for coin in coins} == {
        name: Decimal(mm) for name, mm in published.items()
    }


@pytest.mark.parametrize("coins", COIN_SETS.values(), ids=COIN_SETS)
def test_a_coin_set_is_ordered_by_diameter_and_names_its_source(coins: tuple[Coin, ...]) -> None:
    diameters = [coin.mm for coin in coins]
    assert diameters == sorted(set(diameters))
    assert all(coin.source for coin in coins)


def test_euro_coins_are_not_ordered_by_their_value() -> None:
    assert [coin.name for coin in EU] == [
        "1c", "2c", "10c", "5c", "20c", "1-euro", "50c", "2-euro",
    ]  # fmt: skip


def one_dent(mm: Decimal) -> Panel:
    """A hood with one measured dent, by way of a claim file's text."""
    text = json.dumps(
        {
            "claim": {"number": "C-1", "date_of_loss": "2026-05-19"},
            "vehicle": {"body": "sedan"},
            "panels": [{"panel": "hood", "dents": [{"mm": 0}]}],
        }
    ).replace('"mm": 0', f'"mm": {mm}')
    return require_claim(read_claim(text)).panels[0]


def counted(mm: Decimal, coins: tuple[Coin, ...]) -> PanelCount:
    columns = {coin.name: column for column, coin in enumerate(coins)}
    return count_panel(one_dent(mm), columns, coins)


def classes(coins: tuple[Coin, ...], position: int) -> tuple[int, ...]:
    return tuple(int(column == position) for column in range(len(coins)))


@every_coin
def test_a_dent_of_a_coins_own_diameter_is_covered_by_it(
    coins: tuple[Coin, ...], position: int
) -> None:
    found = counted(coins[position].mm, coins)
    assert found.counts == classes(coins, position)
    assert found.oversize == ()


@every_coin
def test_a_dent_a_hundredth_smaller_is_still_of_that_coin(
    coins: tuple[Coin, ...], position: int
) -> None:
    found = counted(coins[position].mm - HUNDREDTH, coins)
    assert found.counts == classes(coins, position)
    assert found.oversize == ()


@every_coin
def test_a_dent_a_hundredth_larger_is_of_the_next_coin_or_oversize(
    coins: tuple[Coin, ...], position: int
) -> None:
    size = coins[position].mm + HUNDREDTH
    found = counted(size, coins)
    if position + 1 < len(coins):
        assert found.counts == classes(coins, position + 1)
        assert found.oversize == ()
    else:
        assert found.in_columns == 0
        assert found.oversize == (size,)
