"""The instrument's side of SCPI: a line of bytes in, handlers called, a reply line out."""

from __future__ import annotations

from collections.abc import Callable

from ohmwright.wire.scpi import parse_number

from .scpi_errors import ErrorQueue, event_bit
from .scpi_text import headers, split

Handler = Callable[[list[str]], "str | bytes | None"]
_CACHED_LINES = 512


class CommandError(Exception):
    """A command that is refused; `code` goes into the error queue."""

    def __init__(self, code: int) -> None:
        super().__init__(code)
        self.code = code


class Dispatcher:
    """Calls the handler of each header; a refused query gives an error and no reply."""

    def __init__(self) -> None:
        self.errors = ErrorQueue()
        self.event_status = 128  # power on
        self._handlers: dict[str, Handler] = {}
        self._parsed: dict[bytes, list[tuple[Handler, list[str]]]] = {}

    def on(self, pattern: str, handler: Handler) -> None:
        """Answer every spelling of `pattern`, such as `SYSTem:ERRor[:NEXT]?`, with `handler`."""
        for header in headers(pattern):
            self._handlers[header] = handler
        self._parsed.clear()

    def push_error(self, code: int) -> None:
        """Queue an error and set its event status bit."""
        self.errors.push(code)
        self.event_status |= event_bit(code)

    def handle(self, line: bytes) -> bytes:
        """Carry out every message of a line; return the replies, joined and terminated."""
        replies: list[bytes] = []
        for handler, arguments in self._parsed.get(line) or self._parse(line):
            try:
                reply = handler(arguments)
            except CommandError as error:
                self.push_error(error.code)
            except (ValueError, OverflowError):
                self.push_error(-104)
            else:
                if reply is not None:
                    replies.append(reply if isinstance(reply, bytes) else reply.encode())
        return b";".join(replies) + b"\n" if replies else b""

    def _parse(self, line: bytes) -> list[tuple[Handler, list[str]]]:
        text = line.decode("latin-1").strip()
        calls, path = [], ""
        for message in split(text, ";") if text else ():
            header, *rest = message.split(None, 1) or [""]
            header, path = _absolute(header.upper(), path)
            handler = self._handlers.get(header)
            arguments = [part.strip() for part in split(rest[0], ",")] if rest else []
            calls.append((self._undefined if handler is None else handler, arguments))
        if len(self._parsed) >= _CACHED_LINES:
            self._parsed.clear()
        self._parsed[line] = calls
        return calls

    def _undefined(self, _: list[str]) -> None:
        self.push_error(-113)


def _absolute(header: str, path: str) -> tuple[str, str]:
    """The header from the root, and the path that the next message of the line starts from."""
    if header.startswith("*"):
        return header, path
    header = header[1:] if header.startswith(":") else path + header
    return header, header[: header.rfind(":") + 1]


def common_commands(dispatcher: Dispatcher, identity: str, reset: Callable[[], None]) -> None:
    """Add the mandatory commands of IEEE 488.2 and SCPI's error queue and version."""
    d = dispatcher
    enable = {"*ESE": 0, "*SRE": 0}

    def setter(name: str) -> Handler:
        def store(arguments: list[str]) -> None:
            value = round(parse_number(single_argument(arguments)))
            if not 0 <= value <= 255:
                raise CommandError(-222)
            enable[name] = value

        return store

    def clear(_: list[str]) -> None:
        d.errors.clear()
        d.event_status = 0

    def read_events(_: list[str]) -> str:
        status, d.event_status = d.event_status, 0
        return str(status)

    def status_byte(_: list[str]) -> str:
        status = (4 if len(d.errors) else 0) | (32 if d.event_status & enable["*ESE"] else 0)
        return str(status | (64 if status & enable["*SRE"] else 0))

    def complete(_: list[str]) -> None:
        d.event_status |= 1

    d.on("*IDN?", lambda _: identity)
    d.on("*RST", lambda _: reset())
    d.on("*CLS", clear)
    for name in enable:
        d.on(name, setter(name))
        d.on(f"{name}?", lambda _, name=name: str(enable[name]))  # type: ignore[misc]
    d.on("*ESR?", read_events)
    d.on("*STB?", status_byte)
    d.on("*OPC", complete)
    d.on("*OPC?", lambda _: "1")
    d.on("*TST?", lambda _: "0")
    d.on("*WAI", lambda _: None)
    d.on("SYSTem:ERRor[:NEXT]?", lambda _: d.errors.pop())
    d.on("SYSTem:VERSion?", lambda _: "1999.0")


def single_argument(arguments: list[str]) -> str:
    """The only argument; refuses none (-109) and more than one (-108)."""
    if len(arguments) != 1:
        raise CommandError(-108 if arguments else -109)
    return arguments[0]
