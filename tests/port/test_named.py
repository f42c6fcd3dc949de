"""A port as a person writes it."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import pytest

from runsheet.exits import Refusal
from runsheet.methods.laboratory import Output
from runsheet.port.named import named

if TYPE_CHECKING:
    from pathlib import Path

posix = pytest.mark.skipif(sys.platform == "win32", reason="no serial device is read there")


@posix
def test_a_device_with_speed_and_frame() -> None:
    plain, slow, framed = (named(f"/dev/ttyX9{more}") for more in ("", "@4800", "@1200,7e2"))
    assert (plain.path, plain.speed, plain.bits, plain.parity, plain.stop) == ("/dev/ttyX9", 9600, 8, "none", 1)
    assert (slow.name, slow.speed) == ("/dev/ttyX9", 4800)
    assert (framed.speed, framed.bits, framed.parity, framed.stop) == (1200, 7, "even", 2)


@posix
def test_what_is_not_written_is_the_laboratorys() -> None:
    output = Output(port="/dev/ttyX9", speed=2400, bits=7, parity="odd", stop=2)
    given, spoken = named("/dev/ttyX9", output), named("/dev/ttyX9@4800,8N1", output)
    assert (given.speed, given.bits, given.parity, given.stop) == (2400, 7, "odd", 2)
    assert (spoken.speed, spoken.bits, spoken.parity, spoken.stop) == (4800, 8, "none", 1)


def test_a_host_and_its_port() -> None:
    port = named("tcp:192.0.2.7:4001")
    assert (port.name, port.host, port.number, port.path) == ("tcp:192.0.2.7:4001", "192.0.2.7", 4001, "")
    assert named("tcp:[::1]:5").host == "::1"


@pytest.mark.parametrize(
    "text", ["tcp:", "tcp:host", "tcp:host:0", "tcp:host:70000", "tcp::5", "tcp:host:x", "tcp:h\udcff:5"]
)
def test_half_an_address_is_refused(text: str) -> None:
    with pytest.raises(Refusal, match="expected tcp:HOST:PORT"):
        named(text)


@posix
def test_what_can_be_no_port_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    for text, words in (
        (str(tmp_path), "is a folder"),
        (str(tmp_path / "file"), "is a file"),
        ("", "no name"),
        ("/dev/tty\x07", "no name"),
        ("/dev/ttyX9@9601", "no serial speed of 9601"),
    ):
        with pytest.raises(Refusal, match=words):
            named(text)


@pytest.mark.skipif(sys.platform != "win32", reason="serial devices are read here")
def test_a_serial_device_is_refused_where_none_is_read() -> None:
    with pytest.raises(Refusal, match="no serial device is read"):
        named("COM3")
