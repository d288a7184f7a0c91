"""Ed25519 keys and signatures against the examples of the standards.

RFC 8037 ("CFRG Elliptic Curve Diffie-Hellman and Signatures in JOSE"), appendix A: its key (A.1,
A.2), the key's thumbprint (A.3, by RFC 7638) and its signature (A.4). RFC 8032, 7.1: tests 1 to 3.
All values *from memory*; an Ed25519 signature has no chance in it, so a wrong one would show.
"""

from __future__ import annotations

import base64

import pytest
from joserfc import jws
from joserfc.jwk import OKPKey

from hailcalc.signing import fingerprint, public_key, read_key, sign

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


VECTORS = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
    ),
]


@pytest.mark.parametrize(("secret", "public"), VECTORS)
def test_public_halves_are_those_of_rfc_8032(secret: str, public: str) -> None:
    d, x = (
        base64.urlsafe_b64encode(bytes.fromhex(half)).decode().rstrip("=")
        for half in (secret, public)
    )
    key = {"kty": "OKP", "crv": "Ed25519", "d": d, "x": x}
    header, payload, _ = sign("ab" * 32, key).split(".")
    assert base64.urlsafe_b64decode(payload + "==").decode() == "ab" * 32
    assert header
    text = f'{{"kty": "OKP", "crv": "Ed25519", "d": "{d}", "x": "{x}"}}'
    assert read_key(text, "key.json", private=True) == key
