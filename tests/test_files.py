"""Files: read with a limit, written whole or not at all, and named when something is wrong."""

from __future__ import annotations

import os
import tracemalloc
from pathlib import Path

import pytest

from hailcalc.files import (
    load_matrix,
    matrices_folder,
    matrix_by_name,
    matrix_files,
    read_bytes,
    read_matrix_file,
    read_text,
    shipped,
    write_all,
)
from hailcalc.intake import take_in
from hailcalc.problems import InputError
from tests.builders import CLAIMS, MATRICES, SMALLEST, names

FIFTY_MEGABYTES = 50_000_000


def test_several_files_are_written_together(tmp_path: Path) -> None:
    write_all({tmp_path / "sheet.json": b"{}", tmp_path / "sheet.pdf": b"%PDF"})
    assert names(tmp_path) == ["sheet.json", "sheet.pdf"]
    assert (tmp_path / "sheet.json").read_bytes() == b"{}"
    assert (tmp_path / "sheet.pdf").read_bytes() == b"%PDF"


def test_nothing_to_write_is_no_mistake(tmp_path: Path) -> None:
    write_all({})
    assert names(tmp_path) == []


@pytest.mark.parametrize("bad_comes", ["first", "last"])
@pytest.mark.parametrize("bad", ["missing folder", "folder in its place", "file as a folder"])
def test_if_one_file_can_not_be_written_none_is(tmp_path: Path, bad: str, bad_comes: str) -> None:
    good = tmp_path / "sheet.json"
    good.write_bytes(b"the sheet of yesterday")
    if bad == "missing folder":
        wrong = tmp_path / "nowhere" / "sheet.pdf"
    elif bad == "folder in its place":
        wrong = tmp_path / "sheet.pdf"
        wrong.mkdir()
    else:
        wrong = good / "sheet.pdf"
    before = names(tmp_path)
    order = [wrong, good] if bad_comes == "first" else [good, wrong]
    with pytest.raises(InputError, match=str(wrong.name)):
        write_all(dict.fromkeys(order, b"the sheet of today"))
    assert names(tmp_path) == before
    assert good.read_bytes() == b"the sheet of yesterday"


def test_a_failure_leaves_no_new_file_and_no_temporary_one(tmp_path: Path) -> None:
    (tmp_path / "sheet.pdf").mkdir()
    with pytest.raises(InputError):
        write_all({tmp_path / "sheet.json": b"{}", tmp_path / "sheet.pdf": b"%PDF"})
    assert names(tmp_path) == ["sheet.pdf"]
    assert names(tmp_path / "sheet.pdf") == []


def test_the_message_names_the_file_that_was_meant_and_not_a_temporary_one(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        write_all({tmp_path / "nowhere" / "sheet.pdf": b""})
    (problem,) = caught.value.problems
    assert problem.file == str(tmp_path / "nowhere" / "sheet.pdf")
    assert problem.found == "no such file or directory"


def test_an_existing_file_is_replaced_as_a_whole(tmp_path: Path) -> None:
    """Whoever has the old file open goes on reading the old one to its end."""
    path = tmp_path / "sheet.json"
    path.write_bytes(b"old " * 1000)
    before = path.stat().st_ino
    with path.open("rb") as reader:
        first = reader.read(8)
        write_all({path: b"new"})
        assert first + reader.read() == b"old " * 1000
    assert path.read_bytes() == b"new"
    assert path.stat().st_ino != before
    assert names(tmp_path) == ["sheet.json"]


def test_what_is_no_plain_file_is_not_replaced_by_one(tmp_path: Path) -> None:
    """A pipe, as /dev/stdout or /dev/null are none either, stays what it is."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    with pytest.raises(InputError, match="pipe"):
        write_all({pipe: b"{}"})
    assert pipe.is_fifo()
    assert names(tmp_path) == ["pipe"]


def test_a_new_file_may_be_read_by_whom_the_umask_lets(tmp_path: Path) -> None:
    before = os.umask(0o027)
    try:
        write_all({tmp_path / "sheet.json": b"{}"})
        assert os.umask(0o027) == 0o027
    finally:
        os.umask(before)
    assert (tmp_path / "sheet.json").stat().st_mode & 0o777 == 0o640


def test_a_name_as_long_as_the_disk_allows_can_be_written(tmp_path: Path) -> None:
    path = tmp_path / ("s" * 250 + ".json")
    write_all({path: b"{}"})
    assert names(tmp_path) == [path.name]


def test_a_file_beyond_the_limit_is_refused_without_being_read_whole(tmp_path: Path) -> None:
    path = tmp_path / "huge.pdf"
    with path.open("wb") as file:
        file.truncate(2_000_000_000)
    tracemalloc.start()
    try:
        with pytest.raises(InputError, match=r"found 2,000,000,000 bytes, expected at most 1,000"):
            read_bytes(path, 1000)
        assert tracemalloc.get_traced_memory()[1] < 2_000_000
    finally:
        tracemalloc.stop()


def test_a_claim_of_fifty_megabytes_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "claim.json"
    with path.open("wb") as file:
        file.truncate(FIFTY_MEGABYTES)
    with pytest.raises(InputError, match=r"claim\.json: found 50,000,000 bytes"):
        take_in(path)


def test_a_file_exactly_at_the_limit_is_read(tmp_path: Path) -> None:
    path = tmp_path / "claim.json"
    path.write_bytes(b"x" * 1000)
    assert read_bytes(path, 1000) == b"x" * 1000
    with pytest.raises(InputError):
        read_bytes(path, 999)


def test_a_byte_that_is_no_utf8_is_named_with_its_position(tmp_path: Path) -> None:
    path = tmp_path / "claim.json"
    path.write_bytes('{"customer": "Mü'.encode("latin-1") + b'ller"}')
    with pytest.raises(InputError, match="found byte 0xfc at position 15, expected UTF-8 text"):
        read_text(path)


def test_a_byte_order_mark_is_no_mistake(tmp_path: Path) -> None:
    path = tmp_path / "claim.json"
    path.write_bytes(b"\xef\xbb\xbf{}")
    assert read_text(path) == "{}"


def test_a_missing_file_and_a_folder_are_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"none\.json: found no such file or directory"):
        read_text(tmp_path / "none.json")
    with pytest.raises(InputError, match="found is a directory"):
        read_text(tmp_path)


def test_a_name_that_no_disk_can_have_is_a_mistake_like_any_other(tmp_path: Path) -> None:
    with pytest.raises(InputError):
        read_text(tmp_path / ("x" * 5000))
    with pytest.raises(InputError):
        write_all({tmp_path / ("x" * 5000): b""})
    assert names(tmp_path) == []


def test_the_shipped_matrices_are_those_of_the_repository() -> None:
    found = matrix_files(shipped("matrices"))
    assert [path.name for path in found] == sorted(path.name for path in MATRICES.glob("*.toml"))
    assert found
    assert all(not read_matrix_file(path).problems for path in found)


def test_the_matrices_folder_is_the_one_that_is_named_then_the_one_here_then_the_shipped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("HAILCALC_MATRICES", raising=False)
    monkeypatch.chdir(tmp_path)
    assert matrices_folder() == shipped("matrices")
    (tmp_path / "matrices").mkdir()
    assert matrices_folder() == Path("matrices")
    monkeypatch.setenv("HAILCALC_MATRICES", "/somewhere/else")
    assert matrices_folder() == Path("/somewhere/else")


def test_a_matrix_that_is_not_there_is_answered_with_those_that_are() -> None:
    with pytest.raises(InputError, match=r'no matrix "nobody-2026".*copperfin-2026, larkspur'):
        matrix_by_name("nobody-2026", MATRICES)


@pytest.mark.parametrize("name", ["../matrices/copperfin-2026", "/etc/passwd", "", ".", "*"])
def test_a_matrix_name_does_not_lead_out_of_its_folder(name: str) -> None:
    with pytest.raises(InputError, match="no matrix"):
        matrix_by_name(name, MATRICES)


def test_a_matrix_files_name_must_be_the_matrixs_own(tmp_path: Path) -> None:
    path = tmp_path / "other-name.toml"
    path.write_bytes((MATRICES / "copperfin-2026.toml").read_bytes())
    with pytest.raises(InputError, match=r'found "copperfin-2026", expected .*"other-name"'):
        load_matrix(path)


def test_a_claim_read_from_disk_is_priced_under_the_matrix_it_names() -> None:
    intake = take_in(CLAIMS / f"{SMALLEST}.json")
    assert intake.compiled.matrix.name == "copperfin-2026"
    assert intake.claim.claim.number == "EF-2026-0001"


def test_mistakes_of_claim_matrix_and_counts_come_together_each_under_its_file(
    tmp_path: Path,
) -> None:
    claim_file, matrix_file = tmp_path / "claim.json", tmp_path / "shop.toml"
    tallies, dents = tmp_path / "tallies.csv", tmp_path / "dents.csv"
    claim_file.write_text('{"claim": {"number": "C"}, "vehicle": {"body": "tank"}}')
    text = (MATRICES / "copperfin-2026.toml").read_text()
    matrix_file.write_text(text.replace('cells = "minutes"', 'cells = "hours"'))
    tallies.write_text("panel,dime\nhood,many\n")
    dents.write_text("panel,mm\nhood,wide\n")
    with pytest.raises(InputError) as caught:
        take_in(claim_file, str(matrix_file), tallies, dents)
    files = {problem.file for problem in caught.value.problems}
    assert files == {str(path) for path in (claim_file, matrix_file, tallies, dents)}
