"""What a test report must hold, clause by clause, for a run that gives all of it and for one that gives nothing.

The clauses are those of ISO/IEC 17025:2017, 7.8.2.1, their content in words of our own and from memory.
"""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime
from functools import cache

import pytest

from runsheet import evaluate
from runsheet.report import formats, identity
from runsheet.report.making import Report
from runsheet.report.outline import outline
from runsheet.review import signing
from runsheet.review.issue import Issue
from runsheet.review.signed import Signed
from runsheet.run.model import Issued, Run, Signature
from tests.make import NOW, at, row
from tests.make import run as made_run

FULL = {
    "id": "KB-7",
    "title": "Kestrel outfalls",
    "laboratory": "Lab L",
    "laboratory_address": "1 Bench Row",
    "laboratory_contact": "lab@example.invalid",
    "accreditation": "none held",
    "place": "room 4",
    "client": "Client K",
    "client_address": "2 Quay",
    "client_order": "PO-9",
    "deviations": "filtered before extraction",
    "analyst": "I. Varga",
}
SAMPLE = {
    "id": "A", "client_id": "K-1", "site": "outfall 1", "sampler": "J. Bell", "collected": at(-1440),
    "received": at(-600), "received_c": 4.2, "container": "1 L glass",
}  # fmt: skip
METHOD = {"title": "Oil by infrared", "basis": "own procedure 7", "limits": {"detection": 0.5, "reporting": 2}}


def full() -> Run:
    solvent = {"name": "tetrachloroethylene", "grade": "infrared"}
    return made_run([row("A", 0.25, at=at(60))], run=FULL, sample=[SAMPLE], method=METHOD, solvent=solvent)


def issued(run: Run, replaces: str = "") -> Issue:
    number = f"{run.run.id}-2" if replaces else run.run.id
    made = Issued(number=number, at=at(240), by="R. Holt", digest=signing.digest(run), reason="a jar weighed again")
    return Issue(made, replaces, Signed(signature(run), ""))


def signature(run: Run) -> Signature:
    digest = signing.digest(run, "reviewer")
    return Signature(role="reviewer", name="R. Holt", at=at(230), digest=digest, account="rh", machine="m1")


@cache
def report(which: str, form: str = "text", *, short: bool = False) -> str:
    """The report of the full run, issued, or of the empty one, a draft; in one line, so that no line's end matters."""
    run = full() if which == "full" else made_run([], run={"id": "E-1"}, standard=[], calibration=[])
    made = Report(
        evaluate(run, datetime.fromisoformat(NOW)), issue=issued(run) if which == "full" else None, short=short
    )
    return " ".join(formats.FORMATS[form](made).split())


ITEMS = "the items, without ambiguity, and their condition"
DATES = "dates of receipt and of sampling"
ONLY = "Results relate only to the items tested"
OTHERS = "Work by others none is recorded: every result is computed from readings"
CLAUSES = [
    ("a", "a title", "Test report KB-7", "Test report. Draft, not issued"),
    (
        "b", "the laboratory's name and address",
        "Laboratory Lab L; address 1 Bench Row; contact lab@example.invalid",
        "Laboratory not given; address not given; contact not given",
    ),
    ("c", "where the work was done", "Tests made at room 4", "Tests made at not given"),
    ("d", "what is part of it, a clear end", "End of the report on run KB-7", "End of the report on run E-1"),
    (
        "e", "the client's name and contact",
        "Client Client K; address 2 Quay; order PO-9",
        "Client not given; address not given; order not given",
    ),
    ("f", "the method", "Method Oil by infrared - own procedure 7", "Method not given"),
    ("g", ITEMS, "Items tested 1 sample", "Items tested 0 samples"),
    ("g", ITEMS, "received at 4.2 C", "temperature not given"),
    ("h", DATES, "Received 2026-03-10", "Received not given"),
    ("h", DATES, "collected 2026-03-10*", "collected not given"),
    ("i", "when the work was done", "Tested 2026-03-11", "Tested no row with a time is read"),
    ("j", "when the report was issued", "Issued 2026-03-11 12:00+01:00 by R. Holt", "Issued not issued"),
    ("k", "the sampling plan and method", "by J. Bell*; plan and method not given", "sampler not given; plan and"),
    ("l", "that results relate only to the items tested", ONLY, ONLY),
    ("m", "the results with their units", "A oil and 10.0", "No sample is in the queue and none is named"),
    (
        "n", "additions, deviations, exclusions",
        "Deviations from it filtered before extraction",
        "Deviations from it not given",
    ),
    ("o", "who authorises the report", "Authorised by R. Holt", "Authorised by nobody: no valid reviewer's signature"),
    ("p", "what is of another laboratory", OTHERS, OTHERS),
]  # fmt: skip


@pytest.mark.parametrize(("clause", "asks", "of_full", "of_empty"), CLAUSES)
def test_each_clause_is_answered_or_said_not_to_be_given(clause: str, asks: str, of_full: str, of_empty: str) -> None:
    assert of_full in report("full"), (clause, asks)
    assert of_empty in report("empty"), (clause, asks)
    assert of_full in report("full", short=True), (clause, asks)


def test_a_result_stands_with_its_unit() -> None:
    assert re.search(r"\| A \| oil and grease \| 10\.0 \| [0-9.]+ \| mg/L \|", report("full", "markdown"))


def test_every_clause_is_asked() -> None:
    assert sorted({clause for clause, *_ in CLAUSES}) == list("abcdefghijklmnop")


@pytest.mark.parametrize("which", ["full", "empty"])
def test_every_page_says_what_the_report_is(which: str) -> None:
    mark = {"full": "Test report KB-7", "empty": "Draft, not issued"}[which]
    for form in ("text", "markdown"):
        pages = report(which, form).split("=" * 80 if form == "text" else " --- ")
        assert len(pages) > 1
        assert all(mark.lower() in page.lower() for page in pages)
    quoted = "".join(f"\\{ord(sign):x} " if not (sign.isalnum() or sign == " ") else sign for sign in mark)
    assert " ".join(quoted.split()) in report(which, "html")


def test_a_draft_is_told_apart_by_its_digest_and_the_digest_is_explained() -> None:
    run = made_run([], run={"id": "E-1"}, standard=[], calibration=[])
    assert f"Report draft {signing.digest(run)[:16]}, of run E-1" in report("empty")
    assert "runsheet log FILE --digest prints it again" in report("full")


def test_who_authorised_it_is_named_with_the_account() -> None:
    run = full()
    draft = Report(evaluate(replace(run, signature=(signature(run),)), datetime.fromisoformat(NOW)))
    told = "Authorised by | R. Holt, 2026-03-11 11:50+01:00, account rh@m1"
    assert told in formats.FORMATS["markdown"](draft)
    assert "Authorised by R. Holt, 2026-03-11 11:50+01:00, account rh@m1" in report("full")


def test_the_analyst_is_who_signed_as_one_where_no_other_is_named() -> None:
    """A report with a valid analyst's signature said "Analyst not given" on its first page."""
    bare = replace(full(), run=replace(full().run, analyst=None))
    assert "Analyst not given" in " ".join(formats.FORMATS["text"](Report(evaluate(bare, at(240)))).split())
    made = replace(
        bare, signature=(replace(signature(bare), role="analyst", name="A. Lyst", digest=signing.digest(bare)),)
    )
    told = " ".join(formats.FORMATS["text"](Report(evaluate(made, at(240)))).split())
    assert "Analyst A. Lyst, by the analyst's signature" in told


def test_an_amended_report_says_what_it_replaces() -> None:
    run = full()
    made = Report(evaluate(run, datetime.fromisoformat(NOW)), issue=issued(run, "KB-7"))
    first = formats.FORMATS["markdown"](made).splitlines()[0]
    assert first == "# Amended report KB-7-2, replaces KB-7"


def test_what_came_with_the_sample_is_marked() -> None:
    told = report("full", "markdown").replace("\\", "")
    assert "client's id *" in told
    assert "site *" in told
    assert "collected *" in told
    assert "* As supplied with the sample" in told


def test_the_short_form_is_the_first_pages_of_the_full_one() -> None:
    sheet = evaluate(full(), datetime.fromisoformat(NOW))
    short, whole = outline(Report(sheet, short=True)), outline(Report(sheet))
    assert short[:-1] == whole[: len(short) - 1]
    assert len(short) < len(whole) / 2


def test_items_and_their_condition_say_of_how_many() -> None:
    sample = [SAMPLE, {"id": "B"}, {"id": "C"}]
    queue = [row("A", 0.25, at=at(60)), row("B"), row("FB", 0.001, kind="field-blank", at=at(61))]
    sheet = evaluate(made_run(queue, sample=sample), datetime.fromisoformat(NOW))
    told = dict(identity.about(Report(sheet)))
    assert told["Items tested"] == "1 of 3 samples, 1 of 1 blank of their journey"
    assert told["Condition on receipt"] == "received at 4.2 C (1 of 3)"
