"""The screen on a pseudo-terminal, beside a stock Input above a DataTable, in one run. Run by hand.

    python tests/benchmarks/screen.py

Figures to reach at 80x24 with 60 rows, as ratios to the stock app: start 1.1, key to last byte 0.2, memory 1.25; and
800 bytes a key, idle 20 bytes/s and 2 % of a core; a line of 10 kB/s within 0.3 s of the keys at 5 a second; 2,000 rows
within 3 times 60.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import psutil

sys.path.insert(0, str(Path(__file__).parents[2]))

from runsheet import demo, read
from runsheet.run.text import write
from tests.terminal import PROGRAM, Terminal

STOCK = """
from textual.app import App
from textual.widgets import DataTable, Footer, Input, Static
import numpy  # the project needs it as well

class Stock(App):
    CSS = "Input{height:1;border:none;padding:0;} Input:focus{border:none;} DataTable{height:1fr;} #s{height:1;}"

    def compose(self):
        yield Input(id="i", select_on_focus=False)
        yield DataTable(id="t")
        yield Static("READY", id="s")
        yield Footer()

    def on_mount(self):
        table = self.query_one(DataTable)
        self.columns = table.add_columns(*[f"col{c}" for c in range(8)])
        self.rows = table.add_rows([[f"{r * 8 + c:8.2f}" for c in range(8)] for r in range(60)])
        self.count = 0

    def on_input_changed(self, _):
        self.count += 1
        self.query_one(DataTable).update_cell(self.rows[0], self.columns[3], f"{self.count:8.2f}")

Stock().run()
"""


def document(rows: int, folder: Path) -> Path:
    """Make a run of some rows, the last five unread."""
    run, _ = read(demo.text("water-day"))
    assert run is not None
    queue = [replace(row, id=f"{row.id}-{n}", of=None) for n in range(rows // 18 + 1) for row in run.queue[:18]][
        : rows - 5
    ]
    queue += [replace(run.queue[18], id=f"last-{n}") for n in range(5)]
    place = folder / f"{rows} rows"  # its own folder: a program reads the earlier runs beside its document
    place.mkdir()
    path = place / "run.toml"
    path.write_text(write(replace(run, queue=tuple(queue))), encoding="utf-8")
    return path


def keystrokes(terminal: Terminal, keys: str) -> tuple[float, float, float]:
    """Type; give the medians of milliseconds to the last byte and bytes a key, and CPU milliseconds a key."""
    process, times, sizes = psutil.Process(terminal.pid), [], []
    before = sum(process.cpu_times()[:2])
    for key in keys:
        had, sent = len(terminal.chunks), time.perf_counter()
        terminal.send(key)
        terminal.pump(0.5)
        terminal.settle(0.08, 2)
        got = terminal.chunks[had:]
        if got:
            times.append((got[-1][0] - sent) * 1e3)
            sizes.append(sum(len(data) for _, data in got))
    cpu = (sum(process.cpu_times()[:2]) - before) / len(keys) * 1e3
    return statistics.median(times), statistics.median(sizes), cpu


def unlock(command: list[str]) -> None:
    """Take away the lock that a killed program left, so that the next one asks nothing."""
    path = Path(command[-1])
    (path.parent / f".{path.name}.lock").unlink(missing_ok=True)


def starts(programs: dict[str, tuple[list[str], str]], rounds: int = 9) -> dict[str, float]:
    """Start each program in turn, round after round, so that a slow moment of the machine meets all; give medians."""
    times: dict[str, list[float]] = {name: [] for name in programs}
    for _ in range(rounds):
        for name, (command, ready) in programs.items():
            unlock(command)
            terminal = Terminal(command)
            times[name].append(terminal.wait(ready) * 1e3)
            terminal.settle(0.3)
            terminal.kill()
            os.waitpid(terminal.pid, 0)
    return {name: statistics.median(found) for name, found in times.items()}


def measure(command: list[str], ready: str, keys: str) -> dict[str, float]:
    """Start a program, type, leave it alone; give its figures."""
    unlock(command)
    terminal = Terminal(command)
    terminal.wait(ready)
    terminal.settle(0.6)
    last, size, cpu = keystrokes(terminal, keys)
    process = psutil.Process(terminal.pid)
    memory = process.memory_info().rss / 1e6
    before, had, seconds = sum(process.cpu_times()[:2]), len(terminal.chunks), 8
    end = time.perf_counter() + seconds
    while (left := end - time.perf_counter()) > 0:
        terminal.pump(left)
    idle = sum(len(data) for _, data in terminal.chunks[had:]) / seconds
    share = (sum(process.cpu_times()[:2]) - before) / seconds * 100
    terminal.kill()
    os.waitpid(terminal.pid, 0)
    return {
        "last byte ms": last,
        "bytes a key": size,
        "CPU ms a key": cpu,
        "memory MB": memory,
        "idle bytes/s": idle,
        "idle CPU %": share,
    }


def slow_line(command: list[str], ready: str, rate: float = 10_000) -> float:
    """Type 40 keys at 5 a second to a reader of `rate` bytes a second; give the seconds it lags."""
    unlock(command)
    terminal = Terminal(command)
    terminal.wait(ready)
    terminal.settle(0.6)
    keys, sent, taken, last_key, last_byte = 40, 0, 0.0, 0.0, 0.0
    began = time.perf_counter()
    while True:
        now = time.perf_counter() - began
        if sent < keys and now >= sent / 5:
            terminal.send("0123456789"[sent % 10] if sent % 12 else "\x15")
            sent, last_key = sent + 1, now
        had = len(terminal.chunks)
        if now * rate < taken:  # the line is still busy with what was taken from the program
            time.sleep(0.005)
        elif terminal.pump(0.1 if sent == keys else 0.01):
            taken = max(taken, now * rate - 1500) + sum(len(data) for _, data in terminal.chunks[had:])
            last_byte = max(time.perf_counter() - began, taken / rate)
        elif sent == keys:
            break
    terminal.kill()
    os.waitpid(terminal.pid, 0)
    return max(0.0, last_byte - last_key)


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        stock = folder / "stock.py"
        stock.write_text(STOCK, encoding="utf-8")
        ours = [*PROGRAM, str(document(60, folder))]
        many = [*PROGRAM, str(document(2000, folder))]
        keys = "0.112" + "\x7f" * 3 + "234" + "\x7f" * 3 + "345" + "\x7f" * 3 + "456"
        peer = measure([sys.executable, str(stock)], "READY", keys)
        run = measure(ours, "last-0", keys)
        big = measure(many, "last-0", keys)
        began = starts(
            {"peer": ([sys.executable, str(stock)], "READY"), "run": (ours, "last-0"), "big": (many, "last-0")}
        )
        for found, which in ((peer, "peer"), (run, "run"), (big, "big")):
            found["start ms"] = began[which]
        print(f"{'':14} {'stock':>9} {'runsheet':>9} {'ratio':>7} {'2,000 rows':>11} {'ratio':>7}")
        for figure in peer:
            ratio = run[figure] / peer[figure] if peer[figure] else float("nan")
            more = big[figure] / run[figure] if run[figure] else float("nan")
            print(f"{figure:14} {peer[figure]:9.1f} {run[figure]:9.1f} {ratio:7.2f} {big[figure]:11.1f} {more:7.2f}")
        lag, stock_lag = slow_line(ours, "last-0"), slow_line([sys.executable, str(stock)], "READY")
        print(f"10 kB/s, last key to last byte: {lag:.2f} s; stock {stock_lag:.2f} s")


if __name__ == "__main__":
    main()
