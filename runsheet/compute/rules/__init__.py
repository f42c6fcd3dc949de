"""The quality rules.

Owns: the list of rules, in the order findings are shown. A new one is a function in the module it belongs to and its
`Rule` in `RULES`. Invariant: rules about a row or a pair tell every verdict, the others speak only to warn or fail;
nothing here changes the sheet.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.compute.rules import (
    batch,
    choices,
    curves,
    events,
    notebook,
    photometer,
    receipt,
    single_results,
    times,
)
from runsheet.compute.rules.computed import RAISED
from runsheet.compute.rules.rule import Rule
from runsheet.compute.setup import SETUP_CHECKS

if TYPE_CHECKING:
    from runsheet.compute.results import Finding
    from runsheet.compute.rules.computed import Computed

SW846 = "EPA SW-846 8000D"
SETUP = tuple(dict.fromkeys(check.limit for check in SETUP_CHECKS.values()))
CURVE = ("levels", "r", "rse_percent", "level_error_percent", "lowest_error_percent")


def _below(table: str, *names: str) -> tuple[str, ...]:
    return tuple(f"{table}.{name}" for name in names)


RULES: tuple[Rule, ...] = (
    Rule("setup", "setup checks", photometer.setup, _below("setup", *SETUP), point="photometer"),
    Rule("calibration", "calibration", curves.calibration, _below("calibration", *CURVE), point="standards"),
    Rule("dropped-levels", "levels left out", curves.dropped_levels, source=SW846, point="standards"),
    Rule(
        "reporting-limit",
        "reporting limit and detection study",
        curves.reporting_limit,
        ("limits.reporting",),
        point="study",
    ),
    Rule("traceability", "lots", curves.traceability, point="standards"),
    Rule("calibration-choice", "choice of calibration", curves.calibration_choice, point="standards"),
    Rule(
        "due",
        "blanks and check standards due",
        events.due,
        ("blank.every_readings", "blank.every_minutes", "check.every_readings"),
        flag="",
        walked=False,
        point="brackets",
    ),
    Rule(
        "blank",
        "solvent blank",
        events.blank,
        ("blank.absorbance", "blank.concentration"),
        every_verdict=True,
        marks=True,
        point="blanks",
    ),
    Rule(
        "check",
        "check standard",
        events.check,
        ("check.recovery_percent",),
        every_verdict=True,
        marks=True,
        point="brackets",
    ),
    Rule(
        "second-source",
        "second source",
        events.second_source,
        ("check.second_source_percent",),
        every_verdict=True,
        marks=True,
        point="second source",
    ),
    Rule(
        "opening",
        "verification before the first sample",
        events.opening,
        ("check.recovery_percent", "check.second_source_percent"),
        point="brackets",
    ),
    Rule(
        "blank-interval",
        "interval between blanks",
        events.blank_interval,
        ("blank.every_readings", "blank.every_minutes"),
        point="blanks",
    ),
    Rule(
        "check-interval",
        "interval between check standards",
        events.check_interval,
        ("check.every_readings",),
        point="brackets",
    ),
    Rule("closing", "closing blank and check standard", events.closing, ("check.closing",), point="brackets"),
    Rule("carry-over", "carry-over", events.carry_over, point="dilutions"),
    Rule("superseded", "void blank or check standard not repeated", events.superseded, point="corrections"),
    Rule("voided-qc", "quality control voided", choices.voided_qc, point="corrections"),
    Rule("repeated-until-pass", "repeated until it passed", choices.repeated_until_pass, point="corrections"),
    Rule("batch", "quality control of the batch", batch.batch, ("batch.samples",), point="batch"),
    Rule(
        "method-blank",
        "method blank",
        batch.method_blank,
        ("limits.reporting",),
        below=True,
        every_verdict=True,
        marks=True,
        flag="",
        point="batch",
    ),
    Rule(
        "control",
        "control recovery",
        batch.control,
        ("batch.control_percent",),
        every_verdict=True,
        marks=True,
        point="batch",
    ),
    Rule(
        "spike", "spike recovery", batch.spike, ("batch.spike_percent",), every_verdict=True, marks=True, point="batch"
    ),
    Rule(
        "control-pair",
        "control and its duplicate",
        batch.control_pair,
        ("batch.pair_rpd_percent",),
        every_verdict=True,
        marks=True,
        point="batch",
    ),
    Rule(
        "spike-pair",
        "spike and its duplicate",
        batch.spike_pair,
        ("batch.pair_rpd_percent",),
        every_verdict=True,
        marks=True,
        point="batch",
    ),
    Rule(
        "duplicate",
        "duplicate",
        batch.duplicate,
        ("batch.duplicate_rpd_percent", "limits.reporting"),
        every_verdict=True,
        marks=True,
        point="batch",
    ),
    Rule("solvent-lot", "solvent of the extraction", batch.solvent_lot, point="batch"),
    Rule("field-blank", "blanks of the journey", batch.field_blank, ("limits.reporting",), point="batch", below=True),
    Rule(
        "replicates",
        "replicate readings",
        single_results.replicates,
        ("batch.replicate_percent",),
        every_verdict=True,
        point="dilutions",
        passes_counted=True,
    ),
    Rule(
        "over-range",
        "above the calibrated range",
        single_results.over_range,
        ("calibration.max_absorbance",),
        source=f"{SW846}: no extrapolation",
        point="dilutions",
    ),
    Rule("negative", "below zero", single_results.negative, ("limits.detection", "limits.reporting"), point="blanks"),
    Rule(
        "over-dilution", "diluted and read low", single_results.over_dilution, ("limits.reporting",), point="dilutions"
    ),
    Rule(
        "dilution-agreement",
        "two dilutions",
        single_results.dilution_agreement,
        ("batch.duplicate_rpd_percent",),
        point="dilutions",
    ),
    Rule(
        "result-chosen",
        "choice of result",
        choices.result_chosen,
        ("batch.duplicate_rpd_percent",),
        point="corrections",
    ),
    Rule(
        "fractions",
        "petroleum against oil and grease",
        single_results.fractions,
        source="EPA 1664B: petroleum hydrocarbons are part of oil and grease",
        point="weights",
    ),
    Rule("silica-gel", "silica gel", single_results.silica_gel, source="EPA 1664B", point="weights"),
    Rule("one-result", "one result a sample", single_results.one_result, actable=False, point="corrections"),
    Rule("amounts", "amounts and results", single_results.amounts, point="weights"),
    Rule("unit", "unit", single_results.unit, point="weights"),
    Rule(
        "holding",
        "holding times",
        times.holding,
        _below("holding", *map(times.limit_of, times.CLOCKS)),
        every_verdict=True,
        flag="H",
        point="times",
        passes_counted=True,
    ),
    Rule("receipt", "receipt", receipt.receipt, ("receipt.temperature_c", "receipt.ph_max"), flag="Y", point="times"),
    Rule("expiry", "expiry", times.expiry, point="standards"),
    Rule("clock", "times", times.clock),
    Rule("review", "typed again from the notebook", notebook.review, walked=False, point="corrections"),
)
BY_NAME = {rule.name: rule for rule in RULES}


def judge(run: Computed) -> tuple[Finding, ...]:
    """Every rule's findings; those that fail or warn say what they bear on."""
    return tuple(_settled(finding, run) for rule in RULES for finding in rule.judge(run))


def _settled(finding: Finding, run: Computed) -> Finding:
    """The finding with the results it bears on: none where it passes, those it names where its rule does not say."""
    if finding.state not in RAISED or finding.affects is not None:
        return finding
    return finding._replace(affects=run.reach.named(finding.rows))
