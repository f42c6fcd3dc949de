"""The scripts of completion, run by the shells that read them."""

from __future__ import annotations

import shutil
import subprocess
from typing import TYPE_CHECKING

import pytest

from runsheet.command import completion
from runsheet.command.main import ADDED, COMMANDS, _parser, main

if TYPE_CHECKING:
    from pathlib import Path

LINES = [
    ("report water.toml --as ", {"text", "markdown", "html"}),
    ("report water.toml --as h", {"html"}),
    ("find . x --as ht", {"html"}),
    ("new day.toml --me", {"--method"}),
    ("repo", {"report"}),
    ("check wat", {"water.toml"}),
    ("completion f", {"fish"}),
]


@pytest.fixture
def folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    """A folder with a run, another file, and the three scripts."""
    (tmp_path / "water.toml").touch()
    (tmp_path / "water.csv").touch()
    for shell in completion.SHELLS:
        assert main(["completion", shell]) == 0
        (tmp_path / f"script.{shell}").write_text(capsys.readouterr().out, encoding="utf-8")
    return tmp_path


def said(folder: Path, *words: str) -> set[str]:
    done = subprocess.run(words, cwd=folder, capture_output=True, text=True, check=True, timeout=60)
    assert done.stderr == ""
    return {line.strip().split("\t")[0] for line in done.stdout.splitlines()}


@pytest.mark.skipif(shutil.which("bash") is None, reason="there is no bash")
@pytest.mark.parametrize(("line", "expected"), LINES)
def test_bash_offers_what_the_parser_takes(line: str, expected: set[str], folder: Path) -> None:
    words = ["runsheet", *line.split(" ")]
    code = (
        f"source script.bash; COMP_WORDS=({' '.join(repr(word) for word in words)}); COMP_CWORD={len(words) - 1}; "
        "_runsheet; printf '%s\\n' \"${COMPREPLY[@]}\""
    )
    assert said(folder, "bash", "--norc", "-c", code) == expected


@pytest.mark.skipif(shutil.which("fish") is None, reason="there is no fish")
@pytest.mark.parametrize(("line", "expected"), LINES)
def test_fish_offers_what_the_parser_takes(line: str, expected: set[str], folder: Path) -> None:
    code = f"source script.fish; complete -C 'runsheet {line}'"
    assert said(folder, "fish", "--no-config", "-c", code) == expected


@pytest.mark.skipif(shutil.which("zsh") is None, reason="there is no zsh")
def test_zsh_reads_the_script_and_has_every_command(folder: Path) -> None:
    code = "autoload -U compinit; compinit -D; source script.zsh; print -l ${_comps[runsheet]}; which _runsheet"
    told = said(folder, "zsh", "-f", "-c", code)
    assert "_runsheet" in told
    assert {name for name in COMMANDS if any(line.startswith(f"({name})") for line in told)} == set(COMMANDS)


def test_every_command_and_every_option_of_the_parser_is_offered() -> None:
    offered = {each.name: each for each in completion.offered(_parser())}
    assert set(offered) == set(COMMANDS)
    assert all(each.words for each in offered.values())
    told = {shell: "\n".join(write(tuple(offered.values()))) for shell, write in completion.SHELLS.items()}
    for each in offered.values():
        for name in (name for option in each.options for name in option.names):
            assert all(name.lstrip("-") in text for text in told.values()), name


def test_a_command_alone_takes_what_it_takes_among_the_others() -> None:
    among = {each.name: each for each in completion.offered(_parser())}
    assert set(among) == set(COMMANDS)
    for name in COMMANDS:
        alone = {each.name: each for each in completion.offered(_parser(name))}
        assert alone[name] == among[name]
        assert set(alone) == next(set(names) for names in ADDED if name in names)
