"""Plans and comparisons over the panes: a batch from a list, rows to repeat, other models, what if, extracts left.

Owns: how these are asked for, shown and confirmed. Invariant: the plans themselves are made by the modules of the same
names, and nothing changes before it was shown and chosen.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from runsheet.run.disk import files
from runsheet.screen.page import Content

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runsheet.run.edit import Edit
    from runsheet.screen.bench import Bench


def _confirm(bench: Bench, title: str, lines: Sequence[str], edits: Sequence[Edit], reason: str) -> None:
    """Show what would be done; Enter does it as one step."""

    def choose(_: int) -> None:
        bench.close_page()
        if bench.commit(edits, reason):
            bench.go_to_next()
            bench.say(f"{title}: done; u takes it back")

    bench.open_page(Content(f"{title}: Enter does it, Escape does not", lines, choose))


def plan(bench: Bench) -> None:
    """Ask for a list of samples, a CSV file or a pasted block, and plan the batch it makes."""
    label = "Samples: a CSV file's name, or paste the list (id, amount, site):"
    bench.ask(label, lambda name: _plan_file(bench, name), takes_block=lambda text: _plan(bench, text))


def _plan_file(bench: Bench, name: str) -> None:
    try:
        text = files.DISK.read(Path(name).expanduser()).decode("utf-8")
    except OSError as error:
        bench.say(f"{name}: {error.strerror}")
    except RuntimeError as error:  # ~ and the name of nobody here
        bench.say(f"{name}: {error}")
    except UnicodeDecodeError as error:
        bench.say(f"{name}: is not UTF-8 text at byte {error.start}")
    else:
        _plan(bench, text)


def _plan(bench: Bench, text: str) -> None:
    from runsheet.work import batch_plan as planner
    from runsheet.work import sample_list

    run, now = bench.run_document, bench.clock()
    planned, problems = sample_list.parse(text, run, now)
    if not planned:
        bench.say("; ".join(problem.message for problem in problems) or "no sample in the list")
        return
    made = planner.plan(run, planned, bench.sheet, now)
    edits = planner.edits(run, made.rows, made.samples, len(run.queue) + 1)
    lines = planner.preview(made.rows, problems)
    _confirm(bench, f"Add {len(made.rows)} rows for {len(planned)} samples", lines, edits, "planned batch")


def repeat_held(bench: Bench) -> None:
    """Show the shortest order of re-readings that mends what failed, and insert it."""
    from runsheet.work import reread

    found = reread.rescue(bench.sheet)
    if found is None:
        bench.say("nothing is held that reading again would mend")
        return
    _confirm(bench, "Read again what is held", reread.lines(found), reread.edits(bench.run_document, found), "rescue")


def compare(bench: Bench) -> None:
    """Show every model and weighting side by side."""
    from runsheet.work import what_if

    bench.open_page(Content("Models and weightings side by side", what_if.table(bench.run_document, bench.clock())))


def what_if(bench: Bench) -> None:
    """List what else could have been done; the chosen one shows how far each result would move."""
    from runsheet.work import what_if

    found = what_if.alternatives(bench.run_document, bench.clock())
    texts = [f"{each.what}: {what_if.material(each)}" for each in found]

    def choose(number: int) -> None:
        bench.open_page(Content(f"What if: {found[number].what}", what_if.lines(found[number])))

    bench.open_page(Content("What if", texts, choose) if found else Content("What if", ["nothing to compare yet"]))


def extracts(bench: Bench) -> None:
    """Show what is left in each flask, and which plan it cannot supply."""
    from runsheet.work import extracts as flasks

    lines = [each.words for each in flasks.ledger(bench.run_document)]
    bench.open_page(Content("Extracts: made, used, left, still needed", lines or ["no extract yet"]))
