"""Whether the protections that a part of a run claims are those that its kept documents give."""

from __future__ import annotations

from collections.abc import Iterator

from pydantic import ValidationError

from ohmwright.instruments.declared_protections import declared_protections, protections_by_hand
from ohmwright.model.hardware import AnalyzerData
from ohmwright.model.protections import Protections

from .kept_documents import DocumentedPart

_GUARDED = ("serial", "tcp", "visa")
"""Links whose port a guard process may own."""


def other_protections(part: DocumentedPart) -> Iterator[str]:
    """Yield what bench file, analyzer data and command set say against what a part claims."""
    said, bench = part.began.protections, part.table("bench")
    if said is None or not bench:
        return
    entry = bench.get("analyzer", {})
    link, by_hand = entry.get("link", {}).get("kind"), entry.get("by_hand", ())
    if said.guard and (link not in _GUARDED or "foot switch" in by_hand):
        yield "a guard process is recorded, and by the bench kept with the run it has no port"
    if said.harmless and "simulation" not in bench:
        yield "invented hardware is recorded, and the bench kept with the run is a real one"
    if set(said.by_hand) != set(by_hand):
        done, stated = (", ".join(sorted(which)) or "nothing" for which in (said.by_hand, by_hand))
        yield f"by hand is done: {done}; by the bench kept with the run: {stated}"
    given = _given_at_most(part)
    for name in type(said).model_fields if given is not None else ():
        if getattr(said, name) is True and getattr(given, name) is False and name != "guard":
            yield f"the protection {name} is recorded, and the kept documents do not give it"


def _given_at_most(part: DocumentedPart) -> Protections | None:
    """Return the most that the kept documents can give; None where they do not tell.

    They do not of a back end, whose methods no document names, and of a stream's lines.
    """
    commands, table = part.table("analyzer command set"), part.table("analyzer data")
    entry = part.table("bench").get("analyzer", {})
    try:
        data = AnalyzerData.model_validate(table.get("data", {}))
    except ValidationError:
        return None
    if data.backend is not None or "stream" in commands or (entry.get("link") and not commands):
        return None
    linked = Protections()
    if commands:
        verbs = frozenset((*commands.get("ask", {}), *commands.get("tell", {})))
        linked = declared_protections(data, verbs, proved=True, guarded=True, harmless=True)
    return protections_by_hand(linked, entry.get("by_hand", ()))
