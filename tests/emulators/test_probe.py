"""What `probe` shows of an instrument's bytes; it sends questions alone."""

from __future__ import annotations

import re
import shutil
import signal
from collections.abc import Callable
from dataclasses import replace
from math import nan
from pathlib import Path
from typing import NoReturn

import anyio
import pytest

from ohmwright import guide
from ohmwright.cli import probe_command
from ohmwright.cli.probe_command import ProbeRequest, run_probe
from ohmwright.model.errors import LinkLost, ReleaseNotConfirmed, UnaskedOutput, UsageError
from ohmwright.wire.command_set import Ask
from ohmwright.wire.probing import Probed, Prober

from .conftest import FILES, Table


@pytest.fixture
def probed(capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str]]:
    def probe(bench: Path, *only: str, send: str | None = None) -> tuple[int, str]:
        code = run_probe(ProbeRequest(bench, False, only, send, False))
        return code, re.sub(r"\d+ ms", "… ms", capsys.readouterr().out)

    return probe


def test_the_bytes_that_the_guide_shows(on_table: Callable[..., Table], probed: Callable) -> None:
    table = on_table("brindle-7", quick=True)
    code, shown = probed(table.bench)
    assert code == 0
    assert "understood: state = off" in shown
    load = shown[shown.index("load\n") : shown.index("state\n")]
    assert load in guide.page("own_analyzer")
    assert table.plant.log == []


def test_a_reply_of_another_form_shows_its_bytes_and_what_it_should_be(
    on_table: Callable[..., Table], probed: Callable, tmp_path: Path
) -> None:
    table = on_table("sedge-s1")
    for name in ("sedge-s1.toml", "osier-90.toml", "osier-90-commands.toml"):
        shutil.copy(FILES / name, tmp_path)
    wrong = (FILES / "sedge-s1-commands.toml").read_text().replace("V{identity}", "ID{identity}")
    (tmp_path / "sedge-s1-commands.toml").write_text(wrong)
    bench = tmp_path / "bench.toml"
    bench.write_text(table.bench.read_text().replace(f"{FILES}/", ""))
    code, shown = probed(bench)
    assert code == 3
    assert "NOT UNDERSTOOD: it should be 'ID{identity}'" in shown
    assert "<STX>VSedge S1" in shown
    assert shown.count("understood: current_ma = 0, state = off") == 4  # lines of the stream


def test_no_reading_is_not_shown_as_a_figure(
    monkeypatch: pytest.MonkeyPatch, on_table: Callable[..., Table], probed: Callable
) -> None:
    question = Prober.question

    async def asked(*given: object) -> Probed:
        reply = await question(*given)
        nothing = "current_ma" in (reply.understood or {})
        return replace(reply, understood={"current_ma": nan}) if nothing else reply

    monkeypatch.setattr(Prober, "question", asked)
    _, shown = probed(on_table("brindle-7", quick=True).bench)
    assert "understood: current_ma = no reading yet" in shown


def test_a_text_that_is_a_command_is_not_sent(
    on_table: Callable[..., Table], probed: Callable
) -> None:
    table = on_table("sedge-s1")
    for text in ("K000", "k005", "K123", "L0300"):
        with pytest.raises(UsageError, match="it is no question"):
            probed(table.bench, "identify", send=text)
    code, shown = probed(table.bench, "identify", send="W")
    assert code == 3
    assert "refused" in shown
    assert not table.plant.is_on


def test_a_text_that_keys_the_output_all_the_same_is_ended_by_off(
    on_table: Callable[..., Table], probed: Callable, tmp_path: Path
) -> None:
    """The command set's ON is wrong, so that nothing tells the text from a question."""
    table = on_table("sedge-s1")
    bench = _with_wrong_on(table, tmp_path)
    with pytest.raises(UnaskedOutput, match="it was no question"):
        probed(bench, "identify", send="K300")
    assert not table.plant.is_on
    [(from_s, to_s)] = table.plant.log
    assert to_s - from_s < 5  # of the 30 s that it asked for


@pytest.mark.parametrize("how", ["a signal", "a lost line"])
def test_off_follows_a_text_of_ones_own_however_the_probe_ends(
    on_table: Callable[..., Table],
    probed: Callable,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    how: str,
) -> None:
    table = on_table("sedge-s1")
    bench, question = _with_wrong_on(table, tmp_path), Prober.question

    async def cut_short(prober: Prober, verb: Ask, instead: str | None = None) -> Probed:
        reply = await question(prober, verb, instead)
        if instead is not None and how == "a lost line":
            raise LinkLost("The line is lost.")
        if instead is not None:
            signal.raise_signal(signal.SIGINT)
            await anyio.sleep(60)
        return reply

    monkeypatch.setattr(Prober, "question", cut_short)
    before = signal.getsignal(signal.SIGINT)
    try:
        with pytest.raises(UnaskedOutput, match="it was no question"):
            probed(bench, "identify", send="K300")
    finally:
        signal.signal(signal.SIGINT, before)
    assert not table.plant.is_on


def test_a_line_that_is_lost_for_good_after_a_text_leaves_rf_unknown(
    on_table: Callable[..., Table],
    probed: Callable,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    bench = _with_wrong_on(on_table("sedge-s1"), tmp_path)

    async def lost(*_: object) -> NoReturn:
        raise LinkLost("The line is lost.")

    monkeypatch.setattr(Prober, "question", lost)
    monkeypatch.setattr(Prober, "release", lost)
    with pytest.raises(ReleaseNotConfirmed, match="RF MAY BE ON"):
        probed(bench, "identify", send="K300")


def test_after_a_text_a_state_that_cannot_be_read_leaves_rf_unknown(
    on_table: Callable[..., Table],
    probed: Callable,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    bench, question = _with_wrong_on(on_table("sedge-s1"), tmp_path), Prober.question

    async def unread(prober: Prober, verb: Ask, instead: str | None = None) -> Probed:
        reply = await question(prober, verb, instead)
        return replace(reply, understood=None, problem="it makes no sense")

    monkeypatch.setattr(Prober, "question", unread)
    with pytest.raises(ReleaseNotConfirmed, match="RF MAY BE ON"):
        probed(bench, "identify", send="W")


@pytest.mark.parametrize("between", [";", "; ", "<LF>", "<CR><LF>"])
def test_a_text_with_a_command_after_its_question_is_not_sent(
    on_table: Callable[..., Table], probed: Callable, between: str
) -> None:
    table = on_table("brindle-7", quick=True)
    with pytest.raises(UsageError, match="it is no question"):
        probed(table.bench, "load", send=f"LOAD?{between}key close 5")
    assert table.plant.log == []


def _with_wrong_on(table: Table, folder: Path) -> Path:
    """A bench file of a Sedge S1 whose command set has another ON than the instrument."""
    for name in ("sedge-s1.toml", "osier-90.toml", "osier-90-commands.toml"):
        shutil.copy(FILES / name, folder)
    wrong = (FILES / "sedge-s1-commands.toml").read_text().replace("K{limit_s", "Q{limit_s")
    (folder / "sedge-s1-commands.toml").write_text(wrong)
    bench = folder / "bench.toml"
    bench.write_text(table.bench.read_text().replace(f"{FILES}/", ""))
    return bench


@pytest.mark.parametrize("generator", [True, False])
def test_a_back_end_beside_a_command_set_is_told_by_which_option_to_probe_that(
    monkeypatch: pytest.MonkeyPatch, generator: bool
) -> None:
    class Bench:
        analyzer_commands = "a command set" if generator else None
        generator_commands = None if generator else "a command set"
        virtual_time = False

    monkeypatch.setattr(probe_command, "read_bench", lambda _: Bench)
    with pytest.raises(UsageError) as raised:
        run_probe(ProbeRequest(Path("bench.toml"), generator, (), None, False))
    assert ("probe it without --generator" if generator else "probe it with --generator") in (
        raised.value.do
    )
