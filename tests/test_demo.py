"""The invented demo storm: sixteen claims, each priced twice, written and verified."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tomllib
from functools import cache
from pathlib import Path

import pytest

from hailcalc.demo import run_demo
from hailcalc.files import load_matrix
from hailcalc.problems import InputError
from hailcalc.sheet.pdfcheck import verify_pdf
from hailcalc.sheet.verify import read_sheet, verify_sheet
from tests.builders import (
    DEMO,
    FULLEST,
    MATRICES,
    ROOT,
    SMALLEST,
    Table,
    assert_priced_alike,
    demo_claim,
    demo_estimate,
    names,
)
from tests.plain_planning import plan_plainly
from tests.plain_pricing import PlainSheet, price_plainly


def test_there_are_sixteen_claims() -> None:
    assert len(DEMO) == 16
    assert [name[:2] for name in DEMO] == [f"{number:02}" for number in range(1, 17)]


def matrix_of(name: str) -> Table:
    path = MATRICES / f"{demo_estimate(name).compiled.matrix.name}.toml"
    return tomllib.loads(path.read_text("utf-8"))


def planned(name: str) -> dict[str, str]:
    """The methods that the product planned."""
    plan = demo_estimate(name).plan
    return {panel.panel: panel.method for panel in plan.panels} if plan else {}


@cache
def priced_twice(name: str) -> PlainSheet:
    """A demo claim as the second implementation prices it, with the methods of the product."""
    return price_plainly(demo_claim(name), matrix_of(name), methods=planned(name))


@pytest.mark.parametrize("name", DEMO)
def test_a_second_implementation_prices_every_line_of_the_claim_alike(name: str) -> None:
    assert_priced_alike(demo_estimate(name), priced_twice(name))


@pytest.mark.parametrize("name", [name for name in DEMO if name != FULLEST])
def test_a_second_implementation_that_tries_every_assignment_plans_the_claim_alike(
    name: str,
) -> None:
    # The fullest claim has 1,536 assignments, too many for one that tries them slowly.
    assert dict(plan_plainly(demo_claim(name), matrix_of(name)).methods) == planned(name)


@pytest.mark.parametrize("name", DEMO)
def test_every_claim_but_the_smallest_leaves_panels_to_the_plan(name: str) -> None:
    assert bool(planned(name)) == (name != SMALLEST)


@pytest.mark.parametrize("name", DEMO)
def test_the_extras_and_the_operations_are_the_ones_the_second_implementation_chose(
    name: str,
) -> None:
    priced = demo_estimate(name)
    matrix = load_matrix(MATRICES / f"{priced.compiled.matrix.name}.toml")
    labels = {extra.id: extra.label for extra in matrix.extra}
    labels |= {operation.id: operation.label for operation in matrix.removal}
    plain = priced_twice(name)
    for ours, theirs in zip(priced.lines, plain.lines, strict=True):
        if theirs.kind in ("extra", "removal", "fastener"):
            assert ours.label.startswith(labels[theirs.hint])
        elif theirs.kind in ("part", "sublet", "refinish", "body") and theirs.hint:
            assert ours.label.startswith(theirs.hint)


def test_the_storm_shows_every_kind_of_line_every_access_and_every_mark() -> None:
    kinds, accesses, marks, mixed = set(), set(), set(), set()
    reached, chosen = set(), set()
    for name in DEMO:
        priced = demo_estimate(name)
        kinds |= {line.kind for line in priced.lines}
        accesses |= {part.access for part in priced.claim.panels}
        reached |= {result.panel.access for result in priced.panels}
        chosen |= set(planned(name).values())
        marks |= {mark for result in priced.panels for mark in result.count.marks}
        mixed.add(priced.compiled.tables.mixed)
    assert kinds == {
        "repair", "oversize", "extra", "removal", "fastener", "part", "sublet", "refinish",
        "body", "minimum", "tax",
    }  # fmt: skip
    assert accesses == {"push", "glue", "replace", "plan"}
    assert reached == chosen == {"push", "glue", "replace"}
    assert marks == {"braced", "glue-only", "body-line", "sharp", "edge"}
    assert len(mixed) == 4


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_the_demo_writes_a_pdf_and_a_json_for_each_and_a_summary_and_all_verify(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], paper: str
) -> None:
    out = tmp_path / "deep" / "out"
    assert run_demo(out, paper)
    expected = [f"{name}.{kind}" for name in [*DEMO, "14-recount"] for kind in ("json", "pdf")]
    assert names(out) == sorted([*expected, "storms.json", "storms.pdf", "summary.txt"])
    for name in DEMO:
        text = (out / f"{name}.json").read_text("utf-8")
        assert verify_sheet(read_sheet(text, name)) == []
        document, found = verify_pdf((out / f"{name}.pdf").read_bytes(), name)
        assert found == []
        assert document["digest"] in text
    printed = capsys.readouterr()
    assert printed.out == (out / "summary.txt").read_text("utf-8")
    assert "12 of 16: 12-sedan-every-panel" in printed.err
    assert printed.err.endswith(f"16 sheets and 1 recount in {out}, 0 skipped\n")


def test_the_summary_has_a_row_a_vehicle_with_what_it_came_to(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run_demo(tmp_path, "letter")
    rows = capsys.readouterr().out.splitlines()[1:]
    assert len(rows) == len(DEMO)
    for name, row in zip(DEMO, rows, strict=True):
        priced = demo_estimate(name)
        total = f"{priced.totals.total:,}".replace(",", "")
        digits = re.sub(r"[.]", "", row)
        assert row.startswith(name)
        assert f" {total} " in digits
        assert row.endswith("incomplete") == (not priced.totals.complete)


def test_the_demo_run_again_writes_the_same_files(tmp_path: Path) -> None:
    first, second = tmp_path / "first", tmp_path / "second"
    run_demo(first, "letter")
    run_demo(second, "letter")
    run_demo(second, "letter")
    assert {path.name: path.read_bytes() for path in first.iterdir()} == {
        path.name: path.read_bytes() for path in second.iterdir()
    }


def test_the_demo_into_a_file_is_a_mistake_that_names_it(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("")
    with pytest.raises(InputError, match=re.escape(str(tmp_path / "out"))):
        run_demo(tmp_path / "out", "letter")


def test_the_demo_is_priced_under_its_own_matrices_wherever_others_may_lie(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "matrices").mkdir()
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HAILCALC_MATRICES", str(tmp_path / "matrices"))
    assert run_demo(tmp_path / "out", "letter")


def test_a_claim_that_can_not_be_priced_is_told_and_skipped_and_the_rest_goes_on(
    tmp_path: Path,
) -> None:
    """A copy of the program whose third claim is torn and whose seventh has one panel too many."""
    for folder in ("hailcalc", "matrices", "demo"):
        shutil.copytree(ROOT / folder, tmp_path / folder)
    claims = tmp_path / "demo" / "claims"
    (claims / f"{DEMO[2]}.json").write_text('{"claim": ')
    seventh = claims / f"{DEMO[6]}.json"
    seventh.write_text(seventh.read_text("utf-8").replace('"panel": "roof"', '"panel": "tailgate"'))
    ran = subprocess.run(
        [sys.executable, "-m", "hailcalc", "demo", "--out", "out"],
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(tmp_path), "PYTHONUTF8": "1"},
        capture_output=True,
        encoding="utf-8",
        timeout=60,
    )
    assert ran.returncode == 2
    whole = [name for name in DEMO if name not in (DEMO[2], DEMO[6])]
    assert names(tmp_path / "out") == sorted(
        [
            *(f"{name}.{kind}" for name in [*whole, "14-recount"] for kind in ("json", "pdf")),
            "storms.json",
            "storms.pdf",
            "summary.txt",
        ]
    )
    assert f"{DEMO[2]}.json: line 1, column " in ran.stderr
    assert f'{DEMO[6]}.json: panels[0].panel: found "tailgate" on a wagon' in ran.stderr
    assert "16 of 16: " in ran.stderr
    assert ran.stderr.endswith("14 sheets and 1 recount in out, 2 skipped\n")
    assert len(ran.stdout.splitlines()) == 15
