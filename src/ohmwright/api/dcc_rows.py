"""What a digital certificate says of its record, unit and results, as rows to be compared."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

_DAY = re.compile(r"\b\d{4}-\d\d-\d\d\b")
_BASIS = re.compile(r"traceable to:? certificate (\S+)")
_SIMULATED = re.compile(r"SIMULATED, seed (\d+)")
_VERDICT = re.compile("Verdict: (pass|fail|undecided|not measured)")
_WHOLE = re.compile(r"Result of the whole: (VOID|pass|fail|undecided|not measured)([^\n]*)")
_HEAD = re.compile("The record ends in the hash ([0-9a-f]{64})")
_DATA = {
    "number": "administrativeData/{d}coreData/{d}uniqueIdentifier",
    "begin": "administrativeData/{d}coreData/{d}beginPerformanceDate",
    "end": "administrativeData/{d}coreData/{d}endPerformanceDate",
    "date of issue": "administrativeData/{d}coreData/{d}issueDate",
    "replaced": "administrativeData/{d}coreData//{d}replacedUniqueIdentifier",
    "maker": "administrativeData/{d}items//{d}manufacturer//{d}content",
    "model": "administrativeData/{d}items//{d}model",
    "serial number and asset": "administrativeData/{d}items//{d}identification/{d}value",
    "people": "administrativeData/{d}respPersons//{d}person//{d}content",
    "roles": "administrativeData/{d}respPersons//{d}role",
    "receipt": "administrativeData/{d}coreData/{d}receiptDate",
    "place": "administrativeData/{d}coreData/{d}performanceLocation",
    "laboratory": "administrativeData/{d}calibrationLaboratory//{d}content",
    "customer": "administrativeData/{d}customer//{d}content",
    "analyzer": "measurementResults//{d}measuringEquipment/{d}name/{d}content",
    "analyzer's certificate": (
        "measurementResults//{d}measuringEquipment//{d}identification/{d}value"
    ),
    "verdict of the whole": "administrativeData/{d}statements//{d}conformity",
    "room and conditions": "measurementResults//{d}influenceCondition//{s}value",
}
"""Data of unit, work and bench that are compared, by where they stand."""
_BESIDE_RESULTS = (
    *("administrativeData/{d}items", "administrativeData/{d}respPersons"),
    *("measurementResults//{d}usedMethods", "measurementResults//{d}usedSoftware"),
    *("measurementResults//{d}measuringEquipments",),
    "measurementResults/{d}measurementResult/{d}influenceConditions",
)
"""Where text stands beside the results that a draft has like an approved one."""
WORDS = "words by"
"""What the name of all text of a point, or beside the results, begins with; a version follows."""
_AT_EACH_PRINTING = ("Not known who", "Not the paper that was issued")
"""How the statements begin that are of the place where a file is made, and not of the record."""
_ONCE_ISSUED = ("receipt", "place", "laboratory", "customer")
"""Those that are on record only once a certificate is approved."""


def dcc_rows(content: bytes) -> Mapping[str, Sequence[Mapping[str, str]]]:
    """The hash of the record, the data and the figures of each result, by the certificate's number.

    Raises ValueError for what is no XML.
    """
    from lxml import etree

    from ohmwright.reports.dcc_elements import DCC

    try:
        root = etree.fromstring(content, etree.XMLParser(resolve_entities=False, no_network=True))
    except etree.XMLSyntaxError as problem:
        raise ValueError(str(problem)) from None
    name = root.findtext(f".//{{{DCC}}}uniqueIdentifier") or ""
    if not name:
        return {}
    return {name: [*_whole_rows(root, is_draft=name.endswith("-draft")), *_result_rows(root)]}


def _whole_rows(root: Any, *, is_draft: bool) -> Iterator[Mapping[str, str]]:
    """Yield the hash of the record, then the data; the record has less of a draft."""
    from ohmwright.reports.dcc_elements import DCC, SI

    text = " ".join(root.itertext())
    head = _HEAD.search(text)
    yield {"where": "the record", "hash": "" if head is None else head[1]}
    bench = (words for one in root.iter(f"{{{DCC}}}measuringEquipment") for words in one.itertext())
    spaces = {"d": f"{{{DCC}}}", "s": f"{{{SI}}}"}
    data = {
        name: ", ".join(one.text or "" for one in root.iterfind(f"{{d}}{at}".format(**spaces)))
        for name, at in _DATA.items()
        if not (is_draft and name in _ONCE_ISSUED)
    }
    yield {
        "where": "the certificate",
        "simulation": ", ".join(_SIMULATED.findall(text)),
        "result of the whole": ", ".join("".join(found).strip() for found in _WHOLE.findall(text)),
        "analyzer's calibration": ", ".join(_DAY.findall(" ".join(bench))),
        **data,
        _words_by(root): " ".join(_beside_results(root, is_draft=is_draft)),
    }


def _words_by(root: Any) -> str:
    """The name for text of a file: by which program it was made, whose words they are."""
    from ohmwright.reports.dcc_elements import DCC

    made = root.find(f"{{{DCC}}}administrativeData/{{{DCC}}}dccSoftware")
    return f"{WORDS} {'' if made is None else _text_of(made)}"


def _text_of(element: Any) -> str:
    return " ".join(" ".join(element.itertext()).split())


def _beside_results(root: Any, *, is_draft: bool) -> Iterator[str]:
    """Yield all text but that of the results, the country and, of a draft, statements."""
    from ohmwright.reports.dcc_elements import DCC

    for at in _BESIDE_RESULTS:
        yield from map(_text_of, root.iterfind(f"{{d}}{at}".format(d=f"{{{DCC}}}")))
    if not is_draft:
        statements = map(_text_of, root.iterfind(f".//{{{DCC}}}statement"))
        yield from (one for one in statements if not one.startswith(_AT_EACH_PRINTING))


def _result_rows(root: Any) -> Iterator[Mapping[str, str]]:
    """Yield figures, verdict and traceability of each result."""
    from ohmwright.reports.dcc_elements import DCC, SI

    for one in root.iterfind(f".//{{{DCC}}}results/{{{DCC}}}result"):
        step = one.findtext(f"{{{DCC}}}name/{{{DCC}}}content")
        for point in one.iterfind(f"{{{DCC}}}data/{{{DCC}}}quantity"):
            figures = [each.text or "" for each in point.iter(f"{{{SI}}}*")]
            words = " ".join(point.itertext())
            found = _VERDICT.search(words)
            verdict = "" if found is None else found[1]
            yield {
                **{f"figure {n}": text.strip() for n, text in enumerate(figures, start=1)},
                "traceable to": ", ".join((*_BASIS.findall(words), *_DAY.findall(words))),
                "verdict": verdict,
                "mode and path": ", ".join(
                    text.text or ""
                    for text in point.iterfind(f".//{{{DCC}}}influenceCondition//{{{DCC}}}content")
                ),
                # one that was void has no such elements
                "conformity": point.findtext(f".//{{{DCC}}}conformity") or verdict,
                "where": f"{step}, {point.findtext(f'{{{DCC}}}name/{{{DCC}}}content')}",
                _words_by(root): _text_of(point),
            }


def is_signed(content: bytes) -> bool:
    """Whether a file bears a signature of XML."""
    return b"SignatureValue>" in content
