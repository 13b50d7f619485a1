"""Campaigns on SQLite and PostgreSQL: two benches at once, and a log that only grows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from threading import Barrier, Thread

import pytest

from ohmwright.model.errors import UsageError
from ohmwright.model.event import Event
from ohmwright.records.campaigns import CampaignEntry, CampaignNote, Campaigns, Worker
from ohmwright.records.last_runs import decisive_runs, is_begun, verdicts_of
from ohmwright.records.sql_store import SqlStore

from .some_events import finished, point, started

TAGS = [f"HF-{number}" for number in range(12)]


def first_free(entries: Sequence[CampaignEntry]) -> str | None:
    last = {one.tag: one.what for one in entries}
    return next((tag for tag, what in last.items() if what == "planned"), None)


def test_two_benches_never_get_the_same_unit(place: str, opened: Callable[..., SqlStore]) -> None:
    stores = [opened(place, computer) for computer in ("here", "there")]
    Campaigns(stores[0].database).new("c", TAGS, "Áda", "verify", simulated=True)
    together, taken = Barrier(2), dict[str, list[str]]()

    def work(store: SqlStore, bench: str) -> None:
        campaigns, got = Campaigns(store.database), list[str]()
        together.wait()
        while (tag := campaigns.take("c", Worker("Áda", bench), first_free)) is not None:
            got.append(tag)
        taken[bench] = got

    threads = [Thread(target=work, args=(s, f"bench {n}")) for n, s in enumerate(stores)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=120)
    assert sorted([*taken["bench 0"], *taken["bench 1"]]) == sorted(TAGS)
    entries = Campaigns(stores[0].database).entries("c")
    assert [one.number for one in entries] == list(range(1, 25))


def test_what_is_held_already_is_not_noted_again(store: SqlStore) -> None:
    campaigns = Campaigns(store.database)
    campaigns.new("c", ["a"], "Áda", "verify", simulated=False)
    for _ in range(2):
        assert campaigns.take("c", Worker("Áda", "b"), lambda _: "a") == "a"
    assert [one.what for one in campaigns.entries("c")] == ["planned", "taken"]


def test_a_unit_goes_by_its_newest_run_that_decided_it(store: SqlStore) -> None:
    def keep(run_id: str, asset: str, *rest: Event, seed: int | None = None) -> None:
        store.append_all(run_id, (started(run_id, asset, seed), *rest))

    keep("1", "a", point(), finished("pass"))
    keep("2", "a", finished("undecided"))
    keep("3", "b", finished("pass"))
    keep("4", "b", finished("fail"))
    keep("5", "c", point())
    keep("6", "a", finished("fail"), seed=3)
    found = decisive_runs(store.database, simulated=False)
    assert {tag: (run.run_id, run.verdict) for tag, run in found.items()} == {
        "a": ("1", "pass"),
        "b": ("4", "fail"),
    }
    assert [run.run_id for run in decisive_runs(store.database, simulated=True).values()] == ["6"]
    ids = ["1", "2", "5", "9"]
    assert verdicts_of(store.database, ids) == {"1": "pass", "2": "undecided", "5": None}
    assert [is_begun(store.database, run_id) for run_id in ids] == [True, True, True, False]


def test_names_are_unique_and_units_of_the_campaign(store: SqlStore) -> None:
    campaigns = Campaigns(store.database)
    campaigns.new("c", ["a"], "Áda", "verify", simulated=False)
    with pytest.raises(UsageError, match="already"):
        campaigns.new("c", ["a"], "Áda", "verify", simulated=False)
    with pytest.raises(UsageError, match="no campaign 'd'"):
        campaigns.get("d")
    with pytest.raises(UsageError, match="not in the campaign"):
        campaigns.note("c", Worker("Áda", "b"), CampaignNote("b", "skipped", "gone"))
