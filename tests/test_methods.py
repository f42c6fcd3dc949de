"""Method files, solvents and their words: everything readable, every limit with its source."""

from __future__ import annotations

import dataclasses
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any, get_args, get_type_hints

import pytest

from runsheet import methods, tables
from runsheet.methods import solvents, standing, words
from runsheet.problem import has_errors
from runsheet.run.model import Method, Unit

FOLDER = Path(methods.__file__).parent
FILES = sorted(file for file in FOLDER.glob("*.toml") if file.name not in methods.NOT_METHODS)
BUILT_IN = ["direct-solid", "direct-water", "og-water", "plain", "tph-solid", "tph-water"]
ALWAYS = (
    "Follow the safety data sheet, your laboratory's chemical hygiene plan and local codes; licensed practice decides."
)
TABLES = ("setup", "calibration", "blank", "check", "batch", "limits", "holding", "receipt", "uncertainty")


@pytest.fixture(autouse=True)
def config(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep the user's own configuration out of the tests."""
    monkeypatch.setenv("RUNSHEET_CONFIG", str(tmp_path))
    (tmp_path / "methods").mkdir()
    return tmp_path


def own(config: Path, name: str, text: str) -> None:
    (config / "methods" / name).write_text(text, encoding="utf-8")


def method(name: str) -> Method:
    found = methods.find(name)
    assert found is not None, name
    return found


def raw_limits(data: dict[str, Any], path: str = "") -> list[str]:
    """Find the limits in plain TOML, without the package: everything in a limit table that is no text."""
    found = []
    for key, value in data.items():
        here = f"{path}.{key}" if path else key
        if isinstance(value, dict) and (path or key in TABLES):
            found += raw_limits(value, here)
        elif path and not isinstance(value, str):
            found.append(here)
    return found


# --- the built-in methods -------------------------------------------------------------------------------------


def test_all_built_in_methods_are_read_without_a_problem() -> None:
    found, problems = methods.all_methods()
    assert problems == []
    assert [each.name for each in found] == BUILT_IN == methods.names()
    assert [file.stem for file in FILES] == BUILT_IN


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_each_limit_has_a_source_and_each_source_a_limit(file: Path) -> None:
    data = tomllib.loads(file.read_text(encoding="utf-8"))
    assert raw_limits(data), "a method without limits would pass in silence"
    beside = {"figures", "nondetect", "estimates"}
    assert set(data["sources"]) == set(raw_limits(data)) | beside
    assert all(source.strip() for source in data["sources"].values())


@pytest.mark.parametrize("name", BUILT_IN)
def test_a_source_is_a_document_or_says_what_it_is(name: str) -> None:
    documents = ("EPA ", "40 CFR", "common practice, no source", "a placeholder", "taken over from EPA 418.1")
    for limit in words.describe(method(name)):
        assert limit.source.startswith(documents), limit


@pytest.mark.parametrize("name", BUILT_IN)
def test_what_is_known_only_from_memory_says_so(name: str) -> None:
    """EPA 418.1 was not read: whatever is taken from it is from memory."""
    for limit in words.describe(method(name)):
        assert "418.1" not in limit.source or limit.source.endswith("from memory"), limit


FIGURES = [
    # SW-846 8000D: five levels for a line, r 0.995, RSE and RSD 20 %, level errors 30 and 50 %, interim 70-130 %
    ("tph-water", "calibration.levels", "5", "8000D"),
    ("tph-water", "calibration.r", "0.995", "8000D"),
    ("tph-water", "calibration.rse_percent", "20 %", "8000D"),
    ("tph-water", "calibration.level_error_percent", "30 %", "8000D"),
    ("tph-water", "calibration.lowest_error_percent", "50 %", "8000D"),
    *[(name, "batch.control_percent", "70 to 130 %", "8000D, interim limits") for name in BUILT_IN],
    *[(name, "batch.spike_percent", "70 to 130 %", "8000D, interim limits") for name in BUILT_IN],
    # EPA 418.1, from memory: dilute above 0.8 A; 3 x 30 mL to 100 mL
    ("tph-solid", "calibration.max_absorbance", "0.8 A", "418.1, dilute above it, from memory"),
    ("tph-water", "limits.nominal_extract_ml", "100 mL", "made up to 100 mL, from memory"),
    # SW-846 chapter 1: a batch is at most 20 field samples
    ("og-water", "batch.samples", "20", "SW-846 chapter 1"),
    # EPA 1664B and 40 CFR 136 Table II: 28 days
    ("og-water", "holding.collection_to_analysis_days", "28 days", "1664B and 40 CFR 136 Table II"),
    ("direct-water", "holding.collection_to_analysis_days", "28 days", "1664B and 40 CFR 136 Table II"),
    # SW-846 chapter 4, Table 4-1: 14 and 40 days
    ("tph-solid", "holding.collection_to_extraction_days", "14 days", "SW-846 chapter 4, Table 4-1"),
    ("tph-solid", "holding.extraction_to_analysis_days", "40 days", "SW-846 chapter 4, Table 4-1"),
    # common practice, no source
    ("tph-water", "setup.warm_up_minutes", "15 min", "common practice, no source"),
    ("tph-water", "blank.every_readings", "20 readings", "common practice, no source"),
    ("tph-water", "blank.every_minutes", "60 min", "common practice, no source"),
    ("tph-water", "check.recovery_percent", "90 to 110 %", "common practice, no source"),
    ("og-water", "check.second_source_percent", "90 to 110 %", "common practice, no source"),
    ("tph-water", "batch.duplicate_rpd_percent", "20 %", "common practice, no source"),
    ("tph-solid", "batch.duplicate_rpd_percent", "35 %", "common practice, no source"),
    ("og-water", "batch.pair_rpd_percent", "30 %", "common practice, no source"),
    # a laboratory's own
    ("tph-water", "limits.detection", "0.5 mg/L", "own study"),
    ("tph-solid", "limits.reporting", "40 mg/kg", "own study"),
]


@pytest.mark.parametrize(("name", "path", "value", "source"), FIGURES)
def test_figure_and_its_source(name: str, path: str, value: str, source: str) -> None:
    limit = next(limit for limit in words.describe(method(name)) if limit.path == path)
    assert limit.value == value
    assert source in limit.source


@pytest.mark.parametrize("name", ["tph-water", "og-water", "tph-solid"])
def test_blank_is_at_most_a_tenth_of_the_absorbance_at_the_reporting_limit(name: str) -> None:
    """The slope is the one the method's source names: 0.0025 A per mg/L of extract."""
    found = method(name)
    assert found.limits
    assert found.blank
    assert found.sources
    assert "0.0025 A per mg/L" in found.sources["blank.absorbance"]
    amounts = (found.limits.reporting, found.limits.nominal_amount, found.limits.nominal_extract_ml)
    reporting, amount, extract_ml = (float(each or 0) for each in amounts)
    assert float(found.blank.absorbance or 9) <= 0.1 * 0.0025 * reporting * amount / extract_ml * (1 + 1e-9)


def test_direct_method_judges_in_concentration_only() -> None:
    found = method("direct-water")
    assert found.blank
    assert found.calibration
    assert found.blank.concentration == 2
    assert found.blank.absorbance is None
    assert found.calibration.max_absorbance is None
    assert not [path for path, _ in words.limits(found) if "absorbance" in path]


def test_solids_method_is_not_called_8440() -> None:
    found = method("tph-solid")
    assert "8440" not in f"{found.name} {found.title} {found.basis} {found.note}"
    assert found.unit == "mg/kg"


def test_plain_rests_on_common_practice_and_8000d_alone() -> None:
    sources = {limit.source for limit in words.describe(method("plain"))}
    assert [
        source for source in sources if not source.startswith(("common practice, no source", "EPA SW-846 8000D"))
    ] == []


def test_unknown_method_is_none() -> None:
    assert methods.find("tph-watr") is None


# --- the user's own -------------------------------------------------------------------------------------------


def test_user_method_is_found_and_takes_the_name_of_its_file(config: Path) -> None:
    own(config, "harbour.toml", 'title = "Harbour water"\n[blank]\nevery_readings = 12\n')
    assert methods.names() == sorted([*BUILT_IN, "harbour"])
    assert method("harbour").title == "Harbour water"
    assert methods.all_methods()[1] == []


def test_folder_parameter_comes_before_the_environment(tmp_path: Path) -> None:
    elsewhere = tmp_path / "stick"
    (elsewhere / "methods").mkdir(parents=True)
    own(elsewhere, "harbour.toml", 'title = "Harbour water"\n')
    assert methods.find("harbour") is None
    assert methods.find("harbour", elsewhere) is not None


def test_folder_that_does_not_exist_is_no_problem(tmp_path: Path) -> None:
    found, problems = methods.all_methods(tmp_path / "nowhere")
    assert len(found) == len(BUILT_IN)
    assert problems == []


@pytest.mark.skipif(sys.platform == "win32", reason="a folder of too long a name is not there, on Windows")
def test_a_folder_that_cannot_be_read_is_told_and_the_built_in_methods_are_there(tmp_path: Path) -> None:
    """As one that is closed to this account, which no test may rely on: a root account is let in."""
    folder = tmp_path / ("x" * 300)
    found, problems = methods.all_methods(folder)
    assert len(found) == len(BUILT_IN)
    told = f"error: {folder / 'methods'}: cannot be read: File name too long"
    assert [str(problem) for problem in problems] == [told]


BROKEN = [
    ("[blank]\nabsorbence = 0.005\n", "broken.toml: blank.absorbence", "did you mean absorbance?", 2),
    ("[blank]\nabsorbance = true\n", "broken.toml: blank.absorbance", "a number, not a boolean", 2),
    ('unit = "ppm"\n', "broken.toml: unit", 'found "ppm"', 1),
    (
        "[batch.petroleum]\ncontrol_percent = [130, 70]\n",
        "broken.toml: batch.petroleum.control_percent",
        "low limit",
        2,
    ),
    ("[blank\n", "broken.toml", "", 1),
]


@pytest.mark.parametrize(("text", "path", "message", "line"), BROKEN)
def test_broken_user_method_is_reported_and_skipped(
    config: Path, text: str, path: str, message: str, line: int
) -> None:
    own(config, "broken.toml", text)
    own(config, "good.toml", 'title = "Good"\n')
    found, problems = methods.all_methods()
    assert [each.name for each in found] == sorted([*BUILT_IN, "good"])
    assert [problem.path for problem in problems] == [path]
    assert message in problems[0].message
    assert problems[0].line == line
    assert has_errors(problems)


def test_file_that_is_no_text_is_reported(config: Path) -> None:
    (config / "methods" / "binary.toml").write_bytes(b"\xff\xfe\x00")
    (config / "methods" / "folder.toml").mkdir()
    found, problems = methods.all_methods()
    assert len(found) == len(BUILT_IN)
    assert [problem.path for problem in problems] == ["binary.toml", "folder.toml"]


def test_user_method_replaces_a_built_in_and_says_so(config: Path) -> None:
    own(config, "mine.toml", 'name = "tph-water"\ntitle = "Ours"\n')
    found, problems = methods.all_methods()
    assert [each.name for each in found] == BUILT_IN
    assert method("tph-water").title == "Ours"
    assert [str(problem) for problem in problems] == [
        "warning: mine.toml: takes the place of the built-in method tph-water"
    ]


def test_broken_replacement_leaves_the_built_in(config: Path) -> None:
    own(config, "tph-water.toml", "unit = 3\n")
    assert method("tph-water").title == "Petroleum hydrocarbons in water, infrared absorbance"
    assert methods.all_methods()[1][0].path == "tph-water.toml: unit"


def test_second_user_method_of_a_name_is_skipped(config: Path) -> None:
    own(config, "a.toml", 'name = "harbour"\ntitle = "A"\n')
    own(config, "b.toml", 'name = "harbour"\ntitle = "B"\n')
    assert method("harbour").title == "A"
    problem = methods.all_methods()[1][0]
    assert problem.path == "b.toml"
    assert "a.toml" in problem.message


# --- in words -------------------------------------------------------------------------------------------------


def limit_paths(cls: Any, path: str) -> set[str]:
    """List every limit the model knows below a table of the method."""
    not_limits = {"note", "studied", "studied_instrument", "studied_solvent", "oil_grease", "petroleum"}
    return {f"{path}.{field.name}" for field in dataclasses.fields(cls) if field.name not in not_limits}


def test_every_limit_of_the_model_has_words() -> None:
    hints = get_type_hints(Method)
    expected: set[str] = set()
    for group in words.GROUPS:
        cls: Any = next(kind for kind in get_args(hints[group]) if dataclasses.is_dataclass(kind))
        expected |= limit_paths(cls, group)
        unsaid = [path for path in limit_paths(cls, group) if tables.said(cls, path.split(".")[1]) is None]
        assert unsaid == []
    assert expected
    assert set(words.GROUPS) == set(TABLES)


@pytest.mark.parametrize("width", [80, 60, 40])
@pytest.mark.parametrize("name", BUILT_IN)
def test_lines_hold_each_limit_and_fit(name: str, width: int) -> None:
    found = method(name)
    printed = words.lines(found, width)
    assert max(map(len, printed)) <= width
    assert printed[0].startswith(f"{name}: ")
    # Read the columns back, left and right: both halves must hold every limit and every source in full.
    left = " ".join(" ".join(line[: width // 2] for line in printed).split())
    right = " ".join(" ".join(line[width // 2 :] for line in printed).split())
    for limit in words.describe(found):
        assert f"{limit.words} {limit.value}" in left
        assert limit.source in right


def test_fraction_overrides_and_missing_sources_are_said() -> None:
    text = (
        'unit = "mg/kg"\n[check]\nclosing = false\n[batch.oil_grease]\ncontrol_percent = [78, 114]\n'
        "[limits]\nnominal_amount = 10\nstudied = 2026-02-11\n"
        '[sources]\n"batch.oil_grease.control_percent" = "EPA 1664B"\n'
    )
    made, problems = methods.parse(text)
    assert problems == []
    assert made is not None
    assert [limit[1:] for limit in words.describe(made)] == [
        ("blank and check standard after the last row", "no", "the method gives no source"),
        ("oil and grease, control recovery", "78 to 114 %", "EPA 1664B"),
        ("nominal amount", "10 g", "the method gives no source"),
    ]
    assert "detection study of 2026-02-11" in " ".join(words.lines(made))


# --- solvents -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("asked", "name"),
    [
        ("Tetrachloroethylene", "tetrachloroethylene"),
        ("PCE", "tetrachloroethylene"),
        ("pce", "tetrachloroethylene"),
        ("Carbon  Tetrachloride", "carbon tetrachloride"),
        ("cfc 113", "1,1,2-trichloro-1,2,2-trifluoroethane"),
        ("S-316", "chlorotrifluoroethylene dimer/trimer"),
        ("N-Hexane", "n-hexane"),
    ],
)
def test_solvent_is_found_by_any_of_its_names(asked: str, name: str) -> None:
    found = solvents.find(asked)
    assert found is not None
    assert found.name == name


def test_no_two_solvents_share_a_name() -> None:
    for solvent in solvents.known().solvent:
        for name in (solvent.name, *solvent.aliases):
            assert solvents.find(name) is solvent


def test_hexane_alone_is_refused_and_the_reason_is_its_bonds() -> None:
    assert "C-H bonds" in solvents.refusal("hexane")
    assert [each.name for each in solvents.known().solvent if not each.infrared] == ["n-hexane"]
    assert solvents.refusal("PCE") == solvents.refusal("something else") == ""


@pytest.mark.parametrize("name", ["PCE", "carbon tetrachloride", "CFC-113", "S-316", "n-hexane", "moonshine", ""])
def test_cautions_always_hold_the_general_ones_and_who_decides(name: str) -> None:
    found = solvents.cautions(name)
    assert found[-1] == ALWAYS
    assert len(found) > 1 + len(solvents.known().general)
    assert any("phosgene" in caution for caution in found)
    assert any("not known" in caution for caution in found) == (solvents.find(name) is None)


def test_every_caution_has_a_source() -> None:
    known = solvents.known()
    every = [*known.general, *(caution for solvent in known.solvent for caution in solvent.cautions)]
    assert len(every) > 10
    assert all(caution.text.strip() and caution.source.strip() for caution in every)


def test_caution_names_the_rule_it_rests_on() -> None:
    assert any("fume hood" in text and "40 CFR 751.609" in text for text in solvents.cautions("PCE"))
    assert any("89 FR 103512" in text for text in solvents.cautions("tetrachloromethane"))
    assert any("2002" in text and "Appendix G" in text for text in solvents.cautions("CFC-113"))


def test_solvent_lines_fit_and_hold_every_caution() -> None:
    printed = words.solvent_lines(80)
    assert max(map(len, printed)) <= 80
    whole = " ".join(" ".join(printed).split())
    for solvent in solvents.known().solvent:
        assert solvent.name in whole
        assert solvent.refusal in whole
        assert all(caution in whole for caution in solvents.cautions(solvent.name))


# --- standing -------------------------------------------------------------------------------------------------


def test_compliance_note_says_what_the_result_is_not() -> None:
    first = standing.COMPLIANCE_NOTE[0].text
    assert first == "An infrared result is not a permit-compliance oil and grease result unless the authority says so."
    assert any("8440" in sentence.text for sentence in standing.standing("mg/kg"))
    for unit in get_args(Unit):
        sentences = standing.standing(unit)
        assert sentences[: len(standing.COMPLIANCE_NOTE)] == standing.COMPLIANCE_NOTE
        assert all(sentence.text and sentence.source for sentence in sentences)
        assert max(map(len, words.standing_lines(unit))) <= 80


# --- weight ---------------------------------------------------------------------------------------------------


def test_reading_methods_loads_neither_numpy_nor_the_screen(config: Path) -> None:
    code = (
        "import sys; from runsheet import methods; from runsheet.methods import words; methods.all_methods();"
        "words.solvent_lines(); print([name for name in ('numpy', 'textual') if name in sys.modules])"
    )
    made = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=FOLDER.parent.parent
    )
    assert made.stdout.strip() == "[]"
    assert list((config / "methods").iterdir()) == []


def test_platform_folder_is_used_when_nothing_names_another(monkeypatch: pytest.MonkeyPatch) -> None:
    platformdirs = pytest.importorskip("platformdirs")
    monkeypatch.delenv("RUNSHEET_CONFIG")
    assert methods.config_folder() == platformdirs.user_config_path("runsheet")
