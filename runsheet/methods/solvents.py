"""What is known of the extraction solvents: cautions, other names, and which of them infrared cannot use.

Owns: reading `solvents.toml`. Invariant: cautions are reminders and always end with the sentence that defers to the
data sheet, the laboratory's plan and local codes.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

from runsheet import tables


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """One reminder and where it comes from."""

    text: str
    source: str

    def __str__(self) -> str:
        """The reminder with its source in brackets."""
        return f"{self.text} [{self.source}]"


@dataclass(frozen=True, slots=True, kw_only=True)
class Solvent:
    """A solvent by its chemical name."""

    name: str
    aliases: tuple[str, ...] = ()
    refusal: str = ""
    """Why infrared cannot use it; empty where it can."""
    cautions: tuple[Caution, ...] = ()

    @property
    def infrared(self) -> bool:
        """Whether infrared can read an extract in it."""
        return not self.refusal


@dataclass(frozen=True, slots=True, kw_only=True)
class Solvents:
    """The whole of `solvents.toml`."""

    always: str
    unknown: str
    general: tuple[Caution, ...] = ()
    solvent: tuple[Solvent, ...] = ()


@functools.cache
def known() -> Solvents:
    """Read the data file. Raises ValueError where it is broken, which is a fault of the program."""
    from importlib.resources import files

    data, problems = tables.parse(files("runsheet.methods").joinpath("solvents.toml").read_text(encoding="utf-8"))
    made = tables.table(Solvents, data or {}, "", problems)
    if made is None or problems:
        raise ValueError("solvents.toml: " + "; ".join(map(str, problems)))
    return made


def find(name: str) -> Solvent | None:
    """Find a solvent by its name or another name of it; case, spaces and hyphens do not count."""
    key = _key(name)
    return next((each for each in known().solvent if key in map(_key, (each.name, *each.aliases))), None)


def cautions(name: str) -> tuple[str, ...]:
    """The reminders for a solvent, each with its source: its own, the general ones, and who decides."""
    solvent = find(name)
    own = map(str, solvent.cautions) if solvent else (known().unknown,)
    return (*own, *map(str, known().general), known().always)


def refusal(name: str) -> str:
    """Say why infrared cannot use a solvent; empty where nothing is known against it."""
    solvent = find(name)
    return solvent.refusal if solvent else ""


def _key(name: str) -> str:
    return "".join(letter for letter in name.casefold() if letter.isalnum())
