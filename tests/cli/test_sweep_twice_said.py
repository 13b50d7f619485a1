"""Options of `sweep` that would be dropped without a word are refused."""

import pytest

from ohmwright.model.shipped import shipped

SWEEP = ("sweep", "--bench", str(shipped("benches", "demo.toml")), "--mode", "cut")


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--settings", "150", "--loads", ""), "--loads : these are no numbers"),
        (("--settings", "150", "--mode", "cut=200"), "--mode cut is given twice"),
        (("--settings", "150", "--band", "20"), "--band draws limits"),
        (("--settings", "150", "--csv", "a.csv", "--parquet", "a.csv"), "name one file"),
    ],
)
def test_it_is_refused(ohmwright, tmp_path, monkeypatch, options, said):
    monkeypatch.chdir(tmp_path)
    outcome = ohmwright(*SWEEP, *options)
    assert outcome.code == 2
    assert said in outcome.err
    assert list(tmp_path.glob("a.csv")) == []


def test_settings_that_no_mode_takes_are_refused(ohmwright):
    outcome = ohmwright(*SWEEP[:-1], "cut=150", "--settings", "100")
    assert outcome.code == 2
    assert "every mode has settings of its own" in outcome.err
