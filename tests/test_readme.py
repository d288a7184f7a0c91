"""What the README shows is what happens: its files are read, its commands run and compared."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from hailcalc.claimfile import ClaimFile, Panel
from hailcalc.files import load_matrix

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
FILES = re.findall(r"<!-- file: (\S+) -->\n```\w+\n(.*?)```", README, re.DOTALL)
CONSOLES = re.findall(r"```console\n(.*?)```", README, re.DOTALL)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name, text in FILES:
        (tmp_path / name).write_text(text, encoding="utf-8")
    for name in ("demo", "matrices"):
        (tmp_path / name).symlink_to(ROOT / name)
    return tmp_path


def test_every_command_of_the_tour_prints_what_the_readme_shows(folder: Path) -> None:
    assert len(CONSOLES) >= 5
    path = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
    for console in CONSOLES:
        commands = re.split(r"^\$ ", console, flags=re.MULTILINE)[1:]
        for entry in commands:
            command, _, shown = entry.partition("\n")
            done = subprocess.run(
                command,
                shell=True,
                cwd=folder,
                env=os.environ | {"PATH": path},
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT,
                text=True,
                check=False,
            )
            assert done.stdout == shown, command


def test_the_matrix_file_in_the_readme_is_sound(folder: Path) -> None:
    assert load_matrix(folder / "small.toml").name == "small"


def test_the_claim_files_in_the_readme_are_json(folder: Path) -> None:
    assert json.loads((folder / "first.json").read_text())["claim"]["number"] == "EF-100"


def test_the_readme_names_every_key_of_a_claim_file_and_of_a_panel() -> None:
    section = README.partition("## The claim file")[2].partition("## The matrix file")[0]
    for model in (ClaimFile, Panel):
        for key in model.model_fields:
            assert f"`{key}`" in section or f"`{key}[]`" in section, key


def test_every_picture_and_anchor_of_the_readme_exists() -> None:
    for target in re.findall(r"\]\(([^)]+)\)", README):
        if target.startswith("#"):
            headings = re.findall(r"^##+ (.+)$", README, re.MULTILINE)
            slugs = {re.sub(r"[^\w\- ]", "", head.lower()).replace(" ", "-") for head in headings}
            assert target[1:] in slugs, target
        else:
            assert (ROOT / target).exists(), target


LIFE = re.search(r"<!-- life -->\n```sh\n(.*?)```", README, re.DOTALL)


def test_the_whole_life_of_a_claim_is_ten_lines_of_curl_that_work(folder: Path) -> None:
    assert LIFE is not None
    first, _, lines = LIFE[1].partition("\n\n")
    assert sum("curl" in line for line in lines.splitlines()) == 10
    with serving(folder) as (address, token):
        head = first.replace("http://127.0.0.1:8423", address).replace("hc_…", token)
        script = f"set -eu\n{head}\n{lines}"
        done = subprocess.run(
            ["bash", "-c", script], cwd=folder, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr
    agreed = json.loads((folder / "agreed.json").read_text())
    assert agreed["state"] == "agreed", agreed
    assert agreed["sums"]["disputed"] == "16.59"
    assert [revision["number"] for revision in agreed["revisions"]] == [1, 2]
    for name in ("sheet-1.pdf", "changes.pdf"):
        assert (folder / name).read_bytes().startswith(b"%PDF")


@contextmanager
def serving(folder: Path) -> Iterator[tuple[str, str]]:
    """`hailcalc serve` with no set-up at all: its address and the token that it printed."""
    server = subprocess.Popen(
        [sys.executable, "-m", "hailcalc", "serve", "--port", "0"],
        cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
    )  # fmt: skip
    try:
        assert server.stdout is not None
        address, _, token = server.stdout.readline().strip().partition("/#")
        yield address.removeprefix("page: "), token
    finally:
        server.terminate()
        server.wait()
