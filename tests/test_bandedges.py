"""Near an edge of a band: when a handful of dents more or fewer changes a panel's base.

Counts by column: dime, quarter, half-dollar. The grid has the bands 1–2, 3–6, 7 and 8–10 unless
a test says otherwise; at 1.50 a minute. Every rule is also held against plain counting in
`test_pricing_twice`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hailcalc.bandedges import NearEdge, Reckoner, edge_words, handful, near_edges
from hailcalc.matrix import (
    MatrixTables,
    base_amount,
    compile_tables,
    matrix_from_data,
    require_matrix,
)
from tests.builders import Table, claim, estimate, sheet
from tests.effort import examples
from tests.plain_counting import PlainEdge
from tests.plain_pricing import edges_plainly
from tests.test_estimate import a_matrix

BANDS: Table = {
    "bands": [1, 3, 7, 8],
    "last": 10,
    "rows": [[10, 14, 20], [16, 22, 34], [28, 40, 60], [40, 56, 80]],
}


def small(**changes: Any) -> Table:
    return a_matrix(**{**BANDS, **changes})


def long(**changes: Any) -> Table:
    """Bands as on a real matrix: 1–19, 20–39, 40–99, 100–200."""
    rows = [[10, 14, 20], [16, 22, 34], [28, 40, 60], [40, 56, 80]]
    return a_matrix(**{"bands": [1, 20, 40, 100], "last": 200, "rows": rows, **changes})


def tables_of(matrix: Table) -> MatrixTables:
    return compile_tables(require_matrix(matrix_from_data(matrix)))


def edges(matrix: Table, *counts: int) -> list[NearEdge]:
    """The edges near counts of a panel without extras, whose price is its base."""
    tables = tables_of(matrix)
    grid = tables.grids[0]

    def total(changed: Sequence[int]) -> int | None:
        return base_amount(grid, tables, changed) if sum(changed) <= grid.last else None

    now = base_amount(grid, tables, counts)
    return list(near_edges(counts, Reckoner("hood", grid, tables, now, total)))


def edge(dents: int, band: tuple[int, int] | None, before: int, after: int | None) -> NearEdge:
    """An edge of all dents, by dimes, of a panel whose price is its base."""
    return NearEdge("hood", dents, 0, "", band, before, after, before, after)


def told(matrix: Table, *counts: int) -> list[tuple[int, int, tuple[int, int] | None]]:
    """Dents, column and band of each edge."""
    return [(edge.dents, edge.column, edge.band) for edge in edges(matrix, *counts)]


# --- a handful --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("dents", "number"),
    [(0, 1), (1, 1), (39, 1), (40, 2), (59, 2), (60, 3), (80, 4), (99, 4), (100, 5), (9999, 5)],
)
def test_a_handful_is_one_dent_in_twenty_from_one_to_five(dents: int, number: int) -> None:
    assert handful(dents) == number


@given(st.integers(0, 20_000))
def test_a_handful_never_shrinks_as_the_count_grows(dents: int) -> None:
    assert 1 <= handful(dents) <= handful(dents + 1) <= 5


@pytest.mark.parametrize(
    ("count", "expected"),
    [
        # A handful of 19 is 1: the band from 20 is one away.
        (19, [(1, 0, (20, 39))]),
        (18, []),
        (20, [(-1, 0, (1, 19))]),
        (21, []),
        # A handful of 40 to 59 is 2.
        (39, [(1, 0, (40, 99))]),
        (40, [(-1, 0, (20, 39))]),
        (41, [(-2, 0, (20, 39))]),
        (42, []),
        # A handful of 80 to 99 is 4, of 100 and more 5.
        (95, []),
        (96, [(4, 0, (100, 200))]),
        (104, [(-5, 0, (40, 99))]),
        (105, []),
        (195, []),
        (196, [(5, 0, None)]),
        (200, [(1, 0, None)]),
    ],
)
def test_an_edge_is_told_if_it_is_within_a_handful(count: int, expected: Any) -> None:
    assert told(long(), count, 0, 0) == expected


# --- what is told -----------------------------------------------------------------------------


def test_one_dent_more_and_one_dent_fewer() -> None:
    # 6 dimes stand at 16 minutes: 24.00; 7 at 28: 42.00. 3 dimes too; 2 at 10: 15.00.
    (up,) = edges(small(), 6, 0, 0)
    assert up == edge(1, (7, 7), 2400, 4200)
    assert up.change == 1800
    (down,) = edges(small(), 3, 0, 0)
    assert down == edge(-1, (1, 2), 2400, 1500)
    assert down.change == -900


def test_in_the_middle_of_a_band_nothing_is_told() -> None:
    assert edges(small(), 4, 0, 0) == edges(small(), 5, 0, 0) == []


def test_a_narrow_band_may_have_both_edges_near() -> None:
    narrow = small(bands=[1, 3, 4, 6], last=10)
    assert told(narrow, 4, 0, 0) == [(-1, 0, (3, 3))]
    assert told(narrow, 5, 0, 0) == [(1, 0, (6, 10))]
    two = small(bands=[1, 5, 7, 9], last=10)
    assert told(long(bands=[1, 60, 62, 100]), 61, 0, 0) == [(1, 0, (62, 99)), (-2, 0, (1, 59))]
    assert told(two, 5, 0, 0) == [(-1, 0, (1, 4))]


def test_a_band_of_a_single_count_is_left_alone() -> None:
    assert edges(small(), 7, 0, 0) == []
    by_dent = a_matrix(
        bands=list(range(1, 8)), last=7, rows=[[10 * n, 12 * n, 15 * n] for n in range(1, 8)]
    )
    for count in range(1, 7):
        assert edges(by_dent, count, 0, 0) == []


def test_a_ramp_has_no_edges_but_an_end() -> None:
    ramp = small(within_band="ramp")
    for count in range(1, 10):
        assert edges(ramp, count, 0, 0) == []
    assert told(ramp, 10, 0, 0) == [(1, 0, None)]


def test_beyond_the_last_count_there_is_no_base() -> None:
    (end,) = edges(small(), 10, 0, 0)
    assert end == edge(1, None, 6000, None)
    assert end.change is None


def test_bands_that_cost_the_same_have_no_edge_between_them() -> None:
    rows = [[10, 14, 20], [10, 14, 20], [28, 40, 60], [40, 56, 80]]
    assert edges(small(rows=rows), 2, 0, 0) == []


def test_the_size_with_most_dents_is_told_and_of_two_alike_the_smaller() -> None:
    largest = small(mixed="largest")
    assert told(largest, 2, 3, 1) == [(1, 1, (7, 7))]
    assert told(largest, 3, 3, 0) == [(1, 0, (7, 7))]


def test_a_size_without_dents_is_not_told() -> None:
    assert told(small(), 0, 6, 0) == [(1, 1, (7, 7))]


# --- every rule -------------------------------------------------------------------------------


def test_layers_have_an_edge_for_all_dents_and_for_each_size_up() -> None:
    # 5 dents, in the middle of 3–6; but 2 of quarter or larger are at the edge of 3–6.
    assert told(small(), 3, 2, 0) == [(1, 1, (3, 6))]
    # 5 dents and 3 of quarter or larger: a quarter fewer.
    assert told(small(), 2, 3, 0) == [(-1, 1, (1, 2))]
    # 1 half-dollar of 5: the quarters and it are 3.
    assert told(small(), 2, 2, 1) == [(-1, 1, (1, 2))]


def test_the_count_that_falls_into_another_band_is_named() -> None:
    layers, each = small(), small(mixed="each")
    assert [near.of for near in edges(layers, 6, 0, 0)] == [""]
    assert [near.of for near in edges(layers, 3, 2, 0)] == ["quarter"]
    assert [near.of for near in edges(layers, 2, 2, 1)] == ["quarter or larger"]
    assert [near.of for near in edges(each, 4, 2, 0)] == ["quarter"]
    (near,) = edges(layers, 2, 2, 1)
    assert "band quarter or larger: 1–2" in edge_words(near, tables_of(layers))


def test_the_price_that_is_told_has_the_panels_extras_in_it() -> None:
    made = small(extra=[{"id": "aluminium", "label": "Al", "percent": "50",
                         "when": {"metal": "aluminium"}}])  # fmt: skip
    panel = {"panel": "hood", "metal": "aluminium", "tally": {"dime": 6}}
    (near,) = estimate(claim(panel), made).near_edges
    assert (near.was_base, near.base) == (2400, 4200)
    assert (near.was_total, near.total, near.change) == (3600, 6300, 2700)
    seven = estimate(claim(panel | {"tally": {"dime": 7}}), made).panels[0]
    assert seven.total == near.total


def test_each_has_an_edge_for_every_size_by_itself() -> None:
    each = small(mixed="each")
    # 6 dents in all, but 4 dimes are in the middle of their band; 2 quarters are at its end.
    assert told(each, 4, 2, 0) == [(1, 1, (3, 6))]
    assert told(each, 5, 0, 1) == []


@pytest.mark.parametrize("mixed", ["share", "largest", "most"])
def test_the_other_rules_have_edges_for_all_dents_alone(mixed: str) -> None:
    made = small(mixed=mixed)
    assert told(made, 4, 2, 0) == [(1, 0, (7, 7))]
    assert told(made, 4, 0, 1) == []


def test_under_most_a_dent_may_change_which_size_leads() -> None:
    most = small(mixed="most")
    # 3 dimes and 2 quarters: one quarter more ties and the larger goes: 22 minutes for 16.
    # 6 dents are still in the band 3–6. A dime fewer ties as well.
    assert [(e.dents, e.column, e.band, e.base) for e in edges(most, 3, 2, 0)] == [
        (1, 1, (3, 6), 3300),
        (-1, 0, (3, 6), 3300),
    ]
    # 3 and 3: the quarters lead; a dime more, and the 7 dents are priced as dimes at 28 minutes.
    assert [(e.dents, e.column, e.band, e.base) for e in edges(most, 3, 3, 0)][:1] == [
        (1, 0, (7, 7), 4200)
    ]


@pytest.mark.parametrize("mixed", ["layers", "share", "largest", "most", "each"])
@pytest.mark.parametrize("column", [0, 1, 2])
def test_the_only_dent_of_a_panel_has_no_edge_below_it(mixed: str, column: int) -> None:
    """Without it there is nothing to repair, and no band."""
    counts = [int(at == column) for at in range(3)]
    assert edges(small(mixed=mixed), *counts) == []


@settings(max_examples=examples(200))
@given(
    st.sampled_from(["layers", "share", "largest", "most", "each"]),
    st.sampled_from(["flat", "ramp"]),
    st.tuples(st.integers(0, 60), st.integers(0, 60), st.integers(0, 60)),
)
def test_edges_are_those_of_plain_counting(
    mixed: str, within_band: str, counts: tuple[int, int, int]
) -> None:
    if sum(counts) < 2:
        return
    made = long(mixed=mixed, within_band=within_band)
    tally = dict(zip(["dime", "quarter", "half-dollar"], counts, strict=True))
    plain = edges_plainly(claim({"panel": "hood", "tally": tally}), made)
    found = [PlainEdge(e.dents, e.column, e.band, e.base) for e in edges(made, *counts)]
    assert found == [edge for _, edge in plain]


@settings(max_examples=examples(200))
@given(
    st.sampled_from(["layers", "share", "largest", "most", "each"]),
    st.tuples(st.integers(0, 60), st.integers(0, 60), st.integers(0, 60)),
)
def test_pricing_so_many_dents_more_gives_the_base_that_is_told(
    mixed: str, counts: tuple[int, int, int]
) -> None:
    if sum(counts) < 2:
        return
    made = long(mixed=mixed)
    names = ["dime", "quarter", "half-dollar"]
    for near in edges(made, *counts):
        changed = list(counts)
        changed[near.column] += near.dents
        tally = dict(zip(names, changed, strict=True))
        result = estimate(claim({"panel": "hood", "tally": tally}), made).panels[0]
        assert result.base == near.base
        assert abs(near.dents) <= handful(sum(counts))


# --- in words ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("matrix", "counts", "words"),
    [
        (small(), (6, 0, 0), "1 dent more, dime: band 7, 42.00 instead of 24.00 (+18.00)"),
        (
            small(),
            (3, 0, 0),
            "1 dent fewer, dime: band 1–2, 15.00 instead of 24.00 (-9.00)",
        ),
        (
            long(),
            (0, 41, 0),
            "2 dents fewer, quarter: band 20–39, 33.00 instead of 60.00 (-27.00)",
        ),
        (long(), (196, 0, 0), "5 dents more, dime: beyond the counts that the matrix prices"),
        (
            small(currency="JPY", rates={"repair": "5400", "removal": "0"}),
            (2, 0, 0),
            "1 dent more, dime: band 3–6, 1440 instead of 900 (+540)",
        ),
    ],
)
def test_an_edge_in_words(matrix: Table, counts: tuple[int, ...], words: str) -> None:
    (near,) = edges(matrix, *counts)
    assert edge_words(near, tables_of(matrix)) == words


def test_under_most_fewer_dents_may_cost_more_and_the_sign_says_so() -> None:
    most = small(mixed="most")
    down = edges(most, 3, 2, 0)[1]
    assert edge_words(down, tables_of(most)) == (
        "1 dent fewer, dime: band 3–6, 33.00 instead of 24.00 (+9.00)"
    )


# --- on the sheet -----------------------------------------------------------------------------


def test_the_evidence_has_every_near_edge_with_its_figures() -> None:
    document = sheet(
        estimate(
            claim(
                {"panel": "roof", "tally": {"dime": 10}},
                {"panel": "hood", "tally": {"dime": 3}},
                {"panel": "door-fl", "tally": {"dime": 4}},
            ),
            small(),
        )
    )
    assert document["evidence"]["near_edges"] == [
        {
            "panel": "hood",
            "dents": -1,
            "size": "dime",
            "of": "panel",
            "band": [1, 2],
            "base": "15.00",
            "total": "15.00",
            "change": "-9.00",
        },
        {
            "panel": "roof",
            "dents": 1,
            "size": "dime",
            "of": "panel",
            "band": None,
            "base": None,
            "total": None,
            "change": None,
        },
    ]


@pytest.mark.parametrize(
    "panel",
    [
        {"agreed": "99.00"},
        {"access": "replace", "replace_cost": "99.00"},
        {"panel": "rail-l"},
        {"tally": {"dime": 11}},
        {"tally": {}},
        {"tally": {}, "oversize": [{"mm": 41}]},
    ],
)
def test_a_panel_that_the_matrix_does_not_price_by_count_has_no_edges(panel: Table) -> None:
    made = claim({"panel": "hood", "tally": {"dime": 6}, **panel})
    assert estimate(made, small()).near_edges == ()
