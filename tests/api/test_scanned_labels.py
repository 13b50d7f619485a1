"""Which unit a scanned label means, by all of its lines or by what a scanner left of them."""

from pathlib import Path

import pytest

from ohmwright.api.assets import tag_of_scan
from ohmwright.api.open_records import open_records
from ohmwright.model.errors import UsageError
from tests.records.some_events import whole_run

RUN = "20260302T093000Z-HF-7-aaaa"


@pytest.mark.parametrize(
    "said",
    [
        f"ohmwright\npass\nrun {RUN}\nasset HF-7\n",
        f"ohmwright\npass\nrun {RUN}\nhead 12ab\nSIMULATED",  # of an older label
        f"run {RUN}",  # as the page takes it from an older label
        " HF-7 \n",
    ],
)
def test_a_label_means_the_unit_of_its_run(tmp_path: Path, said: str) -> None:
    with open_records(str(tmp_path)) as store:
        store.append_all(RUN, whole_run(RUN, "HF-7"))
        assert tag_of_scan(store, said) == "HF-7"


@pytest.mark.parametrize("said", ["run 1", "ohmwright\npass\nrun 1"])
def test_a_label_of_a_run_that_is_not_on_record_is_refused(tmp_path: Path, said: str) -> None:
    with open_records(str(tmp_path)) as store, pytest.raises(UsageError):
        tag_of_scan(store, said)
