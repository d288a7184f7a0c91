"""What the README shows is what happens: its files are read, its commands run and compared."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
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
