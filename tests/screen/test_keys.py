"""Keys: every command reachable, none twice, and a user's key file checked."""

from __future__ import annotations

import ast
import importlib
import re
from pathlib import Path

import pytest

from runsheet.screen import keys, pages
from tests.screen.driving import Drive


@pytest.mark.parametrize("command", keys.COMMANDS, ids=lambda command: command.name)
def test_every_command_has_its_function(command: keys.Command) -> None:
    module, _, name = command.does.partition(":")
    assert callable(getattr(importlib.import_module(f"runsheet.screen.{module}"), name))


@pytest.mark.parametrize("pane", keys.ALL)
def test_no_key_is_bound_twice_in_a_pane(pane: str) -> None:
    bound = [key for command in keys.COMMANDS if pane in command.panes for key in command.keys]
    assert len(bound) == len(set(bound))


def test_every_function_key_has_a_second_way() -> None:
    for command in keys.COMMANDS:
        if all(key.startswith("f") and key[1:].isdigit() for key in command.keys):
            assert command.name.startswith("pane_")  # [ and ] go round the panes


@pytest.mark.parametrize("key", ["ctrl+s", "ctrl+q", "ctrl+c"])
def test_keys_that_terminals_eat_are_not_used(key: str) -> None:
    assert all(key not in command.keys for command in keys.COMMANDS)
    assert all(set(command.keys) != {"ctrl+z"} for command in keys.COMMANDS)
    assert not any(name.startswith("alt+") for command in keys.COMMANDS for name in command.keys)


@pytest.mark.parametrize("pane", keys.ALL)
def test_the_footer_fits(pane: str) -> None:
    assert len(keys.footer(pane, 80)) <= 80
    assert "? help" in keys.footer(pane, 80)


def test_a_user_key_replaces_the_keys_of_a_command() -> None:
    made, problems = keys.customised('dilute = ["D", "f12"]')
    assert not problems
    assert keys.bindings("queue", made)["f12"].name == "dilute"
    assert "d" not in keys.bindings("queue", made)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('dilut = ["d"]', "did you mean dilute?"),
        ('dilute = "d"', "expected a list of keys"),
        ('dilute = ["r"]', "is the key of reread"),
        ('dilute = ["5"]', "is needed for typing"),
        ('dilute = ["enter"]', "is needed for typing"),
        ('dilute = ["+"]', "is needed for typing"),
        ('dilute = ["F12"]', "F12 is the name of no key"),
        ('dilute = ["?"]', "is the key of help"),
        ("dilute = [", "Invalid"),
    ],
)
def test_a_bad_key_file_is_said_and_changes_nothing(text: str, said: str) -> None:
    made, problems = keys.customised(text)
    assert said in problems[0].message
    assert made == keys.COMMANDS


def test_two_commands_may_exchange_their_keys() -> None:
    made, problems = keys.customised('dilute = ["r"]\nreread = ["d"]')
    assert not problems
    assert [keys.bindings("queue", made)[key].name for key in "rd"] == ["dilute", "reread"]


def test_where_one_of_two_keeps_its_keys_so_does_the_other() -> None:
    made, problems = keys.customised('dilute = ["r"]\nreread = ["v"]')
    assert [problem.path for problem in problems] == ["reread", "dilute"]
    assert made == keys.COMMANDS


OTHERS = {each.name: chr(ord("\u0430") + at) for at, each in enumerate(keys.COMMANDS)}
"""Another key for each command, none of them one it has."""


def moved() -> tuple[keys.Command, ...]:
    made, problems = keys.customised("\n".join(f'{name} = ["{key}"]' for name, key in OTHERS.items()))
    assert not problems
    return made


@pytest.mark.parametrize("phrase", list(keys.SAID))
def test_a_sentence_names_the_users_own_key(phrase: str) -> None:
    name = keys.SAID[phrase]
    ours = f"OS-08: {phrase.format(keys.of(name))}, then"
    assert keys.in_words(ours, keys.COMMANDS) == ours
    assert keys.in_words(ours, moved()) == f"OS-08: {phrase.format(keys.shown(OTHERS[name]))}, then"


def test_the_letter_of_a_word_is_no_key() -> None:
    assert keys.in_words("bad reads it", moved()) == "bad reads it"


def test_no_key_of_ours_is_in_sight_once_it_is_another(water: Path) -> None:
    """On the panes, in the lines below, in NEXT, in the help and on the pages."""
    drive = Drive(water)
    drive.bench.use_keys(moved())
    seen: list[str] = []
    drive.run(
        OTHERS["pane_standards"], then=lambda drive: seen.extend((*drive.screen(), *pages.help_texts(drive.bench)))
    )
    text = "\n".join(seen)
    assert f"{OTHERS['facts']} holds the facts of the run" in text
    assert f"{OTHERS['pane_quality']} QC status: " in text
    assert not re.search(r"\bF[2-5] |\b[B-Zb-z] (holds|shows|reads|plots|marks) |\{", text)


SOURCES = sorted(Path(keys.__file__).parents[1].rglob("*.py"))


def test_every_key_that_a_sentence_names_is_known() -> None:
    """Literals that name a key before a verb, as `N begins`: another one belongs into `SAID` too."""
    verbs = "reads|begins|plans|notes|issues|reviews|signs|shows|goes|types|says|edits|inserts|takes|lists|makes|asks"
    named = re.compile(rf"(?<![\w.'-])([B-Zb-z=]) (?:{verbs})\b")
    nodes = (node for path in SOURCES for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))))
    literals = (node.value for node in nodes if isinstance(node, ast.Constant) and isinstance(node.value, str))
    found = [each for each in literals if "\n" not in each and named.search(each)]
    assert len(found) > 10
    unknown = [each for each in found if keys.in_words(each, moved()) == each]
    assert unknown == []
