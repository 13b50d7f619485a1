"""The verbs of command sets: what can be asked and told, and the fields that each has."""

from __future__ import annotations

from typing import Literal, get_args

Ask = Literal[
    "identify",
    "error",
    "resynchronise",
    "load",
    "path",
    "contact",
    "state",
    "ceiling",
    "remaining",
    "fetch_current",
    "fetch_leakage",
    "fetch_crest_factor",
    "fetch_waveform",
    "waveform_scale",
    "mode",
    "power",
    "service",
    "point",
    "trim",
    "stored",
    "contact_alarm",
]
Tell = Literal[
    "set_load",
    "set_path",
    "set_contact",
    "set_ceiling",
    "arm",
    "on",
    "off",
    "select_mode",
    "set_power",
    "service_on",
    "service_off",
    "set_point",
    "set_trim",
    "press_key",
    "store",
]
Verb = Ask | Tell
QUESTIONS: tuple[Ask, ...] = get_args(Ask)

SENT_FIELDS: dict[str, frozenset[str]] = {
    "resynchronise": frozenset({"nonce"}),
    "set_load": frozenset({"load_ohm"}),
    "set_path": frozenset({"path"}),
    "set_contact": frozenset({"contact_ohm"}),
    "set_ceiling": frozenset({"limit_s"}),
    "arm": frozenset({"limit_s"}),
    "on": frozenset({"limit_s"}),
    "select_mode": frozenset({"mode"}),
    "set_power": frozenset({"setting_w"}),
    "set_point": frozenset({"point"}),
    "set_trim": frozenset({"counts"}),
    "press_key": frozenset({"key", "direction", "presses"}),
}
"""The fields that the message of each verb must have; `arm` and `on` may do without."""
ASKED_FIELD: dict[Ask, str] = {
    "identify": "identity",
    "error": "code",
    "resynchronise": "nonce",
    "load": "load_ohm",
    "path": "path",
    "contact": "contact_ohm",
    "state": "state",
    "ceiling": "limit_s",
    "remaining": "left_s",
    "fetch_current": "current_ma",
    "fetch_leakage": "current_ma",
    "fetch_crest_factor": "ratio",
    "waveform_scale": "amps_per_count",
    "mode": "mode",
    "power": "setting_w",
    "service": "service",
    "point": "point",
    "trim": "counts",
    "stored": "counts",
    "contact_alarm": "alarm",
}
"""The field for which each question is asked; a waveform is a block and has none."""
READINGS: tuple[Ask, ...] = ("fetch_current", "fetch_leakage", "fetch_crest_factor")
BLOCK: Ask = "fetch_waveform"

PLAIN_REPLIES: dict[Ask, tuple[str, ...]] = {
    "identify": ("{identity}",),
    "error": ("{code:d},{text}", "{code:d}"),
    "resynchronise": ("{nonce:d}",),
    "load": ("{load_ohm}",),
    "path": ("{path}",),
    "contact": ("{contact_ohm}",),
    "state": ("{state}",),
    "ceiling": ("{limit_s}",),
    "remaining": ("{left_s}",),
    "waveform_scale": ("{amps_per_count},{interval_s}",),
    "mode": ("{mode}",),
    "power": ("{setting_w}",),
    "service": ("{service}",),
    "point": ("{point}",),
    "trim": ("{counts:.0f}",),
    "stored": ("{counts:.0f}",),
    "contact_alarm": ("{alarm}",),
}
"""The replies where a command set does not say their form: the bare value, in our own unit."""
