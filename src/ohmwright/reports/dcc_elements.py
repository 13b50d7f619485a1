"""Elements of a digital calibration certificate: names, texts, quantities in D-SI units."""

from __future__ import annotations

import re
from typing import Any

from lxml import etree

from ohmwright.model.result import Measured, Verdict

from .text import printable

DCC, SI = "https://ptb.de/dcc", "https://ptb.de/si"
Element = Any
"""An lxml element, for which lxml ships no types."""


def add(parent: Element, name: str, text: str | None = None, **attributes: str) -> Element:
    """Add a child element in the DCC's namespace, and return it."""
    child = etree.SubElement(parent, f"{{{DCC}}}{name}", **attributes)
    if text is not None:
        child.text = printable(text)
    return child


def add_words(parent: Element, name: str, *words: str, english: bool = False) -> Element:
    """Add a text block with one `content` for each text; `english` marks it as English."""
    block = add(parent, name)
    for text in words:
        add(block, "content", text, **({"lang": "en"} if english else {}))
    return block


def add_real(parent: Element, value: float, unit: str, measured: Measured | None = None) -> None:
    """Add a number with its unit, and its expanded uncertainty where `measured` has one."""
    real = _si(parent, "real")
    _si(real, "value", repr(value))
    _si(real, "unit", unit)
    if measured is None or measured.expanded is None or measured.coverage_factor is None:
        return
    expanded = _si(_si(real, "measurementUncertaintyUnivariate"), "expandedMU")
    _si(expanded, "valueExpandedMU", repr(measured.expanded))
    _si(expanded, "coverageFactor", repr(measured.coverage_factor))
    _si(expanded, "coverageProbability", "0.95")


def _si(parent: Element, name: str, text: str | None = None) -> Element:
    """Add a child element in the D-SI namespace, and return it."""
    child = etree.SubElement(parent, f"{{{SI}}}{name}")
    child.text = text
    return child


def add_software(parent: Element, software: str) -> None:
    """Add a program by its name and version; `software` is both, separated by a space."""
    name, _, version = software.partition(" ")
    number = re.match(r"\d{1,3}(\.\d{1,3}){0,3}", version)
    one = add(parent, "software")
    add_words(one, "name", name)
    add(one, "release", f"v{number[0] if number else 0}")


def add_identification(parent: Element, issuer: str, value: str, name: str) -> None:
    """Add one identification, such as a serial number."""
    one = add(parent, "identification")
    add(one, "issuer", issuer)
    add(one, "value", value)
    add_words(one, "name", name, english=True)


def add_conformity(statement: Element, verdict: Verdict) -> None:
    """Add the verdict where it is pass or fail; other verdicts are stated in words elsewhere.

    The schema has four words more, conditionalPass, conditionalFail, noPass and noFail, but does
    not say what they mean, and undecided must never read as a kind of pass.
    """
    if verdict in ("pass", "fail"):
        add(statement, "conformity", verdict)
