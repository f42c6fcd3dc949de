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
            picture_text = asyncio.run(_draw(drive, presses))
            # The fonts named there would be fetched from a server when the picture is shown.
            bare = re.sub(r"@font-face \{.*?\}", "", picture_text, flags=re.DOTALL)
            (FIXTURES / "pictures" / f"{picture}.svg").write_text(bare, encoding="utf-8")


async def _draw(drive: Drive, presses: list[str]) -> str:
    app = RunsheetApp(drive.bench, "ansi-dark")
    async with app.run_test(size=drive.size) as pilot:
        await pilot.press(*presses)
        await pilot.pause()
        picture = app.export_screenshot(title="runsheet")
    drive.store.close()
    return picture


if __name__ == "__main__":
    main()
