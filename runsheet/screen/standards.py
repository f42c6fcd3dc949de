"""Standards and the model of their calibration.

Owns: what the keys of the standards pane change. Invariant: a standard is left out only with a reason.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, get_args

from runsheet.run import edit
from runsheet.run.model import Model, Weighting
from runsheet.screen import panes
from runsheet.screen.commands import place_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from runsheet.screen.bench import Bench


def toggle_use(bench: Bench) -> None:
    """Leave a standard out with a reason, or use it again."""
    if bench.grid.item is None:
        return
    run, place = bench.run_document, place_of(bench)
    if not bench.grid.item.used:
        bench.commit([edit.set_value(run, f"{place}.use", value=True)], "used again")
        return

    def answer(text: str) -> None:
        if not text.strip():
            bench.say("nothing changed: a reason is needed")
        else:
            edits = [
                edit.set_value(run, f"{place}.use", value=False),
                edit.set_value(run, f"{place}.reason", text.strip()),
            ]
            bench.commit(edits, text.strip())

    bench.ask(f"{bench.grid.item.standard.id} left out, because:", answer)


def _turn_setting(field: str, values: tuple[str, ...]) -> Callable[[Bench], None]:
    def turn(bench: Bench) -> None:
        at = _calibration_at(bench)
        if at is None:
            bench.say("there is no calibration")
            return
        calibration = bench.run_document.calibration[at]
        if calibration.model == "direct":
            bench.say("a direct run has no curve to choose")
            return
        now = getattr(calibration, field) or values[0]
        after = values[(values.index(now) + 1) % len(values)]
        bench.commit([edit.set_value(bench.run_document, f"calibration[{at + 1}].{field}", after)])
        bench.say(f"{calibration.id}: {field} {after}; {panes.STANDARDS.summary(bench.sheet)}")

    return turn


def _calibration_at(bench: Bench) -> int | None:
    """Give the calibration of the present standard, counted from 0."""
    calibrations = bench.run_document.calibration
    item = bench.grid.item if bench.active == "standards" else None
    wanted = item.standard.calibration if item is not None else None
    found = [at for at, calibration in enumerate(calibrations) if wanted in (None, calibration.id)]
    return found[-1] if found else None


model = _turn_setting("model", tuple(model for model in get_args(Model) if model != "direct"))
"""Turn to the next model."""
weighting = _turn_setting("weighting", get_args(Weighting))
"""Turn to the next weighting."""
