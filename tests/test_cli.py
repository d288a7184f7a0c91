"""The command line as people use it: what it prints where, with which exit code, and no more.

Each test starts the program; results are read from its output, its exit code and the files that
it leaves.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

from hailcalc.money import money_text
from hailcalc.sheet.attach import seal
from hailcalc.sheet.document import sheet_json, sheet_text
from hailcalc.sheet.pdf import sheet_pdf
from tests.builders import (
    CLAIMS,
    COUNTS,
    FULLEST,
    MATRICES,
    ROOT,
    SMALLEST,
    Table,
    claim,
    demo_claim,
    demo_estimate,
    demo_sheet,
    names,
    panel,
)

DONE, NOT_VERIFIED, BAD_INPUT, INCOMPLETE = 0, 1, 2, 3


def hailcalc(
    *arguments: str | Path, cwd: Path = ROOT, **settings: str
) -> subprocess.CompletedProcess[str]:
    """Run the program; `settings` are environment variables."""
    environment = os.environ | {"PYTHONPATH": str(ROOT), "PYTHONUTF8": "1"} | settings
    return subprocess.run(
        [sys.executable, "-m", "hailcalc", *map(str, arguments)],
        cwd=cwd,
        env=environment,
        capture_output=True,
        encoding="utf-8",
        errors="replace",
        timeout=60,
    )


def written(path: Path, data: Table) -> Path:
    path.write_text(json.dumps(data))
    return path


def demo_file(name: str) -> Path:
    return CLAIMS / f"{name}.json"


def test_a_claim_is_priced_line_by_line_and_both_sheets_are_written(tmp_path: Path) -> None:
    ran = hailcalc(
        "price", demo_file(SMALLEST), "--pdf", tmp_path / "s.pdf", "--json", tmp_path / "s.json"
    )
    assert (ran.returncode, ran.stderr) == (DONE, "")
    assert ran.stdout.startswith("Claim EF-2026-0001, sedan, loss of 2026-05-19; ")
    for line in demo_sheet(SMALLEST)["lines"]:
        assert re.search(rf"{re.escape(line['label'])} +{re.escape(line['amount'])}  ", ran.stdout)
    assert re.search(r"Net +0\.00\n", ran.stdout)
    assert (tmp_path / "s.json").read_bytes() == sheet_text(
        sheet_json(demo_estimate(SMALLEST))
    ).encode()
    assert (tmp_path / "s.pdf").read_bytes() == sheet_pdf(demo_estimate(SMALLEST))
    attached = PdfReader(tmp_path / "s.pdf").attachments["claim-sheet.json"]
    assert attached == [(tmp_path / "s.json").read_bytes()]
    assert names(tmp_path) == ["s.json", "s.pdf"]


def test_output_to_a_pipe_is_plain_text(tmp_path: Path) -> None:
    for arguments in (
        ["price", demo_file("06-pickup-braced-and-glue-only")],
        ["matrix", "show", "quendel-vereinbart-2026"],
        ["--help"],
    ):
        ran = hailcalc(*arguments, FORCE_COLOR="1", CLICOLOR_FORCE="1")
        assert ran.returncode == DONE
        assert ran.stdout
        assert "\x1b" not in ran.stdout + ran.stderr
        assert not re.search(r"[\u2500-\u259f]", ran.stdout + ran.stderr), "no boxes"
        assert all(line == line.rstrip() for line in ran.stdout.splitlines())


def test_a_sheet_without_a_price_for_a_panel_is_written_and_says_so_by_exit_code_3(
    tmp_path: Path,
) -> None:
    ran = hailcalc(
        "price", demo_file("03-van-roof-beyond-the-matrix"), "--json", tmp_path / "s.json"
    )
    assert ran.returncode == INCOMPLETE
    assert "no price" in ran.stdout
    assert "incomplete: a panel has no price yet" in ran.stderr
    assert json.loads((tmp_path / "s.json").read_text())["totals"]["complete"] is False
    assert hailcalc("verify", tmp_path / "s.json").returncode == DONE


def test_a_written_sheet_verifies_as_json_and_as_pdf(tmp_path: Path) -> None:
    (tmp_path / "s.json").write_text(sheet_text(demo_sheet(SMALLEST)))
    (tmp_path / "s.pdf").write_bytes(sheet_pdf(demo_estimate(SMALLEST), paper="a4", labels="uk"))
    digest = demo_sheet(SMALLEST)["digest"]
    for name in ("s.json", "s.pdf"):
        ran = hailcalc("verify", name, cwd=tmp_path)
        assert (ran.returncode, ran.stderr) == (DONE, "")
        assert ran.stdout == (
            f"{name}: claim EF-2026-0001, 6 lines recomputed, all agree\ndigest {digest}\n"
            "not signed by a key\n"
        )


def test_a_changed_sheet_does_not_verify_and_every_difference_is_a_line(tmp_path: Path) -> None:
    document = demo_sheet(SMALLEST)
    document["lines"][0]["amount"] = "41.00"
    document["totals"]["net"] = "1.00"
    written(tmp_path / "s.json", document)
    ran = hailcalc("verify", "s.json", cwd=tmp_path)
    assert ran.returncode == NOT_VERIFIED
    assert 'line 1 (hood, Push) amount: printed "41.00", recomputed "40.00"\n' in ran.stdout
    assert 'totals.net: printed "1.00", recomputed "0.00"\n' in ran.stdout
    assert len(ran.stdout.splitlines()) == 3
    assert ran.stderr == "s.json: does not verify, 3 differences\n"


def test_a_changed_pdf_does_not_verify(tmp_path: Path) -> None:
    data = bytearray(sheet_pdf(demo_estimate(SMALLEST)))
    data[data.index(b"/MediaBox [ 0 0 6") + 16] ^= 1
    (tmp_path / "s.pdf").write_bytes(bytes(data))
    ran = hailcalc("verify", "s.pdf", cwd=tmp_path)
    assert ran.returncode == NOT_VERIFIED
    assert ran.stdout.startswith("file identifier: printed ")
    assert "Traceback" not in ran.stderr


def test_one_difference_is_not_called_differences(tmp_path: Path) -> None:
    written(tmp_path / "s.json", demo_sheet(SMALLEST) | {"digest": "0" * 64})
    ran = hailcalc("verify", "s.json", cwd=tmp_path)
    assert ran.stderr == "s.json: does not verify, 1 difference\n"


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("empty.pdf", b""),
        ("cut.pdf", b"%PDF-1.4\n1 0 obj\n"),
        ("claim.json", (CLAIMS / f"{SMALLEST}.json").read_bytes()),
        ("list.json", b"[]"),
        ("latin.json", b'{"a": "\xfc"}'),
        ("picture.png", b"\x89PNG\r\n\x1a\n" + bytes(200)),
    ],
)
def test_what_is_no_sheet_is_refused_by_name_with_exit_code_2(
    tmp_path: Path, name: str, data: bytes
) -> None:
    (tmp_path / name).write_bytes(data)
    ran = hailcalc("verify", name, cwd=tmp_path)
    assert (ran.returncode, ran.stdout) == (BAD_INPUT, "")
    assert ran.stderr.startswith(name)
    assert "expected" in ran.stderr
    assert "Traceback" not in ran.stderr


@pytest.mark.parametrize("key", ["\x1b[31m", "a\nb", "\u202e"])
def test_a_key_of_unprintable_characters_is_shown_as_an_escape(tmp_path: Path, key: str) -> None:
    """A sheet comes from a stranger: nothing in it may steer the adjuster's terminal."""
    written(tmp_path / "s.json", demo_sheet(SMALLEST) | {key: 1})
    ran = hailcalc("verify", "s.json", cwd=tmp_path)
    assert ran.returncode == NOT_VERIFIED
    assert "Traceback" not in ran.stderr
    assert key not in ran.stdout
    assert len(ran.stdout.splitlines()) == 2


def test_half_a_character_in_a_sheet_is_told_without_a_traceback(tmp_path: Path) -> None:
    written(tmp_path / "key.json", demo_sheet(SMALLEST) | {"\ud800": 1})
    written(tmp_path / "value.json", demo_sheet(SMALLEST) | {"evidence": "\ud800"})
    for name in ("key.json", "value.json"):
        ran = hailcalc("verify", name, cwd=tmp_path)
        assert ran.returncode in (NOT_VERIFIED, BAD_INPUT)
        assert "\\ud800" in ran.stdout + ran.stderr
        assert "Traceback" not in ran.stderr


def test_all_mistakes_of_claim_and_matrix_come_together_and_no_file_is_written(
    tmp_path: Path,
) -> None:
    data = claim(
        panel("hood", tally={"dime": 3}, marked={"braced": {"dime": 4}}),
        panel("tailgate"),
        panel("roof", tally={"sovereign": 1}),
        claim={"date_of_loss": "soon"},
    )
    written(tmp_path / "claim.json", data)
    text = (MATRICES / "copperfin-2026.toml").read_text()
    text = text.replace("bands = [1, 2, 3, 4, 6, 8,", "bands = [1, 2, 3, 4, 4, 8,", 1)
    text = text.replace('currency = "USD"', 'currency = "USX"')
    (tmp_path / "copperfin-2026.toml").write_text(text)
    ran = hailcalc(
        "price", "claim.json", "--matrix", "copperfin-2026.toml", "--pdf", "s.pdf",
        "--json", "s.json", cwd=tmp_path,
    )  # fmt: skip
    assert (ran.returncode, ran.stdout) == (BAD_INPUT, "")
    lines = ran.stderr.splitlines()
    assert all(re.match(r"(claim\.json|copperfin-2026\.toml): ", line) for line in lines)
    assert all(": found " in line and ", expected " in line for line in lines)
    for place in (
        "claim.json: claim.date_of_loss: ",
        "claim.json: panels[0].marked.braced.dime: ",
        "claim.json: panels[1].panel: ",
        "copperfin-2026.toml: matrix.currency: ",
        "copperfin-2026.toml: grid[0].bands[4]: ",
    ):
        assert any(line.startswith(place) for line in lines), place
    assert names(tmp_path) == ["claim.json", "copperfin-2026.toml"]


def test_if_only_the_pdf_can_not_print_a_text_the_json_is_not_written_either(
    tmp_path: Path,
) -> None:
    data = demo_claim(SMALLEST)
    data["claim"]["customer"] = "雹 Hail"
    written(tmp_path / "claim.json", data)
    ran = hailcalc(
        "price", "claim.json", "--json", "s.json", "--pdf", "s.pdf",
        cwd=tmp_path, HAILCALC_MATRICES=str(MATRICES),
    )  # fmt: skip
    assert (ran.returncode, ran.stdout) == (BAD_INPUT, "")
    assert "claim.customer: found 雹 (U+96F9), expected Latin letters" in ran.stderr
    assert names(tmp_path) == ["claim.json"]
    alone = hailcalc(
        "price", "claim.json", "--json", "s.json", cwd=tmp_path, HAILCALC_MATRICES=str(MATRICES)
    )
    assert alone.returncode == DONE


def test_if_the_pdf_can_not_be_written_the_json_is_not_either(tmp_path: Path) -> None:
    (tmp_path / "s.pdf").mkdir()
    ran = hailcalc(
        "price", demo_file(SMALLEST), "--json", tmp_path / "s.json", "--pdf", tmp_path / "s.pdf"
    )
    assert (ran.returncode, ran.stdout) == (BAD_INPUT, "")
    assert f"{tmp_path / 's.pdf'}: found is a directory" in ran.stderr
    assert names(tmp_path) == ["s.pdf"]


def test_both_sheets_into_one_file_is_a_mistake(tmp_path: Path) -> None:
    same = tmp_path / "sheet"
    ran = hailcalc("price", demo_file(SMALLEST), "--json", same, "--pdf", same)
    assert ran.returncode == BAD_INPUT
    assert names(tmp_path) == []


@pytest.mark.parametrize("text", ["", "[]", "null", "7", '"claim"', "{", "{}", "[[[[", "NaN"])
def test_json_that_is_no_claim_is_refused_without_a_traceback(tmp_path: Path, text: str) -> None:
    (tmp_path / "claim.json").write_text(text)
    ran = hailcalc("price", "claim.json", cwd=tmp_path)
    assert (ran.returncode, ran.stdout) == (BAD_INPUT, "")
    assert ran.stderr.startswith("claim.json: ")
    assert "Traceback" not in ran.stderr


def test_a_missing_claim_and_a_folder_are_named(tmp_path: Path) -> None:
    for name in ("none.json", str(tmp_path)):
        ran = hailcalc("price", name, cwd=tmp_path)
        assert (ran.returncode, ran.stdout) == (BAD_INPUT, "")
        assert ran.stderr.startswith(f"{name}: found ")


def test_counts_from_csv_are_priced_with_the_claims_header(tmp_path: Path) -> None:
    ran = hailcalc(
        "price", COUNTS / "suv-claim-header.json",
        "--tallies", COUNTS / "suv-tallies-by-coin.csv",
        "--dents", COUNTS / "suv-single-measured-dents.csv",
        "--json", tmp_path / "s.json",
    )  # fmt: skip
    assert ran.returncode == DONE, ran.stderr
    document = json.loads((tmp_path / "s.json").read_text())
    ways = {count["panel"]: count["method"] for count in document["evidence"]["counts"]}
    assert sorted(ways.values()).count("tally") == 6
    assert sorted(ways.values()).count("single dents") == 3
    assert ways["fender-l"] == "single dents"
    by_name = {part["panel"]: part for part in document["claim_file"]["panels"]}
    assert [dent["mm"] for dent in by_name["fender-l"]["dents"][:4]] == [14.2, 18.034, 19.6, 24.13]
    assert by_name["hood"]["tally"] == {"dime": 28, "nickel": 11, "quarter": 4, "half-dollar": 1}
    assert by_name["hood"]["oversize"] == [
        {"mm": 41, "marks": ["body-line"]},
        {"mm": 38.5, "marks": ["sharp", "edge"]},
    ]
    assert hailcalc("verify", tmp_path / "s.json").returncode == DONE


def test_a_mistake_in_a_csv_names_the_line_and_the_column(tmp_path: Path) -> None:
    header = COUNTS / "suv-claim-header.json"
    (tmp_path / "t.csv").write_text("panel,dime\nhood,3\nroof,many\nbonnet,2\n")
    ran = hailcalc("price", header, "--tallies", tmp_path / "t.csv")
    assert (ran.returncode, ran.stdout) == (BAD_INPUT, "")
    assert f'{tmp_path / "t.csv"}: line 3.dime: found "many"' in ran.stderr


def test_paper_and_labels_can_be_chosen_and_nothing_else(tmp_path: Path) -> None:
    path = tmp_path / "s.pdf"
    ran = hailcalc("price", demo_file(SMALLEST), "--pdf", path, "--paper", "a4", "--labels", "uk")
    assert ran.returncode == DONE
    assert "Bonnet" in ran.stdout
    assert path.read_bytes() == sheet_pdf(demo_estimate(SMALLEST), paper="a4", labels="uk")
    refused = hailcalc("price", demo_file(SMALLEST), "--paper", "foolscap")
    assert refused.returncode == BAD_INPUT
    assert "foolscap" in refused.stderr
    assert "letter" in refused.stderr


def test_another_matrix_than_the_claims_own_can_be_named_or_given_as_a_file() -> None:
    by_name = hailcalc("price", demo_file(SMALLEST), "--matrix", "larkspur-agreed-2026")
    by_file = hailcalc(
        "price", demo_file(SMALLEST), "--matrix", "matrices/larkspur-agreed-2026.toml"
    )
    assert by_name.returncode == by_file.returncode == DONE
    assert by_name.stdout == by_file.stdout
    assert "matrix larkspur-agreed-2026 revision" in by_name.stdout
    assert 'note: The matrix was agreed with "Larkspur & Thimble Mutual"' in by_name.stderr
    unknown = hailcalc("price", demo_file(SMALLEST), "--matrix", "nobody-2026")
    assert unknown.returncode == BAD_INPUT
    assert "copperfin-2026, larkspur-agreed-2026" in unknown.stderr


def test_matrices_are_listed_one_a_row() -> None:
    ran = hailcalc("matrix", "list")
    assert (ran.returncode, ran.stderr) == (DONE, "")
    listed = [row.split()[0] for row in ran.stdout.splitlines()]
    assert listed == ["Name", *sorted(path.stem for path in MATRICES.glob("*.toml"))]


def test_a_matrix_is_shown_with_every_cell_extra_and_operation() -> None:
    ran = hailcalc("matrix", "show", "copperfin-2026")
    assert (ran.returncode, ran.stderr) == (DONE, "")
    document = demo_sheet(SMALLEST)["matrix"]
    for grid in document["grid"]:
        for row in grid["rows"]:
            assert re.search(r" +".join(map(str, row)) + "\n", ran.stdout)
    for extra in document["extra"]:
        assert extra["label"] in ran.stdout
    for operation in document["removal"]:
        assert re.search(rf"{operation['id']} .*{operation['minutes']}", ran.stdout)


def test_sound_matrices_pass_the_check_and_a_broken_one_is_named_with_row_and_column(
    tmp_path: Path,
) -> None:
    sound = hailcalc("matrix", "check")
    assert (sound.returncode, sound.stderr) == (DONE, "")
    assert len(sound.stdout.splitlines()) == len(list(MATRICES.glob("*.toml")))
    broken = tmp_path / "copperfin-2026.toml"
    text = (MATRICES / "copperfin-2026.toml").read_text()
    broken.write_text(text.replace("[ 22,  24,  26,  30],", "[ 22,  24,  26,  10],", 1))
    ran = hailcalc("matrix", "check", broken, MATRICES / "larkspur-agreed-2026.toml")
    assert ran.returncode == BAD_INPUT
    assert f"{broken}: grid[0].rows[1][3]: found 10 (band 2, half-dollar)" in ran.stderr
    assert "larkspur-agreed-2026.toml: sound" in ran.stdout


def test_a_broken_matrix_in_the_folder_is_listed_with_its_mistakes(tmp_path: Path) -> None:
    shutil.copy(MATRICES / "copperfin-2026.toml", tmp_path)
    (tmp_path / "torn.toml").write_text("[matrix\n")
    ran = hailcalc("matrix", "list", HAILCALC_MATRICES=str(tmp_path))
    assert ran.returncode == BAD_INPUT
    assert re.search(r"^copperfin-2026 .*USD", ran.stdout, re.M)
    assert re.search(r"^torn .*1 mistake", ran.stdout, re.M)
    assert "torn.toml: found" in ran.stderr


@pytest.mark.parametrize(
    "command",
    [["price"], ["verify"], ["demo"], ["matrix", "list"], ["matrix", "show"], ["matrix", "check"]],
    ids=" ".join,
)
def test_the_help_of_every_command_has_an_example_of_that_command(command: list[str]) -> None:
    ran = hailcalc(*command, "--help")
    assert ran.returncode == DONE
    assert f"Example: hailcalc {' '.join(command)}" in " ".join(ran.stdout.split())


@pytest.mark.parametrize(
    "arguments", [["prise"], ["price"], ["price", "--colour"], ["matrix", "x"]]
)
def test_a_slip_in_the_command_is_told_without_a_traceback(arguments: list[str]) -> None:
    ran = hailcalc(*arguments)
    assert (ran.returncode, ran.stdout) == (BAD_INPUT, "")
    assert "Usage: " in ran.stderr
    assert "Traceback" not in ran.stderr


@pytest.mark.parametrize(
    "arguments",
    [["price", "demo/claims/12-sedan-every-panel.json"], ["matrix", "show", "copperfin-2026"]],
    ids=["price", "matrix show"],
)
def test_a_reader_that_has_gone_away_gets_no_traceback(arguments: list[str]) -> None:
    """As with `| head -1`, but surely: the pipe is closed before the first word."""
    reading, writing = os.pipe()
    os.close(reading)
    try:
        ran = subprocess.run(
            [sys.executable, "-m", "hailcalc", *arguments],
            cwd=ROOT,
            stdout=writing,
            stderr=subprocess.PIPE,
            encoding="utf-8",
            timeout=60,
        )
    finally:
        os.close(writing)
    assert ran.stderr == ""


def test_only_the_first_line_can_be_taken_by_head() -> None:
    ran = subprocess.run(
        f"'{sys.executable}' -m hailcalc price demo/claims/12-sedan-every-panel.json | head -1",
        shell=True,
        cwd=ROOT,
        capture_output=True,
        encoding="utf-8",
        timeout=60,
    )
    assert ran.stdout.startswith("Claim EF-2026-0012, sedan")
    assert len(ran.stdout.splitlines()) == 1
    assert all(line.startswith("note: ") for line in ran.stderr.splitlines())


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp1252"])
def test_a_terminal_that_knows_few_letters_gets_no_traceback(encoding: str) -> None:
    ran = hailcalc(
        "price", "demo/claims/12-sedan-every-panel.json",
        PYTHONIOENCODING=encoding, PYTHONUTF8="0",
    )  # fmt: skip
    assert "Traceback" not in ran.stderr
    assert ran.returncode == DONE
    assert money_text(demo_estimate(FULLEST).totals.total, 2) in ran.stdout


def test_a_pdf_that_is_sealed_anew_after_a_change_is_still_found_out(tmp_path: Path) -> None:
    data = sheet_pdf(demo_estimate(SMALLEST))
    changed = data.replace(b"/MediaBox [ 0 0 612 792 ]", b"/MediaBox [ 0 0 612 300 ]")
    assert changed != data
    (tmp_path / "s.pdf").write_bytes(seal(changed))
    assert PdfReader(BytesIO(seal(changed))).pages
    assert hailcalc("verify", "s.pdf", cwd=tmp_path).returncode == NOT_VERIFIED
