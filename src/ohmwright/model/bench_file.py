"""What stands on the table: analyzer, generator, how each is reached, and the unit under test."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from .base import FrozenModel
from .by_hand import WITHOUT_LINK, HandVerb
from .traceability import RoomFigures


class SerialPort(FrozenModel):
    """A serial port, by name or by `serial=NUMBER` of its USB adapter."""

    kind: Literal["serial"]
    port: str
    baud: Annotated[int, Field(gt=0, le=100_000_000)] = 115200


class TcpAddress(FrozenModel):
    """A raw TCP socket."""

    kind: Literal["tcp"]
    host: str = "127.0.0.1"
    port: Annotated[int, Field(gt=0, lt=65536)]


class VisaResource(FrozenModel):
    """A VISA resource; `backend` is the VISA library as pyvisa names it."""

    kind: Literal["visa"]
    resource: str
    backend: str = "@py"


class Simulated(FrozenModel):
    """An instrument that the bench's [simulation] table simulates in this process."""

    kind: Literal["simulated"]


class OwnLine(FrozenModel):
    """A way to the instrument that its back end opens by itself, past the guard."""

    kind: Literal["own"]


Address = Annotated[
    SerialPort | TcpAddress | VisaResource | Simulated | OwnLine, Field(discriminator="kind")
]


class InstrumentEntry(FrozenModel):
    """One instrument of a bench file: its data file and how it is reached."""

    data: str
    """A shipped name, or a path relative to the bench file."""
    link: Address | None = None
    """Absent for a generator without a port: a person works it."""
    identity: str = ""
    """What its `*IDN?` must contain, such as its serial number; another one is refused."""


class AnalyzerEntry(InstrumentEntry):
    """The analyzer of a bench file, with the file of its calibration certificate."""

    certificate: str | None = None
    """A shipped analyzer's name, or a path relative to the bench file."""
    by_hand: tuple[HandVerb, ...] = ()
    """What a person does in its place."""

    @model_validator(mode="after")
    def _something_reaches_it(self) -> AnalyzerEntry:
        missing = [verb for verb in WITHOUT_LINK if verb not in self.by_hand]
        if self.link is None and missing:
            raise ValueError(
                "the analyzer needs a link, or by_hand with "
                f"{', '.join(repr(verb) for verb in missing)}, for a person to do without one"
            )
        return self


class Simulation(FrozenModel):
    """The invented hardware behind every `simulated` link."""

    seed: Annotated[int, Field(ge=0)] = 1
    age_months: Annotated[float, Field(ge=0, le=1200)] = 24.0


class Asset(FrozenModel):
    """The unit under test."""

    id: str
    maker: str
    model: str
    serial: str
    department: str = ""


class BenchFile(FrozenModel):
    """A bench: its instruments, the unit under test and, where simulated, the simulation."""

    name: str
    analyzer: AnalyzerEntry
    generator: InstrumentEntry
    generators: tuple[InstrumentEntry, ...] = ()
    """Further ones, where the bench serves several models: the asset's model chooses."""
    asset: Asset | None = None
    """Absent where each run names its unit, by the register of assets."""
    environment: RoomFigures | None = None
    simulation: Simulation | None = None
    stepped_time: Address | None = None
    """Control port of a simulated bench served elsewhere, whose time is moved by its client."""

    @model_validator(mode="after")
    def _simulation_is_whole(self) -> BenchFile:
        entries = (self.analyzer, self.generator, *self.generators)
        links = [entry.link for entry in entries if entry.link is not None]
        simulated = {isinstance(link, Simulated) for link in links}
        if len(simulated) > 1:
            raise ValueError("either both instruments are simulated or neither")
        if True in simulated and self.simulation is None:
            raise ValueError("a link of kind 'simulated' needs a [simulation] table")
        return self

    @property
    def in_process(self) -> bool:
        """Whether its hardware is simulated in this process."""
        links = [link for link in (self.analyzer.link, self.generator.link) if link is not None]
        return self.simulation is not None and all(isinstance(one, Simulated) for one in links)
