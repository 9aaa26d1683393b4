"""Which PAdES baseline level a signature has by its structure (ETSI EN 319 142-1, clause 6).

B-T adds a signature timestamp, B-LT certificates and revocation data in the document security
store, B-LTA a document timestamp over them. Whether these hold is judged elsewhere.
"""

from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.general import find_cms_attribute_iter
from pyhanko.sign.validation.dss import DocumentSecurityStore
from pyhanko.sign.validation.errors import NoDSSFoundError
from pyhanko.sign.validation.generic_cms import (
    extract_certs_for_validation,
    extract_tst_data_iter,
)


def has_timestamp(signature) -> bool:
    """Whether a signature carries a signature timestamp (RFC 3161 token)."""
    attributes = signature.signer_info["unsigned_attrs"]
    return any(True for _ in find_cms_attribute_iter(attributes, "signature_time_stamp_token"))


def store_of(reader: PdfFileReader) -> DocumentSecurityStore | None:
    """The document security store, if there is one."""
    try:
        return DocumentSecurityStore.read_dss(reader)
    except NoDSSFoundError:
        return None


def revocation_data(reader: PdfFileReader) -> tuple[list, list]:
    """Revocation lists and OCSP answers in the store, as asn1crypto objects.

    Raises
    ------
    ValueError, TypeError
        One of them is malformed.
    """
    from asn1crypto import crl, ocsp

    store = store_of(reader)
    if store is None:
        return [], []
    lists = [crl.CertificateList.load(ref.get_object().data) for ref in store.crls]
    answers = [ocsp.OCSPResponse.load(ref.get_object().data) for ref in store.ocsps]
    return lists, answers


def covered(certificate, lists: list, answers: list) -> bool:
    """Whether revocation data speaks of a certificate, as far as names and numbers tell."""
    return any(item.issuer == certificate.issuer for item in lists) or any(
        single["cert_id"]["serial_number"].native == certificate.serial_number
        for answer in answers for single in
        answer["response_bytes"]["response"].parsed["tbs_response_data"]["responses"])


def revocation_of(reader: PdfFileReader, field: str) -> str:
    """Whose revocation data is missing for level B-LT; empty if nobody's.

    Looked at are the certificates in the signature and in its timestamp, but for those that
    signed themselves: above the signer they are anchors, which nothing revokes.
    """
    lists, answers = revocation_data(reader)
    for signature in reader.embedded_regular_signatures:
        if signature.field_name != field:
            continue
        signer = signature.signer_cert
        if signer.subject == signer.issuer:
            return "a certificate that signed itself; nobody can revoke it"
        needed = [signer, *signature.other_embedded_certs]
        for token in extract_tst_data_iter(signature.signer_info, signed=False):
            certificates = extract_certs_for_validation(token)
            needed += [certificates.signer_cert, *certificates.other_certs]
        for certificate in needed:
            if certificate.subject != certificate.issuer and not covered(certificate, lists,
                                                                         answers):
                return repr(certificate.subject.native.get("common_name", "a certificate"))
    return ""


def level_of(reader: PdfFileReader, signature) -> str:
    """The level of one signature by what is in the file."""
    if str(signature.sig_object.get("/SubFilter")) != "/ETSI.CAdES.detached":
        return "no PAdES baseline level"
    if not has_timestamp(signature):
        return "B-B"
    if store_of(reader) is None or revocation_of(reader, signature.field_name):
        return "B-T"
    later = [s for s in reader.embedded_timestamp_signatures
             if s.signed_revision > signature.signed_revision]
    return "B-LTA" if later else "B-LT"
