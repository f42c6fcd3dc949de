"""The README's pictures of the screen, drawn by the program itself: `python -m tests.screen.pictures`."""

from __future__ import annotations

import asyncio
import re
import tempfile
from pathlib import Path

from runsheet import demo
from runsheet.screen.app import RunsheetApp
from tests.goldens import FIXTURES
from tests.screen.driving import Drive, keys

PICTURES = {
    "typing": ("water-day", (80, 24), keys("0.11")),
    "four-panes": ("soil-day", (120, 40), ["f4"]),
    "why": ("water-day", (80, 24), ["up", "right", "equals_sign"]),
    "plot": ("water-day", (80, 24), ["p"]),
}


def main() -> None:
    """Write every picture."""
    for picture, (name, size, presses) in PICTURES.items():
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / f"{name}.toml"
            path.write_text(demo.text(name), encoding="utf-8")
            drive = Drive(path, size=size, now=demo.NOW[name])
            asyncio.run(_draw(drive, presses, FIXTURES / "pictures" / f"{picture}.svg"))


async def _draw(drive: Drive, presses: list[str], target: Path) -> None:
    app = RunsheetApp(drive.bench, "ansi-dark")
    async with app.run_test(size=drive.size) as pilot:
        while not drive.bench.ready:
            await pilot.pause(0.02)
        await pilot.press(*presses)
        await pilot.pause()
        picture = app.export_screenshot(title="runsheet")
    drive.store.close()
    target.parent.mkdir(exist_ok=True)
    # The fonts named there would be fetched from a server when the picture is shown.
    target.write_text(re.sub(r"@font-face \{.*?\}", "", picture, flags=re.DOTALL), encoding="utf-8")


if __name__ == "__main__":
    main()
