"""Strategies for run documents.

Owns: `anything`, made from the model's own annotations, so that a new field is tried without a change here; and
`readable`, whose parts also fit one another. Invariant: numbers are made from the characters a person types.
"""

from __future__ import annotations

import dataclasses
from datetime import date, datetime, timedelta, timezone
from decimal import Decimal
from functools import cache
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin, get_type_hints

from hypothesis import strategies as st

from runsheet import tables
from runsheet.run.model import About, Batch, Calibration, Instrument, Review, Row, Run, Sample, Standard
from runsheet.tables import Above, Number, Said
from tests.make import at

EXTREMES = [
    "-0.0",
    "5e-324",
    "1e-300",
    "1E-30",
    "1e-9",
    "1.0e3",
    "1e30",
    "1e150",
    "-1e300",
    "1.7e308",
    "+0.50",
    "-7",
    "7",
]
LIKELY = ["0", "0.5", "0.95", "0.130", "1", "2", "7.50", "20"]
TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=12) | st.sampled_from(
    ["", '"""', "\\", "a\r\nb", "#", "\x7f"]
)
ZONES = st.builds(lambda minutes: timezone(timedelta(minutes=minutes)), st.integers(-14 * 60, 14 * 60))


def typed(text: str) -> Any:
    """The number a person types so."""
    return tables.number(text) if set(text) & set(".eE") else int(text)


def number(digits: int, places: int) -> Any:
    """A number with so many places, its trailing zeros kept."""
    return typed(f"{Decimal(digits).scaleb(-places):f}")


PLAIN: dict[Any, st.SearchStrategy[Any]] = {
    bool: st.booleans(),
    int: st.integers(-(10**30), 10**30),
    Decimal: st.builds(number, st.integers(-9999, 99999), st.integers(0, 5)) | st.sampled_from(EXTREMES).map(typed),
    str: TEXTS,
    date: st.dates(date(1000, 1, 1)),
    datetime: st.datetimes(datetime(1000, 1, 2), datetime(9999, 12, 30), timezones=ZONES),  # noqa: DTZ001 - ZONES gives it
}


@cache
def value(hint: Any) -> st.SearchStrategy[Any]:
    """Make values of an annotation of the model that its reader takes."""
    origin, args = get_origin(hint), get_args(hint)
    if origin is Annotated:
        bounds = tuple(bound for bound in args[1:] if not isinstance(bound, Said))
        return bounded(args[0], bounds) if bounds else value(args[0])
    if origin in (Union, UnionType):
        kinds = [kind for kind in args if kind is not NoneType and not (kind is int and Decimal in args)]
        return st.one_of([value(kind) for kind in kinds])
    if origin is Literal:
        return st.sampled_from(args)
    if origin is tuple:
        every = args[1:] == (Ellipsis,)
        return st.lists(value(args[0]), max_size=3).map(tuple) if every else st.tuples(*map(value, args))
    if origin is dict:
        return st.dictionaries(TEXTS, TEXTS, max_size=3)
    return table(hint) if hint not in PLAIN else PLAIN[hint]


def bounded(hint: Any, bounds: tuple[Any, ...]) -> st.SearchStrategy[Any]:
    """Make values within the bounds: likely ones, extreme ones, and some between."""
    if isinstance(bounds[0], tables.Matching):
        return st.sampled_from(["+01:00", "-14:59", "Z", "+00:00"])
    if hint is int:
        return st.integers(int(bounds[0].low), int(min(bounds[0].high, 99)))
    low = max(getattr(bound, "low", getattr(bound, "limit", 0)) for bound in bounds)
    high = min(getattr(bound, "high", 1e5) for bound in bounds)
    fitting = [
        each for each in map(typed, [*LIKELY, *EXTREMES]) if not any(bound.complaint(float(each)) for bound in bounds)
    ]
    return st.sampled_from(fitting) | st.integers(int(max(low, -99) * 1000) + 1, int(min(high, 9999) * 1000)).map(
        lambda n: number(n, 3)
    )


def table(cls: Any, **given: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    """Make one of the model's tables; a field that may be absent often is."""
    hints = get_type_hints(cls, include_extras=True)
    names = [field.name for field in dataclasses.fields(cls)]
    fields = {name: given[name] if name in given else value(hints[name]) for name in names}
    bare = {field.name for field in dataclasses.fields(cls) if field.default is dataclasses.MISSING} | given.keys()
    must = {name: fields.pop(name) for name in list(fields) if name in bare}
    return st.fixed_dictionaries(must, optional=fields).map(lambda values: cls(**values))


def anything() -> st.SearchStrategy[Run]:
    """Make runs of any content; their parts need not fit one another."""
    return table(Run, format=st.just(1))


# --- runs that can be evaluated -------------------------------------------------------------------------------

MINUTES = st.none() | st.integers(-60, 600).map(at) | st.integers(-(10**8), 10**8).map(at)
MEASURED = st.sampled_from(["20", "100", "950.0"]).map(typed)
ABSORBANCES = st.integers(-20, 1500).map(lambda n: number(n, 3))


@cache
def readings(reads: str) -> st.SearchStrategy[Any]:
    """Make the readings of a row: mostly of an ordinary day, some of none."""
    strange = value(Annotated[Number, Above(0)] if reads == "transmittance" else Decimal)
    ordinary = st.integers(1, 1100).map(lambda n: number(n, 1)) if reads == "transmittance" else ABSORBANCES
    return st.lists(st.one_of(ordinary, ordinary, ordinary, strange), max_size=3).map(tuple)


@st.composite
def readable(draw: st.DrawFn) -> Run:
    """Make runs whose parts fit one another as far as the reader asks; a few still do not."""
    reads = draw(st.sampled_from(["absorbance", "absorbance", "transmittance", "concentration"]))
    models = ("direct",) if reads == "concentration" else ("line", "quadratic", "line-through-zero", "mean-factor")
    names = [f"C{n}" for n in range(draw(st.integers(0, 2)))]
    calibration = [draw(calibrations(name, models)) for name in names]
    ordinary = draw(st.sampled_from([True, True, False]))
    standard = [
        draw(standards(n, name, reads, ordinary=ordinary)) for name in names for n in range(draw(st.integers(0, 6)))
    ]
    queue = [draw(table_row(n, tuple(names), reads, ordinary=ordinary)) for n in range(draw(st.integers(0, 7)))]
    batch = [draw(named(Batch, f"B{n}")) for n in range(draw(st.integers(0, 2)))]
    sample = [draw(named(Sample, f"R{n}")) for n in range(draw(st.integers(0, 2)))]
    review = [draw(reviews(queue)) for _ in range(draw(st.sampled_from([0, 0, 1, 2])))]
    instrument = draw(instruments(reads))
    rest = draw(rests())
    lists: tuple[list[Any], ...] = (calibration, standard, batch, sample, queue, review)
    parts: dict[str, Any] = {name: tuple(made) for name, made in zip(PARTS, lists, strict=True)}
    made: Run = dataclasses.replace(rest, instrument=instrument, **parts)
    return made


PARTS = ("calibration", "standard", "batch", "sample", "queue", "review")


# Each strategy is made once: making one takes longer than drawing from it.


@cache
def rests() -> st.SearchStrategy[Run]:
    """Make what a run has besides its parts."""
    return table(Run, format=st.just(1), run=named(About, "T"), **dict.fromkeys(PARTS, st.just(())))


@cache
def named(cls: Any, id_: str) -> st.SearchStrategy[Any]:
    """Make a table with this id."""
    return table(cls, id=st.just(id_))


@cache
def calibrations(name: str, models: tuple[str, ...]) -> st.SearchStrategy[Calibration]:
    """Make a calibration of this name with one of these models."""
    return table(Calibration, id=st.just(name), model=st.sampled_from(models))


@cache
def instruments(reads: str) -> st.SearchStrategy[Instrument]:
    """Make a photometer that reads so."""
    return table(Instrument, reads=st.just(reads))


def reviews(queue: list[Row]) -> st.SearchStrategy[Review]:
    """Make a reviewer's entry: a row typed again, as the sheet has it or not, there or not; or an exception."""
    there = st.sampled_from([*(row for row in queue if row.readings), Row(id="gone", kind="sample", readings=(1,))])
    alike = there.map(lambda row: Review(row=row.id, readings=row.readings, by="R. Holt"))
    return (
        alike
        | alike.map(lambda made: dataclasses.replace(made, readings=(2,)))
        | table(Review, row=st.none(), readings=st.just(()), exception=TEXTS)
    )


@cache
def standards(n: int, name: str, reads: str, *, ordinary: bool) -> st.SearchStrategy[Standard]:
    """Make a standard of a calibration: of an ordinary curve, or at any level with any reading."""
    level: Any = st.sampled_from(["0", "10", "25", "100", "10.000000001", "1e-300", "1e300"]).map(typed)
    read = readings(reads)
    if ordinary:
        level = st.just((0, 10, 25, 50, 100, 200)[n])
        read = st.integers(-3, 3).map(lambda off: (signal((0, 10, 25, 50, 100, 200)[n], off, reads),))
    none: dict[str, Any] = dict.fromkeys(
        ("stock", "aliquot_ml", "final_ml", *(["use", "at"] if ordinary else [])), st.none()
    )
    about = {"id": st.just(f"{name}S{n}"), "calibration": st.just(name), "concentration": level, "readings": read}
    return table(Standard, **{"at": MINUTES} | about | none)


def signal(level: int, off: int, reads: str) -> Any:
    """What an instrument reads of a level, some thousandths of its scale off."""
    if reads == "concentration":
        return number(level * 10 + off, 1)
    absorbance = 0.0025 * level + off / 1000
    return number(round(absorbance * 1000), 3) if reads == "absorbance" else number(round(1000 * 10**-absorbance), 1)


@cache
def table_row(n: int, names: tuple[str, ...], reads: str, *, ordinary: bool) -> st.SearchStrategy[Row]:
    """Make a row of the queue; the first is a sample, so that others may be of it."""
    kind = st.just("sample") if n == 0 else value(get_type_hints(Row, include_extras=True)["kind"])
    fixed: dict[str, Any] = {
        "id": st.just(f"R{n}"),
        "kind": kind,
        "sample": st.none() if n == 0 else st.sampled_from([None, None, "R0", "R1"]),
        "batch": st.none(),
        "calibration": st.sampled_from([None, None, *names]),
        "of": st.sampled_from([None, "R0"]),
        "readings": readings(reads),
        "at": MINUTES,
        "void": st.sampled_from([None, None, None, "spilt"]),
        "as_left": st.none() if reads == "transmittance" else st.sampled_from([None, typed("0.003")]),
        "dry_g": st.none(),
        "empty_g": st.none(),
    }
    measured: dict[str, Any] = {"amount": MEASURED, "extract_ml": MEASURED, "cell_mm": st.none()} if ordinary else {}
    return table(Row, **fixed, **measured)
