"""When RF was last read as off is the time of the reading, not of the status that repeats it."""

from datetime import UTC, datetime, timedelta

from ohmwright.model.bench_status import BenchStatus
from ohmwright.page.off_reading import OffReading

NOW = datetime(2026, 11, 28, 12, 0, tzinfo=UTC)


def test_a_status_that_repeats_a_reading_is_no_new_one() -> None:
    seen = OffReading()
    seen.note(BenchStatus("going off", 10.0), NOW)
    assert seen.at is None
    seen.note(BenchStatus("off", 10.5, read_ago_s=0.5), NOW)
    read_at = NOW - timedelta(seconds=0.5)
    assert seen.at == read_at
    # a simulated bench may pass 100 s of its time in a second
    seen.note(BenchStatus("off", 110.5, read_ago_s=100.5), NOW + timedelta(seconds=1))
    assert seen.at == read_at
    seen.note(BenchStatus("off", 120.0), NOW + timedelta(seconds=2))
    assert seen.at == NOW + timedelta(seconds=2)
