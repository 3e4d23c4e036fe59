"""A port of this machine that is free and stays so, for a server that must be told its port."""

from __future__ import annotations

import secrets
import socket

# Below the ports that outgoing calls are given (Linux: 32768 and up): one of those is free at one moment and another
# program's at the next; and a client calling a killed server could be given the server's own port, be connected to
# itself, and keep the port from the next start.
PORTS = range(21_000, 32_000)


def free_port() -> int:
    for _ in range(100):
        port = secrets.choice(PORTS)
        with socket.socket() as probe:
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue  # taken
        return port
    raise OSError(f"no free port from {PORTS.start} to {PORTS.stop}")
