"""What proves a line follows from its command set, and finds what it says that it finds."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from ohmwright.model.errors import LinkError, LinkTimeout
from ohmwright.model.source import load
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.command_set import CommandSet, load_command_set
from ohmwright.wire.dialogue import Dialogue, LinkState
from ohmwright.wire.line_proof import PROOFS, is_proved, proofs_of
from ohmwright.wire.link import Link

pytestmark = pytest.mark.anyio
FILES = Path(__file__).parents[1] / "emulators" / "files"


def commands(name: str) -> CommandSet:
    return load(FILES / f"{name}-commands.toml", CommandSet)


@pytest.mark.parametrize(
    ("name", "proofs", "proved"),
    [
        ("tamsin-40", ["checksum", "unlike questions", "identity"], True),
        ("brindle-7", ["echo", "checksum", "unlike questions", "identity"], True),
        ("sedge-s1", ["checksum", "silence", "identity"], True),
        ("osier-90", ["checksum", "unlike questions", "identity"], True),
        ("cotter-2", ["unlike questions", "identity"], False),
    ],
)
def test_the_proofs_of_a_command_set(name: str, proofs: list[str], proved: bool) -> None:
    assert [proof.name for proof in proofs_of(commands(name))] == proofs
    assert is_proved(commands(name)) is proved


def test_a_nonce_proves_the_plain_form() -> None:
    plain = load_command_set("scpi-1999-analyzer", Path("bench.toml"))
    assert next(proof.name for proof in proofs_of(plain)) == "nonce"
    assert is_proved(plain)


def test_every_proof_says_what_it_finds_and_what_it_cannot() -> None:
    for name, proof in PROOFS.items():
        assert proof.name == name
        assert proof.finds
        assert proof.misses
        assert not set(proof.finds) & set(proof.misses)


class Replies(Link):
    """A Cotter 2 that is off at 300 ohm; `change` may add, drop or hold back replies."""

    name = "cotter"

    def __init__(self, clock: VirtualClock) -> None:
        self.clock = clock
        self.change: Callable[[bytes], list[bytes]] = lambda reply: [reply]
        self._due: list[bytes] = []
        self.unasked = b""

    async def write(self, data: bytes) -> None:
        says = {b"W\n": b"Cotter 2\n", b"K\n": b"0\n", b"R\n": b"300\n", b"I\n": b"0.0\n"}
        self._due += self.change(says[data]) if data in says else []

    async def read(self, timeout_s: float) -> bytes:
        if self._due:
            return self._due.pop(0)
        self.clock.advance(timeout_s)
        raise LinkTimeout("nothing came")

    def waiting(self) -> bytes:
        data, self.unasked = self.unasked, b""
        return data

    async def aclose(self) -> None:
        """Nothing is open."""


@pytest.fixture
def line() -> Replies:
    return Replies(VirtualClock())


def dialogue(line: Replies) -> Dialogue:
    return Dialogue(line, commands("cotter-2"), line.clock)


async def test_replies_that_are_one_behind_are_found(line: Replies) -> None:
    held = [b"0\n"]

    def behind(reply: bytes) -> list[bytes]:
        held.append(reply)
        return [held.pop(0)]

    line.change = behind
    with pytest.raises(LinkError):
        await dialogue(line).resynchronise()


async def test_two_replies_that_nobody_asked_for_are_found(line: Replies) -> None:
    """They fit the two questions, so that only what comes after these shows the real ones."""
    late, real = [b"Cotter 2\n", b"0\n"], list[bytes]()

    def two_behind(reply: bytes) -> list[bytes]:
        if not late:
            return [reply]
        real.append(reply)
        return [late.pop(0)] if late[1:] else [late.pop(0), *real]

    line.change = two_behind
    talk = dialogue(line)
    assert await talk.ask_number("load") == 300
    sent = [data for _, way, data in talk.framing.trace if way == ">"]
    assert sent == [b"W\n", b"K\n", b"W\n", b"K\n", b"R\n"]


async def test_bytes_that_wait_unasked_make_a_line_suspect(line: Replies) -> None:
    talk = dialogue(line)
    assert await talk.ask_number("load") == 300
    assert (talk.state, talk.generation) == (LinkState.SYNCED, 1)
    line.unasked = b"500\n"
    assert await talk.ask_number("load") == 300
    assert talk.generation == 2
