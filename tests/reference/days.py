"""Random days at the bench, as documents: everything that can go wrong on one, often, and more than one at a time.

Owns: what a day may look like. Invariant: a seed is a day, the same on every machine; nothing of the program is used.
"""

from __future__ import annotations

import random
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

Table = dict[str, Any]
START = datetime(2026, 3, 11, 8, 0, tzinfo=UTC)
OLD, TODAY, NEXT_YEAR = date(2026, 3, 10), date(2026, 3, 11), date(2027, 1, 1)
SOLVENT_KINDS = ("blank", "check", "second-source")
SPIKES = ("spike", "spike-duplicate")
ADDED = (*SPIKES, "control", "control-duplicate", "detection-spike", "capability")
JOURNEY = ("field-blank", "trip-blank", "equipment-blank")
KINDS = (
    *["sample"] * 9, *["blank"] * 3, *["check"] * 3, *["second-source"], *["method-blank"] * 2, *["control"] * 2,
    "control-duplicate", "duplicate", "duplicate", "spike", "spike", "spike-duplicate", *JOURNEY, *ADDED[-2:],
)  # fmt: skip
ADJUSTED = (True, False, START - timedelta(minutes=80), "yes")
LEFT = {"absorbance": ("0.000", "0.007"), "transmittance": ("100.0", "98.0"), "concentration": ("0.0", "3.0")}
LEVELS = (5, 10, 20, 25, 50, 100, 150, 200, 250, 300)


def number(value: float, places: int = 3) -> Decimal:
    """A number as it is typed."""
    return Decimal(f"{value:.{places}f}")


def at(minutes: float) -> datetime:
    """The time some minutes after 08:00."""
    return START + timedelta(minutes=minutes)


class Day:
    """One random day, written table by table while its clock runs."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)  # noqa: S311 - a day, no secret
        self.minute = 0.0
        self.reads = self.one("absorbance", "absorbance", "absorbance", "absorbance", "transmittance", "concentration")
        self.unit = self.one("mg/L", "mg/L", "mg/kg", "mg/100cm2", "mg/wipe", "mg/L extract")
        self.slope = self.one(0.0025, 0.002)
        self.samples: list[str] = []
        step = {"absorbance": "0.001", "transmittance": "0.1", "concentration": "0.1"}[self.reads]
        self.document: Table = {
            "format": 1,
            "run": {"id": "R", "offset": "+00:00"},
            "method": self._method(),
            "instrument": {"name": "bench photometer", "reads": self.reads, "step": Decimal(step)},
            "solvent": self.some(0.5, lot=self.one("T-1", "T-2"), expires=self.one(OLD, TODAY, NEXT_YEAR)),
            "setup": self._setup(),
            "calibration": [],
            "standard": [],
            "queue": [],
        }
        self._calibrate()
        if again := self.chance(0.3):
            early = self.chance(0.4)
            again = not early
            if early:
                self._calibrate()
        if batches := [self._batch(n) for n in range(self.one(0, 0, 1, 2))]:
            self.document["batch"] = batches
        rows = self.random.randint(3, 22)
        for n in range(rows):
            if again and n == rows // 2:
                self._calibrate()
            self.document["queue"].append(self._row(f"Q{n}"))
        self.document["sample"] = self._bottles()
        self.now = at(self.minute + self.one(0, 3, 30, 120))

    def one(self, *choices: Any) -> Any:
        """One of these."""
        return self.random.choice(choices)

    def chance(self, share: float) -> bool:
        """Whether it happens this time."""
        return self.random.random() < share

    def some(self, share: float, **fields: Any) -> Table:
        """Such a share of these fields."""
        return {name: value for name, value in fields.items() if self.chance(share)}

    def reading(self, mg_per_l: float) -> Decimal:
        """What the photometer shows of a concentration, with its noise."""
        absorbance = self.slope * mg_per_l + self.random.gauss(0, 0.001)
        if self.reads == "absorbance":
            return number(absorbance)
        if self.reads == "transmittance":
            return number(max(0.1, 100 * 10**-absorbance), 1)
        return number(mg_per_l + self.random.gauss(0, 0.4), 1)

    def _method(self) -> Table:
        some, one = self.some, self.one
        method: Table = {
            "unit": self.unit,
            "estimates": self.chance(0.8),
            "setup": some(
                0.6, warm_up_minutes=15, zero_absorbance=Decimal("0.001"), full_scale_percent=Decimal("0.1"),
                dark_percent=Decimal("0.1"), stability_absorbance=Decimal("0.002"), cell_absorbance=Decimal("0.005"),
            ),
            "calibration": some(
                0.7, levels=4, r=Decimal("0.995"), rse_percent=20, level_error_percent=30, lowest_error_percent=50,
                max_absorbance=Decimal("0.8"),
            ),
            "batch": some(
                0.85, samples=one(2, 3, 5), control_percent=[70, 130], spike_percent=[70, 130], pair_rpd_percent=30,
                duplicate_rpd_percent=20, replicate_percent=10,
            ),
            "limits": some(
                0.93, detection=Decimal("0.5"), reporting=Decimal(2), nominal_amount=one(1000, 900),
                nominal_extract_ml=100,
            ),
            "holding": some(
                0.5, collection_to_analysis_days=one(1, 2, 28), collection_to_extraction_days=one(1, 7),
                extraction_to_analysis_days=one(1, 40),
            ),
            "uncertainty": some(
                0.5, volumes_percent=1, standards_percent=1, precision_percent=3, bias_percent=2, coverage=2,
                dilution_percent=1,
            ),
        }  # fmt: skip
        if self.chance(0.85):
            every = {"every_readings": one(4, 6, 10), "every_minutes": one(20, 60)}
            method["blank"] = some(0.85, **every, absorbance=Decimal("0.005"), concentration=Decimal("2.0"))
        if self.chance(0.85):
            limits = {"recovery_percent": [90, 110], "second_source_percent": [90, 110]}
            method["check"] = some(0.85, every_readings=one(4, 6, 10), **limits, closing=self.chance(0.6))
        if self.chance(0.2):
            method["batch"]["petroleum"] = {"control_percent": [60, 120], "duplicate_rpd_percent": 15}
        if self.chance(0.4):
            method["receipt"] = some(0.8, temperature_c=[0, 6], ph_max=Decimal("2.0"))
        return method

    def _setup(self) -> list[Table]:
        made: list[Table] = []
        if self.chance(0.8):
            made.append({"check": "warm-up", "started": at(self.minute)})
            self.minute += self.one(10, 20, 20)
        for check in ("zero", "full-scale", "dark", "stability", "cell", "recheck-zero"):
            good = Decimal("100.0") if check == "full-scale" else Decimal("0.000")
            for readings in [self._checked(check)] if self.chance(0.6) else []:
                for again in (readings, [good]) if self.chance(0.15) else (readings,):
                    made.append({"check": check, "readings": again, "at": at(self.minute)})
                    self.minute += 1
        return made

    def _checked(self, check: str) -> list[Decimal]:
        if check in ("full-scale", "dark"):
            off = self.random.gauss(0, 0.07)
            return [number(100 + off if check == "full-scale" else abs(off), 2)]
        return [number(self.random.gauss(0, 0.001)) for _ in range(3 if check == "stability" else 1)]

    def _calibrate(self) -> None:
        name = f"C{len(self.document['calibration']) + 1}"
        fitted = ("line", "line", "line", "line-through-zero", "mean-factor", "quadratic")
        model = "direct" if self.reads == "concentration" else self.one(*fitted)
        made: Table = {"id": name, "model": model, "note": "curved"}
        if model not in ("mean-factor", "direct"):
            made["weighting"] = self.one("none", "none", "1/x", "1/x2")
        made |= self.some(0.6, zero_standard=self.one("subtract", "point", "ignore"))
        made |= self.some(0.7, drift=self.one("none", "last", "interpolate"))
        made |= self.some(0.4, cell_mm=self.one(10, 10, 50), material=self.one("reference oil", "hexadecane"))
        made |= self.some(0.2, confidence=Decimal("0.99"), verified="earlier", solvent_lot=self.one("T-1", "T-2"))
        self.document["calibration"].append(made)
        levels = [0] * self.one(0, 1, 1) + sorted(self.random.sample(LEVELS, self.one(1, 3, 4, 5, 5, 6, 7)))
        for n, level in enumerate([*levels, self.one(*levels)] if self.chance(0.3) else levels):
            standard: Table = {"id": f"{name}S{n}", "calibration": name, "concentration": level}
            if level and self.chance(0.1):
                del standard["concentration"]
                standard |= {"stock": 4 * level, "aliquot_ml": Decimal("2.5"), "final_ml": 10}
            true = level * self.one(*[1] * 15, 1.2, 0.7)
            standard["readings"] = [self.reading(true) for _ in range(self.one(1, 1, 2))]
            standard |= self.some(0.95, at=at(self.minute))
            standard |= self.some(0.7, lot=self.one("s-1", "S 2"))
            standard |= self.some(0.1, expires=self.one(OLD, TODAY))
            if self.chance(0.06):
                standard |= {"use": False, "reason": "spilt"}
            self.document["standard"].append(standard)
            self.minute += 2

    def _batch(self, n: int) -> Table:
        finished = at(-30 - 1440 * self.one(0, 0, 0, 2, 9))
        return {"id": f"B{n}"} | self.some(0.6, finished=finished, solvent_lot=self.one("T-1", "T-2"))

    def _row(self, name: str) -> Table:
        if self.chance(0.03):
            self.minute += self.one(490, 700, 1500)
        kind = self.one(*KINDS)
        if kind in ("duplicate", *SPIKES) and not self.samples:
            kind = "sample"
        made: Table = {"id": name, "kind": kind}
        true = self._about(made)
        if kind not in SOLVENT_KINDS:
            self._amounts(made)
        made |= self.some(0.05, expires=self.one(OLD, TODAY))
        calibrations = self.document["calibration"]
        if len(calibrations) > 1 and self.chance(0.08):
            made["calibration"] = self.one(*calibrations)["id"]
        else:
            made |= self.some(0.1, cell_mm=self.one(10, 50))
        if self.chance(0.93):
            diluted = true / made.get("dilution", 1) if self.chance(0.7) else true
            made["readings"] = [self.reading(diluted) for _ in range(self.one(1, 1, 1, 2, 3))]
        made |= self.some(0.94, at=at(self.minute - self.one(*[0] * 30, 5, 60)))
        made |= self.some(0.07, void="spilt")
        if kind not in SOLVENT_KINDS and self.chance(0.09):
            made |= {"report": False, "reason": "read again"}
        self.minute += self.one(1, 2, 3, 5, 15)
        return made

    def _about(self, made: Table) -> float:
        """What a row has by its kind; gives the concentration that is in the cell, mg/L, before it is diluted."""
        kind = made["kind"]
        if kind == "sample":
            if self.samples and self.chance(0.2):
                made["sample"] = self.one(*self.samples)
            else:
                self.samples.append(made["id"])
        elif kind in ("duplicate", *SPIKES):
            made["of"] = self.one(*self.samples)
        if kind in ADDED:
            made |= self.some(0.93, added_mg=Decimal(self.one("10.0", "5.0", "20.0")))
            made |= self.some(0.4, material=self.one("reference oil", "hexadecane"))
            made |= self.some(0.15, response_factor=Decimal("1.2"))
            mg = float(made.get("added_mg", 10))
            return 10 * mg * self.random.gauss(1, 0.15) + float(self.one(0, 0, 8))
        if kind in ("check", "second-source"):
            made |= self.some(0.95, expected=self.one(100, 50))
            made |= self.some(0.7, lot=self.one("S-1", "s2", "I-9"))
            expected = float(made.get("expected", 100))
            return expected * self.random.gauss(1, 0.07)
        if kind == "blank" and self.chance(0.3):
            made["rezeroed"] = True
            left = {
                "absorbance": ("0.000", "0.007"),
                "transmittance": ("100.0", "98.0"),
                "concentration": ("0.0", "3.0"),
            }
            made |= self.some(0.6, as_left=Decimal(self.one(*left[self.reads])))
        clean = "blank" in kind
        return float(self.one(0, 0, 0, 0.5, 2, 6) if clean else self.one(0.3, 2, 8, 20, 40, 80, 120, 200, 330))

    def _amounts(self, made: Table) -> None:
        solid = self.unit == "mg/kg"
        made |= self.some(0.9, amount=self.one(10, Decimal("10.1")) if solid else self.one(1000, 980, 950, 500))
        made |= self.some(0.95, extract_ml=self.one(100, 100, 50))
        if self.chance(0.1):
            made.pop("amount", None)
            made |= {"full_g": Decimal("530.0" if solid else "1495.5"), "empty_g": Decimal("520.5")}
            made |= self.some(0.4, density=Decimal("1.02"), not_sample_ml=self.one(1, Decimal("2.5")))
        if solid and self.chance(0.1):
            made |= {"wet_g": Decimal("12.0"), "dry_g": Decimal("10.25")} | self.some(0.8, dish_g=Decimal("2.5"))
        made |= self.some(0.2, dilution=self.one(2, 5, 10))
        made |= self.some(0.3, silica_gel=True)
        made |= self.some(0.1, silica_gel_g=self.one(1, 3, 6))
        made |= self.some(0.6 if solid and "wet_g" not in made else 0, solids_percent=self.one(80, 90))
        made |= self.some(0.05, matrix=self.one("water", "solid", "wipe", "extract"))
        made |= self.some(0.2, extracted=at(self.one(-5000, -1500, -20)))
        if "batch" in self.document:
            made |= self.some(0.85, batch=self.one(*self.document["batch"])["id"])

    def _bottles(self) -> list[Table]:
        journey = [row["id"] for row in self.document["queue"] if row["kind"] in JOURNEY]
        made = []
        for name in [*self.samples, *journey]:
            if self.chance(0.6):
                collected = self.one(at(-1440 * self.one(1, 3, 30)), at(-100), OLD, at(40))
                known = self.some(
                    0.6, collected=collected, received=at(self.one(-1400, -90, -50)), on_ice=self.chance(0.5),
                    received_c=self.one(3, 5, 8, Decimal("6.0"), -1), pH=self.one(Decimal("1.5"), 2, Decimal("2.4")),
                    pH_adjusted=self.one(*ADJUSTED),
                )  # fmt: skip
                made.append({"id": name} | known)
        return made
