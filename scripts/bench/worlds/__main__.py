"""Adjusting and verifying on foreign worlds, each figure beside its bar.

    python -m scripts.bench.worlds --units 1000 --seed 1 [--only WORLD] [--jobs N]

Prints a table and one JSON line.
"""

from __future__ import annotations

import argparse
import json
import os
from concurrent.futures import ProcessPoolExecutor
from functools import partial

for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

from rich.console import Console  # noqa: E402
from rich.progress import Progress  # noqa: E402

from scripts.bench import rows  # noqa: E402
from scripts.bench.worlds.catalogue import WORLDS  # noqa: E402
from scripts.bench.worlds.drawn import draw  # noqa: E402
from scripts.bench.worlds.driving import Adjusted, Verified, adjust, verify  # noqa: E402
from scripts.bench.worlds.figures_of_world import Seen, figures_of, figures_of_all  # noqa: E402
from scripts.bench.worlds.oracle import oracle_s  # noqa: E402
from scripts.bench.worlds.table import by_world, together  # noqa: E402
from scripts.bench.worlds.world import World  # noqa: E402

_CHUNK = 10
_WIDTH = 180


def one_unit(world: World, seed: int, index: int) -> tuple[Adjusted, Verified, float]:
    """Unit `index` adjusted, verified, and the oracle's time for it."""
    unit, _ = draw(world, seed, index)
    return adjust(world, seed, index), verify(world, seed, index), oracle_s(unit)


def main() -> None:
    """Run what the command line asks for."""
    options = _options()
    wanted = [w for w in WORLDS if options.only is None or options.only in w.name]
    if not wanted:
        raise SystemExit(f"no world is called {options.only!r}: {[w.name for w in WORLDS]}")
    worlds = []
    console = Console(stderr=True)
    with ProcessPoolExecutor(options.jobs) as pool, Progress(console=console) as bar:
        for world in wanted:
            units, work = range(options.units), partial(one_unit, world, options.seed)
            task = pool.map(work, units, chunksize=_CHUNK)
            done = [*bar.track(task, total=options.units, description=world.name)]
            adjusted, verified, oracle = zip(*done, strict=True)
            worlds.append(Seen(world, adjusted, verified, oracle))
    each = [row for seen in worlds for row in figures_of(seen)]
    every = figures_of_all(worlds)
    said = Console(width=_WIDTH)
    said.print(by_world(each, f"Foreign worlds, {options.units} units each, seed {options.seed}"))
    said.print(together(every))
    about = {"bench": "worlds", "seed": options.seed, "units": options.units}
    print(json.dumps(about | rows.as_json([*each, *every])))


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--units", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", help="worlds whose name contains this")
    parser.add_argument("--jobs", type=int, default=os.cpu_count())
    options: argparse.Namespace = parser.parse_args()
    return options


if __name__ == "__main__":
    main()
