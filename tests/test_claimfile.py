"""The claim file: the same after reading and writing, and every mistake named by its place.

Counts of dents, millimetres, money as decimal strings. A mistake is told by place, by what was
found, and by what was expected; one file's mistakes appear together.
"""

from __future__ import annotations

import json
from copy import deepcopy
from typing import Any

import pytest
from hypothesis import given, settings

from hailcalc.claimfile import (
    MAX_DENTS,
    claim_from_data,
    has_positions,
    read_claim,
    require_claim,
)
from hailcalc.fields import as_json
from hailcalc.problems import InputError
from tests.effort import examples
from tests.strategies import priced_together
from tests.test_estimate import a_claim, hood, roof

Table = dict[str, Any]


@settings(max_examples=examples(150))
@given(priced_together())
def test_a_claim_is_the_same_after_reading_and_writing(pair: tuple[Table, Table]) -> None:
    claim, _ = pair
    read = require_claim(read_claim(json.dumps(claim)))
    assert as_json(read) == claim
    assert require_claim(claim_from_data(as_json(read))) == read


def test_what_a_claim_does_not_say() -> None:
    claim = require_claim(claim_from_data(a_claim(hood())))
    (panel,) = claim.panels
    assert (panel.metal, panel.repainted, panel.access) == ("steel", False, "push")
    assert (panel.tally, panel.marked, panel.oversize, panel.dents) == ({}, {}, (), ())
    assert (panel.sample, panel.outline, panel.zones) == (None, None, ())
    assert not has_positions(panel)
    assert claim.claim.deductible == "0"


def test_everything_that_a_claim_may_say() -> None:
    claim = a_claim(
        {
            "panel": "hood", "metal": "composite", "repainted": True, "access": "glue",
            "tally": {"dime": 34, "nickel": 12},
            "marked": {"braced": {"dime": 6}, "glue-only": {}, "sharp": {"nickel": 12}},
            "oversize": [{"mm": 41.125, "marks": ["body-line", "edge"]}],
            "agreed": "500.00", "replace_cost": "640.00", "note": "counted twice — 34 and 35",
        },
        {"panel": "roof", "dents": [{"mm": 17.2, "mm2": 9, "marks": ["braced"]}, {"mm": 3}]},
        {
            "panel": "decklid",
            "dents": [{"mm": 17.2, "x": 412.25, "y": -3, "marks": ["sharp"]}],
            "outline": "POLYGON ((0 0, 1400 0, 1400 700, 0 700, 0 0))",
            "zones": [
                {"kind": "edge", "reach_mm": 25.5},
                {
                    "kind": "body-line",
                    "shape": {"type": "LineString", "coordinates": [[0, 350.5], [1400, 350]]},
                },
            ],
        },
        {
            "panel": "door-fl",
            "sample": {
                "side_mm": 152.4,
                "squares": [
                    {"tally": {"dime": 9}, "marked": {"edge": {"dime": 1}}, "at": [10, 20.5]},
                    {"tally": {}, "at": [300, 20]},
                ],
            },
            "oversize": [{"mm": 41}],
        },
        claim={
            "insurer": "Quillwort Mutual (invented)", "customer": "Ada Quillwort",
            "dated": "2026-05-21", "estimator": "B. Larkspur", "deductible": "500.00",
            "loss_location": {"lat": 44.96, "lon": -89.63},
        },
        matrix="larkspur",
        shop={"name": "Copperfin", "address": "1 Invented Way", "contact": "", "licence": "7"},
        conditions={"panel_temperature_c": -3.5},
        other=[{"kind": "part", "label": "Clip", "quantity": 3, "unit_price": "1.10"}],
    )  # fmt: skip
    claim["vehicle"] |= {"vin": "1G4AH59H45G118341", "description": "blue", "value": "18500.00"}
    claim["vehicle"] |= {"length_mm": 4700, "width_mm": 1800, "height_mm": 1440}
    reading = claim_from_data(claim)
    assert reading.problems == ()
    assert as_json(require_claim(reading)) == claim


# --- mistakes ---------------------------------------------------------------------------------


def put(data: Table, path: str, value: Any) -> Table:
    """A copy of some data with one value set: `panels.0.tally`."""
    changed = deepcopy(data)
    *holders, last = path.split(".")
    inner: Any = changed
    for key in holders:
        inner = inner[int(key)] if isinstance(inner, list) else inner.setdefault(key, {})
    inner[int(last) if isinstance(inner, list) else last] = value
    return changed


def mistakes(claim: Table) -> list[tuple[str, str, str]]:
    """Place, found and expected of everything that is wrong with a claim file's text."""
    reading = read_claim(json.dumps(claim))
    assert (reading.claim is None) == bool(reading.problems)
    return [(p.place, p.found, p.expected) for p in reading.problems]


SOUND = a_claim(
    hood(tally={"dime": 3}, marked={"sharp": {"dime": 1}}, oversize=[{"mm": 41, "marks": []}]),
    roof(dents=[{"mm": 12}]),
    other=[{"kind": "part", "label": "Clip", "quantity": 3, "unit_price": "1.10"}],
    conditions={"panel_temperature_c": 24},
)


def test_the_claim_that_is_spoilt_below_is_sound() -> None:
    assert mistakes(SOUND) == []


MONEY = "a decimal string of zero or more with a point"
WHOLE = "a whole number"


@pytest.mark.parametrize(
    ("path", "value", "found", "expected"),
    [
        # counts
        ("panels.0.tally.dime", -1, "-1", "0 or more"),
        ("panels.0.tally.dime", 1.5, "1.5", WHOLE),
        ("panels.0.tally.dime", 3.0, "3.0", WHOLE),
        ("panels.0.tally.dime", 10_000, "10000", "at most 9999"),
        ("panels.0.tally.dime", 10**40, "1" + "0" * 40, "at most 9999"),
        ("panels.0.tally.dime", "3", '"3"', WHOLE),
        ("panels.0.tally.dime", True, "true", WHOLE),
        ("panels.0.tally.dime", None, "null", WHOLE),
        ("panels.0.tally", [3], "a list of 1", "a table"),
        ("panels.0.tally", None, "null", "a table"),
        ("panels.0.marked.sharp.dime", 4, "4 marked", "at most the 3 counted"),
        ("panels.0.marked.sharp.nickel", 1, "1 marked", "at most the 0 counted"),
        ("panels.0.marked.sharp.dime", -1, "-1", "0 or more"),
        ("panels.0.marked.sharp", 1, "1", "a table"),
        # places, sizes of the vehicle and samples
        ("panels.1.dents.0", {"mm": 9, "x": 3}, "x without y", "both, or neither"),
        ("panels.1.dents.0", {"mm": 9, "y": 3}, "y without x", "both, or neither"),
        ("panels.1.dents.0", {"mm": 9, "x": 3, "y": None}, "x without y", "both, or neither"),
        ("panels.1.dents.0", {"mm": 9, "x": "3", "y": 4}, '"3"', "a number"),
        ("panels.1.dents.0", {"mm": 9, "x": True, "y": 4}, "true", "a number"),
        ("panels.1.dents.0", {"mm": 9, "x": [3, 4], "y": 4}, "a list of 2", "a number"),
        ("panels.1.dents.0", {"mm": 9, "x": 1_000_001, "y": 4}, "1000001", "at most 1000000"),
        ("panels.1.dents.0", {"mm": 9, "x": 3, "y": -1e9}, "-1000000000.0", "-1000000 or more"),
        (
            "panels.1.dents",
            [{"mm": 9, "x": 3, "y": 4}, {"mm": 9}],
            "1 of 2 dents with a place on the panel",
            "a place for every dent of a panel, or for none",
        ),
        (
            "panels.1.dents",
            [{"mm": 9}, {"mm": 9, "x": 3, "y": 4}, {"mm": 9, "x": 3, "y": 4}],
            "2 of 3 dents with a place on the panel",
            "a place for every dent of a panel, or for none",
        ),
        ("vehicle.length_mm", 1999, "1999", "2000 or more"),
        ("vehicle.length_mm", 9001, "9001", "at most 9000"),
        ("vehicle.length_mm", 4.7, "4.7", WHOLE),
        ("vehicle.width_mm", "1800", '"1800"', WHOLE),
        ("vehicle.height_mm", 3501, "3501", "at most 3500"),
        (
            "panels.1.sample",
            {"side_mm": 200, "squares": [{"tally": {"dime": 1}}]},
            "sample squares beside dents, a tally or marks",
            "one way of counting",
        ),
        ("panels.1.outline", 7, "7", "WKT text, or a GeoJSON geometry"),
        ("panels.1.zones", {"kind": "edge"}, "a table", "a list"),
        ("panels.1.zones", [{"kind": "edge", "reach_mm": 600}], "600", "at most 500"),
        # names
        ("panels.0.panel", "wing", '"wing"', "'hood', 'roof'"),
        ("panels.0.panel", "Hood", '"Hood"', "'hood', 'roof'"),
        ("panels.0.panel", "liftgate", '"liftgate" on a sedan', "a panel that a sedan has"),
        ("panels.1.panel", "hood", '"hood" again, as in panels[0]', "each panel once"),
        ("panels.0.metal", "aluminum", '"aluminum"', "'steel', 'aluminium' or 'composite'"),
        ("panels.0.access", "pull", '"pull"', "'push', 'glue', 'replace' or 'plan'"),
        ("panels.0.replace_minutes", "-5", '"-5"', 'such as "84.50"'),
        ("panels.0.replace_minutes", 40, "40", "text in quotes"),
        ("vehicle.equipment", ["towbar"], '"towbar"', "'sunroof', 'roof-rack'"),
        ("aim", "speed", '"speed"', "'cost' or 'minutes'"),
        ("panels.0.repainted", "yes", '"yes"', "true or false"),
        ("panels.0.repainted", 1, "1", "true or false"),
        ("panels.0.oversize.0.marks", ["bent"], '"bent"', "'braced'"),
        ("panels.0.oversize.0.marks", ["sharp", "sharp"], '"sharp" twice', "each mark once"),
        ("vehicle.body", "truck", '"truck"', "'sedan'"),
        ("vehicle.vin", "1G4AH59H55G118341", '"1G4AH59H55G118341"', "check digit"),
        ("matrix", "Copper Fin", '"Copper Fin"', "lower-case letters"),
        ("other.0.kind", "labour", '"labour"', "'part', 'sublet'"),
        # sizes
        ("panels.0.oversize.0.mm", "41", '"41"', "a number"),
        ("panels.0.oversize.0.mm", 0, "0", "more than 0"),
        ("panels.0.oversize.0.mm", -41, "-41", "more than 0"),
        ("panels.0.oversize.0.mm", 500.001, "500.001", "at most 500"),
        ("panels.0.oversize.0.mm", 41.0001, "41.0001", "at most 3 decimals"),
        ("panels.0.oversize.0.mm", True, "true", "a number"),
        ("panels.1.dents.0.mm2", [], "a list of 0", "a number"),
        ("conditions.panel_temperature_c", 121, "121", "at most 120"),
        ("conditions.panel_temperature_c", "24", '"24"', "a number"),
        ("claim.loss_location", {"lat": 91, "lon": 0}, "91", "at most 90"),
        ("claim.loss_location", {"lat": 0, "lon": -180.5}, "-180.5", "-180 or more"),
        # money
        ("claim.deductible", 500, "500", "text in quotes"),
        ("claim.deductible", 500.0, "500.0", "text in quotes"),
        ("claim.deductible", "1,5", '"1,5"', MONEY),
        ("claim.deductible", "-500.00", '"-500.00"', MONEY),
        ("claim.deductible", "1e3", '"1e3"', MONEY),
        ("claim.deductible", "$500", '"$500"', MONEY),
        ("claim.deductible", " 500", '" 500"', MONEY),
        ("claim.deductible", "500\n", '"500\\n"', MONEY),
        ("claim.deductible", "٥", '"٥"', MONEY),
        ("claim.deductible", ".5", '".5"', MONEY),
        ("claim.deductible", "5.", '"5."', MONEY),
        ("claim.deductible", "", '""', MONEY),
        ("claim.deductible", "NaN", '"NaN"', MONEY),
        ("claim.deductible", "99999999999", '"99999999999"', MONEY),
        ("vehicle.value", "1 850", '"1 850"', MONEY),
        ("other.0.unit_price", "1.10.", '"1.10."', MONEY),
        ("other.0.quantity", 0, "0", "1 or more"),
        ("other.0.quantity", 10_000, "10000", "at most 9999"),
        ("other.0.quantity", 1.5, "1.5", WHOLE),
        # dates
        ("claim.date_of_loss", "2026-02-30", '"2026-02-30"', "a date such as 2026-05-19"),
        ("claim.date_of_loss", "19.05.2026", '"19.05.2026"', "a date"),
        ("claim.date_of_loss", "2026-5-19", '"2026-5-19"', "a date"),
        ("claim.date_of_loss", "20260519", '"20260519"', "a date"),
        ("claim.date_of_loss", "2026-W21-2", '"2026-W21-2"', "a date"),
        ("claim.date_of_loss", "2026-05-19T10:00", '"2026-05-19T10:00"', "a date"),
        ("claim.date_of_loss", 20260519, "20260519", "a date"),
        ("claim.date_of_loss", None, "null", "a date"),
        ("claim.dated", "yesterday", '"yesterday"', "a date"),
        # text
        ("claim.number", "", '""', "at least 1 character"),
        ("claim.number", "x" * 61, '"' + "x" * 59 + "… (63 characters)", "at most 60 characters"),
        ("claim.customer", "x" * 201, '"' + "x" * 59 + "… (203 characters)", "at most 200"),
        ("panels.0.note", "x" * 2001, '"' + "x" * 59 + "… (2,003 characters)", "at most 2000"),
        ("claim.customer", "Ada\nQuillwort", '"Ada\\nQuillwort"', "one line of text"),
        ("claim.customer", "\x1b[31mAda", '"\\x1b[31mAda"', "one line of text"),
        ("claim.customer", "Ada\x00", '"Ada\\x00"', "one line of text"),
        ("claim.customer", "Ada\u202e", '"Ada\\u202e"', "one line of text"),
        ("claim.customer", "Ada\u2028", '"Ada\\u2028"', "one line of text"),
        ("claim.customer", "Ada\ud800", '"Ada\\ud800"', "valid Unicode"),
        ("claim.customer", 7, "7", "text in quotes"),
        ("other.0.label", "", '""', "at least 1 character"),
        ("shop", {"name": ""}, '""', "at least 1 character"),
        # shape
        ("panels", {}, "a table", "a list"),
        ("panels.0", "hood", '"hood"', "a table"),
        ("panels.0.oversize", {"mm": 41}, "a table", "a list"),
        ("claim", [], "a list of 0", "a table"),
        ("conditions", None, "null", "a table"),
    ],
)
def test_one_mistake_is_one_problem_with_its_place(
    path: str, value: Any, found: str, expected: str
) -> None:
    problems = mistakes(put(SOUND, path, value))
    assert len(problems) == 1, problems
    place = "." + problems[0][0].replace("[", ".").replace("]", "")
    # A panel counted in two ways is a mistake of the panel.
    assert f".{path}".removesuffix(".sample") in place
    assert problems[0][1] == found
    assert expected in problems[0][2]


@pytest.mark.parametrize(
    ("place", "key", "hint"),
    [
        ("", "panel", '"panels"'),
        ("claim", "date_of_los", '"date_of_loss"'),
        ("vehicle", "VIN", "one of body, vin"),
        ("panels.0", "tallly", '"tally"'),
        ("panels.0", "colour", "one of panel, metal, repainted"),
        ("panels.0.oversize.0", "size", "one of mm, marks"),
        ("panels.1.dents.0", "mark", '"marks"'),
        ("other.0", "price", '"unit_price"'),
    ],
)
def test_an_unknown_key_is_named_with_the_one_that_was_meant(
    place: str, key: str, hint: str
) -> None:
    path = f"{place}.{key}" if place else key
    ((where, found, expected),) = mistakes(put(SOUND, path, 1))
    assert where.replace("[", ".").replace("]", "") == place
    assert found == f'the unknown key "{key}"'
    assert hint in expected


@pytest.mark.parametrize("key", ["", "x" * 31])
def test_a_size_whose_name_cannot_be_one(key: str) -> None:
    problems = mistakes(put(SOUND, "panels.0.tally", {"dime": 3, key: 1}))
    ((place, found, _),) = problems
    assert place.startswith("panels[0]")
    assert found.startswith("the unknown key")


@pytest.mark.parametrize("where", ["panels.0.tally", "panels.0", "claim"])
def test_half_a_character_is_no_key(where: str) -> None:
    text = json.dumps(put(SOUND, f"{where}.\ud800", 1))
    with pytest.raises(InputError, match="valid Unicode text"):
        require_claim(read_claim(text))


def test_an_unknown_mark_is_named() -> None:
    ((place, found, expected),) = mistakes(put(SOUND, "panels.0.marked.bent", {"dime": 1}))
    assert (place, found) == ("panels[0].marked", 'the unknown key "bent"')
    assert "'braced', 'glue-only', 'body-line', 'sharp' or 'edge'" in expected


@pytest.mark.parametrize("key", ["claim", "vehicle"])
def test_a_claim_needs_its_head_and_its_vehicle(key: str) -> None:
    claim = {name: value for name, value in SOUND.items() if name != key}
    assert mistakes(claim) == [(key, "nothing", "a value, which is required here")]


@pytest.mark.parametrize("key", ["number", "date_of_loss"])
def test_a_claim_needs_its_number_and_its_date_of_loss(key: str) -> None:
    head = {name: value for name, value in SOUND["claim"].items() if name != key}
    assert [place for place, _, _ in mistakes(SOUND | {"claim": head})] == [f"claim.{key}"]


def test_a_replacement_needs_its_price() -> None:
    ((place, found, expected),) = mistakes(put(SOUND, "panels.1.access", "replace"))
    assert (place, found) == ("panels[1].replace_cost", "nothing")
    assert "price of the replacement" in expected


def test_a_replaced_panel_has_no_agreed_price() -> None:
    claim = a_claim(hood(access="replace", replace_cost="640.00", agreed="500.00"))
    ((place, found, _),) = mistakes(claim)
    assert (place, found) == ("panels[0].agreed", "an agreed price on a replaced panel")


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("tally", {"dime": 1}),
        ("oversize", [{"mm": 41}]),
        ("tally", {"dime": 0}),
    ],
)
def test_a_panel_is_counted_by_tally_or_dent_by_dent_not_both(key: str, value: Any) -> None:
    ((place, found, expected),) = mistakes(put(SOUND, f"panels.1.{key}", value))
    assert place == "panels[1]"
    assert found.startswith("dents beside a tally")
    assert expected == "either single dents or a tally"


@pytest.mark.parametrize(
    ("written", "found"), [("1e999", "1"), ("1e-999", "1"), ("NaN", "NaN"), ("Infinity", "Inf")]
)
def test_a_size_that_is_no_size(written: str, found: str) -> None:
    text = json.dumps(SOUND).replace('"mm": 41', f'"mm": {written}')
    assert written in text
    try:
        problems = read_claim(text).problems
    except InputError as error:
        problems = error.problems
    assert len(problems) == 1
    assert found in problems[0].found


def test_one_key_twice_in_a_claim_file_is_refused() -> None:
    text = json.dumps(SOUND).replace('"dime": 3', '"dime": 3, "dime": 4')
    with pytest.raises(InputError, match='the key "dime" twice'):
        read_claim(text)


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_a_place_that_is_no_number(number: str) -> None:
    text = json.dumps(put(SOUND, "panels.1.dents.0", {"mm": 9, "x": 123, "y": 4}))
    try:
        problems = read_claim(text.replace("123", number)).problems
    except InputError as error:
        problems = error.problems
    assert len(problems) == 1
    assert "number" in problems[0].expected or "at most" in problems[0].expected


def test_a_place_is_kept_as_the_double_that_json_has() -> None:
    text = json.dumps(put(SOUND, "panels.1.dents.0", {"mm": 9, "x": 123, "y": 4}))
    claim = require_claim(read_claim(text.replace("123", "412.250000000000000001")))
    assert as_json(claim)["panels"][1]["dents"][0] == {"mm": 9, "x": 412.25, "y": 4}


def test_a_number_of_five_thousand_digits_is_refused() -> None:
    text = json.dumps(SOUND).replace('"dime": 3', '"dime": ' + "9" * 5000)
    with pytest.raises(InputError, match="digits"):
        read_claim(text)


def test_a_claim_nested_beyond_reason_is_refused() -> None:
    deep = "[" * 500 + "]" * 500
    with pytest.raises(InputError, match="nested"):
        read_claim(json.dumps(SOUND).replace('"conditions": {', f'"conditions": {{"a": {deep},'))


@pytest.mark.parametrize(
    ("path", "value", "limit"),
    [
        ("panels", [{"panel": "hood"}] * 201, "at most 200 items"),
        ("other", [{"kind": "part", "label": "Clip", "unit_price": "1"}] * 501, "at most 500"),
        ("panels.0.oversize", [{"mm": 41}] * 501, "at most 500 items"),
        ("panels.0.oversize.0.marks", ["edge"] * 6, "at most 5 items"),
        ("panels.1.dents", [{"mm": 9}] * (MAX_DENTS + 1), "at most 100000 items"),
        ("panels.1.zones", [{"kind": "edge", "reach_mm": 9}] * 101, "at most 100 items"),
    ],
)
def test_nothing_is_longer_than_a_vehicle_can_need(path: str, value: Any, limit: str) -> None:
    assert any(limit in expected for _, _, expected in mistakes(put(SOUND, path, value)))


def test_all_mistakes_of_a_claim_file_are_reported_together() -> None:
    claim = a_claim(
        hood(tally={"dime": 3, "cent": -1}, marked={"sharp": {"dime": 9}}, metal="tin"),
        hood(access="replace"),
        {"panel": "liftgate", "dents": [{"mm": 0}]},
        {"panel": "roof", "dents": [{"mm": 9}], "tally": {"dime": 1}, "note": "a\tb"},
        claim={"date_of_loss": "2026-13-01", "deductible": "5,00"},
        other=[{"kind": "part", "label": "Clip", "unit_price": 1}],
        shape="round",
    )
    assert sorted(place for place, _, _ in mistakes(claim)) == [
        "",
        "claim.date_of_loss",
        "claim.deductible",
        "other[0].unit_price",
        "panels[0].metal",
        "panels[0].tally.cent",
        "panels[1].panel",
        "panels[1].replace_cost",
        "panels[2].dents[0].mm",
        "panels[2].panel",
        "panels[3]",
        "panels[3].note",
    ]


def test_a_mark_is_not_held_against_a_tally_that_is_itself_wrong() -> None:
    claim = put(SOUND, "panels.0.tally.dime", "three")
    assert [place for place, _, _ in mistakes(claim)] == ["panels[0].tally.dime"]
