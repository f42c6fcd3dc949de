"""A report computed again from its text alone, as an assessor with paper and a calculator would.

Owns: a reader of the plain-text report and an arithmetic of its own: numpy and scipy, nothing of the program.
Invariant: every figure compared was printed, and everything it is computed from was printed too.

`differences(text)` names each printed figure that comes out otherwise, and `compared` counts those looked at. The
arithmetic is for what it has met: an unweighted line, its zero standard subtracted, the baseline of the last blank,
readings in absorbance, results in mg/L or mg/kg. Anything else is refused, never passed over.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from datetime import datetime
from decimal import ROUND_HALF_EVEN, Decimal
from functools import cached_property
from itertools import pairwise

import numpy as np
import scipy

Line = dict[str, str]
"""One row of a table by the heads of its columns."""


# --- reading ----------------------------------------------------------------------------------------------------


def sections(text: str) -> dict[str, list[str]]:
    """The lines under each heading."""
    lines = text.splitlines()
    marks = [
        at
        for at, (name, rule) in enumerate(pairwise(lines))
        if name.strip() and re.fullmatch("-+|=+", rule) and len(rule) == len(name) and (at == 0 or not lines[at - 1])
    ]
    ends = [*marks[1:], len(lines)]
    return {lines[at]: lines[at + 2 : end] for at, end in zip(marks, ends, strict=True)}


def paragraphs(lines: list[str]) -> list[list[str]]:
    """Lines set apart by empty ones."""
    found: list[list[str]] = [[]]
    for line in lines:
        if line:
            found[-1].append(line)
        else:
            found.append([])
    return [each for each in found if each]


def _part(lines: list[str]) -> list[Line] | None:
    """One part of a table: its rule of dashes says where the columns stand; a row's first cell is never empty."""
    rules = [at for at, line in enumerate(lines) if re.fullmatch("-+( {2}-+)+", line)]
    if not rules:
        return None
    spans = [(found.start(), found.end()) for found in re.finditer("-+", lines[rules[0]])]

    def joined(several: list[str]) -> list[str]:
        return [" ".join(filter(None, (line[a:b].strip() for line in several))) for a, b in spans]

    titles = joined(lines[: rules[0]])
    rows: list[list[str]] = []
    for line in lines[rules[0] + 1 :]:
        if line[slice(*spans[0])].strip():
            rows.append([])
        rows[-1].append(line)
    return [dict(zip(titles, joined(row), strict=True)) for row in rows]


def table(lines: list[str], *needed: str) -> list[Line]:
    """The tables of a section whose rows have the same names, put together; they must have the columns needed."""
    found: list[Line] = []
    for part in filter(None, map(_part, paragraphs(lines))):
        names = [next(iter(row.values())) for row in part]
        if not found:
            found = [dict(row) for row in part]
        elif names == [next(iter(row.values())) for row in found]:
            for row, more in zip(found, part, strict=True):
                row.update(more)
    assert found
    assert set(needed) <= set(found[0]), (needed, found[0])
    return found


def facts(lines: list[str]) -> Line:
    """Names and what they are, as far as a section has them."""
    found: Line = {}
    name = ""
    for line in lines:
        made = re.match(r"(\S+(?: \S+)*)(?: {2,}(\S.*))?$", line)
        if made:
            name = made[1]
            found.setdefault(name, made[2] or "")
        elif name and line.startswith(" "):
            found[name] = f"{found[name]} {line.strip()}".strip()
        else:
            name = ""
    return found


def number(text: str) -> float | None:
    """The first figure in a text."""
    made = re.search(r"-?\d+(\.\d+)?(e-?\d+)?", text)
    return float(made[0]) if made else None


def needed(text: str) -> float:
    """A figure that must be there."""
    found = number(text)
    assert found is not None, text
    return found


def readings(text: str) -> list[float]:
    """Readings as typed."""
    return [float(word) for word in text.split()]


def moment(text: str) -> datetime:
    """A printed time."""
    return datetime.fromisoformat(text)


# --- computing --------------------------------------------------------------------------------------------------


@dataclass
class Curve:
    """An unweighted line through the standards of one calibration."""

    name: str
    lines: list[Line]
    given: Line
    step: float

    def __post_init__(self) -> None:
        """Fit it."""
        assert self.given["Model"] == "line, weighting none, zero standard subtract, baseline last"
        self.x = np.array([self.level(line) for line in self.lines])
        self.read = [float(np.mean(readings(line["readings"]))) for line in self.lines]
        zeros = [r for line, x in zip(self.lines, self.x, strict=True) if x == 0 for r in readings(line["readings"])]
        self.zero = float(np.mean(zeros)) if zeros else 0.0
        self.y = np.array(self.read) - self.zero
        self.finished = max(moment(line["time"]) for line in self.lines)
        used = self.x > 0
        xs, ys = self.x[used], self.y[used]
        self.fit = scipy.stats.linregress(xs, ys)
        self.a, self.b, self.n = float(self.fit.intercept), float(self.fit.slope), len(xs)
        self.left = ys - self.a - self.b * xs
        self.s = math.sqrt(float(np.sum(self.left**2)) / (self.n - 2))
        self.mean, self.sxx = float(np.mean(xs)), float(np.sum((xs - np.mean(xs)) ** 2))
        self.low, self.high = float(min(xs)), float(max(xs))
        back = self.inverse(ys)
        self.rse = 100 * math.sqrt(float(np.sum(((back - xs) / xs) ** 2)) / (self.n - 2))
        self.confidence = needed(self.given["Confidence"]) / 100
        self.k = float(scipy.stats.t.ppf(1 - (1 - self.confidence) / 2, self.n - 2))

    @staticmethod
    def level(line: Line) -> float:
        """The concentration of a standard: typed, or by its dilution."""
        if line.get("concentration"):
            return float(line["concentration"])
        return float(line["stock"]) * float(line["aliquot mL"]) / float(line["final mL"])

    def inverse(self, y: float | np.ndarray) -> float | np.ndarray:
        """The concentration at a signal."""
        return (y - self.a) / self.b

    def uncertainty(self, x: float, m: int) -> float:
        """Standard uncertainty of a concentration read m times, from readings and line."""
        reading = max(self.s**2 / m, self.step**2 / 12)
        line = self.s**2 * (1 / self.n + (x - self.mean) ** 2 / self.sxx)
        return math.sqrt(reading + line) / self.b

    def din(self) -> tuple[float, float, float]:
        """Critical value, detection and quantification limit by DIN 32645, the last one iterated."""
        root = math.sqrt(1 + 1 / self.n + self.mean**2 / self.sxx)
        critical = self.s / self.b * float(scipy.stats.t.ppf(self.confidence, self.n - 2)) * root
        limit = 2 * critical
        for _ in range(200):
            within = 1 + 1 / self.n + (limit - self.mean) ** 2 / self.sxx
            limit = 3 * self.s / self.b * self.k * math.sqrt(within)
        return critical, 2 * critical, limit


@dataclass
class Computed:
    """One row of the queue."""

    typed: Line
    curve: Curve | None = None
    mean: float | None = None
    net: float | None = None
    baseline: float | None = None
    extract: float | None = None
    u: float | None = None
    amount: float | None = None
    volume: float | None = None
    dilution: float = 1.0
    factor: float | None = None
    result: float | None = None
    expanded: float | None = None
    detection: float | None = None
    reporting: float | None = None
    flags: set[str] = field(default_factory=set)
    recovery: float | None = None
    rpd: float | None = None

    @property
    def fraction(self) -> str:
        """Petroleum hydrocarbons after silica gel, else oil and grease."""
        return "petroleum hydrocarbons" if self.typed.get("silica gel") == "yes" else "oil and grease"

    @property
    def kind(self) -> str:
        """What it is."""
        return self.typed["kind"]

    @property
    def sample(self) -> str:
        """The sample it reads."""
        return self.typed.get("sample") or self.typed["id"]

    @property
    def read(self) -> bool:
        """Whether it counts."""
        return bool(self.typed["readings"]) and not self.typed.get("void")

    @property
    def reports(self) -> bool:
        """Whether its result is the one to report."""
        return self.read and self.typed.get("report") != "no" and self.kind not in SOLVENT


SOLVENT = ("blank", "check", "second-source")
PREPARED = ("method-blank", "control", "control-duplicate", "field-blank", "equipment-blank", "trip-blank")
CONTROLS = ("control", "control-duplicate")
SPIKES = ("spike", "spike-duplicate")


class Recomputed:
    """A whole report."""

    def __init__(self, text: str) -> None:
        """Read it and compute every row."""
        self.parts = sections(text)
        self.cover = facts(self.parts["The run"])
        assert "reads absorbance" in self.cover["Instrument"]
        self.step = needed(self.cover["Instrument"].partition("display step ")[2])
        limits = self.parts["The method's limits and their sources"]
        self.method = facts(limits)
        self.limits = {
            f"{line['of']}: {line['limit']}": line["value"] for line in table(limits, "of", "limit", "value")
        }
        self.curves = [
            Curve(name.split()[1], table(lines, "id", "readings", "time"), facts(lines), self.step)
            for name, lines in self.parts.items()
            if re.fullmatch(r"Calibration \S+", name)
        ]
        typed = table(self.parts["Rows as typed, in the order of analysis"], "id", "kind", "readings")
        self.rows = [Computed(line) for line in typed]
        for at, row in enumerate(self.rows):
            self._row(row, self.rows[:at])
        for at, row in enumerate(self.rows):
            if row.read:
                self._compared(row, self.rows[:at])
        self._blank_flags()

    def limit(self, of: str, name: str) -> float | None:
        """A limit of the method."""
        return number(self.limits.get(f"{of}: {name}", ""))

    @cached_property
    def relative(self) -> dict[str, float]:
        """The relative parts of the uncertainty, as fractions of one."""
        names = ("volumes", "standards", "precision", "bias", "dilution")
        found = {name: self.limit("Uncertainty", f"{name}, relative standard") for name in names}
        return {name: value / 100 for name, value in found.items() if value is not None}

    def _row(self, row: Computed, before: list[Computed]) -> None:
        typed = row.typed
        if typed.get("void"):
            return
        assert not typed.get("calibration")
        assert not typed.get("matrix")
        at = moment(typed["time"]) if typed["time"] else None
        ready = [curve for curve in self.curves if at is None or curve.finished <= at]
        row.curve = ready[-1] if ready else None
        if row.kind not in SOLVENT:
            self._amounts(row)
        if row.curve is None or not row.read:
            self._limits(row)
            return
        values = readings(typed["readings"])
        row.mean = float(np.mean(values))
        row.baseline = self._baseline(row, before)
        row.net = row.mean - row.baseline
        if row.kind == "blank":
            return
        row.extract = float(row.curve.inverse(row.net))
        row.u = row.curve.uncertainty(row.extract, len(values))
        if row.factor is not None:
            row.result = row.extract * row.factor
            parts = [part for name, part in self.relative.items() if name != "dilution" or row.dilution > 1]
            spread = math.sqrt(row.u**2 + row.extract**2 * sum(part**2 for part in parts))
            row.expanded = self.coverage(row.curve) * row.factor * spread
        self._limits(row)
        self._flags(row)

    def coverage(self, curve: Curve) -> float:
        """The k of a result."""
        return self.limit("Uncertainty", "coverage factor") or curve.k

    def _amounts(self, row: Computed) -> None:
        typed = row.typed
        row.amount, row.volume = number(typed.get("amount", "")), number(typed.get("extract mL", ""))
        if row.kind in PREPARED:
            row.amount = row.amount or self.limit("Detection and reporting", "nominal amount")
            row.volume = row.volume or self.limit("Detection and reporting", "nominal extract")
        row.dilution = number(typed.get("dilution", "")) or 1.0
        if row.amount and row.volume:
            row.factor = row.volume * row.dilution / row.amount
            solids = number(typed.get("solids %", ""))
            if solids:
                assert self.method["Unit"] == "mg/kg"
                row.factor /= solids / 100

    @staticmethod
    def _baseline(row: Computed, before: list[Computed]) -> float:
        """What clean solvent last read before a row: as left where it was re-zeroed, else as found."""
        blanks = [each for each in before if each.kind == "blank" and each.read and each.curve is row.curve]
        assert row.curve is not None
        if not blanks:
            return row.curve.zero
        last = blanks[-1]
        assert last.mean is not None
        return (number(last.typed.get("as left", "")) or 0.0) if last.typed.get("rezeroed") == "yes" else last.mean

    def _limits(self, row: Computed) -> None:
        amount = self.limit("Detection and reporting", "nominal amount")
        volume = self.limit("Detection and reporting", "nominal extract")
        detection = self.limit("Detection and reporting", "detection limit")
        reporting = self.limit("Detection and reporting", "reporting limit")
        if row.factor is None or row.curve is None or not (amount and volume and detection and reporting):
            return
        scale = row.factor / (volume / amount)
        row.detection = detection * scale
        row.reporting = max(reporting * scale, row.curve.low * row.factor)

    def _flags(self, row: Computed) -> None:
        assert row.extract is not None
        assert row.curve is not None
        assert row.mean is not None
        top = self.limit("Calibration", "highest absorbance read")
        if row.result is not None and row.detection is not None and row.reporting is not None:
            row.flags |= {"U"} if row.result < row.detection else {"J"} if row.result < row.reporting else set()
        if row.kind not in SOLVENT:
            row.flags |= {"E"} if row.extract > row.curve.high or (top and row.mean > top) else set()
            row.flags |= {"D"} if row.dilution > 1 else set()

    def _blank_flags(self) -> None:
        for blank in self.rows:
            if blank.kind != "method-blank" or not blank.read or blank.result is None or blank.detection is None:
                continue
            alike = [
                r for r in self.rows if (r.typed.get("batch"), r.fraction) == (blank.typed.get("batch"), blank.fraction)
            ]
            for row in alike:
                low = row.result is not None and row.result < 10 * blank.result and "U" not in row.flags
                if blank.result >= blank.detection and row.read and row.kind in ("sample", "duplicate") and low:
                    row.flags.add("B")

    def _compared(self, row: Computed, before: list[Computed]) -> None:
        typed = row.typed
        parents = [
            each
            for each in self.rows
            if each.kind == "sample"
            and each.reports
            and (each.sample, each.fraction) == (typed.get("parent"), row.fraction)
        ]
        parent = parents[-1] if parents else None
        if row.kind in ("check", "second-source") and row.extract is not None:
            row.recovery = row.extract / needed(typed["expected"]) * 100
        if row.kind in (*CONTROLS, *SPIKES) and typed.get("added mg"):
            assert row.result is not None
            assert row.volume is not None
            assert row.factor is not None
            less = 0.0 if row.kind in CONTROLS else max(0.0, parent.result) if parent and parent.result else 0.0
            found = (row.result - less) * row.volume * row.dilution / (1000 * row.factor)
            row.recovery = found / needed(typed["added mg"]) * 100 / (number(typed.get("response factor", "")) or 1)
        if row.kind == "duplicate" and parent is not None:
            row.rpd = rpd(row, parent)
        if row.kind in ("control-duplicate", "spike-duplicate"):
            like = row.kind.removesuffix("-duplicate")
            firsts = [
                e
                for e in before
                if (e.kind, e.fraction, e.typed.get("parent")) == (like, row.fraction, typed.get("parent"))
            ]
            if firsts:
                row.rpd = rpd(row, firsts[-1])

    def polar(self, sample: str) -> tuple[float, float, Computed]:
        """A sample's polar part, its U, and the row it is limited as."""
        mine = [row for row in self.rows if row.reports and row.kind == "sample" and row.sample == sample]
        whole = [row for row in mine if row.fraction == "oil and grease"][-1]
        part = [row for row in mine if row.fraction != "oil and grease"][-1]
        assert whole.result is not None
        assert part.result is not None
        assert whole.curve is not part.curve, "the variance of one curve in both fractions is not computed here"
        one, other = whole.result, part.result
        variance = sum((row.u or 0) ** 2 * (row.factor or 0) ** 2 for row in (whole, part))
        for name, relative in self.relative.items():
            each = {
                "dilution": sum((row.result or 0) ** 2 for row in (whole, part) if row.dilution > 1),
                "standards": one**2 + other**2,
            }.get(name, (one - other) ** 2)
            variance += relative**2 * each
        coverage = max(self.coverage(row.curve) for row in (whole, part) if row.curve is not None)
        return one - other, coverage * math.sqrt(variance), whole

    def written(self, value: float, row: Computed, flags: set[str]) -> str:
        """A result as it must be reported."""
        assert self.method["Significant figures"] == "three from 10 up, two below"
        if "U" in flags or ("J" in flags and self.method["Estimates, J"] != "reported"):
            low = row.detection if "U" in flags and "detection" in self.method["Below detection"] else row.reporting
            assert low is not None
            return f"< {rounded(low)}"
        return rounded(value)


def rpd(one: Computed, other: Computed) -> float:
    """Relative difference of two concentrations, %."""
    assert one.result is not None
    assert other.result is not None
    return abs(one.result - other.result) / ((one.result + other.result) / 2) * 100


def rounded(value: float) -> str:
    """Three significant figures from 10 up, two below, half to even, decided on the unrounded value."""
    exact = Decimal(repr(value))
    digits = 3 if abs(exact) >= 10 else 2
    step = Decimal(1).scaleb(exact.adjusted() - digits + 1)
    found = exact.quantize(step, rounding=ROUND_HALF_EVEN)
    if found.adjusted() > exact.adjusted():  # 9.96 has become 10.0
        found = found.quantize(step.scaleb(1) if digits == 3 else step, rounding=ROUND_HALF_EVEN)
    return f"{found:f}"


# --- comparing --------------------------------------------------------------------------------------------------


class Compared:
    """What was looked at, and what came out otherwise."""

    def __init__(self) -> None:
        """Nothing yet."""
        self.count = 0
        self.differences: list[str] = []

    def figure(self, where: str, printed: str, mine: float | None, digits: int = 4) -> None:
        """Compare a figure printed with significant digits."""
        self._told(
            where, printed, "" if mine is None else repr(float(f"{mine:.{digits}g}")), same=_same(printed, mine, digits)
        )

    def decimals(self, where: str, printed: str, mine: float | None, places: int) -> None:
        """Compare a figure printed with decimals."""
        told = "" if mine is None else f"{mine:.{places}f}"
        self._told(where, printed, told, same=printed == told or (mine is not None and number(printed) == float(told)))

    def text(self, where: str, printed: str, mine: str) -> None:
        """Compare words."""
        self._told(where, printed, mine, same=printed == mine)

    def _told(self, where: str, printed: str, mine: str, *, same: bool) -> None:
        self.count += 1
        if not same:
            self.differences.append(f"{where}: printed {printed!r}, computed {mine!r}")


def _same(printed: str, mine: float | None, digits: int) -> bool:
    if mine is None or not printed:
        return mine is None and not printed
    found = needed(printed)
    if abs(mine) >= 10**digits:  # whole figures are printed whole
        return printed == f"{mine:.0f}"
    return found == float(f"{mine:.{digits}g}") or (printed == "0" and abs(mine) < 1e-12)


def compare(text: str) -> Compared:
    """Compute a report again and compare every figure it prints."""
    made, said = Recomputed(text), Compared()
    for part in (_setup, _curves, _rows, _clients, _quality, _standing, _blanks):
        part(made, said)
    return said


def _setup(made: Recomputed, said: Compared) -> None:
    times = [moment(line["time"]) for curve in made.curves for line in curve.lines]
    times += [moment(row.typed["time"]) for row in made.rows if row.read]
    targets = {"full-scale": 100.0}
    for line in table(made.parts["Setup checks"], "day", "setup check", "readings", "value"):
        name = line["setup check"]
        values = readings(line["readings"])
        if name == "warm-up":
            start = moment(line["started"])
            value = (min(t for t in times if t >= start) - start).total_seconds() / 60
        elif name == "stability":
            value = max(values) - min(values)
        else:
            value = max(abs(v - targets.get(name, 0.0)) for v in values)
        said.figure(f"setup {name}", line["value"], value, 3)


def _curves(made: Recomputed, said: Compared) -> None:
    for curve in made.curves:
        name, given = f"calibration {curve.name}", curve.given
        equation = re.fullmatch(r"y = (\S+) \+ (\S+) x", given["Equation"])
        assert equation is not None
        said.figure(f"{name} a", equation[1], curve.a, 5)
        said.figure(f"{name} b", equation[2], curve.b, 6)
        said.figure(f"{name} zero", given["Zero"], curve.zero, 6)
        said.decimals(f"{name} r", given["r"], float(curve.fit.rvalue), 6)
        said.decimals(f"{name} RSE", given["RSE"].removesuffix(" %"), curve.rse, 2)
        said.figure(f"{name} s", given["Residual s"], curve.s, 3)
        heads = ("Critical value", "Detection limit", "Quantification limit")
        for head, value in zip(heads, curve.din(), strict=True):
            printed = given[f"{head} (DIN 32645)"]
            said.figure(f"{name} {head}", printed, value, 3)
            said.text(f"{name} {head}", str("extrapolated" in printed), str(value < curve.low))
        for line, x, y in zip(curve.lines, curve.x, curve.y, strict=True):
            back = float(curve.inverse(y))
            where = f"standard {line['id']}"
            said.figure(where, line["mg/L"], float(x), 5)
            said.decimals(where, line["net"], float(y), 4)
            said.figure(where, line["read back"], back)
            said.decimals(where, line["error %"], None if x == 0 else (back - float(x)) / float(x) * 100, 1)


def _rows(made: Recomputed, said: Compared) -> None:
    printed = table(made.parts["Rows as computed"], "id", "net", "result")
    assert [line["id"] for line in printed] == [row.typed["id"] for row in made.rows]
    for line, row in zip(printed, made.rows, strict=True):
        where = line["id"]
        said.text(f"{where} calibration", line["calibration"], row.curve.name if row.curve else "")
        said.decimals(f"{where} baseline", line["baseline"], row.baseline, 4)
        said.decimals(f"{where} net", line["net"], row.net, 4)
        said.figure(f"{where} extract", line["mg/L extr."], row.extract)
        said.figure(f"{where} u", line["u(extr.)"], row.u, 3)
        said.figure(f"{where} factor", line["factor"], row.factor, 6)
        said.figure(f"{where} result", line["unrounded"], row.result)
        said.figure(f"{where} U", line["+/-"], row.expanded, 2)
        said.figure(f"{where} detection", line["detection"], row.detection, 3)
        said.figure(f"{where} reporting", line["reporting"], row.reporting, 3)
        said.decimals(f"{where} recovery", line["rec. %"], row.recovery, 1)
        said.decimals(f"{where} RPD", line.get("RPD %", ""), row.rpd, 1)
        said.text(f"{where} flags", "".join(sorted(set(line["flags"]) - set("HQY"))), "".join(sorted(row.flags)))
        if row.reports and row.result is not None:
            said.text(f"{where} reported", line["result"], made.written(row.result, row, row.flags))


def _clients(made: Recomputed, said: Compared) -> None:
    for line in table(made.parts["Results"], "sample", "analyte", "result", "unit", "detection limit"):
        where = f"client's {line['sample']} {line['analyte']}"
        spread = next(line[head] for head in line if head.startswith("+/-"))
        if line["analyte"] == "polar part":
            value, expanded, row = made.polar(line["sample"])
            flags = {"U"} if value < (row.detection or 0) else {"J"} if value < (row.reporting or 0) else set()
        else:
            alike = [
                r
                for r in made.rows
                if r.kind == "sample" and r.sample == line["sample"] and r.fraction == line["analyte"]
            ]
            reported = [r for r in alike if r.reports]
            if not reported:
                said.text(where, line["result"], "not read yet")
                continue
            row = reported[-1]
            assert row.result is not None
            assert row.expanded is not None
            value, expanded, flags = row.result, row.expanded, row.flags
        told = made.written(value, row, flags)
        said.text(where, line["result"], told)
        said.figure(f"{where} U", spread, None if told.startswith("<") else expanded, 2)
        said.figure(f"{where} detection", line["detection limit"], row.detection, 3)
        said.figure(f"{where} reporting", line["reporting limit"], row.reporting, 3)


def _quality(made: Recomputed, said: Compared) -> None:
    named = {row.typed["id"]: row for row in made.rows}
    looked_at = 0
    for line in table(made.parts["Quality control"], "rule", "rows", "value"):
        row = named.get(line["rows"].split()[-1])
        if row is None or not line["value"]:
            continue
        value = {
            "blank": row.net,
            "check": row.recovery,
            "second-source": row.recovery,
            "method-blank": row.result,
            "control": row.recovery,
            "spike": row.recovery,
            "spike-pair": row.rpd,
            "control-pair": row.rpd,
        }.get(line["rule"])
        if line["rule"] == "duplicate":
            parent = named[line["rows"].split()[0]]
            assert parent.result is not None
            assert row.result is not None
            value = row.rpd if "% " in f"{line['value']} " else abs(row.result - parent.result)
        if value is not None:
            looked_at += 1
            said.figure(f"verdict {line['rule']} {line['rows']}", line["value"], value)
    assert looked_at


def _standing(made: Recomputed, said: Compared) -> None:
    """What each result stands on: rows by id, each with its figure."""
    named = {row.typed["id"]: row for row in made.rows}
    for line in table(made.parts["What each result stands on"], "result", "calibration", "method blank"):
        curve = named[line["result"]].curve
        assert curve is not None
        said.text(f"{line['result']} stands on", line["calibration"].split()[0], curve.name)
        said.decimals(f"{line['result']} stands on r", line["calibration"].split()[2], float(curve.fit.rvalue), 6)
        for part in (part for head, cell in line.items() if head != "lots" for part in cell.split("; ")):
            words = part.split()
            if len(words) > 2 and words[0] in named:
                row = named[words[0]]
                value = {"blank": row.net, "method-blank": row.result}.get(row.kind, row.recovery)
                value = row.rpd if "RPD" in words else _apart(row, made) if "difference" in words else value
                said.figure(f"{line['result']} stands on {row.typed['id']}", words[1], value)


def _apart(row: Computed, made: Recomputed) -> float:
    """By how much a duplicate and the row of its sample that is reported differ."""
    alike = [each for each in made.rows if each.kind == "sample" and each.reports and each.fraction == row.fraction]
    parent = next(each for each in reversed(alike) if each.sample == row.typed["parent"])
    assert row.result is not None
    assert parent.result is not None
    return abs(row.result - parent.result)


def _blanks(made: Recomputed, said: Compared) -> None:
    named = {row.typed["id"]: row for row in made.rows}
    for line in table(made.parts["Zero and blanks"], "blank", "found", "net"):
        said.decimals(f"solvent blank {line['blank']}", line["net"], named[line["blank"]].net, 4)
