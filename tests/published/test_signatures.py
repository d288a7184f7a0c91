"""Ed25519 keys and signatures against the examples of the standards.

RFC 8037 ("CFRG Elliptic Curve Diffie-Hellman and Signatures in JOSE"), appendix A: its key (A.1,
A.2), the key's thumbprint (A.3, by RFC 7638) and its signature (A.4, checked as in A.5). RFC 7638,
3.1: the thumbprint of an RSA key. RFC 8032, 7.1: tests 1 to 3. All values *from memory*; neither a
hash nor an Ed25519 signature has chance in it, so a wrong one would show.
"""

from __future__ import annotations

import base64
import hashlib
import json

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from joserfc import jws
from joserfc.jwk import OKPKey

from hailcalc.signing import fingerprint, new_key, public_key, read_key, sign

PRIVATE: dict[str, str | list[str]] = {
    "kty": "OKP",
    "crv": "Ed25519",
    "d": "nWGxne_9WmC6hEr0kuwsxERJxWl7MmkZcDusAxyuf2A",
    "x": "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo",
}
THUMBPRINT = "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k"
SIGNED = (
    "eyJhbGciOiJFZERTQSJ9.RXhhbXBsZSBvZiBFZDI1NTE5IHNpZ25pbmc."
    "hgyY0il_MGCjP0JzlnLWG1PPOt7-09PGcvMg3AIbQR6dWbhijcNR4ki4iylGjg5BhVsPt9g7sVvpAr_MuM0KAg"
)


def test_the_fingerprint_of_the_standards_key_is_its_thumbprint() -> None:
    assert fingerprint(PRIVATE) == THUMBPRINT
    assert fingerprint(public_key(PRIVATE)) == THUMBPRINT


@pytest.mark.filterwarnings("ignore:EdDSA is deprecated")
def test_the_library_signs_the_standards_example_as_the_standard_does() -> None:
    key = OKPKey.import_key(PRIVATE)
    made = jws.serialize_compact(
        {"alg": "EdDSA"}, b"Example of Ed25519 signing", key, algorithms=["EdDSA"]
    )
    assert made == SIGNED


def test_a_private_half_is_held_against_its_public_half() -> None:
    text = '{"kty": "OKP", "crv": "Ed25519", "d": "%s", "x": "%s"}'
    assert read_key(text % (PRIVATE["d"], PRIVATE["x"]), "key.json", private=True) == PRIVATE
    with pytest.raises(Exception, match="that which belongs to d"):
        read_key(text % (PRIVATE["d"], THUMBPRINT), "key.json")


RSA_MODULUS = (
    "0vx7agoebGcQSuuPiLJXZptN9nndrQmbXEps2aiAFbWhM78LhWx4cbbfAAtVT86zwu1RK7aPFFxuhDR1L6tSoc_BJECPebWK"
    "RXjBZCiFV4n3oknjhMstn64tZ_2W-5JsGY4Hc5n9yBXArwl93lqt7_RN5w6Cf0h4QyQ5v-65YGjQR0_FDW2QvzqY368QQMic"
    "AtaSqzs8KJZgnYb9c7d0zgdAZHzu6qMQvRL5hajrn1n91CbOpbISD08qNLyrdkt-bFTWhAI4vMQFh6WeZu0fM4lFd2NcRwr3"
    "XPksINHaQ-G_xBniIqbw0Ls1jF44-csFCur-kEgU8awapJzKnqDKgw"
)


def thumbprint(**required: str) -> str:
    """RFC 7638, section 3, from its words: the required members by name, no spaces, SHA-256."""
    members = ",".join(f'"{name}":"{value}"' for name, value in sorted(required.items()))
    data = hashlib.sha256(f"{{{members}}}".encode()).digest()
    return base64.urlsafe_b64encode(data).decode().rstrip("=")


def test_thumbprints_of_new_keys_follow_the_rule_that_gives_the_standards() -> None:
    rsa = thumbprint(kty="RSA", n=RSA_MODULUS, e="AQAB")
    assert rsa == "NzbLsXh8uDCcd-6MNwXF4W_7noWXFZAfHkxZsRGC9Xs"
    for _ in range(20):
        key = new_key()
        assert fingerprint(key) == thumbprint(kty="OKP", crv="Ed25519", x=key["x"])


VECTORS = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e06522490155"
        "5fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da"
        "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac"
        "18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
    ),
]


@pytest.mark.parametrize(("secret", "public", "message", "signature"), VECTORS)
def test_keys_and_signatures_are_those_of_rfc_8032(
    secret: str, public: str, message: str, signature: str
) -> None:
    reference = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    assert reference.sign(bytes.fromhex(message)).hex() == signature
    d, x = (
        base64.urlsafe_b64encode(bytes.fromhex(half)).decode().rstrip("=")
        for half in (secret, public)
    )
    key = {"kty": "OKP", "crv": "Ed25519", "d": d, "x": x}
    assert read_key(json.dumps(key), "key.json", private=True) == key


@pytest.mark.parametrize(("secret", "public"), [vector[:2] for vector in VECTORS])
def test_a_sheets_signature_is_that_of_the_library_held_against_rfc_8032(
    secret: str, public: str
) -> None:
    """RFC 7515, section 5.1: signed is the ASCII text of header, a dot, and payload."""
    d, x = (
        base64.urlsafe_b64encode(bytes.fromhex(half)).decode().rstrip("=")
        for half in (secret, public)
    )
    key = {"kty": "OKP", "crv": "Ed25519", "d": d, "x": x}
    header, payload, value = sign("ab" * 32, key).split(".")
    assert json.loads(base64.urlsafe_b64decode(header + "==")) == {
        "alg": "Ed25519",
        "kid": thumbprint(kty="OKP", crv="Ed25519", x=x),
    }
    assert base64.urlsafe_b64decode(payload + "==").decode() == "ab" * 32
    reference = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    expected = reference.sign(f"{header}.{payload}".encode())
    assert base64.urlsafe_b64decode(value + "==") == expected
