"""Completion of the command line for three shells.

Owns: the scripts that a shell reads. Invariant: every command, option and choice in them comes from the parser, so that
none is offered that there is not, and none is missing.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any, NamedTuple

from runsheet import streams
from runsheet.exits import Exit

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

FOLDERS, FILES, RUNS = ("FOLDER", "folder"), ("OUT", "PORT"), ("file",)
"""What an argument is called that takes a folder, any file (a device is one), a run document."""


class Option(NamedTuple):
    """One option, and what it takes."""

    names: tuple[str, ...]
    words: str
    takes: str
    """"nothing", "choices", "folders", "files", "runs" or "text"."""
    choices: tuple[str, ...]


class Offered(NamedTuple):
    """What is offered after a command."""

    name: str
    words: str
    options: tuple[Option, ...]
    arguments: tuple[Option, ...]
    """What stands without a name, in order."""


def add(commands: Any, parser: Callable[[], argparse.ArgumentParser]) -> None:
    """Add the command to the others; `parser` makes the parser it is about."""
    made = commands.add_parser("completion", help="completion of this command line, for a shell to read")
    made.add_argument("shell", choices=tuple(SHELLS), help="the shell")
    made.set_defaults(command=lambda asked: _print(asked.shell, parser()))


def _print(shell: str, parser: argparse.ArgumentParser) -> int:
    streams.data("".join(f"{line}\n" for line in SHELLS[shell](tuple(offered(parser)))))
    return Exit.FINE


def offered(parser: argparse.ArgumentParser) -> Iterator[Offered]:
    """What each command of a parser takes; argparse names its parts with an underscore only."""
    commands = next(a for a in parser._actions if isinstance(a, argparse._SubParsersAction))  # noqa: SLF001
    helps = {action.dest: action.help or "" for action in commands._choices_actions}  # noqa: SLF001
    for name, below in commands.choices.items():
        made = [_option(action) for action in below._actions]  # noqa: SLF001
        yield Offered(
            name,
            helps.get(name, ""),
            tuple(each for each in made if each.names),
            tuple(each for each in made if not each.names),
        )


def _option(action: argparse.Action) -> Option:
    choices = tuple(map(str, action.choices or ()))
    called = action.metavar if isinstance(action.metavar, str) else action.dest
    kinds = {
        "nothing": action.nargs == 0,
        "choices": bool(choices),
        "folders": called in FOLDERS,
        "files": called in FILES,
        "runs": called in RUNS,
    }
    takes = next((kind for kind, holds in kinds.items() if holds), "text")
    return Option(tuple(action.option_strings), action.help or "", takes, choices)


# --- bash -------------------------------------------------------------------------------------------------------

_BASH_TAKES = {
    "folders": 'mapfile -t COMPREPLY < <(compgen -d -- "$word")',
    "files": 'mapfile -t COMPREPLY < <(compgen -f -- "$word")',
    "runs": 'mapfile -t COMPREPLY < <(compgen -f -X \'!*.toml\' -- "$word"; compgen -d -- "$word")',
    "text": "COMPREPLY=()",
}


def _bash_words(words: tuple[str, ...]) -> str:
    return f'mapfile -t COMPREPLY < <(compgen -W "{" ".join(words)}" -- "$word")'


def _bash_takes(option: Option) -> str:
    return _bash_words(option.choices) if option.takes == "choices" else _BASH_TAKES[option.takes]


def bash(commands: tuple[Offered, ...]) -> Iterator[str]:
    """Write the script of bash."""
    names = tuple(each.name for each in commands)
    yield "_runsheet() {"
    yield '  local word="${COMP_WORDS[COMP_CWORD]}" before="${COMP_WORDS[COMP_CWORD-1]}" all'
    yield f'  all="{" ".join(names)} --help --version"'
    yield '  if [ "$COMP_CWORD" -eq 1 ]; then'
    yield "    " + _BASH_TAKES["runs"]
    yield '    mapfile -t -O "${#COMPREPLY[@]}" COMPREPLY < <(compgen -W "$all" -- "$word")'
    yield "    return"
    yield "  fi"
    yield '  case "${COMP_WORDS[1]} $before" in'
    for command in commands:
        for option in command.options:
            if option.takes != "nothing":
                patterns = "|".join(f'"{command.name} {name}"' for name in option.names)
                yield f"    {patterns}) {_bash_takes(option)}; return;;"
    yield "  esac"
    yield '  case "${COMP_WORDS[1]} $word" in'
    for command in commands:
        yield f'    "{command.name} -"*) {_bash_words(tuple(n for o in command.options for n in o.names))};;'
        if command.arguments:
            yield f'    "{command.name} "*) {_bash_takes(command.arguments[0])};;'
    yield "  esac"
    yield "}"
    yield "complete -o filenames -F _runsheet runsheet"


# --- zsh --------------------------------------------------------------------------------------------------------

_ZSH_TAKES = {"folders": "_files -/", "files": "_files", "runs": "_files -g '*.toml'", "text": " "}


def _zsh_quoted(text: str) -> str:
    return text.replace("'", "'\\''").replace("[", "(").replace("]", ")").replace(":", ",").replace("`", "")


def _zsh_takes(option: Option) -> str:
    taken = f"({' '.join(option.choices)})" if option.takes == "choices" else _ZSH_TAKES[option.takes]
    return taken.replace("'", "'\\''")


def zsh(commands: tuple[Offered, ...]) -> Iterator[str]:
    """Write the script of zsh."""
    yield "#compdef runsheet"
    yield "_runsheet() {"
    yield "  if (( CURRENT == 2 )); then"
    yield "    local -a commands"
    yield "    commands=("
    yield from (f"      '{each.name}:{_zsh_quoted(each.words)}'" for each in commands)
    yield "    )"
    yield "    _describe command commands"
    yield "    _files -g '*.toml'"
    yield "    return"
    yield "  fi"
    yield "  local command=$words[2]"
    yield "  shift words; (( CURRENT-- ))"
    yield "  case $command in"
    for command in commands:
        told = [f"'{name}[{_zsh_quoted(o.words)}]{_zsh_after(o)}'" for o in command.options for name in o.names]
        told += [f"'{at}:{_zsh_quoted(o.words)}:{_zsh_takes(o)}'" for at, o in enumerate(command.arguments, 1)]
        yield f"    {command.name}) _arguments {' '.join(told)};;"
    yield "  esac"
    yield "}"
    yield "if [[ $funcstack[1] == _runsheet ]]; then _runsheet; else compdef _runsheet runsheet; fi"


def _zsh_after(option: Option) -> str:
    return "" if option.takes == "nothing" else f":value:{_zsh_takes(option)}"


# --- fish -------------------------------------------------------------------------------------------------------


_FISH_RUNS = "(__fish_complete_directories; for file in (commandline -ct)*.toml; echo $file; end)"


def _fish_quoted(text: str) -> str:
    return "'" + text.replace("\\", "\\\\").replace("'", "\\'") + "'"


def _fish_takes(option: Option) -> str:
    return {
        "nothing": "",
        "choices": f" -x -a {_fish_quoted(' '.join(option.choices))}",
        "folders": " -x -a '(__fish_complete_directories)'",
        "files": " -r -F",
        "runs": f" -x -a '{_FISH_RUNS}'",
        "text": " -x",
    }[option.takes]


def fish(commands: tuple[Offered, ...]) -> Iterator[str]:
    """Write the script of fish."""
    yield "complete -c runsheet -f"
    yield f"complete -c runsheet -n __fish_use_subcommand -a '{_FISH_RUNS}'"
    for command in commands:
        yield f"complete -c runsheet -n __fish_use_subcommand -a {command.name} -d {_fish_quoted(command.words)}"
        here = f"complete -c runsheet -n '__fish_seen_subcommand_from {command.name}'"
        for option in command.options:
            names = " ".join(f"-l {n[2:]}" if n.startswith("--") else f"-s {n[1:]}" for n in option.names)
            yield f"{here} {names} -d {_fish_quoted(option.words)}{_fish_takes(option)}"
        for option in command.arguments[:1]:
            if option.takes != "text":
                yield f"{here}{_fish_takes(option).replace(' -x', '')}"


SHELLS = {"bash": bash, "zsh": zsh, "fish": fish}
"""The shells there is a script for."""
