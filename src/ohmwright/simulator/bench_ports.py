"""The three ports of a simulated bench that is served to other processes."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields

from ohmwright.model.bench_file import SerialPort, TcpAddress
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.scpi import format_number, parse_number

from .bench import SimulatedBench
from .dispatcher import CommandError, Dispatcher, single_argument

_LONGEST_LINE = 1 << 16


@dataclass(frozen=True)
class PortAddresses:
    """The addresses of the ports of a served bench."""

    analyzer: SerialPort | TcpAddress
    generator: SerialPort | TcpAddress
    control: SerialPort | TcpAddress

    def named(self) -> Iterator[tuple[str, str]]:
        """Each port's name and its address as text."""
        for field in fields(self):
            address = getattr(self, field.name)
            where = address.port
            yield (
                field.name,
                where if isinstance(address, SerialPort) else f"{address.host}:{where}",
            )


PortHandler = Callable[[bytes], bytes]


class LineServer:
    """Cuts a stream of bytes into lines and answers each."""

    def __init__(self, handle: PortHandler) -> None:
        self._handle = handle
        self._unfinished = b""

    def feed(self, data: bytes) -> bytes:
        """The replies to the lines that `data` completes; what grows over 65,536 bytes
        without an end of line is dropped, so that nobody can fill the memory.
        """
        *lines, unfinished = (self._unfinished + data).split(b"\n")
        self._unfinished = unfinished if len(unfinished) <= _LONGEST_LINE else b""
        return b"".join(self._handle(line + b"\n") for line in lines)


def port_handlers(bench: SimulatedBench) -> dict[str, PortHandler]:
    """The function that answers a line, for each port by its name in `PortAddresses`."""
    return {
        "analyzer": bench.analyzer_port,
        "generator": bench.generator_port,
        "control": control_port(bench),
    }


def control_port(bench: SimulatedBench) -> PortHandler:
    """The function that answers the control port: it moves the bench's time and tells the truth."""
    dispatcher, truth, clock = Dispatcher(), bench.truth, bench.clock

    def step(arguments: list[str]) -> str:
        duration_s = parse_number(single_argument(arguments))
        if not isinstance(clock, VirtualClock):
            raise CommandError(-221)
        if not 0 <= duration_s < float("inf"):
            raise CommandError(-222)
        clock.advance(duration_s)
        return "1"

    def intervals(_: list[str]) -> str:
        """Start and end of each, 9.91E37 for an end that is still to come."""
        times = [time for interval in truth.rf_on_intervals for time in interval]
        return ",".join("9.91E+37" if time is None else repr(time) for time in times)

    dispatcher.on("SIMulator:TIME:STEP", step)
    dispatcher.on("SIMulator:TIME?", lambda _: repr(clock.now_s()))
    dispatcher.on("SIMulator:TRUTh:RF?", lambda _: "1" if truth.rf_on else "0")
    dispatcher.on("SIMulator:TRUTh:RF:INTervals?", intervals)
    dispatcher.on("SIMulator:TRUTh:CURRent?", lambda _: format_number(truth.current_ma / 1000))
    dispatcher.on("SYSTem:ERRor[:NEXT]?", lambda _: dispatcher.errors.pop())
    return dispatcher.handle
