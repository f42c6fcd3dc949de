"""The detection study: 40 CFR 136 Appendix B revision 2, rule by rule (from memory where the tests say nothing)."""

from __future__ import annotations

import dataclasses
from datetime import UTC, date, datetime, timedelta
from decimal import ROUND_HALF_UP, Decimal
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from runsheet.compute.statistics.detection_limits import Measured, months_on, rank_of_99th
from runsheet.compute.statistics.detection_study import Options, Study, study
from tests.make import examples

if TYPE_CHECKING:
    from collections.abc import Sequence

NOW = datetime(2026, 6, 30, 12, tzinfo=UTC)
SPIKES = [2.1, 1.9, 2.4, 2.0, 1.7, 2.2, 2.3]
BLANKS = [0.1, -0.05, 0.2, 0.0, 0.15, 0.05, 0.1]
MDL_S = 0.757475912724473


def made(value: float | None, ago: float = 1, spiked: float | None = None, batch: str = "B1") -> Measured:
    """One result of so many days ago; each day is a run."""
    at = NOW - timedelta(days=ago)
    return Measured(value, at, batch, f"run of {at:%Y-%m-%d}", "row", spiked)


def spread(values: Sequence[float | None], spiked: float | None = None) -> list[Measured]:
    """Results on three days, in three runs."""
    return [made(value, 1 + i % 3, spiked) for i, value in enumerate(values)]


GOOD_SPIKES, GOOD_BLANKS = spread(SPIKES, 2), spread(BLANKS)


def test_a_complete_study() -> None:
    found = study(GOOD_SPIKES, GOOD_BLANKS, NOW)
    assert (found.complete, found.missing, found.advice) == (True, (), ())
    assert (found.spikes.n, found.blanks.n, found.level) == (7, 7, 2)
    assert found.spikes.t == pytest.approx(3.1426684, rel=1e-7)
    assert found.mdl == found.mdl_s == pytest.approx(MDL_S, rel=1e-12)
    assert (found.verification, found.due, found.overdue) == (None, None, False)


def test_the_larger_limit_is_the_limit() -> None:
    found = study(GOOD_SPIKES, spread([1.0, 0.2, 0.5, 1.4, 0.1, 0.9, 1.2]), NOW)
    assert found.mdl == found.mdl_b
    assert (found.mdl_b or 0) > (found.mdl_s or 0)


# What is missing.


@pytest.mark.parametrize(
    ("spikes", "blanks", "missing"),
    [
        (GOOD_SPIKES[:5], GOOD_BLANKS, ["5 of 7 spikes: 2 more"]),
        (GOOD_SPIKES, GOOD_BLANKS[:6], ["6 of 7 method blanks: 1 more"]),
        (
            [],
            GOOD_BLANKS,
            ["0 of 7 spikes: 7 more", "spikes in 0 of 3 batches", "spikes on 0 of 3 calendar days"],
        ),
        (
            [made(value, 1 + i % 2, 2) for i, value in enumerate(SPIKES)],
            GOOD_BLANKS,
            ["spikes in 2 of 3 batches", "spikes on 2 of 3 calendar days"],
        ),
        (
            [made(value, 1 + i % 2, 2, f"B{i}") for i, value in enumerate(SPIKES)],
            GOOD_BLANKS,
            ["spikes on 2 of 3 calendar days"],
        ),
        (
            GOOD_SPIKES,
            [dataclasses.replace(blank, run="one") for blank in GOOD_BLANKS],
            ["method blanks in 1 of 3 batches"],
        ),
    ],
)
def test_what_is_missing(spikes: list[Measured], blanks: list[Measured], missing: list[str]) -> None:
    found = study(spikes, blanks, NOW)
    assert list(found.missing) == missing
    assert not found.complete
    assert found.mdl is not None


def test_a_blank_without_a_number_is_a_blank_and_a_spike_without_one_is_none() -> None:
    found = study(spread([*SPIKES[:6], None], 2), spread([*BLANKS[:6], None]), NOW)
    assert "6 of 7 spikes: 1 more" in found.missing
    assert not any("blank" in words for words in found.missing)


@pytest.mark.parametrize("bad", [0.0, -0.1, None])
def test_every_spike_of_an_initial_study_is_above_0(bad: float | None) -> None:
    found = study([*GOOD_SPIKES, made(bad, 4, 2)], GOOD_BLANKS, NOW)
    assert found.missing == (
        "a spike's result is not above 0 (run of 2026-06-26 row): repeat the spikes at a higher level",
    )
    assert found.mdl_s is not None


def test_of_the_spikes_collected_later_one_in_twenty_may_fail() -> None:
    """Sections 2 c and 3 c i."""
    spikes = spread(SPIKES * 3, 2)[:19]
    at_five_percent = study([*spikes, made(0.0, 4, 2)], GOOD_BLANKS, NOW, existing=0.7)
    assert at_five_percent.complete
    assert at_five_percent.spikes.n == 20
    over = study([*spikes[:18], made(0.0, 4, 2)], GOOD_BLANKS, NOW, existing=0.7)
    assert over.missing == (
        "1 of 19 spikes, more than 5 %, gave no result above 0: raise the spiking level and make an initial study",
    )
    assert study([*spikes, made(0.0, 4, 2)], GOOD_BLANKS, NOW).complete is False


def test_results_all_equal_make_no_limit() -> None:
    found = study(spread([2.0] * 7, 2), spread([0.0] * 7), NOW)
    assert (found.mdl_s, found.mdl_b, found.mdl) == (0, 0, None)
    assert found.missing == ("a limit above 0: the results are rounded too coarsely to scatter",)
    beside = study(spread([2.0] * 7, 2), GOOD_BLANKS, NOW)
    assert beside.complete
    assert "the spikes' results are all equal: rounded too coarsely for a study" in beside.advice


# What is left out.


def test_no_older_than_24_months() -> None:
    edge = datetime(2024, 6, 30, 0, 5, tzinfo=UTC)
    within = dataclasses.replace(GOOD_SPIKES[0], at=edge, value=2.5)
    old = dataclasses.replace(within, at=edge - timedelta(minutes=10))
    found = study([*GOOD_SPIKES, within, old], [*GOOD_BLANKS, old], NOW)
    assert found.spikes.n == 8
    assert [(one.measured, one.why) for one in found.spikes.left_out] == [(old, "older than 24 months")]
    assert [one.why for one in found.blanks.left_out] == ["older than 24 months"]


def test_nothing_later_than_the_study() -> None:
    later = dataclasses.replace(GOOD_SPIKES[0], at=NOW + timedelta(days=1))
    found = study([*GOOD_SPIKES, later], GOOD_BLANKS, NOW)
    assert [one.why for one in found.spikes.left_out] == ["later than 2026-06-30, the day of the study"]


def test_only_the_latest_spiking_level() -> None:
    others = [made(5.1, 10, 5), made(2.0, 11, 2.041), made(2.0, 12, 2.0408), made(1.9, 13), made(1.9, 14, 0)]
    found = study([*others, *GOOD_SPIKES], GOOD_BLANKS, NOW)
    assert found.level == 2
    assert found.spikes.n == 8
    assert [one.why for one in found.spikes.left_out] == [
        "its spiked concentration is not known",
        "its spiked concentration is not known",
        "spiked to 2.041, the latest to 2: one level counts",
        "spiked to 5, the latest to 2: one level counts",
    ]
    latest = study([*GOOD_SPIKES, made(5.1, 0.2, 5)], GOOD_BLANKS, NOW)
    assert (latest.level, latest.spikes.n) == (5, 1)
    assert "1 of 7 spikes: 6 more" in latest.missing


def test_a_result_far_off_stays() -> None:
    found = study([*GOOD_SPIKES, made(40.0, 4, 2)], [*GOOD_BLANKS, made(40.0, 4)], NOW)
    assert (found.spikes.n, found.blanks.n) == (8, 8)
    assert (found.spikes.left_out, found.blanks.left_out) == ((), ())
    assert (found.mdl_s or 0) > 30


# The method blanks.


def test_no_blank_with_a_number() -> None:
    found = study(GOOD_SPIKES, spread([None] * 7), NOW)
    assert (found.mdl_b, found.blanks.way) == (None, "none")
    assert found.blanks.words == "no method blank gave a numerical result: MDL_b does not apply"
    assert found.mdl == found.mdl_s
    assert found.complete


def test_some_blanks_with_a_number() -> None:
    found = study(GOOD_SPIKES, spread([None, 0.3, 0.9, -0.2, None, 0.1, 0.4]), NOW)
    assert (found.mdl_b, found.blanks.way) == (0.9, "highest")
    assert found.blanks.words == "the highest: 5 of 7 gave a numerical result"


def test_all_blanks_with_a_number_and_a_negative_mean() -> None:
    low = [value - 0.3 for value in BLANKS]
    found = study(GOOD_SPIKES, spread(low), NOW)
    t_s = 3.142668403290985 * float(np.std(low, ddof=1))
    assert found.mdl_b == pytest.approx(t_s, rel=1e-12)
    assert found.blanks.way == "mean + t s"
    assert found.blanks.words == "0 (the mean is negative) + t 3.143 x s"


@pytest.mark.parametrize(
    ("count", "rank"),
    [(100, 99), (101, 100), (130, 129), (140, 139), (149, 148), (150, 149), (151, 149), (164, 162), (250, 248)],
)
def test_rank(count: int, rank: int) -> None:
    """Half up: 150 x 0.99 = 148.5 is 149, and 250 x 0.99 = 247.5 is 248."""
    assert rank_of_99th(count) == rank
    for n in range(100, 3000):
        exact = (Decimal(n) * Decimal("0.99")).quantize(Decimal(1), ROUND_HALF_UP)
        assert rank_of_99th(n) == exact


def test_from_a_hundred_blanks_on_the_rank() -> None:
    numbers: list[float | None] = [i / 100 for i in range(1, 99)]
    assert study(GOOD_SPIKES, spread([*numbers, None]), NOW).blanks.way == "highest"
    found = study(GOOD_SPIKES, spread([*numbers, None, None]), NOW)
    assert (found.blanks.way, found.mdl_b) == ("rank", 0.97)  # the 99th of 100, two of which rank below 0.01


def test_a_rank_that_falls_on_a_blank_without_a_number_takes_the_next_number() -> None:
    found = study(GOOD_SPIKES, spread([None] * 199 + [0.8]), NOW)
    assert (found.blanks.way, found.mdl_b) == ("rank", 0.8)


def test_a_hundred_blanks_with_numbers_take_mean_and_s_unless_the_laboratory_chooses_the_percentile() -> None:
    numbers = [i / 1000 for i in range(1, 121)]
    assert study(GOOD_SPIKES, spread(numbers), NOW).blanks.way == "mean + t s"
    chosen = study(GOOD_SPIKES, spread(numbers), NOW, options=Options(percentile=True))
    assert (chosen.blanks.way, chosen.mdl_b) == ("rank", 0.119)
    few = study(GOOD_SPIKES, GOOD_BLANKS, NOW, options=Options(percentile=True))
    assert few.blanks.way == "mean + t s"


# The annual verification.


@pytest.mark.parametrize(
    ("existing", "keep"),
    [(MDL_S, True), (MDL_S * 2, True), (MDL_S * 2.001, False), (MDL_S / 2, True), (MDL_S / 2.001, False)],
)
def test_the_limit_may_stay_within_half_and_twice(existing: float, keep: bool) -> None:  # noqa: FBT001
    found = study(GOOD_SPIKES, spread([0.0, 0.01] * 7), NOW, existing).verification
    assert found is not None
    assert found.may_keep is keep
    assert found.ratio == pytest.approx(MDL_S / existing, rel=1e-12)
    assert (found.blanks, found.above) == (14, 0)


@pytest.mark.parametrize(
    ("blanks", "above", "keep"), [(100, 2, True), (100, 3, False), (67, 2, True), (66, 2, False), (7, 1, False)]
)
def test_the_limit_may_stay_when_fewer_than_3_percent_of_blanks_are_above_it(
    blanks: int,
    above: int,
    keep: bool,  # noqa: FBT001
) -> None:
    """Of all method blanks; 3 of 100 are not fewer, 2 of 67 are 2.99 %."""
    values: list[float | None] = [*[None] * (blanks - above - 1), 0.8, *[0.81] * above]
    found = study(GOOD_SPIKES, spread(values), NOW, existing=0.8).verification
    assert found is not None
    assert (found.blanks, found.above, found.may_keep) == (blanks, above, keep)
    assert f"{above} of {blanks} method blanks above it" in found.words


def test_no_word_on_keeping_while_something_is_missing() -> None:
    found = study(GOOD_SPIKES[:6], GOOD_BLANKS, NOW, existing=0.7)
    assert found.verification is not None
    assert found.verification.may_keep is None
    assert found.verification.verified == found.mdl


@pytest.mark.parametrize("existing", [None, 0.0, -1.0, float("nan"), float("inf")])
def test_without_a_limit_in_use_the_study_is_an_initial_one(existing: float | None) -> None:
    assert study(GOOD_SPIKES, GOOD_BLANKS, NOW, existing).verification is None


@pytest.mark.parametrize(
    ("studied", "due"),
    [
        (date(2025, 5, 30), date(2026, 6, 30)),
        (date(2025, 1, 31), date(2026, 2, 28)),
        (date(2023, 1, 31), date(2024, 2, 29)),
        (date(2024, 2, 29), date(2025, 3, 29)),
        (date(2025, 7, 31), date(2026, 8, 31)),
        (date(2025, 12, 1), date(2027, 1, 1)),
    ],
)
def test_thirteen_months(studied: date, due: date) -> None:
    for days, overdue in ((0, False), (1, True)):
        day = datetime(due.year, due.month, due.day, 23, 59, tzinfo=UTC) + timedelta(days=days)
        found = study([], [], day, 0.7, studied)
        assert (found.due, found.overdue) == (due, overdue)


def test_recent_blanks_are_six_months_or_fifty_whichever_are_more() -> None:
    """Section 4 e; a verification's option only."""
    option = Options(recent_blanks=True)
    daily = [made(0.1 + i % 5 / 100, i) for i in range(300)]
    within = sum(blank.at.date() >= date(2025, 12, 30) for blank in daily)
    found = study(GOOD_SPIKES, daily, NOW, 0.7, options=option).blanks
    assert len(found.used) == within == 183
    assert found.left_out[0].why == "not of the last six months nor of the fifty latest"
    weekly = [made(0.1 + i % 5 / 100, 7 * i) for i in range(90)]
    fifty = study(GOOD_SPIKES, weekly, NOW, 0.7, options=option).blanks
    assert list(fifty.used) == weekly[49::-1]
    assert len(study(GOOD_SPIKES, weekly[:30], NOW, 0.7, options=option).blanks.used) == 30
    assert len(study(GOOD_SPIKES, weekly, NOW, 0.7).blanks.used) == 90
    assert len(study(GOOD_SPIKES, weekly, NOW, options=option).blanks.used) == 90


# Advice.


@pytest.mark.parametrize(
    ("existing", "words"), [(1.0, ()), (0.2, ()), (1.01, ("1.98",)), (0.19, ("10.5",)), (None, ())]
)
def test_spikes_are_typically_2_to_10_times_the_limit(existing: float | None, words: tuple[str, ...]) -> None:
    found = study(GOOD_SPIKES, GOOD_BLANKS, NOW, existing).advice
    assert found == tuple(f"spiked to {times} times the limit: 2 to 10 times is typical" for times in words)


def test_two_spikes_in_separate_batches_each_quarter_with_samples() -> None:
    """Section 3 a. The quarter of today and the one the 24 months begin in are not judged."""
    days = [date(2024, 7, 10), date(2025, 2, 10), date(2025, 8, 10), date(2026, 5, 10)]
    quarters = [datetime.combine(day, NOW.timetz()) for day in days]
    blanks = [Measured(0.1, at, "B1", f"{at}", "row") for at in quarters]
    edge = [Measured(0.1, datetime.combine(date(2024, 6, 30), NOW.timetz()), "B1", "edge", "row")]
    spikes = [Measured(2.0, quarters[1], batch, "a", "row", 2) for batch in ("B1", "B2")]
    spikes += [Measured(2.1, quarters[2], "B1", "b", row, 2) for row in ("1", "2")]
    found = study(spikes, [*edge, *blanks], NOW, existing=0.7)
    assert [words for words in found.advice if "quarter" in words] == [
        "spikes in 0 of 2 batches in quarter 3 of 2024",
        "spikes in 1 of 2 batches in quarter 3 of 2025",
    ]
    assert not any("quarter" in words for words in study(spikes, blanks, NOW).advice)


# Any input.

DAYS = st.dates(date(1, 1, 1), date(9999, 12, 31))
TIMES = st.datetimes(timezones=st.none() | st.just(UTC)) | st.integers(0, 900).map(
    lambda days: NOW - timedelta(days=days)
)
VALUES = st.none() | st.floats() | st.sampled_from([0.0, 0.1, 1.7e308, -1.7e308, 5e-324])
RESULTS = st.lists(
    st.builds(
        Measured, VALUES, TIMES, st.sampled_from(["", "B1"]), st.sampled_from("ab"), st.just("r"), VALUES | st.just(2.0)
    ),
    max_size=14,
)


@given(
    spikes=RESULTS,
    blanks=RESULTS,
    now=TIMES,
    existing=VALUES,
    studied=st.none() | DAYS,
    options=st.builds(Options, st.booleans(), st.booleans()),
)
@examples(400)
def test_no_input_raises(
    spikes: list[Measured],
    blanks: list[Measured],
    now: datetime,
    existing: float | None,
    studied: date | None,
    options: Options,
) -> None:
    found = study(spikes, blanks, now, existing, studied, options)
    assert isinstance(found, Study)
    for part, given_ in ((found.spikes, spikes), (found.blanks, blanks)):
        assert len(part.used) + len(part.left_out) == len(given_)
        assert all(one.why for one in part.left_out)
    assert found.mdl is None or found.mdl > 0
    assert not found.complete or found.mdl is not None


@pytest.mark.parametrize("values", [[], [None], [None] * 9, [1.0], [1.0, None]])
def test_hardly_any_input(values: list[float | None]) -> None:
    found = study(spread(values, 2), spread(values), NOW)
    assert not found.complete
    assert found.mdl_s is None


@given(day=DAYS, months=st.integers(0, 40))
def test_months_on_is_the_same_day_or_the_last_of_a_shorter_month(day: date, months: int) -> None:
    later = months_on(day, months)
    if later == date.max:
        return
    assert (later.year - day.year) * 12 + later.month - day.month == months
    assert later.day == day.day or (later.day < day.day and (later + timedelta(days=1)).day == 1)
    if day.day <= 28:
        assert months_on(later, -months) == day


def test_months_beyond_the_calendar_end_with_it() -> None:
    assert months_on(date(9999, 1, 31), 13) == date.max
    assert months_on(date(2, 6, 30), -24) == date.min
