"""Small runs, each clean but for one thing, with every finding, flag and state that must come of it.

Source: an independent reference written from the document's contract, not from this program. The examples hold every
finding that fails or warns, what each affects and whether it is acted on, all flags, the run's state and its fractions.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.make import command, near

FOLDER = Path(__file__).parents[2] / "fixtures" / "examples" / "verdicts"
CASES = sorted(FOLDER.glob("*.toml"))


def told(finding: dict[str, Any]) -> tuple[Any, ...]:
    """What is compared of a finding that fails or warns."""
    affects = tuple(sorted(finding["affects"]))
    return finding["rule"], tuple(finding["rows"]), finding["state"], affects, finding["acted_on"]


UNDECIDED = {ord("U"): None, ord("J"): None}


def at_a_limit(row: dict[str, Any]) -> bool:
    """Whether a result is its limit to 1e-9: the reference decides by the last digit of a float there, we do not."""
    limits = [row[name] for name in ("detection", "reporting") if row[name] is not None]
    return row["result"] is not None and any(near(limit) == row["result"] for limit in limits)


def flags(row: dict[str, Any]) -> str:
    """The flags of a row in one text, without those that are undecided."""
    return "".join(row["flags"]).translate(UNDECIDED if at_a_limit(row) else {})


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_a_run_comes_to_what_the_reference_says(path: Path) -> None:
    expected = json.loads(path.with_name(f"{path.stem}.expected.json").read_text(encoding="utf-8"))
    found = json.loads(command("results", str(path), "--as", "json", "--now", expected["now"]))
    raised = [finding for finding in found["quality"] if finding["state"] in ("fail", "warn")]
    assert sorted(map(told, raised)) == sorted(map(told, expected["quality"]))
    for wanted in expected["quality"]:
        same = [finding for finding in raised if told(finding) == told(wanted)]
        for name in ("value", "low", "high"):
            if wanted.get(name) is not None:
                assert [f[name] for f in same if f[name] is not None and near(wanted[name]) == f[name]]
    for row in found["rows"]:
        assert flags(row) == expected["flags"][row["id"]].translate(UNDECIDED if at_a_limit(row) else {})
    assert found["state"] == expected["state"]
    for name in set(expected) - {"now", "state", "quality", "flags"}:
        assert _within(expected[name], found[name])


def _within(wanted: Any, found: Any) -> bool:
    """Whether everything wanted is found, figures to the last digits."""
    if isinstance(wanted, dict):
        return all(_within(value, found[key]) for key, value in wanted.items())
    if isinstance(found, list) and isinstance(wanted, str):  # flags
        return "".join(found) == wanted
    if isinstance(wanted, list):
        return len(wanted) == len(found) and all(map(_within, wanted, found))
    return bool(found == near(wanted)) if isinstance(wanted, float) else bool(wanted == found)


def test_the_examples_are_there() -> None:
    assert len(CASES) >= 40
