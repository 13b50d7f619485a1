"""The signature of a digital certificate, verified without the library that makes it."""

from base64 import b64decode
from copy import deepcopy
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
import signxml
from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec, ed25519, rsa
from cryptography.hazmat.primitives.asymmetric.padding import PKCS1v15
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from lxml import etree

from ohmwright.api.certificate_files import CertificateOptions
from ohmwright.api.certificate_renderer import CertificateRenderer
from ohmwright.api.laboratory import Laboratory
from ohmwright.model.errors import SourceError
from ohmwright.model.paper import LaboratoryFile, SignatureFiles
from ohmwright.records.addendum import Addendum
from ohmwright.reports.certificate import Certificate, certificate_of
from ohmwright.reports.dcc import certificate_dcc
from ohmwright.reports.dcc_signature import signed_dcc
from ohmwright.reports.issue import issue_of

from .conftest import HEAD, a_run
from .test_issue import PAPER, RUN, addendum

DCC = {"dcc": "https://ptb.de/dcc"}
DS = "{http://www.w3.org/2000/09/xmldsig#}"
AT = datetime(2026, 1, 1, tzinfo=UTC)


def pem_pair(key: Any) -> tuple[bytes, bytes]:
    """The key and a certificate of it, by itself, in PEM."""
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "Fennel Metrology")])
    builder = x509.CertificateBuilder(name, name, key.public_key(), 7, AT, AT + timedelta(days=999))
    signed = builder.sign(key, None if isinstance(key, ed25519.Ed25519PrivateKey) else HASH)
    private = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    return private, signed.public_bytes(Encoding.PEM)


HASH = hashes.SHA256()
RSA_KEY = rsa.generate_private_key(65537, 2048)


def is_signed(document: bytes, public: Any) -> bool:
    """Whether the signature holds: by the W3C's rules for one enveloped signature, by hand."""
    root = etree.fromstring(document)
    signature = root.find(f"{DS}Signature")
    info = signature.find(f"{DS}SignedInfo")
    reference = info.find(f"{DS}Reference")
    assert reference.get("URI") == ""  # the whole document
    transforms = [one.get("Algorithm") for one in reference.iter(f"{DS}Transform")]
    assert transforms[0].endswith("#enveloped-signature")
    assert transforms[1] == info.find(f"{DS}CanonicalizationMethod").get("Algorithm")
    rest = deepcopy(root)
    rest.remove(rest.find(f"{DS}Signature"))
    digest = sha256(etree.tostring(rest, method="c14n")).digest()
    if digest != b64decode(reference.findtext(f"{DS}DigestValue")):
        return False
    value = b64decode(signature.findtext(f"{DS}SignatureValue"))
    message = etree.tostring(info, method="c14n")
    try:
        if isinstance(public, rsa.RSAPublicKey):
            public.verify(value, message, PKCS1v15(), HASH)
        else:
            half = len(value) // 2
            r, s = (int.from_bytes(part, "big") for part in (value[:half], value[half:]))
            public.verify(encode_dss_signature(r, s), message, ec.ECDSA(HASH))
    except InvalidSignature:
        return False
    return True


@pytest.mark.parametrize("key", [RSA_KEY, ec.generate_private_key(ec.SECP256R1())])
def test_a_signature_holds_and_an_altered_file_is_found(certificate: Certificate, key: Any) -> None:
    document = signed_dcc(certificate_dcc(certificate, "AQ"), *pem_pair(key))
    assert is_signed(document, key.public_key())
    assert not is_signed(document.replace(b"120.0", b"102.0", 1), key.public_key())
    assert not is_signed(document, RSA_KEY.public_key()) or key is RSA_KEY
    again = signed_dcc(certificate_dcc(certificate, "AQ"), *pem_pair(key))
    assert (again == document) == (key is RSA_KEY)


def test_it_follows_the_schemas_and_says_that_it_is_signed() -> None:
    issue = issue_of(
        RUN, [addendum("amended", 1, reason="x", paper=PAPER), addendum("approved", 2)]
    )
    certificate = certificate_of(a_run(), HEAD, "", issue)
    document = signed_dcc(certificate_dcc(certificate), *pem_pair(RSA_KEY))
    root = etree.fromstring(document)
    assert root[-1].tag == f"{DS}Signature"  # where DCC 3.3.0 has it, after the four rings
    schema = Path(signxml.__file__).parent / "schemas" / "xmldsig1-schema.xsd"
    etree.XMLSchema(etree.parse(schema)).assertValid(root[-1])
    names = {"dcc": "https://ptb.de/dcc"}

    def order(path: str) -> list[str]:
        return [etree.QName(one).localname for one in root.find(path, names)]

    # calibrationLaboratoryType, coreDataType, reportAmendedSubstitutedType of DCC 3.3.0
    assert order(".//dcc:calibrationLaboratory") == ["contact", "cryptElectronicSignature"]
    assert order(".//dcc:coreData")[3:] == [
        *("uniqueIdentifier", "receiptDate", "beginPerformanceDate", "endPerformanceDate"),
        *("performanceLocation", "issueDate", "reportAmendedSubstituted"),
    ]
    assert order(".//dcc:reportAmendedSubstituted") == ["typeOfChange", "replacedUniqueIdentifier"]
    said = {
        name: root.findtext(f".//dcc:{name}", namespaces=names)
        for name in ("performanceLocation", "receiptDate", "replacedUniqueIdentifier", "role")
    }
    assert said == {
        "performanceLocation": "laboratory",
        "receiptDate": "2026-03-01",
        "replacedUniqueIdentifier": RUN,
        "role": "approved",
    }


def test_a_draft_has_no_signature_and_no_signer(tmp_path: Path) -> None:
    for name, pem in zip(("key.pem", "public.pem"), pem_pair(RSA_KEY), strict=True):
        (tmp_path / name).write_bytes(pem)
    files = SignatureFiles(key="key.pem", certificate="public.pem")
    laboratory = Laboratory(tmp_path / "l.toml", LaboratoryFile(name="Fennel", signature=files))

    def seen(*addenda: Addendum) -> tuple[bool, list[str]]:
        certificate = certificate_of(a_run(), HEAD, "", issue_of(RUN, addenda))
        made = CertificateRenderer(certificate, "", CertificateOptions(), laboratory)
        root = etree.fromstring(made.dcc(tmp_path))
        signers = root.xpath("//dcc:respPerson[dcc:mainSigner='true']//dcc:content", namespaces=DCC)
        return root.find(f"{DS}Signature") is not None, [one.text for one in signers]

    first, second = addendum("approved", 1), addendum("approved", 2, operator="B. Tarn")
    assert seen() == (False, [])
    assert seen(first, second) == (True, ["A. Fenn"])
    assert seen(first, addendum("amended", 2)) == (False, [])  # nobody approved that one


def test_the_rules_have_no_complaint_about_one_with_everything_in_it() -> None:
    pytest.importorskip("dcclib.validation")  # not with the older versions of scripts/matrix
    from .test_dcc import complaints

    for addenda in (
        [addendum("approved", 1, paper=PAPER), addendum("voided", 2, reason="another unit")],
        [addendum("amended", 1, reason="x", paper=PAPER), addendum("approved", 2)],
    ):
        certificate = certificate_of(a_run(), HEAD, "", issue_of(RUN, addenda))
        document = signed_dcc(certificate_dcc(certificate), *pem_pair(RSA_KEY))
        assert complaints(document) == []


@pytest.mark.parametrize(
    ("key", "certified", "words"),
    [
        (RSA_KEY, rsa.generate_private_key(65537, 2048), "that of another key"),
        (ed25519.Ed25519PrivateKey.generate(), None, "neither RSA nor"),
        (rsa.generate_private_key(65537, 1024), None, "1024 bits"),
        (None, None, "cannot sign"),
    ],
)
def test_a_key_that_cannot_sign(
    certificate: Certificate, key: Any, certified: Any, words: str
) -> None:
    private, public = (b"x", b"y") if key is None else pem_pair(key)
    if certified is not None:
        _, public = pem_pair(certified)
    with pytest.raises(SourceError, match=words):
        signed_dcc(certificate_dcc(certificate), private, public)
