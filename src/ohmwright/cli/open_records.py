"""The records and keys of a command; what a person should know of them is printed."""

from __future__ import annotations

from functools import partial

from ohmwright.api import open_records as places
from ohmwright.reports.text import printable

from .console import print_notice

open_records = partial(places.open_records, notify=print_notice)
open_existing_records = partial(places.open_existing_records, notify=print_notice)
own_key = partial(places.own_key, notify=print_notice)
trusted_keys = partial(places.trusted_keys, notify=print_notice)
open_records_for_reading = partial(
    places.open_records_for_reading, notify=lambda words: print_notice(printable(words))
)
