"""Serving the API on this machine.

The socket is opened first, so that a port in use is a plain message and the port that the
system chose for 0 can be printed. Only 127.0.0.1 is listened on: there are no accounts.
"""

from __future__ import annotations

import os
import socket
from contextlib import suppress
from pathlib import Path

from hailcalc.files import matrices_folder
from hailcalc.problems import InputError, Problem

ADDRESS = "127.0.0.1"


def serve(port: int, folder: Path | None) -> None:
    """Serve until interrupted. Raises InputError if the port or the folder cannot be used."""
    import uvicorn

    from api.app import create_app

    place = folder or matrices_folder()
    if not place.is_dir():
        raise InputError([Problem(str(place), (), "no folder", "a folder of matrices")])
    with listening_socket(port) as listener:
        url = f"http://{ADDRESS}:{listener.getsockname()[1]}"
        config = uvicorn.Config(
            create_app(place),
            lifespan="off",
            log_level="warning",
            access_log=False,
            proxy_headers=False,
            server_header=False,
            timeout_graceful_shutdown=5,
        )
        print(f"page: {url}/\nAPI: {url}/v1, documentation: {url}/docs", flush=True)
        # Interrupting is how it is stopped.
        with suppress(KeyboardInterrupt):
            uvicorn.Server(config).run(sockets=[listener])


def listening_socket(port: int) -> socket.socket:
    """A socket that listens on a port of 127.0.0.1; 0 lets the system choose one.

    Raises InputError if the port is in use or not allowed.
    """
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if os.name == "posix":
            # Elsewhere this option would let two servers have one port.
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((ADDRESS, port))
        listener.listen(128)
    except OSError as error:
        listener.close()
        reason = (error.strerror or "an error").lower()
        expected = "a free port, or 0 for any"
        raise InputError([Problem(f"{ADDRESS}:{port}", (), reason, expected)]) from None
    return listener
