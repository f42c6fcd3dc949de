"""What stands below a table: each fact is the run's own, and what it does not say is said to be missing."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from runsheet import evaluate, methods
from runsheet.screen import notes, panes
from runsheet.work import new_run
from tests.make import NOW, at, row, run, standards

if TYPE_CHECKING:
    from runsheet.run.model import Run

TIME = datetime.fromisoformat(NOW)


def told(made: Run) -> list[str]:
    return notes.setup(evaluate(made, TIME))


def test_a_new_run_states_nothing_that_nobody_typed() -> None:
    method = methods.find("og-water")
    assert method is not None
    made = new_run.new("first", method, TIME)
    assert "Cell: not given" in told(made)
    assert "Solvent: tetrachloroethylene, no lot" in told(made)
    (curve,) = made.calibration
    assert (curve.cell_mm, curve.material, curve.solvent_lot) == (None, None, None)


def test_a_display_step_that_is_not_given_is_none() -> None:
    named = {"name": "bench photometer", "reads": "absorbance"}
    assert told(run([row("A", 0.25)], instrument=named))[0].endswith("reads absorbance, display step not given")
    assert told(run([row("A", 0.25)], instrument=named | {"step": 0.001}))[0].endswith("display step 0.001")


def test_a_calibration_without_a_cell_beside_one_that_has_is_named() -> None:
    two = [{"id": "C1", "model": "line", "cell_mm": 10}, {"id": "C2", "model": "line"}]
    levels = [*standards(calibration="C1"), *standards(calibration="C2", name="R")]
    assert "Cell: C1 10 mm, C2 not given" in told(run([row("A", 0.25)], calibration=two, standard=levels))


def test_how_steady_a_photometer_is_that_reads_transmittance_is_told_in_absorbance() -> None:
    def steady(*readings: float, **more: Any) -> list[str]:
        check = {"check": "stability", "readings": list(readings), "at": at(10)} | more
        return [line for line in told(run([row("A", 0.25)], setup=[check])) if line.startswith("Stability")]

    assert steady(0.0, 0.001) == ["Stability: drift +0.0010 A, noise 0.0007 A over 2 readings"]
    assert steady(100.0, 99.8, reads="transmittance") == ["Stability: drift +0.0009 A, noise 0.0006 A over 2 readings"]
    assert steady(100.0, 0.0, reads="transmittance") == []


def test_no_standard_is_the_worst_where_none_is_off() -> None:
    """It said `worst S1 -0.0 %` of a line that all standards lie on."""
    pane = next(pane for pane in panes.PANES if pane.name == "standards")
    assert "worst" not in pane.summary(evaluate(run([row("A", 0.25)]), TIME))
    bent = standards(ys=[0.05, 0.1, 0.21, 0.4, 0.8])
    assert "worst" in pane.summary(evaluate(run([row("A", 0.25)], standard=bent), TIME))


def test_of_several_calibrations_the_last_is_judged_first() -> None:
    """Two lines have room below the standards of two on a small screen: they told of the morning's alone."""
    two = [{"id": "C1", "model": "line"}, {"id": "C2", "model": "line"}]
    unread = [each | {"readings": []} for each in standards(calibration="C2", name="R")]
    levels = [*standards(calibration="C1"), *unread]
    said = notes.standards(evaluate(run([], calibration=two, standard=levels), TIME))
    assert [each.split(":")[0] for each in said] == ["C2 todo", "C1 pass"]
