"""A quiet bench, whose every value is known, and the shipped profiles."""

from collections.abc import Callable

import pytest

from ohmwright.model.shipped import shipped
from ohmwright.model.source import load
from ohmwright.simulator.bench import SimulatedBench
from ohmwright.simulator.profile import AnalyzerProfile, GeneratorProfile
from ohmwright.wire.clock import VirtualClock

QUIET_RESPONSE = {
    "dead_s": (0.33, 0.33),
    "lag_s": (0.5, 0.5),
    "second_lag": (0.1, 0.1),
    "droop": (0.01, 0.01),
    "droop_tau_s": (8.0, 8.0),
    "recovery_tau_s": (15.0, 15.0),
    "noise": (0.0, 0.0),
    "noise_correlation_s": (0.2, 0.2),
}


class BenchOnAClock(SimulatedBench):
    """A simulated bench with the clock that the test moves."""

    clock: VirtualClock

    def ask(self, line: str) -> str:
        return self.analyzer_port(line.encode() + b"\n").decode().rstrip("\n")

    def ask_generator(self, line: str) -> str:
        return self.generator_port(line.encode() + b"\n").decode().rstrip("\n")

    def reading(self) -> tuple[float, int]:
        value, unit, number = self.ask("FETCh:CURRent?").split(",")
        assert unit == "A"
        return 1000 * float(value), int(number)


Make = Callable[..., BenchOnAClock]


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@pytest.fixture(scope="session")
def gantry() -> AnalyzerProfile:
    return load(shipped("analyzers", "gantry-400.toml"), AnalyzerProfile)


@pytest.fixture(scope="session")
def quillon() -> GeneratorProfile:
    return load(shipped("generators", "quillon-300.toml"), GeneratorProfile)


@pytest.fixture(scope="session")
def quiet_gantry(gantry: AnalyzerProfile) -> AnalyzerProfile:
    """No tolerance, no inductance, no noise, a resolution of a microampere."""
    data = gantry.model_dump()
    data["physics"]["load_bank"] |= {
        "tolerance": 0.0,
        "inductance_uh": (0.0, 0.0),
        "heat_drift": (0.0, 0.0),
    }
    data["physics"]["meter"] |= {"gain_error": (0.0, 0.0), "noise_ma": 0.0}
    data["data"]["meter"] |= {"resolution_ma": 1e-3, "bandwidth_hz": 1e12}
    return AnalyzerProfile.model_validate(data)


@pytest.fixture(scope="session")
def quiet_quillon(quillon: GeneratorProfile) -> GeneratorProfile:
    """The same for every seed, but for its trims."""
    data = quillon.model_dump()
    data["physics"]["response"] = QUIET_RESPONSE
    return GeneratorProfile.model_validate(data)


@pytest.fixture
def make(gantry: AnalyzerProfile, quillon: GeneratorProfile) -> Make:
    """A bench with the shipped profiles."""

    def build(seed: int = 1, age_months: float = 24.0) -> BenchOnAClock:
        return BenchOnAClock(
            gantry, quillon, seed=seed, clock=VirtualClock(), age_months=age_months
        )

    return build


@pytest.fixture
def quiet(quiet_gantry: AnalyzerProfile, quiet_quillon: GeneratorProfile) -> BenchOnAClock:
    """A quiet bench with an aged unit in cut, 300 W into 500 ohm."""
    bench = BenchOnAClock(quiet_gantry, quiet_quillon, seed=3, clock=VirtualClock())
    bench.ask_generator('SOUR:FUNC "cut";POW 300')
    bench.ask("INP:IMP 500")
    return bench
