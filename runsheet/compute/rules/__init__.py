"""The quality rules.

Owns: the list of rules, in the order findings are shown. A rule is a function from a `Day` to findings; a new one is a
function in the module it belongs to and its name in `RULES`. Invariant: rules about a row or a pair say every verdict,
the others speak only to warn or fail; nothing here changes the sheet.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.compute.rules import batch, calibration, events, notebook, single_results, times

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from runsheet.compute.results import Finding
    from runsheet.compute.rules.computed import Day

RULES: tuple[Callable[[Day], Iterator[Finding]], ...] = (
    calibration.setup,
    calibration.calibration,
    calibration.dropped_levels,
    calibration.reporting_limit,
    events.due,
    events.blank,
    events.check,
    events.second_source,
    events.opening,
    events.blank_interval,
    events.check_interval,
    events.closing,
    events.carry_over,
    events.superseded,
    batch.batch,
    batch.method_blank,
    batch.control,
    batch.spike,
    batch.control_pair,
    batch.spike_pair,
    batch.duplicate,
    single_results.replicates,
    single_results.over_dilution,
    single_results.fractions,
    single_results.silica_gel,
    single_results.one_result,
    single_results.amounts,
    single_results.unit,
    times.holding,
    times.expiry,
    times.clock,
    notebook.review,
)


def judge(day: Day) -> tuple[Finding, ...]:
    """Take every rule's findings."""
    return tuple(finding for rule in RULES for finding in rule(day))
