"""Standards and the model of their calibration.

Owns: what the keys of the standards pane change. Invariant: a standard is left out only with a reason.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, get_args

from runsheet.run import edit
from runsheet.run.model import Model, Weighting
from runsheet.screen import panes
from runsheet.screen.context import because, place_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from runsheet.screen.context import Context


def toggle_use(context: Context) -> None:
    """Leave a standard out with a reason, or use it again."""
    if context.item is None:
        return
    run, place = context.session.run, place_of(context)
    if not context.item.used:
        again = [edit.set_value(run, f"{place}.use", value=True), edit.set_value(run, f"{place}.reason", None)]
        context.commit(again, "" if context.session.question(again) else "used again")
        return
    off = edit.set_value(run, f"{place}.use", value=False)
    moved = context.session.moved([off])

    def leave_out(why: str) -> None:
        context.commit([off, edit.set_value(run, f"{place}.reason", why)], why)

    told = f" ({moved})" if moved else ""
    because(context, f"{context.item.standard.id} left out{told}, because:", leave_out)


def _turn_setting(field: str, values: tuple[str, ...]) -> Callable[[Context], None]:
    def turn(context: Context) -> None:
        at = _calibration_at(context)
        if at is None:
            context.say("there is no calibration")
            return
        calibration = context.session.run.calibration[at]
        if calibration.model == "direct":
            context.say("a direct run has no curve to choose")
            return
        if field == "weighting" and calibration.model == "mean-factor":
            context.say("the mean response factor has its own weighting, 1/x2")
            return
        now = getattr(calibration, field) or values[0]
        after = values[(values.index(now) + 1) % len(values)]
        context.commit(
            [edit.set_value(context.session.run, f"calibration[{at + 1}].{field}", after)],
            then=lambda: context.say(
                f"{calibration.id}: {field} {after}; {panes.STANDARDS.summary(context.session.sheet)}"
            ),
        )

    return turn


def _calibration_at(context: Context) -> int | None:
    """The calibration of the present standard, counted from 0."""
    calibrations = context.session.run.calibration
    item = context.item if context.active == "standards" else None
    wanted = item.standard.calibration if item is not None else None
    found = [at for at, calibration in enumerate(calibrations) if wanted in (None, calibration.id)]
    return found[-1] if found else None


model = _turn_setting("model", tuple(model for model in get_args(Model) if model != "direct"))
"""Turn to the next model."""
weighting = _turn_setting("weighting", get_args(Weighting))
"""Turn to the next weighting."""
