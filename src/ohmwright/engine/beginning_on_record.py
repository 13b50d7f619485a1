"""Whether what a run or its part says of itself is what its kept documents and its unit say.

That is what papers print beside the results: unit and how it answers, bench, room, procedure,
analyzer.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from ohmwright.model.event import DocumentKept, Event, RunResumed, RunStarted, UnitIdentified
from ohmwright.model.traceability import Environment, Traceability

from .figures_on_record import is_another_certificate, serial_not_named
from .kept_documents import DocumentedPart, with_parts
from .protections_on_record import other_protections
from .unit_identity import other_serial

_ROOM = (("temperature_c", "temperature"), ("humidity_percent", "humidity"))
"""Each figure of the room, and what tells who gave it."""

_Table = Mapping[str, Any]


def differing_beginnings(events: Iterable[Event]) -> Iterator[tuple[int, str]]:
    """Yield number and description of each beginning that documents or unit contradict.

    Documents count from where the record has them; one that is no TOML here is passed over.
    """
    waiting: list[tuple[int, DocumentedPart]] = []
    started: RunStarted | None = None
    for number, event, part in with_parts(events):
        if isinstance(event, DocumentKept):
            continue
        for begun, one in waiting:  # their documents follow them
            yield from ((begun, said) for said in _against_documents(one))
        waiting = []
        if isinstance(event, RunStarted | RunResumed) and part is not None:
            waiting = [(number, part)]
        if isinstance(event, RunStarted):
            started = event
        elif isinstance(event, UnitIdentified) and started is not None:
            yield from ((number, said) for said in _other_answer(event, started))


def _against_documents(part: DocumentedPart) -> Iterator[str]:
    began, bench = part.began, part.table("bench")
    yield from _other_room(began.environment, bench)
    yield from other_protections(part)
    yield from _other_certificate(began.traceability, part.table("analyzer certificate"))
    if isinstance(began, RunStarted):
        yield from _other_bench(began, bench)
        yield from _other_unit(began, bench)
        yield from _other_procedure(began, part)


def _differing(what: str, said: object, stated: object) -> Iterator[str]:
    if said != stated:
        yield f"{what} is {said}, and what is kept with the run says {stated}"


def _other_bench(part: RunStarted, bench: _Table) -> Iterator[str]:
    """What the kept bench file says against bench and instruments."""
    if not bench:
        return
    yield from _differing("the bench", part.bench, bench.get("name"))
    if part.seed is None and "simulation" in bench:
        yield "it is recorded as real, and the bench kept with it is simulated"
    wanted = [("the analyzer", part.analyzer, bench.get("analyzer", {}))]
    if part.registered is None and "generators" not in bench:  # else another unit may stand there
        wanted.append(("the unit", part.generator, bench.get("generator", {})))
    for what, identity, entry in wanted:
        if entry.get("identity", "") not in identity:
            yield (
                f"{what} says '{identity}', without the '{entry['identity']}' that the bench file "
                "kept with the run wants"
            )


def _other_unit(part: RunStarted, bench: _Table) -> Iterator[str]:
    """What register or bench file say against the unit, and its own answer against the register."""
    by_register = part.registered
    stated = bench.get("asset") if by_register is None else by_register.unit.model_dump()
    for key, said in part.asset.model_dump().items():
        if stated is not None:
            yield from _differing(f"the unit's {key}", said, stated.get(key, ""))
    if by_register is not None and other_serial(part.generator, part.asset.serial) is not None:
        yield (
            f"the unit's serial is {part.asset.serial} by the register of assets, and it says "
            f"'{part.generator}'"
        )


def _other_answer(seen: UnitIdentified, part: RunStarted) -> Iterator[str]:
    """That the unit was identified by another answer than the run's."""
    if seen.told_by is None and seen.seen != part.generator:
        yield f"the unit says '{seen.seen}', and the run '{part.generator}'"


def _other_procedure(part: RunStarted, documented: DocumentedPart) -> Iterator[str]:
    """What the kept procedure says against title, revision and digest."""
    document, table = documented.document("procedure"), documented.table("procedure")
    if document is not None:
        yield from _differing("the procedure's SHA-256", part.procedure_digest, document.sha256)
    for key, said in (("title", part.procedure), ("revision", part.revision)):
        if key in table:
            yield from _differing(f"the procedure's {key}", said, table[key])


def _other_certificate(basis: Traceability | None, certificate: _Table) -> Iterator[str]:
    """That the analyzer's certificate is not the one that is kept."""
    if certificate and (basis is None or is_another_certificate(basis, certificate)):
        named = (
            "none"
            if basis is None
            else f"{basis.certificate} of {basis.laboratory}, {basis.calibrated_on}"
        )
        kept = ", ".join(f"{certificate.get(key)}" for key in ("laboratory", "calibrated_on"))
        yield (
            f"the analyzer's certificate is {named}, and the one kept with the run is "
            f"{certificate.get('number')} of {kept}"
        )
    elif basis is not None:
        yield from serial_not_named(basis, certificate)


def _other_room(room: Environment | None, bench: _Table) -> Iterator[str]:
    """What the kept bench file says against the room, where the operator gave no other figure."""
    stated = bench.get("environment", {})
    for key, by in _ROOM:
        said = None if room is None else getattr(room, key)
        told_by = None if room is None else getattr(room, f"{by}_told_by")
        if bench and said != stated.get(key) and (said is None or told_by == "the bench file"):
            named = "not recorded as told" if said is None else f"{said} as told"
            yield f"{key} is {named} by the bench file, which says {stated.get(key, 'nothing')}"
