"""A pytest plugin: procedures are run on simulated benches, and a test that leaves RF on fails.

The fixture `ohmwright_bench` is a `ProcedureBench`; the mark `ohmwright` chooses what it simulates:

    @pytest.mark.ohmwright(bench="bench.toml", seed=7)
    def test_cut(ohmwright_bench):
        assert ohmwright_bench.run("cut.toml").verdict == "pass"

Nothing but pytest is imported before a test asks for a bench.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import pytest

if TYPE_CHECKING:
    from ohmwright.testing.procedure_bench import ProcedureBench

_MARK = "ohmwright"
_KEYS = ("bench", "seed", "seeds", "age_months", "profile", "faults", "virtual_time")
_BENCH = pytest.StashKey["ProcedureBench"]()


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add `--ohmwright-seed`, and the setting `ohmwright_bench` of a pytest configuration."""
    group = parser.getgroup("ohmwright")
    group.addoption(
        "--ohmwright-seed",
        type=int,
        default=None,
        metavar="N",
        help="Run every simulated bench with this seed, as a failing test has told it.",
    )
    parser.addini(
        "ohmwright_bench", "Bench file of ohmwright_bench, relative to the root folder.", default=""
    )


def pytest_configure(config: pytest.Config) -> None:
    """Register the mark."""
    config.addinivalue_line(
        "markers",
        f"{_MARK}({', '.join(f'{key}=…' for key in _KEYS)}): what ohmwright_bench simulates: "
        "bench file, seed or a number of seeds, age of the unit, generator data file, "
        "faults of the lines, and whether time is virtual",
    )


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run a test once for each seed that `seeds` of its mark names; with the option, once by it."""
    if "ohmwright_seed" not in metafunc.fixturenames:
        return
    try:
        seeds = _choices(metafunc.definition).get("seeds")
        every: list[Any] = [] if seeds is None else _seeds_of(seeds)
    except pytest.fail.Exception as problem:  # raised here it would end the whole file
        every = [pytest.param(_Refused(str(problem)), id="refused")]
    else:
        replayed = metafunc.config.getoption("--ohmwright-seed")
        if every and replayed is not None:
            every = [replayed]  # one unit, however many the mark names
    if every:
        metafunc.parametrize("ohmwright_seed", every, indirect=True)


class _Refused(NamedTuple):
    """Why the seeds of a mark cannot be taken."""

    why: str


def _seeds_of(seeds: object) -> list[int]:
    """Return the seeds of a mark: 1 to a number of units, or its list; fail for anything else."""
    if isinstance(seeds, int) and seeds > 0:
        return list(range(1, seeds + 1))
    if isinstance(seeds, Sequence) and seeds and all(isinstance(seed, int) for seed in seeds):
        return list(seeds)
    pytest.fail(
        f"@pytest.mark.{_MARK}(seeds={seeds!r}): give how many units, or a list of their seeds",
        pytrace=False,
    )


@pytest.fixture
def ohmwright_seed(request: pytest.FixtureRequest) -> int | None:
    """The seed of the simulated bench: by option, else by mark; None is the bench file's own."""
    given: int | None = request.config.getoption("--ohmwright-seed")
    if given is not None:
        return given
    of_seeds: int | _Refused | None = getattr(request, "param", None)
    if isinstance(of_seeds, _Refused):
        pytest.fail(of_seeds.why, pytrace=False)
    return _choices(request.node).get("seed") if of_seeds is None else of_seeds


@pytest.fixture
def ohmwright_bench(
    request: pytest.FixtureRequest, ohmwright_seed: int | None, tmp_path: Path
) -> Iterator[ProcedureBench]:
    """A simulated bench; after the test, RF must be off, in the simulated unit and as read back."""
    bench = _opened(request, ohmwright_seed, tmp_path)
    request.node.stash[_BENCH] = bench
    yield bench
    still_on = bench.what_shows_rf()
    if still_on:
        pytest.fail(f"RF is on after the test: {still_on}.", pytrace=False)


def _opened(request: pytest.FixtureRequest, seed: int | None, keep_in: Path) -> ProcedureBench:
    """Return the bench that a test's marks describe; fail the test where it cannot be opened."""
    from ohmwright.model.errors import OhmwrightError
    from ohmwright.model.source import refused_by_name
    from ohmwright.testing.mark import Mark
    from ohmwright.testing.procedure_bench import ProcedureBench

    chosen = _choices(request.node)
    _refuse_unknown(request.node, chosen)
    chosen.pop("seeds", None)
    chosen.setdefault("bench", request.config.getini("ohmwright_bench") or None)
    chosen["seed"] = seed
    folder, root = request.node.path.parent, request.config.rootpath
    try:
        with refused_by_name("the mark", Mark):
            mark = Mark(**chosen)
        return ProcedureBench.opened(folder, root, keep_in, mark)
    except OhmwrightError as error:
        problem = error  # failed below: here the report would show both errors
    pytest.fail(f"ohmwright_bench cannot be opened: {problem}", pytrace=False)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Any:
    """Add to a failing test's report where the record of its runs is, and how to replay it."""
    report = yield
    bench = item.stash.get(_BENCH, None)
    if report.failed and bench is not None and report.when in ("call", "teardown"):
        report.sections.append(("ohmwright", bench.report(_as_typed(item))))
    return report


def _as_typed(item: pytest.Item) -> str:
    """Return what names a test on the command line in the folder where pytest was started."""
    _, inside, name = item.nodeid.partition("::")
    return os.path.relpath(item.path, item.config.invocation_params.dir) + inside + name


def _choices(node: pytest.Item) -> dict[str, Any]:
    """Return what the marks of a test choose; the one that is closest to the test counts.

    `seed` and `seeds` choose the same thing, so that either of a closer mark replaces both.
    """
    chosen: dict[str, Any] = {}
    for mark in node.iter_markers(_MARK):
        if {"seed", "seeds"} <= mark.kwargs.keys():
            pytest.fail(f"@pytest.mark.{_MARK} has seed and seeds: keep one", pytrace=False)
        units_are_chosen = not chosen.keys().isdisjoint(("seed", "seeds"))
        for key, value in mark.kwargs.items():
            if not (units_are_chosen and key in ("seed", "seeds")):
                chosen.setdefault(key, value)
    return chosen


def _refuse_unknown(node: pytest.Item, chosen: dict[str, Any]) -> None:
    """Fail the test where its marks have what nothing takes: a keyword, or a value without one."""
    nameless = [value for mark in node.iter_markers(_MARK) for value in mark.args]
    if nameless:
        said = f"@pytest.mark.{_MARK}({nameless[0]!r}): name what you choose, as in seed=7"
        pytest.fail(said, pytrace=False)
    unknown = next((key for key in chosen if key not in _KEYS), None)
    if unknown is not None:
        known = ", ".join(_KEYS)
        pytest.fail(f"@pytest.mark.{_MARK} knows no '{unknown}'; it takes {known}", pytrace=False)
