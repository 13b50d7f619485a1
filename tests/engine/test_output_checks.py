"""The output checks of the standard, on simulated units whose truth is known."""

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.engine.run_so_far import results
from ohmwright.engine.steps.monotonicity import MonotonicityStep, monotonicity_verdict
from ohmwright.instruments.analyzer import WaveformCapture
from ohmwright.model.analyzer_certificate import LoadAccuracy
from ohmwright.model.errors import ProcedureError, ProtocolError
from ohmwright.model.event import PointDone
from ohmwright.model.hardware import DigitiserData
from ohmwright.model.result import BudgetEntry, Measured, Result
from ohmwright.simulator.profile import DampedSine, Waveform
from ohmwright.simulator.waveforms import rms

pytestmark = pytest.mark.anyio
HEAD = """
title = "t"
revision = "1"
model = "Quillon 300"

[defaults]
rest_s = 20
max_on_s = 18
"""
CONTACT = """
[[step]]
kind = "contact_quality"
name = "contact"
from_ohm = 40
to_ohm = 240
step_ohm = 2
alarm_above_ohm = 140
alarm_below_ohm = 220
"""
CONTROL = """
[[step]]
kind = "monotonicity"
name = "control"
mode = "cut"
load_ohm = 500
settings_w = [8, 60, 310]
lowest_at_most_w = 10
"""
CREST = """
[[step]]
kind = "crest_factor"
name = "waveform"
mode = "coag"
setting_w = 105
load_ohm = 500
crest_factor = 5.24
tolerance = { percent = 15 }
"""
LEAKAGE = """
[[step]]
kind = "leakage"
name = "leak"
mode = "bipolar"
setting_w = 65
rated_power_w = 65
"""


@pytest.fixture
def found(make_rig: Callable, tmp_path: Path) -> Callable:
    """The as-left results of a procedure by point, with the rig they came from."""

    async def found(steps: str, rig: object = None) -> dict[str, Result]:
        path = tmp_path / "p.toml"
        path.write_text(HEAD + steps, encoding="utf-8")
        events = await (rig or make_rig()).run(path, ("as_left",))
        return {result.point: result for result in results(events)}

    return found


@pytest.mark.parametrize("seed", range(1, 6))
async def test_both_thresholds_of_the_contact_monitor(
    make_rig: Callable, found: Callable, seed: int
) -> None:
    rig = make_rig(seed=seed)
    monitor = rig.hardware.truth.unit.monitor
    seen = await found(CONTACT, rig)
    for point, true_ohm in (("alarm", monitor.alarm_ohm), ("clear", monitor.clear_ohm)):
        measured = seen[point].measured
        assert abs(measured.value - true_ohm) <= 1.0
        # anywhere in what is left of 200 ohm, halved until it is under 2 ohm (GUM 4.3.7)
        assert measured.uncertainty == pytest.approx(200 / 2**7 / 12**0.5)
        assert seen[point].verdict == "pass"
    apart_ohm = seen["alarm"].measured.value - seen["clear"].measured.value
    assert seen["clear"].held_against_it == (
        f"goes out {apart_ohm:.1f} ohm below where the alarm comes on, each found to 1.6 ohm"
    )
    assert "2 ohm, the widest step of the search, above" in seen["clear"].requirement
    assert rig.hardware.truth.rf_on_intervals == ()


async def test_the_monitor_is_left_content(make_rig: Callable, found: Callable) -> None:
    rig = make_rig()
    seen = await found(CONTACT + CREST.replace("load_ohm", "rest_s = 0\nload_ohm"), rig)
    assert seen["crest factor"].verdict == "pass"
    assert not rig.hardware.panel.contact_alarm


@pytest.mark.parametrize(
    ("old", "new", "alarm", "clear", "says"),
    [
        ("to_ohm = 240", "to_ohm = 150", "fail", "not measured", "no alarm up to 150 ohm"),
        ("from_ohm = 40", "from_ohm = 139", "pass", "pass", ""),
        ("alarm_above_ohm = 140", "alarm_above_ohm = 195", "fail", "pass", "ohm already"),
        ("alarm_below_ohm = 220", "alarm_below_ohm = 150", "fail", "pass", "ohm yet"),
        ("step_ohm = 2", "step_ohm = 120", "undecided", "pass", "step of the search"),
        (
            "step_ohm = 2",
            "step_ohm = 1\nhysteresis_at_most_ohm = 1",
            "pass",
            "fail",
            "is more than 1 ohm",
        ),
    ],
)
async def test_what_a_contact_monitor_can_fail_at(
    found: Callable, old: str, new: str, alarm: str, clear: str, says: str
) -> None:
    steps = CONTACT.replace(old, new)
    if "to_ohm = 150" in new:
        steps = steps.replace("alarm_below_ohm = 220", "alarm_below_ohm = 150")
    seen = await found(steps)
    assert (seen["alarm"].verdict, seen["clear"].verdict) == (alarm, clear)
    assert says in seen["alarm"].reason + seen["clear"].reason


async def test_a_latched_alarm_is_told(make_rig: Callable, found: Callable) -> None:
    rig = make_rig()
    handle, latched = rig.hardware.generator_port, []

    def latching(line: bytes) -> bytes:
        reply = handle(line)
        if b"ALAR" in line.upper() and reply.strip() == b"1":
            latched.append(True)
        return b"1\n" if latched and b"ALAR" in line.upper() else reply

    rig.bench.generator.dialogue.framing.link._handle = latching
    seen = await found(CONTACT, rig)
    assert seen["alarm"].verdict == "fail"
    assert "does not go out at 40 ohm" in seen["alarm"].reason


async def test_a_sound_control_rises_throughout(found: Callable) -> None:
    seen = await found(CONTROL)
    assert [(r.point, r.verdict) for r in seen.values()] == [
        ("8 W", "pass"),
        ("60 W", "pass"),
        ("310 W", "pass"),
    ]
    assert seen["8 W"].target.upper == 10
    assert seen["60 W"].target is None
    assert seen["60 W"].measured.quantity == "power_w"
    rise_w = seen["60 W"].measured.value - seen["8 W"].measured.value
    assert seen["60 W"].requirement == "power not below that at any lower setting"
    assert seen["60 W"].held_against_it.startswith(f"{rise_w:.1f} ± ")
    assert seen["60 W"].held_against_it.endswith(" W above that at setting 8 W")
    assert seen["8 W"].held_against_it == "no lower setting was measured"


async def test_a_control_rests_no_longer_than_its_settings_need(
    make_rig: Callable, found: Callable
) -> None:
    rig = make_rig()
    await found(CONTROL, rig)
    await found(CONTROL.replace("60, 310", "297, 300"), close := make_rig())
    *_, far_s = rests_s(rig)
    *_, near_s = rests_s(close)
    assert far_s < 10 < near_s <= 21


def rests_s(rig: object) -> list[float]:
    """Seconds that RF was off between activations."""
    intervals = rig.hardware.truth.rf_on_intervals
    return [start - end for (_, end), (start, _) in pairwise(intervals)]


@dataclass
class Swapped:
    """A generator that takes one setting for another, and says nothing of it."""

    handle: Callable[[bytes], bytes]
    wrong: dict[bytes, bytes]
    asked: list[bytes] = field(default_factory=list)

    def __call__(self, line: bytes) -> bytes:
        head, _, setting = line.strip().partition(b" ")
        if head == b"SOURce:POWer" and setting in self.wrong:
            self.asked.append(setting)
            return self.handle(head + b" " + self.wrong[setting] + b"\n")
        if head == b"SOURce:POWer":
            self.asked.append(setting)
        if head == b"SOURce:POWer?":
            return self.asked[-1] + b"\n"
        return self.handle(line)


@pytest.mark.parametrize(
    ("wrong", "point", "verdict", "says"),
    [
        ({b"310": b"40"}, "310 W", "fail", "W less than at setting 60 W"),
        ({b"310": b"60"}, "310 W", "undecided", "no more than at a lower setting"),
        ({b"8": b"30"}, "8 W", "fail", "that the analyzer says is in (another load, another"),
    ],
)
async def test_a_control_that_turns_back(
    make_rig: Callable,
    found: Callable,
    wrong: dict[bytes, bytes],
    point: str,
    verdict: str,
    says: str,
) -> None:
    rig = make_rig()
    link = rig.bench.generator.dialogue.framing.link
    link._handle = Swapped(rig.hardware.generator_port, wrong)
    seen = await found(CONTROL, rig)
    assert seen[point].verdict == verdict
    assert says in seen[point].reason


async def test_an_allowance_forgives_a_small_drop(make_rig: Callable, found: Callable) -> None:
    rig = make_rig()
    link = rig.bench.generator.dialogue.framing.link
    link._handle = Swapped(rig.hardware.generator_port, {b"310": b"40"})
    seen = await found(CONTROL + "allowance_w = 30\n", rig)
    assert seen["310 W"].verdict == "pass"
    assert "by more than 30 W below" in seen["310 W"].requirement
    assert seen["310 W"].held_against_it.endswith(" W below that at setting 60 W")


async def test_a_control_cut_short_goes_on_against_what_was_measured(
    make_rig: Callable, tmp_path: Path
) -> None:
    path = tmp_path / "p.toml"
    path.write_text(HEAD + CONTROL, encoding="utf-8")
    whole = await make_rig().run(path, ("as_left",))
    second = [i for i, event in enumerate(whole) if isinstance(event, PointDone)][1]
    rig = make_rig()
    link = rig.bench.generator.dialogue.framing.link
    link._handle = Swapped(rig.hardware.generator_port, {b"310": b"40"})
    job = Job(read_procedure(path), ("as_left",), "test", tuple(whole[: second + 1]))
    rest = [event async for event in run(job, rig.bench)]
    assert [r.point for r in results(rest)] == ["310 W"]
    assert [r.verdict for r in results(rest)] == ["fail"]


def crest_of(shape: Waveform) -> float:
    """Peak at amplitude 1 over RMS; of a damped sine the peak is its first maximum."""
    peak = 1.0
    if isinstance(shape, DampedSine):
        w, a = math.tau * shape.carrier_hz, shape.decay_per_s
        peak_s = math.atan2(w, a) / w
        peak = math.exp(-a * peak_s) * math.sin(w * peak_s)
    return peak / rms(shape)


@pytest.mark.parametrize("mode", ["cut", "blend", "coag"])
@pytest.mark.parametrize("seed", [1, 2])
async def test_crest_factor_is_that_of_the_waveform(
    make_rig: Callable, found: Callable, mode: str, seed: int
) -> None:
    rig = make_rig(seed=seed)
    true = crest_of(rig.hardware.truth.unit.modes[mode].waveform)
    steps = CREST.replace('"coag"', f'"{mode}"').replace("5.24", f"{true:.4f}")
    (result,) = (await found(steps, rig)).values()
    assert result.verdict == "pass"
    assert result.measured.value == pytest.approx(true, rel=0.04)
    assert abs(result.measured.value - true) < 3 * result.measured.expanded + 0.01 * true
    assert len(rig.hardware.truth.rf_on_intervals) == 3  # two prove OFF and the limit
    assert result.on_s < 18


async def test_another_waveform_is_found_out(found: Callable) -> None:
    (result,) = (await found(CREST.replace("5.24", "4.0"))).values()
    assert result.verdict == "fail"
    assert result.conformity.probability < 0.01


def captures(rig: Any, again: Callable[[WaveformCapture, int], WaveformCapture]) -> None:
    """Have the analyzer give its first capture again, changed by `again`, each time."""
    analyzer, capture, first = rig.bench.analyzer, rig.bench.analyzer.capture_waveform, []

    async def captured() -> WaveformCapture:
        first.append(await capture())
        return again(first[0], len(first))

    analyzer.capture_waveform = captured


async def test_a_waveform_that_comes_again_was_not_captured_anew(
    make_rig: Callable, found: Callable
) -> None:
    rig = make_rig()
    captures(rig, lambda first, _: first)
    (result,) = (await found(CREST, rig)).values()
    assert result.verdict == "not measured"
    assert result.reason == "the analyzer gave the same waveform again instead of a new one"


@pytest.mark.parametrize("block", [b"", b"abc"])
async def test_a_waveform_of_no_whole_samples(
    make_rig: Callable, found: Callable, block: bytes
) -> None:
    rig = make_rig()

    async def odd(*_: object) -> bytes:
        return block

    rig.bench.analyzer.dialogue.ask_block = odd
    with pytest.raises(ProtocolError, match=f"A waveform of {len(block)} bytes came"):
        await found(CREST, rig)
    assert not rig.hardware.truth.rf_on


async def test_waveforms_alike_in_all_but_their_begin_leave_the_count_unsure(
    make_rig: Callable, found: Callable
) -> None:
    rig = make_rig()
    captures(rig, lambda first, n: first._replace(counts=np.roll(first.counts, n)))
    (result,) = (await found(CREST, rig)).values()
    assert result.verdict == "pass"
    lines = result.measured.budget
    assert [line.source for line in lines] == ["quantisation", "sampling", "digitiser's bandwidth"]
    assert {(line.evaluation, line.dof) for line in lines} == {("B", None)}
    assert 0 < lines[0].standard_uncertainty < 1e-3 * result.measured.value


async def test_a_dead_mode_has_no_crest_factor(make_rig: Callable, found: Callable) -> None:
    rig = make_rig()
    rig.hardware._rig.generator.current_ma = lambda *_: 0.0
    (result,) = (await found(CREST, rig)).values()
    assert result.verdict == "not measured"
    assert "no output was seen" in result.reason


async def test_no_leakage_at_all_passes_on_a_persons_word_alone(
    make_rig: Callable, found: Callable
) -> None:
    rig = make_rig()
    rig.hardware._rig.generator.leakage_ma = lambda: 0.0
    (result,) = (await found(LEAKAGE, rig)).values()
    assert result.verdict == "not measured"
    assert "the leakage path is joined" in result.reason
    rig = make_rig(attended=True)
    rig.hardware._rig.generator.leakage_ma = lambda: 0.0
    rig.bench.operator.finds = "joined"
    (result,) = (await found(LEAKAGE, rig)).values()
    assert result.verdict == "pass"
    assert "as told by simulated person" in result.reason
    assert result.measured.value == pytest.approx(0.0, abs=1.0)
    assert result.conformity is None  # a person's word has no probability
    assert result.target.upper == pytest.approx(57.0088, abs=1e-4)


async def test_an_analyzer_without_capture_is_not_asked(make_rig: Callable, tmp_path: Path) -> None:
    path = tmp_path / "p.toml"
    text = HEAD.replace("Quillon 300", "Marlow 150") + CREST.replace("105", "60")
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ProcedureError, match="captures no waveform"):
        await make_rig(bench="attended", attended=True).run(path, ("as_left",))


@pytest.mark.parametrize(
    ("steps", "says"),
    [
        (CONTROL.replace("60, 310", "60, 400"), "settings_w|400 W is more than cut's 310 W"),
        (CREST.replace("load_ohm = 500", "load_ohm = 501"), "the load bank has no 501 ohm"),
        (CONTROL.replace("load_ohm = 500", "load_ohm = 501"), "the load bank has no 501 ohm"),
    ],
)
async def test_what_the_bench_cannot_do_is_refused(found: Callable, steps: str, says: str) -> None:
    with pytest.raises(ProcedureError, match=says):
        await found(steps)


def with_carrier(rig: Any, carrier_hz: float | None) -> Any:
    """The rig with a generator whose data state another carrier for every mode."""
    generator = rig.bench.generator
    modes = [mode.model_copy(update={"carrier_hz": carrier_hz}) for mode in generator.data.modes]
    generator.data = generator.data.model_copy(update={"modes": tuple(modes)})
    return rig


def with_digitiser(rig: Any, **data: float | None) -> Any:
    """The rig with an analyzer whose data state this of its digitiser, and no more."""
    analyzer = rig.bench.analyzer
    analyzer.data = analyzer.data.model_copy(update={"digitiser": DigitiserData(**data)})
    return rig


async def test_samples_too_far_apart_for_the_tolerance_are_refused(
    make_rig: Callable, found: Callable
) -> None:
    rig = with_digitiser(make_rig(), sample_rate_hz=2e6)
    says = "4.44 samples a period of coag's 450 kHz may miss 36 % of a peak, and the tolerance is "
    with pytest.raises(ProcedureError, match=says + "15 %; that takes 6.42 samples a period"):
        await found(CREST, rig)
    assert not rig.hardware.truth.rf_on_intervals


async def test_a_carrier_beyond_the_samples_is_refused_whatever_the_tolerance(
    make_rig: Callable, found: Callable
) -> None:
    rig = with_digitiser(make_rig(), sample_rate_hz=0.9e6)
    with pytest.raises(ProcedureError, match="may miss all of a peak"):
        await found(CREST.replace("percent = 15", "percent = 300"), rig)


async def test_a_wider_tolerance_takes_slower_samples_and_widens_u(
    make_rig: Callable, found: Callable
) -> None:
    """20 MHz samples of a carrier said to be 2.5 MHz: 8 a period instead of 44."""
    (near,) = (await found(CREST, with_carrier(make_rig(), 2.5e6))).values()
    (far,) = (await found(CREST)).values()
    assert near.measured.value == far.measured.value
    assert near.measured.expanded > 2 * far.measured.expanded
    assert near.verdict == "pass"


async def test_captures_slower_than_the_data_say_are_undecided(
    make_rig: Callable, found: Callable
) -> None:
    rig = with_digitiser(with_carrier(make_rig(), 4.5e6), bits=16)
    (result,) = (await found(CREST, rig)).values()
    assert result.verdict == "undecided"
    assert result.reason == "the samples are so far apart that 36 % of a peak may be missed"


async def test_captures_that_cannot_show_a_peak_have_no_value(
    make_rig: Callable, found: Callable
) -> None:
    rig = with_digitiser(with_carrier(make_rig(), 12e6), bits=16)
    (result,) = (await found(CREST, rig)).values()
    assert (result.verdict, result.measured) == ("not measured", None)
    assert result.reason == "the samples are too far apart to show a peak"


async def test_without_a_stated_carrier_sampling_is_left_out(
    make_rig: Callable, found: Callable
) -> None:
    (result,) = (await found(CREST, with_carrier(make_rig(), None))).values()
    assert result.verdict == "pass"
    assert {"sampling", "digitiser's bandwidth"} < set(result.measured.left_out)


async def test_a_clipped_waveform_is_not_measured(make_rig: Callable, found: Callable) -> None:
    rig = make_rig()
    capture = rig.bench.analyzer.capture_waveform

    async def clipped() -> WaveformCapture:
        whole = await capture()
        loud = np.clip(whole.counts.astype(np.int32) * 100, -32768, 32767)
        return whole._replace(counts=loud.astype(np.int16))

    rig.bench.analyzer.capture_waveform = clipped
    (result,) = (await found(CREST, rig)).values()
    assert result.verdict == "not measured"
    assert result.reason == "a waveform reaches the end of the digitiser's range"


async def test_contact_resistances_are_as_good_as_the_certificate_says(
    make_rig: Callable, found: Callable
) -> None:
    rig = make_rig()
    stated = rig.bench.certificate.model_copy(update={"contact": LoadAccuracy(percent=0.5)})
    rig = replace(rig, bench=replace(rig.bench, certificate=stated))
    alarm = (await found(CONTACT, rig))["alarm"]
    search, contact = alarm.measured.budget
    assert contact.source == "contact resistance"
    # 0.5 % of it, a limit of error: GUM 4.3.7
    assert contact.standard_uncertainty == pytest.approx(0.005 * alarm.measured.value / 3**0.5)
    together = math.hypot(search.standard_uncertainty, contact.standard_uncertainty)
    assert alarm.measured.uncertainty == pytest.approx(together)
    assert alarm.traceability.certificate == rig.bench.certificate.number
    assert alarm.measured.left_out == ()


async def test_a_certificate_silent_on_contact_resistances_leaves_them_out(
    found: Callable,
) -> None:
    alarm = (await found(CONTACT))["alarm"]
    assert alarm.traceability == "not covered"
    assert alarm.measured.left_out == ("contact resistance",)


def power_w(value: float, gain: float, readings: float) -> Measured:
    """A power with an error of the meter's gain, and scatter, both as standard uncertainties."""
    lines = (
        BudgetEntry(source="readings", evaluation="A", standard_uncertainty=readings),
        BudgetEntry(
            source="meter accuracy",
            evaluation="B",
            standard_uncertainty=gain * value,
            shared="meter accuracy, C1",
        ),
    )
    u = math.hypot(*(line.standard_uncertainty for line in lines))
    return Measured(value=value, uncertainty=u, dof=1e6, age_s=6, budget=lines)


@pytest.mark.parametrize(
    ("below", "here", "allowance", "verdict", "says"),
    [
        ((190.0,), 200.0, 0.0, "pass", ""),
        ((194.0,), 190.0, 0.0, "fail", "4.0 W less than at setting 1 W"),
        ((191.0,), 190.0, 0.0, "undecided", "no more than at a lower setting"),
        ((190.5,), 191.0, 0.0, "undecided", "no more than at a lower setting"),
        # a slow decline, each step of it within what is allowed
        ((196.0, 195.0), 191.0, 2.5, "fail", "5.0 W less than at setting 1 W"),
        ((195.0, 196.0), 191.0, 2.5, "fail", "5.0 W less than at setting 2 W"),
        ((196.0,), 191.0, 10.0, "pass", ""),
    ],
)
def test_a_drop_is_told_by_the_difference_of_two_values(
    below: tuple[float, ...], here: float, allowance: float, verdict: str, says: str
) -> None:
    """A gain unsure by 5 % hides little of a drop of 2 %; a scatter of 0.5 W hides 1.4 W."""
    step = MonotonicityStep(
        kind="monotonicity",
        name="control",
        mode="cut",
        load_ohm=500,
        settings_w=(1, 2, 3),
        allowance_w=allowance,
    )
    levels = [(float(n), power_w(value, 0.05, 0.5)) for n, value in enumerate(below, start=1)]
    found = monotonicity_verdict(step, power_w(here, 0.05, 0.5), levels)
    assert found[0] == verdict
    assert says in found[1]
