"""Campaigns on SQLite and PostgreSQL: two benches at once, and a log that only grows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from threading import Barrier, Thread

import pytest

from ohmwright.model.errors import UsageError
from ohmwright.records.campaigns import CampaignEntry, Campaigns, Worker
from ohmwright.records.sql_store import SqlStore

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


def test_names_are_unique_and_units_of_the_campaign(store: SqlStore) -> None:
    campaigns = Campaigns(store.database)
    campaigns.new("c", ["a"], "Áda", "verify", simulated=False)
    with pytest.raises(UsageError, match="already"):
        campaigns.new("c", ["a"], "Áda", "verify", simulated=False)
    with pytest.raises(UsageError, match="no campaign 'd'"):
        campaigns.get("d")
    with pytest.raises(UsageError, match="not in the campaign"):
        campaigns.note("c", "b", Worker("Áda", "b"), "skipped", words="gone")
