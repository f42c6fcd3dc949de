"""What the line by line mode says, and the commands it has beside those of the screen.

Owns: its sentences, from the sheet as accepted. Invariant: what a line says of a reading is read from the sheet after
it; a key that a sentence of the screen names is the name of a command here too.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

from runsheet.figures import counted, figure
from runsheet.run import edit
from runsheet.screen import changing, panes, rows
from runsheet.screen.content import Content
from runsheet.show import columns, findings
from runsheet.work import next_step

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from runsheet.compute.results import Finding, RowResult, Sheet
    from runsheet.screen.linear import Linear
    from runsheet.screen.session import Session
    from runsheet.work.step import PaneName


def opening(session: Session) -> list[str]:
    """Which run it is, and what a person must know of how it was opened."""
    run, store = session.run.run, session.store
    came = counted(store.came_back, "entry", "entries")
    back = [f"{came} came back from the log"] if store.came_back else []
    half = [] if store.drafted is None else [f"half typed when the screen ended, and not taken: {store.drafted.text}"]
    told = ". ".join(filter(None, (run.id, run.title)))
    number = "a number is the reading of the next row to read, or of one gone to"
    house = [session.laboratory_faults] if session.laboratory_faults else []
    doubts = [session.doubts] if session.doubts else []
    return [told, *back, *store.notes, *house, *doubts, *half, f"? lists the commands; {number}"]


_HERE = {
    "t notes what was done, in QC": ":action notes what was done",  # t would be of a row
    "(t in the QC pane)": "(:action)",
    "V reviews": "the screen reviews",
}


def spoken(text: str) -> str:
    """A sentence, with what is done here in the place of a key that only the screen has."""
    for there, here in _HERE.items():
        text = text.replace(there, here)
    return text


def next_thing(session: Session, read: tuple[PaneName, int] | None) -> str:
    """What to do next and why; `read` is the row a number is the reading of, named where it is not what is next."""
    step = next_step.next_step(session.sheet, session.dilution_offered)
    if step.done and session.next_to_sign:
        return f"NEXT {session.next_to_sign}: {step.why}"
    words = "lamp on: :start begins the warm-up" if step.words.startswith("lamp on") else step.words
    offer = f", :{step.offer}" if step.offer else ""
    other = read is not None and (step.offer is not None or read != (step.pane, step.row))
    whose = f"; a number now is {_name(session.sheet, *read)}'s reading" if read is not None and other else ""
    return f"NEXT {words}{offer}: {step.why}{whose}"


def _name(sheet: Sheet, pane: PaneName, place: int) -> str:
    shown = next(each for each in panes.PANES if each.name == pane)
    return shown.columns[0].text(shown.items(sheet)[place])


def accepted(session: Session, pane: PaneName, place: int, name: str) -> list[str]:
    """What became of a reading."""
    return [f"accepted {each}" if at == 0 else each for at, each in enumerate(row(session, pane, place, name))]


def row(session: Session, pane: PaneName, place: int, name: str) -> list[str]:
    """A row with what it comes to."""
    sheet = session.sheet
    if pane == "queue":
        return [_queue_row(session, sheet.rows[place])]
    shown = next(each for each in panes.PANES if each.name == pane)
    typed = getattr(session.run, shown.array)[place]
    told = " ".join(map(str, typed.readings)) or "not read"
    if pane == "setup":
        result = sheet.setup[place]
        return [f"{name}: {told}, {result.state}{f', {result.why}' if result.why else ''}"]
    return [f"{name}: {told}", shown.summary(sheet)]


def _queue_row(session: Session, found: RowResult) -> str:
    read = " ".join(map(str, found.row.readings)) or "not read"
    parts = [f"{found.id}: {read}", f"at {found.row.at:%H:%M}" if found.row.at else ""]
    if (result := columns.reported(found)) and not found.void:
        unit = "" if result.endswith("%") else found.unit or ""
        parts.append(f"result {result} {unit}".strip())
    if found.expanded and not found.void:
        parts.append(f"U {figure(found.expanded, 2)} (k = {figure(found.coverage, 3)})")
    parts.append(f"flags {found.letters}" if found.letters else "")
    parts.append(columns.state(found))
    parts.append(
        f"{found.over}: :dilute offers {session.dilution_offered(found)}x" if found.advice and found.reports else ""
    )
    return ", ".join(filter(None, parts))


def changes(before: Sheet, after: Sheet) -> list[str]:
    """What a step did to the quality control, and what fell due by it."""
    told = [f"QC {each}" for each in _findings(before, after)]
    then = {result.what: result.state for result in before.due}
    fell = [r.words for r in after.due if r.state != "ok" and then.get(r.what) != r.state]
    return [*told, *(f"DUE {words}" for words in fell)]


def _findings(before: Sheet, after: Sheet) -> list[str]:
    """The verdicts that are others than before; where a rule has several on one row, by what each says too."""
    several = {
        name
        for sheet in (before, after)
        for name, many in Counter((f.rule, f.rows) for f in sheet.quality).items()
        if many > 1
    }

    def verdict(f: Finding) -> tuple[object, ...]:
        return f.rule, f.rows, findings.verdict(f), f.why if (f.rule, f.rows) in several else ""

    old = {verdict(f) for f in before.quality}
    return [f"{findings.verdict(f)}: {findings.said(f, 3)}" for f in after.quality if verdict(f) not in old]


def commands(found: Sequence[tuple[str, str]]) -> list[str]:
    """The commands, one a line."""
    told = [f":{name}  {words.split(chr(10))[0].rstrip('.')}" for name, words in found]
    return [
        "a number: the reading of the next row to read, or of one gone to by :row; accepted at once",
        *told,
        "a key that a sentence names: :r as :reread",
    ]


# --- commands of its own ----------------------------------------------------------------------------------------


def _row(linear: Linear, name: str) -> None:
    """Go to a row, :row OF-7; what follows is about it."""
    for pane in panes.PANES:
        for place, item in enumerate(pane.items(linear.session.sheet) if pane.array else ()):
            if name and pane.columns[0].text(item) == name:
                linear.put(pane.name, place)
                return
    linear.say(f"no row {name!r}; nothing changed" if name else ":row and its name, as :row OF-7")


def _next(linear: Linear, _: str) -> None:
    """Go to what is next"""
    linear.go_to_next()
    linear.catch_up()


def _blank(linear: Linear, _: str) -> None:
    """Insert a blank before the next row to read"""
    linear.having(lambda: rows.insert_blank(linear))


def _check(linear: Linear, _: str) -> None:
    """Insert a check standard before the next row to read"""
    linear.having(lambda: rows.insert_check(linear))


def _start(linear: Linear, _: str) -> None:
    """Start the warm-up: the lamp is on"""
    waiting = (at for at, r in enumerate(linear.session.run.setup, 1) if r.check == "warm-up" and r.started is None)
    at = next(waiting, None)
    if at is None:
        linear.say("no warm-up waits to be started; nothing changed")
        return
    made = edit.set_value(linear.session.run, f"setup[{at}].started", linear.session.now())
    linear.having(lambda: linear.commit([made]))


def _correct(linear: Linear, text: str) -> None:
    """Correct the reading of the row last spoken of, as :correct 0.113; asks why"""
    if _read_row(linear):
        linear.having(lambda: linear.write_readings(text))


def _add(linear: Linear, text: str) -> None:
    """Add a filling to the row last spoken of, as :add 0.113"""
    if found := _read_row(linear):
        linear.having(lambda: linear.write_readings(text, found.readings))


def _read_row(linear: Linear) -> Any:
    """The present row of the document, where it has readings; None, which is told."""
    array = linear.pane.array
    found = getattr(linear.session.run, array)[linear.place] if array and linear.item is not None else None
    if found is None or not found.readings:
        linear.say("go to a row that is read first, as :row OF-7; nothing changed")
        return None
    return found


def _again(linear: Linear, _: str) -> None:
    """Read the present row's sample again: a new row, same amounts"""
    linear.having(lambda: rows.reread(linear))


def _action(linear: Linear, _: str) -> None:
    """Note what was done about a finding that fails"""
    shown = panes.shown_findings(linear.session.sheet)
    failing = [(at, found) for at, found in enumerate(shown) if found.state == "fail"]
    if not failing:
        linear.say("nothing fails")
        return

    def choose(number: int) -> None:
        linear.close_page()
        linear.active, linear.place = "quality", failing[number][0]
        changing.action(linear)

    texts = [f"{findings.verdict(f)}: {findings.said(f, 3)}" for _, f in failing]
    linear.open_page(Content("What was done about which?", texts, choose))


OWN: dict[str, Callable[[Linear, str], None]] = {
    "row": _row, "next": _next, "blank": _blank, "check": _check, "start": _start, "correct": _correct, "add": _add,
    "again": _again, "action": _action,
}  # fmt: skip
"""What the screen has keys or a cursor for."""
