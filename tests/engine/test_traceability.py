"""What a run rests on: the analyzer's certificate, in date or knowingly not."""

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from ohmwright.api.recorded_curve import curve_of
from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.engine.run_so_far import results
from ohmwright.engine.traceability import refuse_foreign
from ohmwright.instruments.bench import Bench
from ohmwright.model.errors import CertificateExpired, UsageError
from ohmwright.model.event import Event, Foretold, PointDone, RunResumed, RunStarted
from ohmwright.model.shipped import shipped
from ohmwright.model.traceability import Environment, Traceability

pytestmark = pytest.mark.anyio
MONOPOLAR = shipped("procedures", "demo-monopolar.toml")


def with_certificate(bench: Bench, **changed: object) -> Bench:
    assert bench.certificate is not None
    return replace(bench, certificate=bench.certificate.model_copy(update=changed))


async def some(bench: Bench, **job: object) -> list[Event]:
    """The events up to the first result."""
    file = read_procedure(MONOPOLAR)
    kept = []
    async for event in run(Job(file, ("as_found",), "test", **job), bench):  # type: ignore[arg-type]
        kept.append(event)
        if isinstance(event, PointDone):
            break
    return kept


async def test_the_record_begins_with_certificate_and_room(make_rig: Callable) -> None:
    started = (await some(make_rig().bench))[0]
    assert isinstance(started, RunStarted)
    known = started.traceability
    assert known is not None
    assert (known.certificate, known.expired) == ("CAL-25-1187", False)
    assert known.due_on == date(2026, 8, 18)
    told: Any = dict.fromkeys(("temperature_told_by", "humidity_told_by"), "the bench file")
    assert started.environment == Environment(temperature_c=22.5, humidity_percent=41, **told)


async def test_a_certificate_past_its_date_is_refused_before_anything_is_on(
    make_rig: Callable,
) -> None:
    rig = make_rig()
    bench = with_certificate(rig.bench, due_on=date(2026, 1, 4))
    with pytest.raises(CertificateExpired, match="expired on 2026-01-04") as caught:
        await some(bench)
    assert caught.value.exit_code == 2
    assert "go on" not in str(caught.value)  # no refused run does; a new one may be begun so
    assert rig.hardware.truth.rf_on_intervals == ()


async def test_someone_may_go_on_and_the_record_says_so(make_rig: Callable) -> None:
    bench = with_certificate(make_rig().bench, due_on=date(2026, 1, 4))
    started = (await some(bench, accept_expired=True))[0]
    assert isinstance(started, RunStarted)
    assert started.traceability is not None
    assert started.traceability.expired


async def test_a_run_resumed_after_the_date_says_so_too(make_rig: Callable) -> None:
    earlier = tuple(await some(make_rig().bench))
    bench = with_certificate(make_rig().bench, due_on=date(2026, 1, 4))
    with pytest.raises(CertificateExpired):
        await some(bench, earlier=earlier)
    resumed = (await some(bench, earlier=earlier, accept_expired=True))[0]
    assert isinstance(resumed, RunResumed)
    assert resumed.traceability is not None
    assert resumed.traceability.expired


@pytest.mark.parametrize(("serial", "fits"), [("A000003", True), ("A00000", False), ("X9", False)])
async def test_a_certificate_is_for_one_instrument(
    make_rig: Callable, serial: str, fits: bool
) -> None:
    rig = make_rig(seed=3)
    bench = with_certificate(rig.bench, serial=serial)
    if fits:
        assert isinstance((await some(bench))[0], RunStarted)
        return
    with pytest.raises(UsageError, match=f"serial number {serial}; the one connected says"):
        await some(bench)
    assert rig.hardware.truth.rf_on_intervals == ()


@pytest.mark.parametrize(
    ("serial", "seed", "told"), [(None, None, 1), ("OW-1", None, 0), (None, 3, 0)]
)
async def test_a_certificate_that_names_no_analyzer_is_told_before_rf(
    make_rig: Callable,
    monkeypatch: pytest.MonkeyPatch,
    serial: str | None,
    seed: int | None,
    told: int,
) -> None:
    """Of a real bench, that is: a simulated analyzer has another number with each seed."""
    monkeypatch.setattr("ohmwright.engine.opening_events.refuse_foreign", lambda *_: None)
    events = await some(replace(with_certificate(make_rig().bench, serial=serial), seed=seed))
    said = [e.what for e in events if isinstance(e, Foretold)]
    assert sum("nothing ties certificate CAL-25-1187 to this" in one for one in said) == told


@pytest.mark.parametrize("shows_power", [True, False])
async def test_currents_that_no_meter_showed_are_told_as_worked_out(
    make_rig: Callable, shows_power: bool
) -> None:
    bench = make_rig().bench
    bench.analyzer.shows_power = shows_power
    said = [e.what for e in await some(bench) if isinstance(e, Foretold)]
    assert any("its meter shows power" in one for one in said) is shows_power


async def test_without_a_certificate_uncertainty_is_of_the_readings_alone(
    make_rig: Callable,
) -> None:
    bare = await some(replace(make_rig().bench, certificate=None))
    assert isinstance(bare[0], RunStarted)
    assert bare[0].traceability is None
    known = await some(make_rig().bench)
    alone, whole = next(results(bare)).measured, next(results(known)).measured
    assert alone is not None
    assert whole is not None
    assert {line.source for line in alone.budget} <= {
        "readings",
        "lag, droop and hunting",
        "extrapolation",
    }
    assert {line.evaluation for line in whole.budget} == {"A", "B"}
    assert alone.value == whole.value
    assert alone.uncertainty < whole.uncertainty


@pytest.mark.parametrize("seed", range(1, 9))
def test_stated_uncertainty_covers_the_truth(as_found: Callable, seed: int) -> None:
    """Meter, load bank and unit are drawn from the seed; U must cover what they are off by."""
    rig, found = as_found(seed)
    ratios = []
    for result in found:
        if result.kind != "power_curve" or result.measured is None:
            continue
        mode = result.step.split("-")[0]
        true_ma = rig.hardware.truth.lag_free_current_ma(
            6.0, mode=mode, setting_w=310 if mode == "cut" else 105, load_ohm=result.load_ohm
        )
        load_ohm = rig.hardware._rig.plant.bank.steps[result.load_ohm].resistance_ohm
        true_w = (true_ma / 1000) ** 2 * load_ohm
        ratios.append((result.measured.value - true_w) / result.measured.expanded)
    assert len(ratios) == 8
    assert sum(abs(ratio) > 1 for ratio in ratios) <= 1
    assert max(map(abs, ratios)) < 1.6


@pytest.mark.parametrize("identity", ["Nib & Sons,NIB2,0771,1.0", "NIB2 0771", "NIB2, #0771"])
async def test_a_serial_number_is_found_between_commas_and_spaces(
    make_rig: Callable, identity: str
) -> None:
    bench = with_certificate(make_rig().bench, serial="0771")
    refuse_foreign(bench, identity)
    with pytest.raises(UsageError, match="0771"):
        refuse_foreign(bench, identity.replace("0771", "10771"))


BEYOND = """title = "Beyond the certificate"
revision = "1"
model = "Quillon 300"

[[step]]
kind = "output"
name = "cut"
stages = ["as_found"]
mode = "cut"
setting_w = 310
load_ohm = 100
power_w = 81
tolerance = { percent = 20 }

[[step]]
kind = "sweep"
name = "curve"
stages = ["as_found"]
modes = { cut = [310] }
loads_ohm = [100, 500]

[[step]]
kind = "monotonicity"
name = "control"
stages = ["as_found"]
mode = "cut"
load_ohm = 100
settings_w = [50, 310]
"""


async def test_more_current_than_the_certificate_covers_is_not_traceable(
    make_rig: Callable, tmp_path: Path
) -> None:
    """The unit gives some 955 mA where 900 mA is the most that its data promise."""
    rig = make_rig()
    assert rig.bench.certificate is not None
    first, last = rig.bench.certificate.current
    bench = with_certificate(rig.bench, current=(first, last.model_copy(update={"up_to_ma": 940})))
    path = tmp_path / "beyond.toml"
    path.write_text(BEYOND, encoding="utf-8")
    job = Job(read_procedure(path), ("as_found",), "test")
    events = [event async for event in run(job, bench)]
    output, beyond, covered, low, full = results(events)
    for result in (output, beyond, full):
        assert result.traceability == "not covered"
        said = r"not traceable: 95\d mA is over the 940 mA that the analyzer's certificate covers"
        assert re.search(said, result.reason)
    assert output.verdict == full.verdict == "pass"
    assert isinstance(covered.traceability, Traceability)
    assert isinstance(low.traceability, Traceability)
    curve = curve_of(events)
    assert [point.certified for point in curve] == [False, True]
    assert [f"cut 310 W, 100 ohm: {beyond.reason}"] == list(curve.remarks())
