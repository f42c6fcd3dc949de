"""What a run document holds, field for field.

Owns: the frozen dataclasses of the document; the reader and the writer follow from their annotations.
Invariant: a Run is exactly the document. None is "not written in the document", so that what a person typed and what
a default supplies are never mixed up; the defaults themselves live beside the computation that uses them.

Its annotations are types and not text: the reader needs them as types, and to make them of text takes a start 4 ms.
"""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated, Literal

from runsheet.run.kinds import Kind
from runsheet.tables import Above, Matching, Number, Said, Within

Positive = Annotated[Number, Above(0)]
NotNegative = Annotated[Number, Within(low=0)]
Limits = tuple[Number, Number]
"""A low and a high limit."""
Readings = tuple[Number, ...]
"""Readings of one preparation, each one filling of the cell, in what the instrument reads."""

Unit = Literal["mg/L", "mg/kg", "mg/100cm2", "mg/wipe", "mg/L extract"]
Matrix = Literal["water", "solid", "wipe", "extract"]
Reads = Literal["absorbance", "transmittance", "concentration"]
Model = Literal["mean-factor", "line-through-zero", "line", "quadratic", "direct"]
Weighting = Literal["none", "1/x", "1/x2"]
ZeroStandard = Literal["subtract", "point", "ignore"]
Drift = Literal["none", "last", "interpolate"]
Fraction = Literal["oil_grease", "petroleum"]
"""Oil and grease is the whole extract, petroleum hydrocarbons what silica gel leaves of it."""
SetupKind = Literal["warm-up", "zero", "full-scale", "dark", "recheck-zero", "stability", "cell"]


@dataclass(frozen=True, slots=True, kw_only=True)
class About:
    """Who ran it, for whom, when."""

    id: str
    title: str | None = None
    laboratory: str | None = None
    laboratory_address: str | None = None
    laboratory_contact: str | None = None
    accreditation: str | None = None
    place: str | None = None
    """Where the tests were made."""
    client: str | None = None
    client_address: str | None = None
    client_order: str | None = None
    deviations: str | None = None
    """From the method, in words."""
    analyst: str | None = None
    reviewer: str | None = None
    opened: datetime | None = None
    offset: Annotated[str, Matching(r"[+-](0\d|1[0-4]):[0-5]\d|Z", 'an offset, as "+01:00"')] | None = None
    """The zone of the clock on the wall, for dates without a time and for times stamped."""
    log: str | None = None
    """The chain value of the first entry of its edit log, written when the log begins."""
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SetupLimits:
    """Limits of the setup checks."""

    warm_up_minutes: Annotated[NotNegative, Said("warm-up, at least", "min")] | None = None
    zero_absorbance: Annotated[NotNegative, Said("zero in a clear beam, within", "A")] | None = None
    full_scale_percent: Annotated[NotNegative, Said("clear beam off 100 %T, at most", "%T")] | None = None
    """Largest deviation from 100 %T."""
    dark_percent: Annotated[NotNegative, Said("blocked beam off 0 %T, at most", "%T")] | None = None
    """Largest deviation from 0 %T."""
    stability_absorbance: Annotated[NotNegative, Said("largest less smallest reading, at most", "A")] | None = None
    """Largest less smallest reading."""
    cell_absorbance: Annotated[NotNegative, Said("cells, at most", "A")] | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveLimits:
    """Limits a calibration is judged by; an absent one does not apply."""

    levels: Annotated[Annotated[Number, Within(low=1)], Said("levels, at least")] | None = None
    r: Annotated[Annotated[Number, Within(0, 1)], Said("correlation r, at least")] | None = None
    rse_percent: Annotated[NotNegative, Said("relative standard error, at most", "%")] | None = None
    """Also the limit on the relative standard deviation of the response factors of `mean-factor`."""
    level_error_percent: Annotated[NotNegative, Said("error of a level, at most", "%")] | None = None
    lowest_error_percent: Annotated[NotNegative, Said("error of the lowest level, at most", "%")] | None = None
    max_absorbance: Annotated[Positive, Said("highest absorbance read", "A")] | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BlankLimits:
    """When a solvent blank falls due and how far it may be off."""

    every_readings: Annotated[Positive, Said("due every", "readings")] | None = None
    every_minutes: Annotated[Positive, Said("due every", "min")] | None = None
    absorbance: Annotated[NotNegative, Said("off zero, at most", "A")] | None = None
    concentration: Annotated[NotNegative, Said("off zero, at most", "mg/L of extract")] | None = None
    """For a direct run, mg/L of extract."""
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckLimits:
    """When a check standard falls due and what it must recover."""

    every_readings: Annotated[Positive, Said("due every", "readings")] | None = None
    recovery_percent: Annotated[Limits, Said("recovery", "%")] | None = None
    second_source_percent: Annotated[Limits, Said("second source, recovery", "%")] | None = None
    closing: Annotated[bool, Said("blank and check standard after the last row")] | None = None
    """Whether a blank and a check must follow the last row."""
    expected: Annotated[Positive, Said("the laboratory's own check standard", "mg/L of solvent")] | None = None
    """Proposed for a new check; without it nothing is."""
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FractionLimits:
    """Limits of the batch QC; for one fraction where they override the method's."""

    samples: Annotated[Annotated[Number, Within(low=1)], Said("field samples a blank and a control serve")] | None = (
        None
    )
    """Field samples one method blank and one control serve."""
    control_percent: Annotated[Limits, Said("control recovery", "%")] | None = None
    spike_percent: Annotated[Limits, Said("spike recovery", "%")] | None = None
    pair_rpd_percent: Annotated[NotNegative, Said("control or spike pair RPD, at most", "%")] | None = None
    duplicate_rpd_percent: Annotated[NotNegative, Said("duplicate RPD, at most", "%")] | None = None
    replicate_percent: Annotated[NotNegative, Said("replicate readings off their mean, at most", "%")] | None = None
    control_added_mg: Annotated[Positive, Said("the laboratory's own control, added", "mg")] | None = None
    spike_added_mg: Annotated[Positive, Said("the laboratory's own spike, added", "mg")] | None = None
    """Both proposed for new rows; without them nothing is."""
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchLimits(FractionLimits):
    """Limits of the batch QC, with what a fraction overrides."""

    demonstration_months: Annotated[Positive, Said("an analyst's demonstration of capability holds for", "months")] | (
        None
    ) = None
    baseline_months: Annotated[Positive, Said("frozen limits of control hold for", "months")] | None = None
    """Both are judged by the runs of the folder, where they are read."""
    oil_grease: FractionLimits | None = None
    petroleum: FractionLimits | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportingLimits:
    """Detection and reporting limits at the nominal amounts, in the method's unit."""

    detection: Annotated[Positive, Said("detection limit", "{unit}")] | None = None
    reporting: Annotated[Positive, Said("reporting limit", "{unit}")] | None = None
    nominal_amount: Annotated[Positive, Said("nominal amount", "{amount}")] | None = None
    """mL, g or cm2."""
    nominal_extract_ml: Annotated[Positive, Said("nominal extract", "mL")] | None = None
    studied: date | None = None
    """When the detection study was made."""
    studied_instrument: str | None = None
    studied_cell_mm: Annotated[Positive, Said("detection study made in a cell of", "mm")] | None = None
    studied_solvent: str | None = None
    """What the study was made on."""
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldingLimits:
    """Holding times, days."""

    collection_to_analysis_days: Annotated[NotNegative, Said("collected to analysed, at most", "days")] | None = None
    collection_to_extraction_days: Annotated[NotNegative, Said("collected to extracted, at most", "days")] | None = None
    extraction_to_analysis_days: Annotated[NotNegative, Said("extracted to analysed, at most", "days")] | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReceiptLimits:
    """How a sample must arrive."""

    temperature_c: Annotated[Limits, Said("temperature on receipt", "C")] | None = None
    ph_max: Annotated[Number, Within(-2, 16), Said("pH of a water on receipt, at most")] | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagLetters:
    """The letters printed for the flags, where the authority asks for its own."""

    U: str | None = None
    J: str | None = None
    E: str | None = None
    D: str | None = None
    B: str | None = None
    H: str | None = None
    Q: str | None = None
    Y: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Uncertainty:
    """Relative standard uncertainties, percent, and the coverage factor."""

    volumes_percent: Annotated[NotNegative, Said("volumes, relative standard", "%")] | None = None
    standards_percent: Annotated[NotNegative, Said("standards, relative standard", "%")] | None = None
    precision_percent: Annotated[NotNegative, Said("precision, relative standard", "%")] | None = None
    bias_percent: Annotated[NotNegative, Said("bias, relative standard", "%")] | None = None
    dilution_percent: Annotated[NotNegative, Said("dilution, relative standard", "%")] | None = None
    """Counts once in a row with dilution above 1."""
    coverage: Annotated[Positive, Said("coverage factor")] | None = None
    """Two-sided t at the calibration's confidence when absent, 2 for a direct run."""
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Method:
    """A full copy of the method as it was when the run was made."""

    name: str | None = None
    title: str | None = None
    basis: str | None = None
    fraction: Fraction | None = None
    """What a new sample row of this method reads."""
    unit: Unit = "mg/L"
    figures: Literal["1664"] | Annotated[int, Within(1, 15)] | None = None
    """Significant figures: a number, or "1664": three from 10 up and two below; "1664" when absent."""
    flags: FlagLetters | None = None
    nondetect: Literal["reporting", "detection"] | None = None
    """Which limit a result below detection prints; the reporting limit when absent."""
    estimates: bool | None = None
    """False: a result between detection and reporting limit is reported as below the latter; true when absent."""
    setup: SetupLimits | None = None
    calibration: CurveLimits | None = None
    blank: BlankLimits | None = None
    check: CheckLimits | None = None
    batch: BatchLimits | None = None
    limits: ReportingLimits | None = None
    holding: HoldingLimits | None = None
    receipt: ReceiptLimits | None = None
    uncertainty: Uncertainty | None = None
    sources: dict[str, str] | None = None
    """Where each limit comes from, by its path below `method`."""
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """The photometer and what its display shows."""

    name: str | None = None
    serial: str | None = None
    reads: Reads | None = None
    """Absorbance when absent."""
    step: Positive | None = None
    """The display's last digit, in what it reads."""
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Solvent:
    """The extraction solvent."""

    name: str | None = None
    grade: str | None = None
    lot: str | None = None
    expires: date | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """One check of the photometer."""

    check: SetupKind
    readings: Readings = ()
    """%T for `full-scale` and `dark`, for the others what `reads` says."""
    reads: Literal["absorbance", "transmittance"] | None = None
    """Absorbance when absent."""
    at: datetime | None = None
    started: datetime | None = None
    """When the lamp went on, for `warm-up`."""
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """One calibration: its cell, model and treatment of zero and drift."""

    id: str
    cell_mm: Positive | None = None
    model: Model = "line"
    weighting: Weighting | None = None
    """None when absent; a mean factor has its own."""
    zero_standard: ZeroStandard | None = None
    """What its zero standards are for: subtracted when absent."""
    drift: Drift | None = None
    """Which solvent blank is subtracted: the last one when absent."""
    confidence: Annotated[Number, Above(0), Within(0, 0.999999)] | None = None
    """0.95 when absent."""
    material: str | None = None
    """What the standards are made of."""
    verified: str | None = None
    """Where it was verified by a second source, if not in this run."""
    solvent_lot: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Standard:
    """One preparation of a standard: one point of the calibration."""

    id: str
    calibration: str | None = None
    concentration: NotNegative | None = None
    """mg/L in the solvent; or stock (mg/L), aliquot_ml and final_ml."""
    stock: NotNegative | None = None
    aliquot_ml: Positive | None = None
    final_ml: Positive | None = None
    readings: Readings = ()
    """Each one filling of the cell, in what the instrument reads."""
    at: datetime | None = None
    struck: Readings = ()
    """Fillings struck out: shown, used for nothing."""
    struck_reason: str | None = None
    use: bool | None = None
    """False: left out, with a reason; true when absent."""
    reason: str | None = None
    lot: str | None = None
    expires: date | None = None
    certificate: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """One extraction batch."""

    id: str
    started: datetime | None = None
    finished: datetime | None = None
    analyst: str | None = None
    technique: str | None = None
    solvent_lot: str | None = None
    acid_lot: str | None = None
    silica_gel_lot: str | None = None
    drying_agent_lot: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """A bottle or jar as it was received."""

    id: str
    site: str | None = None
    collected: datetime | date | None = None
    """A date counts from 00:00 of that day, the cautious end."""
    sampler: str | None = None
    received: datetime | date | None = None
    received_c: Number | None = None
    """Temperature on receipt, degrees Celsius."""
    on_ice: bool | None = None
    container: str | None = None
    preservative: str | None = None
    pH: Annotated[Number, Within(-2, 16)] | None = None  # noqa: N815 - the field's own spelling
    pH_adjusted: bool | Number | datetime | str | None = None  # noqa: N815
    client_id: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row of the queue: what is read, in the order of analysis."""

    id: str
    kind: Kind
    sample: str | None = None
    """The sample this row reads; the row's id when absent."""
    batch: str | None = None
    calibration: str | None = None
    cell_mm: Positive | None = None
    matrix: Matrix | None = None
    """By the method's unit when absent."""
    amount: Positive | None = None
    """mL, g or cm2; none for an extract."""
    extract_ml: Positive | None = None
    dilution: Annotated[Number, Within(low=1)] | None = None
    """1 when absent."""
    silica_gel: bool | None = None
    """True: petroleum hydrocarbons; false: oil and grease, when absent too."""
    readings: Readings = ()
    """Each one filling of the cell, in what the instrument reads."""
    at: datetime | None = None
    struck: Readings = ()
    """Fillings struck out: shown, used for nothing."""
    struck_reason: str | None = None
    analyst: str | None = None
    of: str | None = None
    """The field sample a duplicate or a spike belongs to."""
    added_mg: Positive | None = None
    material: str | None = None
    response_factor: Positive | None = None
    expected: Positive | None = None
    """mg/L of solvent, for a check standard."""
    lot: str | None = None
    expires: date | None = None
    rezeroed: bool | None = None
    as_left: Number | None = None
    """What a blank read after it was re-zeroed, in what the instrument reads; absorbance 0 when absent."""
    full_g: NotNegative | None = None
    empty_g: NotNegative | None = None
    density: Positive | None = None
    """g/mL; 1.00 when absent."""
    not_sample_ml: NotNegative | None = None
    """Volume in the bottle that is no sample, as added acid."""
    dish_g: NotNegative | None = None
    wet_g: NotNegative | None = None
    dry_g: NotNegative | None = None
    """Dish with the dried portion."""
    solids_percent: Annotated[Number, Above(0), Within(0, 100)] | None = None
    silica_gel_g: NotNegative | None = None
    extracted: datetime | None = None
    report: bool | None = None
    """False: superseded, with a reason; true when absent."""
    void: str | None = None
    """Why the row counts nowhere; it is still shown."""
    reason: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """What was done about a finding that fails."""

    rule: str
    rows: tuple[str, ...] = ()
    """The rows the finding names."""
    taken: str
    by: str | None = None
    at: datetime | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Review:
    """What a reviewer looked at, or typed again from the notebook: an `exception`, or a `row` with its `readings`."""

    row: str | None = None
    """The id of a standard or queue row."""
    readings: Readings = ()
    """As the notebook has them, in what the instrument reads."""
    exception: str | None = None
    """What was looked at, in the words it was shown in."""
    by: str
    at: datetime | None = None
    account: str | None = None
    machine: str | None = None
    note: str | None = None
    """The reviewer's remark."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """Who signed the run off, and what of it."""

    role: Literal["analyst", "reviewer"]
    name: str
    at: datetime
    digest: str
    """SHA-256 of the document without signatures, amendments and issues; the analyst's is without reviews too."""
    account: str | None = None
    machine: str | None = None
    """The login and the computer it was signed at."""
    results: str | None = None
    """SHA-256 of the client's results as they were printed when it was signed."""
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Amendment:
    """Why a signed run was changed."""

    reason: str
    at: datetime | None = None
    by: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class IssuedResult:
    """One result as it was printed."""

    id: str
    fraction: Fraction | None = None
    reported: str | None = None
    unit: str | None = None
    flags: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Issued:
    """One report that was issued."""

    number: str
    at: datetime
    by: str
    reason: str | None = None
    """Why it was issued again."""
    digest: str
    program: str | None = None
    """The version of this program that wrote it."""
    results: tuple[IssuedResult, ...] = ()
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One bench day's document."""

    format: Annotated[int, Within(low=1)]
    run: About
    method: Method = Method()
    instrument: Instrument = Instrument()
    solvent: Solvent = Solvent()
    setup: tuple[Setup, ...] = ()
    calibration: tuple[Calibration, ...] = ()
    standard: tuple[Standard, ...] = ()
    batch: tuple[Batch, ...] = ()
    sample: tuple[Sample, ...] = ()
    queue: tuple[Row, ...] = ()
    action: tuple[Action, ...] = ()
    review: tuple[Review, ...] = ()
    signature: tuple[Signature, ...] = ()
    amendment: tuple[Amendment, ...] = ()
    issued: tuple[Issued, ...] = ()
