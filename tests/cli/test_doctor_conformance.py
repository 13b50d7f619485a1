"""`doctor --conformance`: every check with what it saw, and no RF that nobody agreed to."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from ohmwright.cli import doctor_checks, doctor_conformance
from ohmwright.engine.activation import Activation
from ohmwright.engine.pending_events import PendingEvents
from ohmwright.instruments.analyzer import Reading
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.conformance import CHECKS, WITH_RF, WITHOUT_RF, title
from ohmwright.instruments.conformance_generator import GENERATOR_CHECKS
from ohmwright.instruments.conformance_kit import Kit, Observed, wrong
from ohmwright.instruments.remote_analyzer import RemoteAnalyzer
from ohmwright.instruments.requests import LetRfComeOnAgain, Request
from ohmwright.model.errors import ReleaseNotConfirmed
from ohmwright.model.event import UnaskedRf
from ohmwright.model.shipped import shipped
from ohmwright.simulator.operator import SimulatedOperator

COMMAND = ("doctor", "--bench", shipped("benches", "demo.toml"), "--conformance", "--json")


@pytest.fixture
def activations(monkeypatch: pytest.MonkeyPatch) -> list[Activation]:
    """Every activation that is opened."""
    opened: list[Activation] = []
    init = Activation.__init__

    def noted(self: Activation, *given: Any, **named: Any) -> None:
        init(self, *given, **named)
        opened.append(self)

    monkeypatch.setattr(Activation, "__init__", noted)
    return opened


def test_each_check_says_what_it_saw(ohmwright: Callable, activations: list[Activation]) -> None:
    outcome = ohmwright(*COMMAND, "--with-rf")
    found = {finding["check"]: finding for finding in outcome.json}
    assert outcome.code == 0
    assert "CAUTION" in outcome.err
    for check in (*CHECKS, *GENERATOR_CHECKS):
        assert found[title(check)]["detail"]
    assert found["off opens the output"]["state"] == "good"
    assert "mA is due)" in found["activates reads and releases"]["detail"]
    assert "cut current 4, cut voltage 16" in found["tells every trim"]["detail"]
    assert len(activations) == len(WITH_RF)  # no guard to try, and two loads in one check
    told = [line for line in outcome.err.splitlines() if line.startswith("RF ")]
    on = [at for at, line in enumerate(told) if line.startswith("RF ON; its limit ends it in")]
    assert len(on) == len(activations)
    assert all(told[at - 1] == "RF IS ABOUT TO COME ON" for at in on)
    assert all("RF OFF" in told[at : at + 3] for at in on)


def test_without_rf_those_that_need_it_are_not_checked(
    ohmwright: Callable, activations: list[Activation]
) -> None:
    found = {finding["check"]: finding["state"] for finding in ohmwright(*COMMAND).json}
    assert {found[title(check)] for check in WITH_RF} == {"not checked"}
    proved = {title(check) for check in WITHOUT_RF} - {"off is idempotent"}
    assert {found[name] for name in proved} == {"good"}
    assert found["off is idempotent"] == "not checked"  # its OFF is not acknowledged
    assert activations == []


@pytest.mark.parametrize("conformance", [True, False])
def test_who_does_not_agree_gets_no_rf(
    ohmwright: Callable,
    activations: list[Activation],
    monkeypatch: pytest.MonkeyPatch,
    conformance: bool,
) -> None:
    async def stop(*_: object) -> str:
        return "stop"

    monkeypatch.setattr(SimulatedOperator, "reply", stop)
    command = COMMAND if conformance else [part for part in COMMAND if part != "--conformance"]
    outcome = ohmwright(*command, "--with-rf")
    assert (outcome.code, activations) == (0, [])
    assert "did not want it" in outcome.out


def test_what_is_wrong_with_rf_off_keeps_it_off(
    ohmwright: Callable, activations: list[Activation], monkeypatch: pytest.MonkeyPatch
) -> None:
    async def reads_wrongly(kit: Kit) -> Observed:
        return wrong("it reads 7 ohm")

    monkeypatch.setattr(doctor_conformance, "WITHOUT_RF", (reads_wrongly,))
    outcome = ohmwright(*COMMAND, "--with-rf")
    found = {finding["check"]: finding for finding in outcome.json}
    assert (outcome.code, activations) == (3, [])
    assert found["reads wrongly"]["state"] == "NOT GOOD"
    assert "mended first" in found["off opens the output"]["detail"]


@pytest.mark.parametrize("conformance", [True, False])
def test_an_off_that_fails_has_its_row(
    ohmwright: Callable, monkeypatch: pytest.MonkeyPatch, conformance: bool
) -> None:
    async def deaf(_: object) -> None:
        return

    switch_on = RemoteAnalyzer.switch_on

    async def on_and_deaf(self: RemoteAnalyzer, limit_s: float) -> None:
        await switch_on(self, limit_s)
        monkeypatch.setattr(RemoteAnalyzer, "switch_off", deaf)

    monkeypatch.setattr(RemoteAnalyzer, "switch_on", on_and_deaf)
    command = COMMAND if conformance else [part for part in COMMAND if part != "--conformance"]
    outcome = ohmwright(*command, "--with-rf")
    found = {finding["check"]: finding for finding in outcome.json}
    assert outcome.code == 5
    assert found["off opens the output"]["state"] == "NOT GOOD"
    assert found["off opens the output"]["code"] == 5


def test_who_does_not_let_rf_come_on_again_ends_the_checks(
    ohmwright: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    first_contact, reply = doctor_checks.ensure_off_at_start, SimulatedOperator.reply

    async def warned(bench: Bench, pending: PendingEvents) -> None:
        await first_contact(bench, pending)
        bench.rf.off_after_warning = "RF reads off now, 4 s after OFF"

    async def no(self: SimulatedOperator, request: Request, problem: str) -> str:
        asks = isinstance(request, LetRfComeOnAgain)
        return "n" if asks else await reply(self, request, problem)

    monkeypatch.setattr(doctor_checks, "ensure_off_at_start", warned)
    monkeypatch.setattr(SimulatedOperator, "reply", no)
    outcome = ohmwright(*COMMAND, "--with-rf")
    assert outcome.code == 4
    assert "A person has ended the checks." in outcome.err


def test_an_output_that_is_on_at_first_contact_has_its_row(
    ohmwright: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def on(*_: object) -> None:
        raise ReleaseNotConfirmed("RF MAY STILL BE ON: 0.8 mA read.")

    monkeypatch.setattr(doctor_checks, "ensure_off_at_start", on)
    outcome = ohmwright(*COMMAND)
    assert outcome.code == 5
    (row,) = outcome.json
    assert (row["check"], row["state"], row["code"]) == ("output reads off", "NOT GOOD", 5)
    assert "0.8 mA read" in row["detail"]


def test_an_output_that_was_on_and_was_ended_is_not_good(
    ohmwright: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Would notice a bench whose RF comes on by itself, called good since it read off after OFF."""
    first_contact = doctor_checks.ensure_off_at_start

    async def was_on(bench: Bench, pending: PendingEvents) -> None:
        await first_contact(bench, pending)
        at = bench.clock.wall()
        pending.add(UnaskedRf(at=at, bench_s=bench.clock.now_s(), seen="the output reads closed"))

    monkeypatch.setattr(doctor_checks, "ensure_off_at_start", was_on)
    outcome = ohmwright(*COMMAND)
    row = outcome.json[0]
    assert (outcome.code, row["check"], row["state"]) == (3, "output reads off", "NOT GOOD")
    assert "RF was on (the output reads closed) and read off after OFF" in row["detail"]


@pytest.mark.parametrize("conformance", [True, False])
def test_a_reading_in_another_unit_is_found_with_rf(
    ohmwright: Callable, monkeypatch: pytest.MonkeyPatch, conformance: bool
) -> None:
    """OFF, limit and guard are proved by the output's state, and good as ever."""
    fetch = RemoteAnalyzer.fetch_current

    async def in_ampere(self: RemoteAnalyzer) -> Reading:
        reading = await fetch(self)
        return reading._replace(current_ma=reading.current_ma / 1000)

    monkeypatch.setattr(RemoteAnalyzer, "fetch_current", in_ampere)
    command = COMMAND if conformance else [part for part in COMMAND if part != "--conformance"]
    outcome = ohmwright(*command, "--with-rf")
    found = {finding["check"]: finding for finding in outcome.json}
    bad = found["activates reads and releases"]
    assert (outcome.code, bad["state"]) == (3, "NOT GOOD")
    assert "unit or scale" in bad["detail"]


def test_with_a_foot_switch_no_current_is_no_proof_of_off(
    ohmwright: Callable, tmp_path: Path
) -> None:
    bench = tmp_path / "foot.toml"
    text = Path(shipped("benches", "attended.toml")).read_text(encoding="utf-8")
    by_hand = '[analyzer]\nby_hand = ["foot switch"]\n'
    bench.write_text(text.replace("[analyzer]\n", by_hand, 1), encoding="utf-8")
    outcome = ohmwright("doctor", "--bench", bench, "--json")
    found = {finding["check"]: finding for finding in outcome.json}
    assert outcome.code == 0
    for name in ("output reads off", "is off when opened", "reads no current while off"):
        assert (found[name]["state"], "no proof of off" in found[name]["detail"]) == (
            "not checked",
            True,
        )


@pytest.mark.parametrize(("took_s", "state"), [(0.05, "good"), (0.6, "absent")])
def test_how_long_answers_take_is_told(
    ohmwright: Callable, monkeypatch: pytest.MonkeyPatch, took_s: float, state: str
) -> None:
    identify = RemoteAnalyzer.identify

    async def slowly(self: RemoteAnalyzer) -> str:
        await self.dialogue.framing._clock.sleep(took_s)
        return await identify(self)

    monkeypatch.setattr(RemoteAnalyzer, "identify", slowly)
    found = ohmwright("doctor", "--bench", shipped("benches", "demo.toml"), "--json").json
    (answers,) = (one for one in found if "answers at once" in one["check"])
    assert answers["state"] == state
    assert f"{took_s:g} s at most" in answers["detail"]
