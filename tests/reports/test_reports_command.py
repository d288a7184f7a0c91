"""`hailcalc reports` as people use it: real processes, their output, exit codes and files."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from hailcalc.cli import main
from hailcalc.reports.records import NOTICE

ROOT = Path(__file__).parent.parent.parent
FILE = "tests/data/spc-hail-2018-06-15.csv"
DEMO = "demo/storms/reports"
CHICAGO = ("--zone", "America/Chicago")


def reports(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "hailcalc", "reports", *map(str, arguments)],
        cwd=ROOT,
        env=os.environ | {"PYTHONPATH": str(ROOT), "PYTHONUTF8": "1"},
        capture_output=True,
        encoding="utf-8",
        timeout=60,
    )


def plain(words: str) -> str:
    return " ".join(words.split())


def test_a_claim_is_held_against_the_demos_reports(tmp_path: Path) -> None:
    told, drawn = tmp_path / "near.json", tmp_path / "near.svg"
    ran = reports(
        "near", f"{DEMO}/claim.json", f"{DEMO}/hail-2026-05-19.csv", "--zone", "Etc/GMT+9",
        "--json", told, "--svg", drawn,
    )  # fmt: skip
    assert ran.returncode == 0
    assert "Hail reports near 40.0040, -139.9900 on 2026-05-19 in Etc/GMT+9" in ran.stdout
    assert "2026-05-19 22:11  2026-05-19 13:11 -09    1.75  44.5  golf ball size" in ran.stdout
    assert "The place lies inside the footprint" in ran.stdout
    assert NOTICE in plain(ran.stdout)
    assert "hail-2026-05-19.csv: line 6: set aside: Size is nothing" in ran.stderr
    document = json.loads(told.read_text())
    assert document["footprint"]["inside"] is True
    assert [each["line"] for each in document["set_aside"]] == [6]
    assert drawn.read_text().startswith("<svg ")


def test_the_footprint_of_a_real_day_as_geojson(tmp_path: Path) -> None:
    out = tmp_path / "out.geojson"
    ran = reports("footprint", FILE, "--date", "2018-06-15", *CHICAGO, "--geojson", out)
    assert ran.returncode == 0
    assert "note: not looked at: the daily file of 2018-06-14" in ran.stderr
    document = json.loads(out.read_text())
    kinds = [feature["properties"]["kind"] for feature in document["features"]]
    assert (kinds.count("footprint"), kinds.count("report")) == (17, 18)


def test_wkt_stands_alone_on_standard_output() -> None:
    ran = reports("footprint", FILE, "--date", "2018-06-15", *CHICAGO, "--wkt")
    assert ran.returncode == 0
    assert ran.stdout.startswith("MULTIPOLYGON (((")
    assert ran.stdout.count("\n") == 1
    assert NOTICE in ran.stderr


def test_the_list_of_a_real_day() -> None:
    ran = reports("list", FILE)
    assert (ran.returncode, ran.stderr) == (0, "")
    assert "20 reports." in ran.stdout
    assert "2018-06-16 05:59    1.00  25.4  quarter size" in ran.stdout


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("near", FILE, "--lat", "44.97"), "found nothing for --lon and --date"),
        (("near", FILE, "--lat", "91", "--lon", "0", "--date", "2018-06-15"), "from -90 to 90"),
        (
            (
                "near",
                FILE,
                "--lat",
                "4",
                "--lon",
                "-9",
                "--date",
                "2018-06-15",
                "--zone",
                "No/Where",
            ),
            'zone: found "No/Where"',
        ),
        (
            ("near", "demo/claims/01-sedan-three-dents.json", FILE),
            "claim.loss_location: found nothing",
        ),
        (("near", f"{DEMO}/claim.json"), "no file after the claim"),
        (("near", FILE, FILE), "found"),
        (("list", "no-such-file.csv", "README.md"), "no-such-file.csv: found"),
        (("list", FILE, FILE, "--file-date", "2018-06-15"), "one date for 2 files"),
        (("footprint", FILE, "--date", "2018-06-15", "--reach", "500"), "expected from 1 to 50 km"),
    ],
)
def test_what_cannot_be_used_is_said_in_a_line_with_exit_code_2(
    arguments: tuple[str, ...],
    told: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(ROOT)
    monkeypatch.setattr(sys, "argv", ["hailcalc", "reports", *arguments])
    with pytest.raises(SystemExit) as left:
        main()
    said = capsys.readouterr()
    assert (left.value.code, said.out) == (2, "")
    assert told in said.err


def test_two_outputs_into_one_file_leave_none(tmp_path: Path) -> None:
    out = tmp_path / "out"
    ran = reports("footprint", FILE, "--date", "2018-06-15", "--geojson", out, "--json", out)
    assert ran.returncode == 2
    assert "a file for each" in ran.stderr
    assert not out.exists()
