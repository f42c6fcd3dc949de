"""Which port a screen reads.

Owns: `listen`. Invariant: a port a person named goes before the laboratory file's; whichever it is, how a line is read
is what that file says of the run's photometer.

The laboratory file's `output` of the photometer the run names is read without being asked for: who wrote it there
wanted it. `--from none` leaves it alone. Another photometer chosen in a run is read from the next opening on.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.exits import Refusal
from runsheet.port import named
from runsheet.screen.receiving import NOT_HERE

if TYPE_CHECKING:
    from runsheet.methods.laboratory import Laboratory, Output
    from runsheet.run.model import Run
    from runsheet.screen.bench import Bench


def output_of(run: Run, laboratory: Laboratory) -> Output | None:
    """What the laboratory file says of the output of the run's photometer; None where it says nothing."""
    mine = [each for each in laboratory.instrument if each.name == run.instrument.name]
    return mine[0].output if mine else None


def listen(bench: Bench) -> None:
    """Begin to read the port there is, or say why it is not read."""
    asked, session = bench.port, bench.session
    if asked == named.NONE:
        return
    output = output_of(session.run, session.laboratory)
    where = asked or (output.port if output is not None else None)
    if where is None:
        return
    if session.read_only:
        if asked:
            bench.say(" ".join(filter(None, (bench.message, NOT_HERE))))
        return
    try:
        bench.receiving.listen(named.named(where, output), output.pattern if output is not None else None)
    except Refusal as refusal:
        bench.say(f"the photometer is not read: {refusal}")
