"""What a client gets: each sample's results as they are printed, both fractions together with their polar part.

Owns: which lines a client reads and what stands in each, for every format of a report. Invariant: samples and journey
blanks only; figures are the sheet's; a sample, or a fraction of it, without a result has its line and says so.

An uncertainty stands beside a figure only, never beside "<". The polar part has the limits of its oil-and-grease row.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from runsheet.compute import calibration
from runsheet.compute.limits import letters
from runsheet.figures import figure, when
from runsheet.run.kinds import CLIENTS, WORDS
from runsheet.run.model import Sample

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from runsheet.compute.results import FractionsResult, RowResult, Sheet

ANALYTES = {
    "oil_grease": "oil and grease",
    "petroleum": "petroleum hydrocarbons",
    "polar": "polar part",
}
"""Each fraction in words."""


class ClientResult(NamedTuple):
    """One line of a client's table."""

    sample: str
    analyte: str
    """In words; empty where the sample has no row."""
    result: str
    """As it is reported, or why there is none."""
    unit: str
    basis: str
    """Of a solid: dry, of dry weight, or as received; else empty."""
    expanded: float | None
    """U, where it stands beside a figure."""
    coverage: float | None
    confidence: float | None
    """Of U; None where k was chosen and not taken from t."""
    detection: float | None
    reporting: float | None
    flags: str
    """As printed: the method's letters where it has its own."""
    analysed: str
    client_id: str
    site: str
    collected: str
    rows: tuple[str, ...]
    """The rows it comes from."""
    given: tuple[str, ...] = ()
    """The flags, by our letters."""


def results(sheet: Sheet) -> tuple[ClientResult, ...]:
    """Every line, in the order the samples were first read, then of those no row reads."""
    rows = [row for row in sheet.rows if row.kind in CLIENTS]
    names = dict.fromkeys([*(row.sample for row in rows), *(sample.id for sample in sheet.run.sample)])
    return tuple(line for name in names for line in _of(name, [row for row in rows if row.sample == name], sheet))


def coverage(lines: tuple[ClientResult, ...]) -> str:
    """The k of every U with its confidence, as `k = 3.18, 95 %`; of several the commonest, then who has others."""
    having = _having(lines)
    most = max(having, key=lambda k: len(having[k]), default="")
    others = (f"{k} of {', '.join(_names(having[k], lines))}" for k in having if k != most)
    return ", save ".join(filter(None, (most, "; ".join(others))))


def one_coverage(lines: tuple[ClientResult, ...]) -> str:
    """The k of every U where it is one, for the head of a column; else `k` alone."""
    having = _having(lines)
    return next(iter(having)) if len(having) == 1 else "k"


def _having(lines: tuple[ClientResult, ...]) -> dict[str, list[ClientResult]]:
    """The lines with a U, by their k."""
    having: dict[str, list[ClientResult]] = {}
    for line in lines:
        if line.expanded is not None:
            having.setdefault(_k(line), []).append(line)
    return having


def _names(some: list[ClientResult], lines: tuple[ClientResult, ...]) -> dict[str, None]:
    """The samples of some lines, with the analyte where another line of the sample is none of them."""
    whole = {line.sample for line in some} - {
        line.sample for line in lines if line.expanded is not None and line not in some
    }
    return dict.fromkeys(line.sample if line.sample in whole else f"{line.sample} {line.analyte}" for line in some)


def _k(line: ClientResult) -> str:
    sure = "" if line.confidence is None else f", {line.confidence * 100:g} %"
    return f"k = {figure(line.coverage, 3)}{sure}" if line.coverage is not None else "k not known"


def _of(name: str, rows: list[RowResult], sheet: Sheet) -> Iterator[ClientResult]:
    if not rows:
        yield _line(name, sheet)._replace(result="no row reads it")
    reporting = [row for row in rows if row.reports]
    gone = lost(rows)
    for fraction in ANALYTES:
        for row in reporting:
            if row.fraction == fraction:
                yield _read(row, sheet)
        for row in gone:
            if row.fraction == fraction:
                yield _line(name, sheet)._replace(analyte=_analyte(row), result="no result")
    for made in sheet.fractions:
        if made.sample == name:
            yield _polar(made, reporting, sheet)


def lost(rows: Sequence[RowResult]) -> list[RowResult]:
    """Of each sample and fraction whose rows are all void or superseded the last row: nothing is reported of it.

    Whether the fraction was asked for the document does not say. A result that is missing in silence is worse than a
    line too many, and a row typed with the wrong fraction can still be given its own.
    """
    last = {(row.sample, row.fraction): row for row in rows if row.kind in CLIENTS}
    reporting = {(row.sample, row.fraction) for row in rows if row.reports}
    return [row for key, row in last.items() if key not in reporting]


def _line(name: str, sheet: Sheet) -> ClientResult:
    """A line with nothing but what is known of the sample."""
    sample = next((each for each in sheet.run.sample if each.id == name), Sample(id=name))
    known = (sample.client_id or "", sample.site or "", when(sample.collected))
    return ClientResult(name, "", "", "", "", None, None, None, None, None, "", "", *known, ())


def _analyte(row: RowResult) -> str:
    return ANALYTES[row.fraction] + ("" if row.kind == "sample" else f", {WORDS[row.kind]}")


def _read(row: RowResult, sheet: Sheet) -> ClientResult:
    line = _line(row.sample, sheet)._replace(
        analyte=_analyte(row), unit=row.unit or "", basis=basis(row), rows=(row.id,)
    )
    if not row.counted:
        return line._replace(result="not read yet")
    line = line._replace(
        result=row.reported or "no result",
        detection=row.detection,
        reporting=row.reporting,
        flags=row.letters,
        given=row.flags,
        analysed="" if row.row.at is None else row.row.at.date().isoformat(),
    )
    return _with_uncertainty(line, row.expanded, [row], sheet)


def _polar(made: FractionsResult, rows: list[RowResult], sheet: Sheet) -> ClientResult:
    whole, part = (
        next(row for row in reversed(rows) if row.is_reported and row.fraction == fraction)
        for fraction in ("oil_grease", "petroleum")
    )
    printed = letters(sheet.run.method)
    line = _read(whole, sheet)._replace(
        analyte=ANALYTES["polar"],
        result=made.reported["polar"] or "no result",
        flags="".join(printed[flag] for flag in made.flags),
        given=made.flags,
        analysed="",
        rows=(whole.id, part.id),
    )
    return _with_uncertainty(line, made.expanded, [whole, part], sheet)


def _with_uncertainty(line: ClientResult, expanded: float | None, rows: list[RowResult], sheet: Sheet) -> ClientResult:
    """The line with U, its k and its confidence, where its result is a figure."""
    if not expanded or line.result.startswith("<"):
        return line._replace(expanded=None, coverage=None, confidence=None)
    widest = max(rows, key=lambda row: row.coverage or 0)
    return line._replace(expanded=expanded, coverage=widest.coverage, confidence=_confidence(widest, sheet))


def _confidence(row: RowResult, sheet: Sheet) -> float | None:
    """The confidence k was taken from t at; None where it was chosen."""
    uncertainty = sheet.run.method.uncertainty
    if row.calibration is None or row.calibration.direct or (uncertainty and uncertainty.coverage is not None):
        return None
    return calibration.confidence(row.calibration.calibration)


def basis(row: RowResult) -> str:
    """What a mg/kg is a kg of; empty for any other unit."""
    if row.amounts is None or row.unit != "mg/kg":
        return ""
    return "as received" if row.amounts.solids_percent is None else "dry"
