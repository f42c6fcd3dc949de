"""Starting the screen.

Owns: what happens between the command line and the first frame. Invariant: the document is read before Textual is
imported, and a run that cannot be written is still shown, read-only, with the reason.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from runsheet import streams
from runsheet.exits import Exit, Refusal
from runsheet.figures import counted, visible
from runsheet.problem import Problem
from runsheet.run.disk import lock, store
from runsheet.screen.read_only import ReadOnlyStore
from runsheet.screen.typing_line import agreed

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from runsheet.run.disk.store import Store
    from runsheet.screen.keys import Command
    from runsheet.screen.style import Look


class Shown(NamedTuple):
    """How the screen is to look."""

    ascii_only: bool
    theme: str
    cursor: bool
    """Whether the terminal's own cursor is in sight."""


THEMES = {"dark": "textual-dark", "light": "textual-light", "ansi": "ansi-dark", "mono": "ansi-dark"}
NO_COLOUR_TERMS = ("vt100", "vt102", "vt220", "vt52", "ansi-mono")


def start(file: str | None, shown: Shown, *, read_only: bool = False, port: str | None = None) -> int:
    """Open a run on the screen, with readings from a port; give the exit code."""
    _possible(port)
    path = _chosen(shown) if file is None else Path(file)
    if path is None:
        return Exit.FINE
    opened: Store | ReadOnlyStore
    message = ""
    if read_only:
        opened = _read_only(path)
    else:
        try:
            opened = for_writing(path, _taken_over)
        except store.CannotOpenError as error:
            if error.problems:
                for problem in error.problems:
                    streams.tell(f"{path}: {problem}")
                raise Refusal(f"{error}; nothing was changed") from None
            opened, message = _read_only(path), str(error)
    return _run(opened, path, message, shown, port=port)


def for_writing(path: Path, ask: Callable[[str], bool]) -> Store:
    """Open a run for work; a lock that was left behind is taken over where `ask`, told whose it is, says so.

    Raises store.CannotOpenError, also where its holder came back meanwhile.
    """
    try:
        return store.open_for_writing(path, _who(), _now())
    except store.LockedError as error:
        if not (error.holder.stale and ask(str(error))):
            raise
    return store.open_for_writing(path, _who(), _now(), take_over=True)


def _possible(port: str | None) -> None:
    """Refuse what can be no port before anything is opened."""
    from runsheet.port import named

    if port is not None and port != named.NONE:
        named.named(port)


def _chosen(shown: Shown) -> Path | None:
    """Have a run chosen or made; None where nothing was."""
    from runsheet.screen import terminal

    terminal.prepare()
    from runsheet.screen.app import RunsheetApp
    from runsheet.screen.welcome import Welcome

    theme, look = _looks(shown)
    with terminal.guarded():
        app = RunsheetApp(Welcome(look), theme, cursor=shown.cursor)
        return app.run(mouse=False)  # type: ignore[return-value]


TAKE_OVER = "Take it over and work on this run? y/n:"


def _taken_over(words: str) -> bool:
    """Ask, before the screen, whether a lock that was left behind is taken over."""
    streams.tell(words)
    with contextlib.suppress(EOFError, OSError):  # no answer, or no terminal any more
        return agreed(input(f"{TAKE_OVER} "))
    return False


def _read_only(path: Path) -> ReadOnlyStore:
    try:
        follower = store.read_only(path)
    except OSError as error:
        raise Refusal(f"{path}: {error.strerror or error}") from None
    if follower.found.run is None or not follower.found.readable:
        for problem in follower.found.problems:
            streams.tell(f"{path}: {problem}")
        raise Refusal(f"{path} has errors; nothing was changed")
    return ReadOnlyStore(follower, follower.found.run)


def demo(name: str, shown: Shown, *, port: str | None = None) -> int:
    """Open a copy of a demo run in a folder of its own."""
    from runsheet import demo

    _possible(port)
    folder = Path(tempfile.mkdtemp(prefix="runsheet-demo-"))
    path = folder / f"{name}.toml"
    path.write_text(demo.text(name), encoding="utf-8")
    streams.tell(f"a copy of the demo run: {path}")
    opened = store.open_for_writing(path, _who(), _now())
    moment = demo.NOW[name]
    began = datetime.now().astimezone()
    return _run(opened, path, "", shown, port=port, shift=(moment, began))


def _who() -> str:
    return lock.login()["account"]


def _now() -> datetime:
    return datetime.now().astimezone()


def _run(
    opened: Store | ReadOnlyStore,
    path: Path,
    message: str,
    shown: Shown,
    *,
    port: str | None,
    shift: tuple[datetime, datetime] | None = None,
) -> int:
    """Run the screen until it is left; `shift` sets its clock back into a demo's day."""
    from runsheet.screen import terminal

    if os.environ.get("TERM") == "dumb":
        opened.close()
        raise Refusal("this terminal (TERM=dumb) cannot show a screen; the other commands work on it")
    terminal.prepare()
    from runsheet.screen.app import RunsheetApp
    from runsheet.screen.bench import Bench
    from runsheet.screen.session import Session

    theme, look = _looks(shown)

    def clock() -> datetime:
        return shift[0] + (_now() - shift[1]) if shift else _now()

    bench = Bench(Session(opened, path, clock, _who()), look)
    bench.port = port
    commands, problems = _user_keys()
    bench.use_keys(commands)
    back = f"{counted(opened.came_back, 'entry', 'entries')} came back from the log" if opened.came_back else ""
    wrong = (f"keys.toml: {problem.words}" for problem in problems)
    bench.message = "; ".join(filter(None, (back, message, *opened.notes, *wrong, bench.session.doubts)))
    app = RunsheetApp(bench, theme, cursor=shown.cursor)
    with terminal.guarded(opened.close, lambda: told(opened)):
        app.run(mouse=False)
        opened.close()
    if shift is None:
        from runsheet.screen import welcome

        welcome.remember(path)
    for line in told(opened):
        streams.tell(line)
    return int(app.return_code or (Exit.BAD if opened.unkept else Exit.FINE))


def told(opened: Store | ReadOnlyStore) -> list[str]:
    """What a person must know after the screen is gone: what is not saved, where it is, every entry that is nowhere."""
    lines = [f"runsheet: {visible(opened.trouble)}"] if opened.trouble else []
    if opened.copied is not None:
        lines.append(f"runsheet: the run with all its entries is {visible(str(opened.copied))}; go on with that one")
    if opened.unkept:
        lines.append("runsheet: these entries were accepted and are on no disk:")
    return [*lines, *opened.unkept]


def _user_keys() -> tuple[Sequence[Command], list[Problem]]:
    """The commands with the keys of the user's key file, where there is one."""
    from runsheet.methods import config_folder, unreadable
    from runsheet.screen import keys

    try:
        return keys.customised((config_folder() / "keys.toml").read_text(encoding="utf-8"))
    except FileNotFoundError:
        return keys.COMMANDS, []
    except (OSError, UnicodeDecodeError) as error:
        return keys.COMMANDS, [Problem("", unreadable(error))]


def _looks(shown: Shown) -> tuple[str, Look]:
    """The theme, as Textual calls it, and how this screen draws."""
    from runsheet.screen import terminal
    from runsheet.screen.style import Look

    ascii_only = shown.ascii_only or not terminal.shows_utf8()
    return THEMES[shown.theme], Look(colour=shown.theme != "mono", ascii_only=ascii_only)


def default_theme() -> str:
    """Choose a theme from the environment: the terminal's own colours, none where it asks for none."""
    if os.environ.get("NO_COLOR") or os.environ.get("TERM", "") in NO_COLOUR_TERMS:
        return "mono"
    return "ansi"
