"""The analyzer is unplugged in mid-run and plugged in again, over real pseudo-terminals."""

import re
import sys
import time
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest
from serial.tools.list_ports_common import ListPortInfo

from ohmwright.wire.links import ports

from .conftest import simulated

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals")
NUMBER = "A1B2C3"


def device(served: Path) -> str:
    """The pseudo-terminal that the served analyzer has now."""
    return str(tomllib.loads(served.read_text(encoding="utf-8"))["analyzer"]["link"]["port"])


def by_number(served: Path) -> Path:
    """The same bench, its analyzer named by its adapter's serial number and its own identity."""
    text = served.read_text(encoding="utf-8")
    named = f'port = "serial={NUMBER}" }}\nidentity = "A000003"'
    bench = served.with_name("by-number.toml")
    bench.write_text(text.replace(f'port = "{device(served)}" }}', named), encoding="utf-8")
    return bench


@pytest.mark.parametrize(("away", "code"), [(False, 3), (True, 5)])
def test_it_is_found_under_its_new_name_and_the_run_goes_on(
    ohmwright: Callable,
    procedure: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    away: bool,
    code: int,
) -> None:
    """Found again within the release it is switched off there; one that stays away is code 5."""

    def listed() -> list[ListPortInfo]:
        port = ListPortInfo(device(there), skip_link_detection=True)
        port.serial_number = NUMBER
        return [] if away and port.device != before else [port]

    def verify(*options: str) -> object:
        place = ("--bench", bench, "--records", tmp_path / "records")
        return ohmwright("verify", procedure, *place, "--unattended", *options)

    monkeypatch.setattr(ports, "comports", listed)
    (tmp_path / "other").mkdir()
    with (
        simulated(tmp_path, "--pty", "--stepped", "--fault", "unplug:message:once:180") as there,
        simulated(tmp_path / "other", "--pty", "--stepped", "--seed", "4") as another,
    ):
        served, bench, before = there, by_number(there), device(there)
        lost = verify()
        assert lost.code == code
        assert ("RF MAY STILL BE ON" in lost.err) is away
        resume = re.search(r"--resume \S+", lost.err)[0].split()
        while device(served) == before:
            time.sleep(0.05)

        away = False
        there = another
        refused = verify(*resume)
        assert refused.code == 3
        assert "A000004" in refused.err

        there = served
        outcome = verify(*resume, "--json")
    assert outcome.code == 1
    assert [r["verdict"] for r in outcome.json["results"]] == ["fail", "pass"]
