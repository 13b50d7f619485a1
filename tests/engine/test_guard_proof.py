"""The guard is proved by what it must do: an OFF that opens a closed contact."""

from collections.abc import Callable
from types import MethodType
from typing import Any

import pytest

from ohmwright.cli.doctor_checks import findings_with_rf_off
from ohmwright.engine.activation import activation
from ohmwright.instruments.analyzer import GuardProof
from ohmwright.model.errors import ProtocolError

pytestmark = pytest.mark.anyio


def guard_that_sends(rig: Any, message: bytes) -> None:
    """A guard on the rig's line that says it has read off after it sent `message`."""

    async def prove_watchdog(link: Any) -> float:
        link._handle(message)
        return 0.3

    link = rig.bench.analyzer.dialogue.framing.link
    link.prove_watchdog = MethodType(prove_watchdog, link)


async def test_in_an_activation_a_closed_contact_is_seen_to_open(
    make_rig: Callable[..., Any],
) -> None:
    rig = make_rig()
    guard_that_sends(rig, b"OUTPut:STATe OFF\n")
    async with activation(rig.bench, load_ohm=300, power_w=100, limit_s=5):
        assert await rig.bench.analyzer.prove_watchdog() == GuardProof(True, 0.3)
        assert not rig.hardware.truth.rf_on


async def test_with_the_output_off_the_proof_says_so(make_rig: Callable[..., Any]) -> None:
    rig = make_rig()
    guard_that_sends(rig, b"OUTPut:STATe OFF\n")
    assert await rig.bench.analyzer.prove_watchdog() == GuardProof(False, 0.3)


async def test_what_the_guard_says_is_read_back(make_rig: Callable[..., Any]) -> None:
    rig = make_rig()
    guard_that_sends(rig, b"*OPC?\n")
    with pytest.raises(ProtocolError, match="yet the output reads closed"):
        async with activation(rig.bench, load_ohm=300, power_w=100, limit_s=5):
            await rig.bench.analyzer.prove_watchdog()


async def test_without_a_guard_there_is_nothing_to_prove(make_rig: Callable[..., Any]) -> None:
    assert await make_rig().bench.analyzer.prove_watchdog() is None


async def test_doctor_ends_rf_that_its_checks_leave_on(make_rig: Callable[..., Any]) -> None:
    rig = make_rig()
    guard_that_sends(rig, b"OUTPut:STATe ON,9\n")
    findings = [finding async for finding in findings_with_rf_off(rig.bench)]
    assert not rig.hardware.truth.rf_on
    bad = [finding.detail for finding in findings if finding.state == "NOT GOOD"]
    assert "yet the output reads closed" in bad[0]
    assert "RF was on (the analyzer's keying output reads closed) and read off" in bad[1]
