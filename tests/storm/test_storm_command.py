"""`hailcalc storm` as people use it: real processes, their output, exit codes and files."""

from __future__ import annotations

import csv
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import NamedTuple

import pytest

from hailcalc.cli import main
from hailcalc.cli_storm import By
from hailcalc.storm.compare import MEASURES
from hailcalc.storm.course import STATES

ROOT = Path(__file__).parent.parent.parent
STORMS = ROOT / "demo" / "storms"
NEAR, FAR, AGREED = "saltmarsh-may", "drovermoor-june", "tansywick-july"


class Ran(NamedTuple):
    """How a command ended and what it said."""

    returncode: int
    stdout: str
    stderr: str


Here = Callable[..., Ran]


@pytest.fixture
def here(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Here:
    """The command in this process, which saves starting another for every mistake."""

    def run(*arguments: str | Path) -> Ran:
        monkeypatch.chdir(ROOT)
        monkeypatch.setattr(sys, "argv", ["hailcalc", "storm", *map(str, arguments)])
        with pytest.raises(SystemExit) as ended:
            main()
        said = capsys.readouterr()
        return Ran(int(ended.value.code or 0), said.out, said.err)

    return run


def storm(*arguments: str | Path) -> Ran:
    """The command in a process of its own."""
    ran = subprocess.run(
        [sys.executable, "-m", "hailcalc", "storm", *map(str, arguments)],
        cwd=ROOT,
        env=os.environ | {"PYTHONPATH": str(ROOT), "PYTHONUTF8": "1"},
        capture_output=True,
        encoding="utf-8",
        timeout=60,
    )
    return Ran(ran.returncode, ran.stdout, ran.stderr)


def copied(folder: Path, name: str = NEAR, **changes: str) -> Path:
    """A demo storm in another place; in its storm.toml, each line that begins so is replaced."""
    place = folder / name
    shutil.copytree(STORMS / name, place)
    file = place / "storm.toml"
    lines = [changes.get(line.partition(" = ")[0], line) for line in file.read_text().splitlines()]
    file.write_text("\n".join(lines) + "\n")
    return place


def book_of(folder: Path, **cells: str) -> None:
    """Change cells of the book's first claim, on each of its rows."""
    file = folder / "book.csv"
    with file.open(newline="") as lines:
        rows = list(csv.DictReader(lines))
    first = rows[0]["claim"]
    with file.open("w", newline="") as out:
        writer = csv.DictWriter(out, list(rows[0]))
        writer.writeheader()
        writer.writerows(row | cells if row["claim"] == first else row for row in rows)


def test_a_storm_is_shown_and_its_files_say_the_same(tmp_path: Path) -> None:
    figures, table = tmp_path / "figures.json", tmp_path / "figures.csv"
    ran = storm("show", STORMS / NEAR, "--json", figures, "--csv", table)
    assert (ran.returncode, ran.stderr) == (0, "")
    told = json.loads(figures.read_text())
    assert "Saltmarsh, 12 May 2026\n" in ran.stdout
    [margin] = [line for line in ran.stdout.splitlines() if line.startswith("Margin  ")]
    assert margin.split()[1].replace(",", "") == told["margin"]
    revenue = sum(Decimal(amount) for amount in told["revenue"].values())
    costs = sum(
        Decimal(amount)
        for part in ("direct_costs", "fixed_costs")
        for amount in told[part].values()
    )
    assert Decimal(told["revenue_total"]) == revenue
    assert Decimal(told["margin"]) == revenue - costs
    for by, rows in told["splits"].items():
        assert sum(Decimal(row["revenue"]) for row in rows) == revenue, by
    with table.open(newline="") as lines:
        cells = {
            (row["part"], row["item"], row["figure"]): row["value"] for row in csv.DictReader(lines)
        }
    assert cells["total", "margin", "amount"] == told["margin"]
    assert cells["measure", "per-repair-hour", "value"] == told["measures"]["per-repair-hour"]
    assert told["vehicles"]["all"] == int(cells["vehicles", "all", "number"])


def test_storms_are_compared_with_limits_and_chances(tmp_path: Path, here: Here) -> None:
    found, table = tmp_path / "storms.json", tmp_path / "storms.csv"
    names = [NEAR, FAR, AGREED]
    ran = storm(
        "compare", *(STORMS / name for name in names), "--by", "per-technician-day",
        "--resamples", "600", "--json", found, "--csv", table,
    )  # fmt: skip
    assert (ran.returncode, ran.stderr) == (0, "")
    told = json.loads(found.read_text())
    assert ran.stdout.startswith(told["answer"])
    assert sorted(each["storm"] for each in told["ranking"]) == sorted(names)
    values = [Decimal(each["measures"]["per-technician-day"]["value"]) for each in told["ranking"]]
    assert values == sorted(values, reverse=True)
    for each in told["ranking"]:
        for measure in each["measures"].values():
            assert Decimal(measure["low"]) <= Decimal(measure["value"]) <= Decimal(measure["high"])
    first, second, _ = (each["storm"] for each in told["ranking"])
    assert Decimal(told["chances"][first][second]) + Decimal(told["chances"][second][first]) == 1
    with table.open(newline="") as lines:
        rows = list(csv.DictReader(lines))
    assert [row["storm"] for row in rows] == [each["storm"] for each in told["ranking"]]
    assert rows[0]["chance to beat the next"] == told["chances"][first][second]
    again = here(
        "compare", *(STORMS / name for name in reversed(names)), "--by", "per-technician-day",
        "--resamples", "600",
    )  # fmt: skip
    assert again.stdout == ran.stdout


def test_a_comparison_is_drawn(tmp_path: Path, here: Here) -> None:
    page, charts = tmp_path / "storms.pdf", tmp_path / "charts"
    ran = here(
        "compare", STORMS / NEAR, STORMS / AGREED, "--resamples", "200", "--pdf", page,
        "--svg", charts, "--paper", "a4",
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr
    assert page.read_bytes().startswith(b"%PDF-")
    drawn = list(charts.iterdir())
    assert drawn
    assert all(b"<svg" in each.read_bytes() for each in drawn)


def test_what_another_pay_would_do(tmp_path: Path, here: Here) -> None:
    found, table = tmp_path / "pay.json", tmp_path / "pay.csv"
    ran = here("whatif", STORMS / NEAR, "--pay", "share=50", "--json", found, "--csv", table)
    assert (ran.returncode, ran.stderr) == (0, "")
    told = json.loads(found.read_text())
    difference = told["margin_difference"]
    assert f"The margin changes by USD {Decimal(difference['value']):,}" in ran.stdout
    assert Decimal(difference["low"]) < Decimal(difference["value"]) < Decimal(difference["high"])
    assert Decimal(told["after"]["margin"]) - Decimal(told["before"]["margin"]) == Decimal(
        difference["value"]
    )
    with table.open(newline="") as lines:
        assert [row["figure"] for row in csv.DictReader(lines)] == [
            row["label"] for row in told["rows"]
        ]


def test_what_another_matrix_or_crew_would_do(here: Here) -> None:
    ran = here("whatif", STORMS / NEAR, "--matrix", "larkspur-agreed-2026")
    assert ran.returncode == 0
    assert "every vehicle priced under larkspur-agreed-2026" in ran.stdout
    ran = here("whatif", STORMS / FAR, "--technicians", "9")
    assert ran.returncode == 0
    assert "no more are repaired" in ran.stdout


def test_a_vehicle_set_aside_is_told_and_in_no_figure(tmp_path: Path, here: Here) -> None:
    folder = copied(tmp_path)
    book_of(folder, body="boat")
    ran = here("show", folder)
    assert ran.returncode == 0
    assert 'is set aside: body: found "boat"' in ran.stderr
    assert "1 vehicle without any price, in no figure." in ran.stdout


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        ({"state": "agred"}, f'state: found "agred", expected one of {", ".join(STATES)}'),
        ({"closed": "1.6.2026"}, 'closed: found "1.6.2026", expected a date'),
    ],
)
def test_a_course_that_cannot_be_stops_it(
    tmp_path: Path, here: Here, cells: dict[str, str], said: str
) -> None:
    folder = copied(tmp_path)
    book_of(folder, **cells)
    ran = here("show", folder, "--json", tmp_path / "none.json")
    assert (ran.returncode, ran.stdout) == (2, "")
    assert said in ran.stderr
    assert not (tmp_path / "none.json").exists()


def test_mistakes_of_all_folders_are_told_together(tmp_path: Path, here: Here) -> None:
    one = copied(tmp_path, NEAR, share='share = "145"')
    other = copied(tmp_path, FAR, technicians="technicians = 0")
    ran = here("compare", one, other, tmp_path / "nowhere")
    assert (ran.returncode, ran.stdout) == (2, "")
    assert 'pay.share: found "145"' in ran.stderr
    assert "crew.technicians: found 0" in ran.stderr
    assert f"{tmp_path / 'nowhere' / 'storm.toml'}: found" in ran.stderr


def test_storms_in_two_currencies_need_a_rate(tmp_path: Path, here: Here) -> None:
    folder = copied(tmp_path, AGREED, currency='currency = "EUR"')
    _without_dollars(folder)
    ran = here("compare", STORMS / NEAR, folder)
    assert ran.returncode == 2
    assert "expected one currency, or what one EUR is worth: --rate EUR=" in ran.stderr
    ran = here("compare", STORMS / NEAR, folder, "--rate", "EUR=1.0850")
    assert ran.returncode == 0, ran.stderr
    assert "Rates as given: one EUR = 1.085 USD" in ran.stdout
    bad = ("EUR", "EUR=0", "EUR=1,085", "EUR=-1")
    ran = here("compare", STORMS / NEAR, folder, *(f"--rate={each}" for each in bad))
    assert (ran.returncode, ran.stdout) == (2, "")
    assert all(f'--rate: found "{each}"' in ran.stderr for each in bad)


def _without_dollars(folder: Path) -> None:
    """A book of counts of euro coins in place of the demo's."""
    (folder / "book.csv").write_text(
        "claim,matrix,body,panel,10c,20c\n"
        "E-1,quendel-vereinbart-2026,sedan,hood,3,2\n"
        "E-2,quendel-vereinbart-2026,suv,roof,5,1\n"
    )


def test_outputs_are_not_written_over_each_other(tmp_path: Path, here: Here) -> None:
    ran = here("show", STORMS / NEAR, "--json", tmp_path / "one", "--csv", tmp_path / "." / "one")
    assert ran.returncode == 2
    assert "two into one file" in ran.stderr


def test_a_storm_without_vehicles_is_shown_and_compares_with_none(
    tmp_path: Path, here: Here
) -> None:
    folder = copied(tmp_path)
    book = folder / "book.csv"
    book.write_text(book.read_text().splitlines()[0] + "\n")
    ran = here("show", folder)
    assert ran.returncode == 0, ran.stderr
    assert "0 vehicles: 0 agreed, 0 open, 0 withdrawn" in ran.stdout
    ran = here("compare", folder)
    assert ran.returncode == 2
    assert "found a storm without vehicles" in ran.stderr


def test_the_measures_of_the_command_are_those_there_are() -> None:
    assert tuple(each.value for each in By) == MEASURES
