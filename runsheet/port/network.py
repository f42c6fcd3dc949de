"""A connection that lines come through.

Owns: `Connection` and `connect`. Invariant: nothing here waits without an end, save for the name of a host, which the
system looks up.
"""

from __future__ import annotations

import contextlib
import errno
import os
import socket
from typing import TYPE_CHECKING

from runsheet.port.lines import PIECE

if TYPE_CHECKING:
    from collections.abc import Callable

    from runsheet.port.named import Port

BEGUN = (0, errno.EINPROGRESS, errno.EWOULDBLOCK, 10035)
"""What a connection that is being made answers; the last is Windows' own number."""
ALIVE = {"TCP_KEEPIDLE": 10, "TCP_KEEPINTVL": 5, "TCP_KEEPCNT": 3}
"""A cable pulled far away is noticed within about 25 s, where the system has these."""


class Connection:
    """One that stands."""

    is_fifo = False
    replaced = False

    def __init__(self, wire: socket.socket) -> None:
        """Keep it alive."""
        self._wire = wire
        wire.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        for name, value in ALIVE.items():
            if hasattr(socket, name):
                with contextlib.suppress(OSError):
                    wire.setsockopt(socket.IPPROTO_TCP, getattr(socket, name), value)

    def fileno(self) -> int:
        """The number to wait on."""
        return self._wire.fileno()

    def read(self) -> bytes | None:
        """What has come; None: nothing yet, empty: the other end is closed. Raises OSError."""
        try:
            return self._wire.recv(PIECE)
        except BlockingIOError:
            return None

    def close(self) -> None:
        """Close it."""
        self._wire.close()


def connect(port: Port, until: Callable[[socket.socket], bool]) -> Connection:
    """Connect; `until` waits for a wire to be made, and says whether it was. Raises OSError."""
    failed: OSError = OSError(errno.ETIMEDOUT, "no answer")
    for family, kind, protocol, _, address in socket.getaddrinfo(port.host, port.number, type=socket.SOCK_STREAM):
        wire = socket.socket(family, kind, protocol)
        try:
            wire.settimeout(0)
            code = wire.connect_ex(address)
            if code in BEGUN and until(wire):
                code = wire.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR)
                if not code:
                    return Connection(wire)
            failed = OSError(code, os.strerror(code)) if code not in BEGUN else failed
        except OSError as error:
            failed = error
        wire.close()
    raise failed
