"""A campaign in virtual time: power cuts, a swapped unit, a laptop; nothing lost, nothing twice.

python scripts/campaign.py [--units 50] [--cuts 2] [--laptop 2] [--folder FOLDER]

Each bench is a process of its own that works through the campaign by `ohmwright campaign work`, its
standard input being the scanner. A power cut is SIGKILL after the first result of a run. Prints one
line for each thing that must hold, and what was counted; ends with 1 where one does not hold.
"""

from __future__ import annotations

import argparse
import os
import signal
import sqlite3
import subprocess
import sys
from collections import Counter
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from tempfile import TemporaryDirectory

PROCEDURE = """\
title = "Quick check"
revision = "1"
model = "Quillon 300"

[defaults]
rest_s = 5
max_on_s = 18

[[step]]
kind = "value"
name = "protective-earth"
prompt = "Resistance from the mains plug's earth pin to the case?"
quantity = "earth_resistance_ohm"
at_most = 0.2

[[step]]
kind = "power_curve"
name = "cut"
mode = "cut"
setting_w = 310
loads_ohm = [500, 2000]
power_w = [305.6, 156.7]
tolerance = { percent = 10 }
"""
BENCH = """\
name = "{}"

[analyzer]
data = "gantry-400"
certificate = "gantry-400"
link = {{ kind = "simulated" }}

[generator]
data = "quillon-300"
link = {{ kind = "simulated" }}

[[generators]]
data = "marlow-150"

[simulation]
seed = 3
age_months = 12
"""
NAME = "spring"
SWAPPED_SEED = 900
MOST_KEYSTROKES = 15
_KEYS = {"done": 2, "yes": 2, "no": 2}
"""Keystrokes of an answer, with Enter; any other is typed whole."""
SCANNED, TYPED = 1, 5
"""Keystrokes of a serial number: scanned, or its last four characters with Enter."""


@dataclass
class World:
    """The folder of a campaign, and what the people in it did."""

    folder: Path
    units: int
    laptop_units: int = 2
    """How many units are measured on a laptop without a network."""
    scans: int = 0
    cut_runs: list[str] = field(default_factory=list)
    on_laptop: list[str] = field(default_factory=list)
    """Units that were measured there."""

    @property
    def records(self) -> Path:
        """The store of the workshop."""
        return self.folder / "records"

    def tag(self, number: int) -> str:
        """The tag of a unit, from 1."""
        return f"HF-{number:03d}"

    @property
    def swapped(self) -> str:
        """The unit in whose place another one is brought at first; it has a port."""
        return self.tag(self.units // 2 + (self.units // 2 % 5 == 0))

    def ohmwright(self, *arguments: str, records: Path | None = None) -> str:
        """What the command line printed."""
        where = ("--records", str(records or self.records))
        done = subprocess.run(
            [sys.executable, "-m", "ohmwright", *arguments, *where],
            capture_output=True,
            text=True,
            env=self.environment(),
            check=False,
        )
        if done.returncode not in (0, 4):  # 4: what is undecided, or not known to be good
            raise RuntimeError(f"{arguments}: {done.stderr}")
        return done.stdout

    def environment(self) -> dict[str, str]:
        """The environment of every program here: user folders of its own."""
        own = {f"XDG_{name}_HOME": str(self.folder / name.lower()) for name in ("DATA", "STATE")}
        own |= {"XDG_CONFIG_HOME": str(self.folder / "config"), "OHMWRIGHT_OPERATOR": "R. Oake"}
        own |= {"OHMWRIGHT_LOCKS": str(self.folder / "locks")}
        own |= {"PYTHONDONTWRITEBYTECODE": ""}  # compiled once for all programs
        if not os.access(__file__, os.W_OK):  # what is compiled cannot be put beside the sources
            own |= {"PYTHONPYCACHEPREFIX": str(self.folder / "compiled")}
        return {**os.environ, **own}

    def rows(self, query: str) -> list[tuple[str, ...]]:
        """Rows of the store, read past the program."""
        place = self.records / "records.sqlite"
        with closing(sqlite3.connect(place, timeout=30)) as connection:
            return connection.execute(query).fetchall()

    def unfinished(self) -> list[str]:
        """Runs in which something was measured and that are not finished."""
        return [
            run
            for (run,) in self.rows(
                "SELECT run_id FROM runs WHERE number IN (SELECT run FROM results) "
                "AND number NOT IN (SELECT run FROM ledger WHERE verdict IS NOT NULL)"
            )
        ]

    def done(self) -> int:
        """How many units the campaign has noted as done."""
        return len(self.rows("SELECT 1 FROM campaign_log WHERE what = 'done'"))


def prepare(world: World) -> None:
    """Write files, fill the register, begin the campaign."""
    world.folder.joinpath("quick.toml").write_text(PROCEDURE, encoding="utf-8")
    for name in ("Bench A", "Laptop"):
        path = world.folder / f"{name}.toml"
        path.write_text(BENCH.format(name), encoding="utf-8")
    rows = ["tag,maker,model,serial,site,procedure"]
    for number in range(1, world.units + 1):
        what = "Tessenhove,Quillon 300"
        procedure = "quick.toml"
        if number % 5 == 0:
            what, procedure = "Sorrelworks,Marlow 150", "attended-marlow"
        rows.append(f"{world.tag(number)},{what},S{number:06d},Theatre {number % 7},{procedure}")
    register = world.folder / "assets.csv"
    register.write_text("\n".join(rows) + "\n", encoding="utf-8")
    for records in (world.records, world.folder / "laptop"):
        world.ohmwright("asset", "import", str(register), records=records)
    world.ohmwright("campaign", "new", NAME, "--simulated", "--work", "verify")


def merge_laptop(world: World) -> None:
    """Measure units on a laptop, whose runs are then taken in."""
    laptop, bench = world.folder / "laptop", str(world.folder / "Laptop.toml")
    begun = {tag for (tag,) in world.rows("SELECT tag FROM campaign_log WHERE what <> 'planned'")}
    tags = map(world.tag, range(world.units, 0, -1))
    free = (tag for tag in tags if tag not in {*begun, world.swapped})
    world.on_laptop += islice(free, world.laptop_units)
    for tag in world.on_laptop:
        subprocess.run(
            [
                *(sys.executable, "-m", "ohmwright", "verify", "--bench", bench),
                *("--asset", tag, "--records", str(laptop)),
            ],
            capture_output=True,
            env=world.environment(),
            check=False,  # a unit that fails is measured, too
        )
    exported = world.folder / "laptop.jsonl"
    world.ohmwright("record", "export", str(exported), records=laptop)
    world.ohmwright("record", "import", str(exported))


def work(world: World, *, cut: bool) -> None:
    """Work through the campaign until it is done; with `cut`, until the power fails in a run."""
    before = {*world.unfinished()} if cut else set()
    with subprocess.Popen(
        [
            *(sys.executable, __file__, "--work"),
            *("--folder", str(world.folder), "--units", str(world.units)),
            *(["--power-fails"] if cut else []),
        ],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        env=world.environment(),
    ) as bench:
        _scan(world, bench)
        bench.communicate(timeout=120)
    if cut:
        world.cut_runs += {*world.unfinished()} - before


def _scan(world: World, bench: subprocess.Popen[str]) -> None:
    """Scan each unit that the bench asks for."""
    assert bench.stdin is not None
    assert bench.stdout is not None
    scanned = 0
    for line in bench.stdout:
        if not line.startswith("Next: "):
            continue
        if scanned == 3 * world.units:  # it turns in circles
            return
        tag = line.removeprefix("Next: ").partition(":")[0]
        bench.stdin.write(f"{tag}\n")  # a scanner ends with Enter
        bench.stdin.flush()
        world.scans, scanned = world.scans + 1, scanned + 1


def fail_in_a_run(world: World) -> None:
    """Let this program be killed by SIGKILL once a run has a result and another is done."""
    from ohmwright.model.event import Event
    from ohmwright.records.sql_store import SqlStore

    before, append_all = world.done(), SqlStore.append_all

    def append_and_fail(store: SqlStore, run_id: str, events: Sequence[Event]) -> None:
        append_all(store, run_id, events)
        if world.done() > before and run_id in world.unfinished():
            os.kill(os.getpid(), signal.SIGKILL)

    SqlStore.append_all = append_and_fail  # type: ignore


def work_as_bench(world: World) -> int:
    """Be the bench's program, in a world where hands may bring the wrong unit once."""
    from ohmwright.api import bench_generators, unit_on_bench
    from ohmwright.api.bench_data import BenchData
    from ohmwright.cli.main import main
    from ohmwright.model.registered_asset import RegisteredAsset

    put_on, brought = bench_generators.with_unit, world.folder / "brought"

    def with_unit(data: BenchData, unit: RegisteredAsset) -> BenchData:
        there = put_on(data, unit)
        if unit.tag != world.swapped or brought.exists():
            return there
        brought.touch()
        return there.with_seed(SWAPPED_SEED)

    unit_on_bench.with_unit = with_unit  # type: ignore
    bench = str(world.folder / "Bench A.toml")
    sys.argv = ["ohmwright", "campaign", "work", NAME, "--bench", bench]
    sys.argv += ["--records", str(world.records)]
    main()
    return 0


def keystrokes(world: World, plate: int) -> dict[str, int]:
    """What a person typed for each unit, its scan with it, by the questions on record.

    `plate`: keystrokes of a serial number; 1 where the plate is scanned.
    """
    from ohmwright.model.event import EVENTS, Asked, Fault

    typed: Counter[str] = Counter()
    query = "SELECT runs.asset, events.body FROM events JOIN runs ON runs.number = events.run"
    for tag, body in world.rows(query):
        event = EVENTS.validate_json(body)
        if isinstance(event, Asked):
            serial = "serial number" in event.question
            typed[tag] += plate if serial else _KEYS.get(event.answer, len(event.answer) + 1)
        elif isinstance(event, Fault):
            typed[tag] += 1  # it is scanned once more
    return {tag: 1 + typed[tag] for (tag,) in world.rows("SELECT DISTINCT asset FROM runs")}


def judge(world: World, cuts: int) -> int:
    """Print what must hold and whether it does; return 0 if all of it."""
    finished = Counter(
        tag
        for (tag,) in world.rows(
            "SELECT asset FROM runs JOIN ledger ON ledger.run = runs.number "
            "WHERE ledger.verdict IS NOT NULL"
        )
    )
    measured = world.rows("SELECT run, step, point, stage FROM results")
    refused = [tag for (tag,) in world.rows("SELECT tag FROM campaign_log WHERE what = 'refused'")]
    typed, by_hand = keystrokes(world, SCANNED), keystrokes(world, TYPED)
    runs = world.rows("SELECT asset, run_id FROM runs")
    cut = {tag for tag, run in runs if run in world.cut_runs}
    quick = {t: n for t, n in typed.items() if t not in {world.swapped, *cut, ""}}
    disturbed = [typed[tag] + (tag in cut) for tag in sorted({world.swapped, *cut})]  # scanned anew
    verified = world.ohmwright("record", "verify")
    resumed = {run for (run,) in world.rows("SELECT run_id FROM runs")} & {*world.cut_runs}
    lines = (
        ("units done", len(finished), world.units),
        ("units done twice", sum(n > 1 for n in finished.values()), 0),
        ("runs left unfinished", len(world.unfinished()), 0),
        ("points measured twice", len(measured) - len({*measured}), 0),
        ("power cuts in a run", len(world.cut_runs), cuts),
        ("runs cut and finished later", len(resumed - {*world.unfinished()}), cuts),
        ("swapped units caught", refused.count(world.swapped), 1),
        ("other units refused", len(refused) - refused.count(world.swapped), 0),
        (
            "units merged from a laptop",
            sum(finished[tag] for tag in world.on_laptop),
            world.laptop_units,
        ),
        ("records that do not verify", verified.count("Not whole"), 0),
    )
    bad = 0
    for what, found, wanted in lines:
        bad += found != wanted
        print(f"{what:32} {found:5}  must be {wanted:3}  {'' if found == wanted else 'NOT MET'}")
    most = max(quick.values())
    bad += most > MOST_KEYSTROKES
    mean = sum(quick.values()) / len(quick)
    print(f"{'keystrokes a unit, most':32} {most:5}  at most {MOST_KEYSTROKES:3}")
    print(f"{'keystrokes a unit, mean':32} {mean:5.1f}")
    print(f"{'the most, plates typed':32} {max(by_hand[tag] for tag in quick):5}")
    print(f"{'keystrokes where disturbed':32} {', '.join(map(str, disturbed)):>5}")
    print(world.ohmwright("campaign", "status", NAME).strip())
    print(verified.strip())
    return 1 if bad else 0


def run(world: World, cuts: int) -> int:
    """The whole campaign."""
    prepare(world)
    for _ in range(cuts):
        work(world, cut=True)
    merge_laptop(world)
    work(world, cut=False)
    return judge(world, cuts)


def main() -> int:
    """Parse the arguments and run, in a folder of its own where none is given."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--units", type=int, default=50)
    parser.add_argument("--cuts", type=int, default=2)
    parser.add_argument("--laptop", type=int, default=2, help="units measured on a laptop")
    parser.add_argument("--folder", type=Path)
    parser.add_argument("--work", action="store_true", help=argparse.SUPPRESS)
    parser.add_argument("--power-fails", action="store_true", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.work:
        world = World(given.folder, given.units)
        if given.power_fails:
            fail_in_a_run(world)
        return work_as_bench(world)
    if given.folder is not None:
        return run(World(given.folder, given.units, given.laptop), given.cuts)
    with TemporaryDirectory() as folder:
        return run(World(Path(folder), given.units, given.laptop), given.cuts)


if __name__ == "__main__":
    sys.exit(main())
