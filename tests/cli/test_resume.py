"""`--resume` from the command line: what may go on with a run, and what is refused."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from ohmwright.api.open_records import open_existing_records, open_records, resolved_run_id
from ohmwright.api.run_view import watch_of
from ohmwright.cli import run_command
from ohmwright.model.event import ActivationOpened, RunResumed
from ohmwright.model.shipped import shipped

DEMO_BENCH = shipped("benches", "demo.toml")


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    path = tmp_path / "bench.toml"
    path.write_text(DEMO_BENCH.read_text(encoding="utf-8"), encoding="utf-8")
    return path


@pytest.fixture
def begun(
    ohmwright: Callable, procedure: Path, bench: Path, cut_short: Callable, tmp_path: Path
) -> Callable[..., str]:
    """Begin a run, and put a record in its place that ends after its first result."""

    def begin(command: str, *options: str) -> str:
        given = ("--bench", bench, "--records", tmp_path / "r", "--unattended", "--json")
        run = ohmwright(command, procedure, *given, *options).json["run"]
        cut_short(tmp_path / "r", run, "point_done")
        return str(run)

    return begin


@pytest.fixture
def resume(ohmwright: Callable, procedure: Path, bench: Path, tmp_path: Path) -> Callable:
    def resume(command: str, run: str, *options: str):
        given = ("--bench", bench, "--records", tmp_path / "r", "--unattended", "--json")
        return ohmwright(command, procedure, *given, "--resume", run, *options)

    return resume


@pytest.mark.parametrize(
    ("begin", "go_on", "words"),
    [
        (("calibrate",), ("verify",), "'ohmwright calibrate … --resume"),
        (("verify",), ("calibrate",), "'ohmwright verify … --resume"),
    ],
)
def test_only_the_command_that_began_a_run_goes_on_with_it(
    begun: Callable,
    resume: Callable,
    tmp_path: Path,
    begin: tuple[str, ...],
    go_on: tuple[str, ...],
    words: str,
) -> None:
    run = begun(*begin)
    refused = resume(go_on[0], run, *go_on[1:])
    told = " ".join(refused.err.split())
    assert (refused.code, "it is to go on with" in told, words in told) == (2, True, True)
    with open_existing_records(str(tmp_path / "r")) as store:
        assert not any(isinstance(event, RunResumed) for event in store.events(run))
    assert resume(begin[0], "last", *begin[1:]).code == 1


@pytest.mark.parametrize(
    ("was", "becomes", "words"),
    [
        ('id = "HF-017"', 'id = "HF-018"', "begun with asset 'HF-017'"),
        ('serial = "TQ3-20417"', 'serial = "TQ3-1"', "begun with serial number 'TQ3-20417'"),
        ('name = "Workshop bench 1"', 'name = "Workshop bench 7"', "begun with bench"),
    ],
)
def test_another_unit_or_bench_is_refused(
    begun: Callable, resume: Callable, bench: Path, was: str, becomes: str, words: str
) -> None:
    run = begun("verify")
    text = bench.read_text(encoding="utf-8")
    assert was in text
    bench.write_text(text.replace(was, becomes), encoding="utf-8")
    refused = resume("verify", run)
    assert (refused.code, words in refused.err) == (2, True)
    assert "Nothing was switched on" in refused.err


def test_a_bench_with_another_unit_is_named_before_what_it_cannot_do(
    begun: Callable, resume: Callable, bench: Path
) -> None:
    run = begun("verify")
    bench.write_text(shipped("benches", "attended.toml").read_text(encoding="utf-8"))
    refused = resume("verify", run)
    assert refused.code == 2
    assert "begun with bench 'Workshop bench 1'; now it is 'Workshop" in refused.err


def test_simulated_time_of_day_goes_on(begun: Callable, resume: Callable, tmp_path: Path) -> None:
    run = begun("verify")
    assert resume("verify", run).code == 1
    with open_existing_records(str(tmp_path / "r")) as store:
        at = [event.at for event in store.events(run)]
    assert at == sorted(at)


def test_another_command_set_is_refused(begun: Callable, resume: Callable, bench: Path) -> None:
    """The bench goes by files of its own: the same at first, another command set later."""
    data = shipped("analyzers", "gantry-400.toml").read_text(encoding="utf-8")
    from ohmwright.wire.command_set import SHIPPED

    commands = bench.parent / "own-commands.toml"
    commands.write_text((SHIPPED / "scpi-1999-analyzer.toml").read_text(encoding="utf-8"))
    own = bench.parent / "own-analyzer.toml"
    own.write_text(data.replace('"scpi-1999-analyzer"', '"own-commands.toml"'))
    text = bench.read_text(encoding="utf-8")
    bench.write_text(text.replace('data = "gantry-400"', 'data = "own-analyzer.toml"'))
    run = begun("verify")
    commands.write_text(commands.read_text() + "# another timeout\n")
    refused = resume("verify", run)
    assert refused.code == 2
    assert "begun with another text of: analyzer command set" in refused.err


def test_the_bar_begins_where_the_run_stands(
    begun: Callable, resume: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    run = begun("verify")
    seen = []

    def noted(job, **how):
        watch = watch_of(job, **how)
        picture = watch.picture(0.0)
        seen.append((picture.points_done, picture.points_total))
        return watch

    monkeypatch.setattr(run_command, "watch_of", noted)
    resume("verify", run)
    assert seen == [(1, 2)]


def test_totals_are_of_the_whole_run(begun: Callable, resume: Callable, tmp_path: Path) -> None:
    run = begun("verify")
    resume("verify", run)
    with open_existing_records(str(tmp_path / "r")) as store:
        events = store.events(resolved_run_id(store, run))
    opened = sum(isinstance(event, ActivationOpened) for event in events)
    assert opened >= 4  # two points, and before each part the proofs of an unattended run
    closed = [e.on_s for e in events if e.kind == "activation_closed"]
    finished = json.loads(events[-1].model_dump_json())
    assert finished["on_s"] >= round(sum(closed), 3)


def test_a_simulated_unit_keeps_the_trims_that_the_record_says_it_stored(
    ohmwright: Callable, bench: Path, tmp_path: Path
) -> None:
    procedure = tmp_path / "trim.toml"
    procedure.write_text(
        """\
title = "A trim and its proof"
revision = "1"
model = "Quillon 300"
[[step]]
kind = "adjust"
name = "adjust-current"
point = "cut current"
load_ohm = 100
current_ma = 900
tolerance = { absolute_ma = 9 }
max_on_s = 40
"""
        + SHOWN_AFTER
    )
    place = tmp_path / "r"
    given = ("--bench", bench, "--records", place, "--unattended", "--json")
    whole = ohmwright("calibrate", procedure, *given).json
    with open_records(str(place)) as store:
        events = store.events(whole["run"])
    for path in place.glob("records.sqlite*"):
        path.unlink()
    adjusted = next(n for n, event in enumerate(events) if getattr(event, "stage", "") == "as_left")
    with open_records(str(place)) as store:
        store.append_all(whole["run"], events[:adjusted])
    again = ohmwright("calibrate", procedure, *given, "--resume", whole["run"]).json

    def landed(document: dict) -> list[float]:
        return [
            one["measured"]["value"] for one in document["results"] if one["stage"] == "as_left"
        ]

    assert landed(again) == pytest.approx(landed(whole), rel=0.01)


SHOWN_AFTER = """\
[[step]]
kind = "output"
name = "cut"
mode = "cut"
setting_w = 310
load_ohm = 100
power_w = 81
tolerance = { percent = 2 }
"""
