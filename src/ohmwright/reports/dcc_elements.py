"""Small parts of a digital calibration certificate: names, texts, quantities in D-SI units."""

from __future__ import annotations

from typing import Any

from lxml import etree

from ohmwright.model.result import Measured

from .text import printable

DCC, SI = "https://ptb.de/dcc", "https://ptb.de/si"
Element = Any
"""An lxml element, for which lxml ships no types."""


def add(parent: Element, name: str, text: str | None = None, **attributes: str) -> Element:
    """A child in the DCC's namespace."""
    child = etree.SubElement(parent, f"{{{DCC}}}{name}", **attributes)
    if text is not None:
        child.text = printable(text)
    return child


def add_words(parent: Element, name: str, *words: str, english: bool = False) -> Element:
    """A text block: one `content` a text; `english` marks our own words as English."""
    block = add(parent, name)
    for text in words:
        add(block, "content", text, **({"lang": "en"} if english else {}))
    return block


def add_real(parent: Element, value: float, unit: str, measured: Measured | None = None) -> None:
    """A number with its unit, and its expanded uncertainty where `measured` has one."""
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
    child = etree.SubElement(parent, f"{{{SI}}}{name}")
    child.text = text
    return child
