"""Outlines and marks that come in files of their own: what they change, and who is to blame.

Files are read as the command line reads them. Sizes and places in mm.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from hailcalc.estimate import Estimate, price
from hailcalc.intake import take_in
from hailcalc.problems import InputError
from tests.builders import COUNTS, MATRICES, Table, claim, panel
from tests.test_cli import BAD_INPUT, DONE, hailcalc

PLATE = "POLYGON ((0 0, 1000 0, 1000 600, 0 600, 0 0))"
LEFT_HALF = "POLYGON ((0 0, 500 0, 500 600, 0 600, 0 0))"
MATRIX = str(MATRICES / "copperfin-2026.toml")


def mark(x: float, y: float, mm: float = 12) -> Table:
    return {"mm": mm, "x": x, "y": y}


def hood(*dents: Table, **more: Any) -> Table:
    return {"panel": "hood", "dents": list(dents or (mark(300, 200), mark(700, 500))), **more}


class Desk:
    """A claim file and files beside it, in a folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.given: dict[str, Path] = {}

    def claim(self, *panels: Table, **more: Any) -> Desk:
        return self.file("claim", "claim.json", json.dumps(claim(*panels, **more)))

    def file(self, option: str, name: str, text: str) -> Desk:
        self.given[option] = self.folder / name
        self.given[option].write_text(text, "utf-8")
        return self

    def outlines(self, *rows: tuple[str, str, str, str]) -> Desk:
        lines = [f'{name},{kind},{reach},"{wkt}"' for name, kind, reach, wkt in rows]
        text = "\n".join(["panel,kind,reach_mm,wkt", *lines]) + "\n"
        return self.file("outlines", "own.csv", text)

    def features(self, option: str, name: str, *features: Table) -> Desk:
        text = json.dumps({"type": "FeatureCollection", "features": list(features)})
        return self.file(option, name, text)

    def priced(self) -> Estimate:
        intake = take_in(matrix=MATRIX, **self.given)
        return price(intake.claim, intake.compiled)

    def notes(self) -> tuple[str, ...]:
        """What is said of how the files fit each other."""
        return take_in(matrix=MATRIX, **self.given).notes

    def mistakes(self) -> list[tuple[str, str, str]]:
        """File, place and what was found."""
        with pytest.raises(InputError) as caught:
            self.priced()
        return [(Path(p.file).name, p.place, p.found) for p in caught.value.problems]


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return Desk(tmp_path)


def feature(geometry: Any, **properties: Any) -> Table:
    return {"type": "Feature", "geometry": geometry, "properties": properties}


def polygon(*ring: tuple[float, float]) -> Table:
    return {"type": "Polygon", "coordinates": [[list(point) for point in (*ring, ring[0])]]}


def marks_of(priced: Estimate, name: str = "hood") -> dict[str, int]:
    (result,) = [found for found in priced.panels if found.panel.panel == name]
    return result.count.marks


# --- what the files do ------------------------------------------------------------------------


def test_an_outline_with_zones_marks_the_claims_dents_from_csv_as_from_geojson(desk: Desk) -> None:
    desk.claim(hood())
    desk.outlines(
        ("hood", "outline", "", PLATE),
        ("hood", "braced", "", LEFT_HALF),
        ("hood", "body-line", "3", "LINESTRING (600 500, 900 500)"),
        ("hood", "edge", "101", ""),
    )
    from_csv = desk.priced()
    assert marks_of(from_csv) == {"braced": 1, "body-line": 1, "edge": 1}
    square = polygon((0, 0), (1000, 0), (1000, 600), (0, 600))
    half = polygon((0, 0), (500, 0), (500, 600), (0, 600))
    line = {"type": "LineString", "coordinates": [[600, 500], [900, 500]]}
    desk.features(
        "outlines", "own.geojson",
        feature(square, panel="hood", kind="outline"),
        feature(half, panel="hood", kind="braced"),
        feature(line, panel="hood", kind="body-line", reach_mm=3),
        feature(None, panel="hood", kind="edge", reach_mm=101),
    )  # fmt: skip
    from_geojson = desk.priced()
    assert marks_of(from_geojson) == marks_of(from_csv)
    assert from_geojson.lines == from_csv.lines
    assert from_geojson.totals == from_csv.totals


def test_zones_without_an_outline_go_on_the_generic_one(desk: Desk) -> None:
    desk.claim(hood())
    desk.outlines(("hood", "glue-only", "", "POLYGON ((250 150, 350 150, 350 250, 250 150))"))
    priced = desk.priced()
    survey = priced.panels[0].survey
    assert survey is not None
    assert survey.shape.generic
    assert [zone.kind for zone in survey.shape.zones] == ["glue-only"], "in place of ours"
    assert marks_of(priced) == {"glue-only": 1}


def test_an_outline_of_the_file_goes_before_the_claims_own(desk: Desk) -> None:
    desk.claim(hood(outline="POLYGON ((0 0, 400 0, 400 600, 0 600, 0 0))"))
    assert [found for _, _, found in desk.mistakes()] == [
        "a mark at 700, 500, 300.0 mm off the panel"
    ]
    desk.outlines(("hood", "outline", "", PLATE))
    assert desk.priced().panels[0].count.all == 2
    (note,) = desk.notes()
    assert note.startswith("hood: the claim's own outline or zones are replaced")


def test_zones_of_the_file_go_before_the_claims_own_and_its_outline_stays(desk: Desk) -> None:
    own = [{"kind": "braced", "shape": LEFT_HALF}]
    desk.claim(hood(outline=PLATE, zones=own))
    assert marks_of(desk.priced()) == {"braced": 1}
    desk.outlines(("hood", "glue-only", "", LEFT_HALF))
    assert marks_of(desk.priced()) == {"glue-only": 1}


def test_outlines_of_panels_that_the_claim_has_not_are_not_used_and_it_is_said(
    desk: Desk,
) -> None:
    """A shop keeps one file for a vehicle, of which a claim names the damaged panels only."""
    desk.claim(hood())
    desk.outlines(("hood", "outline", "", PLATE))
    alone = desk.priced()
    assert desk.notes() == ()
    desk.outlines(
        ("hood", "outline", "", PLATE),
        ("roof", "outline", "", "POLYGON ((0 0, 3 0, 3 3, 0 0))"),
        ("tailgate", "braced", "", "no WKT at all"),
    )
    assert desk.priced().lines == alone.lines
    (note,) = desk.notes()
    assert "own.csv" in note
    assert "roof, tailgate are not used" in note


def test_outlines_of_none_of_the_claims_panels_are_the_wrong_file(desk: Desk) -> None:
    desk.claim(hood()).outlines(("roof", "outline", "", PLATE))
    assert desk.mistakes() == [("own.csv", "", "outlines of roof")]


def test_outlines_serve_the_panels_that_come_from_files_of_counts_too(desk: Desk) -> None:
    desk.claim()
    desk.file("dents", "marks.csv", "panel,x,y,mm\nhood,300,200,12\nhood,700,500,9\n")
    desk.outlines(("hood", "outline", "", PLATE), ("hood", "braced", "", LEFT_HALF))
    assert marks_of(desk.priced()) == {"braced": 1}


def test_a_tallied_panel_keeps_its_tally_whatever_its_outline(desk: Desk) -> None:
    desk.claim(panel("hood"))
    plain = desk.priced()
    desk.outlines(("hood", "outline", "", PLATE), ("hood", "braced", "", LEFT_HALF))
    assert desk.priced().lines == plain.lines


def test_a_sampled_panel_is_scaled_to_the_area_of_its_own_outline(desk: Desk) -> None:
    squares = [{"tally": {"dime": 2}}, {"tally": {"dime": 1}}]
    desk.claim({"panel": "hood", "sample": {"side_mm": 200, "squares": squares}})
    desk.outlines(("hood", "outline", "", PLATE))
    # 3 dents in 800 of 6,000 cm²: 22.5, rounded away from zero.
    assert desk.priced().panels[0].count.all == 23


@pytest.mark.parametrize("name", ["marks.geojson", "marks.GeoJSON", "marks.json"])
def test_single_dents_may_be_geojson_points_known_by_the_files_ending(
    desk: Desk, name: str
) -> None:
    desk.claim(panel("roof"))
    points = [
        feature({"type": "Point", "coordinates": [300, 200]}, panel="hood", mm=12),
        feature({"type": "Point", "coordinates": [700, 500]}, panel="hood", mm=9, mm2=19),
        feature({"type": "Point", "coordinates": [60, 300]}, panel="door-fl", mm=9, marks="sharp"),
    ]
    desk.features("dents", name, *points)
    counted = {result.panel.panel: result.count for result in desk.priced().panels}
    assert counted["hood"].all == 2
    assert counted["hood"].counts[:2] == (1, 1), "the longer axis counts"
    assert counted["door-fl"].marks["sharp"] == 1
    assert counted["roof"].all == 3


def test_the_demos_marks_are_the_same_hood_as_csv_and_as_geojson() -> None:
    found = [
        take_in(COUNTS / "hatch-claim-header.json", MATRIX, dents=COUNTS / name, outlines=outlines)
        for name in ("hatch-hood-marks.csv", "hatch-hood-marks.geojson")
        for outlines in (None, COUNTS / "hatch-hood-outline.csv")
    ]
    csv, csv_own, geojson, geojson_own = (price(one.claim, one.compiled) for one in found)
    assert csv.lines == geojson.lines
    assert csv_own.lines == geojson_own.lines
    assert csv.panels[0].count.all == csv_own.panels[0].count.all == 23


# --- whose mistake it is ----------------------------------------------------------------------


def test_a_mistake_in_a_shape_names_the_outlines_file_the_panel_and_the_zone(desk: Desk) -> None:
    desk.claim(hood(), panel("roof"))
    desk.outlines(
        ("hood", "outline", "", PLATE),
        ("hood", "braced", "", "POLYGON ((900 100, 1100 100, 1100 200, 900 100))"),
        ("hood", "glue-only", "", "POLYGON ((0 0, 100 100, 100 0, 0 100, 0 0))"),
        ("roof", "outline", "", "POINT (1 2)"),
    )
    told = desk.mistakes()
    assert [(file, place) for file, place, _ in told] == [
        ("own.csv", "panel hood.zones[0].shape"),
        ("own.csv", "panel hood.zones[1].shape"),
        ("own.csv", "panel roof.outline"),
    ]
    assert told[0][2] == "a zone that reaches 100.0 mm beyond the outline"
    assert "self-intersection" in told[1][2]
    assert told[2][2].lower() == "a point"


def test_a_mistake_in_the_claims_own_shape_names_the_claim(desk: Desk) -> None:
    """The file brings an outline; the zone that does not fit on it is the claim's own."""
    far = {"kind": "braced", "shape": "POLYGON ((900 0, 1300 0, 1300 100, 900 0))"}
    desk.claim(hood(zones=[far]))
    desk.outlines(("hood", "outline", "", PLATE))
    assert [(file, place) for file, place, _ in desk.mistakes()] == [
        ("claim.json", "panels[0].zones[0].shape")
    ]


def test_a_mark_off_an_outline_of_the_file_is_a_mistake_of_whoever_placed_the_mark(
    desk: Desk,
) -> None:
    small = "POLYGON ((0 0, 400 0, 400 600, 0 600, 0 0))"
    desk.claim(hood()).outlines(("hood", "outline", "", small))
    assert desk.mistakes() == [
        ("claim.json", "panels[0].dents[1]", "a mark at 700, 500, 300.0 mm off the panel")
    ]
    desk.claim().outlines(("hood", "outline", "", small))
    desk.file("dents", "marks.csv", "panel,x,y,mm\nhood,300,200,12\nhood,700,500,9\n")
    assert desk.mistakes() == [
        ("marks.csv", "panel hood.dents[1]", "a mark at 700, 500, 300.0 mm off the panel")
    ]


def test_mistakes_of_claim_marks_and_outlines_come_together(desk: Desk) -> None:
    desk.claim(panel("roof", tally={"dime": -1}))
    desk.file("dents", "marks.csv", "panel,x,y,mm\nhood,300,200,wide\n")
    desk.outlines(("hood", "braces", "", PLATE), ("bonnet", "outline", "", PLATE))
    told = {(file, place) for file, place, _ in desk.mistakes()}
    assert told == {
        ("claim.json", "panels[0].tally.dime"),
        ("marks.csv", "line 2.mm"),
        ("own.csv", "line 2.kind"),
        ("own.csv", "line 3.panel"),
    }


def test_a_mistake_in_geojson_outlines_names_the_feature(desk: Desk) -> None:
    desk.claim(hood())
    desk.features(
        "outlines", "own.geojson",
        feature(polygon((0, 0), (9, 9), (0, 9)), panel="hood", kind="brace"),
        feature(None, panel="hood", kind="edge", reach_mm="wide"),
    )  # fmt: skip
    assert {(file, place) for file, place, _ in desk.mistakes()} == {
        ("own.geojson", "features[0].kind"),
        ("own.geojson", "features[1].properties.reach_mm"),
    }


def test_an_outline_in_degrees_or_metres_is_refused_by_the_outlines_file(desk: Desk) -> None:
    desk.claim(hood())
    degrees = "POLYGON ((12.50001 47.9, 12.50003 47.9, 12.50003 47.90001, 12.50001 47.9))"
    for wkt in (degrees, "POLYGON ((0 0, 1.4 0, 1.4 0.9, 0 0))"):
        desk.outlines(("hood", "outline", "", wkt))
        ((file, place, found),) = desk.mistakes()
        assert (file, place) == ("own.csv", "panel hood.outline")
        assert "looks like degrees" in found


@pytest.mark.parametrize(
    ("name", "text"),
    [("own.csv", ""), ("own.geojson", "{}"), ("own.json", "[]"), ("own.csv", "panel,kind\n")],
)
def test_a_file_that_holds_no_outlines_is_refused_by_its_name(
    desk: Desk, name: str, text: str
) -> None:
    desk.claim(hood()).file("outlines", name, text)
    assert {file for file, _, _ in desk.mistakes()} == {name}


def test_an_outlines_file_that_is_not_there_is_named(desk: Desk, tmp_path: Path) -> None:
    desk.claim(hood())
    desk.given["outlines"] = tmp_path / "none.csv"
    assert [(file, place) for file, place, _ in desk.mistakes()] == [("none.csv", "")]


def test_the_same_panel_in_the_claim_and_in_a_file_of_marks_is_told_once(desk: Desk) -> None:
    desk.claim(hood())
    desk.file("dents", "marks.csv", "panel,x,y,mm\nhood,300,200,12\n")
    desk.outlines(("hood", "outline", "", PLATE))
    assert [(file, place) for file, place, _ in desk.mistakes()] == [
        ("marks.csv", "panel hood.panel")
    ]


# --- the command ------------------------------------------------------------------------------


def test_the_command_takes_marks_and_outlines_and_the_sheet_verifies(tmp_path: Path) -> None:
    ran = hailcalc(
        "price", COUNTS / "hatch-claim-header.json",
        "--dents", COUNTS / "hatch-hood-marks.geojson",
        "--outlines", COUNTS / "hatch-hood-outline.csv",
        "--pdf", tmp_path / "s.pdf", "--json", tmp_path / "s.json",
    )  # fmt: skip
    assert ran.returncode == DONE, ran.stderr
    document = json.loads((tmp_path / "s.json").read_text("utf-8"))
    (counted,) = document["evidence"]["counts"]
    assert (counted["method"], counted["outline"], counted["dents"]) == (
        "marks", "the shop's own", 23,
    )  # fmt: skip
    verified = hailcalc("verify", tmp_path / "s.pdf")
    assert verified.returncode == DONE, verified.stdout


def test_the_command_names_the_outlines_file_and_writes_nothing(tmp_path: Path) -> None:
    (tmp_path / "own.csv").write_text('panel,kind,reach_mm,wkt\nhood,outline,,"POLYGON EMPTY"\n')
    ran = hailcalc(
        "price", COUNTS / "hatch-claim-header.json",
        "--dents", COUNTS / "hatch-hood-marks.csv",
        "--outlines", tmp_path / "own.csv", "--pdf", tmp_path / "s.pdf",
    )  # fmt: skip
    assert (ran.returncode, ran.stdout) == (BAD_INPUT, "")
    assert (
        f"{tmp_path / 'own.csv'}: panel hood.outline: found an empty polygon" in ran.stderr.lower()
    )
    assert not (tmp_path / "s.pdf").exists()
