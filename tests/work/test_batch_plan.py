"""Lists of samples, and the queues planned from them."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runsheet import evaluate
from runsheet.run import edit
from runsheet.run.kinds import SOLVENT_STANDARDS
from runsheet.work import batch_plan, sample_list
from tests.make import NOW, SLOPE, at, examples, row, run

if TYPE_CHECKING:
    from runsheet.run.model import Row, Run

CLOCK = datetime.fromisoformat(NOW)
METHOD: dict[str, Any] = {
    "blank": {"every_readings": 20, "every_minutes": 60, "absorbance": 0.005},
    "check": {"every_readings": 10, "recovery_percent": [90, 110], "closing": True},
    "batch": {"samples": 20, "duplicate_rpd_percent": 20, "spike_percent": [70, 130], "control_percent": [70, 130]},
    "limits": {"reporting": 2, "nominal_amount": 1000, "nominal_extract_ml": 100},
}


def parsed(text: str, **tables: Any) -> tuple[list[sample_list.Planned], list[str]]:
    found, problems = sample_list.parse(text, run(**tables), CLOCK)
    return found, [str(problem) for problem in problems]


def rows_of(text: str, **tables: Any) -> list[Row]:
    found, problems = parsed(text, **tables)
    assert problems == []
    return [each.row for each in found]


def ids(text: str, **tables: Any) -> list[str]:
    return [each.row.id for each in parsed(text, **tables)[0]]


# --- lists ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("mark", [",", ";", "\t", ", "])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_a_list_without_a_header_is_id_amount_and_site(mark: str, end: str) -> None:
    text = f'\ufeffOS-1{mark}950{mark}"outfall; 1, north"{end}{end} {mark}{end}OS-2{mark}{mark}{end}'
    found, problems = parsed(text)
    assert problems == []
    assert [(p.line, p.row.id, p.row.amount, p.sample.site) for p in found] == [
        (1, "OS-1", 950, "outfall; 1, north"),
        (4, "OS-2", None, None),
    ]


def test_a_header_names_fields_of_samples_and_rows() -> None:
    text = "Site;ID;Collected;Received;silica gel;AMOUNT;pH;note\nA;X;2026-03-10;2026-03-10T18:00;yes;950,50;1.8;oily\n"
    (made,), problems = parsed(text)
    assert problems == []
    assert (made.sample.id, made.sample.site, made.sample.collected) == ("X", "A", date(2026, 3, 10))
    assert made.sample.received == datetime.fromisoformat("2026-03-10T18:00:00+01:00")
    assert (made.row.silica_gel, str(made.row.amount), made.row.note) == (True, "950.50", "oily")
    assert made.sample.pH == Decimal("1.8")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("id,amount\nA,1\nB,lots\nC,2", "error: line 3, column amount: 'lots' is no number"),
        ("id,amount\nA,1\n\nB,-\nC,2", "error: line 4, column amount: '-' is no number"),
        ("id,amount\nA,1\nB,0\nC,2", "error: line 3, column amount: expected a number above 0, found 0"),
        ("A,1\nB,2,x,y\nC", "error: line 2, column 4: expected 3 cells, found one more"),
        ("A\n,5\nC", "error: line 2, column id: expected a name, found none"),
        ("A\nB\x07\nC", "error: line 2, column id: a character that cannot be shown"),
        ('A\n"B\nB"\nC', "error: line 2, column id: a character that cannot be shown"),
        ("id,collected\nA,\nB,2026-02-30\nC,", "error: line 3, column collected: a date as 2026-03-11"),
        ("A\nA\nC", "error: line 2, column id: expected a new id, found A: first in line 1"),
        ("A\nS1\nC", "error: line 2, column id: expected a new id, found S1: the run has it already"),
        ("A\nOLD\nC", "error: line 2, column id: expected a new id, found OLD: the run has it already"),
        (
            "id,batch\nA,\nB,B9\nC,",
            'error: line 3, column batch: expected the id of a batch, found "B9", which names nothing',
        ),
        (
            "id,full_g,empty_g\nA,,\nB,400,500\nC,,",
            "error: line 3, column full_g: expected more than empty_g, 500, found 400",
        ),
    ],
)  # fmt: skip
def test_a_line_with_a_bad_cell_is_left_out_and_said_so(text: str, said: str) -> None:
    found, problems = parsed(text, queue=[row("OLD")])
    assert problems == [said]
    assert [each.row.id for each in found] == ["A", "C"]


def test_what_a_list_says_that_is_no_field_is_a_warning() -> None:
    found, problems = parsed("id,amuont,amount\nA,1,2")
    place, said = "warning: line 1, column amuont", "is no field of a sample or a row (did you mean amount?)"
    assert problems == [f"{place}: {said}: the column is left out"]
    assert [each.row.amount for each in found] == [2]
    assert "did you mean" not in parsed("id,kind\nA,duplicate")[1][0]  # it guessed id


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("id,amount,Amount\nA,1,2", "error: line 1, column amount: is there twice: which one counts?"),
        ("site,amount\nA,1", "error: line 1: expected a column id, found none"),
    ],
)
def test_a_header_that_cannot_be_used_plans_nothing(text: str, said: str) -> None:
    assert parsed(text) == ([], [said])


def test_an_open_quote_is_a_problem_and_the_lines_before_it_stay() -> None:
    found, (problem,) = parsed('A,1\nB,2\n"C,3\nD,4')
    assert [each.row.id for each in found] == ["A", "B"]
    assert problem.startswith("error: line 3: cannot be read")


def test_cells_are_separated_by_what_the_first_line_with_any_has() -> None:
    """A first line with a name alone made one name of each whole line below it."""
    assert [(each.id, each.amount) for each in rows_of("N1\nN2;950;pond")] == [("N1", None), ("N2", 950)]
    assert [(each.id, each.amount) for each in rows_of("id\tamount\nN1\nN2\t950,5")][1] == ("N2", Decimal("950.5"))


def test_a_name_and_an_amount_that_look_cut_wrongly_are_told() -> None:
    found, (problem,) = parsed("N1;950\nN2,900")
    assert [each.row.id for each in found] == ["N1", "N2,900"]
    assert problem == "warning: line 2, column id: N2,900 is one name: semicolons separate the cells of this list"
    found, (problem,) = parsed("A,950,5\nB,1000\nC,980,25")
    assert [(each.row.amount, each.sample.site) for each in found] == [(950, "5"), (1000, None), (980, "25")]
    assert problem == (
        "warning: line 1, column amount: "
        "read as 950 at site 5; if it is 950,5 separate the cells by tabs or semicolons "
        "(1 more like it)"
    )
    assert parsed("A;950;5")[1] == []
    assert parsed('A,950,"weir 5"')[1] == []


def test_what_was_received_already_is_kept() -> None:
    found, (problem,) = parsed("id,site\nA,pond\nB,lake", sample=[{"id": "A", "site": "weir"}])
    assert problem == "warning: line 2, column id: A was received already: what the run says of it is kept"
    made = batch_plan.plan(run(sample=[{"id": "A", "site": "weir"}]), found, None, CLOCK)
    assert [(sample.id, sample.site) for sample in made.samples] == [("B", "lake")]


def test_a_sample_that_differs_from_another_by_case_alone_is_told_once() -> None:
    """One bottle in two spellings: both fractions were planned, and no polar part could come of them."""
    header = "id,sample,silica_gel\n"
    found, (problem,) = parsed(f"{header}1,W2,no\n2,w2,yes\n3,w2,no\n4,W2,yes")
    assert [each.sample.id for each in found] == ["W2", "w2", "w2", "W2"]
    assert problem == "warning: line 3, column id: w2 is another sample than W2, by the case of its letters alone"
    assert parsed(f"{header}1,W2,no", queue=[row("w2"), row("W2")])[1] == []
    (told,) = parsed(f"{header}1,W2,no", queue=[row("w2")])[1]
    assert told == "warning: line 2, column id: W2 is another sample than w2, by the case of its letters alone"
    assert parsed("sb1,1", queue=[row("SB1", kind="blank")])[1] == []


def test_two_lines_of_one_sample_make_one_bottle() -> None:
    found, problems = parsed("id,sample,silica_gel,site\nA-O,A,no,\nA-T,A,yes,weir")
    assert problems == []
    (bottle,) = batch_plan.plan(run(), found, None, CLOCK).samples
    assert (bottle.id, bottle.site) == ("A", "weir")


def test_two_lines_that_contradict_each_other_of_one_sample_are_asked_about() -> None:
    """The first line was kept and the other's place lost without a word."""
    found, problems = parsed("id,sample,site,received_c\nA-O,A,pond,4\nA-T,A,weir,4\nB,B,weir,4")
    assert problems == ['error: line 3, column site: expected of sample A what line 2 says, "pond", found "weir"']
    assert [each.row.id for each in found] == ["A-O", "B"]


@given(st.text(st.characters(exclude_categories=["Cs"]) | st.sampled_from('\t;,"\r\n'), max_size=60))
@examples(100)
def test_any_text_gives_samples_that_fit_or_problems(text: str) -> None:
    day = run()
    found, problems = sample_list.parse(text, day, CLOCK)
    assert found or problems or not text.strip('\ufeff \t;,\r\n"')
    made = batch_plan.plan(day, found, None, CLOCK)
    edit.apply_all(day, batch_plan.edits(day, made.rows, made.samples, 1))


# --- plans ----------------------------------------------------------------------------------------------------


def planned(day: Run, text: str) -> Run:
    found, problems = sample_list.parse(text, day, CLOCK)
    assert problems == []
    made = batch_plan.plan(day, found, None, CLOCK)
    return edit.apply_all(day, batch_plan.edits(day, made.rows, made.samples, len(day.queue) + 1))


def kinds(day: Run) -> list[str]:
    return [each.id for each in day.queue]


def test_a_day_is_opened_verified_controlled_and_closed() -> None:
    day = planned(run(method=METHOD), "OS-1,950\nOS-2\nOS-3")
    assert kinds(day) == (
        "SB1 ICV1 CCV1 MB1 LCS1 OS-1 DUP1 OS-2 MS1 MSD1 OS-3 SB2 CCV2".split()  # noqa: SIM905 - as it stands on the sheet
    )
    by = {each.id: each for each in day.queue}
    assert (by["OS-1"].amount, by["OS-2"].amount, by["DUP1"].amount, by["MB1"].amount) == (950, None, None, 1000)
    assert (by["DUP1"].of, by["MS1"].of, by["MSD1"].of) == ("OS-1", "OS-2", "OS-2")
    assert [sample.id for sample in day.sample] == ["OS-1", "OS-2", "OS-3"]


def test_nothing_is_invented_where_the_method_has_no_values_of_its_own() -> None:
    day = planned(run(method=METHOD), "OS-1\nOS-2")
    assert {each.expected for each in day.queue} == {each.added_mg for each in day.queue} == {None}
    lines = batch_plan.preview(day, day.queue, [])
    assert "  ICV1       initial calibration verification (second source), no certified value yet" in lines
    assert "  LCS1       laboratory control sample, no added mg yet, amount 1000, extract mL 100" in lines
    assert "  MS1        matrix spike of OS-2, no amount yet, no added mg yet, extract mL 100" in lines


def test_the_laboratory_s_own_values_are_proposed() -> None:
    batch = METHOD["batch"] | {"control_added_mg": 8, "spike_added_mg": 5, "petroleum": {"control_added_mg": 6}}
    method = METHOD | {"check": METHOD["check"] | {"expected": 100}, "batch": batch}
    by = {each.id: each for each in planned(run(method=method), "OS-1\nOS-2").queue}
    assert (by["CCV1"].expected, by["ICV1"].expected) == (100, None)  # a second source has a certificate of its own
    assert (by["LCS1"].added_mg, by["MS1"].added_mg, by["MSD1"].added_mg) == (8, 5, 5)
    treated = {each.id: each for each in planned(run(method=method | {"fraction": "petroleum"}), "OS-1").queue}
    assert (treated["OS-1"].silica_gel, treated["LCS1"].silica_gel, treated["LCS1"].added_mg) == (True, True, 6)


def test_the_fraction_read_is_the_method_s_and_not_its_name_s() -> None:
    named = planned(run(method=METHOD | {"name": "tph-water"}), "OS-1")
    assert {each.silica_gel for each in named.queue} == {None}
    said = "the method does not say which fraction it reads: planned as oil and grease, without silica gel"
    assert said in batch_plan.preview(named, named.queue, [])
    other = planned(run(method=METHOD | {"name": "house-3", "fraction": "petroleum"}), "OS-1")
    assert {each.silica_gel for each in other.queue if each.kind not in SOLVENT_STANDARDS} == {True}
    assert said not in batch_plan.preview(other, other.queue, [])
    plain = planned(run(method=METHOD | {"fraction": "oil_grease"}), "OS-1")
    assert said not in batch_plan.preview(plain, plain.queue, [])


def test_the_last_control_and_check_are_repeated() -> None:
    before = [
        row("ICV1", 0.125, kind="second-source", expected=50, at=at(30)),
        row("CCV1", 0.25, kind="check", expected=100, at=at(31)),
        row("LCS1", 0.2, kind="control", added_mg=8, at=at(32)),
    ]
    day = planned(run(before, method=METHOD), "OS-1")
    assert kinds(day)[3:] == ["SB1", "CCV2", "MB1", "OS-1", "DUP1", "SB2", "CCV3"]
    assert [each.expected for each in day.queue if each.kind == "check"] == [100, 100, 100]


def test_a_blank_and_check_just_read_open_the_batch() -> None:
    events = [
        row("SB1", 0.0, kind="blank", at=at(238)),
        row("CCV1", 0.25, kind="check", expected=100, at=at(239)),
    ]
    day = planned(run(events, method={**METHOD, "batch": {}}), "OS-1")
    assert kinds(day)[2:] == ["ICV1", "OS-1", "SB2", "CCV2"]
    bad = [events[0], events[1] | {"readings": [0.2]}]
    day = planned(run(bad, method={**METHOD, "batch": {}}), "OS-1")
    assert kinds(day)[2:] == ["ICV1", "CCV2", "OS-1", "SB2", "CCV3"]
    old = [each | {"at": at(30 + n)} for n, each in enumerate(events)]
    day = planned(run(old, method={**METHOD, "batch": {}}), "OS-1")
    assert kinds(day)[2:] == ["SB2", "ICV1", "OS-1", "SB3", "CCV2"]


def test_what_was_read_since_the_last_event_counts() -> None:
    read = [row("CCV1", 0.25, kind="check", expected=100, at=at(229))]
    read += [row(f"R{n}", 0.2, at=at(230 + n)) for n in range(7)]
    method = {"check": {"every_readings": 10}}
    wanted = "OS-1\nOS-2\nOS-3"
    day = planned(run(read, method=method), wanted)
    assert kinds(day)[8:] == ["ICV1", "CCV2", "OS-1", "OS-2", "OS-3"]
    unread = [*read, row("CCV2", kind="check", expected=100), *(row(f"Q{n}") for n in range(10))]
    day = planned(run(unread, method=method), wanted)
    assert kinds(day)[19:] == ["CCV3", "ICV1", "CCV4", "OS-1", "OS-2", "OS-3"]


def test_without_rules_only_the_samples_are_planned() -> None:
    assert kinds(planned(run(), "OS-1\nOS-2")) == ["OS-1", "OS-2"]
    assert batch_plan.plan(run(method=METHOD), [], None, CLOCK) == ((), ())


def test_a_bottle_that_was_weighed_keeps_its_weights_and_a_jar_its_solids() -> None:
    text = "id,full_g,empty_g,matrix,solids_percent\nA,1400,420,,\nB,,,solid,82.5"
    made = {each.id: each for each in planned(run(method=METHOD), text).queue}
    assert (made["A"].amount, made["A"].full_g) == (None, 1400)
    assert (made["B"].amount, made["B"].extract_ml) == (None, None)
    assert (made["MS1"].matrix, made["MS1"].solids_percent) == ("solid", Decimal("82.5"))


def test_a_spike_without_its_duplicate_is_no_pair() -> None:
    read = [row("A", 0.2, at=at(60)), row("MS1", 0.3, kind="spike", of="A", added_mg=5, at=at(61))]
    batch = {"batch": {"spike_percent": [70, 130]}}
    assert kinds(planned(run(read, method=batch), "OS-1")) == ["A", "MS1", "OS-1", "MS2", "MSD1"]


def test_a_generated_id_is_never_one_of_the_list() -> None:
    assert kinds(planned(run(method=METHOD), "SB1\nMB1"))[:6] == ["SB2", "ICV1", "CCV1", "MB2", "LCS1", "SB1"]


def test_a_preview_of_one_row_counts_one() -> None:
    assert batch_plan.preview(run(), run([row("A")]).queue, [])[0] == "1 row: 1 sample"


def test_a_preview_counts_and_lists() -> None:
    found, problems = sample_list.parse("OS-1,950\nOS-2,x", run(method=METHOD), CLOCK)
    made = batch_plan.plan(run(method=METHOD), found, None, CLOCK)
    lines = batch_plan.preview(run(method=METHOD), made.rows, problems)
    assert lines[0] == "error: line 2, column amount: 'x' is no number"
    assert lines[1].startswith(
        "9 rows: 2 solvent blanks, 1 initial calibration verification (second source), "
        "2 continuing calibration verifications (check standards), "
    )
    assert "  OS-1       sample, amount 950, extract mL 100" in lines
    assert "  DUP1       duplicate of OS-1, no amount yet, extract mL 100" in lines


# --- any plan, read in order -----------------------------------------------------------------------------------

READING = {"blank": 0.0, "method-blank": 0.0, "control": 0.2625}
"""The control holds 10.5 mg in 100 mL: 105 mg/L."""


def read(day: Run, many: int | None = None) -> Run:
    """Read unread rows in order, a minute apart, from now on."""
    clock = max([CLOCK, *(each.at for each in day.queue if each.at)])
    rows: list[Row] = []
    for each in day.queue:
        if each.readings or (many is not None and sum(bool(other.readings) for other in rows) >= many):
            rows.append(each)
            continue
        clock += timedelta(minutes=1)
        value = SLOPE * float(each.expected) if each.expected is not None else READING.get(each.kind, 0.25)
        rows.append(replace(each, readings=(Decimal(str(value)),), at=clock))
    return replace(day, queue=tuple(rows))


@st.composite
def methods(draw: st.DrawFn) -> dict[str, Any]:
    every = st.integers(1, 25)
    batch = draw(
        st.fixed_dictionaries(
            {"samples": st.integers(1, 21)},
            optional={"petroleum": st.just({"samples": 2}), "spike_percent": st.just([1, 400])},
        )
    )
    blank = draw(
        st.fixed_dictionaries(
            {"absorbance": st.just(0.005)}, optional={"every_readings": every, "every_minutes": st.integers(5, 70)}
        )
    )
    check = draw(st.fixed_dictionaries({"closing": st.booleans()}, optional={"every_readings": every}))
    if draw(st.booleans()) or "spike_percent" not in batch:
        batch["duplicate_rpd_percent"] = 20
    method: dict[str, Any] = {"limits": METHOD["limits"], "batch": batch, "blank": blank, "check": check}
    dropped = draw(st.sampled_from(["", "", "", "blank", "check"]))
    return {name: table for name, table in method.items() if name != dropped}


def listed(fractions: list[bool], stem: str) -> str:
    return "id,silica_gel\n" + "\n".join(f"{stem}{n},{'yes' if gel else 'no'}" for n, gel in enumerate(fractions))


samples = st.lists(st.booleans(), min_size=1, max_size=30) | st.integers(1, 45).map(lambda n: [False] * n)


@given(methods(), samples, samples, st.integers(0, 40))
@examples(150)
def test_a_plan_read_in_order_lacks_nothing_and_overruns_nothing(
    method: dict[str, Any], first: list[bool], second: list[bool], between: int
) -> None:
    """One list is planned and read in part, then another is planned and everything is read."""
    day = read(planned(run(method=method), listed(first, "A")), between)
    clock = max([CLOCK, *(each.at for each in day.queue if each.at)])
    found, problems = sample_list.parse(listed(second, "B"), day, clock)
    assert problems == []
    made = batch_plan.plan(day, found, evaluate(day, clock), clock)
    step = batch_plan.edits(day, made.rows, made.samples, len(day.queue) + 1)
    whole = edit.apply_all(day, step)
    back = whole
    for each in reversed(step):
        back = edit.apply(back, edit.inverse(each))
    assert back == day
    whole = read(whole)
    last = whole.queue[-1].at
    assert last is not None
    sheet = evaluate(whole, last)
    rules = ("blank-interval", "check-interval", "batch", "opening", "closing")
    assert [finding for finding in sheet.quality if finding.rule in rules and finding.state != "pass"] == []
    assert "overdue" not in [due.state for due in sheet.due]
    assert max(Counter(each.id for each in whole.queue).values()) == 1
    assert sum(each.kind == "sample" for each in whole.queue) == len(first) + len(second)
