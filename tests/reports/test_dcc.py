"""The digital certificate, held against PTB's Schematron rules as dcclib ships them."""

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from lxml import etree

from ohmwright.model.errors import SourceError
from ohmwright.reports.certificate import Certificate, certificate_of
from ohmwright.reports.dcc import certificate_dcc
from ohmwright.reports.dcc_schema import check_schema
from ohmwright.reports.text import printable

from .conftest import a_run, result

# not with versions of other packages that are older than dcclib takes (scripts/matrix)
validation = pytest.importorskip("dcclib.validation")

NAMES = {"dcc": "https://ptb.de/dcc", "si": "https://ptb.de/si"}


@cache
def rules() -> Any:
    return validation.SchematronValidator.for_dcc()


def complaints(document: bytes) -> list[str]:
    """Every error and warning of the rules."""
    found = rules().validate_str(document.decode())
    said = [*found.failed_assertions, *found.successful_reports]
    return [str(vars(one)) for one in said if "information" not in str(vars(one))]


def tree_of(document: bytes) -> Any:
    return etree.fromstring(document)


def test_the_rules_have_no_complaint(certificate: Certificate) -> None:
    assert complaints(certificate_dcc(certificate, "AQ")) == []


def test_the_rules_would_complain(certificate: Certificate) -> None:
    document = certificate_dcc(certificate, "AQ")
    assert complaints(certificate_dcc(certificate)) != []  # nobody has said which country
    assert complaints(document.replace(b"v0.1.0", b"0.1.0")) != []
    tree = tree_of(document)
    for methods in tree.iterfind(".//dcc:usedMethods", NAMES):
        methods.getparent().remove(methods)
    assert complaints(etree.tostring(tree)) != []


def test_values_have_units_and_expanded_uncertainty(certificate: Certificate) -> None:
    quantity = tree_of(certificate_dcc(certificate, "AQ")).find(
        ".//dcc:result//dcc:quantity", NAMES
    )
    texts = [
        quantity.findtext(f".//si:{name}", namespaces=NAMES)
        for name in ("value", "unit", "valueExpandedMU", "coverageFactor", "coverageProbability")
    ]
    assert texts == ["120.0", r"\watt", "1.234", "2.0", "0.95"]
    assert quantity.findtext(".//dcc:conformity", namespaces=NAMES) == "fail"


def test_a_simulated_run_says_so() -> None:
    assert b"SIMULATED, seed 7" in certificate_dcc(certificate_of(a_run(seed=7)), "AQ")


def test_hostile_names_are_only_text(named: Callable[[str], Certificate], hostile: str) -> None:
    document = certificate_dcc(named(hostile), "AQ")
    tree = tree_of(document)
    plain = tree_of(certificate_dcc(named("x"), "AQ"))
    assert [one.tag for one in tree.iter()] == [one.tag for one in plain.iter()]
    assert tree.getroottree().docinfo.internalDTD is None
    assert tree.findtext(".//dcc:model", namespaces=NAMES) == printable(hostile)
    assert complaints(document) == []


def children(element: Any) -> list[str]:
    return [etree.QName(child).localname for child in element]


# the order in which the types of DCC 3.3.0 and D-SI 2.2.1 want what is written
@pytest.mark.parametrize(
    ("path", "names"),
    [
        (".", "administrativeData measurementResults"),  # digitalCalibrationCertificateType
        (
            "dcc:administrativeData",  # administrativeDataType (any order; statements optional)
            "dccSoftware coreData items calibrationLaboratory respPersons customer statements",
        ),
        (
            ".//dcc:coreData",  # coreDataType
            "countryCodeISO3166_1 usedLangCodeISO639_1 mandatoryLangCodeISO639_1 uniqueIdentifier"
            " beginPerformanceDate endPerformanceDate performanceLocation",
        ),
        (".//dcc:software", "name release"),  # softwareType
        (".//dcc:item", "name manufacturer model identifications"),  # itemType
        (".//dcc:identification", "issuer value name"),  # identificationType
        (".//dcc:calibrationLaboratory/dcc:contact", "name location"),  # contactType
        (".//dcc:customer", "name location"),  # contactType
        (".//dcc:respPerson", "person role mainSigner"),  # respPersonType
        (".//dcc:statement[dcc:name]", "name conformity"),  # statementMetaDataType
        (
            ".//dcc:measurementResult",  # measurementResultType
            "name usedMethods usedSoftware measuringEquipments influenceConditions results",
        ),
        (".//dcc:usedMethod", "name description"),  # usedMethodType
        (".//dcc:measuringEquipment", "name description identifications"),  # measuringEquipmentType
        (".//dcc:influenceCondition", "name data"),  # conditionType
        (".//dcc:result", "name data"),  # resultType
        (
            ".//dcc:result//dcc:quantity",
            "name description real influenceConditions measurementMetaData",
        ),  # quantityType
        (".//dcc:metaData", "declaration conformity"),  # statementMetaDataType
        (
            ".//dcc:result//si:real",
            "value unit measurementUncertaintyUnivariate",
        ),  # realQuantityType
        (".//si:measurementUncertaintyUnivariate", "expandedMU"),  # a choice of three
        (
            ".//si:expandedMU",
            "valueExpandedMU coverageFactor coverageProbability",
        ),  # expandedMUType
    ],
)
def test_order(certificate: Certificate, path: str, names: str) -> None:
    tree = tree_of(certificate_dcc(certificate, "AQ"))
    assert children(tree.find(path, NAMES)) == names.split()


def test_a_point_without_a_value_still_says_its_verdict() -> None:
    # quantityType: noQuantity stands where there is no D-SI value, metadata follow it all the same
    answer = result("as_left", "cords", "answer").model_copy(
        update={"target": None, "measured": None, "conformity": None}
    )
    document = certificate_dcc(certificate_of(a_run([answer])), "AQ")
    quantity = tree_of(document).find(".//dcc:result//dcc:quantity", NAMES)
    assert children(quantity) == [
        *("name", "description", "noQuantity", "influenceConditions", "measurementMetaData")
    ]
    assert quantity.findtext(".//dcc:conformity", namespaces=NAMES) == "pass"
    assert complaints(document) == []


def test_undecided_is_no_word_of_the_schema() -> None:
    # stringConformityStatementStatusType has pass, fail, conditionalPass and three more
    point = result("as_left", "cut", "500 ohm")
    doubtful = point.model_copy(update={"verdict": "undecided", "reason": "too close to a limit"})
    meta = tree_of(certificate_dcc(certificate_of(a_run([doubtful])), "AQ")).find(
        ".//dcc:metaData", NAMES
    )
    assert children(meta) == ["declaration"]
    assert "undecided, too close to a limit" in meta.findtext(".//dcc:content", namespaces=NAMES)


def test_a_run_without_points_has_one_result() -> None:
    # resultListType and dataType want one child at least
    document = certificate_dcc(certificate_of(a_run([])), "AQ")
    (only,) = tree_of(document).find(".//dcc:results", NAMES)
    assert children(only.find("dcc:data", NAMES)) == ["text"]
    assert complaints(document) == []


SCHEMA = """<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="https://ptb.de/dcc">
<xs:element name="{root}"><xs:complexType><xs:sequence>
<xs:any minOccurs="0" maxOccurs="unbounded" processContents="skip"/></xs:sequence>
<xs:attribute name="schemaVersion"/></xs:complexType></xs:element></xs:schema>"""


def test_a_schema_that_is_given_is_asked(certificate: Certificate, tmp_path: Path) -> None:
    document, schema = certificate_dcc(certificate), tmp_path / "dcc.xsd"
    schema.write_text(SCHEMA.format(root="digitalCalibrationCertificate"))
    check_schema(document, schema)
    schema.write_text(SCHEMA.format(root="somethingElse"))
    with pytest.raises(SourceError, match="does not follow"):
        check_schema(document, schema)


@pytest.mark.parametrize("text", [None, "", "no xml", "<a/>"])
def test_no_usable_schema(certificate: Certificate, tmp_path: Path, text: str | None) -> None:
    schema = tmp_path / "dcc.xsd"
    if text is not None:
        schema.write_text(text)
    with pytest.raises(SourceError, match="no usable XML schema"):
        check_schema(certificate_dcc(certificate), schema)


IMPORTING = """<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" xmlns:si="https://ptb.de/si"
targetNamespace="https://ptb.de/dcc"><xs:import namespace="https://ptb.de/si"
schemaLocation="https://ptb.de/si/v2.2.1/SI_Format.xsd"/>
<xs:element name="digitalCalibrationCertificate" type="si:anything"/></xs:schema>"""
IMPORTED = """<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="https://ptb.de/si">
<xs:complexType name="anything"><xs:sequence>
<xs:any minOccurs="0" maxOccurs="{most}" processContents="skip"/></xs:sequence>
<xs:attribute name="schemaVersion"/></xs:complexType></xs:schema>"""


def test_what_a_schema_imports_by_a_web_address_is_taken_from_beside_it(
    certificate: Certificate, tmp_path: Path
) -> None:
    document, schema = certificate_dcc(certificate), tmp_path / "dcc.xsd"
    schema.write_text(IMPORTING)
    with pytest.raises(SourceError, match="no usable XML schema"):
        check_schema(document, schema)
    (tmp_path / "SI_Format.xsd").write_text(IMPORTED.format(most="unbounded"))
    check_schema(document, schema)
    (tmp_path / "SI_Format.xsd").write_text(IMPORTED.format(most="1"))
    with pytest.raises(SourceError, match="does not follow"):
        check_schema(document, schema)
