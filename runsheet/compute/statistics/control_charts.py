"""Control charts of one figure across runs.

Owns: the limits of an individuals chart, the run rules, and a laboratory's own limits. Invariant: a point on a line is
not beyond it, and every rule reads points in one way: which side of the mean they are on, and beyond how many sigma.

Sources: individuals chart, NIST/SEMATECH e-Handbook 6.3.2.2; run rules, Nelson 1984 (Journal of Quality Technology
16, 237-239); own limits, SW-846 8000D.
"""

from __future__ import annotations

import itertools
import math
import statistics
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from runsheet.compute.compare import TOLERANCE

D2 = 1.128
"""The mean range of two normal values, in sigma (e-Handbook 6.3.2.2)."""
D4 = 3.267
"""The upper limit of a moving range, in mean moving ranges (e-Handbook 6.3.2.1, two values)."""
OWN_LIMITS_FROM = 20
"""Points a laboratory's own limits need (8000D)."""
DEFAULT = (1, 2, 3, 5)
"""The run rules that are on unless the user says otherwise (common practice, no source)."""


def mean_and_s(values: Sequence[float]) -> tuple[float, float]:
    """Mean and sample standard deviation of two or more values; equal values give exactly 0."""
    mean = statistics.mean(values)
    return mean, math.hypot(*(value - mean for value in values)) / math.sqrt(len(values) - 1)


@dataclass(frozen=True, slots=True)
class Individuals:
    """An individuals chart, in the unit of its values. Sigma 0 is legal: all values are equal."""

    n: int
    mean: float
    moving_range: float
    """Mean of the differences of neighbours, without their sign."""
    s: float
    """Standard deviation of the values: a slow drift is in it, and not in `sigma`."""

    @property
    def sigma(self) -> float:
        """The short-term standard deviation the limits stand on."""
        return self.moving_range / D2

    @property
    def action(self) -> tuple[float, float]:
        """Mean -+ 3 sigma."""
        return self.mean - 3 * self.sigma, self.mean + 3 * self.sigma

    @property
    def warning(self) -> tuple[float, float]:
        """Mean -+ 2 sigma."""
        return self.mean - 2 * self.sigma, self.mean + 2 * self.sigma

    @property
    def range_upper(self) -> float:
        """Upper limit of a single moving range."""
        return D4 * self.moving_range


@dataclass(frozen=True, slots=True)
class Ranges(Individuals):
    """A chart of ranges of two: RPDs, spreads. Its limits are 0 and D4 mean ranges, and no range is below 0."""

    @property
    def sigma(self) -> float:
        """A third of the way from the mean to the upper limit."""
        return (D4 - 1) / 3 * self.mean

    @property
    def action(self) -> tuple[float, float]:
        """0 and D4 mean ranges (e-Handbook 6.3.2.1)."""
        return 0.0, D4 * self.mean

    @property
    def warning(self) -> tuple[float, float]:
        """0 and two thirds of the way to the upper limit."""
        return 0.0, self.mean + 2 * self.sigma


def ranges(values: Sequence[float]) -> Ranges | None:
    """The chart of ranges of two in their order of time; None for fewer than two."""
    made = individuals(values)
    return None if made is None else Ranges(made.n, made.mean, made.moving_range, made.s)


def individuals(values: Sequence[float]) -> Individuals | None:
    """The chart of values in their order of time; None for fewer than two."""
    if len(values) < 2:
        return None
    mean, s = mean_and_s(values)
    ranges = [abs(later - earlier) for earlier, later in itertools.pairwise(values)]
    return Individuals(len(values), mean, statistics.mean(ranges), s)


def own_limits(values: Sequence[float], floor: float | None = 10.0) -> tuple[float, float] | None:
    """Mean -+ 3 s, which may replace a method's limits; None under 20 points (8000D).

    `floor` is the least lower limit, 10 % for a recovery; None for what is no recovery.
    """
    if len(values) < OWN_LIMITS_FROM:
        return None
    mean, s = mean_and_s(values)
    low = mean - 3 * s
    return low if floor is None else max(low, floor), mean + 3 * s


@dataclass(frozen=True, slots=True)
class Violation:
    """A run rule met at one point."""

    rule: int
    at: int
    """Place of the point that completes it, from 0."""
    points: Sequence[int]
    """Places of the points that take part, `at` the last of them: of a long run all its points up to `at`."""
    words: str
    """What the point is, as in "the twelfth in a row above the mean"."""


@dataclass(frozen=True, slots=True)
class Points:
    """A series as the rules read it."""

    values: Sequence[float]
    centre: float
    sigma: float

    def beyond(self, sigmas: int) -> list[int]:
        """1 for each point more than so many sigma above the centre, -1 below it, 0 within or on the line."""
        return [self._side(value, self.centre, sigmas) for value in self.values]

    def steps(self) -> list[int]:
        """1 for each point above the one before it, -1 below it, 0 for an equal one and for the first."""
        return [0, *(self._side(later, earlier, 0) for earlier, later in itertools.pairwise(self.values))]

    def _side(self, value: float, line: float, sigmas: int) -> int:
        """A tie is judged by sigma too: the mean of values about 0 is rarely 0 itself."""
        excess = abs(value - line) - sigmas * self.sigma
        if excess <= TOLERANCE * max(abs(value), abs(line), self.sigma):
            return 0
        return 1 if value > line else -1


Met = Iterator[tuple[Sequence[int], str]]
"""For each point that completes a rule: the points that take part, and what the last one is."""


def _run(goes_on: Iterable[bool], needed: int, first: int = 1) -> Iterator[range]:
    """Each run of at least `needed` points up to each of its points; `first` is the length a run starts with."""
    length = 0
    for at, on in enumerate(goes_on):
        length = (length + 1 if length else first) if on else 0
        if length >= needed:
            yield range(at - length + 1, at + 1)


def _same_as_before(sides: Sequence[int]) -> Iterator[bool]:
    """Whether each side, or step, is that of the point before."""
    return (at > 0 and side != 0 and side == sides[at - 1] for at, side in enumerate(sides))


def _some_of(points: Points, needed: int, window: int, sigmas: int) -> Met:
    """So many of the last few points beyond so many sigma on one side, the last point among them."""
    sides = points.beyond(sigmas)
    for at, side in enumerate(sides):
        members = [place for place in range(max(0, at - window + 1), at + 1) if side and sides[place] == side]
        if len(members) >= needed:
            of = f"{len(members)} of {window} in a row " if window > 1 else ""
            yield tuple(members), f"{of}more than {sigmas} sigma {_WHERE[side]} the mean"


def one_beyond_three_sigma(points: Points) -> Met:
    """Rule 1."""
    return _some_of(points, needed=1, window=1, sigmas=3)


def nine_on_one_side(points: Points) -> Met:
    """Rule 2. A point on the mean is on neither side."""
    sides = points.beyond(0)
    for run in _run(_same_as_before(sides), needed=9, first=2):
        yield run, f"{_nth(run)} {_WHERE[sides[run[-1]]]} the mean"


def six_up_or_down(points: Points) -> Met:
    """Rule 3. Six points are five steps; the second step of one kind makes three points."""
    steps = points.steps()
    for run in _run(_same_as_before(steps), needed=6, first=3):
        yield run, f"{_nth(run)} {'rising' if steps[run[-1]] > 0 else 'falling'}"


def fourteen_alternating(points: Points) -> Met:
    """Rule 4. Fourteen points are thirteen steps, each the other way than the one before."""
    steps = points.steps()
    turns = (at > 0 and step != 0 and step == -steps[at - 1] for at, step in enumerate(steps))
    for run in _run(turns, needed=14, first=3):
        yield run, f"{_nth(run)} alternating up and down"


def two_of_three_beyond_two_sigma(points: Points) -> Met:
    """Rule 5. At the start of a chart two of two will do: no third point could undo it."""
    return _some_of(points, needed=2, window=3, sigmas=2)


def four_of_five_beyond_one_sigma(points: Points) -> Met:
    """Rule 6. At the start of a chart four of four will do."""
    return _some_of(points, needed=4, window=5, sigmas=1)


def fifteen_within_one_sigma(points: Points) -> Met:
    """Rule 7. A point on the line of one sigma is within it, one on the mean is too."""
    for run in _run((side == 0 for side in points.beyond(1)), needed=15):
        yield run, f"{_nth(run)} within 1 sigma of the mean"


def eight_beyond_one_sigma(points: Points) -> Met:
    """Rule 8. Both sides occur among the last eight: eight on one side are rule 6."""
    sides = points.beyond(1)
    for run in _run((side != 0 for side in sides), needed=8):
        if len(set(sides[run.stop - 8 : run.stop])) == 2:
            yield run, f"{_nth(run)} more than 1 sigma from the mean, on both sides of it"


@dataclass(frozen=True, slots=True)
class Rule:
    """A run rule."""

    words: str
    meets: Callable[[Points], Met]
    needs_sigma: bool


RULES = {
    1: Rule("one point beyond 3 sigma", one_beyond_three_sigma, needs_sigma=True),
    2: Rule("nine in a row on one side of the mean", nine_on_one_side, needs_sigma=False),
    3: Rule("six in a row steadily rising or falling", six_up_or_down, needs_sigma=False),
    4: Rule("fourteen in a row alternating up and down", fourteen_alternating, needs_sigma=False),
    5: Rule("two of three beyond 2 sigma on one side", two_of_three_beyond_two_sigma, needs_sigma=True),
    6: Rule("four of five beyond 1 sigma on one side", four_of_five_beyond_one_sigma, needs_sigma=True),
    7: Rule("fifteen in a row within 1 sigma", fifteen_within_one_sigma, needs_sigma=True),
    8: Rule("eight in a row beyond 1 sigma on both sides", eight_beyond_one_sigma, needs_sigma=True),
}
"""The run rules by Nelson's numbers."""


def violations(
    values: Sequence[float], centre: float, sigma: float, rules: Iterable[int] = DEFAULT
) -> tuple[Violation, ...]:
    """Every point of a series, in order of time, that completes a rule; in order of points, then rules.

    A run longer than its rule asks for is a violation at each of its further points. With sigma 0 only the rules that
    need none apply. Raises KeyError for a number that is not in `RULES`.
    """
    points = Points(values, centre, sigma)
    chosen = [(number, RULES[number]) for number in sorted(set(rules))]
    found = [
        Violation(number, taking_part[-1], taking_part, words)
        for number, rule in chosen
        if sigma > 0 or not rule.needs_sigma
        for taking_part, words in rule.meets(points)
    ]
    return tuple(sorted(found, key=lambda violation: (violation.at, violation.rule)))


def at_last(
    values: Sequence[float], centre: float, sigma: float, rules: Iterable[int] = DEFAULT
) -> tuple[Violation, ...]:
    """The rules the last point completes, as `violations` does."""
    return tuple(found for found in violations(values, centre, sigma, rules) if found.at == len(values) - 1)


_WHERE = {1: "above", -1: "below"}
_ORDINALS = [
    "first",
    "second",
    "third",
    "fourth",
    "fifth",
    "sixth",
    "seventh",
    "eighth",
    "ninth",
    "tenth",
    "eleventh",
    "twelfth",
    "thirteenth",
    "fourteenth",
    "fifteenth",
    "sixteenth",
    "seventeenth",
    "eighteenth",
    "nineteenth",
    "twentieth",
]


def _nth(run: range) -> str:
    """Say "the ninth in a row" of a run's last point, in figures above twenty."""
    number = len(run)
    if number <= len(_ORDINALS):
        return f"the {_ORDINALS[number - 1]} in a row"
    ending = {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th") if number % 100 not in (11, 12, 13) else "th"
    return f"the {number}{ending} in a row"
