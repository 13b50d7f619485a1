"""Files put wrong in every way a keyboard, an editor or a disk can: each is told of.

`lint` reads all that a run would read, so it meets each wrong file; of those that it accepts,
every tenth bench is opened, by `doctor`.
"""

from __future__ import annotations

import re
import signal
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any

from ohmwright.api.bench_data import BenchChoice
from ohmwright.cli.doctor_command import run_doctor
from ohmwright.cli.lint_command import run_lint
from ohmwright.model.errors import OhmwrightError
from ohmwright.model.shipped import shipped
from ohmwright.wire.command_set import SHIPPED

from .row import Row
from .tally import Tally

TRIALS, REDUCED = 10_000, 30
_SLOW_S, _HANGS_S = 5.0, 20.0
_DOCTOR_EVERY = 10
_KINDS = {
    "procedure": "procedure.toml",
    "bench": "bench.toml",
    "analyzer": "analyzer.toml",
    "generator": "generator.toml",
    "certificate": "certificate.toml",
    "analyzer-commands": "analyzer-commands.toml",
    "generator-commands": "generator-commands.toml",
}


@dataclass(frozen=True)
class Trial:
    """One wrong file; the same every time."""

    kind: str
    seed: int
    number: int

    def wrong(self, sound: bytes) -> bytes:
        """The file's bytes."""
        random = Random(f"{self.kind}/{self.seed}/{self.number}")
        for _ in range(random.choice((1, 1, 1, 2, 4))):
            sound = random.choice(_CHANGES)(sound, random)
        return sound


def rows(seed: int, reduced: bool) -> Iterator[Row]:
    """One row a kind of file."""
    with TemporaryDirectory() as folder:
        bench = _Bench(Path(folder))
        for kind in _KINDS:
            tally = Tally(
                f"wrong file: {kind}", f"python scripts/faults --replay files/{kind}/{seed}"
            )
            for number in range(REDUCED if reduced else TRIALS):
                tally.take(bench.outcome(Trial(kind, seed, number)))
            yield tally.row()


def replay(trial: Trial) -> dict[str, Any]:
    """What comes of one trial, and the wrong file."""
    with TemporaryDirectory() as folder:
        bench = _Bench(Path(folder))
        outcome = bench.outcome(trial)
        return {**outcome, "file": trial.wrong(bench.sound(trial.kind)).decode(errors="replace")}


class _Bench:
    """A whole simulated bench as files in one folder."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._sound = {kind: text.encode() for kind, text in _sound_files().items()}
        for kind in _KINDS:
            self._write(kind, self._sound[kind])

    def sound(self, kind: str) -> bytes:
        return self._sound[kind]

    def outcome(self, trial: Trial) -> dict[str, Any]:
        """How `lint`, and now and then `doctor`, take a wrong file; `undetected` is a crash."""
        self._write(trial.kind, trial.wrong(self._sound[trial.kind]))
        begun_s = time.monotonic()
        outcome: dict[str, Any] = {"fault": trial.number}
        try:
            with _bounded(), redirect_stdout(StringIO()), redirect_stderr(StringIO()):
                self._read(trial.number)
            outcome["error"] = "accepted"
        except OhmwrightError as error:
            outcome["error"] = "refused"
            if not str(error):
                outcome |= {"undetected": True, "how": "refused without a word"}
        except TimeoutError:
            outcome |= {"hang": True, "how": "does not end"}
        except Exception as crash:
            outcome |= {"undetected": True, "how": f"{type(crash).__name__}: {crash}"[:200]}
        finally:
            self._write(trial.kind, self._sound[trial.kind])
        took_s = time.monotonic() - begun_s
        if took_s > _SLOW_S:
            outcome |= {"hang": True, "how": f"took {took_s:.1f} s"}
        return outcome

    def _read(self, number: int) -> None:
        bench = self._folder / "bench.toml"
        run_lint(
            self._folder / "procedure.toml",
            bench,
            unattended=False,
            accept_expired=False,
            as_json=False,
        )
        if number % _DOCTOR_EVERY == 0:
            run_doctor(BenchChoice(bench), with_rf=True, conformance=False, as_json=True)

    def _write(self, kind: str, text: bytes) -> None:
        (self._folder / _KINDS[kind]).write_bytes(text)


@contextmanager
def _bounded() -> Iterator[None]:
    def too_long(*_: object) -> None:
        raise TimeoutError

    before = signal.signal(signal.SIGALRM, too_long)
    signal.setitimer(signal.ITIMER_REAL, _HANGS_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def _sound_files() -> dict[str, str]:
    def text(path: Path) -> str:
        return path.read_text(encoding="utf-8")

    found = {
        "procedure": text(Path(__file__).parent / "short.toml"),
        "certificate": text(shipped("analyzers", "gantry-400", "certificate.toml")),
        "bench": text(shipped("benches", "demo.toml")).replace(
            'certificate = "gantry-400"', 'certificate = "certificate.toml"'
        ),
    }
    for kind, name in (("analyzer", "gantry-400"), ("generator", "quillon-300")):
        own = text(shipped(f"{kind}s", f"{name}.toml"))
        found[kind] = own.replace(f'"scpi-1999-{kind}"', f'"{kind}-commands.toml"')
        found[f"{kind}-commands"] = text(SHIPPED / f"scpi-1999-{kind}.toml")
        found["bench"] = found["bench"].replace(f'data = "{name}"', f'data = "{kind}.toml"')
    return found


# What can be wrong: each takes the bytes of a file and gives others.

Change = Callable[[bytes, Random], bytes]
_VALUES = (
    *("0", "-1", "1e400", "-0.0", "nan", "-inf", "1e-320", "9" * 18, "9" * 300, "9" * 5000),
    *("0x" + "f" * 300, "0b1", "1_000", "true", '""', "[]", "{}", "[[]]", "[1, 'a', {}]", "[nan]"),
    *("1979-05-27", "1979-05-27T07:32:00Z", "07:32:00", "9999-12-31", "0001-01-01"),
    *('"{}"', '"{0}"', '"{limit_s.__class__}"', '"%s"', '"[/red]"', '"../../etc/passwd"', '"/"'),
    *('"\\u0000"', '"\\u202e"', '"\\u001b[2J"', '"\\ud7ff"', '"Ω ± 電"', "'''\n\n'''", '"."'),
    *('"' + "a" * 300 + '"', '"' + "a b " * 9000 + '"', "[" * 15 + "]" * 15, "[" * 900 + "]" * 900),
    *("{ a = " * 15 + "1" + "}" * 15, "[" + "1," * 40_000 + "]", '["a",' + '"b",' * 9000 + "]"),
)
_ODD = (
    "\ufeff",
    "\x00",
    "\x1b",
    "\u202e",
    "é",
    "\u0301",
    "\U0001f525",
    "\r",
    "\t",
    "\x7f",
    '"',
    "'",
)
_NUMBER = re.compile(rb"(?<![\w\".])[-+]?\d+(\.\d+)?(?![\w\".])")
_VALUE = re.compile(rb"(?m)(?<== ).+$")
_KEY = re.compile(rb"(?m)^[\w]+(?= =)")


def _at(text: bytes, random: Random) -> int:
    return random.randrange(len(text) + 1)


def _flip(text: bytes, random: Random) -> bytes:
    place = _at(text, random)
    return text[:place] + bytes([random.randrange(256)]) + text[place + 1 :]


def _cut(text: bytes, random: Random) -> bytes:
    first, last = sorted((_at(text, random), _at(text, random)))
    return text[:first] + text[last:]


def _end(text: bytes, random: Random) -> bytes:
    return text[: _at(text, random)]


def _odd(text: bytes, random: Random) -> bytes:
    place = _at(text, random)
    return text[:place] + random.choice(_ODD).encode() + text[place:]


def _lines(text: bytes, random: Random) -> bytes:
    lines = text.split(b"\n")
    one, other = random.randrange(len(lines)), random.randrange(len(lines))
    match random.choice(("drop", "twice", "swap", "indent", "join")):
        case "drop":
            del lines[one]
        case "twice":
            lines.insert(other, lines[one])
        case "swap":
            lines[one], lines[other] = lines[other], lines[one]
        case "indent":
            lines[one] = random.choice((b" ", b"\t", b"[", b"#", b"= ")) + lines[one]
        case _:
            lines[one : one + 2] = [b" ".join(lines[one : one + 2])]
    return b"\n".join(lines)


def _one(pattern: re.Pattern[bytes], new: Callable[[bytes, Random], bytes]) -> Change:
    """Another in the place of one match."""

    def change(text: bytes, random: Random) -> bytes:
        found = list(pattern.finditer(text))
        if not found:
            return text
        match = random.choice(found)
        return text[: match.start()] + new(match[0], random) + text[match.end() :]

    return change


def _other_value(_: bytes, random: Random) -> bytes:
    return random.choice(_VALUES).encode()


def _other_number(number: bytes, random: Random) -> bytes:
    return random.choice(
        (b"-" + number, b"0", number + b"e9", number + b"e-9", number + b"e300", b"0.1", b"1e12")
    )


def _nested(value: bytes, random: Random) -> bytes:
    depth = random.choice((1, 2, 12, 25, 400))
    before, after = random.choice(((b"[", b"]"), (b"{ a = ", b" }"), (b'"', b'"')))
    return depth * before + value + depth * after


def _other_key(key: bytes, random: Random) -> bytes:
    return random.choice(
        (key[:-1], key + b"s", b"x", key + b".a", b"a." * 300 + key, b'"' + key + b' "', b"k" * 500)
    )


def _again(text: bytes, random: Random) -> bytes:
    """A part of it over and over, to a megabyte now and then."""
    first, last = sorted((_at(text, random), _at(text, random)))
    size = random.choice((1_000, 1_000, 1_000, 20_000, 240_000, 1_000_000))
    part = text[first:last] or b" "
    return text[:last] + part * (size // len(part)) + text[last:]


_CHANGES: tuple[Change, ...] = (
    *(_flip, _cut, _end, _odd, _lines, _lines, _again),
    *(_one(_VALUE, _other_value), _one(_VALUE, _other_value), _one(_VALUE, _nested)),
    *(_one(_NUMBER, _other_number), _one(_NUMBER, _other_number), _one(_KEY, _other_key)),
)
