"""Serving the API: on this machine, or to others who show tokens.

The socket is opened first, so that a port in use is a plain message and the port that the
system chose for 0 can be printed. On a loopback address a shop without tokens gets one that ends
with the server, so that whoever sits at this machine needs nothing more than the address printed;
anywhere else tokens must have been made before.
"""

from __future__ import annotations

import errno
import os
import shlex
import signal
import socket
import sys
import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from ipaddress import IPv6Address, ip_address
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import SplitResult, urlsplit

from hailcalc.files import matrices_folder
from hailcalc.problems import InputError, Problem, printable, shown

if TYPE_CHECKING:
    from api.state import Setup
    from api.store.session import Store
    from api.store.tokens import Grant

ADDRESS = "127.0.0.1"
PORT = 8423
SIGNING_KEY = "signing-key.json"
"""The shop's private key in the data folder, used if no other is named."""

NAMED = 5
"""How many tokens in force are named when a server starts."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """How a server is wanted.

    `host` and `port` are listened on (port 0: any), `names` are further names that it answers
    under, `address` is what links begin with where that is another (behind a proxy). `data` is the
    data folder, `key` a file with the shop's private signing key, `storms` a folder of storms'
    folders that the owner may look at.
    """

    port: int = PORT
    host: str = ADDRESS
    names: tuple[str, ...] = ()
    address: str | None = None
    data: Path | None = None
    tls_certificate: Path | None = None
    tls_key: Path | None = None
    key: Path | None = None
    matrices: Path | None = None
    storms: Path | None = None


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a server listens, and under which names."""

    bound: str
    port: int
    loopback: bool
    hosts: frozenset[str]
    base: str


def serve(wanted: Wanted) -> None:
    """Serve until interrupted. Raises InputError if something wanted cannot be had."""
    matrices = wanted.matrices or matrices_folder()
    _require_sound(wanted, matrices)
    key = _signing_key(wanted)
    # Interrupting is how it is stopped.
    with (
        suppress(KeyboardInterrupt),
        _ended_like_interrupted(),
        listening_socket(wanted.port, wanted.host) as listener,
    ):
        place = _place(wanted, listener)
        with _opened_store(wanted) as store:
            setup, secret = _set_up(wanted, place, matrices, key, store)
            _run(wanted, setup, place, secret, listener)


def _run(
    wanted: Wanted, setup: Setup, place: _Place, secret: str | None, listener: socket.socket
) -> None:
    import uvicorn

    from api.app import create_app
    from api.logs import log_to_stderr

    if not place.loopback and wanted.tls_certificate is None:
        print(
            "caution: without TLS tokens and claims cross the network in the clear; give "
            "--tls-certificate and --tls-key, or let a proxy with TLS stand in front",
            file=sys.stderr,
        )
    config = uvicorn.Config(
        create_app(setup),
        # One set of libraries, whatever else is installed.
        loop="asyncio",
        http="h11",
        ws="none",
        lifespan="off",
        log_config=None,
        access_log=False,
        proxy_headers=False,
        server_header=False,
        ssl_certfile=wanted.tls_certificate,
        ssl_keyfile=wanted.tls_key,
        timeout_graceful_shutdown=5,
    )
    log_to_stderr()
    shown_page = f"{place.base}/" + (f"#{secret}" if secret else "")
    print(f"page: {shown_page}\nAPI: {place.base}/v1, documentation: {place.base}/docs")
    if wanted.address is not None:
        print(f"listening on {_in_url(place.bound)}:{place.port}")
    if secret:
        print("The token after the # ends with this server; lasting ones: hailcalc token add")
    else:
        print(_opened_by(_in_force(setup.store), wanted.data))
    sys.stdout.flush()
    uvicorn.Server(config).run(sockets=[listener])


def _in_force(store: Store) -> list[Grant]:
    """The shop's tokens that open something now, newest first."""
    from api.store.session import now_text
    from api.store.tokens import grants

    with store.reading() as connection:
        found = grants(connection)
    return [grant for grant in found if grant.revoked is None and grant.until > now_text()]


def _opened_by(grants: list[Grant], data: Path | None) -> str:
    """Which tokens open the page, for whoever starts the server; nothing that is secret."""
    names = [f"{printable(each.name)} ({each.role}, {each.id})" for each in grants[:NAMED]]
    more = f" and {len(grants) - NAMED} more" if len(grants) > NAMED else ""
    where = "" if data is None else f" --data {shlex.quote(str(data))}"
    return (
        f"The page asks for a token in force, which is that of: {', '.join(names)}{more}\n"
        "Tokens are shown once. If one is lost, revoke it and make another: "
        f"hailcalc token revoke ID{where}; hailcalc token add --role ROLE --name TEXT{where}"
    )


def _set_up(
    wanted: Wanted, place: _Place, matrices: Path, key: dict[str, Any] | None, store: Store
) -> tuple[Setup, str | None]:
    """The application's setup, and the token made for it if there is none in force."""
    from api.state import Setup
    from api.store.tokens import any_open, hash_of, new_secret

    with store.reading() as connection:
        guarded = any_open(connection)
    if not guarded and not place.loopback:
        expected = "one in force before others can reach the server: hailcalc token add"
        raise InputError([Problem("tokens", (), "none", expected)])
    secret = None if guarded else new_secret()
    setup = Setup(
        matrices=matrices,
        store=store,
        here=None if secret is None else hash_of(secret),
        hosts=place.hosts,
        address=None if wanted.address is None else wanted.address.rstrip("/"),
        key=key,
        storms=wanted.storms,
    )
    return setup, secret


@contextmanager
def _opened_store(wanted: Wanted) -> Iterator[Store]:
    """The store, closed at the end. Raises InputError where it cannot be read."""
    from api.store.faults import StoreFault
    from api.store.opening import database_url, open_store

    store = open_store(_data(wanted), database_url())
    try:
        yield store
    except StoreFault as fault:
        found = fault.words.rstrip(".")
        raise InputError([Problem("store", (), found, "a database that can be read")]) from None
    finally:
        store.close()


def _data(wanted: Wanted) -> Path:
    from api.store.opening import data_folder

    return wanted.data or data_folder()


def _signing_key(wanted: Wanted) -> dict[str, Any] | None:
    """The key named, or that of the data folder; None if there is none."""
    path = wanted.key or _data(wanted) / SIGNING_KEY
    if wanted.key is None and not path.exists():
        return None
    from hailcalc.files import read_text
    from hailcalc.signing import read_key

    return read_key(read_text(path), str(path), private=True)


@contextmanager
def _ended_like_interrupted() -> Iterator[None]:
    """Let a request to end (SIGTERM) be what an interrupt is, so that all is closed in order."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


# --- where --------------------------------------------------------------------------------------


def listening_socket(port: int, host: str = ADDRESS) -> socket.socket:
    """A socket that listens on a port of an address of this machine; 0 lets the system choose one.

    Raises InputError if the port is in use or not allowed, or the address is none of this machine.
    """
    listener = None
    try:
        family, kind, _, _, where = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        listener = socket.socket(family, kind)
        if os.name == "posix":
            # Elsewhere this option would let two servers have one port.
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(where)
        listener.listen(128)
    except (OSError, UnicodeError) as error:
        if listener is not None:
            listener.close()
        reason = (getattr(error, "strerror", None) or "no address").lower()
        elsewhere = (
            isinstance(error, (socket.gaierror, UnicodeError)) or error.errno == errno.EADDRNOTAVAIL
        )
        expected = "an address of this machine" if elsewhere else "a free port, or 0 for any"
        raise InputError([Problem(f"{host}:{port}", (), reason, expected)]) from None
    return listener


def _place(wanted: Wanted, listener: socket.socket) -> _Place:
    """What a socket that listens means. Raises InputError if no name would be answered."""
    from api.guards import host_name
    from api.state import LOOPBACK

    bound, port = listener.getsockname()[:2]
    number = ip_address(bound)
    own = () if number.is_unspecified else (_in_url(wanted.host), _in_url(bound))
    named = [*wanted.names, *_hosts_of(wanted.address)]
    hosts = [name for name in map(host_name, (*named, *own)) if name is not None]
    if not hosts:
        expected = "the name that others reach this server by, as their browsers send it"
        raise InputError([Problem("--name", (), "nothing", expected)])
    scheme = "http" if wanted.tls_certificate is None else "https"
    shown_host = _in_url(bound) if number.is_loopback else hosts[0]
    base = wanted.address or f"{scheme}://{shown_host}:{port}"
    return _Place(bound, port, number.is_loopback, LOOPBACK | set(hosts), base.rstrip("/"))


def _in_url(host: str) -> str:
    """An address as it stands in a URL: one of IPv6 in brackets."""
    try:
        number = ip_address(host)
    except ValueError:
        return host
    return f"[{number}]" if isinstance(number, IPv6Address) else str(number)


def _hosts_of(address: str | None) -> list[str]:
    host = None if address is None else urlsplit(address).hostname
    return [] if host is None else [_in_url(host)]


# --- what was wanted ----------------------------------------------------------------------------


def _require_sound(wanted: Wanted, matrices: Path) -> None:
    """Raise InputError with everything that is wrong with what is wanted by itself."""
    problems = [*_name_problems(wanted.names), *_address_problems(wanted.address)]
    problems += _tls_problems(wanted.tls_certificate, wanted.tls_key)
    if not matrices.is_dir():
        problems.append(Problem(str(matrices), (), "no folder", "a folder of matrices"))
    if wanted.storms is not None and not wanted.storms.is_dir():
        problems.append(Problem(str(wanted.storms), (), "no folder", "a folder of storms' folders"))
    if problems:
        raise InputError(problems)


def _name_problems(names: Iterable[str]) -> Iterator[Problem]:
    from api.guards import host_name

    for name in names:
        # As the Host header has it, but for the port.
        if host_name(name) is None or host_name(f"{name}:80") is None:
            expected = "a host name without a port, such as claims.example"
            yield Problem("--name", (), shown(name), expected)


def _address_problems(address: str | None) -> Iterator[Problem]:
    if address is None:
        return
    try:
        parts = urlsplit(address)
        sound = parts.scheme in ("http", "https") and _host_and_port(parts)
    except ValueError:
        sound = False
    if not sound or not address.isascii() or not address.isprintable():
        expected = "http:// or https:// with a host and perhaps a port, and nothing after it"
        yield Problem("--address", (), shown(address), expected)


def _host_and_port(parts: SplitResult) -> bool:
    """Whether an address has a host, perhaps a port, and nothing else. Raises ValueError."""
    from api.guards import host_name

    _ = parts.port  # raises for one that is no number
    nothing_more = not (parts.query or parts.fragment) and parts.path in ("", "/")
    return nothing_more and host_name(parts.netloc) is not None


def _tls_problems(certificate: Path | None, key: Path | None) -> Iterator[Problem]:
    """What keeps a certificate and its key from being used."""
    if certificate is None and key is None:
        return
    if certificate is None or key is None:
        missing, given = (
            ("--tls-key", "certificate") if key is None else ("--tls-certificate", "key")
        )
        yield Problem(missing, (), "nothing", f"the file that belongs to the {given}")
        return
    import ssl

    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    try:
        # An empty password, so that an encrypted key is a mistake and no question.
        context.load_cert_chain(certificate, key, password="")
    except ssl.SSLError:
        expected = "a certificate and its own key, not encrypted, both PEM"
        yield Problem(f"{certificate}, {key}", (), "another pair of files", expected)
    except OSError as error:
        reason = (error.strerror or "an error").lower()
        yield Problem(f"{certificate}, {key}", (), reason, "two files to read")
