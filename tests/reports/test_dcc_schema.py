"""Digital certificates of every kind, held against PTB's own XML schema where it is at hand.

The schema (LGPL) is not kept here. OHMWRIGHT_DCC_SCHEMA names a dcc.xsd of version 3.3.0, with the
schemas that it imports beside it: SI_Format.xsd 2.2.1, xmldsig-core-schema.xsd, quantitykind.xsd.
"""

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from ohmwright.model.errors import SourceError
from ohmwright.model.event import Event
from ohmwright.records.addendum import Addendum
from ohmwright.reports.certificate import Certificate, certificate_of
from ohmwright.reports.dcc import certificate_dcc
from ohmwright.reports.dcc_schema import check_schema
from ohmwright.reports.dcc_signature import signed_dcc
from ohmwright.reports.issue import issue_of

from .conftest import HEAD, a_run, result
from .test_dcc_signature import RSA_KEY, pem_pair
from .test_issue import PAPER, RUN, addendum

SCHEMA = Path(os.environ.get("OHMWRIGHT_DCC_SCHEMA", ""))
pytestmark = pytest.mark.skipif(not SCHEMA.is_file(), reason="no OHMWRIGHT_DCC_SCHEMA")

APPROVED = addendum("approved", 1, paper=PAPER)
AMENDED = addendum("amended", 2, reason="It came without its foot switch.", paper=PAPER)
POINT = result("as_left", "cut", "500 ohm")
DOUBTFUL = POINT.model_copy(update={"verdict": "undecided", "reason": "too close to a limit"})
NO_VALUE = POINT.model_copy(update={"target": None, "measured": None, "conformity": None})


def paper(*addenda: Addendum, run: tuple[Event, ...] | None = None) -> Certificate:
    return certificate_of(run or a_run(), HEAD, "", issue_of(RUN, addenda))


@pytest.mark.parametrize("country", ["AQ", None])
@pytest.mark.parametrize(
    "certificate",
    [
        pytest.param(paper(), id="draft"),
        pytest.param(paper(APPROVED), id="approved"),
        pytest.param(paper(APPROVED, AMENDED, addendum("approved", 3)), id="amended"),
        pytest.param(paper(APPROVED, addendum("voided", 2, reason="another unit")), id="void"),
        pytest.param(paper(run=a_run(seed=7)), id="simulated"),
        pytest.param(paper(run=a_run(points=300)), id="many points"),
        pytest.param(paper(run=a_run([DOUBTFUL, NO_VALUE])), id="undecided and without a value"),
        pytest.param(paper(run=a_run([])), id="no points"),
    ],
)
def test_it_is_valid(certificate: Certificate, country: str | None) -> None:
    check_schema(certificate_dcc(certificate, country), SCHEMA)


def test_it_is_valid_whatever_people_are_called(
    named: Callable[[str], Certificate], hostile: str
) -> None:
    for name in (hostile, "", "  two  words  "):
        check_schema(certificate_dcc(named(name), "AQ"), SCHEMA)


def test_a_signed_one_is_valid() -> None:
    check_schema(signed_dcc(certificate_dcc(paper(APPROVED), "AQ"), *pem_pair(RSA_KEY)), SCHEMA)


def test_it_would_complain(certificate: Certificate) -> None:
    document = certificate_dcc(certificate, "AQ")
    for good, bad in ((b"dcc:release", b"dcc:relase"), (b"valueExpandedMU", b"valueExpanded")):
        with pytest.raises(SourceError, match="does not follow"):
            check_schema(document.replace(good, bad), SCHEMA)
