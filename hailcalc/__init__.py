"""hailcalc: price a hail-damaged vehicle, from panel counts to a claim sheet.

    from hailcalc import price, read_claim, read_matrix, require_claim, require_matrix, sheet_json

    matrix = require_matrix(read_matrix(toml_text))
    claim = require_claim(read_claim(json_text))
    estimate = price(claim, matrix)
    document = sheet_json(estimate)

The core works on values; files, HTTP and the terminal are at the edge (`hailcalc.files`,
`api`, `hailcalc.cli`). Drawing a PDF is `hailcalc.sheet.pdf.sheet_pdf(document)`.
"""

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

__version__ = "0.1.0"
