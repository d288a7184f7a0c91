"""The shop's key: sheets signed by it say so, and nothing else passes for that."""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import stat
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hailcalc.problems import InputError
from hailcalc.sheet.pdf import sheet_pdf
from hailcalc.sheet.pdfcheck import verify_pdf
from hailcalc.sheet.verify import verify_sheet
from hailcalc.signing import (
    fault_of,
    fingerprint,
    new_key,
    public_key,
    read_key,
    shown_fingerprint,
    sign,
    signed,
    signer,
)
from tests.builders import CLAIMS, SMALLEST, claim, estimate, matrix, panel, sheet

KEY = new_key()
OTHER = new_key()
DIGEST = "5e" * 32


def parts(**header: Any) -> str:
    """A signature whose header says this, with the payload and value of a true one."""
    _, payload, value = sign(DIGEST, KEY).split(".")
    text = json.dumps(header).encode()
    return f"{base64.urlsafe_b64encode(text).decode().rstrip('=')}.{payload}.{value}"


def test_a_signed_digest_is_known_by_its_key() -> None:
    signature = sign(DIGEST, KEY)
    assert fault_of(signature, DIGEST, public_key(KEY)) is None
    assert signer(signature) == fingerprint(KEY)
    assert sign(DIGEST, KEY) == signature


def test_another_sheet_or_another_key_is_told() -> None:
    signature = sign(DIGEST, KEY)
    assert "another sheet" in str(fault_of(signature, "5f" * 32, KEY))
    assert "another key" in str(fault_of(signature, DIGEST, OTHER))


def test_a_signature_by_another_key_under_this_ones_name_is_false() -> None:
    header, payload, _ = sign(DIGEST, KEY).split(".")
    value = sign(DIGEST, OTHER).split(".")[2]
    assert fault_of(f"{header}.{payload}.{value}", DIGEST, KEY) == "a false signature"


@pytest.mark.parametrize(
    "header",
    [
        {"alg": "none", "kid": fingerprint(KEY)},
        {"alg": "EdDSA", "kid": fingerprint(KEY)},
        {"alg": "HS256", "kid": fingerprint(KEY)},
        {"alg": "Ed25519"},
        {"alg": "Ed25519", "kid": 7},
        {"alg": "Ed25519", "kid": fingerprint(KEY), "crit": ["b64"], "b64": False},
        {"alg": "Ed25519", "kid": fingerprint(KEY), "jwk": public_key(OTHER)},
    ],
)
def test_only_the_one_algorithm_and_form_is_taken(header: dict[str, Any]) -> None:
    assert signer(parts(**header)) is None
    assert fault_of(parts(**header), DIGEST, KEY) is not None


def test_a_public_key_is_no_shared_secret() -> None:
    header = (
        base64.urlsafe_b64encode(json.dumps({"alg": "HS256", "kid": fingerprint(KEY)}).encode())
        .decode()
        .rstrip("=")
    )
    payload = base64.urlsafe_b64encode(DIGEST.encode()).decode().rstrip("=")
    secret = base64.urlsafe_b64decode(KEY["x"] + "=")
    mac = hmac.new(secret, f"{header}.{payload}".encode(), hashlib.sha256).digest()
    value = base64.urlsafe_b64encode(mac).decode().rstrip("=")
    assert fault_of(f"{header}.{payload}.{value}", DIGEST, KEY) is not None


@given(st.one_of(st.text(max_size=300), st.integers(), st.none(), st.lists(st.text())))
def test_whatever_else_stands_there_is_no_signature(found: object) -> None:
    assert fault_of(found, DIGEST, KEY) is not None
    assert fault_of(found, DIGEST) is not None


@given(st.integers(0, 400), st.characters(codec="ascii", categories=["L", "N"]))
def test_one_letter_changed_anywhere_is_noticed(place: int, letter: str) -> None:
    signature = sign(DIGEST, KEY)
    at = place % len(signature)
    changed = signature[:at] + letter + signature[at + 1 :]
    fault = fault_of(changed, DIGEST, KEY)
    same = [base64.urlsafe_b64decode(part + "==") for part in signature.split(".")]
    try:
        now = [base64.urlsafe_b64decode(part + "==") for part in changed.split(".")]
    except ValueError:
        now = []
    # The last letter of 64 bytes carries four bits that mean nothing.
    assert (fault is None) == (now == same)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("{}", "no crv, kty, x"),
        ("[]", "no any JSON object"),
        ('{"kty": "RSA", "crv": "Ed25519", "x": "AA"}', '"RSA"'),
        (json.dumps(public_key(KEY) | {"crv": "X25519"}), '"X25519"'),
        ('{"kty": "OKP", "crv": "Ed25519", "x": "short"}', "another value"),
    ],
)
def test_what_is_no_key_file_is_refused(text: str, found: str) -> None:
    with pytest.raises(InputError) as refused:
        read_key(text, "key.json")
    assert found in str(refused.value)


def test_a_public_key_signs_nothing_and_a_bad_secret_is_not_repeated() -> None:
    with pytest.raises(InputError, match="no d"):
        read_key(json.dumps(public_key(KEY)), "key.json", private=True)
    with pytest.raises(InputError) as refused:
        read_key(json.dumps(KEY | {"d": "my-secret"}), "key.json", private=True)
    assert "my-secret" not in str(refused.value)


def test_a_fingerprint_is_read_out_in_fours() -> None:
    assert shown_fingerprint("abcdefghij") == "abcd efgh ij"


def test_a_signed_sheet_verifies_with_its_key_and_no_other() -> None:
    document = signed(sheet(estimate(claim(panel()), matrix())), KEY)
    assert verify_sheet(document) == []
    assert verify_sheet(document, key=public_key(KEY)) == []
    assert [each.where for each in verify_sheet(document, key=OTHER)] == ["signature"]
    unsigned = sheet(estimate(claim(panel()), matrix()))
    assert [each.printed for each in verify_sheet(unsigned, key=KEY)] == ["nothing"]


def test_the_pdf_says_whether_and_by_which_key_it_is_signed() -> None:
    priced = estimate(claim(panel()), matrix())
    signature = sign(sheet(estimate(claim(panel()), matrix()))["digest"], KEY)
    data = sheet_pdf(priced, signature=signature)
    document, differences = verify_pdf(data, "sheet.pdf", public_key(KEY))
    assert differences == []
    assert document["signature"] == signature
    assert verify_pdf(data, "sheet.pdf", OTHER)[1] != []
    assert verify_pdf(sheet_pdf(priced), "sheet.pdf", KEY)[1] != []


def hailcalc(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "hailcalc", *words],
        cwd=folder, capture_output=True, text=True, check=False,
    )  # fmt: skip


def test_a_key_is_made_used_and_checked_on_the_command_line(tmp_path: Path) -> None:
    made = hailcalc(tmp_path, "key", "new")
    assert made.returncode == 0, made.stderr
    private = tmp_path / "shop-key.json"
    assert stat.S_IMODE(private.stat().st_mode) == 0o600
    demo = str(CLAIMS / f"{SMALLEST}.json")
    priced = hailcalc(tmp_path, "price", demo, "--sign", "shop-key.json", "--pdf", "s.pdf")
    assert priced.returncode == 0, priced.stderr
    told = hailcalc(tmp_path, "verify", "s.pdf").stdout
    assert "check it with --key" in told
    checked = hailcalc(tmp_path, "verify", "s.pdf", "--key", "shop-key.public.json")
    assert checked.returncode == 0
    assert made.stdout.splitlines()[0].removeprefix("fingerprint ") in checked.stdout


def test_no_key_is_written_over(tmp_path: Path) -> None:
    (tmp_path / "shop-key.public.json").write_text("mine")
    refused = hailcalc(tmp_path, "key", "new")
    assert refused.returncode == 2
    assert [path.name for path in tmp_path.iterdir()] == ["shop-key.public.json"]
