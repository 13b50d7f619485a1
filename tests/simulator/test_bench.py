"""The whole bench: values, limits, determinism, trips, panel, truth."""

from math import exp

import pytest

from ohmwright.model.errors import UsageError
from ohmwright.simulator.output_stage import current_ma
from ohmwright.simulator.profile import AnalyzerProfile, GeneratorProfile
from ohmwright.simulator.unit import Unit
from ohmwright.wire.clock import VirtualClock

from .conftest import BenchOnAClock, Make


def readings(bench: BenchOnAClock, step_s: float, until_s: float) -> dict[int, float]:
    seen = {}
    start_s = bench.clock.now_s()
    while bench.clock.now_s() - start_s < until_s:
        bench.clock.advance(step_s)
        value, number = bench.reading()
        seen[number] = value
    return seen


def test_reading_follows_lag_droop_and_window(quiet: BenchOnAClock) -> None:
    quiet.ask("OUTP:STAT ON,20")
    quiet.clock.advance(15.0)
    value, _ = quiet.reading()
    middle_of_window = quiet.truth.lag_free_current_ma(15.0 - 0.25)
    assert value == pytest.approx(middle_of_window, rel=1e-5)
    assert quiet.truth.current_ma == pytest.approx(quiet.truth.lag_free_current_ma(15.0), rel=1e-6)


def test_new_unit_delivers_its_nominal_current(
    quiet_gantry: AnalyzerProfile, quiet_quillon: GeneratorProfile
) -> None:
    ageless = quiet_quillon.model_dump()
    ageless["physics"]["ageing"] = {}
    profile = GeneratorProfile.model_validate(ageless)
    bench = BenchOnAClock(quiet_gantry, profile, seed=1, clock=VirtualClock())
    unit = Unit.build(profile, 1, 0.0)
    for mode, load_ohm in (("cut", 100), ("cut", 500), ("coag", 2000)):
        nominal = current_ma(unit.limits(mode, 105), load_ohm)
        true_ma = bench.truth.lag_free_current_ma(0.0, mode=mode, setting_w=105, load_ohm=load_ohm)
        assert true_ma == pytest.approx(nominal, rel=1e-9)


@pytest.mark.parametrize("step_s", [0.1, 0.037, 0.31, 2.0])
def test_readings_do_not_depend_on_who_looks(make: Make, step_s: float) -> None:
    def run(polling_s: float) -> dict[int, float]:
        bench = make(seed=8)
        bench.ask_generator('SOUR:FUNC "coag";POW 80')
        seen = {}
        for load_ohm in (500, 200):
            bench.ask(f"INP:IMP {load_ohm};:OUTP:STAT ON,6")
            seen |= readings(bench, polling_s, 9.0)
            bench.clock.advance(40.0 - (bench.clock.now_s() % 40.0))
        return seen

    every, some = run(0.1), run(step_s)
    shared = every.keys() & some.keys()
    assert len(shared) >= 6
    assert {n: every[n] for n in shared} == {n: some[n] for n in shared}


def test_seed_decides_everything(make: Make) -> None:
    def run(seed: int) -> dict[int, float]:
        bench = make(seed=seed)
        bench.ask("INP:IMP 500;:OUTP:STAT ON,10")
        return readings(bench, 0.1, 10.0)

    assert run(1) == run(1)
    assert run(1) != run(2)


def test_reading_number_counts_since_reset(make: Make) -> None:
    bench = make()
    bench.clock.advance(12.34)
    assert bench.reading()[1] == 123
    bench.ask("*RST")
    assert bench.ask("FETC:CURR?") == "9.91E+37,A,00000"
    bench.clock.advance(0.35)
    assert bench.reading()[1] == 3


def test_window_empties_after_off(quiet: BenchOnAClock) -> None:
    quiet.ask("OUTP:STAT ON,20")
    quiet.clock.advance(12.03)
    quiet.ask("OUTP:STAT OFF")
    assert quiet.reading()[0] > 700
    quiet.clock.advance(0.27)
    half, _ = quiet.reading()
    assert 250 < half < 450
    quiet.clock.advance(0.4)
    assert quiet.reading()[0] == 0.0


def test_activation_limit_is_kept(quiet: BenchOnAClock) -> None:
    quiet.ask("OUTP:STAT ON,3.5")
    quiet.clock.advance(3.4)
    assert quiet.ask("OUTP:STAT?;STAT:REM?") == "1;+1.00000E-01"
    quiet.clock.advance(60.0)
    assert quiet.ask("OUTP:STAT?;STAT:REM?") == "0;+0.00000E+00"
    assert quiet.truth.rf_on_intervals == ((0.0, 3.5),)
    assert quiet.truth.rf_on_s == 3.5
    assert quiet.reading()[0] == 0.0


@pytest.mark.parametrize("counts", [-25, 40])
def test_trim_acts_while_rf_is_on(quiet: BenchOnAClock, counts: int) -> None:
    quiet.ask_generator('CAL:STAT ON;POIN "cut power"')
    quiet.ask("INP:IMP 500;:OUTP:STAT ON,40")
    quiet.clock.advance(8.0)
    before, trim = quiet.reading()[0], int(quiet.ask_generator("CAL:TRIM?"))
    quiet.ask_generator(f"CAL:TRIM {trim + counts}")
    assert quiet.reading()[0] == before  # not yet: dead time and lag
    quiet.clock.advance(8.0)
    after = quiet.reading()[0]
    assert after == pytest.approx(quiet.truth.lag_free_current_ma(15.75), rel=1e-5)
    droop = quiet.truth.lag_free_current_ma(7.75) / quiet.truth.lag_free_current_ma(15.75)
    moved = after * droop - before
    effect = quiet.truth.unit.trims["cut power"]
    expected = abs(effect.log_gain_per_count * counts) / 2 * before
    assert abs(moved) == pytest.approx(expected, rel=0.3)


def test_droop_recovers_between_activations(quiet: BenchOnAClock) -> None:
    quiet.ask("OUTP:STAT ON,10")
    quiet.clock.advance(10.0 + 30.0)
    quiet.ask("OUTP:STAT ON,10")
    warm = (1 - exp(-10 / 8)) * exp(-30 / 15)
    assert quiet.truth.warmth_at_start == pytest.approx(warm, rel=1e-6)


def test_service_activation_times_out(quiet: BenchOnAClock) -> None:
    quiet.ask_generator('CAL:STAT ON;POIN "cut current"')
    quiet.ask("INP:IMP 100;:OUTP:STAT ON,60")
    quiet.clock.advance(50.0)
    assert not quiet.truth.rf_on
    assert quiet.truth.rf_on_intervals == ((0.0, 45.0),)
    assert quiet.ask("OUTP:STAT?") == "1"  # the contact is still closed, RF is not
    quiet.clock.advance(0.7)
    assert quiet.reading()[0] == 0.0
    quiet.ask("OUTP:STAT OFF")
    quiet.clock.advance(30)
    quiet.ask("OUTP:STAT ON,5")
    assert quiet.truth.rf_on


def test_trims_are_kept_only_when_stored(quiet: BenchOnAClock) -> None:
    say = quiet.ask_generator
    say('CAL:STAT ON;POIN "coag power";TRIM 77')
    say("CAL:STAT OFF")
    assert quiet.truth.trims["coag power"] != 77
    say('CAL:STAT ON;POIN "coag power";TRIM 77;STOR;:CAL:STAT OFF')
    assert quiet.truth.trims["coag power"] == 77
    say("*RST")
    assert quiet.truth.trims["coag power"] == 77


def test_energy_goes_into_the_load(quiet: BenchOnAClock) -> None:
    quiet.ask("OUTP:STAT ON,20")
    quiet.clock.advance(25.0)
    watts = (quiet.truth.lag_free_current_ma(10.0) / 1000) ** 2 * 500
    dead_and_lag_s = 0.33 + 1.5 * 0.55
    assert quiet.truth.energy_j == pytest.approx(watts * (20 - dead_and_lag_s), rel=0.01)
    assert quiet.truth.bank_heat > 0


def test_overload_trips_the_bank(gantry: AnalyzerProfile, quiet_quillon: GeneratorProfile) -> None:
    weak = gantry.model_dump()
    weak["data"]["load_bank"]["max_power_w"] = 100
    profile = AnalyzerProfile.model_validate(weak)
    bench = BenchOnAClock(profile, quiet_quillon, seed=1, clock=VirtualClock())
    bench.ask_generator('SOUR:FUNC "cut";POW 300')
    bench.ask("INP:IMP 500;:OUTP:STAT ON,20")
    bench.clock.advance(5.0)
    assert bench.ask("OUTP:STAT?") == "0"
    assert bench.ask("SYST:ERR?") == '-240,"Hardware error"'
    assert bench.truth.rf_on_s < 3


def test_hot_bank_refuses_until_cool(make: Make) -> None:
    bench = make()
    bench.ask_generator('SOUR:FUNC "cut";POW 300')
    bench.ask("INP:IMP 500")
    refused_at = None
    for _ in range(20):
        bench.ask("OUTP:STAT ON,60")
        if bench.ask("SYST:ERR?") != '0,"No error"':
            refused_at = bench.clock.now_s()
            break
        bench.clock.advance(60.0)
    assert refused_at is not None
    bench.clock.advance(1000.0)
    assert bench.ask("*CLS;:OUTP:STAT ON,10;:SYST:ERR?") == '0,"No error"'


def test_leakage_path(make: Make) -> None:
    bench = make()
    bench.ask_generator('SOUR:FUNC "cut";POW 300')
    bench.ask("INP:PATH LEAK;:OUTP:STAT ON,20")
    bench.clock.advance(15.0)
    value, unit, _ = bench.ask("FETC:LEAK?").split(",")
    assert unit == "A"
    assert 1000 * float(value) == pytest.approx(bench.truth.unit.leakage_ma["cut"], rel=0.04)
    assert bench.truth.bank_heat == 0.0


def test_contact_quality_alarm_has_hysteresis(make: Make) -> None:
    bench = make()
    bench.ask("INP:PATH CQU")

    def alarm(ohm: float) -> bool:
        bench.ask(f"INP:CQU:IMP {ohm}")
        bench.clock.advance(1.0)
        return bench.ask_generator("SENS:CQU:ALAR?") == "1"

    up = next(ohm for ohm in range(60, 300) if alarm(ohm))
    assert 165 <= up <= 191
    assert bench.panel.contact_alarm
    down = next(ohm for ohm in range(up, 60, -1) if not alarm(ohm))
    assert 5 <= up - down <= 17
    bench.ask("INP:CQU:IMP 400")
    assert not bench.panel.contact_alarm  # it takes its time
    bench.clock.advance(0.4)
    assert bench.panel.contact_alarm
    bench.panel.pedal(down=True)
    assert not bench.truth.rf_on  # no monopolar output without a good neutral electrode


def test_waveform_and_crest_factor(make: Make) -> None:
    import numpy as np

    bench = make()
    bench.ask_generator('SOUR:FUNC "coag";POW 105')
    assert bench.ask("FETC:CFAC?").startswith("9.91E+37,1,")
    bench.ask("INP:IMP 500;:OUTP:STAT ON,10")
    bench.clock.advance(8.0)
    block = bench.analyzer_port(b"FETC:WAV?\n")
    assert block.startswith(b"#516384")
    counts = np.frombuffer(block[7:-1], dtype=">i2")
    amps_per_count, seconds_per_sample = map(float, bench.ask("FETC:WAV:SCAL?").split(","))
    rms_ma = 1000 * amps_per_count * np.sqrt(np.mean(counts.astype(float) ** 2))
    assert rms_ma == pytest.approx(bench.reading()[0], rel=0.05)
    assert seconds_per_sample == pytest.approx(50e-9)
    crest = float(bench.ask("FETC:CFAC?").split(",")[0])
    largest = np.max(np.abs(counts)) * amps_per_count * 1000
    assert crest == pytest.approx(largest / rms_ma, rel=1e-4)
    assert 4 < crest < 7
    assert bench.analyzer_port(b"FETC:WAV?\n") == block  # a reading has one capture


def test_panel(make: Make) -> None:
    bench = make()
    panel, truth = bench.panel, bench.truth
    panel.select("cut", 150)
    assert bench.ask_generator("SOUR:FUNC?;POW?") == '"cut";+1.50000E+02'
    panel.pedal(down=True)
    bench.clock.advance(2.0)
    panel.pedal(down=False)
    assert truth.rf_on_intervals == ((0.0, 2.0),)
    panel.service(on=True)
    panel.point("cut power")
    before = truth.trims["cut power"]
    panel.press("coarse", "up", 2)
    panel.press("fine", "down")
    assert truth.trims["cut power"] - before == 2 * truth.unit.coarse_counts - 1
    assert truth.presses == 3
    panel.store()
    panel.service(on=False)
    assert truth.trims["cut power"] - before == 2 * truth.unit.coarse_counts - 1
    with pytest.raises(UsageError, match="settings conflict"):
        panel.press("fine", "up")
    with pytest.raises(UsageError, match="out of range"):
        panel.select("cut", 1000)


def test_keys_stop_at_the_end_of_the_trim(make: Make) -> None:
    bench = make()
    bench.panel.service(on=True)
    bench.panel.point("cut power")
    bench.panel.press("coarse", "down", 900)
    assert bench.truth.trims["cut power"] == -1000
