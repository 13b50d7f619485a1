"""The invented bench on one day: meter and load bank as built, certificate, documents, time."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from math import hypot, sqrt
from pathlib import Path

from ohmwright.engine.influences import Conditions, stated_effects
from ohmwright.engine.measured_value import Accuracy
from ohmwright.engine.procedure_file import ProcedureFile, read_procedure
from ohmwright.estimation.settled_value import Settled
from ohmwright.model.analyzer_certificate import AnalyzerCertificate
from ohmwright.model.bench_file import Asset
from ohmwright.model.document import Document, document
from ohmwright.model.shipped import shipped
from ohmwright.model.source import load, parse, read_text
from ohmwright.model.traceability import Environment
from ohmwright.simulator.identities import analyzer_identity
from ohmwright.simulator.load_bank import LoadBank
from ohmwright.simulator.profile import AnalyzerProfile, GeneratorProfile
from ohmwright.simulator.randomness import Randomness
from ohmwright.simulator.unit import ResponseParameters

BENCH = "Workshop bench 1, invented history"
OPERATORS = ("Ida Marrow", "Tomas Quill", "Runa Hask")
READ_S = 3.0
"""Seconds of readings that a value is taken from."""
_DOF = 20.0
_EXTRAPOLATED = 0.0005
"""What the estimate of a settled value may be wrong by in any case, relative; as the engine's."""
_ANALYZER = "gantry-400"
_RECALIBRATED = (8, 18)
"""Month and day of the analyzer's yearly calibration."""


class BenchHardware:
    """Meter and load bank as built, the same for all years."""

    def __init__(self, seed: int) -> None:
        self.path = shipped("analyzers", f"{_ANALYZER}.toml")
        self.profile = load(self.path, AnalyzerProfile)
        own, physics = Randomness(seed, "analyzer"), self.profile.physics
        self.bank = LoadBank(self.profile.data.load_bank, physics.load_bank, own.under("bank"))
        self.gain = 1 + own.under("meter").between("gain_error", physics.meter.gain_error)
        self._normals = own.normals("history")
        self.identity = analyzer_identity(self.profile.data, seed)

    def read(self, true_ma: float, unit: ResponseParameters, read_s: float) -> Settled:
        """The value that `read_s` seconds of readings of `true_ma` leave, and how sure it is."""
        noise_ma = unit.noise * true_ma * sqrt(min(1.0, 2 * unit.noise_correlation_s / read_s))
        readings = self.profile.data.meter.readings_per_s * read_s
        scatter_ma = hypot(noise_ma, self.profile.physics.meter.noise_ma / sqrt(readings))
        seen_ma = true_ma * self.gain + scatter_ma * next(self._normals)
        extrapolation_ma = _EXTRAPOLATED * seen_ma
        return Settled(
            seen_ma,
            hypot(scatter_ma, extrapolation_ma),
            _DOF,
            0.0,
            settled=True,
            scatter=scatter_ma,
            extrapolation=extrapolation_ma,
        )


@dataclass(frozen=True)
class BenchDay:
    """What is known at the bench on one day."""

    hardware: BenchHardware
    begun: datetime
    operator: str
    certificate: AnalyzerCertificate
    certificate_document: Document
    room: Environment

    def accuracy(self, generator: GeneratorProfile, mode: str, load_ohm: float) -> Accuracy:
        """Accuracy of readings in one mode into one load."""
        known = generator.data.mode(mode)
        conditions = Conditions(
            mode=mode,
            carrier_hz=None if known is None else known.carrier_hz,
            bandwidth_hz=self.hardware.profile.data.meter.bandwidth_hz,
            room_c=self.room.temperature_c,
        )
        effects = stated_effects(self.certificate.influences, conditions, load_ohm)
        return Accuracy(self.certificate, self.begun.date(), effects)

    def documents(
        self, file: ProcedureFile, asset: Asset, data: str, seed: int
    ) -> tuple[Document, ...]:
        """What a run on this day goes by, in full text."""
        generator = shipped("generators", f"{data}.toml")
        bench = document("bench", Path("bench.toml"), _bench_text(asset, data, seed))
        return (
            file.document,
            bench,
            _document("analyzer data", self.hardware.path),
            self.certificate_document,
            _document("generator data", generator),
        )


def bench_day(hardware: BenchHardware, day: date, own: Randomness) -> BenchDay:
    """The bench on `day`; `own` draws the time, the operator and the room."""
    year, month_day = day.year, (day.month, day.day)
    year = year if month_day > _RECALIBRATED else year - 1
    certificate, kept = _certificate(year)
    at = datetime.combine(day, time(7), UTC)
    return BenchDay(
        hardware,
        at + timedelta(minutes=own.integer("minute", (0, 540))),
        OPERATORS[own.integer("operator", (0, len(OPERATORS) - 1))],
        certificate,
        kept,
        Environment(
            temperature_c=round(own.between("temperature", (20.0, 25.0)), 1),
            humidity_percent=round(own.between("humidity", (30.0, 55.0))),
        ),
    )


@lru_cache
def procedure_of(data: str) -> ProcedureFile:
    """The yearly procedure of a model, by the name of its data file."""
    return read_procedure(shipped("procedures", f"{data}-yearly.toml"))


@lru_cache
def _document(role: str, path: Path) -> Document:
    return document(role, path, read_text(path))  # type: ignore[arg-type]


@lru_cache
def _certificate(year: int) -> tuple[AnalyzerCertificate, Document]:
    """The shipped certificate as if it were of another year."""
    path = shipped("analyzers", _ANALYZER, "certificate.toml")
    month, day = _RECALIBRATED
    text = read_text(path)
    for key, value in (
        ("number", f'"CAL-{year % 100:02}-1187"'),
        ("calibrated_on", f"{year}-{month:02}-{day:02}"),
        ("due_on", f"{year + 1}-{month:02}-{day:02}"),
    ):
        text = re.sub(rf"(?m)^{key} = .*$", f"{key} = {value}", text)
    parsed = parse(path, text, AnalyzerCertificate)
    return parsed, document("analyzer certificate", path, text)


def _bench_text(asset: Asset, data: str, seed: int) -> str:
    lines = [f'{key} = "{value}"' for key, value in asset.model_dump().items()]
    link = 'link = { kind = "simulated" }\n' if _has_port(data) else ""
    return f"""\
# The bench of an invented history; nothing was opened.
name = "{BENCH}"

[analyzer]
data = "{_ANALYZER}"
certificate = "{_ANALYZER}"
link = {{ kind = "simulated" }}

[generator]
data = "{data}"
{link}
[asset]
{chr(10).join(lines)}

[simulation]
seed = {seed}
"""


@lru_cache
def profile_of(data: str) -> GeneratorProfile:
    """The simulation profile of a generator data file."""
    return load(shipped("generators", f"{data}.toml"), GeneratorProfile)


def _has_port(data: str) -> bool:
    return profile_of(data).data.command_set is not None
