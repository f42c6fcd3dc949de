"""The program under Wine with a Windows Python: `python -m tests.benchmarks.wine FOLDER [TESTS...]`.

Wine is not Windows: no console of Windows, none of its file systems, no scanner that holds files open. What passes here
may fail there; what fails here on a name or a call that Windows lacks fails there too.

The screen runs on Wine's console, on a terminal of ours. That console (of Wine 8) acts on none of the sequences a
screen is drawn with: it prints them as characters, breaks the line where those reach its edge, and skips what stands
there already. Keys, document, log, lock and end are tested as they are; for the picture its line breaks are taken out
again, so that it is nearly what a console of Windows shows, and no test of one.

Needs wine, wine64 and
gcc-mingw-w64-x86-64 from the system, and a package index. The environment is built once in FOLDER (about 600 MB).
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import subprocess
import sys
import sysconfig
import tempfile
import zipfile
from pathlib import Path

import pyte

from runsheet import demo
from runsheet.run.disk import files, store
from tests.terminal import Terminal

ROOT = Path(__file__).parents[2]
HOST = "panda3d"
"""A package whose wheel for Windows carries a whole CPython 3.11 among its libraries."""
PURE = ("textual", "tomli-w", "platformdirs", "pytest", "hypothesis", "colorama", "tzdata", "jsonschema")
PINNED = ("numpy==1.24.4", "pytest-xdist", "execnet")
"""numpy 2 needs a function of the C library that Wine 8 lacks."""
OF_THE_CONSOLE = re.compile(rb"\r\r\n|\x1b\[K|\x1b\[\?25[hl]|\x1b\[[<>=?][0-9;]*[$a-zA-Z]+|\x1b\][^\x07\x1b]*")
"""Its line breaks and clearings, and what pyte does not know."""
TYPED = "0.117"
"""A reading that the invented day has nowhere."""
MAIN = """#include <wchar.h>
int Py_Main(int, wchar_t **);
int wmain(int argc, wchar_t **argv) { return Py_Main(argc, argv); }
"""
ROOMS = ("tests",)
LIMIT = 240
"""Seconds a file of tests may take: there a process takes seconds to start, and one that waits for another for ever."""
SCENES = """
import os, subprocess, sys, time
from datetime import datetime
from pathlib import Path
from runsheet import demo
from runsheet.run.disk import lock, store
from runsheet.run import edit
now = datetime.now().astimezone()
def tell(words, held): print("ok  " if held else "FAIL", words)
folder = Path(sys.argv[1]); path = folder / "day.toml"
if len(sys.argv) > 2:
    held = lock.acquire(path, "other", now)
    print(type(held).__name__, flush=True)
    sys.stdin.readline()
    os._exit(3)
for old in folder.iterdir(): old.unlink()
path.write_bytes(demo.text("water-day").encode())
opened = store.open_for_writing(path, "me", now)
opened.accept([edit.set_value(opened.run, "run.note", "a remark")], now)
seen = lock.acquire(path, "second", now)
tell("a live holder of the same program is seen: " + seen.words(), isinstance(seen, lock.Holder) and seen.alive)
reader = path.open("rb")
opened.accept([edit.set_value(opened.run, "run.note", "another")], now)
time.sleep(0.4)
reader.close()
opened.close()
tell("a reader of the document did not stop the save", b"another" in path.read_bytes() and not opened.trouble)
tell("the lock is gone after closing", not lock.lock_of(path).exists())
again = store.open_for_writing(path, "me", now); again.close()
tell("opened again at once", True)
other = subprocess.Popen([sys.executable, __file__, str(folder), "hold"], stdin=subprocess.PIPE, stdout=subprocess.PIPE)
other.stdout.readline()
seen = lock.acquire(path, "me", now)
tell("a live holder of another process is seen: " + getattr(seen, "words", lambda: "")(),
     isinstance(seen, lock.Holder) and seen.alive)
other.stdin.write(b"\\n"); other.stdin.close(); other.wait()
found = lock.acquire(path, "me", now, take_over=True)
tell("the lock of a process that died is free at once", isinstance(found, lock.Lock))
if isinstance(found, lock.Lock): found.release()
from runsheet.screen import app, start, terminal
tell("the modules of the screen are imported", True)
fresh = folder / "fresh.toml"; fresh.write_bytes(demo.text("soil-day").encode())
opened = store.open_for_writing(fresh, "me", now); opened.close()
tell("what this disk lacks is told: " + "; ".join(opened.notes), len(opened.notes) == 2)
"""


def main() -> None:
    """Build what is missing, then run."""
    folder = Path(sys.argv[1]).resolve()
    python = folder / "python" / "python.exe"
    if not python.exists():
        _build(folder, python.parent)
    wine = _Wine(folder, python)
    wine.run("-c", "import sys, platform; print(sys.version, platform.platform())")
    for words in ("methods", "demo", "format method"):
        wine.run("-m", "runsheet", *words.split(), lines=3)
    day = ROOT / "fixtures" / "examples" / "water-line.toml"
    for words in ("results", "check", "report --as html"):
        command, *more = words.split()
        wine.run("-m", "runsheet", command, str(day), *more, lines=3)
    shutil.rmtree(folder / "cache", ignore_errors=True)
    wine.run("-m", "runsheet", "history", str(day.parent), lines=6)
    scenes = folder / "scenes.py"
    scenes.write_text(SCENES, encoding="utf-8")
    (folder / "runs").mkdir(exist_ok=True)
    wine.run(str(scenes), str(folder / "runs"))
    wine.run("-m", "runsheet", "log", str(folder / "runs" / "day.toml"), "--verify")
    wine.screen(folder / "runs" / "screen.toml")
    asked = [Path(name) for name in sys.argv[2:] or ROOMS]
    for file in asked:
        for found in sorted(file.rglob("test_*.py")) if file.is_dir() else [file]:
            wine.tests(found)


class _Wine:
    """The Python of Windows, run with pipes: its standard handles may not be files."""

    def __init__(self, folder: Path, python: Path) -> None:
        self.python = python
        self.env = os.environ | {
            "WINEPREFIX": str(folder / "prefix"), "WINEDEBUG": "-all", "PYTHONPATH": f"Z:{ROOT}", "USERNAME": "bench",
            "RUNSHEET_CACHE": f"Z:{folder}/cache", "RUNSHEET_STATE": f"Z:{folder}/state",
        }  # fmt: skip

    def run(self, *words: str, lines: int = 1000) -> None:
        """Run it; print what it said."""
        print("==", *(word if len(word) < 80 else "..." for word in words), flush=True)
        done = subprocess.run(
            ["wine", str(self.python), *words], env=self.env, cwd=ROOT, stdin=subprocess.PIPE,
            capture_output=True, check=False,
        )  # fmt: skip
        told = (done.stdout + done.stderr).decode(errors="replace").splitlines()
        print(*told[:lines], f"-- exit {done.returncode}, {len(told)} lines", sep="\n")

    def tests(self, file: Path) -> None:
        """Run a file of tests; print how it ended, and of what failed or is missing the reasons, each once."""
        words = ["-m", "pytest", "-q", "-p", "no:cacheprovider", "-n0", "--tb=line", "-W", "ignore", file.as_posix()]
        own = {name: value for name, value in self.env.items() if not name.startswith("RUNSHEET_")}
        with tempfile.TemporaryFile() as told:
            reader = subprocess.Popen(["cat"], stdin=subprocess.PIPE, stdout=told)
            run = subprocess.Popen(
                ["wine", str(self.python), *words], env=own, cwd=ROOT, stdin=subprocess.PIPE,
                stdout=reader.stdin, stderr=subprocess.DEVNULL,
            )  # fmt: skip
            assert reader.stdin is not None
            reader.stdin.close()
            try:
                run.wait(LIMIT)
                end = ""
            except subprocess.TimeoutExpired:
                run.kill()
                end = f"not ended in {LIMIT} s; "
            with contextlib.suppress(subprocess.TimeoutExpired):  # a process of its own may keep the pipe open
                reader.wait(5)
            reader.kill()
            reader.wait()
            told.seek(0)
            lines = told.read().decode(errors="replace").splitlines()
        print(f"{file}: {end}{lines[-1].strip('= ') if lines else 'nothing was said'}", flush=True)
        for why in dict.fromkeys(line[4:160].strip() for line in lines if line.startswith("E   ")):
            print(f"    {why}")

    def screen(self, path: Path) -> None:
        """Open a run on the screen, type a reading, leave; print the picture and what is on the disk."""
        for old in path.parent.glob(f"*{path.name}*"):
            old.unlink()
        path.write_text(demo.text("water-day"), encoding="utf-8")
        words = ["-m", "runsheet", "open", f"Z:{path}", "--cursor"]
        print("==", *words, f"; then {TYPED}, Enter, q", flush=True)
        terminal = Terminal(["wine", str(self.python), *words], env=self.env)
        terminal.settle(8, 60)
        held = files.lock_of(path).exists()
        for key in TYPED:
            terminal.send(key)
            terminal.settle(0.6)
        terminal.settle(1)
        picture = _drawn(b"".join(data for _, data in terminal.chunks))
        terminal.send("enter")
        terminal.settle(2)
        terminal.send("q")
        code = terminal.exit_code(30)
        print(picture)
        found = store.read_only(path).found
        read = [str(reading) for row in found.run.queue for reading in row.readings] if found.run else []
        for said, holds in (
            ("the picture has what was typed", TYPED in picture),
            ("the run was locked while the screen was open", held),
            ("it ended with code 0", code == 0),
            ("the lock is gone", not files.lock_of(path).exists()),
            ("the reading is in the document", TYPED.encode() in path.read_bytes()),
            ("document and log agree", found.readable and TYPED in read),
        ):
            print("ok  " if holds else "FAIL", said)


def _drawn(data: bytes) -> str:
    """What a terminal shows that is sent what the program wrote: without what Wine's console put in between."""
    screen = pyte.Screen(80, 24)
    pyte.ByteStream(screen).feed(OF_THE_CONSOLE.sub(b"", data))
    return "\n".join(line.rstrip() for line in screen.display)


def _build(folder: Path, python: Path) -> None:
    wheels = folder / "wheels"
    pip = [sys.executable, "-m", "pip", "download", "-q", "-d", str(wheels), "--platform", "win_amd64"]
    pip += ["--python-version", "3.11", "--only-binary=:all:"]
    subprocess.run([*pip, *PURE], check=True)
    subprocess.run([*pip, "--no-deps", HOST, *PINNED], check=True)
    packages, libraries = python / "Lib" / "site-packages", python / "DLLs"
    shutil.copytree(
        sysconfig.get_path("stdlib"), python / "Lib", ignore=shutil.ignore_patterns("site-packages", "test", "*.so")
    )
    packages.mkdir()
    libraries.mkdir()
    for wheel in wheels.glob("*.whl"):
        if not wheel.name.startswith(HOST):
            zipfile.ZipFile(wheel).extractall(packages)
    for member in (archive := zipfile.ZipFile(next(wheels.glob(f"{HOST}*.whl")))).infolist():
        where, _, name = member.filename.rpartition("/")
        if where == "deploy_libs" and name:
            beside = name.lower().startswith(("python3", "vcruntime", "msvcp"))
            ((python if beside else libraries) / name).write_bytes(archive.read(member))
    (python / "main.c").write_text(MAIN, encoding="utf-8")
    compiler = ["x86_64-w64-mingw32-gcc", "-municode", "-o", "python.exe", "main.c"]
    subprocess.run([*compiler, next(python.glob("python311.dll")).name], cwd=python, check=True)
    env = os.environ | {"WINEPREFIX": str(folder / "prefix"), "WINEDEBUG": "-all"}
    for words in (["wineboot", "-i"], ["winecfg", "-v", "win10"]):
        subprocess.run(words, env=env, check=True, stdin=subprocess.PIPE, capture_output=True)


if __name__ == "__main__":
    main()
