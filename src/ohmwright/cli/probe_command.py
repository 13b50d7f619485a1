"""The command `probe`: the bytes of each question of a command set, and what was understood."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import AsyncExitStack
from dataclasses import dataclass
from math import isnan
from pathlib import Path

import anyio

from ohmwright.api.bench_data import BenchData, read_bench
from ohmwright.api.open_links import analyzer_link, generator_link
from ohmwright.model.errors import (
    LinkError,
    ReleaseNotConfirmed,
    Stopped,
    UnaskedOutput,
    UsageError,
)
from ohmwright.wire.clock import RealClock
from ohmwright.wire.command_set import Ask, CommandSet
from ohmwright.wire.message_parts import shown_bytes
from ohmwright.wire.probing import Probed, Prober

from .console import err, out, print_json
from .signals import cancel_on_signal

_PER_LINE = 16
_MOST_SHOWN = 128
_CAUTION = (
    "CAUTION: what you give with --send goes to the instrument as it stands, and OFF after it. If "
    "it keys the output, RF comes on until then. Send only what its manual calls a question, with "
    "the generator switched off at its mains switch."
)


@dataclass(frozen=True)
class ProbeRequest:
    """What is to be probed."""

    bench: Path
    generator: bool
    """The generator in place of the analyzer."""
    only: Sequence[str]
    """The questions to ask; empty: all."""
    send: str | None
    """The text to send in place of the one question's own."""
    as_json: bool


def run_probe(request: ProbeRequest) -> int:
    """Print what passed for each question; return 3 where one was not understood, else 0.

    Raises UsageError for a bench without a command set or line, and for a text that is a command.
    """
    data = read_bench(request.bench)
    own, other = data.analyzer_commands, data.generator_commands
    commands, other = (other, own) if request.generator else (own, other)
    if commands is None or data.virtual_time:
        raise _no_line(request, other if not data.virtual_time else None)
    probed = anyio.run(_probed, request, data, commands)
    if request.as_json:
        print_json([_document(each) for each in probed])
    _refuse_rf(probed, request.send)
    return LinkError.exit_code if any(each.problem for each in probed) else 0


def _no_line(request: ProbeRequest, other: CommandSet | None) -> UsageError:
    """Return the refusal; `other`: the command set of the other instrument, where it has a line."""
    who, else_ = ("generator", "analyzer") if request.generator else ("analyzer", "generator")
    do = "For a back end see 'ohmwright doctor --conformance'."
    if other is not None:
        option = "without --generator" if request.generator else "with --generator"
        do = f"The {else_} is spoken to by one: probe it {option}. {do}"
    return UsageError(
        f"{request.bench}: its {who} has no real line that a command set is spoken over.",
        "A probe shows the bytes on such a line.",
        do,
    )


class _Seen:
    """What passed so far, printed as it comes unless a document of all is wanted."""

    def __init__(self, *, as_json: bool) -> None:
        self._as_json = as_json
        self.all = list[Probed]()

    def add(self, probed: Probed) -> None:
        """Take what passed for one message."""
        self.all.append(probed)
        if not self._as_json:
            _print(probed)


async def _probed(request: ProbeRequest, data: BenchData, commands: CommandSet) -> list[Probed]:
    seen = _Seen(as_json=request.as_json)
    with cancel_on_signal() as scope:
        async with AsyncExitStack() as stack:
            link = (
                await generator_link(data, stack)
                if request.generator
                else await analyzer_link(data, stack, guarded=False)
            )
            assert link is not None  # a command set is spoken over a line
            prober = Prober(link, commands, RealClock())
            await _ask_all(prober, request, seen)
            await prober.close()
    if scope.cancel_called:
        raise Stopped("Stopped by hand.")
    return seen.all


async def _ask_all(prober: Prober, request: ProbeRequest, seen: _Seen) -> None:
    chosen = _chosen(prober.questions(), request)
    if request.send is not None:
        err().print(_CAUTION, style="yellow")
    for each in await prober.opening():
        seen.add(each)
    streams = False
    for verb in chosen:
        if verb in prober.commands.streamed and not streams:
            streams = True
            if (start := await prober.start_stream()) is not None:
                seen.add(start)
        if request.send is None:
            seen.add(await prober.question(verb))
        else:
            await _ask_in_own_words(prober, verb, request.send, seen)


def _chosen(known: Sequence[Ask], request: ProbeRequest) -> list[Ask]:
    """Return the questions to ask. Raises UsageError."""
    if unknown := set(request.only) - set(known):
        raise UsageError(
            f"'{min(unknown)}' is no question of this command set; it has {', '.join(known)}."
        )
    chosen = [verb for verb in known if verb in request.only or not request.only]
    if request.send is not None and len(chosen) != 1:
        raise UsageError("--send needs --only with the one question that the text is for.")
    return chosen


async def _ask_in_own_words(prober: Prober, verb: Ask, text: str, seen: _Seen) -> None:
    """Send `text` in place of a question, then OFF, whatever came between: it may have been ON.

    Raises UsageError where the text is refused, which is then not sent.
    """
    try:
        seen.add(await prober.question(verb, text))
    except UsageError:
        raise
    except BaseException:
        await _switch_off(prober, seen)
        _refuse_rf(seen.all, text)
        raise
    await _switch_off(prober, seen)


async def _switch_off(prober: Prober, seen: _Seen) -> None:
    """Send OFF, with the state read before and after it, whoever cancels."""
    try:
        with anyio.CancelScope(shield=True):
            for each in await prober.release():
                seen.add(each)
    except LinkError as lost:
        raise _rf_unknown(f"OFF is not confirmed. {lost.happened}") from None


def _refuse_rf(probed: Sequence[Probed], sent: str | None) -> None:
    """Raise ReleaseNotConfirmed where the output reads on or, after a text of --send, not at all.

    Raises UnaskedOutput where it was on until OFF.
    """
    said = [known["state"] for each in probed if "state" in (known := each.understood or {})]
    asked = any(each.name == "state" for each in probed)
    if sent is not None and asked and not said:
        raise _rf_unknown("no answer to the question for the state was understood.")
    if said and said[-1] != 0:
        raise _rf_unknown("the analyzer's keying output reads on.")
    if any(state != 0 for state in said):
        raise UnaskedOutput(
            "RF was on after the text of --send: it was no question.",
            "OFF was sent, and the output reads off now.",
            "Look the text up in the manual: it may be what 'on' of the command set should be.",
        )


def _rf_unknown(why: str) -> ReleaseNotConfirmed:
    return ReleaseNotConfirmed(
        f"RF MAY BE ON: {why}",
        "A probe never switches it on, but for a text of --send that was no question.",
        "Switch the generator off at its mains switch now.",
    )


def _print(probed: Probed) -> None:
    out().print(f"{probed.name}", style="bold")
    if probed.unasked:
        _print_bytes("?", probed.unasked, "waited unasked")
    _print_bytes(">", probed.sent, "")
    _print_bytes("<", probed.came, f"{1000 * probed.took_s:.0f} ms")
    if probed.problem:
        out().print(f"  NOT UNDERSTOOD: {probed.problem}", style="bold red", soft_wrap=True)
    else:
        said = ", ".join(f"{name} = {_value(value)}" for name, value in _said(probed))
        out().print(f"  understood: {said or 'done'}", style="green", soft_wrap=True)


def _print_bytes(way: str, data: bytes, note: str) -> None:
    """Print bytes in hexadecimal and as a command set writes them, 16 a line."""
    for at in range(0, min(len(data), _MOST_SHOWN), _PER_LINE):
        part = data[at : at + _PER_LINE]
        out().print(f"  {way} {part.hex(' ').upper():47}  {shown_bytes(part)}", soft_wrap=True)
    if note:
        out().print(f"    {note}", style="dim")


def _said(probed: Probed) -> list[tuple[str, float | str]]:
    """Return what was understood, in words where a figure would not tell."""
    said = probed.understood or {}
    return [(name, _in_words(name, value)) for name, value in said.items()]


def _in_words(name: str, value: float | str) -> float | str:
    if name == "state":
        return "off" if value == 0 else "on"
    return "no reading yet" if isinstance(value, float) and isnan(value) else value


def _value(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def _document(probed: Probed) -> dict[str, object]:
    return {
        "question": probed.name,
        "unasked": probed.unasked.hex(" "),
        "sent": probed.sent.hex(" "),
        "came": probed.came.hex(" "),
        "took_s": round(probed.took_s, 4),
        "understood": dict(_said(probed)),
        "problem": probed.problem,
    }
