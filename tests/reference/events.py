"""Blanks and check standards once more, from the words of the run document alone: days, brackets, gaps.

Owns: a second reading of rule 10 and of the quality rules about events. Invariant: as in `figures`. A verdict is (rule,
ids in order of their names, state); passes are listed too.
"""

from __future__ import annotations

from datetime import timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from tests.reference.figures import EVENTS, Figures, Row, absorbance, at_most, below, number

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from tests.reference.figures import Table

Verdict = tuple[str, tuple[str, ...], str]


def said(rule: str, rows: list[str], state: str) -> Verdict:
    return rule, tuple(sorted(rows)), state


def plain(lot: Any) -> str:
    """A lot without what two people write differently."""
    return "".join(each for each in (lot or "").lower() if each not in " -")


class Events(Figures):
    """A run's figures, its days and its brackets."""

    def __init__(self, document: Table, now: datetime) -> None:
        super().__init__(document, now)
        self.unread = any(not row.void and not row.given.get("readings") for row in self.rows)
        self.kinds = [kind for kind in EVENTS if kind in self.method]
        self._days()
        for row in self.rows:
            if row.read and row.kind in ("check", "second-source") and row.extract and "expected" in row.given:
                row.recovery = 100 * row.extract / float(row.given["expected"])
        for row in self.rows:
            row.state = self._state(row)

    def _days(self) -> None:
        standards = (each["at"] for each in self.document["standard"] if "at" in each)
        times = sorted([*standards, *(row.at for row in self.rows if row.read and row.at)])
        gap = timedelta(hours=8)
        self.starts = [t for before, t in zip([None, *times], times, strict=False) if not before or t - before >= gap]
        day = 0
        for row in self.rows:
            day = row.day = self.day_of(row.at) if row.at and row.read else day

    def day_of(self, when: datetime) -> int:
        return max((n for n, start in enumerate(self.starts) if start <= when), default=0)

    def percent(self, name: str, row: Row) -> Any:
        """A limit of the batch, of the row's fraction where that has its own."""
        batch: Table = self.method["batch"]
        return batch.get(row.fraction, {}).get(name, batch.get(name))

    def within(self, value: float | None, limits: Any) -> bool:
        return limits is None or (value is not None and at_most(limits[0], value) and at_most(value, limits[1]))

    def blank_limit(self, blank: Row) -> float | None:
        direct = blank.calibration.direct if blank.calibration else self.reads == "concentration"
        return number(self.method, "blank", "concentration" if direct else "absorbance")

    def found(self, blank: Row) -> bool:
        limit = self.blank_limit(blank)
        return blank.net is not None and (limit is None or at_most(abs(blank.net), limit))

    def left_good(self, blank: Row) -> bool:
        limit = self.blank_limit(blank)
        if not blank.given.get("rezeroed"):
            return self.found(blank)
        left = absorbance(blank.given["as_left"], self.reads) if "as_left" in blank.given else 0.0
        return limit is None or at_most(abs(left), limit)

    def recovered(self, row: Row) -> bool:
        """Whether a check or second source has its value, whatever its lot."""
        name = "recovery_percent" if row.kind == "check" else "second_source_percent"
        limits = self.method.get("check", {}).get(name)
        return row.extract is not None and self.within(row.recovery, limits)

    def good(self, event: Row) -> bool:
        return self.recovered(event) if event.kind == "check" else self.found(event) and self.left_good(event)

    def beside(self, row: Row, kind: str) -> tuple[Row | None, Row | None]:
        """The nearest events of a kind before and after a row."""
        like = [each for each in self.rows if each.kind == kind and each.read and each.calibration is row.calibration]
        before = [each for each in like if each.place < row.place]
        after = [each for each in like if each.place > row.place]
        return before[-1] if before else None, after[0] if after else None

    def _state(self, row: Row) -> str:
        """Rule 10."""
        if row.void or not row.read:
            return "void" if row.void else "unread"
        if row.kind in EVENTS:
            return "accepted" if (self.found(row) if row.kind == "blank" else self.recovered(row)) else "held"
        held, missing = row.calibration is None or row.calibration.state != "pass", False
        for kind in self.kinds:
            before, after = self.beside(row, kind)
            left = before is None or (self.left_good(before) if kind == "blank" else self.recovered(before))
            found = after is None or (self.found(after) if kind == "blank" else self.recovered(after))
            held, missing = held or not (left and found), missing or after is None
        closing = self.method.get("check", {}).get("closing")
        return "held" if held else "open" if missing and closing else "accepted"

    def read_of(self, *kinds: str) -> list[Row]:
        return [row for row in self.rows if row.read and row.kind in kinds]

    # --- events, their days and gaps --------------------------------------------------------------------------

    def events(self) -> Iterator[Verdict]:
        for row in self.read_of("blank"):
            judged = self.blank_limit(row) is not None or not self.method.get("blank", {}).keys() & {
                "absorbance", "concentration",
            }  # fmt: skip
            yield said("blank", [row.id], ("pass" if judged else "warn") if self.good(row) else "fail")
        for row in self.read_of("check"):
            yield said("check", [row.id], "pass" if self.good(row) else "fail")

    def second(self, row: Row) -> bool:
        """Whether a second source recovered and its lot is no standard's."""
        lots = {plain(each.get("lot")) for each in self.document["standard"]} - {""}
        return self.recovered(row) and plain(row.given.get("lot")) not in lots

    def verified(self) -> Iterator[Verdict]:
        sources = self.read_of("second-source")
        for row in sources:
            later = [each for each in sources if each.place > row.place and each.calibration is row.calibration]
            if not self.second(row):
                yield said("second-source", [row.id], "warn" if any(map(self.second, later)) else "fail")
            else:
                known = row.given.get("lot") and any(each.get("lot") for each in self.document["standard"])
                yield said("second-source", [row.id], "pass" if known else "warn")
        if "second_source_percent" in self.method.get("check", {}):
            for each in self.calibrations:
                reported = any(row.reported and row.calibration is each for row in self.rows)
                verified = "verified" in each.given or any(row.calibration is each for row in sources)
                if reported and not verified:
                    yield said("second-source", [each.id], "fail")

    def opening(self) -> Iterator[Verdict]:
        if "check" not in self.method:
            return
        late: dict[tuple[int, str], list[str]] = {}
        for row in self.read_of("sample"):
            before = (each for each in self.read_of("check", "second-source") if each.place < row.place)
            if not any(each.day == row.day and self.recovered(each) for each in before):
                finished = row.calibration.finished if row.calibration else None
                state = "fail" if finished and self.day_of(finished) < row.day else "warn"
                late.setdefault((row.day, state), []).append(row.id)
        yield from (said("opening", rows, state) for (_, state), rows in late.items())

    def closing(self) -> Iterator[Verdict]:
        if self.unread or not self.method.get("check", {}).get("closing"):
            return
        for each in self.calibrations:
            mine = [row for row in self.rows if row.calibration is each and row.read and row.kind not in EVENTS]
            open_ = [row.id for row in mine if any(self.beside(row, kind)[1] is None for kind in self.kinds)]
            if open_ and any(row.reported for row in mine):
                yield said("closing", open_, "fail")

    def intervals(self) -> Iterator[Verdict]:
        for kind in self.kinds:
            days = {row.day for row in self.rows if row.read}
            for day in days:  # what is unread is left of the last one
                rows = [row for row in self.rows if row.read and row.day == day and row.kind in (kind, *self._others())]
                places = [-1, *(n for n, row in enumerate(rows) if row.kind == kind), len(rows)]
                for start, end in pairwise(places):
                    before, after = rows[start] if start >= 0 else None, rows[end] if end < len(rows) else None
                    if after is not None or not self.unread or day != max(days):
                        yield from self._gap(kind, before, rows[start + 1 : end], after)

    def _others(self) -> set[str]:
        return {row.kind for row in self.rows} - {*EVENTS}

    def _gap(self, kind: str, before: Row | None, rows: list[Row], after: Row | None) -> Iterator[Verdict]:
        most, longest = number(self.method, kind, "every_readings"), number(self.method, kind, "every_minutes")
        count, minutes, late = 0, 0.0, list[str]()
        start = before.at if before else max(
            (each["at"] for each in self.document["standard"] if rows and "at" in each
             and self.day_of(each["at"]) == rows[0].day), default=None,
        )  # fmt: skip
        for row in rows:
            count += len(row.signals)
            here = (row.at - start).total_seconds() / 60 if row.at and start else 0.0
            minutes = max(minutes, here)
            if (most is not None and count > most) or (longest is not None and below(longest, here)):
                late.append(row.id)
        many, long = most is not None and count > most, longest is not None and below(longest, minutes)
        if many or long:
            events = [each for each in (before, after) if each]
            near = longest is not None and at_most(minutes, 1.25 * longest) and all(map(self.good, events))
            yield said(f"{kind}-interval", late, "warn" if not many and near and events else "fail")
