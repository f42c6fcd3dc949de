"""A serial device or a FIFO, opened to be read.

Owns: `Device`. Invariant: opening waits for nobody and never makes the device the controlling terminal; two programs
never share the bytes of one. POSIX only.
"""

from __future__ import annotations

import errno
import os
import stat
import sys
from pathlib import Path
from typing import TYPE_CHECKING

assert sys.platform != "win32"  # noqa: S101 - nothing here is loaded there

import fcntl  # noqa: E402
import termios  # noqa: E402

from runsheet.port.lines import PIECE  # noqa: E402

if TYPE_CHECKING:
    from runsheet.port.named import Port

BITS = {7: termios.CS7, 8: termios.CS8}
PARITIES = {"none": 0, "even": termios.PARENB, "odd": termios.PARENB | termios.PARODD}


def has_speed(speed: int) -> bool:
    """Whether the system has a serial speed, in bits a second."""
    return speed > 0 and hasattr(termios, f"B{speed}")


class Device:
    """One opened device."""

    def __init__(self, port: Port) -> None:
        """Open it. Raises OSError, with the reason."""
        self._path = port.path
        self._fd = os.open(port.path, os.O_RDONLY | os.O_NONBLOCK | os.O_NOCTTY | os.O_CLOEXEC)
        try:
            self._place = os.fstat(self._fd)
            self.is_fifo = stat.S_ISFIFO(self._place.st_mode)
            """Whether its writers come and go while it stays open."""
            self._alone()
            if not self.is_fifo:
                _set_up(self._fd, port)
        except BaseException:
            os.close(self._fd)
            raise

    def _alone(self) -> None:
        try:
            fcntl.flock(self._fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise OSError(errno.EBUSY, "another program reads it") from None

    def fileno(self) -> int:
        """The number to wait on."""
        return self._fd

    def read(self) -> bytes | None:
        """What has come; None: nothing yet, empty: nobody is at the other end. Raises OSError."""
        try:
            return os.read(self._fd, PIECE)
        except BlockingIOError:
            return None

    @property
    def replaced(self) -> bool:
        """Whether something else, or nothing, has its name by now."""
        try:
            now = Path(self._path).stat()
        except OSError:
            return True
        return not os.path.samestat(now, self._place)

    def close(self) -> None:
        """Close it."""
        os.close(self._fd)


def _set_up(fd: int, port: Port) -> None:
    """Set speed and frame, in place; bytes come as they are, and one with a wrong parity as a NUL."""
    if not os.isatty(fd):
        raise OSError(errno.ENOTTY, "it is no serial device and no FIFO")
    try:
        *_, control = termios.tcgetattr(fd)
        control[termios.VMIN], control[termios.VTIME] = 1, 0
        frame = BITS[port.bits] | PARITIES[port.parity] | (termios.CSTOPB if port.stop == 2 else 0)
        speed = getattr(termios, f"B{port.speed}")
        checks = termios.INPCK if port.parity != "none" else 0
        modes = [checks, 0, frame | termios.CREAD | termios.CLOCAL, 0, speed, speed, control]
        termios.tcsetattr(fd, termios.TCSANOW, modes)
    except termios.error as error:
        raise OSError(*error.args) from None
