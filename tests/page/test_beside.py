"""The records of a run on the page: opened only where it can be signed."""

from pathlib import Path

import pytest

from ohmwright.api.paths import operator_key_file
from ohmwright.model.errors import RecordError
from ohmwright.page.beside import opened_records


@pytest.mark.anyio
async def test_a_run_that_nobody_could_sign_is_not_begun(tmp_path: Path) -> None:
    key = operator_key_file()
    key.parent.mkdir(parents=True)
    key.touch(0o600)
    key.write_text("no key")
    with pytest.raises(RecordError):
        async with opened_records(str(tmp_path / "records"), existing=False):
            pytest.fail("it was begun")
