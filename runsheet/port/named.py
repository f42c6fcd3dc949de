"""Where a photometer's output is, as a person writes it.

Owns: `Port` and `named`. Invariant: what can never be a port is refused before anything is opened; what is only not
there yet is none of that.

    /dev/ttyUSB0          a serial device at 9600 bits a second, 8 bits, no parity, 1 stop bit
    /dev/ttyUSB0@4800     at another speed
    /dev/ttyUSB0@1200,7E1 with another frame
    /run/photometer       a FIFO
    tcp:HOST:PORT         a serial server, or whatever sends lines

What is not written is taken from the `output` of the run's instrument in the laboratory file.
"""

from __future__ import annotations

import re
import stat
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Literal, NamedTuple

from runsheet.exits import Refusal
from runsheet.figures import visible

if TYPE_CHECKING:
    from runsheet.methods.laboratory import Output

NONE = "none"
"""Asked for in the place of a port: nothing is read, whatever the laboratory file has."""
SPEED = 9600
"""Bits a second where none are given: the commonest of serial devices (from memory)."""
Parity = Literal["none", "even", "odd"]
_PARITIES: dict[str, Parity] = {"N": "none", "E": "even", "O": "odd"}
_TCP = re.compile(r"tcp:(\[[^\]]+\]|[^:\[\]]+):(\d{1,5})")
_SERIAL = re.compile(r"(.+)@(\d+)(?:,([78])([NEOneo])([12]))?")


class Port(NamedTuple):
    """One place lines come from."""

    name: str
    """As it is shown and logged: the path, or tcp:HOST:PORT."""
    path: str = ""
    """Of a serial device or a FIFO; empty for tcp."""
    host: str = ""
    number: int = 0
    speed: int = SPEED
    bits: int = 8
    parity: Parity = "none"
    stop: int = 1


def named(text: str, output: Output | None = None) -> Port:
    """The port a text names, with what the laboratory file says of it. Raises Refusal."""
    if text.startswith("tcp:"):
        return _tcp(text)
    found = _SERIAL.fullmatch(text)
    path, speed, bits, parity, stop = found.groups() if found else (text, None, None, None, None)
    if sys.platform == "win32":
        raise Refusal(f"{visible(text)}: on this system no serial device is read; tcp:HOST:PORT is")
    port = Port(
        path,
        path,
        speed=int(speed or (output and output.speed) or SPEED),
        bits=int(bits or (output and output.bits) or 8),
        parity=_PARITIES[parity.upper()] if parity else (output and output.parity) or "none",
        stop=int(stop or (output and output.stop) or 1),
    )
    _possible(port)
    return port


def _tcp(text: str) -> Port:
    found = _TCP.fullmatch(text)
    if not found or not text.isprintable() or not 0 < int(found[2]) < 1 << 16:
        raise Refusal(f"{visible(text)}: expected tcp:HOST:PORT, as tcp:192.0.2.7:4001")
    return Port(text, host=found[1].strip("[]"), number=int(found[2]))


def _possible(port: Port) -> None:
    """Refuse what can be no port, there or not."""
    if not port.path.isprintable() or not port.path:
        raise Refusal(f"{visible(port.path)!r} is no name of a port")
    try:
        mode = Path(port.path).stat().st_mode
    except OSError:
        mode = 0  # it may come
    if stat.S_ISREG(mode) or stat.S_ISDIR(mode):
        raise Refusal(f"{port.path} is a {'file' if stat.S_ISREG(mode) else 'folder'}, no serial device and no FIFO")
    if sys.platform != "win32":
        from runsheet.port import device

        if not device.has_speed(port.speed):
            raise Refusal(f"{port.name}: this system has no serial speed of {port.speed} bits a second")
