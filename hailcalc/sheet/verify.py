"""Recompute a claim sheet from the claim and the matrix inside it.

Nothing printed is trusted: the claim and the matrix are read again with all their checks,
every line, total and word of evidence is computed anew, and each difference is listed with
its place, what is printed and what was recomputed. The digest covers the rest.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from hailcalc.claimfile import claim_from_data, require_claim
from hailcalc.estimate import Estimate, price
from hailcalc.matrix import matrix_from_data, require_matrix
from hailcalc.problems import InputError, Place, Problem, printable, shown
from hailcalc.reading import load_json
from hailcalc.sheet.document import KEYS, SIGNATURE, digest, plain_numbers, sheet_json
from hailcalc.signing import Key, fault_of, fingerprint


@dataclass(frozen=True, slots=True)
class Difference:
    """One place where a sheet does not say what its own claim and matrix give."""

    where: str
    printed: str
    recomputed: str

    def __str__(self) -> str:
        return f"{self.where}: printed {self.printed}, recomputed {self.recomputed}"


def read_sheet(text: str, file: str) -> dict[str, Any]:
    """A sheet's JSON. Raises InputError if it is not one."""
    data = load_json(text, file)
    if not isinstance(data, dict) or not set(KEYS) <= data.keys():
        missing = [key for key in KEYS if not isinstance(data, dict) or key not in data]
        raise InputError(
            [Problem(file, (), "no " + ", ".join(missing), "a claim sheet with " + ", ".join(KEYS))]
        )
    return data


def verify_sheet(
    document: dict[str, Any], file: str = "sheet", key: Key | None = None
) -> list[Difference]:
    """Every difference between a sheet and what its claim and matrix give; empty if none.

    With a `key` the sheet must be signed by it; without, a signature must be one of this sheet.
    """
    differences = list(_signature_differences(document, key))
    content = {name: value for name, value in document.items() if name not in ("digest", SIGNATURE)}
    try:
        computed = digest(content)
    except ValueError as error:
        differences.append(Difference("digest", shown(document["digest"], 80), f"none: {error}"))
    else:
        if document["digest"] != computed:
            printed = shown(document["digest"], 80)
            differences.append(Difference("digest", printed, shown(computed, 80)))
    for name in document:
        if name not in (*KEYS, SIGNATURE):
            place = Problem("", (name,), "", "").place
            differences.append(Difference(place, "a key", "no such key in a claim sheet"))
    claim = claim_from_data(document["claim_file"], "claim_file")
    matrix = matrix_from_data(document["matrix"], "matrix")
    problems = [*claim.problems, *matrix.problems]
    if claim.claim is None or matrix.matrix is None:
        return differences + [_from_problem(problem) for problem in problems]
    try:
        recomputed = sheet_json(price(claim.claim, matrix.matrix))
    except InputError as error:
        return differences + [_from_problem(problem) for problem in error.problems]
    for name in KEYS[:-1]:
        printed = plain_numbers(document[name])
        differences += _compare(printed, recomputed[name], (name,), recomputed)
    return differences


def _signature_differences(document: dict[str, Any], key: Key | None) -> Iterator[Difference]:
    if SIGNATURE in document:
        fault = fault_of(document[SIGNATURE], document["digest"], key)
        if fault is not None:
            expected = "one of this sheet" if key is None else f"one by key {fingerprint(key)}"
            yield Difference(SIGNATURE, fault, expected)
    elif key is not None:
        yield Difference(SIGNATURE, "nothing", f"one by key {fingerprint(key)}")


def estimate_on(document: dict[str, Any]) -> Estimate:
    """The estimate that a sheet's claim and matrix give. Raises InputError where they give none."""
    claim = claim_from_data(document["claim_file"], "claim_file")
    matrix = matrix_from_data(document["matrix"], "matrix")
    return price(require_claim(claim), require_matrix(matrix))


def _from_problem(problem: Problem) -> Difference:
    where = f"{problem.file}.{problem.place}" if problem.where else problem.file
    return Difference(where, problem.found, f"nothing: expected {problem.expected}")


def _compare(
    printed: Any, computed: Any, where: Place, sheet: dict[str, Any]
) -> Iterator[Difference]:
    """Leaves in which two JSON values differ."""
    if isinstance(printed, dict) and isinstance(computed, dict):
        for key in dict.fromkeys([*printed, *computed]):
            if key not in printed:
                yield Difference(_name((*where, key), sheet), "nothing", _leaf(computed[key]))
            elif key not in computed:
                yield Difference(_name((*where, key), sheet), _leaf(printed[key]), "nothing")
            else:
                yield from _compare(printed[key], computed[key], (*where, key), sheet)
    elif isinstance(printed, list) and isinstance(computed, list):
        for index in range(max(len(printed), len(computed))):
            place = (*where, index)
            if index >= len(printed):
                yield Difference(_name(place, sheet), "nothing", _leaf(computed[index]))
            elif index >= len(computed):
                yield Difference(_name(place, sheet), _leaf(printed[index]), "nothing")
            else:
                yield from _compare(printed[index], computed[index], place, sheet)
    elif printed != computed or isinstance(printed, bool) != isinstance(computed, bool):
        yield Difference(_name(where, sheet), _leaf(printed), _leaf(computed))


def _leaf(value: Any) -> str:
    if isinstance(value, (dict, list)):
        return f"{len(value)} entries" if isinstance(value, list) else shown(dict(value))
    return "null" if value is None else shown(value)


def _name(where: Place, sheet: dict[str, Any]) -> str:
    """A place in words: line 4 (hood, Aluminium panel) amount."""
    if where[0] != "lines" or len(where) < 2 or not isinstance(where[1], int):
        return Problem("", where, "", "").place
    number = where[1]
    name = f"line {number + 1}"
    if number < len(sheet["lines"]):
        line = sheet["lines"][number]
        name += f" ({line['panel'] or 'vehicle'}, {line['label']})"
    return printable(" ".join([name, *map(str, where[2:])]))
