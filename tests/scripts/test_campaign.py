"""A campaign of three units with a power cut, a swapped unit and a laptop loses nothing."""

from pathlib import Path

import pytest

from scripts import campaign


def test_a_campaign_survives_a_power_cut_a_swapped_unit_and_a_laptop(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ended = campaign.run(campaign.World(tmp_path, 3, laptop_units=1), cuts=1)
    told = capsys.readouterr().out
    assert ended == 0, told
    assert "spring (simulated): 3 of 3 done (3 pass); 0 left." in told
