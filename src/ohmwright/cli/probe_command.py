"""The command `probe`: the bytes of each question of a command set, and what was understood."""

from __future__ import annotations

from collections.abc import AsyncIterator, Sequence
from contextlib import AsyncExitStack
from dataclasses import dataclass
from math import isnan
from pathlib import Path

import anyio

from ohmwright.api.bench_data import BenchData, read_bench
from ohmwright.api.open_links import analyzer_link, generator_link
from ohmwright.model.errors import LinkError, ReleaseNotConfirmed, UnaskedOutput, UsageError
from ohmwright.wire.clock import RealClock
from ohmwright.wire.command_set import CommandSet
from ohmwright.wire.message_parts import shown_bytes
from ohmwright.wire.probing import Probed, Prober

from .console import err, out, print_json

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
    _refuse_rf(probed)
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


def _refuse_rf(probed: Sequence[Probed]) -> None:
    """Raise ReleaseNotConfirmed where the output read on, or was on until OFF."""
    said = [known["state"] for each in probed if "state" in (known := each.understood or {})]
    if said and said[-1] != 0:
        raise ReleaseNotConfirmed(
            "RF MAY BE ON: the analyzer's keying output reads on.",
            "A probe never switches it on, but for a text of --send that was no question.",
            "Switch the generator off at its mains switch now.",
        )
    if any(state != 0 for state in said):
        raise UnaskedOutput(
            "RF was on after the text of --send: it was no question.",
            "OFF was sent, and the output reads off now.",
            "Look the text up in the manual: it may be what 'on' of the command set should be.",
        )


async def _probed(request: ProbeRequest, data: BenchData, commands: CommandSet) -> list[Probed]:
    async with AsyncExitStack() as stack:
        link = (
            await generator_link(data, stack)
            if request.generator
            else await analyzer_link(data, stack, guarded=False)
        )
        assert link is not None  # a command set is spoken over a line
        prober, found = Prober(link, commands, RealClock()), list[Probed]()
        async for each in _questions(prober, request):
            found.append(each)
            if not request.as_json:
                _print(each)
        return found


async def _questions(prober: Prober, request: ProbeRequest) -> AsyncIterator[Probed]:
    known = prober.questions()
    chosen = [verb for verb in known if verb in request.only or not request.only]
    if unknown := set(request.only) - set(known):
        raise UsageError(
            f"'{min(unknown)}' is no question of this command set; it has {', '.join(known)}."
        )
    if request.send is not None and len(chosen) != 1:
        raise UsageError("--send needs --only with the one question that the text is for.")
    if request.send is not None:
        err().print(_CAUTION, style="yellow")
    for each in await prober.opening():
        yield each
    streams = False
    for verb in chosen:
        if verb in prober.commands.streamed and not streams:
            streams = True
            if (start := await prober.start_stream()) is not None:
                yield start
        yield await prober.question(verb, request.send)
    if request.send is not None:
        for each in await prober.release():
            yield each
    await prober.close()


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
