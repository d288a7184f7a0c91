"""The survey of a panel: from files of marks and outlines to what is said of a whole claim.

Millimetres. Files are read as the command line reads them; a mistake is named by its own file.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings

from hailcalc.claimfile import ClaimParts, claim_from_data, require_claim
from hailcalc.counting.survey import survey_claim
from hailcalc.estimate import Estimate, price
from hailcalc.intake import take_in
from hailcalc.problems import InputError
from hailcalc.sheet.document import sheet_json, sheet_text
from hailcalc.sheet.verify import read_sheet, verify_sheet
from hailcalc.vehicle import BODIES
from tests.builders import MATRICES, Table, claim, estimate, matrix, removal_and_tax, sheet
from tests.effort import examples
from tests.plain_counting import marked_dents
from tests.strategies import priced_together

PLATE = "POLYGON ((0 0, 1000 0, 1000 600, 0 600, 0 0))"
MATRIX = str(next(iter(sorted(MATRICES.glob("*.toml")))))


def hood(*dents: Table, **more: Any) -> Table:
    return {"panel": "hood", "dents": list(dents), **more}


def dent(x: float, y: float, **more: Any) -> Table:
    return {"mm": 12, "x": x, "y": y, **more}


class Files:
    """Files of one claim in a folder, and what comes of them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.paths: dict[str, Path] = {}
        self.write("claim", "claim.json", json.dumps(claim()))

    def write(self, option: str, name: str, text: str) -> Files:
        self.paths[option] = self.folder / name
        self.paths[option].write_text(text, "utf-8")
        return self

    def priced(self) -> Estimate:
        intake = take_in(matrix=MATRIX, **self.paths)
        return price(intake.claim, intake.compiled)

    def mistakes(self) -> list[tuple[str, str, str]]:
        """File, place and found."""
        with pytest.raises(InputError) as caught:
            self.priced()
        return [(Path(p.file).name, p.place, p.found) for p in caught.value.problems]


@pytest.fixture
def files(tmp_path: Path) -> Files:
    return Files(tmp_path)


MARKS_CSV = "panel,x,y,mm\nhood,300,200,12\nhood,700,500,9\n"
MARKS_GEOJSON = json.dumps(
    {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "geometry": {"type": "Point", "coordinates": [x, y]},
                "properties": {"panel": "hood", "mm": mm},
            }
            for x, y, mm in ((300, 200, 12), (700, 500, 9))
        ],
    }
)
OUTLINES_CSV = (
    f'panel,kind,reach_mm,wkt\nhood,outline,,"{PLATE}"\n'
    'hood,braced,,"POLYGON ((250 150, 350 150, 350 250, 250 250, 250 150))"\n'
)
OUTLINES_GEOJSON = json.dumps(
    {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "geometry": {"type": "Polygon", "coordinates": [ring]},
                "properties": {"panel": "hood", "kind": kind},
            }
            for kind, ring in (
                ("outline", [[0, 0], [1000, 0], [1000, 600], [0, 600], [0, 0]]),
                ("braced", [[250, 150], [350, 150], [350, 250], [250, 250], [250, 150]]),
            )
        ],
    }
)


# --- files ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("dents", "marks"), [("marks.csv", MARKS_CSV), ("marks.geojson", MARKS_GEOJSON)]
)
@pytest.mark.parametrize(
    ("outlines", "shapes"),
    [("outlines.csv", OUTLINES_CSV), ("outlines.geojson", OUTLINES_GEOJSON),
     ("outlines.json", OUTLINES_GEOJSON)],
)  # fmt: skip
def test_marks_and_outlines_may_come_as_csv_or_as_geojson(
    files: Files, dents: str, marks: str, outlines: str, shapes: str
) -> None:
    files.write("dents", dents, marks).write("outlines", outlines, shapes)
    (result,) = files.priced().panels
    assert result.survey is not None
    assert not result.survey.shape.generic
    assert result.survey.zone_marks == (("braced",), ())
    assert result.count.marks == {"braced": 1}


def test_marks_without_outlines_are_held_against_the_generic_one(files: Files) -> None:
    (result,) = files.write("dents", "marks.csv", MARKS_CSV).priced().panels
    assert result.survey is not None
    assert result.survey.shape.generic


@pytest.mark.parametrize(
    ("name", "text"),
    [
        (
            "marks.csv",
            "panel,x,y,mm\nhood,-89.630001,44.960001,12\nhood,-89.630002,44.960003,9\n",
        ),
        (
            "marks.geojson",
            MARKS_GEOJSON.replace("300, 200", "-89.630001, 44.960001").replace(
                "700, 500", "-89.630002, 44.960003"
            ),
        ),
    ],
)
def test_marks_in_degrees_are_told_with_the_name_of_their_file(
    files: Files, name: str, text: str
) -> None:
    assert files.write("dents", name, text).mistakes() == [
        (
            name,
            "panel hood.dents",
            "marks near -89.630001, 44.960001, which look like degrees",
        )
    ]


def test_an_outline_in_degrees_or_metres_is_told_with_the_name_of_its_file(files: Files) -> None:
    globe = "-89.63 44.96, -89.62998 44.96, -89.62998 44.96001, -89.63 44.96"
    for ring, unit in ((globe, "degrees"), ("0 0, 1.4 0, 1.4 0.9, 0 0", "degrees, metres or")):
        text = f'panel,kind,wkt\nhood,outline,"POLYGON (({ring}))"\n'
        files.write("dents", "marks.csv", MARKS_CSV).write("outlines", "outlines.csv", text)
        ((name, place, found),) = files.mistakes()
        assert (name, place) == ("outlines.csv", "panel hood.outline")
        assert f"looks like {unit}" in found


def test_marks_in_metres_stand_on_one_another_and_that_is_told(files: Files) -> None:
    metres = "panel,x,y,mm\nhood,0.3,0.2,12\nhood,0.7,0.5,9\n"
    files.write("outlines", "outlines.csv", OUTLINES_CSV)
    told = files.write("dents", "marks.csv", metres).priced().warnings
    assert any("the same dent may be marked twice" in words for words in told)


def test_a_mark_off_the_panel_is_told_with_the_name_of_its_file(files: Files) -> None:
    files.write("outlines", "outlines.csv", OUTLINES_CSV)
    files.write("dents", "marks.csv", "panel,x,y,mm\nhood,300,200,12\nhood,1012,300,9\n")
    assert files.mistakes() == [
        ("marks.csv", "panel hood.dents[1]", "a mark at 1012, 300, 12.0 mm off the panel")
    ]


def test_x_without_y_and_some_dents_without_a_place_are_told_with_their_file(files: Files) -> None:
    files.write("dents", "marks.csv", "panel,x,y,mm\nhood,300,,12\nhood,,,9\nhood,1,2,9\n")
    assert files.mistakes() == [
        ("marks.csv", "panel hood.dents[0]", "x without y"),
        ("marks.csv", "panel hood.dents", "1 of 3 dents with a place on the panel"),
    ]


def test_a_zone_beyond_its_outline_is_told_with_the_name_of_the_outlines_file(files: Files) -> None:
    text = OUTLINES_CSV.replace("350 250", "350 712")
    files.write("dents", "marks.csv", MARKS_CSV).write("outlines", "outlines.csv", text)
    assert files.mistakes() == [
        (
            "outlines.csv",
            "panel hood.zones[0].shape",
            "a zone that reaches 112.0 mm beyond the outline",
        )
    ]


def test_mistakes_of_all_files_are_told_together(files: Files) -> None:
    files.write("dents", "marks.csv", "panel,x,y,mm\nhood,300,NaN,12\n")
    files.write("outlines", "outlines.geojson", "{")
    assert {name for name, _, _ in files.mistakes()} == {"marks.csv", "outlines.geojson"}


def test_outlines_serve_the_panels_of_the_claim_file_too(files: Files) -> None:
    files.write("claim", "claim.json", json.dumps(claim(hood(dent(300, 200)))))
    (result,) = files.write("outlines", "outlines.csv", OUTLINES_CSV).priced().panels
    assert result.count.marks == {"braced": 1}


# --- which panels are surveyed ----------------------------------------------------------------


def test_a_plain_tally_or_dents_without_a_place_need_no_outline() -> None:
    priced = estimate(
        claim({"panel": "hood", "tally": {"dime": 3}}, {"panel": "roof", "dents": [{"mm": 12}]})
    )
    assert [result.survey for result in priced.panels] == [None, None]


def test_dents_without_a_place_are_not_marked_by_an_own_outline() -> None:
    zone = {"kind": "braced", "shape": PLATE}
    priced = estimate(claim({"panel": "hood", "dents": [{"mm": 12}], "outline": PLATE,
                             "zones": [zone]}))  # fmt: skip
    assert priced.panels[0].count.marks == {}


@pytest.mark.parametrize("body", BODIES)
def test_a_mark_in_the_middle_of_any_hood_is_on_it(body: str) -> None:
    priced = estimate(claim(hood(dent(600, 450)), body=body))
    assert priced.panels[0].count.all == 1
    assert priced.warnings == ()


def test_a_generic_outline_is_scaled_to_the_vehicle() -> None:
    far = hood(dent(1480, 300))
    assert estimate(claim(far, vehicle={"width_mm": 2600})).warnings == ()
    with pytest.raises(InputError, match="mm off the panel"):
        estimate(claim(far, vehicle={"width_mm": 1000}))


def test_a_panel_that_the_body_lacks_is_one_mistake_and_not_surveyed_besides() -> None:
    reading = claim_from_data(claim({"panel": "liftgate", "dents": [dent(-900, 0)]}))
    assert [problem.place for problem in reading.problems] == ["panels[0].panel"]
    assert survey_claim(reading.parts) == ({}, [])


def test_without_a_sound_vehicle_nothing_is_surveyed() -> None:
    data = claim(hood(dent(-900, 0)))
    data["vehicle"]["body"] = "truck"
    assert survey_claim(claim_from_data(data).parts) == ({}, [])


def test_a_panel_with_half_a_place_is_told_once_and_not_surveyed() -> None:
    reading = claim_from_data(claim(hood(dent(3000, 200), {"mm": 12, "x": 4})))
    assert [problem.found for problem in reading.problems] == [
        "x without y",
        "1 of 2 dents with a place on the panel",
    ]
    surveys, problems = survey_claim(reading.parts)
    assert problems == []
    assert surveys[0].zone_marks == ()


def test_mistakes_on_several_panels_are_told_together() -> None:
    made = claim(
        hood(dent(300, 200), outline="POINT (1 2)"),
        {"panel": "roof", "dents": [dent(-900, 0)]},
        {"panel": "decklid", "sample": {"side_mm": 4000, "squares": [{"tally": {"dime": 1}}]}},
    )
    parts = ClaimParts.of(require_claim(claim_from_data(made)))
    surveys, problems = survey_claim(parts)
    assert surveys == {}
    assert [problem.place for problem in problems] == [
        "panels[0].outline",
        "panels[1].dents[0]",
        "panels[2].sample.side_mm",
    ]


def test_a_replaced_or_agreed_panel_is_counted_by_its_marks_all_the_same() -> None:
    zone = {"kind": "braced", "shape": PLATE}
    own = {"outline": PLATE, "zones": [zone]}
    replaced = hood(dent(300, 200), access="replace", replace_cost="640.00", **own)
    agreed = hood(dent(300, 200), agreed="99.00", **own)
    for panel, amount in ((replaced, 64000), (agreed, 9900)):
        priced = estimate(claim(panel))
        assert [line.amount for line in priced.lines] == [amount]
        assert priced.panels[0].count.marks == {"braced": 1}


def test_dents_all_glue_only_by_their_place_need_no_part_removed() -> None:
    """The place decides as the estimator's own mark does."""
    closed = {"kind": "glue-only", "shape": PLATE}
    made = matrix(**removal_and_tax())
    there = estimate(claim(hood(dent(300, 200), outline=PLATE, zones=[closed])), made)
    elsewhere = estimate(claim(hood(dent(300, 200), outline=PLATE)), made)
    assert "removal" not in [line.kind for line in there.lines]
    assert "removal" in [line.kind for line in elsewhere.lines]


# --- the sheet --------------------------------------------------------------------------------


@settings(max_examples=examples(60))
@given(priced_together())
def test_the_evidence_of_any_claim_verifies_and_counts_marks_as_plain_counting_does(
    pair: tuple[Table, Table],
) -> None:
    made, matrix_data = pair
    text = sheet_text(sheet_json(estimate(made, matrix_data)))
    document = read_sheet(text, "sheet")
    assert verify_sheet(document) == []
    panels = {panel["panel"]: panel for panel in made["panels"]}
    for counted in document["evidence"]["counts"]:
        if counted["method"] == "marks":
            dents = marked_dents(panels[counted["panel"]], made["vehicle"])
            said = [mark for each in dents for mark in each["marks"]]
            assert counted["marked"] == {mark: said.count(mark) for mark in sorted(set(said))}
            assert counted["dents"] == len(dents)


def test_a_mark_moved_in_a_sheet_is_found() -> None:
    zone = {"kind": "braced", "shape": "POLYGON ((250 150, 350 150, 350 250, 250 250, 250 150))"}
    document = sheet(estimate(claim(hood(dent(300, 200), outline=PLATE, zones=[zone]))))
    assert verify_sheet(document) == []
    document["claim_file"]["panels"][0]["dents"][0]["x"] = 500
    places = [difference.where for difference in verify_sheet(document)]
    assert "evidence.counts[0].marked.braced" in places
    assert "digest" in places
