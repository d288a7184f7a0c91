"""The shop's key: it signs a sheet's digest, so that a sheet shows who made it.

An Ed25519 key as a JSON Web Key (RFC 8037), a signature as a compact JSON Web Signature (RFC 7515)
whose payload is the digest in ASCII and whose header holds the algorithm and the key's fingerprint,
its SHA-256 thumbprint (RFC 7638), nothing else. Ed25519 has no chance in it (RFC 8032): the same
sheet and key give the same signature. It says who holds the key, not whether the count is right.
"""

from __future__ import annotations

import base64
import binascii
import re
from typing import Any

from hailcalc.problems import InputError, Problem, shown
from hailcalc.reading import load_json

Key = dict[str, Any]
"""A JWK: {"kty": "OKP", "crv": "Ed25519", "x": …}, a private one with "d"."""

ALGORITHM = "Ed25519"
"""Named fully (RFC 9864) rather than EdDSA, which leaves the curve open."""

_PART = re.compile(r"[A-Za-z0-9_-]+")
_THIRTY_TWO_BYTES = re.compile(r"[A-Za-z0-9_-]{43}")
_DIGEST = re.compile(r"[0-9a-f]{64}")
_MAX_SIGNATURE = 1_000


def new_key() -> Key:
    """A new private key."""
    from joserfc.jwk import OKPKey

    made = OKPKey.generate_key("Ed25519", private=True).as_dict(private=True)
    return {name: made[name] for name in ("kty", "crv", "x", "d")}


def public_key(key: Key) -> Key:
    """The part of a key that may be handed out."""
    return {name: key[name] for name in ("kty", "crv", "x")}


def fingerprint(key: Key) -> str:
    """The thumbprint of a key, private or public: 43 characters of base64url."""
    from joserfc.jwk import OKPKey

    return OKPKey.import_key(public_key(key)).thumbprint()


def shown_fingerprint(text: str) -> str:
    """A fingerprint in groups of four, which two people can compare."""
    return " ".join(text[start : start + 4] for start in range(0, len(text), 4))


def read_key(text: str, file: str, *, private: bool = False) -> Key:
    """A key file's key. Raises InputError if it is none, or no private one where that is needed."""
    data = load_json(text, file)
    names = {"kty", "crv", "x"} | ({"d"} if private else set())
    sort = "private" if private else "public or private"
    expected = f"an Ed25519 {sort} key, as a JWK (RFC 8037)"
    if not isinstance(data, dict) or not names <= data.keys():
        missing = sorted(names - data.keys()) if isinstance(data, dict) else ["JSON object"]
        raise InputError([Problem(file, (), f"no {', '.join(missing)}", expected)])
    wanted = {"kty": "OKP", "crv": "Ed25519"}
    problems = [
        Problem(file, (name,), shown(data[name]), f'"{value}"')
        for name, value in wanted.items()
        if data[name] != value
    ]
    for name in ("x", "d"):
        if name in data and not _is_32_bytes(data[name]):
            # What may be a secret is not repeated.
            problems.append(Problem(file, (name,), "another value", "32 bytes in base64url"))
    if problems:
        raise InputError(problems)
    key = {name: data[name] for name in ("kty", "crv", "x", "d") if name in data}
    if "d" in key and _public_of(key) != key["x"]:
        raise InputError([Problem(file, ("x",), "another key", "that which belongs to d")])
    return key


def _is_32_bytes(value: object) -> bool:
    if not isinstance(value, str) or _THIRTY_TWO_BYTES.fullmatch(value) is None:
        return False
    return _decoded(value) is not None


def _public_of(key: Key) -> str:
    """The public half that a private half gives."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    private = Ed25519PrivateKey.from_private_bytes(_decoded(key["d"]) or b"")
    public = private.public_key().public_bytes_raw()
    return _encoded(public)


def sign(digest: str, key: Key) -> str:
    """The signature of a digest (64 hex digits) by a private key."""
    from joserfc import jws
    from joserfc.jwk import OKPKey

    header = {"alg": ALGORITHM, "kid": fingerprint(key)}
    private = OKPKey.import_key(key)
    return jws.serialize_compact(header, digest.encode(), private, algorithms=[ALGORITHM])


def signed(document: dict[str, Any], key: Key) -> dict[str, Any]:
    """A sheet's JSON with the shop's signature of its digest."""
    return document | {"signature": sign(document["digest"], key)}


def signer(signature: object) -> str | None:
    """The fingerprint that a signature names; None if it is none of ours in form."""
    parts = _parts(signature)
    return None if parts is None else parts[0]


def fault_of(signature: object, digest: object, key: Key | None = None) -> str | None:
    """What is wrong with the signature of a digest, in words; None if nothing is.

    Without a `key` only its form is looked at, and that it is about this digest.
    """
    parts = _parts(signature)
    if parts is None:
        return "no signature of the form that hailcalc makes"
    named, payload = parts
    if payload != digest:
        return f"a signature of another sheet, with digest {shown(payload)}"
    if key is None:
        return None
    if named != fingerprint(key):
        return f"a signature by another key, {named}"
    return None if _holds(str(signature), key) else "a false signature"


def _holds(signature: str, key: Key) -> bool:
    from joserfc import jws
    from joserfc.errors import JoseError
    from joserfc.jwk import OKPKey

    try:
        jws.deserialize_compact(
            signature, OKPKey.import_key(public_key(key)), algorithms=[ALGORITHM]
        )
    except JoseError:
        return False
    return True


def _parts(signature: object) -> tuple[str, str] | None:
    """Fingerprint and digest in a signature; None unless it is just as `sign` writes it."""
    if not isinstance(signature, str) or len(signature) > _MAX_SIGNATURE:
        return None
    parts = signature.split(".")
    if len(parts) != 3 or not all(_PART.fullmatch(part) for part in parts):
        return None
    header, payload, value = (_decoded(part) for part in parts)
    if header is None or payload is None or value is None or len(value) != 64:
        return None
    try:
        told, digest = load_json(header.decode("ascii"), "signature"), payload.decode("ascii")
    except (InputError, UnicodeDecodeError):
        return None
    if not isinstance(told, dict) or told.keys() != {"alg", "kid"} or told["alg"] != ALGORITHM:
        return None
    kid = told["kid"]
    if not _is_32_bytes(kid) or _DIGEST.fullmatch(digest) is None:
        return None
    return kid, digest


def _encoded(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).decode().rstrip("=")


def _decoded(part: str) -> bytes | None:
    """Bytes of base64url without padding; None for any other spelling of them.

    A last letter can carry bits that mean nothing (RFC 4648, section 3.5). They must be zero, so
    that one signature, one key has one spelling.
    """
    try:
        data = base64.b64decode(part + "=" * (-len(part) % 4), altchars=b"-_", validate=True)
    except (binascii.Error, ValueError):
        return None
    return data if _encoded(data) == part else None
