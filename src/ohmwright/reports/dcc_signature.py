"""Signs a digital calibration certificate: an enveloped XML signature of the W3C (XML-DSig).

By signxml, with the laboratory's own key and X.509 certificate: whoever trusts the issuer of that
certificate can verify the file with any program for XML signatures.
"""

from __future__ import annotations

from cryptography.hazmat.primitives.asymmetric import ec, rsa
from cryptography.hazmat.primitives.serialization import load_pem_private_key
from cryptography.x509 import Certificate, load_pem_x509_certificates
from lxml import etree

from ohmwright.model.errors import SourceError

from .dcc_elements import DCC

_LEAST_RSA_BITS = 2048


def signed_dcc(document: bytes, key_pem: bytes, certificates_pem: bytes) -> bytes:
    """The document with its signature as the last element, and the certificates in it.

    A signature by an RSA key is the same each time, one by an elliptic curve another one. Raises
    SourceError for a key or certificate that cannot sign.
    """
    from signxml.algorithms import SignatureConstructionMethod, SignatureMethod
    from signxml.signer import XMLSigner

    key, certificates = _key_and_certificates(key_pem, certificates_pem)
    rsa_key = isinstance(key, rsa.RSAPrivateKey)
    signer = XMLSigner(
        method=SignatureConstructionMethod.enveloped,
        signature_algorithm=SignatureMethod.RSA_SHA256 if rsa_key else SignatureMethod.ECDSA_SHA256,
    )
    root = etree.fromstring(document)
    _add_declared_signature(root)
    signed = signer.sign(root, key=key, cert=certificates)
    return bytes(etree.tostring(signed, xml_declaration=True, encoding="UTF-8"))


def _add_declared_signature(root: etree._Element) -> None:
    """Say in the document that its laboratory signs it, which the signature then covers."""
    laboratory = root.find(f".//{{{DCC}}}calibrationLaboratory")
    etree.SubElement(laboratory, f"{{{DCC}}}cryptElectronicSignature").text = "true"


def _key_and_certificates(
    key_pem: bytes, certificates_pem: bytes
) -> tuple[rsa.RSAPrivateKey | ec.EllipticCurvePrivateKey, list[Certificate]]:
    """The private key and the certificates, that of the key first. Raises SourceError."""
    try:
        key = load_pem_private_key(key_pem, password=None)
        certificates = load_pem_x509_certificates(certificates_pem)
    except (ValueError, TypeError) as problem:
        raise _unusable(f"{problem}") from None
    if not isinstance(key, rsa.RSAPrivateKey | ec.EllipticCurvePrivateKey):
        raise _unusable("the key is neither RSA nor of an elliptic curve of NIST")
    if isinstance(key, rsa.RSAPrivateKey) and key.key_size < _LEAST_RSA_BITS:
        raise _unusable(f"the RSA key has {key.key_size} bits; {_LEAST_RSA_BITS} are the least")
    if certificates[0].public_key() != key.public_key():
        raise _unusable("the certificate is that of another key")
    return key, certificates


def _unusable(why: str) -> SourceError:
    """The error for a key and certificate that cannot sign."""
    return SourceError(
        f"The laboratory's key or certificate cannot sign: {why}.",
        "No digital certificate was written.",
        "Correct [signature] of the laboratory file: two PEM files, the key without a password.",
    )
