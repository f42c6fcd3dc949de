"""What an infrared result is and is not, for the small print of a report.

Owns: the sentences on the methods' standing, each with its source. Invariant: no sentence claims compliance.
"""

from __future__ import annotations

from typing import NamedTuple


class Sentence(NamedTuple):
    """One sentence and where it comes from."""

    text: str
    source: str

    def __str__(self) -> str:
        """The sentence with its source in brackets."""
        return f"{self.text} [{self.source}]"


COMPLIANCE_NOTE = (
    Sentence(
        "An infrared result is not a permit-compliance oil and grease result unless the authority says so.",
        "EPA 1664B, by what it says of infrared",
    ),
    Sentence(
        "EPA 413.2 and 418.1 were never approved at 40 CFR 136; the methods using CFC-113 were withdrawn in 2007.",
        "EPA 1664B",
    ),
    Sentence("Infrared is not an allowed change of EPA 1664.", "EPA 1664B"),
    Sentence(
        "The result depends on the method, the solvent, the reference oil and the cell; each is named in the report, "
        "or said there not to be given.",
        "common practice, no source",
    ),
)
"""For every report."""

_BY_UNIT = {
    "mg/L": (
        Sentence("HJ 637-2018 is for wastewater and domestic sewage.", "HJ 637-2018"),
        Sentence(
            "Its three-wavenumber equation needs a scanning instrument; at one wavelength it cannot be used.",
            "HJ 637-2018, from memory",
        ),
        Sentence("ISO 9377-2 is gas chromatography (GC-FID), not infrared.", "ISO 9377-2, abstract"),
    ),
    "mg/kg": (
        Sentence(
            "EPA SW-846 8440 is for supercritical-fluid extracts, and not for gasoline: a solid shaken with solvent is "
            "infrared after solvent extraction, not 8440.",
            "EPA SW-846 8440",
        ),
    ),
}


def standing(unit: str) -> tuple[Sentence, ...]:
    """The sentences for results in `unit`: `COMPLIANCE_NOTE`, then those about methods of that matrix."""
    return COMPLIANCE_NOTE + _BY_UNIT.get(unit, ())
