"""A list of samples taken into a plan.

Owns: how a list is asked for and shown, its bad lines marked. Invariant: nothing is added before each bad line was put
right or left out by a person, and what was left out is named; Escape leaves no trace.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from runsheet.figures import counted
from runsheet.run.disk import files
from runsheet.screen.content import Content
from runsheet.screen.context import Leave
from runsheet.work import batch_plan, sample_list, usual
from runsheet.work.offers import Offer

if TYPE_CHECKING:
    from runsheet.screen.context import Context

_LINE = re.compile(r"line (\d+)")


def plan(context: Context) -> None:
    """Ask for a list of samples, a CSV file or a pasted block, and plan the batch it makes."""
    label = "Samples: a CSV file's name, or paste the list (id, amount, site):"
    context.ask(label, lambda name: _file(context, name), takes_block=lambda text: _begin(context, text))


def _file(context: Context, name: str) -> str | None:
    try:
        text = files.DISK.read(Path(name).expanduser()).decode("utf-8")
    except OSError as error:
        return f"{name}: {error.strerror}"
    except RuntimeError as error:  # ~ and the name of nobody here
        return f"{name}: {error}"
    except UnicodeDecodeError as error:
        return f"{name}: is not UTF-8 text at byte {error.start}"
    _begin(context, text)
    return None


def _begin(context: Context, text: str) -> None:
    """Ask which batch the samples are of, where there are several; then show the list."""
    batches = [batch.id for batch in context.session.run.batch]
    if len(batches) < 2:
        _List(context, text, batches[0] if batches else None).show()
        return

    def answer(name: str) -> str | None:
        if name.strip() not in batches:
            return f"not accepted: the batches are {' '.join(batches)}"
        _List(context, text, name.strip()).show()
        return None

    offers = [Offer(name, "", {}) for name in batches]
    context.ask("Which batch are they of?", answer, batches[-1], offers=offers)


class _List:
    """One list on its way into the queue."""

    def __init__(self, context: Context, text: str, batch: str | None) -> None:
        """Take the text, and the batch of the samples that name none."""
        self.context, self.batch = context, batch
        self.lines = text.removeprefix("\ufeff").splitlines()
        self.left_out: list[str] = []

    def show(self, at: int = 0) -> None:
        """Show what would be added, the bad lines first; Enter on one asks for it, else adds all of it."""
        context, run, now = self.context, self.context.session.run, self.context.session.clock()
        planned, problems = sample_list.parse("\n".join(self.lines), run, now)
        wrong: dict[int, list[str]] = {}
        for problem in problems:
            if problem.level == "error":
                found = _LINE.match(problem.path)
                wrong.setdefault(int(found[1]) if found else 0, []).append(f"{problem.path}: {problem.message}")
        if not planned and not wrong:
            context.say("; ".join(problem.message for problem in problems) or "no sample in the list")
            return
        if self.batch is not None and len(run.batch) > 1:
            named = [each.row.batch or self.batch for each in planned]
            rows = [replace(each.row, batch=batch) for each, batch in zip(planned, named, strict=True)]
            planned = [each._replace(row=row) for each, row in zip(planned, rows, strict=True)]
        made = batch_plan.plan(run, planned, context.session.sheet, now)
        warnings = [problem for problem in problems if problem.level != "error"]
        told = [f"WRONG {'; '.join(why)}: {self._text(line)}" for line, why in wrong.items()]
        told += [f"left out: {text}" for text in self.left_out]
        edits = batch_plan.edits(run, made.rows, made.samples, len(run.queue) + 1)
        told += usual.of_step(run, edits, context.session.laboratory.dilutions)
        lines = [*told, *batch_plan.preview(run, made.rows, warnings)]
        bottles = len({each.sample.id for each in planned})
        count = f"Add {counted(len(made.rows), 'row')} for {counted(bottles, 'sample')}"

        def choose(number: int) -> None:
            context.close_page()
            if wrong:
                line, why = list(wrong.items())[min(number, len(wrong) - 1)]
                self._ask(line, "; ".join(why))
            elif planned and context.commit(edits, "planned batch"):
                context.go_to_next()
                context.say(f"{count}{self._left()}: done; u takes it back")

        bad = f"{len(wrong)} line{'s' if len(wrong) > 1 else ''} to put right or leave out; Enter asks"
        context.open_page(Content(bad if wrong else count, lines, choose, whole=not wrong), at)

    def _text(self, line: int) -> str:
        return self.lines[line - 1] if 0 < line <= len(self.lines) else ""

    def _left(self) -> str:
        return f", {len(self.left_out)} left out" if self.left_out else ""

    def _ask(self, line: int, why: str) -> None:
        """Ask for a bad line: the line put right, or nothing to leave it out."""
        old = self._text(line)
        tabs = ";" not in old and sample_list.mark("\n".join(self.lines)) == "\t"  # which no line of the screen takes

        def answer(text: str) -> None:
            if not text.strip():
                self.left_out.append(old)
                text = ""
            self.lines[line - 1] = text.replace(";", "\t") if tabs else text
            self.show()

        if line < 1:
            self.context.say("this list cannot be read line by line: correct it and plan again")
            return
        label = f"{why}. Put the line right{', with semicolons for its tabs' if tabs else ''}; empty leaves it out:"
        shown = old.replace("\t", ";") if tabs else old
        self.context.ask(label, answer, shown, leave=Leave(self.show, "goes back to the list"))
