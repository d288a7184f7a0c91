"""`hailcalc plan`: what it prints and writes, as a process of its own.

The demo's claims and matrices are invented.
"""

from __future__ import annotations

import json
from pathlib import Path

from hailcalc.vehicle import PANEL_LABELS
from tests.builders import (
    MATRICES,
    claim,
    demo_estimate,
    names,
    page_texts,
    panel,
)
from tests.test_cli import demo_file, hailcalc, written

MATRIX = MATRICES / "copperfin-2026.toml"
HATCH = "13-hatch-counted-by-marks"


def test_the_plan_names_every_panel_with_its_method_and_what_comes_off() -> None:
    done = hailcalc("plan", demo_file(HATCH))
    estimate = demo_estimate(HATCH)
    assert done.returncode == 0
    for result in estimate.panels:
        line = next(
            line
            for line in done.stdout.splitlines()
            if line.startswith(PANEL_LABELS["us"][result.panel.panel] + "  ")
        )
        assert ("glue pull" if result.panel.access == "glue" else result.panel.access) in line
    at = [done.stdout.index(f" {rule.label} ") for rule in estimate.removal]
    assert at == sorted(at)


def test_the_plan_and_the_job_card_are_written_together_or_not_at_all(tmp_path: Path) -> None:
    card, report = tmp_path / "card.pdf", tmp_path / "plan.json"
    done = hailcalc("plan", demo_file(HATCH), "--pdf", card, "--json", report)
    assert (done.returncode, names(tmp_path)) == (0, ["card.pdf", "plan.json"])
    told = json.loads(report.read_text("utf-8"))
    assert told["refit"] == [step["id"] for step in told["removal"]][::-1]
    assert "Job card" in page_texts(card.read_bytes())[0]
    again = hailcalc("plan", demo_file(HATCH), "--pdf", card, "--json", tmp_path / "no" / "p.json")
    assert again.returncode == 2
    assert names(tmp_path) == ["card.pdf", "plan.json"]


def test_both_into_one_file_is_a_mistake(tmp_path: Path) -> None:
    one = tmp_path / "one"
    done = hailcalc("plan", demo_file(HATCH), "--pdf", one, "--json", one)
    assert (done.returncode, names(tmp_path)) == (2, [])


def test_another_aim_and_every_panel_can_be_asked_for(tmp_path: Path) -> None:
    path = written(tmp_path / "c.json", claim(panel("hood"), panel("roof", access="glue")))
    plain = hailcalc("plan", path, "--matrix", MATRIX)
    assert 'No panel has the access "plan"' in plain.stdout
    done = hailcalc("plan", path, "--matrix", MATRIX, "--all-panels", "--aim", "minutes")
    assert "least time" in done.stdout
    assert "as the claim says" not in done.stdout


def test_the_sheet_keeps_the_aim_it_was_priced_for(tmp_path: Path) -> None:
    sheet = tmp_path / "sheet.json"
    hailcalc("price", demo_file(HATCH), "--aim", "minutes", "--json", sheet)
    document = json.loads(sheet.read_text("utf-8"))
    assert document["claim_file"]["aim"] == document["evidence"]["plan"]["aim"] == "minutes"
    assert hailcalc("verify", sheet).returncode == 0


def test_a_panel_without_a_method_is_refused_with_its_place_and_the_rules(tmp_path: Path) -> None:
    every = {"tally": {"dime": 2}, "marked": {"glue-only": {"dime": 2}}}
    warm = {"panel_temperature_c": 35}
    path = written(tmp_path / "c.json", claim(panel("roof", **every), conditions=warm))
    done = hailcalc("plan", path, "--matrix", MATRIX, "--all-panels")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        f"{path}: panels[0].access: found no method: push: all 2 dents are glue-only; glue: "
        "35 °C, hotter than the 30 °C up to which glue holds; replace: no price of a replacement, "
        'expected a cooler panel, the price of a replacement, or "push" or "glue" by your own '
        "decision\n"
    )


def test_a_panel_that_has_no_price_yet_is_told_by_exit_code_3() -> None:
    done = hailcalc("plan", demo_file("03-van-roof-beyond-the-matrix"))
    assert done.returncode == 3
    assert "incomplete" in done.stderr


def test_a_replaced_panel_without_dents_stays_replaced_when_every_panel_is_planned(
    tmp_path: Path,
) -> None:
    replaced = panel("hood", access="replace", replace_cost="420.00", tally={})
    path = written(tmp_path / "c.json", claim(replaced, panel("roof", access="glue")))
    done = hailcalc("plan", path, "--matrix", MATRIX, "--all-panels", "--json", tmp_path / "p.json")
    told = json.loads((tmp_path / "p.json").read_text("utf-8"))
    assert [each["panel"] for each in told["plan"]["panels"]] == ["roof"]
    assert "hood: no dents counted" in done.stderr


def test_an_aim_without_any_panel_to_plan_is_told_and_changes_nothing(tmp_path: Path) -> None:
    path = written(tmp_path / "c.json", claim(panel("hood")))
    sheets = [tmp_path / "a.json", tmp_path / "b.json"]
    hailcalc("price", path, "--matrix", MATRIX, "--json", sheets[0])
    done = hailcalc("price", path, "--matrix", MATRIX, "--aim", "minutes", "--json", sheets[1])
    assert "the aim changes nothing" in done.stderr
    assert sheets[0].read_bytes() == sheets[1].read_bytes()
