"""Counts: tallies and single dents, from claim files and from CSV. Sizes in millimetres.

What a CSV gives is plain claim-file data, so these tests end where the checks of a claim file
begin, but for a few that price a vehicle both ways and get the same sheet.
"""

from __future__ import annotations

import csv
import io
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hailcalc.claimfile import MAX_DENTS, Panel, claim_from_data, require_claim
from hailcalc.coins import US
from hailcalc.counting import PanelCount, count_panel
from hailcalc.counting.csvfiles import outlines_from_csv, panels_from_dents, panels_from_tallies
from hailcalc.problems import InputError
from tests.effort import examples
from tests.test_estimate import a_claim, hood, priced

COINS = [coin.name for coin in US]
COLUMNS = tuple(coin for coin in US if coin.name in {"dime", "quarter", "half-dollar"})
COLUMN_OF = {
    coin.name: next(k for k, column in enumerate(COLUMNS) if column.mm >= coin.mm) for coin in US
}


def counted(**panel: Any) -> PanelCount:
    made: Panel = require_claim(claim_from_data(a_claim(hood(**panel)))).panels[0]
    return count_panel(made, COLUMN_OF, COLUMNS)


# --- a panel of a claim file ------------------------------------------------------------------


def test_coins_that_are_no_columns_count_in_the_next_larger_column() -> None:
    found = counted(tally={"dime": 1, "cent": 2, "nickel": 4, "quarter": 8, "dollar": 16})
    assert found.counts == (1, 14, 16)
    assert found.in_columns == found.all == 31


def test_oversize_dents_are_counted_beside_the_columns() -> None:
    found = counted(tally={"dime": 3}, oversize=[{"mm": 41}, {"mm": 38.5}])
    assert (found.in_columns, found.all) == (3, 5)
    assert found.oversize == (Decimal(41), Decimal("38.5"))


def test_a_mark_is_counted_over_all_sizes_and_oversize_dents() -> None:
    found = counted(
        tally={"dime": 3, "quarter": 2},
        marked={"sharp": {"dime": 1, "quarter": 2}, "edge": {}},
        oversize=[{"mm": 41, "marks": ["sharp", "body-line"]}],
    )
    assert found.marks.get("sharp") == 4
    assert found.marks.get("body-line") == 1
    assert not found.marks.get("edge", 0)


def test_a_single_dent_is_classed_by_its_longer_axis() -> None:
    found = counted(
        dents=[
            {"mm": 17.91, "mm2": 3},
            {"mm": 3, "mm2": 17.92},
            {"mm": 30.61, "mm2": 30.62, "marks": ["edge"]},
        ]
    )
    assert found.counts == (1, 1, 0)
    assert found.oversize == (Decimal("30.62"),)
    assert found.marks == {"edge": 1}


def test_a_panel_without_any_dents_counts_none() -> None:
    for found in (counted(), counted(tally={"dime": 0}), counted(dents=[])):
        assert (found.all, found.oversize) == (0, ())


@given(st.lists(st.sampled_from(COINS), max_size=30))
def test_measured_dents_of_coins_own_sizes_count_as_the_tally_of_those_coins(
    names: list[str],
) -> None:
    mm = {coin.name: float(coin.mm) for coin in US}
    single = counted(dents=[{"mm": mm[name]} for name in names])
    tally = counted(tally={name: names.count(name) for name in names})
    assert single.counts == tally.counts


# --- tallies from CSV -------------------------------------------------------------------------


def tallies(text: str) -> list[dict[str, Any]]:
    return panels_from_tallies(text, COINS, "counts.csv")


def mistakes(text: str, single: bool = False) -> dict[str, str]:
    """Places of what is wrong in a CSV, and what was found there."""
    with pytest.raises(InputError) as caught:
        panels_from_dents(text, "counts.csv") if single else tallies(text)
    assert {problem.file for problem in caught.value.problems} == {"counts.csv"}
    return {problem.place: problem.found for problem in caught.value.problems}


def test_a_tally_has_a_row_a_panel_and_a_column_a_coin() -> None:
    text = "panel,dime,quarter\nhood,34,3\nroof,,12\n"
    assert tallies(text) == [
        {"panel": "hood", "tally": {"dime": 34, "quarter": 3}},
        {"panel": "roof", "tally": {"quarter": 12}},
    ]


def test_everything_that_a_tally_may_say_of_a_panel() -> None:
    text = (
        "panel,metal,access,repainted,dime,nickel,braced:dime,body-line:nickel,"
        "oversize,agreed,replace_cost,note\n"
        "hood,aluminium,glue,yes,34,12,6,1,41 body-line; 38.5 sharp+edge,500.00,640.00,"
        '"wind from the west, then hail"\n'
    )
    assert tallies(text) == [
        {
            "panel": "hood",
            "metal": "aluminium",
            "access": "glue",
            "repainted": True,
            "tally": {"dime": 34, "nickel": 12},
            "marked": {"braced": {"dime": 6}, "body-line": {"nickel": 1}},
            "oversize": [
                {"mm": Decimal(41), "marks": ["body-line"]},
                {"mm": Decimal("38.5"), "marks": ["sharp", "edge"]},
            ],
            "agreed": "500.00",
            "replace_cost": "640.00",
            "note": "wind from the west, then hail",
        }
    ]


@pytest.mark.parametrize(
    ("cell", "dents"),
    [
        ("41", [(41, [])]),
        ("41;38.5", [("41", []), ("38.5", [])]),
        ("41 ; 38.5 ;", [("41", []), ("38.5", [])]),
        ("41 edge", [("41", ["edge"])]),
        ("41 sharp + edge", [("41", ["sharp", "edge"])]),
        ("41mm edge", [("41", ["edge"])]),
        ("41 mm edge", [("41", ["edge"])]),
        ("1.75in", [("44.45", [])]),
        ("1.75 in body-line", [("44.45", ["body-line"])]),
        ('1.75" body-line', [("44.45", ["body-line"])]),
        (" ; ", []),
    ],
)
def test_how_oversize_dents_are_written_in_one_cell(
    cell: str, dents: list[tuple[str, list[str]]]
) -> None:
    quoted = cell.replace('"', '""')
    (panel,) = tallies(f'panel,oversize\nhood,"{quoted}"\n')
    found = [(dent["mm"], dent.get("marks", [])) for dent in panel.get("oversize", [])]
    assert found == [(Decimal(mm), marks) for mm, marks in dents]


@pytest.mark.parametrize(
    ("cell", "found"),
    [
        ("41 bodyline", '"bodyline"'),
        ("41 sharp+", '""'),
        ("big", '"big"'),
        ("41,5", '"41,5"'),
        ("-41", '"-41"'),
        ("0", '"0"'),
        ("501", '"501"'),
        ("41; x sharp", '"x"'),
        ("41 sharp edge", '"sharp edge"'),
    ],
)
def test_a_mistake_in_an_oversize_cell(cell: str, found: str) -> None:
    assert mistakes(f'panel,dime,oversize\nhood,1,"{cell}"\n') == {"line 2.oversize": found}


@pytest.mark.parametrize(
    ("cell", "value"),
    [("yes", True), ("Yes", True), ("true", True), ("NO", False), ("false", False)],
)
def test_repainted_is_yes_or_no(cell: str, value: bool) -> None:
    assert tallies(f"panel,repainted\nhood,{cell}\n") == [{"panel": "hood", "repainted": value}]


@pytest.mark.parametrize(
    "cell", ["1.5", "-1", "1e2", "10000", "three", "٣", "²", "+3", "1 2", "0x1"]
)
def test_a_count_is_a_whole_number(cell: str) -> None:
    assert mistakes(f"panel,dime\nhood,{cell}\n") == {"line 2.dime": f'"{cell}"'}


@pytest.mark.parametrize("cell", ["0", "007", "9999"])
def test_counts_from_nought_to_9999_are_read(cell: str) -> None:
    assert tallies(f"panel,dime\nhood, {cell} \n")[0]["tally"] == {"dime": int(cell)}


@pytest.mark.parametrize("column", ["florin", "bent:dime", "braced:florin", "braced", "Dime", ""])
def test_an_unknown_column_is_named(column: str) -> None:
    found = mistakes(f"panel,dime,{column}\nhood,1,1\n")
    assert list(found.values()) == [f'the unknown column "{column}"']


def test_a_column_twice_is_named() -> None:
    assert list(mistakes("panel,dime,dime\nhood,1,1\n").values()) == ['the column "dime" twice']


@pytest.mark.parametrize(
    "text", ["", "\n", "dime\n3\n", "PANEL,dime\nhood,3\n", "panel;dime\nhood;3\n"]
)
def test_without_a_panel_column_it_is_no_count(text: str) -> None:
    assert mistakes(text) == {"line 1.panel": "no such column"}


@pytest.mark.parametrize("single", [False, True])
def test_every_ragged_row_is_named_by_its_line(single: bool) -> None:
    header = "panel,mm" if single else "panel,dime"
    found = mistakes(f"{header}\nhood,1,1\nroof,1\n\nhood\n", single)
    assert found == {"line 2": "3 cells", "line 5": "1 cells"}


def test_all_mistakes_of_a_file_are_reported_together() -> None:
    text = "panel,dime,repainted,oversize\nhood,x,perhaps,12 hole\nroof,1,no,\ndecklid,-1,,tiny\n"
    assert mistakes(text) == {
        "line 2.dime": '"x"',
        "line 2.repainted": '"perhaps"',
        "line 2.oversize": '"hole"',
        "line 4.dime": '"-1"',
        "line 4.oversize": '"tiny"',
    }


def test_lines_are_counted_right_after_a_quoted_line_break() -> None:
    text = 'panel,dime,note\nhood,1,"first\nsecond\nthird"\nroof,x,\n'
    assert mistakes(text) == {"line 5.dime": '"x"'}


def test_lines_are_counted_right_after_empty_lines_and_with_windows_line_ends() -> None:
    assert mistakes("panel,dime\r\n\r\n , \r\nroof,x\r\n") == {"line 4.dime": '"x"'}


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_any_line_end_and_a_byte_order_mark_are_read(end: str) -> None:
    text = end.join(["\ufeffpanel,dime", "hood,3", ""])
    assert tallies(text) == [{"panel": "hood", "tally": {"dime": 3}}]


@pytest.mark.parametrize(
    "text", ['panel,dime\nhood,"3\n', 'panel,dime\nhood,"3"x\n', "panel,dime\nhood,\0\n"]
)
def test_what_is_no_csv_is_refused(text: str) -> None:
    assert len(mistakes(text)) == 1


def test_a_file_of_too_many_rows_is_refused() -> None:
    rows = "hood,9\n" * (MAX_DENTS + 1)
    assert mistakes("panel,mm\n" + rows, True) == {f"line {MAX_DENTS + 2}": "more rows"}
    assert mistakes("panel,dime\n" + rows) == {f"line {MAX_DENTS + 2}": "more rows"}


def test_as_many_rows_as_a_panel_may_have_dents_are_read() -> None:
    (panel,) = panels_from_dents("panel,mm\n" + "hood,9\n" * MAX_DENTS, "counts.csv")
    assert len(panel["dents"]) == MAX_DENTS == 100_000


# --- single dents from CSV --------------------------------------------------------------------


def test_single_dents_are_gathered_by_panel_with_both_axes_and_marks() -> None:
    text = (
        "panel,mm,mm2,marks\n"
        "hood,17.5,,\n"
        "roof,20,24.5,sharp+edge\n"
        'hood,0.95in,"0.5""",body-line\n'
        "hood,12 mm,1 in,\n"
    )
    assert panels_from_dents(text, "counts.csv") == [
        {
            "panel": "hood",
            "dents": [
                {"mm": Decimal("17.5")},
                # 0.95 × 25.4 = 24.13 and 0.5 × 25.4 = 12.7
                {"mm": Decimal("24.13"), "mm2": Decimal("12.7"), "marks": ["body-line"]},
                {"mm": Decimal(12), "mm2": Decimal("25.4")},
            ],
        },
        {
            "panel": "roof",
            "dents": [{"mm": Decimal(20), "mm2": Decimal("24.5"), "marks": ["sharp", "edge"]}],
        },
    ]


@pytest.mark.parametrize(
    "cell", ["", "x", "17,5", "-3", "0", "500.1", "19.7in", "1e1", "3 cm", "٣"]
)
def test_a_size_that_is_none(cell: str) -> None:
    assert mistakes(f'panel,mm\nhood,"{cell}"\n', True) == {"line 2.mm": f'"{cell}"'}


def test_a_dent_may_have_its_place_on_the_panel() -> None:
    text = "panel,x,y,mm,marks\nhood,412,655.5,17.5,sharp\nhood,-2.5,0,9,\nroof,,,12,\n"
    assert panels_from_dents(text, "counts.csv") == [
        {
            "panel": "hood",
            "dents": [
                {"mm": Decimal("17.5"), "x": 412, "y": Decimal("655.5"), "marks": ["sharp"]},
                {"mm": Decimal(9), "x": Decimal("-2.5"), "y": 0},
            ],
        },
        {"panel": "roof", "dents": [{"mm": Decimal(12)}]},
    ]


@pytest.mark.parametrize(
    "cell", ["NaN", "inf", "-", "4,5", "12mm", "1e3", "12345678", "٣", "+5", "0x1", ".5", "5."]
)
@pytest.mark.parametrize("axis", ["x", "y"])
def test_a_place_that_is_none(axis: str, cell: str) -> None:
    other = "y" if axis == "x" else "x"
    found = mistakes(f'panel,mm,{axis},{other}\nhood,9,"{cell}",5\n', True)
    assert found == {f"line 2.{axis}": f'"{cell}"'}


def test_mistakes_in_single_dents_are_reported_together() -> None:
    text = 'panel,mm,mm2,marks\nhood,x,y,sharp\nroof,1,2,dull+flat\n"ho\nod",3,4,\nroof,z,,\n'
    with pytest.raises(InputError) as caught:
        panels_from_dents(text, "counts.csv")
    assert [(problem.place, problem.found) for problem in caught.value.problems] == [
        ("line 2.mm", '"x"'),
        ("line 2.mm2", '"y"'),
        ("line 3.marks", '"dull"'),
        ("line 3.marks", '"flat"'),
        ("line 6.mm", '"z"'),
    ]


def test_single_dents_need_a_column_of_sizes_and_no_others() -> None:
    assert mistakes("panel,size\nhood,3\n", True) == {
        "line 1.size": 'the unknown column "size"',
        "line 1.mm": "no such column",
    }


@given(st.integers(1, 19_685))
def test_inches_are_25_4_millimetres_kept_to_the_micrometre(thousandths: int) -> None:
    inches = Decimal(thousandths).scaleb(-3)
    (panel,) = panels_from_dents(f"panel,mm\nhood,{inches}in\n", "counts.csv")
    mm = panel["dents"][0]["mm"]
    assert abs(mm - inches * Decimal("25.4")) <= Decimal("0.0005")
    assert mm == round(mm, 3)


# --- outlines from CSV ------------------------------------------------------------------------

PLATE = "POLYGON ((0 0, 1000 0, 1000 600, 0 600, 0 0))"


def outlines(text: str) -> dict[str, dict[str, Any]]:
    return outlines_from_csv(text, "outlines.csv")


def outline_mistakes(text: str) -> dict[str, str]:
    with pytest.raises(InputError) as caught:
        outlines(text)
    assert {problem.file for problem in caught.value.problems} == {"outlines.csv"}
    return {problem.place: problem.found for problem in caught.value.problems}


def test_an_outlines_file_has_a_row_a_shape() -> None:
    text = (
        "panel,kind,reach_mm,wkt\n"
        f'hood,outline,,"{PLATE}"\n'
        'hood,body-line,2.5,"LINESTRING (0 300, 1000 300)"\n'
        "hood,edge,25,\n"
        'roof,braced,0,"POLYGON ((10 10, 90 10, 90 90, 10 10))"\n'
    )
    assert outlines(text) == {
        "hood": {
            "outline": PLATE,
            "zones": [
                {
                    "kind": "body-line",
                    "shape": "LINESTRING (0 300, 1000 300)",
                    "reach_mm": Decimal("2.5"),
                },
                {"kind": "edge", "reach_mm": 25},
            ],
        },
        "roof": {"zones": [{"kind": "braced", "shape": "POLYGON ((10 10, 90 10, 90 90, 10 10))"}]},
    }


def test_the_reach_may_be_left_out_of_an_outlines_file() -> None:
    assert outlines(f'panel,kind,wkt\nhood,outline,"{PLATE}"\n') == {"hood": {"outline": PLATE}}


def test_mistakes_in_an_outlines_file_are_reported_together() -> None:
    text = (
        "panel,kind,reach_mm,wkt\n"
        f'wing,outline,,"{PLATE}"\n'
        f'hood,hole,,"{PLATE}"\n'
        f'hood,outline,,"{PLATE}"\n'
        f'hood,outline,,"{PLATE}"\n'
        "hood,edge,wide,\n"
        "roof,sharp,5,\n"
    )
    assert outline_mistakes(text) == {
        "line 2.panel": '"wing"',
        "line 3.kind": '"hole"',
        "line 5": "a second outline of the hood",
        "line 6.reach_mm": '"wide"',
        "line 7.kind": '"sharp"',
    }


@pytest.mark.parametrize("cell", ["NaN", "inf", "1e2", "20mm", "12345678"])
def test_a_reach_that_is_none(cell: str) -> None:
    assert outline_mistakes(f"panel,kind,reach_mm,wkt\nhood,edge,{cell},\n") == {
        "line 2.reach_mm": f'"{cell}"'
    }


@pytest.mark.parametrize(
    ("head", "found"),
    [
        ("panel,kind", {"line 1.wkt": "no such column"}),
        ("panel,wkt", {"line 1.kind": "no such column"}),
        ("kind,wkt", {"line 1.panel": "no such column"}),
        ("panel,kind,wkt,side", {"line 1.side": 'the unknown column "side"'}),
        ("panel,kind,wkt,wkt", {"line 1.wkt": 'the column "wkt" twice'}),
    ],
)
def test_the_columns_of_an_outlines_file(head: str, found: dict[str, str]) -> None:
    assert outline_mistakes(f"{head}\n") == found


# --- the same vehicle counted in different files ----------------------------------------------


@settings(max_examples=examples(60))
@given(
    st.dictionaries(
        st.sampled_from(["hood", "roof", "door-fl"]),
        st.dictionaries(st.sampled_from(COINS), st.integers(0, 3), min_size=1),
        min_size=1,
    )
)
def test_a_vehicle_tallied_in_a_csv_or_in_its_claim_file_has_the_same_sheet(
    counts: dict[str, dict[str, int]],
) -> None:
    file = io.StringIO()
    writer = csv.DictWriter(file, ["panel", *COINS], restval="")
    writer.writeheader()
    for panel, tally in counts.items():
        writer.writerow({"panel": panel, **tally})
    from_csv = priced(a_claim(*tallies(file.getvalue())))
    from_claim = priced(a_claim(*({"panel": p, "tally": tally} for p, tally in counts.items())))
    assert from_csv.lines == from_claim.lines
    assert from_csv.totals == from_claim.totals


@given(st.text(alphabet='panel,mdime\n\r"hood1;.\t \ufeff\ud800é:+x', max_size=60))
def test_any_text_at_all_is_read_or_refused(text: str) -> None:
    for head in ("", "panel,dime\n", "panel,mm\n", "panel,mm,x,y\n", "panel,kind,wkt\n"):
        for read in (tallies, lambda made: panels_from_dents(made, "counts.csv"), outlines):
            try:
                panels = read(head + text)
            except InputError as error:
                found = error.problems
            else:
                found = ()
                assert isinstance(panels, list | dict)
            assert all(str(problem) for problem in found)
