"""Processes that read documents, so that a folder is read on every core and the screen answers meanwhile.

Owns: starting them, what goes through their pipes, and their end. Invariant: a worker ends when its input does, and
when this process has, so none is left behind; a worker that dies costs nothing but time.
"""

from __future__ import annotations

import contextlib
import json
import os
import queue
import subprocess
import sys
import threading
import time
from typing import TYPE_CHECKING, Any

from runsheet import processes

if TYPE_CHECKING:
    from collections.abc import Iterator
    from typing import IO

    from runsheet.history.extract import Facts

AHEAD = 60
"""Documents a worker is given before it has answered: enough for it to work on while rows of a hundred are kept."""


def read(folder: str, todo: list[tuple[str, str]], count: int) -> Iterator[Facts]:
    """Read documents by `count` workers; those a worker did not answer for are left out. Raises OSError."""
    waiting = iter(todo)
    answers: queue.SimpleQueue[tuple[subprocess.Popen[bytes], bytes]] = queue.SimpleQueue()
    workers: list[subprocess.Popen[bytes]] = []
    listeners: list[threading.Thread] = []
    try:
        for _ in range(count):
            workers.append(_started())
            listeners.append(threading.Thread(target=_listen, args=(workers[-1], answers), daemon=True))
            listeners[-1].start()
        for worker in workers * AHEAD:
            _ask(worker, folder, waiting)
        alive = count
        while alive:
            worker, line = answers.get()
            if not line:
                alive -= 1
                continue
            yield _facts(line)
            _ask(worker, folder, waiting)
    finally:
        for worker in workers:
            worker.kill()
            worker.wait()
            _end_input(worker)
        for listener in listeners:
            listener.join()


def _started() -> subprocess.Popen[bytes]:
    return subprocess.Popen(  # noqa: S603 - this program itself
        [sys.executable, "-m", "runsheet.history.workers", str(os.getpid())],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        start_new_session=True,  # an interrupt at the keyboard is for the program, which ends its workers
    )


def _listen(worker: subprocess.Popen[bytes], answers: queue.SimpleQueue[tuple[subprocess.Popen[bytes], bytes]]) -> None:
    """Hand on what a worker writes, and an empty line when it has ended."""
    if worker.stdout is not None:
        with worker.stdout as told:
            for line in told:
                answers.put((worker, line))
    answers.put((worker, b""))


def _ask(worker: subprocess.Popen[bytes], folder: str, waiting: Iterator[tuple[str, str]]) -> None:
    """Send a worker the next document; with none left its input ends, and so does it."""
    if worker.stdin is None or worker.stdin.closed:
        return
    asked = next(waiting, None)
    if asked is None:
        _end_input(worker)
        return
    try:
        worker.stdin.write(_line([folder, *asked]))
        worker.stdin.flush()
    except OSError:  # it has died: its documents are read by the caller
        _end_input(worker)


def _end_input(worker: subprocess.Popen[bytes]) -> None:
    with contextlib.suppress(OSError):  # what was not yet written to one that died
        if worker.stdin is not None:
            worker.stdin.close()


def _line(value: object) -> bytes:
    return json.dumps(value).encode() + b"\n"


def _facts(line: bytes) -> Facts:
    from runsheet.history.extract import Facts
    from runsheet.history.rows import TABLES

    made: list[Any] = [
        tuple(kind(*row) for row in rows) for kind, rows in zip(TABLES.values(), json.loads(line), strict=True)
    ]
    ((run,), *others) = made
    return Facts(run, *others)


def work(asked: IO[bytes], told: IO[bytes]) -> None:
    """Read the documents asked for, one a line, and tell their rows, one document a line."""
    from runsheet.history import documents

    rescued = documents.rescues()
    for line in asked:
        folder, path, stamp = json.loads(line)
        facts = documents.read(folder, path, stamp, rescued=rescued)
        told.write(_line(list(facts.tables.values())))
        told.flush()


def end_with(parent: int, every: float = 1.0) -> None:
    """End this process soon after the one that started it, also in the middle of a document; begins a thread for it.

    Where that one has ended already, or the system gives an orphan no other parent, this does nothing worse than wait.
    """

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(every)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


if __name__ == "__main__":
    end_with(int(sys.argv[1]))
    processes.collect_seldom()
    work(sys.stdin.buffer, sys.stdout.buffer)
