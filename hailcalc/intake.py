"""From files on disk to a claim and a compiled matrix that fit each other.

Reads the claim file, adds the panels of CSV counts, finds the matrix, and checks all of
it; the mistakes of all files are collected and raised together, each naming its own file.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

from hailcalc.claimfile import (
    Aim,
    ClaimFile,
    ClaimParts,
    ClaimReading,
    Panel,
    claim_from_data,
)
from hailcalc.coins import COIN_SETS
from hailcalc.estimate import CompiledMatrix, compile_matrix, fit_problems
from hailcalc.fields import as_json
from hailcalc.files import load_matrix, matrices_folder, matrix_by_name, read_matrices, read_text
from hailcalc.matrix import Matrix, choose_matrix
from hailcalc.problems import InputError, Problem
from hailcalc.reading import load_json

Result = TypeVar("Result")


class Intake(NamedTuple):
    """A claim, the matrix that prices it, and what must be said of how the files fit."""

    claim: ClaimFile
    compiled: CompiledMatrix
    notes: tuple[str, ...] = ()


def take_in(
    claim: Path,
    matrix: str | None = None,
    tallies: Path | None = None,
    dents: Path | None = None,
    folder: Path | None = None,
    outlines: Path | None = None,
) -> Intake:
    """Read a claim file with its counts, outlines and matrix.

    `matrix` is a name or a file and goes before the claim's own choice; names are looked up in
    `folder`, by default `matrices_folder()`. `dents` and `outlines` are CSV, or GeoJSON by the
    name's ending. Raises InputError with every mistake of every file.
    """
    problems: list[Problem] = []
    read_data = _attempt(lambda: [load_json(read_text(claim), str(claim))], problems)
    data = read_data[0] if read_data else None
    alone = claim_from_data(data, str(claim)) if read_data else None
    chosen = _attempt(lambda: _matrix_for(alone, matrix, str(claim), folder), problems)
    compiled = None if chosen is None else compile_matrix(chosen)
    added = _counts_added(tallies, dents, _coin_names(compiled), problems)
    shapes = _outlines_added(outlines, problems)
    notes: tuple[str, ...] = ()
    if alone is not None:
        without = _with_panels(data, added)
        whole = _with_outlines(without, shapes)
        notes = tuple(_outline_notes(without, shapes, outlines, problems))
        reading = claim_from_data(whole, str(claim)) if added or shapes else alone
        found = list(reading.problems)
        if compiled is not None:
            found += fit_problems(reading.parts, compiled, str(claim))
        else:
            from hailcalc.counting.survey import survey_claim

            found += survey_claim(reading.parts, str(claim))[1]
        found = [_of_outlines(problem, whole, outlines, shapes) for problem in found]
        problems += [_at_home(problem, data, added) for problem in found]
        if reading.claim is not None and compiled is not None and not problems:
            return Intake(reading.claim, compiled, notes)
    raise InputError(problems)


def to_be_planned(intake: Intake, file: Path, aim: Aim | None, every: bool) -> Intake:
    """A claim with another aim of its plan and, with `every`, all its panels to be planned.

    Raises InputError where a panel then has no method.
    """
    claim = intake.claim
    notes = list(intake.notes)
    if every:
        panels = []
        for panel in claim.panels:
            if panel.access == "replace" and not _has_dents(panel):
                notes.append(f"{panel.panel}: no dents counted, so its replacement is not planned.")
                panels.append(panel)
            else:
                panels.append(panel.model_copy(update={"access": "plan"}))
        claim = claim.model_copy(update={"panels": tuple(panels)})
    if aim is not None and any(panel.access == "plan" for panel in claim.panels):
        claim = claim.model_copy(update={"aim": aim})
    elif aim is not None:
        notes.append('no panel has the access "plan", so the aim changes nothing.')
    problems = fit_problems(ClaimParts.of(claim), intake.compiled, str(file))
    if problems:
        raise InputError(problems)
    return intake._replace(claim=claim, notes=tuple(notes))


def _has_dents(panel: Panel) -> bool:
    counted = sum(panel.tally.values()) + len(panel.oversize) + len(panel.dents)
    return counted > 0 or panel.sample is not None


def take_in_two(a: Path, b: Path, matrix: str | None = None) -> tuple[Intake, Intake]:
    """Two counts of one vehicle, both under A's matrix unless `matrix` names another.

    A is a claim file; B is one too, or a CSV or GeoJSON of the second counter's dents.

    Raises InputError with every mistake of both files.
    """
    problems: list[Problem] = []
    first = _attempt(lambda: take_in(a, matrix), problems)
    named = matrix
    if named is None and first is not None:
        named = first.compiled.matrix.name
    second = _attempt(lambda: _second_count(first, b, named), problems)
    if first is None or second is None:
        # What is wrong with the matrix is wrong for both, and told once.
        raise InputError(dict.fromkeys(problems))
    return first, second


def _second_count(first: Intake | None, b: Path, matrix: str | None) -> Intake | None:
    if b.suffix.lower() in (".csv", ".geojson"):
        return take_in_marks(first, b)
    return take_in(b, matrix)


_COUNTS = ("tally", "marked", "oversize", "dents", "sample")


def take_in_marks(first: Intake | None, marks: Path) -> Intake | None:
    """A claim as somebody else counted it: its panels with the dents of a CSV or GeoJSON file.

    Panels that the file does not have are left out. None without a claim to go by. Raises
    InputError with every mistake of the file.
    """
    problems: list[Problem] = []
    added = _counts_added(None, marks, [], problems)
    if problems:
        raise InputError(problems)
    if first is None:
        return None
    data = as_json(first.claim)
    known = {panel["panel"]: panel for panel in data.get("panels", [])}
    panels = [_recounted(known.get(panel["panel"], {}), panel) for _, panel in added]
    header = {k: v for k, v in data["claim"].items() if k not in ("estimator", "dated")}
    reading = claim_from_data(data | {"claim": header, "panels": panels}, str(marks))
    found = [*reading.problems, *fit_problems(reading.parts, first.compiled, str(marks))]
    if reading.claim is None or found:
        raise InputError([_at_home(problem, {"panels": []}, added) for problem in found])
    return Intake(reading.claim, first.compiled)


def _recounted(known: dict[str, Any], counted: dict[str, Any]) -> dict[str, Any]:
    """A panel as the claim describes it, with another count."""
    return {key: value for key, value in known.items() if key not in _COUNTS} | counted


def _attempt(action: Callable[[], Result], problems: list[Problem]) -> Result | None:
    """The result of `action`, or None with its problems added to the list."""
    try:
        return action()
    except InputError as error:
        problems += error.problems
        return None


def _coin_names(compiled: CompiledMatrix | None) -> list[str]:
    """Coins that a CSV may have as columns; all known ones while the matrix is not known."""
    if compiled is None:
        return [coin.name for coins in COIN_SETS.values() for coin in coins]
    return [coin.name for coin in compiled.tables.coins]


def _counts_added(
    tallies: Path | None, dents: Path | None, coins: list[str], problems: list[Problem]
) -> list[tuple[str, dict[str, Any]]]:
    """Panels of the CSV files, each with the name of its file."""
    added: list[tuple[str, dict[str, Any]]] = []
    if tallies is None and dents is None:
        return added
    from hailcalc.counting.csvfiles import panels_from_dents, panels_from_tallies
    from hailcalc.counting.geojson import panels_from_geojson

    for path, read in (
        (tallies, lambda text, file: panels_from_tallies(text, coins, file)),
        (dents, panels_from_geojson if _is_geojson(dents) else panels_from_dents),
    ):
        if path is not None:
            panels = _read_counts(path, read, problems)
            added += [(str(path), panel) for panel in panels or ()]
    return added


def _read_counts(
    path: Path, read: Callable[[str, str], list[dict[str, Any]]], problems: list[Problem]
) -> list[dict[str, Any]] | None:
    return _attempt(lambda: read(read_text(path), str(path)), problems)


def _is_geojson(path: Path | None) -> bool:
    return path is not None and path.suffix.lower() in (".geojson", ".json")


def _outlines_added(path: Path | None, problems: list[Problem]) -> dict[str, dict[str, Any]]:
    """Keys `outline` and `zones` by panel, from a file of the shop's own outlines."""
    if path is None:
        return {}
    from hailcalc.counting.csvfiles import outlines_from_csv
    from hailcalc.counting.geojson import outlines_from_geojson

    read = outlines_from_geojson if _is_geojson(path) else outlines_from_csv
    return _attempt(lambda: read(read_text(path), str(path)), problems) or {}


def _with_outlines(data: Any, shapes: dict[str, dict[str, Any]]) -> Any:
    """The claim with the shop's own outlines on those of its panels that have one."""
    if not shapes or not isinstance(data, dict) or not isinstance(data.get("panels"), list):
        return data
    panels = [
        panel | shapes.get(str(panel.get("panel")), {}) if isinstance(panel, dict) else panel
        for panel in data["panels"]
    ]
    return data | {"panels": panels}


def _outline_notes(
    data: Any, shapes: dict[str, dict[str, Any]], path: Path | None, problems: list[Problem]
) -> Iterator[str]:
    """Outlines that fit no panel of the claim, and those that take the place of its own."""
    if not shapes or not isinstance(data, dict) or not isinstance(data.get("panels"), list):
        return
    panels = {str(panel.get("panel")): panel for panel in data["panels"] if isinstance(panel, dict)}
    unused = [name for name in shapes if name not in panels]
    if len(unused) == len(shapes):
        expected = f"outlines of the claim's panels: {', '.join(panels) or 'none'}"
        problems.append(Problem(str(path), (), f"outlines of {', '.join(unused)}", expected))
    elif unused:
        yield f"{path}: outlines of {', '.join(unused)} are not used; the claim lacks the panel."
    for name in shapes.keys() & panels.keys():
        if any(key in panels[name] for key in shapes[name]):
            yield f"{name}: the claim's own outline or zones are replaced by those of {path}."


def _of_outlines(
    problem: Problem, data: Any, path: Path | None, shapes: dict[str, dict[str, Any]]
) -> Problem:
    """A problem of an outline or a zone, named by the outlines file that it came from."""
    if len(problem.where) < 3 or problem.where[2] not in ("outline", "zones"):
        return problem
    panel = str(data["panels"][problem.where[1]].get("panel"))
    if problem.where[2] not in shapes.get(panel, {}):
        return problem
    return replace(problem, file=str(path), where=(f"panel {panel}", *problem.where[2:]))


def _with_panels(data: Any, added: list[tuple[str, dict[str, Any]]]) -> Any:
    if not isinstance(data, dict) or not isinstance(data.get("panels", []), list):
        return data
    return data | {"panels": [*data.get("panels", []), *(panel for _, panel in added)]}


def _at_home(problem: Problem, data: Any, added: list[tuple[str, dict[str, Any]]]) -> Problem:
    """A problem of a panel that came from a CSV, named by that file and the panel."""
    if len(problem.where) < 2 or problem.where[0] != "panels":
        return problem
    index = problem.where[1]
    own = len(data.get("panels", []))
    if not isinstance(index, int) or index < own or index - own >= len(added):
        return problem
    file, panel = added[index - own]
    return replace(problem, file=file, where=(f"panel {panel['panel']}", *problem.where[2:]))


def matrix_named(matrix: str) -> Matrix:
    """A matrix by name or by file (a path, or anything that ends in .toml). Raises InputError."""
    if matrix.endswith(".toml") or "/" in matrix:
        return load_matrix(Path(matrix))
    return matrix_by_name(matrix, matrices_folder())


def _matrix_for(
    reading: ClaimReading | None, matrix: str | None, file: str, folder: Path | None
) -> Matrix | None:
    """The matrix named on the command line, by the claim, or by insurer and date of loss."""
    if matrix is not None:
        return matrix_named(matrix)
    folder = folder or matrices_folder()
    if reading is None:
        return None
    if reading.parts.matrix is not None:
        return matrix_by_name(reading.parts.matrix, folder)
    if reading.parts.claim is None:
        return None
    readings = [found for _, found in read_matrices(folder)]
    broken = [problem for found in readings for problem in found.problems]
    if broken:
        # A broken file might be the one that fits, so none is chosen until it is mended.
        raise InputError(broken)
    matrices = [found.matrix for found in readings if found.matrix is not None]
    return choose_matrix(reading.parts.claim, None, matrices, file)
