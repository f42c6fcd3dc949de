"""The kinds of row, and every set of them that means something, once.

Owns: which kinds there are, what the trade calls them, and the sets the rest of the program asks for. Invariant: a set
of kinds is written here and nowhere else, so that a new kind has one place to say what it is.
"""

from __future__ import annotations

from typing import Literal

Kind = Literal[
    "sample",
    "blank",
    "check",
    "second-source",
    "method-blank",
    "control",
    "control-duplicate",
    "duplicate",
    "spike",
    "spike-duplicate",
    "detection-spike",
    "capability",
    "field-blank",
    "equipment-blank",
    "trip-blank",
]
Event = Literal["blank", "check"]

ABBREVIATIONS: dict[str, str] = {
    "sample": "",
    "blank": "SB",
    "check": "CCV",
    "second-source": "ICV",
    "method-blank": "MB",
    "control": "LCS",
    "control-duplicate": "LCSD",
    "duplicate": "DUP",
    "spike": "MS",
    "spike-duplicate": "MSD",
    "detection-spike": "MDLS",
    "capability": "IDC",
    "field-blank": "FB",
    "equipment-blank": "EB",
    "trip-blank": "TB",
}
"""What the trade calls each kind of row. SB is the solvent blank."""

WORDS: dict[str, str] = {
    "sample": "sample",
    "blank": "solvent blank",
    "check": "continuing calibration verification (check standard)",
    "second-source": "initial calibration verification (second source)",
    "method-blank": "method blank",
    "control": "laboratory control sample",
    "control-duplicate": "laboratory control sample duplicate",
    "duplicate": "duplicate",
    "spike": "matrix spike",
    "spike-duplicate": "matrix spike duplicate",
    "detection-spike": "MDL spike",
    "capability": "initial demonstration of capability",
    "field-blank": "field blank",
    "equipment-blank": "equipment blank",
    "trip-blank": "trip blank",
}
"""Each kind in words, as a legend has them."""

SEVERAL: dict[str, str] = {
    "check": "continuing calibration verifications (check standards)",
    "second-source": "initial calibration verifications (second sources)",
    "capability": "initial demonstrations of capability",
}
"""More than one of a kind, where an s at its end does not say it."""


def spoken(kind: str) -> str:
    """A kind as a sentence says it: a check alone might be a setup check."""
    return "check standard" if kind == "check" else kind.replace("-", " ")


EVENTS: tuple[Event, ...] = ("blank", "check")
"""They open and close brackets, and fall due."""
CHECK_STANDARDS = ("check", "second-source")
"""Judged by what they recover of a certified value."""
SOLVENT_STANDARDS = ("blank", *CHECK_STANDARDS)
"""They have no sample behind them, so no amounts and no result, and none is ever a reported row."""
CONTROLS = ("control", "control-duplicate")
SPIKES = ("spike", "spike-duplicate")
WITH_PARENT = ("duplicate", *SPIKES)
"""They name the field sample they belong to."""
ADDED = (*CONTROLS, *SPIKES, "capability", "detection-spike")
"""A known mass was added to them."""
STUDIES = ("detection-spike", "capability")
"""They give results and have no verdict within the run."""
JOURNEY_BLANKS = ("field-blank", "equipment-blank", "trip-blank")
"""Clean water or soil that made the samples' journey: reported as a sample is, no field sample of a batch."""
CLIENTS = ("sample", *JOURNEY_BLANKS)
"""What a client gets a result for."""
FIELD = ("sample", *WITH_PARENT)
"""A bottle from the field."""
PREPARED = ("method-blank", *CONTROLS, *STUDIES)
"""The bench makes them itself."""
NOMINAL = (*PREPARED, *JOURNEY_BLANKS)
"""They take the nominal amounts where none are given."""
OF_BATCH = ("method-blank", *CONTROLS)
"""What they say, they say of their batch and fraction."""
REPEATED = (*CHECK_STANDARDS, "method-blank", "control")
"""Kinds of which several outside their limits, before one within, are told."""
BLANKABLE = ("sample", "duplicate")
"""What a method blank gives its flag to."""
PAIRS = {"control": "control-duplicate", "spike": "spike-duplicate"}
"""The first of a pair and its second."""
STUDIED = (*STUDIES, "method-blank")
"""What a detection study or a demonstration is made of."""
VERIFYING = (*SOLVENT_STANDARDS, "method-blank", *CONTROLS, *WITH_PARENT)
"""Quality control with limits of its own: voiding one that was outside them is told."""
