"""A run's verdicts once more, from the words of the run document alone: batch, pairs, single rows, what was set aside.

Owns: a second reading of those quality rules that judge a row or a pair. Invariant: as in `figures`.
"""

from __future__ import annotations

import copy
import math
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from tests.reference.events import Events, plain, said
from tests.reference.figures import JOURNEY, SOLVENT, Row, at_most, below, number

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tests.reference.events import Verdict
    from tests.reference.figures import Table

CONTROLS, SPIKES = ("control", "control-duplicate"), ("spike", "spike-duplicate")
CLIENT = ("sample", *JOURNEY)
RULE_OF = {"control-duplicate": "control", "spike-duplicate": "spike"}
QUALITY = (*SOLVENT, "method-blank", "duplicate", *CONTROLS, *SPIKES)


def rpd(one: float, other: float) -> float | None:
    return 200 * abs(one - other) / (one + other) if one + other > 0 else None


class Verdicts(Events):
    """A run's figures and events with what is made of them."""

    def __init__(self, document: Table, now: datetime) -> None:
        super().__init__(document, now)
        self._blank_flags()

    def all(self) -> set[Verdict]:
        """Every verdict of the rules that are read here."""
        rules = (
            self.events, self.verified, self.opening, self.closing, self.intervals, self.method_blanks, self.recoveries,
            self.pairs, self.duplicates, self.replicates, self.single, self.holding, self.receipt, self.set_aside,
            self.fractions,
        )  # fmt: skip
        return {verdict for rule in rules for verdict in rule()}

    # --- batch ------------------------------------------------------------------------------------------------

    def _blank_flags(self) -> None:
        for blank in self.read_of("method-blank"):
            floor = blank.reporting if blank.detection is None else blank.detection
            if blank.result is None or floor is None or below(blank.result, floor):
                continue
            for row in self.read_of("sample", "duplicate"):
                like = (row.batch, row.fraction, row.unit) == (blank.batch, blank.fraction, blank.unit)
                if like and row.result is not None and "U" not in row.flags and below(row.result, 10 * blank.result):
                    row.flags.add("B")

    def method_blanks(self) -> Iterator[Verdict]:
        for row in self.read_of("method-blank"):
            if row.result is None or row.unit != self.method["unit"]:
                yield said("method-blank", [row.id], "warn")
            elif row.reporting is None or below(row.result, row.reporting):
                yield said("method-blank", [row.id], "pass")
            else:
                key = (row.batch, row.fraction, row.unit)
                samples = [each for each in self.read_of("sample") if each.reported]
                like = [each for each in samples if (each.batch, each.fraction, each.unit) == key]
                high = all("U" in each.flags or at_most(10 * row.result, each.result or 0.0) for each in like)
                yield said("method-blank", [row.id], "warn" if like and high else "fail")

    def last(self, sample: str, fraction: str, like: Row | None = None) -> Row | None:
        """The last reported row of a sample and fraction, on the basis of another where that is given."""
        rows = [row for row in self.read_of("sample") if row.reported]
        rows = [row for row in rows if row.sample == sample and row.fraction == fraction]
        if like is not None:
            rows = [row for row in rows if (row.unit, row.dry) == (like.unit, like.dry)]
        return rows[-1] if rows else None

    def parent(self, row: Row) -> Row | None:
        return self.last(row.given["of"], row.fraction, row) if row.kind in SPIKES else None

    def recovery(self, row: Row) -> float | None:
        """The share of the added mass that was found."""
        added, parent = number(row.given, "added_mg"), self.parent(row)
        missing = row.kind in SPIKES and (parent is None or parent.result is None)
        if added is None or row.result is None or not row.factor or row.extract_ml is None or missing:
            return None
        there = max(parent.result or 0.0, 0.0) if parent else 0.0
        mg = (row.result - there) * row.extract_ml * row.dilution / (1000 * row.factor)
        return 100 * mg / added / float(row.given.get("response_factor", 1))

    def recovers(self, row: Row) -> str:
        """The verdict on a control or spike by itself."""
        value, parent = self.recovery(row), self.parent(row)
        material = row.calibration.given.get("material") if row.calibration else None
        foreign = material and plain(row.given.get("material")) not in ("", plain(material))
        over = "E" in row.flags or (parent is not None and "E" in parent.flags)
        if value is None or over or (foreign and "response_factor" not in row.given) or self._too_small(row, parent):
            return "warn"
        limits = self.percent("spike_percent" if row.kind in SPIKES else "control_percent", row)
        return "pass" if self.within(value, limits) else "fail"

    def _too_small(self, row: Row, parent: Row | None) -> bool:
        if parent is None or parent.result is None or not row.factor or row.extract_ml is None:
            return False
        mg = parent.result * row.extract_ml * row.dilution / (1000 * row.factor)
        return below(4 * float(row.given["added_mg"]), mg)

    def recoveries(self) -> Iterator[Verdict]:
        states = {row.id: self.recovers(row) for row in self.read_of(*CONTROLS, *SPIKES)}
        for row in self.read_of(*CONTROLS, *SPIKES):
            controls = [each for each in self.read_of(*CONTROLS) if each.batch == row.batch]
            beside = {states[each.id] for each in controls if each.fraction == row.fraction}
            matrix = row.kind in SPIKES and "pass" in beside and "fail" not in beside
            state = "warn" if matrix and states[row.id] == "fail" else states[row.id]
            yield said(RULE_OF.get(row.kind) or row.kind, [row.id], state)

    def pairs(self) -> Iterator[Verdict]:
        for row in self.read_of("control-duplicate", "spike-duplicate"):
            kind = RULE_OF[row.kind]
            firsts = [each for each in self.read_of(kind) if each.place < row.place and each.fraction == row.fraction]
            if kind == "spike":
                firsts = [each for each in firsts if each.given["of"] == row.given["of"]]
                firsts = [each for each in firsts if each.batch == row.batch] or firsts
            else:
                firsts = [each for each in firsts if each.batch == row.batch]
            if not firsts:
                yield said(f"{kind}-pair", [row.id], "warn")
                continue
            first, high = firsts[-1], number({"high": self.percent("pair_rpd_percent", row)}, "high")
            value = rpd(first.result, row.result) if first.result is not None and row.result is not None else None
            if value is None or "E" in first.flags | row.flags or self._unequal(first, row):
                state = "warn"
            else:
                state = "pass" if high is None or at_most(value, high) else "fail"
            yield said(f"{kind}-pair", [first.id, row.id], state)

    def _unequal(self, first: Row, row: Row) -> bool:
        amounts = (first.amount, row.amount), (number(first.given, "added_mg"), number(row.given, "added_mg"))
        apart = [a is not None and b is not None and below(0.02 * max(a, b), abs(a - b)) for a, b in amounts]
        return any(apart) or (first.unit, first.dry) != (row.unit, row.dry)

    def agree(self, one: Row, other: Row) -> str:
        """The duplicate rule."""
        if "E" in one.flags | other.flags or (one.unit, one.dry) != (other.unit, other.dry):
            return "warn"
        pair = [(each.result or 0.0, each.detection, each.reporting) for each in (one, other)]
        difference, value = abs(pair[0][0] - pair[1][0]), rpd(pair[0][0], pair[1][0])
        if all(detection is not None and below(result, detection) for result, detection, _ in pair):
            return "pass"
        limits = [reporting for *_, reporting in pair if reporting is not None]
        if any(reporting is not None and below(result, 5 * reporting) for result, _, reporting in pair):
            return "pass" if at_most(difference, max(limits)) else "fail"
        high = number({"high": self.percent("duplicate_rpd_percent", one)}, "high")
        if high is not None and value is None:
            return "warn"
        return "pass" if high is None or at_most(value or 0.0, high) else "fail"

    def duplicates(self) -> Iterator[Verdict]:
        for row in self.read_of("duplicate"):
            parent = self.last(row.given["of"], row.fraction)
            if parent is None or parent.result is None or row.result is None:
                yield said("duplicate", [row.id], "warn")
            else:
                yield said("duplicate", [parent.id, row.id], self.agree(parent, row))

    # --- single rows ------------------------------------------------------------------------------------------

    def replicates(self) -> Iterator[Verdict]:
        for row in self.rows:
            most = number({"most": self.percent("replicate_percent", row)}, "most")
            if row.read and len(row.signals) > 1 and most is not None and row.net is not None:
                allowed = max(most / 100 * abs(row.net), 3 * self.step_at(row.mean))
                good = all(at_most(abs(value - row.mean), allowed) for value in row.signals)
                yield said("replicates", [row.id], "pass" if good else "warn")

    def single(self) -> Iterator[Verdict]:
        for row in self.rows:
            if row.reported and "E" in row.flags:
                yield said("over-range", [row.id], "fail")
            if row.reported and row.result is None:
                yield said("amounts", [row.id], "fail")
            if not row.void and not row.read and row.kind not in SOLVENT and row.factor is None:
                yield said("amounts", [row.id], "warn")
            if row.read and (row.reported or row.kind == "method-blank") and row.result is not None:
                if row.reporting is not None and below(row.result, -row.reporting):
                    yield said("negative", [row.id], "fail")
                elif row.detection is not None and below(row.result, -row.detection):
                    yield said("negative", [row.id], "warn")
        read = [row for row in self.rows if row.read]
        for row, after in pairwise(read):
            results = row.result is not None and after.result is not None
            if results and "E" in row.flags and below(after.result or 0.0, 0.1 * (row.result or 0.0)):
                yield said("carry-over", [after.id], "warn")

    def fractions(self) -> Iterator[Verdict]:
        for sample in {row.sample for row in self.read_of("sample")}:
            whole = self.last(sample, "oil_grease")
            part = self.last(sample, "petroleum", whole)
            if whole is None or part is None or None in (whole.result, part.result):
                continue
            reported = [each for each in self.read_of("sample") if each.reported and each.sample == sample]
            if len({each.fraction for each in reported}) == len(reported):
                allowed = math.hypot(whole.expanded or 0.0, part.expanded or 0.0)
                if below(allowed, (part.result or 0.0) - (whole.result or 0.0)):
                    yield said("fractions", [whole.id, part.id], "fail")

    def holding(self) -> Iterator[Verdict]:
        limits: Table = self.method["holding"]
        bottles = {each["id"]: each for each in self.document["sample"]}
        batches = {each["id"]: each for each in self.document.get("batch", [])}
        for name in limits:
            start, end = name.removesuffix("_days").split("_to_")
            lacking = []
            for row in self.rows:
                if row.void or row.kind not in (*CLIENT, "duplicate", *SPIKES):
                    continue
                sample = row.given.get("of") or row.sample
                times = {
                    "collection": self._moment(bottles.get(sample, {}).get("collected")),
                    "extraction": row.given.get("extracted") or batches.get(row.batch or "", {}).get("finished"),
                    "analysis": row.at if row.read else None,
                }
                one, two = times[start], times[end]
                if one and two and one <= two:
                    late = below(float(limits[name]), (two - one) / timedelta(days=1))
                    yield said("holding", [row.id], "fail" if late else "pass")
                elif not (one and two) and row.reported and row.kind not in JOURNEY:
                    lacking.append(sample)
            if lacking:
                yield said("holding", list(set(lacking)), "warn")

    def _moment(self, when: Any) -> datetime | None:
        return when if when is None or isinstance(when, datetime) else datetime.combine(when, time(), self.now.tzinfo)

    def receipt(self) -> Iterator[Verdict]:
        limits: Table = self.method.get("receipt", {})
        bottles = {each["id"]: each for each in self.document["sample"]}
        unknown: dict[str, list[str]] = {"received_c": [], "pH": []}
        for sample in {row.sample: None for row in self.read_of(*CLIENT) if row.reported}:
            rows = [row for row in self.read_of(*CLIENT) if row.reported and row.sample == sample]
            journey = all(row.kind in JOURNEY for row in rows)
            water = any((row.given.get("matrix") or "water") == "water" for row in rows) and "ph_max" in limits
            water = water and (self.method["unit"] == "mg/L" or any(row.given.get("matrix") == "water" for row in rows))
            bottle, judged = bottles.get(sample, {}), {"received_c": "temperature_c" in limits, "pH": water}
            for name in (name for name, asked in judged.items() if asked):
                if name not in bottle:
                    unknown[name] += [] if journey else [sample]
                elif bad := self._received(bottle, name, limits):
                    yield said("receipt", [sample], bad)
        yield from (said("receipt", names, "warn") for names in unknown.values() if names)

    def _received(self, bottle: Table, name: str, limits: Table) -> str:
        """The verdict on a temperature or a pH; empty where it is good."""
        value = float(bottle[name])
        if name == "pH":
            done = bottle.get("pH_adjusted") not in (None, False)
            return "" if at_most(value, float(limits["ph_max"])) else "warn" if done else "fail"
        low, high = (float(each) for each in limits["temperature_c"])
        if at_most(low, value) and at_most(value, high):
            return ""
        days = [self._day(bottle.get(each)) for each in ("collected", "received")]
        iced = below(high, value) and days[0] is not None and days[0] == days[1] and bottle.get("on_ice") is True
        return "warn" if iced else "fail"

    def _day(self, when: Any) -> date | None:
        return when.date() if isinstance(when, datetime) else when

    # --- what was set aside -----------------------------------------------------------------------------------

    def own(self, row: Row) -> str:
        """Whether a row of quality control, void or not, is within its own rule's limits: pass, fail or warn."""
        if row.void:
            document = copy.deepcopy(self.document)
            del document["queue"][row.place]["void"]
            other = Verdicts(document, self.now)
            return other.own(other.rows[row.place])
        if row.kind == "second-source":
            return "pass" if self.recovered(row) else "fail"
        if row.kind == "method-blank":
            if row.result is None or row.reporting is None:
                return "warn"
            return "pass" if below(row.result, row.reporting) else "fail"
        rule: str = RULE_OF.get(row.kind, row.kind)
        judge = {"duplicate": self.duplicates}.get(rule, self.events)
        if rule in ("control", "spike"):
            return self.recovers(row)
        return next((state for name, rows, state in judge() if name == rule and row.id in rows), "warn")

    def set_aside(self) -> Iterator[Verdict]:
        for row in self.rows:
            if row.void and row.kind in QUALITY and row.given.get("readings") and self.own(row) == "fail":
                after = next((each for each in self.rows[row.place + 1 :] if each.read), None)
                again = after is not None and after.kind == row.kind and self.own(after) == "pass"
                yield said("voided-qc", [row.id], "warn" if again else "fail")
