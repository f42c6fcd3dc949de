"""The runs of a folder held against the register: each way to change what was issued, with what is then said.

The register lies elsewhere, as it should: what someone does to a run with all its files is then found out.
"""

from __future__ import annotations

import errno
import json
import os
import shutil
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest

from runsheet.command import main
from runsheet.review import signed, signing
from runsheet.run import edit, text
from runsheet.run.disk import files, log, register, store
from tests.report.test_issuing import ID, Bench
from tests.review.test_signing import noted

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the run lies with its register; `as_issued` beside it is how both were left by the issue."""
    place = tmp_path_factory.mktemp("issued") / "place"
    with pytest.MonkeyPatch.context() as patch:
        made = at(place, patch)
        for name in ("runs", "safe"):
            (place / name).mkdir(parents=True)
        store.create(made.document, noted())
        made.sign("M. Tarn", "R. Holt")
        made.issue()
    place.rename(place.with_name("as_issued"))
    return place


def at(place: Path, patch: pytest.MonkeyPatch) -> Bench:
    patch.setenv("RUNSHEET_STATE", str(place / "state"))
    patch.setenv("RUNSHEET_ISSUED", str(place / "safe"))
    return Bench(files.real(place) / "runs" / "soil.toml")


@pytest.fixture
def issued(place: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Bench]:
    shutil.copytree(place.with_name("as_issued"), place)
    made = at(place, monkeypatch)
    made.at += timedelta(minutes=10)  # it was opened twice
    yield made
    shutil.rmtree(place)


def told(bench: Bench, capsys: pytest.CaptureFixture[str]) -> tuple[int, str]:
    """The exit code, and all lines but the last."""
    capsys.readouterr()
    code = main.main(["issued", str(bench.document.parent)])
    return code, "\n".join(capsys.readouterr().out.splitlines()[:-1]).replace(f"{bench.document}", "DOC")


def test_what_is_as_it_was_issued_is_in_order(issued: Bench, capsys: pytest.CaptureFixture[str]) -> None:
    code, lines = told(issued, capsys)
    assert (code, lines) == (0, f"in order  DOC: {ID}, as issued {issued.lines[0].time}")


def test_a_folder_below_that_is_closed_keeps_no_other_run_from_being_looked_at(
    issued: Bench, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """As the one for what was lost and found, which a disk has at its top; one a report was issued from is needed."""
    closed, real = issued.document.with_name("closed"), os.scandir
    closed.mkdir()

    def scandir(folder: Any) -> Any:  # a root account is let in everywhere
        if str(folder).endswith("closed"):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(folder))
        return real(folder)

    monkeypatch.setattr(os, "scandir", scandir)
    code, lines = told(issued, capsys)
    assert (code, lines.splitlines()[0]) == (0, f"in order  DOC: {ID}, as issued {issued.lines[0].time}")
    assert lines.splitlines()[1:] == ["open      closed/: the folder cannot be read: what runs it has is not known"]
    for path in (issued.document, files.log_of(issued.document)):
        path.rename(closed / path.name)
    found = register.read(register.place(closed.parent))
    there = replace(found.lines[0], file=str(closed / issued.document.name))
    monkeypatch.setattr(register, "read", lambda _place: found._replace(lines=(there,)))
    assert main.main(["issued", str(closed.parent)]) == 2
    assert str(closed) in capsys.readouterr().err


def test_a_document_that_cannot_be_read_keeps_no_other_run_from_being_looked_at(
    issued: Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    """A link to nothing ended the command: of no run was anything said, and the folder was said to be gone."""
    folder = issued.document.parent
    (folder / "nothing.toml").symlink_to(folder / "gone")
    (folder / "other.toml").write_text("format = 1\n[run]\n", encoding="utf-8")
    (folder / "wild.toml").write_text('format = 1\n[run]\nid = "W"\n', encoding="utf-8")
    files.log_of(folder / "wild.toml").mkdir()
    code, lines = told(issued, capsys)
    assert code == 1
    assert lines.splitlines() == [
        f"at fault  {folder / 'gone'}: the document cannot be read: No such file or directory",
        f"at fault  {folder / 'other.toml'}: the document cannot be read: error: line 2: run.id: is required",
        f"in order  DOC: {ID}, as issued {issued.lines[0].time}",
        f"at fault  {folder / 'wild.toml'}: its log cannot be read: a folder stands in the file's place",
    ]


def another_log(bench: Bench) -> None:
    """Put the log of another run in the place of this one's."""
    other = Bench(bench.document.with_name("other.toml"))
    store.create(other.document, edit.apply(noted(), edit.set_value(noted(), "run.id", "GR-0500")))
    other.sign("M. Tarn")
    shutil.move(files.log_of(other.document), files.log_of(bench.document))
    other.document.unlink()


def rebuilt(bench: Bench) -> None:
    """Change a reading and write a log from the start for it, signatures and all."""
    told = bench.document.read_text(encoding="utf-8")
    files.log_of(bench.document).unlink()
    start = log.chained(log.start(told.replace("M. Tarn", "B. Okoro").encode(), bench.at, "M. Tarn"), "", 1)
    named = told.replace("M. Tarn", "B. Okoro").replace(bench.run.run.log or "", start[0].chain)
    made = edit.set_value(bench.run, "run.log", start[0].chain)
    second = log.chained(log.entries([made], named.encode(), bench.at, "runsheet"), start[0].chain, 2)
    files.log_of(bench.document).write_bytes(b"".join(map(log.line, [*start, *second])))
    bench.document.write_text(named, encoding="utf-8")


def cut(bench: Bench) -> None:
    """Take the issue and the signatures out of the log and the document."""
    path = files.log_of(bench.document)
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:2]))
    found = log.parse(path.read_bytes())
    assert len(found.steps) == 2
    plain = edit.apply(noted(), edit.set_value(noted(), "run.log", found.steps[0].entries[0].chain))
    bench.document.write_text(text.write(plain), encoding="utf-8")


def copied_over(bench: Bench, what: str) -> None:
    path = next((register.place(bench.document.parent).parent / "issued").glob(f"*{what}"))
    path.chmod(0o644)
    path.write_bytes(path.read_bytes().replace(b"GR-0422", b"GR-0423"))


def changed(bench: Bench, old: str, new: str) -> None:
    had = bench.document.read_text(encoding="utf-8")
    assert old in had
    bench.document.write_text(had.replace(old, new, 1), encoding="utf-8")


def forged(bench: Bench) -> None:
    """Sign once more, take the document back as it was issued, and change who did it in the log."""
    before = bench.document.read_bytes()
    opened = bench.open()
    opened.accept([edit.set_value(opened.run, "run.note", "seen")], bench.at)
    opened.close()
    path = files.log_of(bench.document)
    *lines, last = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join([*lines, last.replace(b"M. Tarn", b"B. Okoro")]))
    bench.document.write_bytes(before)


def unsigned(bench: Bench) -> None:
    run = bench.run
    bench.document.write_text(text.write(replace(run, signature=run.signature[:1])), encoding="utf-8")


def with_new_digests(bench: Bench) -> None:
    """Change a reading by hand, and make signatures and issue cover it."""
    run = bench.run
    at = next(at for at, row in enumerate(run.queue) if row.kind == "sample" and row.readings)
    row = replace(run.queue[at], readings=(Decimal("0.111"),))
    run = replace(run, queue=(*run.queue[:at], row, *run.queue[at + 1 :]))
    signatures = tuple(replace(made, digest=signing.digest(run, made.role)) for made in run.signature)
    issues = tuple(replace(made, digest=signing.digest(run, "reviewer")) for made in run.issued)
    made = replace(run, signature=signatures, issued=issues)
    assert len(signing.standing(made)) == 2
    bench.document.write_text(text.write(made), encoding="utf-8")
    assert signed.standing(made, bench.said()) == {}, "by the document alone they would stand"


def through_the_log(bench: Bench) -> None:
    opened = bench.open()
    opened.accept([edit.set_value(opened.run, "run.title", "another")], bench.at)
    opened.close()


def register_line(bench: Bench, change: Callable[[dict[str, str]], dict[str, str]]) -> None:
    place = register.place(bench.document.parent)
    place.write_text(json.dumps(change(json.loads(place.read_text(encoding="utf-8")))) + "\n", encoding="utf-8")


CHEATS: dict[str, tuple[Callable[[Bench], object], str]] = {
    "the document edited": (
        lambda bench: changed(bench, 'analyst = "M. Tarn"', 'analyst = "B. Okoro"'),
        "DOC: changed after GR-0422 was issued, outside its log: run.analyst",
    ),
    "a signature removed": (
        unsigned, "DOC: changed after GR-0422 was issued, outside its log: signature[2]",
    ),
    "a value edited and every digest computed anew": (
        with_new_digests, "DOC: changed after GR-0422 was issued, outside its log: queue[",
    ),
    "the issue removed": (
        lambda bench: bench.document.write_text(
            bench.document.read_text(encoding="utf-8").split("[[issued]]")[0], encoding="utf-8"
        ),
        "DOC: GR-0422 is issued, and the document does not name it",
    ),
    "a change through the log, no amendment": (
        through_the_log, "DOC: changed after GR-0422 was issued, without an amendment",
    ),
    "the log deleted": (
        lambda bench: files.log_of(bench.document).unlink(), "DOC: its log is missing; GR-0422 was issued with one",
    ),
    "the log of another run": (
        another_log, "DOC: its log is not the one GR-0422 was issued with: it is another run's",
    ),
    "document and log rebuilt": (
        rebuilt, "DOC: its log is not the one GR-0422 was issued with: it was changed or rebuilt",
    ),
    "issue and signatures cut from both": (
        cut, "DOC: its log is cut: what it had when GR-0422 was issued is missing at its end",
    ),
    "the document deleted": (
        lambda bench: bench.document.unlink(),
        "DOC: the document of GR-0422 is missing; no run of its id is in this folder",
    ),
    "the run renamed": (
        lambda bench: (
            bench.document.rename(bench.document.with_name("z.toml")),
            files.log_of(bench.document).rename(bench.document.with_name("z.toml.log")),
        ),
        "DOC: the document of GR-0422 is missing; a run of its id is",
    ),
    "the copy of the document changed": (
        lambda bench: copied_over(bench, ".toml"), "GR-0422: the copy of its document is not what was issued",
    ),
    "the copy of the log changed": (
        lambda bench: copied_over(bench, ".toml.log"), "GR-0422: the copy of its log is not what was issued",
    ),
    "the copy of the report changed": (
        lambda bench: copied_over(bench, ".html"), "GR-0422: the copy of its report is not what was issued",
    ),
    "the copies removed": (
        lambda bench: shutil.rmtree(register.place(bench.document.parent).parent / "issued"),
        "GR-0422: the copy of its log is missing",
    ),
    "the register edited": (
        lambda bench: register_line(bench, lambda line: {**line, "who": "B. Okoro"}),
        "issued.log: line 1 was changed, or a line before it is missing, changed or moved",
    ),
    "the register deleted": (
        lambda bench: register.place(bench.document.parent).unlink(),
        "DOC: it names GR-0422 as issued, and the register has no line of it",
    ),
    "the register's line taken out": (
        lambda bench: register.place(bench.document.parent).write_text("", encoding="utf-8"),
        "GR-0422.html: a copy of a report that the register has no line of",
    ),
    "a line of the log after the issue forged": (
        forged, "DOC: log broken: line",
    ),
    "the document spoilt": (
        lambda bench: bench.document.write_text("format = [", encoding="utf-8"), "DOC: the document cannot be read",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CHEATS)
def test_each_way_to_change_what_was_issued_is_told(
    issued: Bench, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    cheat, said = CHEATS[name]
    cheat(issued)
    code, lines = told(issued, capsys)
    assert code == 1
    assert f"at fault  {said}" in lines


def test_two_runs_with_their_documents_swapped(issued: Bench, capsys: pytest.CaptureFixture[str]) -> None:
    other = Bench(issued.document.with_name("other.toml"))
    store.create(other.document, edit.apply(noted(), edit.set_value(noted(), "run.id", "GR-0500")))
    other.sign("M. Tarn", "R. Holt")
    other.issue()
    one, two = issued.document.read_bytes(), other.document.read_bytes()
    issued.document.write_bytes(two)
    other.document.write_bytes(one)
    code, lines = told(issued, capsys)
    assert code == 1
    assert lines.count("its log is not the one") == 2


def test_the_clock_set_back_is_told_by_the_log(issued: Bench, capsys: pytest.CaptureFixture[str]) -> None:
    from datetime import timedelta

    from runsheet.review import entries

    issued.at -= timedelta(days=2)
    issued.change(edit.set_value(issued.run, "run.title", "another"))
    found = entries.audit(log.parse(files.log_of(issued.document).read_bytes()).steps, issued.run)
    assert len(found.backwards) == 1
    assert told(issued, capsys)[0] == 1, "an amendment dated before the issue it amends is none"


def test_what_is_open_is_told_and_is_no_fault(issued: Bench, capsys: pytest.CaptureFixture[str]) -> None:
    other = Bench(issued.document.with_name("other.toml"))
    store.create(other.document, edit.apply(noted(), edit.set_value(noted(), "run.id", "GR-0500")))
    place = str(other.document)
    assert told(issued, capsys)[1].startswith(f"open      {place}: never issued, not signed")
    other.sign("M. Tarn")
    assert f"open      {place}: never issued, review pending" in told(issued, capsys)[1]
    issued.change(edit.set_value(issued.run, "run.title", "another"), "the client's title")
    code, lines = told(issued, capsys)
    assert (code, "open      DOC: an amendment of GR-0422 is in progress: the client's title" in lines) == (0, True)


def test_signed_again_under_another_name_the_issue_is_no_longer_this_document(
    issued: Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    had = issued.document.read_text(encoding="utf-8")
    assert had.count('name = "R. Holt"') == 1
    issued.document.write_text(had.replace('name = "R. Holt"', 'name = "B. Okoro"'), encoding="utf-8")
    code, lines = told(issued, capsys)
    assert (code, "outside its log: signature[2].name" in lines) == (1, True)
