"""Campaigns as the page shows them: how far each is, and where each of its units stands."""

from __future__ import annotations

from typing import Any

from ohmwright.api.campaign_words import place_words, progress_words, reason_words, who_words
from ohmwright.api.campaign_work import CampaignDesk
from ohmwright.api.recorded_worklist import today
from ohmwright.fleet.campaign_state import UnitState
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.records.asset_register import AssetRegister
from ohmwright.records.campaigns import Campaigns, Worker
from ohmwright.records.qualified import qualified_run_ids
from ohmwright.records.sql_store import SqlStore

_NOBODY = Worker("", "")
"""Who looks at a page is not known to it."""


def campaign_lines(store: SqlStore) -> list[dict[str, Any]]:
    """Return each campaign with a line on how far it is, the newest first."""
    lines = []
    for one in reversed(Campaigns(store.database).all()):
        far = CampaignDesk(store, one.name, _NOBODY).progress()
        lines.append({"name": one.name, "told": progress_words(one, far), "left": far.left})
    return lines


def campaign_card(store: SqlStore, name: str) -> dict[str, Any]:
    """Return a campaign with its units, in the order of its plan. Raises UsageError."""
    desk = CampaignDesk(store, name, _NOBODY)
    states = list(desk.states_with_minutes().values())
    assets = {one.asset.tag: one.asset for one in AssetRegister(store.database).all()}
    marked = qualified_run_ids(store.database, [one.run_id for one in states if one.run_id])
    return {
        "name": name,
        "told": progress_words(desk.campaign, desk.progress()),
        "work": desk.campaign.work,
        "simulated": desk.campaign.simulated,
        "units": [
            _unit(one, assets[one.tag], away=desk.is_away) | marked.document(one.run_id)
            for one in states
        ],
    }


def _unit(state: UnitState, asset: RegisteredAsset, *, away: bool) -> dict[str, Any]:
    """Return where a unit stands; `is_free`: whether anybody may take it today."""
    return {
        "tag": state.tag,
        "model": asset.model,
        "serial": asset.serial,
        "site": asset.site,
        "state": asset.state,
        "verdict": state.verdict if state.phase == "done" else None,
        "where": place_words(state),
        "by": who_words(state),
        "why": reason_words(state),
        "run_id": state.run_id,
        "minutes": state.minutes,
        "is_left": state.is_left,
        "is_free": state.may_be_taken(_NOBODY, today(), away=away),
    }
