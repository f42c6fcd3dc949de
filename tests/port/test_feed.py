"""The thread that reads a port: a pair of pseudo-terminals, a FIFO, a server; each pulled, gone and back."""

from __future__ import annotations

import contextlib
import os
import socket
import sys
import threading
import time
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import pytest

if sys.platform == "win32":
    pytest.skip("pseudo-terminals and FIFOs are POSIX", allow_module_level=True)

import pty
import tty

from runsheet.port.feed import Feed, Line
from runsheet.port.named import named

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path


class Reader:
    """A feed, and everything it has given."""

    def __init__(self, where: str) -> None:
        self.feed = Feed(named(where), lambda: datetime.now(UTC), lambda: None)
        self.lines: list[Line] = []
        self.feed.start()

    def fetch(self) -> list[Line]:
        self.lines += self.feed.fetch()[0]
        return self.lines

    def wait(self, what: Callable[[], object]) -> None:
        end = time.monotonic() + 10
        while not what():
            assert time.monotonic() < end, (self.feed.state, self.lines)
            time.sleep(0.01)
            self.fetch()

    def whole(self) -> list[str]:
        return [line.raw for line in self.fetch() if not line.why]

    def connected(self, *, is_so: bool = True) -> None:
        self.wait(lambda: self.feed.state.connected is is_so)


class Cable:
    """A pseudo-terminal under a name that stays."""

    def __init__(self, link: Path) -> None:
        self.master, self.slave = pty.openpty()
        tty.setraw(self.slave)
        link.unlink(missing_ok=True)
        link.symlink_to(os.ttyname(self.slave))

    def send(self, data: bytes) -> None:
        os.write(self.master, data)

    def pull(self) -> None:
        os.close(self.slave)
        os.close(self.master)


@contextlib.contextmanager
def reading(where: str) -> Iterator[Reader]:
    reader = Reader(where)
    try:
        yield reader
    finally:
        reader.feed.close(5)
        assert not reader.feed._thread.is_alive()  # noqa: SLF001 - that it has ended is what is promised


def test_a_serial_device_gives_its_lines_with_the_time_they_came(tmp_path: Path) -> None:
    cable = Cable(tmp_path / "port")
    with reading(f"{tmp_path / 'port'}@4800") as reader:
        reader.connected()
        before = datetime.now(UTC)
        cable.send(b"0.112\r\n")
        reader.wait(reader.whole)
        assert reader.whole() == ["0.112"]
        assert before <= reader.lines[0].at <= datetime.now(UTC)


def test_a_device_is_set_to_its_speed_and_frame(tmp_path: Path) -> None:
    import termios

    cable = Cable(tmp_path / "port")
    with reading(f"{tmp_path / 'port'}@2400,7E2") as reader:
        reader.connected()
        _, _, control, _, speed, _, _ = termios.tcgetattr(cable.slave)
    assert speed == termios.B2400
    assert control & termios.CSTOPB
    assert control & termios.CLOCAL


def test_noise_halves_and_garbage_are_no_lines_and_hide_none(tmp_path: Path) -> None:
    cable = Cable(tmp_path / "port")
    with reading(str(tmp_path / "port")) as reader:
        reader.connected()
        for piece in (b"0.1", b"12\r", b"\n", b"\x00\xff\xfe\r\n", b"9" * 5000, b"\r\n", b"0.2", b"30\r\n"):
            cable.send(piece)
            time.sleep(0.05)
        reader.wait(lambda: "0.230" in reader.whole())
        assert reader.whole() == ["0.112", "\x00\\xff\\xfe", "0.230"]
        assert [len(line.raw) for line in reader.lines if line.why] == [200]


def test_a_cable_pulled_and_put_back(tmp_path: Path) -> None:
    cable = Cable(tmp_path / "port")
    with reading(str(tmp_path / "port")) as reader:
        reader.connected()
        cable.send(b"0.112\r\n0.1")
        reader.wait(reader.whole)
        cable.pull()
        reader.connected(is_so=False)
        cable = Cable(tmp_path / "port")
        reader.connected()
        time.sleep(0.2)
        cable.send(b"23\r\n0.230\r\n")
        reader.wait(lambda: "0.230" in reader.whole())
        assert reader.whole() == ["0.112", "23", "0.230"]
        assert [line.raw for line in reader.lines if line.why] == ["0.1"]


def test_what_is_being_sent_while_the_device_is_opened_may_be_the_rest_of_a_line(tmp_path: Path) -> None:
    cable = Cable(tmp_path / "port")
    cable.send(b"23.4\r\n12.5\r\n")
    with reading(str(tmp_path / "port")) as reader:
        reader.wait(reader.whole)
        assert reader.whole() == ["12.5"]
        assert [line.raw for line in reader.lines if line.why] == ["23.4"]


def test_a_device_that_comes_later(tmp_path: Path) -> None:
    with reading(str(tmp_path / "port")) as reader:
        reader.wait(lambda: "No such file" in reader.feed.state.why)
        Cable(tmp_path / "port")
        reader.connected()


def test_two_programs_do_not_share_a_device(tmp_path: Path) -> None:
    Cable(tmp_path / "port")
    with reading(str(tmp_path / "port")) as first:
        first.connected()
        with reading(str(tmp_path / "port")) as second:
            second.wait(lambda: second.feed.state.why == "another program reads it")


def test_a_fifo_whose_writers_come_and_go(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "fifo")
    with reading(str(tmp_path / "fifo")) as reader:
        reader.wait(lambda: reader.feed.state.why == "nobody writes to it")
        for text in ("0.112", "0.230"):
            with (tmp_path / "fifo").open("w") as writer:
                writer.write(f"{text}\n0.9")
            reader.wait(lambda text=text: text in reader.whole())  # type: ignore[misc]
            reader.connected(is_so=False)
        assert reader.whole() == ["0.112", "0.230"]
        assert [line.raw for line in reader.lines if line.why] == ["0.9", "0.9"]


def test_a_server_that_dies_and_comes_back() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        number = server.getsockname()[1]
        with reading(f"tcp:127.0.0.1:{number}") as reader:
            for text in ("0.112", "0.230"):
                wire, _ = server.accept()
                reader.connected()
                wire.sendall(f"{text}\r\n".encode())
                reader.wait(lambda text=text: text in reader.whole())  # type: ignore[misc]
                wire.close()
                reader.connected(is_so=False)
            assert reader.whole() == ["0.112", "0.230"]


def test_a_server_that_is_not_there_is_told() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        number = server.getsockname()[1]
    with reading(f"tcp:127.0.0.1:{number}") as reader:
        reader.wait(lambda: "refused" in reader.feed.state.why)


def test_a_host_whose_name_is_none_is_told() -> None:
    with reading(f"tcp:{'a' * 70}.example:9") as reader:
        reader.wait(lambda: "too long" in reader.feed.state.why)


def test_a_flood_is_bounded_and_the_line_after_it_is_whole() -> None:
    with (
        socket.create_server(("127.0.0.1", 0)) as server,
        reading(f"tcp:127.0.0.1:{server.getsockname()[1]}") as reader,
    ):
        wire, _ = server.accept()
        wire.sendall(b"\xff" * 400_000 + b"\r\n0.112\r\n")
        reader.wait(reader.whole)
        assert reader.whole() == ["0.112"]
        assert all(len(line.raw) <= 200 * len("\\xff") for line in reader.lines)
        wire.close()


def test_a_host_that_never_answers_is_let_go_at_once() -> None:
    """A listener whose queue is full takes no more, and says nothing."""
    with socket.socket() as server:
        server.bind(("127.0.0.1", 0))
        server.listen(0)
        address = server.getsockname()
        full = [socket.socket() for _ in range(4)]
        for each in full:
            each.settimeout(0)
            each.connect_ex(address)
        try:
            with reading(f"tcp:127.0.0.1:{address[1]}") as reader:
                time.sleep(0.3)
                began = time.monotonic()
                reader.feed.close(5)
                assert time.monotonic() - began < 1
                assert reader.feed.state.connected is False
        finally:
            for each in full:
                each.close()


def test_lines_nobody_fetches_are_bounded_and_counted(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "fifo")
    with reading(str(tmp_path / "fifo")) as reader:
        with (tmp_path / "fifo").open("w") as writer:
            writer.writelines(f"{number}\n" for number in range(1500))
            writer.flush()
            time.sleep(1.0)
        kept, lost = reader.feed.fetch()
        assert (len(kept), lost) == (1000, 500)
        assert kept[-1].raw == "1499"


def test_nothing_is_left_when_it_ends(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "fifo")
    with reading(str(tmp_path / "fifo")) as reader:
        reader.wait(lambda: reader.feed.state.why == "nobody writes to it")
    assert not [each for each in threading.enumerate() if each.name == "photometer"]
    with pytest.raises(OSError, match="No such device or address"):
        os.open(tmp_path / "fifo", os.O_WRONLY | os.O_NONBLOCK)
