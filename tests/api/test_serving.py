"""Serving by real processes: who is let in on this machine and from elsewhere, and how it ends.

Addresses are read from what the process prints. Certificates are made here, for names that are
reserved for examples (RFC 2606, RFC 5737).
"""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import ssl
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

import httpx
import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric.ec import SECP256R1, generate_private_key
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    KeySerializationEncryption,
    NoEncryption,
    PrivateFormat,
)
from cryptography.x509.oid import NameOID

from api.serve import SIGNING_KEY, Wanted, listening_socket, serve
from api.store.opening import DATABASE, open_store
from api.store.session import Store
from api.store.tokens import Role, add, revoke
from hailcalc.problems import InputError, Problem
from hailcalc.signing import fingerprint, new_key, public_key
from tests.api.conftest import MATRICES, bearer, problem
from tests.api.storehouse import issued, opened
from tests.databases import new_database

ROOT = Path(__file__).parents[2]

posix = pytest.mark.skipif(os.name != "posix", reason="the end is told by POSIX signals")


@dataclass(frozen=True, slots=True)
class Served:
    """A server that runs: what it printed, and where standard error goes."""

    process: subprocess.Popen[str]
    printed: list[str]
    remarks: Path

    @property
    def page(self) -> str:
        """The page's address as printed, with the token if there is one."""
        return self.printed[0].removeprefix("page: ")

    @property
    def base(self) -> str:
        return self.page.partition("/#")[0].rstrip("/")

    @property
    def token(self) -> str:
        return self.page.partition("#")[2]

    @property
    def port(self) -> int:
        return int(self.base.rpartition(":")[2])

    def end(self, how: signal.Signals = signal.SIGTERM) -> int:
        """End it, and return its exit code."""
        self.process.send_signal(how)
        return self.process.wait(60)


def command(folder: Path, matrices: Path, *arguments: str | Path) -> list[str]:
    data = ("--data", folder / "data", "--port", "0")
    return [sys.executable, "-m", "hailcalc", "serve", *map(str, (*data, *arguments))]


def environment(matrices: Path, **more: str) -> dict[str, str]:
    own = {"PYTHONPATH": str(ROOT), "HAILCALC_MATRICES": str(matrices), "PYTHONUTF8": "1"}
    kept = {name: text for name, text in os.environ.items() if not name.startswith("HAILCALC_")}
    return kept | own | more


@contextmanager
def served(
    folder: Path, matrices: Path, *arguments: str | Path, **settings: str
) -> Iterator[Served]:
    """A server over the data folder `folder`/data; `settings` are environment variables."""
    remarks = folder / "remarks.txt"
    with (
        remarks.open("w") as errors,
        subprocess.Popen(
            command(folder, matrices, *arguments),
            stdout=subprocess.PIPE,
            stderr=errors,
            text=True,
            cwd=folder,
            env=environment(matrices, **settings),
        ) as process,
    ):
        assert process.stdout is not None
        try:
            printed = [process.stdout.readline().strip() for _ in range(2)]
            assert printed[0], remarks.read_text()
            yield Served(process, printed, remarks)
        finally:
            process.kill()


def refused(
    folder: Path, matrices: Path, *arguments: str | Path
) -> subprocess.CompletedProcess[str]:
    """A server that must not start."""
    ran = subprocess.run(
        command(folder, matrices, *arguments),
        capture_output=True,
        text=True,
        cwd=folder,
        env=environment(matrices),
        stdin=subprocess.DEVNULL,
        timeout=60,
    )
    assert ran.returncode == 2
    assert ran.stdout == ""
    assert "Traceback" not in ran.stderr
    return ran


def token_in(store: Store, role: Role = "owner") -> tuple[str, str]:
    """A token in force: its id and its secret."""
    with store.writing("command-line") as writing:
        grant, secret = add(writing, role, "Q", datetime.now(UTC) + timedelta(days=1))
    return grant.id, secret


@pytest.fixture
def guarded(tmp_path: Path) -> str:
    """A data folder in which a token is in force; returns what opens it."""
    store = open_store(tmp_path / "data")
    _, secret = token_in(store)
    store.close()
    return secret


# --- on this machine ----------------------------------------------------------------------------


@posix
def test_the_page_printed_opens_the_claims_on_this_machine(matrices: Path, tmp_path: Path) -> None:
    with served(tmp_path, matrices) as server:
        claims = f"{server.base}/v1/claims"
        docs = server.printed[1].partition("documentation: ")[2]
        with_token = httpx.get(claims, headers=bearer(server.token), timeout=60)
        without = httpx.get(claims, timeout=60)
        another = httpx.get(claims, headers=bearer(server.token[:-1] + "-"), timeout=60)
        health = httpx.get(f"{server.base}/v1/health", timeout=60).json()
        page = httpx.get(f"{server.base}/", timeout=60)
        documentation = httpx.get(docs, timeout=60)
        assert server.end(signal.SIGINT) == 0

    assert server.base.startswith("http://127.0.0.1:")
    assert server.printed[1].startswith(f"API: {server.base}/v1, documentation: ")
    assert (with_token.status_code, with_token.json()["claims"]) == (200, [])
    assert problem(without, 401)["type"] == "/problems/no-token"
    assert without.headers["www-authenticate"] == "Bearer"
    assert problem(another, 401)["type"] == "/problems/unknown-token"
    assert (health["ready"], health["matrices"]) == (True, len(MATRICES))
    assert (page.status_code, documentation.status_code) == (200, 200)


@posix
def test_standard_error_has_a_line_of_json_for_each_request_and_nothing_secret(
    matrices: Path, tmp_path: Path
) -> None:
    with served(tmp_path, matrices) as server:
        with httpx.Client(base_url=server.base, headers=bearer(server.token), timeout=60) as shop:
            opened(shop)
            shop.get("/v1/claims", params={"text": "Thornbury"})
        with socket.create_connection(("127.0.0.1", server.port), timeout=60) as connection:
            connection.sendall(b"no HTTP at all\r\n\r\n")
            assert connection.recv(100).startswith(b"HTTP/1.1 400")
        assert server.end() == 0

    text = server.remarks.read_text()
    lines = [json.loads(line) for line in text.splitlines()]
    requests = [line for line in lines if "path" in line]
    assert [(line["method"], line["path"], line["status"]) for line in requests] == [
        ("POST", "/v1/claims", 201),
        ("GET", "/v1/claims", 200),
    ]
    assert {line["token"] for line in requests} == {"this-machine"}
    assert [line["from"] for line in lines if "from" in line] == ["uvicorn.error"]
    assert server.token not in text
    assert "Thornbury" not in text


@posix
def test_a_server_told_to_end_closes_its_store_and_its_token_ends_with_it(
    matrices: Path, tmp_path: Path
) -> None:
    with served(tmp_path, matrices) as server:
        with httpx.Client(base_url=server.base, headers=bearer(server.token), timeout=60) as shop:
            claim = opened(shop)["id"]
        assert server.end() == 0
        # An open SQLite database has its log beside it; the last to close it takes it away.
        assert [path.name for path in (tmp_path / "data").glob(f"{DATABASE}*")] == [DATABASE]

    with served(tmp_path, matrices) as again:
        where = f"{again.base}/v1/claims/{claim}"
        old = httpx.get(where, headers=bearer(server.token), timeout=60)
        new = httpx.get(where, headers=bearer(again.token), timeout=60)

    problem(old, 401)
    assert new.status_code == 200


@posix
def test_only_its_owner_can_look_into_the_data_folder(matrices: Path, tmp_path: Path) -> None:
    with served(tmp_path, matrices):
        for folder in (tmp_path / "data", tmp_path / "data" / "photographs"):
            assert folder.stat().st_mode & 0o777 == 0o700
        assert (tmp_path / "data" / DATABASE).stat().st_mode & 0o777 == 0o600


def test_where_a_token_is_in_force_none_is_printed(
    matrices: Path, tmp_path: Path, guarded: str
) -> None:
    with served(tmp_path, matrices) as server:
        assert server.process.stdout is not None
        opens, lost = (server.process.stdout.readline().strip() for _ in range(2))
        let_in = httpx.get(f"{server.base}/v1/claims", headers=bearer(guarded), timeout=60)

    assert server.page == f"{server.base}/"
    assert let_in.status_code == 200
    assert re.fullmatch(
        r"The page asks for a token in force, which is that of: Q \(owner, [a-z0-9]+\)", opens
    )
    assert f"hailcalc token add --role ROLE --name TEXT --data {tmp_path / 'data'}" in lost
    assert guarded not in f"{opens}{lost}"


def test_a_token_that_was_revoked_is_not_in_force(matrices: Path, tmp_path: Path) -> None:
    store = open_store(tmp_path / "data")
    name, secret = token_in(store)
    with store.writing("command-line") as writing:
        revoke(writing, name)
    store.close()

    with served(tmp_path, matrices) as server:
        old = httpx.get(f"{server.base}/v1/claims", headers=bearer(secret), timeout=60)
        own = httpx.get(f"{server.base}/v1/claims", headers=bearer(server.token), timeout=60)

    assert "revoked" in problem(old, 401)["detail"]
    assert own.status_code == 200


def test_folder_and_database_come_from_the_environment(
    matrices: Path, tmp_path: Path, postgres_server: str
) -> None:
    url = new_database(postgres_server)
    with served(tmp_path, matrices, HAILCALC_DATABASE_URL=url) as server:
        answer = httpx.get(f"{server.base}/v1/claims", headers=bearer(server.token), timeout=60)

    assert answer.status_code == 200
    assert not (tmp_path / "data" / DATABASE).exists()
    assert (tmp_path / "data" / "photographs").is_dir()


def test_the_loopback_address_of_ipv6_is_this_machine_too(matrices: Path, tmp_path: Path) -> None:
    try:
        listening_socket(0, "::1").close()
    except InputError:
        pytest.skip("this machine has no IPv6")
    with served(tmp_path, matrices, "--host", "::1") as server:
        answer = httpx.get(f"{server.base}/v1/claims", headers=bearer(server.token), timeout=60)

    assert server.base.startswith("http://[::1]:")
    assert answer.status_code == 200


# --- from elsewhere -----------------------------------------------------------------------------


def test_where_others_can_reach_it_a_token_must_be_in_force(matrices: Path, tmp_path: Path) -> None:
    ran = refused(tmp_path, matrices, "--host", "0.0.0.0", "--name", "claims.example")

    assert ran.stderr.strip() == (
        "tokens: found none, expected one in force before others can reach the server: "
        "hailcalc token add"
    )


def test_an_adjusters_link_is_no_token_of_the_shop(matrices: Path, tmp_path: Path) -> None:
    with (
        served(tmp_path, matrices) as server,
        httpx.Client(base_url=server.base, headers=bearer(server.token), timeout=60) as shop,
    ):
        claim = issued(shop, opened(shop)["id"])["id"]
        link = shop.post(f"/v1/claims/{claim}/links", json={"name": "R. Tallow"}).json()

    assert link["address"].startswith(f"{server.base}/answer#hc_")
    ran = refused(tmp_path, matrices, "--host", "0.0.0.0", "--name", "claims.example")
    assert "hailcalc token add" in ran.stderr


def test_every_address_of_a_machine_has_no_name_of_its_own(
    matrices: Path, tmp_path: Path, guarded: str
) -> None:
    assert "--name: found nothing" in refused(tmp_path, matrices, "--host", "0.0.0.0").stderr


def test_others_reach_it_under_the_names_given_and_are_cautioned(
    matrices: Path, tmp_path: Path, guarded: str
) -> None:
    names = ("--name", "Claims.example", "--name", "desk.example")
    with served(tmp_path, matrices, "--host", "0.0.0.0", *names) as server:
        where = f"http://127.0.0.1:{server.port}/v1/claims"
        codes = {
            host: httpx.get(where, headers=bearer(guarded) | {"Host": host}, timeout=60).status_code
            for host in ("claims.example:80", "desk.example", "localhost", "other.example")
        }

    assert server.page == f"http://claims.example:{server.port}/"
    assert list(codes.values()) == [200, 200, 200, 421]
    assert server.remarks.read_text().startswith("caution: without TLS tokens and claims cross")


def test_behind_a_proxy_links_begin_with_the_address_that_others_see(
    matrices: Path, tmp_path: Path, guarded: str
) -> None:
    shown = bearer(guarded) | {"Host": "claims.example"}
    with served(tmp_path, matrices, "--address", "https://claims.example/") as server:
        assert server.process.stdout is not None
        port = server.process.stdout.readline().rpartition(":")[2].strip()
        with httpx.Client(base_url=f"http://127.0.0.1:{port}", headers=shown, timeout=60) as shop:
            claim = issued(shop, opened(shop)["id"])["id"]
            link = shop.post(f"/v1/claims/{claim}/links", json={"name": "R. Tallow"}).json()

    assert server.page == "https://claims.example/"
    assert link["address"].startswith("https://claims.example/answer#hc_")


# --- TLS ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Pair:
    certificate: Path
    key: Path


def pair(folder: Path, name: str, encryption: KeySerializationEncryption | None = None) -> Pair:
    """A certificate for this machine, signed by itself, and its key."""
    key = generate_private_key(SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "claims.example")])
    names = x509.SubjectAlternativeName(
        [x509.DNSName("localhost"), x509.IPAddress(ip_address("127.0.0.1"))]
    )
    now = datetime.now(UTC)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + timedelta(days=1))
        .add_extension(names, critical=False)
        .sign(key, hashes.SHA256())
    )
    made = Pair(folder / f"{name}.pem", folder / f"{name}-key.pem")
    made.certificate.write_bytes(certificate.public_bytes(Encoding.PEM))
    made.key.write_bytes(
        key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, encryption or NoEncryption())
    )
    return made


def tls(made: Pair) -> tuple[str | Path, ...]:
    return ("--tls-certificate", made.certificate, "--tls-key", made.key)


def test_with_a_certificate_it_speaks_tls_alone(
    matrices: Path, tmp_path: Path, guarded: str
) -> None:
    own = pair(tmp_path, "own")
    trusting = ssl.create_default_context(cafile=str(own.certificate))
    elsewhere = ("--host", "0.0.0.0", "--name", "localhost")
    with served(tmp_path, matrices, *tls(own), *elsewhere) as server:
        answer = httpx.get(
            f"{server.base}/v1/claims", headers=bearer(guarded), verify=trusting, timeout=60
        )
        with pytest.raises(httpx.TransportError):
            httpx.get(f"http://127.0.0.1:{server.port}/v1/health", timeout=60)

    assert server.base == f"https://localhost:{server.port}"
    assert answer.status_code == 200
    assert "caution" not in server.remarks.read_text()


def encrypted(folder: Path) -> tuple[str | Path, ...]:
    return tls(pair(folder, "locked", BestAvailableEncryption(b"sesame")))


def of_another(folder: Path) -> tuple[str | Path, ...]:
    return tls(Pair(pair(folder, "one").certificate, pair(folder, "two").key))


def no_files(folder: Path) -> tuple[str | Path, ...]:
    return tls(Pair(folder / "none.pem", folder / "none-key.pem"))


def certificate_alone(folder: Path) -> tuple[str | Path, ...]:
    return tls(pair(folder, "one"))[:2]


def key_alone(folder: Path) -> tuple[str | Path, ...]:
    return tls(pair(folder, "one"))[2:]


@pytest.mark.parametrize(
    ("made", "told"),
    [
        (encrypted, "expected a certificate and its own key, not encrypted, both PEM"),
        (of_another, "expected a certificate and its own key, not encrypted, both PEM"),
        (no_files, "found no such file or directory, expected two files to read"),
        (certificate_alone, "--tls-key: found nothing"),
        (key_alone, "--tls-certificate: found nothing"),
    ],
)
def test_a_certificate_that_cannot_be_used_is_a_plain_message(
    matrices: Path, tmp_path: Path, made: Callable[[Path], tuple[str | Path, ...]], told: str
) -> None:
    assert told in refused(tmp_path, matrices, *made(tmp_path)).stderr
    assert not (tmp_path / "data").exists()


# --- the key that signs sheets ------------------------------------------------------------------


def signer_of(server: Served) -> str | None:
    """The fingerprint under which the server issues a sheet."""
    with httpx.Client(base_url=server.base, headers=bearer(server.token), timeout=60) as shop:
        [revision] = issued(shop, opened(shop)["id"])["revisions"]
    found: str | None = revision["signed_by"]
    return found


def test_sheets_are_signed_by_the_key_named_or_that_of_the_data_folder(
    matrices: Path, tmp_path: Path
) -> None:
    named, kept = new_key(), new_key()
    with served(tmp_path, matrices) as server:
        assert signer_of(server) is None
    (tmp_path / "data" / SIGNING_KEY).write_text(json.dumps(kept))
    with served(tmp_path, matrices) as server:
        assert signer_of(server) == fingerprint(kept)
    (tmp_path / "named.json").write_text(json.dumps(named))
    with served(tmp_path, matrices, "--key", "named.json") as server:
        assert signer_of(server) == fingerprint(named)


def test_a_key_that_cannot_sign_is_a_plain_message(matrices: Path, tmp_path: Path) -> None:
    (tmp_path / "public.json").write_text(json.dumps(public_key(new_key())))

    assert "public.json: found" in refused(tmp_path, matrices, "--key", "public.json").stderr
    assert "none.json: found" in refused(tmp_path, matrices, "--key", "none.json").stderr
    assert not (tmp_path / "data").exists()


# --- mistakes -----------------------------------------------------------------------------------


def mistakes(wanted: Wanted) -> list[Problem]:
    with pytest.raises(InputError) as caught:
        serve(wanted)
    return list(caught.value.problems)


def test_a_port_in_use_is_a_plain_message(matrices: Path, tmp_path: Path) -> None:
    with listening_socket(0) as taken:
        port = taken.getsockname()[1]
        [found] = mistakes(Wanted(port=port, matrices=matrices, data=tmp_path / "data"))

    assert found.file == f"127.0.0.1:{port}"
    assert found.expected == "a free port, or 0 for any"
    assert not (tmp_path / "data").exists()


@pytest.mark.parametrize("host", ["192.0.2.1", "claims.invalid", "a" * 300 + ".example"])
def test_an_address_of_another_machine_is_a_plain_message(
    matrices: Path, tmp_path: Path, host: str
) -> None:
    [found] = mistakes(Wanted(port=0, host=host, matrices=matrices, data=tmp_path / "data"))

    assert found.file == f"{host}:0"
    assert found.expected == "an address of this machine"


def test_everything_wrong_with_what_is_wanted_is_told_at_once(tmp_path: Path) -> None:
    wanted = Wanted(
        names=("claims.example", "a b", "claims.example:80"),
        address="https://claims.example/desk",
        tls_key=tmp_path / "key.pem",
        matrices=tmp_path / "nowhere",
    )

    assert [(found.file, found.found) for found in mistakes(wanted)] == [
        ("--name", '"a b"'),
        ("--name", '"claims.example:80"'),
        ("--address", '"https://claims.example/desk"'),
        ("--tls-certificate", "nothing"),
        (str(tmp_path / "nowhere"), "no folder"),
    ]


@pytest.mark.parametrize(
    "address",
    [
        "",
        "claims.example",
        "ftp://claims.example",
        "https://",
        "https://claims.example:port",
        "https://claims.example:99999",
        "https://q@claims.example",
        "https://claims.example/?a",
        "https://claims.example/#a",
        "https://claims.example/\n",
        "https://[::1",
        "https://clàims.example",
    ],
)
def test_an_address_is_where_a_server_is_and_nothing_more(matrices: Path, address: str) -> None:
    [found] = mistakes(Wanted(address=address, matrices=matrices))

    assert found.file == "--address"


def test_a_data_folder_that_cannot_be_one_is_a_plain_message(
    matrices: Path, tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("")

    [found] = mistakes(Wanted(port=0, matrices=matrices, data=tmp_path / "file"))

    assert found.file == str(tmp_path / "file")
