"""What to do next at the setup checks: the lamp, a check to be made, one that fails.

Owns: the steps of the setup checks' table. Invariant: each is a `NextStep` of that table, or None where nothing is next
there. A check that fails is next only until something is read on it: from then on it is a finding, and making it again
would not mend that.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.compute.days import setup_time
from runsheet.compute.setup import reading_times
from runsheet.figures import counted
from runsheet.work import next_standard, to_come
from runsheet.work.step import NextStep

if TYPE_CHECKING:
    from runsheet.compute.results import Sheet


def to_be_done(sheet: Sheet) -> NextStep | None:
    """The lamp, else what it still warms up for, else a check that fails, else one to be made."""
    todo = [(at, result) for at, result in enumerate(sheet.setup) if result.state == "todo"]
    running = next((r for _, r in todo if r.setup.check == "warm-up" and r.setup.started), None)
    for at, result in todo:
        if result.setup.check == "warm-up":
            if result.setup.started is None:
                return _lamp(sheet, at)
            continue
        if running is not None:
            return NextStep("setup", at, f"warm up: {running.why}", f"then {result.setup.check}")
        return _failing(sheet) or NextStep("setup", at, f"setup check: {result.setup.check}", result.why)
    if running is None:
        return None if _all_read(sheet) else _failing(sheet)
    then = "everything waits for it" if next_standard.to_be_read(sheet) is None else "then the standards"
    return NextStep("setup", todo[0][0], f"warm up: {running.why}", then)


def _lamp(sheet: Sheet, at: int) -> NextStep:
    """A warm-up that is not started: for what is still to be read, or for checks added with it below earlier ones."""
    waits, on = "everything waits for it", "lamp on: press Enter to start the warm-up"
    if _all_read(sheet):
        coming = sum(other.state == "todo" for other in sheet.setup[at + 1 :])
        if not coming or all(other.state == "todo" for other in sheet.setup[:at]):
            words = "note when the lamp was put on, or remove the row"
            return NextStep("setup", at, words, "all is read, nothing waits for a warm-up")
        waits = f"{counted(coming, 'setup check')} wait{'s' * (coming == 1)} for it; all rows are read"
    return NextStep("setup", at, on, waits)


def _all_read(sheet: Sheet) -> bool:
    """Whether rows were read and nothing is left to read: a lamp put on now would warm up for nothing."""
    return (
        to_come.first_unread(sheet) is None
        and next_standard.to_be_read(sheet) is None
        and any(row.signals for row in sheet.rows)
    )


def _failing(sheet: Sheet) -> NextStep | None:
    """A check that fails, nothing was read on yet and nothing was done about: what is read now would stand on it."""
    read = reading_times(sheet.run)
    failing = (f for f in sheet.quality if f.rule == "setup" and f.state == "fail" and not f.acted_on)
    unanswered = {(finding.rows, finding.read_at) for finding in failing}
    for at, result in enumerate(sheet.setup):
        check, made = result.setup.check, setup_time(result.setup)
        if result.state != "fail" or ((check,), made) not in unanswered:
            continue
        comes = any(other.setup.check == check and other.state == "todo" for other in sheet.setup[at + 1 :])
        if not comes and (not read or (made is not None and read[-1] < made)):
            return NextStep("setup", at, f"{check} fails: put it right; i inserts it again", result.why)
    return None
