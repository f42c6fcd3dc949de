"""The quality rules.

Owns: the list of rules, in the order findings are shown. A rule is a function from a `Day` to findings; a new one is a
function in the module it belongs to and its name in `RULES`. Invariant: rules about a row or a pair say every verdict,
the others speak only to warn or fail; nothing here changes the sheet.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.compute.quality import batch, curve, events, records, results, reviews

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from runsheet.compute.outcome import Finding
    from runsheet.compute.quality.day import Day

RULES: tuple[Callable[[Day], Iterator[Finding]], ...] = (
    curve.setup,
    curve.calibration,
    curve.dropped_levels,
    curve.reporting_limit,
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
    results.replicates,
    results.over_dilution,
    results.fractions,
    results.silica_gel,
    results.one_result,
    results.amounts,
    results.unit,
    records.holding,
    records.expiry,
    records.clock,
    reviews.review,
)


def judge(day: Day) -> tuple[Finding, ...]:
    """Take every rule's findings."""
    return tuple(finding for rule in RULES for finding in rule(day))
