"""What a photometer that sends ten lines a second costs the keys. Run by hand, on POSIX.

    python tests/benchmarks/photometer.py

Figures to reach: a key has as many bytes with the lines as without, and so has its time; the lines themselves cost at
most 1,000 bytes a second while they are proposed, and 300 while a reading is being typed.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import threading
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from runsheet import demo
from tests.port.test_feed import Cable
from tests.terminal import PROGRAM, Terminal

KEYS = "0.11234567890123456789"


class Stream:
    """Ten lines a second."""

    def __init__(self, cable: Cable) -> None:
        """Begin."""
        self._cable, self._on = cable, True
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        number = 0
        while self._on:
            number += 1
            self._cable.send(b"0.%03d A\r\n" % (100 + number % 100))
            time.sleep(0.1)

    def stop(self) -> None:
        """End."""
        self._on = False
        self._thread.join()


def typed(terminal: Terminal) -> tuple[float, float]:
    """Type an entry and take it back; the medians of bytes and of milliseconds to the last byte, of a key."""
    sizes, times = [], []
    for key in KEYS:
        terminal.settle(0.02, 0.05)
        had, sent = len(terminal.chunks), time.perf_counter()
        terminal.send(key)
        terminal.settle(0.03, 0.08)
        got = terminal.chunks[had:]
        sizes.append(sum(len(data) for _, data in got))
        times.append((got[-1][0] - sent) * 1e3 if got else 0.0)
    terminal.send("escape")
    terminal.settle(0.5, 1)
    return statistics.median(sizes), statistics.median(times)


def per_second(terminal: Terminal, seconds: float = 5.0) -> float:
    """Bytes a second without a key."""
    had, end = len(terminal.chunks), time.perf_counter() + seconds
    while (left := end - time.perf_counter()) > 0:
        terminal.pump(left)
    return sum(len(data) for _, data in terminal.chunks[had:]) / seconds


def main() -> None:
    """Measure without lines, then with them."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "day.toml"
        path.write_text(demo.text("water-day"), encoding="utf-8")
        cable = Cable(Path(folder) / "port")
        terminal = Terminal([*PROGRAM, str(path), "--from", str(Path(folder) / "port")])
        terminal.wait("photometer connected")
        terminal.settle(1, 4)
        silent, alone = per_second(terminal), typed(terminal)
        stream = Stream(cable)
        proposed, among = per_second(terminal), typed(terminal)
        terminal.send("0")
        terminal.settle(0.2, 1)
        waiting = per_second(terminal)
        stream.stop()
        terminal.kill()
        terminal.exit_code()
    print(f"a key: {alone[0]:.0f} bytes, {alone[1]:.1f} ms without lines; {among[0]:.0f}, {among[1]:.1f} among them")
    print(f"a second: {silent:.0f} bytes without lines, {proposed:.0f} proposed, {waiting:.0f} while an entry is typed")


if __name__ == "__main__":
    main()
