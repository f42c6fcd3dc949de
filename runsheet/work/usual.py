"""Whether what is typed is usual.

Owns: why an entry looks like a slip of the hand. Invariant: nothing is refused here; what is unusual may be right, and
is asked about once.

An amount is compared with the nominal one and with the others of its kind, whichever it is farther off: a day of small
bottles is told once for each, rather than a reading typed into the column of amounts not at all. The bounds are common
practice, no source.
"""

from __future__ import annotations

import math
import statistics
from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from runsheet.compute import calibration
from runsheet.compute.amounts import MATRIX_OF_UNIT, concentration
from runsheet.compute.photometry import absorbance, signals, transmittance
from runsheet.compute.setup import ahead
from runsheet.figures import against, figure
from runsheet.run.edit import apply_each, value_at
from runsheet.run.kinds import WORDS
from runsheet.run.model import Setup

if TYPE_CHECKING:
    from collections.abc import Container, Sequence
    from datetime import datetime

    from runsheet.compute.results import CalibrationResult
    from runsheet.run.edit import Edit
    from runsheet.run.model import Row, Run, Standard
    from runsheet.tables import Number

TIMES = 3.0
"""How many times off the nominal one, or the others, an amount may be."""
OFF_PERCENT = 10.0
"""How far a standard may be off the curve of the others, where the method's level limit is no tighter."""
STEPS_OFF = 5
"""Display steps a standard may be off in any case: more than two readings of one solution differ by."""
MOST_ABSORBANCE = 3.0
"""From here on a number is no absorbance a bench photometer shows, and below it hardly a transmittance in percent."""
LEAST_ABSORBANCE = -0.05
"""Below this no clean solvent reads, unless the zero was taken on something else."""
CLEAN_ABSORBANCE = 0.1
"""Above this no clean solvent reads, whatever the zero was taken on."""
MOST_EDITS = 500
MEASURED = ("amount", "extract_ml", "added_mg", "expected", "full_g", "empty_g", "wet_g", "dry_g", "dish_g")
"""Fields of a row that are much the same in all rows of a kind."""
ONE_OF = (
    ("amount", ("full_g", "empty_g"), "the amount {} counts, not what the bottle weighs"),
    ("solids_percent", ("dish_g", "wet_g", "dry_g"), "the solids of {} % count, not what the dish weighs"),
)
"""What is typed or weighed, by which fields, and what to say where it is both."""
BESIDE = {
    "lot": ("expires", "certificate", "material", "expected", "added_mg"),
    "solvent.name": ("grade", "lot", "expires"),
    "instrument.name": ("serial",),
}
"""What is given beside a field, or a field of that name, and is of that value alone."""
NOMINAL = {"amount": "nominal_amount", "extract_ml": "nominal_extract_ml"}


def why_not(run: Run, array: str, place: int, field: str, value: Any, steps: Sequence[Number]) -> str:
    """Why a value is unusual for a field of the row at a place, from 0, in words; empty where it is usual.

    `steps` are the dilutions of the house.
    """
    if value in (None, ()) or array not in ("queue", "standard", "setup"):
        return ""
    row = getattr(run, array)[place]
    if field == "lot":
        return of_another(run, f"{array}[{place + 1}].lot", value)
    if field == "readings":
        new = tuple(value)[len(row.readings) :] or tuple(value)
        return _reading(run, row, new) or (_standard(run, place, tuple(value)) if array == "standard" else "")
    if array == "queue" and field == "dilution":
        return _dilution(value, steps)
    if array != "queue":
        return ""
    if field == "solids_percent" and float(value) <= 1:
        return f"{value:g} % solids: is it a fraction of 1?"
    return (_amount(run, row, field, float(value)) if field in MEASURED else "") or _twice(row, field, value)


def of_another(run: Run, path: str, value: Any, fills: Container[str] = ()) -> str:
    """What stays beside a field that was given for its old value, as an expiry for a lot, in words; or nothing.

    The fields at the paths `fills` are given anew with the value.
    """
    table, _, name = path.rpartition(".")
    names = [each for each in BESIDE.get(path, BESIDE.get(name, ())) if f"{table}.{each}" not in fills]
    if not names:  # also of a table that is not there yet
        return ""
    old = value_at(run, path)
    given = {each: value_at(run, f"{table}.{each}") for each in names}
    kept = [f"{each} {beside}" for each, beside in given.items() if beside is not None]
    if old in (None, value) or value is None or not kept:
        return ""
    return f"{', '.join(kept)} stay{'s' * (len(kept) == 1)} as given for {old}"


def of_step(run: Run, edits: Sequence[Edit], steps: Sequence[Number]) -> list[str]:
    """What is unusual of the rows and values that a step would write, each with its row; nothing is asked of it.

    For lists and pasted blocks, which are shown before they are taken. Each row is held beside all the others, so that
    a list longer than any day's is not looked through, and that is said.
    """
    if len(edits) > MOST_EDITS:
        return [f"not looked through for unusual values: more than {MOST_EDITS} changes at once"]
    after, said = apply_each(run, edits), []
    for array in ("standard", "queue"):
        before = {row.id: row for row in getattr(run, array)}
        for place, row in enumerate(getattr(after, array)):
            for field in ("readings", "dilution", "solids_percent", *MEASURED):
                value, old = getattr(row, field, None), getattr(before.get(row.id), field, None)
                if value != old and (why := why_not(after, array, place, field, value, steps)):
                    said.append(f"unusual: {row.id}, {why}")
    return list(dict.fromkeys(said))


def while_warming(run: Run, now: datetime) -> str:
    """That the lamp is not warm yet for the first standard or row read after it was put on, in words; or nothing.

    It is shown and not asked about: going on is allowed and becomes a finding, and the next thing to do says the same.
    """
    lamps = [each.started for each in run.setup if each.check == "warm-up" and each.started is not None]
    asked = run.method.setup.warm_up_minutes if run.method.setup is not None else None
    if not lamps or asked is None:
        return ""
    rows: tuple[Standard | Row, ...] = (*run.standard, *run.queue)
    on = max(lamps)
    minutes = (now - on).total_seconds() / 60
    if minutes >= float(asked) or any(row.readings and row.at is not None and row.at >= on for row in rows):
        return ""
    if minutes < 0:
        return f"warm-up: {ahead(minutes)}"
    on_for, wanted = against(minutes, float(asked), ".0f")
    return f"the lamp is on for {on_for} min, the method asks for {wanted}"


def odd_level(run: Run, name: str) -> tuple[str, float] | None:
    """The standard of a calibration that is farthest off the curve of the others, with its percent off, signed.

    None where each is as the others have it.
    """
    places = [at for at, each in enumerate(run.standard) if _calibration(run, each) == name and each.readings]
    off = {at: percent for at in places if (percent := _off(run, at, run.standard[at].readings)) is not None}
    if not off:
        return None
    # One odd level bends the curve of all the others: it is the one without which those agree best.
    at = min(off, key=lambda place: _rse(_others(run, place)))
    return run.standard[at].id, off[at]


def _rse(found: CalibrationResult | None) -> float:
    return float("inf") if found is None or found.rse_percent is None else found.rse_percent


def _reading(run: Run, row: Setup | Standard | Row, new: Sequence[Number]) -> str:
    """Why readings look like those of another scale, or nothing."""
    reads = run.instrument.reads or "absorbance"
    if isinstance(row, Setup):
        if row.check == "dark":
            return ""
        reads = "transmittance" if row.check == "full-scale" else row.reads or "absorbance"
    else:
        step = run.instrument.step
        rows: tuple[Standard | Row, ...] = (*run.standard, *run.queue)
        finer = next((value for value in new if _finer(value, step)), None)
        taken = (_finer(value, step) for other in rows if other.id != row.id for value in other.readings)
        if finer is not None and not any(taken):  # once taken, it is the step that is not the display's
            return f"{finer} has more digits than a display in steps of {step}: is one too many? (F has the step)"
    for each in map(float, new):
        if not isinstance(row, Setup) and (why := _below_zero(each, reads)):
            return why
        if reads == "transmittance" and each <= 0 and isinstance(row, Setup):  # elsewhere it is refused
            return f"{each:g} %T lets nothing through: is it an absorbance?"
        if reads == "transmittance" and 0 < each < MOST_ABSORBANCE:
            return f"{each:g} %T is {absorbance(each):.2f} A: is it an absorbance?"
        if reads == "absorbance" and MOST_ABSORBANCE <= each <= 110:
            return f"{each:g} A lets through next to nothing: is it %T?"
    return ""


def _finer(value: Number, step: Number | None) -> bool:
    """Whether a reading is none that a display of such steps shows."""
    return bool(step) and Decimal(str(value)) % Decimal(str(step)) != 0


def _below_zero(value: float, reads: str) -> str:
    """Why a reading is far from what clean solvent reads, on its other side, or nothing."""
    if reads == "transmittance" and value > 0 and absorbance(value) < LEAST_ABSORBANCE:
        return f"{value:g} %T is far above a clear beam: is it a digit, or the zero?"
    if reads == "absorbance" and value < LEAST_ABSORBANCE:
        return f"{value:g} A is far below zero: is it the sign, or the zero?"
    return ""


def _dilution(value: Number, steps: Sequence[Number]) -> str:
    if float(value) == 1 or any(float(step) == float(value) for step in steps):
        return ""
    return f"{value}x is none of the house's dilutions ({' '.join(map(str, steps))})"


def _amount(run: Run, row: Row, field: str, value: float) -> str:
    """Why an amount is far off the nominal one or the others of its kind, or nothing."""
    usual = MATRIX_OF_UNIT[run.method.unit]
    nominal = getattr(run.method.limits, NOMINAL.get(field, ""), None) if row.matrix in (None, usual) else None
    if nominal is not None and _far(value, float(nominal)):
        return f"{value:g} is {_times(value, float(nominal))} the nominal {nominal}"
    others = [
        float(given)
        for other in run.queue
        if other.id != row.id
        and (other.kind == row.kind or field in NOMINAL)
        and (other.matrix or usual) == (row.matrix or usual)
        and (given := getattr(other, field)) is not None
    ]
    middle = statistics.median(others) if others else None
    if middle and _far(value, middle):
        whose = "the other rows" if field in NOMINAL else f"the other rows, {WORDS[row.kind]},"
        return f"{value:g} is {_times(value, middle)} what {whose} have ({middle:g})"
    return ""


def _twice(row: Row, field: str, value: Number) -> str:
    """That one figure is typed and weighed, and which of them counts; or nothing."""
    for typed, weighed, words in ONE_OF:
        given = value if field == typed else getattr(row, typed)
        if given is not None and (field in weighed or (field == typed and any(getattr(row, w) for w in weighed))):
            return words.format(given)
    return ""


def _far(value: float, usual: float) -> bool:
    return value > TIMES * usual or value * TIMES < usual


def _times(value: float, usual: float) -> str:
    return f"{figure(value / usual, 3)} times" if value > usual else f"1/{figure(usual / value, 3)} of"


def _standard(run: Run, place: int, readings: tuple[Number, ...]) -> str:
    """Why a standard's readings are those of another one, or nothing."""
    standard, reads = run.standard[place], run.instrument.reads
    if concentration(standard) != 0 or (reads == "transmittance" and min(readings) <= 0):
        return _level(run, place, readings)
    values = signals(readings, reads)
    mean, most, unit = sum(values) / len(values), CLEAN_ABSORBANCE, "A"
    if reads == "concentration":
        levels = [
            concentration(each) for each in run.standard if _calibration(run, each) == _calibration(run, standard)
        ]
        most, unit = min((x for x in levels if x > 0), default=math.inf) / 2, "mg/L"
    return f"{standard.id} is at 0 mg/L and reads {figure(mean, 3)} {unit}: is it another standard's?" * (mean > most)


def _level(run: Run, place: int, readings: tuple[Number, ...]) -> str:
    """Why a standard's readings do not fit the others, or nothing."""
    percent = _off(run, place, readings)
    if percent is None:
        return ""
    expected = _expected(run, place)
    reads = run.instrument.reads
    if reads == "concentration":
        return f"{run.standard[place].id} is {percent:+.1f} % off the {figure(expected, 3)} mg/L it is to show"
    off = f"{run.standard[place].id} is {percent:+.1f} % off the other standards"
    if reads == "transmittance" and expected is not None:
        return f"{off} in absorbance: they expect {figure(transmittance(expected), 3)} %T"
    return f"{off}, which expect {figure(expected, 3)}"


def _off(run: Run, place: int, readings: tuple[Number, ...]) -> float | None:
    """How far a standard's signal is off what the curve of the others expects, percent; None within the bounds."""
    expected, standard = _expected(run, place), run.standard[place]
    if not expected or concentration(standard) == 0 or (run.instrument.reads == "transmittance" and min(readings) <= 0):
        return None
    values = signals(readings, run.instrument.reads)
    mean = sum(values) / len(values)
    limits = run.method.calibration
    own = [getattr(limits, "level_error_percent", None)]
    bound = min([OFF_PERCENT, *(float(limit) for limit in own if limit is not None)])
    percent = (mean - expected) / expected * 100
    step = float(run.instrument.step or 0) if run.instrument.reads != "transmittance" else 0.001
    return percent if abs(percent) > bound and abs(mean - expected) > STEPS_OFF * step else None


def _expected(run: Run, place: int) -> float | None:
    """The signal the curve of the other standards expects of one; None where they are too few to say.

    A direct-reading analyser is to show the standard's own concentration, whatever the others read.
    """
    standard, found = run.standard[place], _others(run, place)
    if found is not None and found.direct and standard.use is not False:
        return concentration(standard) + _subtracted(found)
    if found is None or standard.use is False or found.curve is None or found.curve.n <= found.curve.p:
        return None
    return found.curve.signal(concentration(standard)) + _subtracted(found)


def _subtracted(found: CalibrationResult) -> float:
    return found.zero if (found.calibration.zero_standard or "subtract") == "subtract" else 0.0


def _others(run: Run, place: int) -> CalibrationResult | None:
    """The calibration of a standard as it would be without its readings."""
    standard = run.standard[place]
    bare = (*run.standard[:place], replace(standard, readings=()), *run.standard[place + 1 :])
    wanted = _calibration(run, standard)
    return next((c for c in calibration.judge(replace(run, standard=bare)) if c.id == wanted), None)


def _calibration(run: Run, standard: Standard) -> str | None:
    return standard.calibration or (run.calibration[0].id if len(run.calibration) == 1 else None)
