"""An asynchronous query over a pseudo-terminal against pyserial's own blocking `read(n)`.

The query takes the lock, sends, waits with a time-out, parses and keeps a trace; the reference
writes the same bytes and reads as many as the reply has. All three talk to one
echoing process, in turn.

    python scripts/bench/link.py [--queries 3000] [--rounds 5]
"""

import argparse
import asyncio
import json
import os
import subprocess
import sys
import time
import tty
from contextlib import aclosing
from pathlib import Path
from statistics import median

from serial import Serial

from ohmwright.wire.clock import RealClock
from ohmwright.wire.command_set import load_command_set
from ohmwright.wire.dialogue import Dialogue
from ohmwright.wire.guard.opening import open_guarded_serial
from ohmwright.wire.link import Link
from ohmwright.wire.links.serial import open_serial

COMMANDS = load_command_set("scpi-1999-analyzer", Path("bench.toml"))
QUERY, REPLY = b"FETCh:CURRent?\n", b"+7.01234E-01,A,01234\n"
INSTRUMENT = """
import os, sys
master = int(sys.argv[1])
while True:
    for line in os.read(master, 4096).splitlines():
        if line.startswith(b"*CLS"):
            os.write(master, line.split()[1].split(b";")[0] + b"\\n")
        elif line.startswith(b"FETC"):
            os.write(master, b"+7.01234E-01,A,01234\\n")
"""


def by_pyserial(device: str, queries: int) -> float:
    """Median seconds of a query."""
    times = []
    with Serial(device, 115200, timeout=1.0) as port:
        for _ in range(queries):
            start = time.perf_counter()
            port.write(QUERY)
            reply = port.read(len(REPLY))
            times.append(time.perf_counter() - start)
            assert reply == REPLY
    return median(times)


async def by_dialogue(link: Link, queries: int) -> float:
    """Median seconds of a query."""
    times = []
    async with aclosing(link):
        dialogue = Dialogue(link, COMMANDS, RealClock())
        await dialogue.ask_reading("fetch_current")
        for _ in range(queries):
            start = time.perf_counter()
            await dialogue.ask_reading("fetch_current")
            times.append(time.perf_counter() - start)
    return median(times)


async def direct(device: str, queries: int) -> float:
    return await by_dialogue(await open_serial(device), queries)


async def guarded(device: str, queries: int) -> float:
    link = await open_guarded_serial(device, baud=115200, commands=COMMANDS)
    return await by_dialogue(link, queries)


def rounds_of(device: str, queries: int, rounds: int) -> list[tuple[float, float, float]]:
    return [
        (
            by_pyserial(device, queries),
            asyncio.run(direct(device, queries)),
            asyncio.run(guarded(device, queries)),
        )
        for _ in range(rounds)
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--queries", type=int, default=3000)
    parser.add_argument("--rounds", type=int, default=5)
    options = parser.parse_args()
    master, slave = os.openpty()
    tty.setraw(slave)
    command = [sys.executable, "-c", INSTRUMENT, str(master)]
    instrument = subprocess.Popen(command, pass_fds=(master,))
    try:
        found = rounds_of(os.ttyname(slave), options.queries, options.rounds)
    finally:
        instrument.kill()
        instrument.wait()
    reference, ours, through = (median(column) for column in zip(*found, strict=True))
    ratios = [median(row[n] / row[0] for row in found) for n in (1, 2)]
    print(f"{'one query, median':30} {'us':>8} {'ratio':>6} {'bar':>5}")
    print(f"{'pyserial read(n)':30} {1e6 * reference:8.1f} {1:6.2f}")
    print(f"{'dialogue, direct':30} {1e6 * ours:8.1f} {ratios[0]:6.2f} {1.1:5}")
    print(f"{'dialogue, through the guard':30} {1e6 * through:8.1f} {ratios[1]:6.2f} {1.8:5}")
    said = {"direct": ratios[0], "guarded": ratios[1], "pyserial_us": 1e6 * reference}
    print(json.dumps(said))


if __name__ == "__main__":
    main()
