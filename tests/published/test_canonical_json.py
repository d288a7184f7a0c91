"""The canonical form under a sheet's digest against RFC 8785 (JSON Canonicalization Scheme).

The vectors of the RFC's sections 3.2.2 to 3.2.4 and of its appendix B are from memory; each can
be checked in itself: the text is the same JSON, the number is the one that the bits stand for.
The digest is SHA-256 (FIPS 180-4) over that form.
"""

from __future__ import annotations

import hashlib
import json
import math
import struct
import subprocess
import sys
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hailcalc.reading import load_json
from hailcalc.sheet.document import digest

# RFC 8785, section 3.2.2, the sample, and section 3.2.3, its canonical form (from memory).
SAMPLE = r"""
{
  "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
  "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
  "literals": [null, true, false]
}
"""
SAMPLE_CANONICAL = (
    r'{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
    '"string":"€$'
    r"""\u000f\nA'B\"\\\\\"/"}"""
)

# RFC 8785, section 3.2.3: keys in the order of their UTF-16 code units (from memory).
KEYS_SAMPLE = r"""
{
  "\u20ac": "Euro Sign",
  "\r": "Carriage Return",
  "\ufb33": "Hebrew Letter Dalet With Dagesh",
  "1": "One",
  "\ud83d\ude00": "Emoji: Grinning Face",
  "\u0080": "Control",
  "\u00f6": "Latin Small Letter O With Diaeresis"
}
"""
KEYS_ORDER = [
    "Carriage Return",
    "One",
    "Control",
    "Latin Small Letter O With Diaeresis",
    "Euro Sign",
    "Emoji: Grinning Face",
    "Hebrew Letter Dalet With Dagesh",
]

# RFC 8785, appendix B: IEEE 754 bits and the canonical number (from memory).
NUMBERS = {
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "ffefffffffffffff": "-1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "c340000000000000": "-9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332",
    "41b3de4355555554": "333333333.33333325",
    "41b3de4355555555": "333333333.3333333",
    "41b3de4355555556": "333333333.3333334",
    "41b3de4355555557": "333333333.33333343",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}


def sha256(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def from_bits(bits: str) -> float:
    number: float = struct.unpack(">d", bytes.fromhex(bits))[0]
    return number


def test_the_rfcs_sample_has_the_digest_of_its_canonical_form() -> None:
    assert json.loads(SAMPLE_CANONICAL) == json.loads(SAMPLE)
    assert digest(json.loads(SAMPLE)) == sha256(SAMPLE_CANONICAL)


def test_keys_are_ordered_by_utf_16_code_units() -> None:
    data: dict[str, str] = json.loads(KEYS_SAMPLE)
    by_value = {value: key for key, value in data.items()}
    members = [
        # RFC 8785, section 3.2.2.2: the control characters that have a short form use it, and
        # everything from U+0020 on but quote and backslash stands for itself.
        ('"\\r"' if by_value[value] == "\r" else f'"{by_value[value]}"') + f':"{value}"'
        for value in KEYS_ORDER
    ]
    assert digest(data) == sha256("{" + ",".join(members) + "}")


@pytest.mark.parametrize(("bits", "text"), NUMBERS.items())
def test_numbers_are_written_as_ecmascript_writes_them(bits: str, text: str) -> None:
    number = from_bits(bits)
    assert float(text) == number
    assert digest([number]) == sha256(f"[{text}]")


@pytest.mark.parametrize("bits", ["7fffffffffffffff", "7ff0000000000000", "fff0000000000000"])
def test_what_is_no_number_has_no_digest(bits: str) -> None:
    assert not math.isfinite(from_bits(bits))
    with pytest.raises(ValueError):  # noqa: PT011
        digest([from_bits(bits)])


@pytest.mark.parametrize(
    ("written", "canonical"),
    [
        ("4.50", "4.5"),
        ("2e-3", "0.002"),
        ("41.0", "41"),
        ("-0", "0"),
        ("-0.0", "0"),
        ("1E2", "100"),
    ],
)
def test_a_number_read_from_a_file_has_one_form_however_it_is_written(
    written: str, canonical: str
) -> None:
    assert digest(load_json(f"[{written}]", "sheet")) == sha256(f"[{canonical}]")


sizes = st.integers(-(10**9), 10**9) | st.decimals(-1000, 1000, places=3).map(float)
values: st.SearchStrategy[Any] = st.recursive(
    st.none() | st.booleans() | sizes | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=6), inner, max_size=5)
    ),
    max_leaves=15,
)


def turned_round(value: Any) -> Any:
    """The same JSON with the keys of every object in the opposite order."""
    if isinstance(value, dict):
        return {key: turned_round(value[key]) for key in reversed(value)}
    if isinstance(value, list):
        return [turned_round(inner) for inner in value]
    return value


@given(values, st.sampled_from([None, 1, 4]), st.booleans())
def test_spacing_escapes_and_the_order_of_keys_do_not_matter(
    value: Any, indent: int | None, ascii_only: bool
) -> None:
    text = json.dumps(turned_round(value), indent=indent, ensure_ascii=ascii_only)
    assert digest(load_json(text, "sheet")) == digest(value)


def test_a_changed_figure_changes_the_digest() -> None:
    assert digest({"amount": "24.00"}) != digest({"amount": "24.01"})
    assert digest({"amount": "24.00"}) != digest({"amount": 24})


@pytest.mark.parametrize("number", ["1e999", "9007199254740993"])
def test_a_number_that_json_cannot_carry_exactly_is_refused(number: str) -> None:
    data = load_json(f"[{number}]", "sheet")
    with pytest.raises(ValueError):  # noqa: PT011
        digest(data)


def test_a_number_of_a_thousand_million_digits_is_refused_at_once() -> None:
    # In a process of its own: worked out in full, such a number would fill the memory.
    program = (
        "from hailcalc.problems import InputError\n"
        "from hailcalc.reading import load_json\n"
        "from hailcalc.sheet.document import digest\n"
        "try:\n    digest(load_json('[1e999999999]', 'sheet'))\n"
        "except (InputError, ValueError):\n    print('refused')\n"
    )
    found = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, timeout=60, check=True
    )
    assert found.stdout == "refused\n"
