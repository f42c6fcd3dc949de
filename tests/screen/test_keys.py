"""Keys: every command reachable, none twice, and a user's key file checked."""

from __future__ import annotations

import importlib

import pytest

from runsheet.screen import keys


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
        ("dilute = [", "Invalid"),
    ],
)
def test_a_bad_key_file_is_said_and_changes_nothing(text: str, said: str) -> None:
    made, problems = keys.customised(text)
    assert said in problems[0].message
    assert made == keys.COMMANDS
