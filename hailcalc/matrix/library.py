"""Which of several matrices prices a claim.

By name if the claim names one; else by insurer and date of loss. A matrix agreed with
the claim's insurer goes before the shop's own (one without an insurer), which is taken
where nothing was agreed for that date. None or several is an error listing what there is.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from hailcalc.claimfile import ClaimHeader
from hailcalc.matrix.model import Matrix
from hailcalc.problems import InputError, Problem


def choose_matrix(
    claim: ClaimHeader, name: str | None, matrices: Sequence[Matrix], file: str = "claim"
) -> Matrix:
    """The matrix for a claim. Raises InputError listing the candidates if none or several fit."""
    if name is not None:
        for matrix in matrices:
            if matrix.name == name:
                return matrix
        names = ", ".join(sorted(matrix.name for matrix in matrices)) or "no matrix at all"
        raise InputError([Problem(file, ("matrix",), f'"{name}"', f"one of {names}")])
    in_force = [matrix for matrix in matrices if _in_force(matrix, claim.date_of_loss)]
    agreed = [matrix for matrix in in_force if _agreed_with(matrix, claim.insurer)]
    candidates = agreed or [matrix for matrix in in_force if matrix.matrix.insurer is None]
    if len(candidates) == 1:
        return candidates[0]
    who = f'insurer "{claim.insurer}"' if claim.insurer else "no insurer"
    found = f"{len(candidates) or 'no'} matrices that fit {who} and {claim.date_of_loss}"
    listed = "; ".join(_described(matrix) for matrix in (candidates or matrices))
    raise InputError(
        [Problem(file, ("matrix",), found, f"one, or its name under `matrix`: {listed or 'none'}")]
    )


def matrix_problem_of_choice(claim: ClaimHeader, matrix: Matrix) -> list[str]:
    """Warnings where the chosen matrix does not cover the claim's date or insurer."""
    warnings = []
    if not _in_force(matrix, claim.date_of_loss):
        warnings.append(
            f"The date of loss, {claim.date_of_loss}, lies outside the dates of the matrix "
            f"({_dates(matrix)})."
        )
    insurer = matrix.matrix.insurer
    if insurer is not None and not _agreed_with(matrix, claim.insurer):
        named = f'"{claim.insurer}"' if claim.insurer else "no insurer"
        warnings.append(f'The matrix was agreed with "{insurer}"; the claim names {named}.')
    return warnings


def _in_force(matrix: Matrix, day: date) -> bool:
    header = matrix.matrix
    return header.effective <= day and (header.until is None or day <= header.until)


def _agreed_with(matrix: Matrix, insurer: str | None) -> bool:
    own = matrix.matrix.insurer
    return own is not None and insurer is not None and _plain(own) == _plain(insurer)


def _plain(name: str) -> str:
    return " ".join(name.split()).casefold()


def _dates(matrix: Matrix) -> str:
    header = matrix.matrix
    return f"{header.effective} to {header.until}" if header.until else f"from {header.effective}"


def _described(matrix: Matrix) -> str:
    owner = matrix.matrix.insurer or "the shop's own"
    return f"{matrix.name} ({owner}, {_dates(matrix)})"
