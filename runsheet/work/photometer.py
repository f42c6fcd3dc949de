"""A photometer that reads in something else.

Owns: what follows when the photometer is changed to absorbance, %T or mg/L: display step, setup checks, model.
Invariant: it is one step with the change, and refused once anything was read in what it read before.

The display step is the usual one of such a display where the change says none (common practice, no source).
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from runsheet.problem import Problem
from runsheet.run import edit
from runsheet.run.edit import EditError
from runsheet.work import new_run

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from typing import Any

    from runsheet.run.edit import Edit
    from runsheet.run.model import Run

STEPS = {"absorbance": Decimal("0.001"), "transmittance": Decimal("0.1"), "concentration": Decimal("0.1")}
IN_PERCENT = ("full-scale", "dark")
"""Setup checks that are always %T."""
OWN = ("warm-up",)
"""Setup checks a direct-reading analyser has too."""


def followed(run: Run, edits: Sequence[Edit]) -> list[Edit]:
    """The edits, with what follows from a photometer or a model among them. Raises EditError once anything was read."""
    wanted = {made.path: made.new for made in edits if made.action == "set"}
    reads = wanted.get("instrument.reads", run.instrument.reads) or "absorbance"
    models = {path: new for path, new in wanted.items() if path.startswith("calibration[") and path.endswith(".model")}
    if "instrument.reads" not in wanted and models:
        direct = any(new == "direct" for new in models.values())
        if direct != (reads == "concentration"):
            reads = "concentration" if direct else "absorbance"
    if reads == (run.instrument.reads or "absorbance"):
        return list(edits)
    if what := _read_already(run):
        message = (
            f"expected what the photometer read {what} in, {run.instrument.reads or 'absorbance'}: {what} was read"
        )
        raise EditError(Problem("instrument.reads", message))
    more = {"instrument.reads": reads, **({} if "instrument.step" in wanted else {"instrument.step": STEPS[reads]})}
    more |= dict(_models(run, reads, models))
    plain = [edit.set_value(run, path, new) for path, new in more.items() if path not in wanted]
    return [*edits, *(made for made in plain if made.old != made.new), *_setup(run, reads)]


def blank_limit_wanted(run: Run) -> str:
    """That the method's limit on a blank is in another unit than the photometer reads now, in words; or nothing.

    It is asked for, not computed: how many mg/L an absorbance is was never measured with this photometer.
    """
    limits, direct = run.method.blank, run.instrument.reads == "concentration"
    own, other = (None, None) if limits is None else (limits.concentration, limits.absorbance)
    if not direct or own is not None or other is None:
        return ""
    return f"the method's limit on a blank is {other} A, and this photometer reads mg/L"


def _read_already(run: Run) -> str:
    """What was read first, or nothing; a lamp that is on is no reading."""
    named = [*((each.check, each.readings) for each in run.setup), *((each.id, each.readings) for each in run.standard)]
    named += [(each.id, each.readings) for each in run.queue]
    return next((name for name, readings in named if readings), "")


def _models(run: Run, reads: str, chosen: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    """The models that fit: none to fit where the photometer itself gives mg/L, a line where it no longer does."""
    for at, calibration in enumerate(run.calibration, 1):
        path = f"calibration[{at}]"
        if (calibration.model == "direct") != (reads == "concentration") and f"{path}.model" not in chosen:
            yield f"{path}.model", "direct" if reads == "concentration" else "line"
        if reads == "concentration":
            yield f"{path}.weighting", None


def _setup(run: Run, reads: str) -> Iterator[Edit]:
    """The setup checks in what the photometer reads; a direct-reading one has its warm-up only."""
    if reads == "concentration":
        for at in range(len(run.setup), 0, -1):
            if run.setup[at - 1].check not in OWN:
                yield edit.remove_row(run, "setup", at)
        return
    for at, setup in enumerate(run.setup, 1):
        wanted = in_percent(setup.check, reads)
        if setup.reads != wanted:
            yield edit.set_value(run, f"setup[{at}].reads", wanted)
    here = {setup.check for setup in run.setup}
    missing = [each for each in new_run.setup(run.method) if each.check not in here]
    if run.instrument.reads == "concentration":
        for at, each in enumerate(missing, len(run.setup) + 1):
            made = edit.insert_row(run, "setup", 1, each)
            yield edit.Edit("insert", f"setup[{at}]", None, _with_reads(made.new, in_percent(each.check, reads)))


def in_percent(check: str, reads: str | None) -> str | None:
    """What a setup check is typed in: `transmittance` where it is %T though it is judged in absorbance."""
    judged = check not in (*IN_PERCENT, *OWN)
    return "transmittance" if judged and reads == "transmittance" else None


def _with_reads(new: Any, reads: str | None) -> Any:
    return {**new, "reads": reads} if reads else new
