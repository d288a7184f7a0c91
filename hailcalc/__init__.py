"""hailcalc: price a hail-damaged vehicle, from panel counts to a claim sheet.

    from hailcalc import price, read_claim, read_matrix, require_claim, require_matrix, sheet_json

    matrix = require_matrix(read_matrix(toml_text))
    claim = require_claim(read_claim(json_text))
    estimate = price(claim, matrix)
    document = sheet_json(estimate)

The core works on values; files, HTTP and the terminal are at the edge (`hailcalc.files`,
`api`, `hailcalc.cli`). Drawing a PDF is `hailcalc.sheet.pdf.sheet_pdf(estimate)`. Names
are loaded when they are first used, so that a command starts with what it needs.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from hailcalc.claimfile import ClaimFile, read_claim, require_claim
    from hailcalc.estimate import CompiledMatrix, Estimate, compile_matrix, price
    from hailcalc.matrix import Matrix, choose_matrix, read_matrix, require_matrix
    from hailcalc.problems import InputError, Problem
    from hailcalc.sheet.document import sheet_json, sheet_text
    from hailcalc.sheet.verify import Difference, verify_sheet

__all__ = [
    "ClaimFile",
    "CompiledMatrix",
    "Difference",
    "Estimate",
    "InputError",
    "Matrix",
    "Problem",
    "choose_matrix",
    "compile_matrix",
    "price",
    "read_claim",
    "read_matrix",
    "require_claim",
    "require_matrix",
    "sheet_json",
    "sheet_text",
    "verify_sheet",
]

__version__ = "0.5.0"

_MODULES = {
    "claimfile": ("ClaimFile", "read_claim", "require_claim"),
    "estimate": ("CompiledMatrix", "Estimate", "compile_matrix", "price"),
    "matrix": ("Matrix", "choose_matrix", "read_matrix", "require_matrix"),
    "problems": ("InputError", "Problem"),
    "sheet.document": ("sheet_json", "sheet_text"),
    "sheet.verify": ("Difference", "verify_sheet"),
}


def __getattr__(name: str) -> Any:
    """A public name, from its module (PEP 562)."""
    from importlib import import_module

    for module, names in _MODULES.items():
        if name in names:
            return getattr(import_module(f"hailcalc.{module}"), name)
    raise AttributeError(f"module 'hailcalc' has no attribute {name!r}")
