"""The terminal: what must be set before Textual is imported, and what must happen when the terminal goes away.

Owns: environment, signals, the watch over the terminal, bytes that are no text. Invariant: however the program ends,
what was accepted is on the disk, the terminal is as it was found, and no process stays behind.

Three private names of Textual are touched, each with a test: `linux_driver.getincrementaldecoder`, since a byte that is
no UTF-8 would end the program, `_writer_thread.MAX_QUEUED_WRITES`, since a terminal that takes no output would stop the
event loop and with it the saving, and `_ansi_sequences.ANSI_SEQUENCES_KEYS`, which knows no comma of a keypad.
"""

from __future__ import annotations

import codecs
import contextlib
import os
import signal
import sys
import threading
import time
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from types import FrameType

RESET = (
    b"\x1b[999;1H\r\n"
    b"\x1b[?1049l\x1b[?25h\x1b[?1000l\x1b[?1003l\x1b[?1006l\x1b[?1004l\x1b[?2004l\x1b[?2026l\x1b[?7h\x1b[0m\r\n"
)
"""Go below what is drawn, leave the alternate screen, show the cursor; no mouse, focus reports, bracketed paste or held
frames; wrap lines."""
KEYPAD_COMMA = "\x1bOl"
"""What the keypad's comma sends in application mode."""
WATCH_EVERY = 1.0
ENDS = tuple(
    getattr(signal, name)
    for name in (
        "SIGHUP",
        "SIGBREAK",
        "SIGTERM",
        "SIGQUIT",
        "SIGUSR1",
        "SIGUSR2",
        "SIGALRM",
        "SIGVTALRM",
        "SIGPROF",
        "SIGXCPU",
    )
    if hasattr(signal, name)
)
"""Signals that would end the program where it stands, the terminal raw."""
KEPT = (*ENDS, *(getattr(signal, name) for name in ("SIGTSTP", "SIGCONT") if hasattr(signal, name)))
"""Those that are as they were once the screen is gone."""
GONE = getattr(signal, "SIGHUP", signal.SIGTERM)
"""What a terminal that is gone ends the program with."""
PATIENCE = 2.0
"""Seconds a signal waits for the last save."""


def prepare() -> None:
    """Set what Textual and numpy read when they are imported, and make bytes that are no text harmless.

    Whoever asks for no colour is heard before: Textual would answer it with a black of its own on black, even where the
    name stands there with nothing in it, and so asks for nothing.
    """
    os.environ.pop("NO_COLOR", None)
    for name in ("COLUMNS", "LINES"):  # exported, they fix a wrong size and every resize is ignored
        os.environ.pop(name, None)
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.environ.setdefault("TEXTUAL_DISABLE_KITTY_KEY", "1")
    os.environ.setdefault("TEXTUAL_ANIMATIONS", "none")
    if "SSH_CONNECTION" in os.environ:
        os.environ.setdefault("ESCDELAY", "300")
    from textual import _ansi_sequences

    _ansi_sequences.ANSI_SEQUENCES_KEYS[KEYPAD_COMMA] = ","  # type: ignore[index]
    with contextlib.suppress(ImportError, AttributeError):  # another system has another driver
        from textual.drivers import _writer_thread, linux_driver

        # 0 is no limit: with one, a line that takes no output stops the program at its 30th frame, and the readings
        # typed from then on would be nowhere. A frame is about a hundred bytes, and none is painted without a key.
        _writer_thread.MAX_QUEUED_WRITES = 0  # type: ignore[misc]
        # One byte that is not UTF-8, as a micro sign from a Latin-1 terminal, would otherwise end the program.
        linux_driver.getincrementaldecoder = _forgiving  # type: ignore[attr-defined]


def _forgiving(encoding: str) -> Any:
    decoder = codecs.getincrementaldecoder(encoding)
    return lambda *_, **__: decoder("replace")


def shows_utf8() -> bool:
    """Whether box and braille characters arrive as such."""
    encoding = (getattr(sys.__stderr__, "encoding", "") or "").lower().replace("-", "")
    term = os.environ.get("TERM", "")
    names = ("LC_ALL", "LANG") if _coerced() else ("LC_ALL", "LC_CTYPE", "LANG")
    locale = next((os.environ[name] for name in names if os.environ.get(name)), "")
    bare = term.startswith("vt") or (term == "linux" and "utf" not in locale.lower())
    return encoding == "utf8" and not bare and locale not in ("C", "POSIX")


def _coerced() -> bool:
    """Whether it is Python that wrote a UTF-8 locale over the C one that was asked for."""
    return os.environ.get("LANG") in ("C", "POSIX") and os.environ.get("LC_CTYPE") in ("C.UTF-8", "C.utf8", "UTF-8")


@contextlib.contextmanager
def guarded(
    close: Callable[[float], object] = lambda _seconds: None, told: Callable[[], list[str]] = list
) -> Iterator[None]:
    """Leave cleanly on a signal that ends a program and on a terminal that is gone.

    `close` is to save within some seconds, `told` what is then to be said: above all what could not be saved.
    """
    before = _terminal_state()
    leaving = threading.Event()

    def end(number: int, _frame: FrameType | None = None) -> None:
        close(PATIENCE)
        if number != GONE:
            _restore(before)
        _say(told())
        os._exit(128 + number)

    handlers = {number: signal.getsignal(number) for number in KEPT}
    for number in ENDS:
        if handlers[number] != signal.SIG_IGN:  # nohup asked for the program to live on without its terminal
            signal.signal(number, end)
    if sys.platform != "win32":  # its console ends the program by itself
        threading.Thread(target=_watch, args=(leaving, end), daemon=True).start()
    try:
        yield
    finally:
        leaving.set()
        for number, old in handlers.items():
            signal.signal(number, old)


def _say(lines: list[str]) -> None:
    """Write lines to standard error, without waiting for a terminal that does not read."""
    with contextlib.suppress(OSError):
        if sys.platform != "win32":
            os.set_blocking(2, False)
        os.write(2, "".join(f"{line}\r\n" for line in lines).encode(errors="backslashreplace"))


def _terminal_state() -> Any:
    if sys.platform == "win32":
        return None
    import termios

    try:
        return termios.tcgetattr(0)
    except (termios.error, OSError, ValueError):
        return None


def _watch(leaving: threading.Event, end: Any) -> None:
    """End the program when its terminal is gone: without this it would run on at full speed for ever."""
    while not leaving.wait(WATCH_EVERY):
        if _terminal_state() is None and not leaving.is_set():
            end(GONE)


def _restore(before: Any) -> None:
    """Give the terminal back as it was found, without waiting for one that does not read."""
    if sys.platform == "win32":
        with contextlib.suppress(OSError):
            os.write(1, RESET)
        return
    with contextlib.suppress(Exception):
        import termios

        os.set_blocking(1, False)
        end = time.monotonic() + 0.5
        while time.monotonic() < end:
            try:
                os.write(1, RESET)
                break
            except BlockingIOError:
                time.sleep(0.05)
        if before is not None:
            termios.tcsetattr(0, termios.TCSANOW, before)
