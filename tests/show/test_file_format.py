"""The reference of the files a person writes, and its JSON Schema: as the reader has them, no more and no less."""

from __future__ import annotations

import dataclasses
import json
import tomllib
from datetime import date, datetime
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from runsheet import demo, methods, tables
from runsheet.command.main import main
from runsheet.methods import laboratory
from runsheet.report.file_format import FILES
from runsheet.run import model
from runsheet.show import fields, json_schema
from tests import goldens
from tests.make import results, row, standards

GOOD = [path for folder in ("good", "examples") for path in sorted((goldens.FIXTURES / folder).glob("*.toml"))]
METHODS = [file for file in Path(methods.__path__[0]).glob("*.toml") if file.name not in methods.NOT_METHODS]
WRONG = (
    "not-a-table", "not-above-zero", "no-format", "no-run-id", "local-time", "missing-in-rows", "unknown-keys",
    "unknown-words", "wrong-types",
)  # fmt: skip
"""Bad documents whose fault is in one field by itself."""


@cache
def schema_of(kind: str) -> dict[str, Any]:
    """The schema of one kind of file."""
    return json_schema.schema(FILES[kind].cls, FILES[kind].title)


def as_json(value: Any) -> Any:
    """TOML's values as an editor hands them to a schema."""
    if isinstance(value, dict):
        return {key: as_json(each) for key, each in value.items()}
    if isinstance(value, list):
        return [as_json(each) for each in value]
    return value.isoformat() if isinstance(value, date) else float(value) if isinstance(value, Decimal) else value


def faults(kind: str, text: str) -> list[str]:
    found = Draft202012Validator(schema_of(kind)).iter_errors(as_json(tomllib.loads(text.removeprefix("\ufeff"))))
    return [f"{error.json_path}: {error.message}" for error in found]


@pytest.mark.parametrize("kind", FILES)
def test_the_schema_is_one(kind: str) -> None:
    Draft202012Validator.check_schema(schema_of(kind))


@pytest.mark.parametrize("path", GOOD, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_good_documents_are_valid(path: Path) -> None:
    assert faults("document", path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("name", demo.NAMES)
def test_the_demo_runs_are_valid(name: str) -> None:
    assert faults("document", demo.text(name)) == []


@pytest.mark.parametrize("file", METHODS, ids=lambda file: file.name)
def test_method_files_are_valid(file: Path) -> None:
    assert faults("method", file.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("name", WRONG)
def test_bad_documents_are_not(name: str) -> None:
    assert faults("document", (goldens.FIXTURES / "bad" / f"{name}.toml").read_text(encoding="utf-8"))


def test_a_key_that_there_is_not_is_a_fault() -> None:
    assert faults("laboratory", '[[person]]\nname = "I. Varga"\n') == []
    assert "$.person[0]" in faults("laboratory", '[[person]]\nname = "I. Varga"\nshoes = 4\n')[0]


def every_class() -> list[Any]:
    """The dataclasses of the model and the laboratory file, found in their modules."""
    return [
        made for module in (model, laboratory) for made in vars(module).values()
        if isinstance(made, type) and dataclasses.is_dataclass(made) and made.__module__ == module.__name__
    ]  # fmt: skip


def test_every_class_and_field_of_the_model_is_in_a_schema_and_in_the_reference(
    capsys: pytest.CaptureFixture[str],
) -> None:
    told = {schema["title"]: schema for schema in map(schema_of, FILES)}
    classes = {name: made for schema in told.values() for name, made in schema["$defs"].items()}
    classes |= {file.cls.__name__: schema_of(kind) for kind, file in FILES.items()}
    assert main(["format"]) == 0
    lines = [line.split(" ")[0] for line in capsys.readouterr().out.splitlines()]
    assert len(every_class()) > 30
    for made in every_class():
        names = [field.name for field in dataclasses.fields(made)]
        assert list(classes[made.__name__]["properties"]) == names
        assert set(names) <= set(lines)


VALUES = [
    "x", "", "mg/L", "+01:00", True, 0, 1, -1, 16, 200, Decimal("1.5"), Decimal("0.5"), 7, [], [1], [1, 2], [1, "x"],
    [0, 0], [{}], {}, {"a": "b"}, {"a": 1}, datetime.fromisoformat("2026-03-11T07:30:00+01:00"),
    datetime.fromisoformat("2026-03-11T07:30:00"), date(2026, 3, 11),
]  # fmt: skip


@pytest.mark.parametrize("kind", FILES)
def test_the_schema_takes_for_each_field_what_the_reader_takes(kind: str) -> None:
    """But for a time where a text may stand: to a schema a time is a text."""
    schema, differ, looked = schema_of(kind), [], 0
    for group in fields.groups(FILES[kind].cls):
        for field in fields.of(group.cls):
            table = schema if group.cls is FILES[kind].cls else schema["$defs"][group.cls.__name__]
            alone = Draft202012Validator({**table["properties"][field.name], "$defs": schema["$defs"]})
            for value in VALUES:
                if isinstance(value, date) and str in fields.alternatives(field.hint):
                    continue
                looked += 1
                taken = alone.is_valid(as_json(value))
                if taken != (tables.complaint(group.cls, field.name, value) == ""):
                    differ.append((group.cls.__name__, field.name, value, taken))
    assert looked > 500
    assert differ == []


def test_a_default_that_the_model_has_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    unit = next(field for field in fields.of(model.Method) if field.name == "unit")
    assert (unit.default, fields.default_words(unit.default)) == ("mg/L", '"mg/L"')
    assert schema_of("method")["properties"]["unit"]["default"] == model.Method().unit
    assert main(["format", "method", "--as", "schema"]) == 0
    assert json.loads(capsys.readouterr().out)["properties"]["unit"]["default"] == "mg/L"


def test_unit_bound_and_words_come_from_the_field() -> None:
    cell = next(field for field in fields.of(model.CurveLimits) if field.name == "max_absorbance")
    assert (cell.unit, cell.words, fields.type_words(cell.hint)) == ("A", "highest absorbance read", "number above 0")
    spikes = next(field for field in fields.of(model.BatchLimits) if field.name == "spike_added_mg")
    assert spikes.words.endswith("Both proposed for new rows; without them nothing is.")


@pytest.mark.parametrize("form", ["text", "markdown", "html"])
def test_every_form_has_every_file(form: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["format", "--as", form]) == 0
    told = capsys.readouterr().out
    assert all(file.title.lower() in told.lower() for file in FILES.values())


def test_a_word_that_is_a_number_is_read_and_another_is_told() -> None:
    text = '[[instrument]]\nname = "A"\n[instrument.output]\nbits = {}\nstop = 1\n'
    made, problems = laboratory.read(text.format(7))
    assert not problems
    assert made.instrument[0].output is not None
    assert (made.instrument[0].output.bits, made.instrument[0].output.stop) == (7, 1)
    _, problems = laboratory.read(text.format('"x"'))
    assert [problem.message for problem in problems] == ['expected one of 7, 8, found "x"']


SILENT: dict[str, tuple[type, str, Any, str]] = {
    "method.figures": (model.Method, "figures", "1664", '"1664" when absent'),
    "method.nondetect": (model.Method, "nondetect", "reporting", "the reporting limit when absent"),
    "method.estimates": (model.Method, "estimates", True, "true when absent"),
    "instrument.reads": (model.Instrument, "reads", "absorbance", "absorbance when absent"),
    "calibration.weighting": (model.Calibration, "weighting", "none", "none when absent"),
    "calibration.zero_standard": (model.Calibration, "zero_standard", "subtract", "subtracted when absent"),
    "calibration.drift": (model.Calibration, "drift", "last", "the last one when absent"),
    "calibration.confidence": (model.Calibration, "confidence", 0.95, "0.95 when absent"),
    "standard.use": (model.Standard, "use", True, "true when absent"),
    "queue.matrix": (model.Row, "matrix", "water", "by the method's unit when absent"),
    "queue.dilution": (model.Row, "dilution", 1, "1 when absent"),
    "queue.silica_gel": (model.Row, "silica_gel", False, "oil and grease, when absent too"),
    "queue.as_left": (model.Row, "as_left", 0, "absorbance 0 when absent"),
    "queue.report": (model.Row, "report", True, "true when absent"),
}
"""Optional fields that are read as something where they are not written: class, name, as what, and its words."""


@pytest.mark.parametrize("place", SILENT)
def test_the_reference_says_what_a_field_that_is_not_written_is_read_as(place: str) -> None:
    """And it is so: written out, it changes no figure."""
    cls, name, value, words = SILENT[place]
    (field,) = [each for each in fields.of(cls) if each.name == name]
    assert words in field.words.lower()
    table = place.partition(".")[0]
    limits = {"detection": 0.5, "reporting": 2, "nominal_amount": 1000, "nominal_extract_ml": 100}
    blank, low = row("SB", 0.004, kind="blank", rezeroed=True), row("B", 0.006)
    zero = standards((0,), (0.002,), name="Z", first=10)
    rows, read = [blank, row("A", 0.2), low, row("C", 0.03)], [*zero, *standards()]
    given: dict[str, Any] = {"method": {"limits": limits}, "calibration": {}, "instrument": {"step": 0.001}}
    plain = results(rows, standard=read, **given)
    if table in ("queue", "standard"):
        written = {"queue": rows, "standard": read}
        written[table] = [each | {name: value} for each in written[table] if name != "as_left" or each is blank]
        if name == "as_left":
            written["queue"] = [blank | {name: value}, *rows[1:]]
        if name == "matrix":
            written["queue"] = [blank, *(each | {name: value} for each in rows[1:])]
        assert results(written["queue"], standard=written["standard"], **given) == plain
    else:
        given[table] = given[table] | {name: value}
        assert results(rows, standard=read, **given) == plain
