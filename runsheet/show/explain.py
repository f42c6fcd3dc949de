"""Why this number: each calculated figure with its formula, the numbers in it, its unit and its source.

Owns: the words of a worked calculation, the same on the screen and in the report. Invariant: every figure shown here is
read from the sheet; nothing is computed a second time.

A figure that is computed on with has more digits than what comes of it (`_whole`), so that a reader with a calculator
gets what is printed, also of a reading near the zero.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from runsheet.compute import limits
from runsheet.compute.amounts import nominal_factor
from runsheet.compute.brackets import asked_for, blank_limit
from runsheet.compute.compare import below
from runsheet.compute.readings import relative_parts
from runsheet.compute.setup import SETUP_CHECKS
from runsheet.figures import figure
from runsheet.methods.words import source_of
from runsheet.run.kinds import CHECK_STANDARDS, EVENTS, SPIKES, spoken
from runsheet.run.model import ReportingLimits
from runsheet.show import findings, stands_on
from runsheet.show.columns import flag_words, setup_value

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.compute.results import CalibrationResult, RowResult, SetupResult, Sheet, StandardResult


class Step(NamedTuple):
    """One step of a calculation."""

    figure: str
    """The name of the figure, as in the columns."""
    formula: str
    numbers: str
    """The formula with its numbers, and what comes of it with its unit."""
    source: str


def steps(row: RowResult, sheet: Sheet) -> tuple[Step, ...]:
    """Every step from a row's readings to what is reported."""
    if row.void or not row.counted:
        return ()
    return tuple(step for part in _PARTS for step in part(row, sheet))


def lines(row: RowResult, sheet: Sheet, key: str) -> list[str]:
    """Explain one column of a row, in words for a screen; empty where there is nothing to explain."""
    if key == "state":
        return [_state_words(row, sheet)]
    if key == "flags":
        return [line for flag in row.flags for line in _flag(flag, row, sheet)] or ["no flags"]
    wanted = {"reported": ("reported", "result")}.get(key, (key,))
    found = [step for step in steps(row, sheet) if step.figure in wanted]
    return [text for step in found for text in (f"{step.formula}", f"  {step.numbers}", f"  {step.source}")]


def _flag(flag: str, row: RowResult, sheet: Sheet) -> list[str]:
    """A flag in words, with the letter that is printed where the method prints another, and what gave it."""
    letter = limits.letters(sheet.run.method)[flag]
    printed = flag if letter == flag else f"{flag}, printed {letter}"
    return [
        f"{printed}: {flag_words(sheet.run.method)[flag]}",
        *(f"  {why}" for why in stands_on.reasons(row, sheet, flag)),
    ]


def _whole(value: float | None) -> str:
    """A figure that is computed on with: seven digits."""
    return figure(value, 7)


def _whole_signal(value: float | None) -> str:
    """A signal that is computed on with: four decimals, up to nine where there are more."""
    if value is None:
        return ""
    whole, _, decimals = f"{round(value, 9) + 0.0:.9f}".partition(".")  # -0.0 + 0.0 is 0.0
    return f"{whole}.{decimals.rstrip('0').ljust(4, '0')}"


def _signal_unit(sheet: Sheet) -> str:
    return "mg/L" if sheet.run.instrument.reads == "concentration" else "A"


def _mean(row: RowResult, sheet: Sheet) -> Iterator[Step]:
    typed = " ".join(str(reading) for reading in row.row.readings)
    if sheet.run.instrument.reads == "transmittance":
        values = " ".join(_whole_signal(value) for value in row.signals)
        yield Step("signals", "A = -log10(T / 100)", f"{typed} %T -> {values} A", "definition of absorbance")
    values = " + ".join(_whole_signal(value) for value in row.signals)
    n = len(row.signals)
    numbers = (
        f"({values}) / {n} = {_whole_signal(row.mean)} {_signal_unit(sheet)}"
        if n > 1
        else f"{_whole_signal(row.mean)} {_signal_unit(sheet)}"
    )
    yield Step("mean", "mean of the readings", numbers, "one reading is one filling of the cell")


def _drift(row: RowResult, sheet: Sheet) -> Iterator[Step]:
    if row.drift is None or row.net is None or row.calibration is None:
        return
    unit = _signal_unit(sheet)
    zero = "from the zero of {}" if row.calibration.zero_read else "no zero standard of {} is read and used"
    blank = f"from blank {row.drift_from}" if row.drift_from else zero.format(row.calibration.id)
    treatment = row.calibration.calibration.zero_standard or "subtract"
    kept = f", less the zero {_whole_signal(row.calibration.zero)}, which the standards keep"
    relative = "" if treatment == "subtract" else kept
    mode = row.calibration.calibration.drift or "last"
    yield Step(
        "drift",
        f"baseline, {mode}: what clean solvent reads",
        f"{blank}{relative}: {_whole_signal(row.drift)} {unit}",
        "the calibration's own setting" if row.calibration.calibration.drift else "the calibration says nothing else",
    )
    yield Step(
        "net",
        "net = mean - baseline",
        f"{_whole_signal(row.mean)} - {_whole_signal(row.drift)} = {_whole_signal(row.net)} {unit}",
        "zero and blanks, common practice, no source",
    )


def curve_words(result: CalibrationResult, more: int = 0) -> str:
    """Write the equation of a curve with its figures, with so many more digits where they are computed on with."""
    curve = result.curve
    if curve is None:
        return "displayed concentration" if result.direct else "no curve yet"
    a, b = curve.coefficients[0], curve.coefficients[1]
    terms = [figure(a, 5 + more)] if 0 in curve.powers else []
    terms.append(f"{figure(b, 6 + more)} x")
    if curve.model == "quadratic":
        terms.append(f"{figure(curve.coefficients[2], 5 + more)} x^2")
    return "y = " + " + ".join(terms)


MORE = 2
"""Digits of a curve's figures in a calculation beyond those its equation is told with."""

_INVERSE = {
    "line": "Cx = (net - a) / b",
    "line-through-zero": "Cx = net / b",
    "mean-factor": "Cx = net / mean factor",
    "quadratic": "Cx = the root of a + b x + c x^2 = net nearest the middle of the range",
    "direct": "Cx = net, as displayed",
}


def _extract(row: RowResult, _sheet: Sheet) -> Iterator[Step]:
    calibration = row.calibration
    if calibration is None or row.extract is None or row.kind == "blank":
        return
    model = calibration.calibration.model
    curve = calibration.curve
    net = _whole_signal(row.net)
    numbers = f"{curve_words(calibration, MORE)}; net {net}"
    if curve is not None and model != "quadratic":
        a, b = map(_whole, curve.coefficients[:2])
        top = f"({net} - {a})" if model == "line" else net
        numbers = f"{top} / {b}"
    yield Step(
        "extract",
        f"{_INVERSE[model]}, calibration {calibration.id}",
        f"{numbers} = {figure(row.extract, 5)} mg/L of extract",
        "inverse of the calibration",
    )


_FACTORS = {
    "water": "factor = extract mL x dilution / sample mL",
    "solid": "factor = extract mL x dilution / sample g",
    "wipe": "factor = extract mL x dilution / 1000",
    "extract": "factor = dilution",
}


def _factor(row: RowResult, _sheet: Sheet) -> Iterator[Step]:
    amounts = row.amounts
    if amounts is None or row.factor is None or row.result is None:
        return
    formula = _FACTORS[amounts.matrix]
    parts = [_whole(amounts.extract_ml)] if amounts.matrix != "extract" else []
    parts.append(_whole(amounts.dilution))
    numbers = " x ".join(parts)
    if amounts.matrix == "wipe":
        numbers += " / 1000"
        if amounts.amount is not None:
            formula, numbers = formula + " x 100 / area cm2", f"{numbers} x 100 / {_whole(amounts.amount)}"
    elif amounts.matrix != "extract":
        numbers += f" / {_whole(amounts.amount)}"
    if amounts.solids_percent is not None:
        formula, numbers = formula + " / (solids % / 100)", f"{numbers} / {_whole(amounts.solids_percent / 100)}"
    yield Step("factor", formula, f"{numbers} = {figure(row.factor, 6)}", "EPA 418.1, SW-846 8440")
    yield Step(
        "result",
        "result = Cx x factor",
        f"{_whole(row.extract)} x {_whole(row.factor)} = {figure(row.result, 5)} {row.unit}",
        "EPA 418.1, SW-846 8440",
    )


def _uncertainty(row: RowResult, sheet: Sheet) -> Iterator[Step]:
    if not row.expanded or row.u_extract is None or row.factor is None:
        return
    parts = relative_parts(sheet.run.method.uncertainty)
    if row.amounts is None or row.amounts.dilution <= 1:
        parts.pop("dilution", None)
    named = ", ".join(f"{name} {percent:g} %" for name, percent in parts.items()) or "none"
    yield Step(
        "U",
        "U = k x factor x sqrt(u(Cx)^2 + Cx^2 x sum of the relative parts squared)",
        f"k {_whole(row.coverage)}, u(Cx) {_whole(row.u_extract)} mg/L, parts: {named}: "
        f"U = {figure(row.expanded, 2)} {row.unit}",
        (
            "scatter of the readings, or the display step"
            if row.calibration and row.calibration.direct
            else "inverse prediction, Miller & Miller chapter 5"
        )
        + ("" if sheet.uncertainty_complete else "; instrument and volumes only"),
    )


def _limits(row: RowResult, sheet: Sheet) -> Iterator[Step]:
    limits = sheet.run.method.limits or ReportingLimits()
    if row.factor is None:
        return
    for name, value, limit in (
        ("detection", row.detection, limits.detection),
        ("reporting", row.reporting, limits.reporting),
    ):
        if value is None:
            continue
        floor, source = "", source_of(sheet.run.method, f"limits.{name}")
        nominal = nominal_factor(sheet.run.method)
        own = f"method's {limit} x {_whole(row.factor)} / {_whole(nominal)}"
        if name == "reporting" and row.calibration and row.calibration.low is not None and not row.calibration.direct:
            lowest = f"lowest standard {_whole(row.calibration.low)} mg/L"
            floor = f", or the {lowest} x factor where larger"
            mine = None if limit is None or not nominal else float(limit) / nominal * row.factor
            if mine is None or below(mine, value):
                less = "the method has none" if limit is None else f"method's {limit} comes to less"
                own = f"{less}, {lowest} x {_whole(row.factor)}"
                source = f"the standards of {row.calibration.calibration.id}"
        yield Step(
            name,
            f"{name} limit = method's x factor / nominal factor{floor}",
            f"{own} = {figure(value)} {row.unit}",
            source,
        )


def _quality(row: RowResult, _sheet: Sheet) -> Iterator[Step]:
    if row.recovery_percent is not None and row.kind in CHECK_STANDARDS:
        numbers = f"{_whole(row.extract)} / {row.row.expected} x 100 = {row.recovery_percent:.2f} %"
        yield Step("recovery_percent", "recovery = Cx / expected x 100", numbers, "EPA 1664B, SW-846 8000D")
    elif row.recovery_percent is not None:
        yield _found_mass(row)
    other = row.pair_with or row.compared_with
    if row.rpd_percent is not None and other is not None and row.result is not None and other.result is not None:
        low, high = sorted((row.result, other.result))
        numbers = f"({_whole(high)} - {_whole(low)}) / {_whole((low + high) / 2)} x 100 = {row.rpd_percent:.2f} %"
        formula = f"RPD = difference / mean x 100, on concentrations, with {other.id}"
        yield Step("rpd_percent", formula, numbers, "EPA 1664B")


def _found_mass(row: RowResult) -> Step:
    """The recovery of what was added to a bottle."""
    parent, response = row.compared_with, row.row.response_factor
    result, less = "result", ""
    if row.kind in SPIKES:
        result = "(result - parent's result)"
        if parent is not None and parent.result is not None:
            zero = "" if parent.result >= 0 else ", below 0 and taken as 0"
            result, less = f"(result - that of {parent.id}{zero})", f" - {_whole(max(0.0, parent.result))}"
    by = "" if response is None else " / response factor"
    formula = f"recovery = {result} x m / added mg x 100{by}; m = extract mL x dilution / (1000 x factor)"
    mass = _whole(row.amounts.mass_factor if row.amounts else None)
    of = f"({_whole(row.result)}{less})" if less else _whole(row.result)
    by = "" if response is None else f" / {response}"
    numbers = f"{of} x {mass} / {row.row.added_mg} x 100{by} = {row.recovery_percent:.2f} %"
    return Step("recovery_percent", formula, numbers, "EPA 1664B, SW-846 8000D")


def _reported(row: RowResult, sheet: Sheet) -> Iterator[Step]:
    if row.reported is None or row.result is None:
        return
    figures = sheet.run.method.figures or "1664"
    words = "three significant figures from 10 up, two below" if figures == "1664" else f"{figures} significant figures"
    flags = f", flags {row.letters}" if row.flags else ""
    yield Step(
        "reported",
        f"reported: {words}, half to even",
        f"{figure(row.result, 6)} -> {row.reported} {row.unit}{flags}",
        "ASTM E29; EPA 1664B" if figures == "1664" else "ASTM E29",
    )


def _advice(row: RowResult, _sheet: Sheet) -> Iterator[Step]:
    if row.advice and row.calibration and row.amounts:
        yield Step(
            "advice",
            "the smallest whole dilution, 2 or more, that brings the extract to the middle of the range or below",
            f"{_whole(row.extract)} mg/L, middle {_whole(row.calibration.middle)}: {row.advice} in all",
            "EPA 418.1: dilute and read again, from memory",
        )


_PARTS = (_mean, _drift, _extract, _factor, _uncertainty, _limits, _quality, _reported, _advice)


def _state_words(row: RowResult, sheet: Sheet) -> str:
    """Say why a row has the state it has; before that, as its column does, that it fails and that it is superseded."""
    own = findings.own_failure(row, sheet) if row.fails and row.kind not in EVENTS else ""
    said = [f"fails: {own}"] if own else []
    said += [f"superseded: {row.row.reason or 'no reason given'}"] if row.superseded else []
    return "; ".join([*said, _standing_words(row, sheet)])


def _standing_words(row: RowResult, sheet: Sheet) -> str:
    words = {
        "unread": "not read yet",
        "open": _waiting(row, sheet),
        "accepted": _accepted(row, sheet),
        "void": f"void: {row.row.void or 'no reason given'}; shown, and used for nothing",
    }
    if row.kind in EVENTS and row.state == "accepted":
        return "within its limits" if _has_limit(row, sheet) else "read; the method has no limit for it"
    if row.state != "held":
        return words[row.state]
    if row.calibration is None:
        return "held: no calibration of its cell was read in full by its time"
    if row.calibration.state != "pass":
        return f"held: calibration {row.calibration.id} is {row.calibration.state}"
    return "held: " + "; ".join(_holders(row, sheet))


def _has_limit(event: RowResult, sheet: Sheet) -> bool:
    method = sheet.run.method
    if event.kind == "check":
        return method.check is not None and method.check.recovery_percent is not None
    return blank_limit(method, direct=event.calibration is not None and event.calibration.direct) is not None


def _waiting(row: RowResult, sheet: Sheet) -> str:
    """What a row waits for: the kinds of event that are asked for and do not stand after it."""
    missing = [spoken(kind) for kind in asked_for(sheet.run.method) if kind not in row.after]
    return f"read; waiting for the {' and '.join(missing)} that close{'s' * (len(missing) == 1)} its bracket"


def _accepted(row: RowResult, sheet: Sheet) -> str:
    """What lets a row be accepted: the events beside it, and that none stands where none is asked for."""
    asked = asked_for(sheet.run.method)
    if not asked:
        return "the method asks for no blank and no check standard"
    said, lacking = [], {}
    for side, events in (("before", row.before), ("after", row.after)):
        passing = [spoken(kind) for kind in asked if kind in events and _passes(events[kind], sheet)]
        said += [f"the {' and '.join(passing)} {side} it pass{'es' * (len(passing) == 1)}"] if passing else []
        others = [event for event in events.values() if not _passes(event, sheet)]
        said += [f"the {spoken(event.kind)} {side} it {_lets(side, event, sheet)}" for event in others]
        if missing := [spoken(kind) for kind in asked if kind not in events]:
            lacking[side] = f"no {' and no '.join(missing)} {side} it"
    if not lacking and all(_passes(event, sheet) for event in (*row.before.values(), *row.after.values())):
        return f"the {' and '.join(f'{spoken(kind)}s' for kind in asked)} on both sides pass"
    said += [f"{lacking['before']}: the calibration opens its bracket"] if "before" in lacking else []
    said += [f"{lacking['after']}, and the method asks for none to close it"] if "after" in lacking else []
    return "; ".join(said)


def _passes(event: RowResult, sheet: Sheet) -> bool:
    """Whether an event passes as a whole: a blank on both its sides, and nothing that has no limit."""
    return event.found_good and event.left_good and _has_limit(event, sheet)


def _lets(side: str, event: RowResult, sheet: Sheet) -> str:
    """Why an event that does not pass as a whole holds no row on one side of which it stands."""
    if not _has_limit(event, sheet):
        return "has no limit"
    return f"was {'left' if side == 'before' else 'found'} within its limit"


def _holders(row: RowResult, sheet: Sheet) -> list[str]:
    """What holds a row: its own verdict where it is a blank or check, else those beside it that fail towards it."""
    failed = {f.rows[0]: f.why for f in sheet.quality if f.state == "fail" and f.rule in EVENTS}
    return [f"{spoken(event.kind)} {event.id}: {failed.get(event.id, 'fails')}" for event in row.holders or (row,)]


# --- standards and setup checks ---------------------------------------------------------------------------------


def standard(result: StandardResult, calibration: CalibrationResult, sheet: Sheet) -> tuple[Step, ...]:
    """Every step from a standard's readings to its error on the curve."""
    typed, unit = result.standard, "mg/L" if calibration.direct else "A"
    found = []
    if typed.concentration is None:
        numbers = f"{typed.stock} x {typed.aliquot_ml} / {typed.final_ml} = {figure(result.x, 5)} mg/L"
        found.append(Step("x", "x = stock x aliquot / final volume", numbers, "dilution"))
    if result.y is not None:
        treatment = calibration.calibration.zero_standard or "subtract"
        zero = f" - zero {_whole_signal(calibration.zero)}" if treatment == "subtract" else ""
        readings = " ".join(str(reading) for reading in typed.readings)
        turned = " %T, each as A = -log10(T / 100)," if sheet.run.instrument.reads == "transmittance" else ""
        numbers = f"mean of {readings}{turned}{zero} = {_whole_signal(result.y)} {unit}"
        found.append(Step("y", f"net, zero standard: {treatment}", numbers, "one preparation is one point"))
    if result.on_curve is not None:
        numbers = f"{curve_words(calibration, MORE)}; net {_whole_signal(result.y)}: {figure(result.on_curve, 5)} mg/L"
        found.append(Step("back", _INVERSE[calibration.calibration.model], numbers, "inverse of the calibration"))
    if result.error_percent is not None:
        numbers = f"({_whole(result.on_curve)} - {_whole(result.x)}) / {_whole(result.x)} x 100"
        formula = "error % = (read back - x) / x x 100"
        found.append(
            Step("error_percent", formula, f"{numbers} = {result.error_percent:+.2f} %", "EPA SW-846 8000D, TNI sign")
        )
    return tuple(found)


def setup_check(result: SetupResult, sheet: Sheet) -> tuple[Step, ...]:
    """Say what the value of a setup check is, and what it is held against."""
    formulas = {
        "warm-up": "minutes from lamp on to the first reading after it, else to now",
        "stability": "largest reading less smallest",
        "full-scale": "largest deviation from 100 %T",
        "dark": "largest deviation from 0 %T",
    }
    formula = formulas.get(result.setup.check, "largest deviation from 0 A")
    way = "at least" if result.setup.check == "warm-up" else "at most"
    limit = "no limit" if result.limit is None else f"{way} {figure(result.limit)} {result.unit}"
    value = setup_value(result)
    found = f"{value} {result.unit}" if value else result.why or "no value"
    numbers = f"{found}, {limit}: {result.state}"
    limited = SETUP_CHECKS[result.setup.check].limit
    source = (
        source_of(sheet.run.method, f"setup.{limited}")
        if result.limit is not None
        else "the method has no limit for it"
    )
    return (Step("value", formula, numbers, source),)
