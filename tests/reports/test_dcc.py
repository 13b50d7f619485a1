"""The digital certificate, held against PTB's Schematron rules as dcclib ships them."""

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from dcclib.validation import SchematronValidator
from lxml import etree

from ohmwright.model.errors import SourceError
from ohmwright.reports.certificate import Certificate, certificate_of
from ohmwright.reports.dcc import certificate_dcc, check_against
from ohmwright.reports.text import shown

from .conftest import a_run

NAMES = {"dcc": "https://ptb.de/dcc", "si": "https://ptb.de/si"}


@cache
def rules() -> Any:
    return SchematronValidator.for_dcc()


def complaints(document: bytes) -> list[str]:
    """Every error and warning of the rules."""
    found = rules().validate_str(document.decode())
    said = [*found.failed_assertions, *found.successful_reports]
    return [str(vars(one)) for one in said if "information" not in str(vars(one))]


def tree_of(document: bytes) -> Any:
    return etree.fromstring(document)


def test_the_rules_have_no_complaint(certificate: Certificate) -> None:
    assert complaints(certificate_dcc(certificate, "DE")) == []


def test_the_rules_would_complain(certificate: Certificate) -> None:
    document = certificate_dcc(certificate, "DE")
    assert complaints(certificate_dcc(certificate)) != []  # nobody has said which country
    assert complaints(document.replace(b"v0.1.0", b"0.1.0")) != []
    tree = tree_of(document)
    for methods in tree.iterfind(".//dcc:usedMethods", NAMES):
        methods.getparent().remove(methods)
    assert complaints(etree.tostring(tree)) != []


def test_values_have_units_and_expanded_uncertainty(certificate: Certificate) -> None:
    quantity = tree_of(certificate_dcc(certificate, "DE")).find(
        ".//dcc:result//dcc:quantity", NAMES
    )
    texts = [
        quantity.findtext(f".//si:{name}", namespaces=NAMES)
        for name in ("value", "unit", "valueExpandedMU", "coverageFactor", "coverageProbability")
    ]
    assert texts == ["120.0", r"\watt", "1.234", "2.0", "0.95"]
    assert quantity.findtext(".//dcc:conformity", namespaces=NAMES) == "fail"


def test_a_simulated_run_says_so() -> None:
    assert b"SIMULATED, seed 7" in certificate_dcc(certificate_of(a_run(seed=7)), "DE")


def test_hostile_names_are_only_text(named: Callable[[str], Certificate], hostile: str) -> None:
    document = certificate_dcc(named(hostile), "DE")
    tree = tree_of(document)
    plain = tree_of(certificate_dcc(named("x"), "DE"))
    assert [one.tag for one in tree.iter()] == [one.tag for one in plain.iter()]
    assert tree.getroottree().docinfo.internalDTD is None
    assert tree.findtext(".//dcc:model", namespaces=NAMES) == shown(hostile)
    assert complaints(document) == []


SCHEMA = """<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="https://ptb.de/dcc">
<xs:element name="{root}"><xs:complexType><xs:sequence>
<xs:any minOccurs="0" maxOccurs="unbounded" processContents="skip"/></xs:sequence>
<xs:attribute name="schemaVersion"/></xs:complexType></xs:element></xs:schema>"""


def test_a_schema_that_is_given_is_asked(certificate: Certificate, tmp_path: Path) -> None:
    document, schema = certificate_dcc(certificate), tmp_path / "dcc.xsd"
    schema.write_text(SCHEMA.format(root="digitalCalibrationCertificate"))
    check_against(document, schema)
    schema.write_text(SCHEMA.format(root="somethingElse"))
    with pytest.raises(SourceError, match="does not follow"):
        check_against(document, schema)


@pytest.mark.parametrize("text", [None, "", "no xml", "<a/>"])
def test_no_usable_schema(certificate: Certificate, tmp_path: Path, text: str | None) -> None:
    schema = tmp_path / "dcc.xsd"
    if text is not None:
        schema.write_text(text)
    with pytest.raises(SourceError, match="no usable XML schema"):
        check_against(certificate_dcc(certificate), schema)
