"""The signature container itself, byte by byte: what no digest protects is checked for form.

A signature's value lies in a gap of the bytes it signs (ISO 32000-1, 12.8.1). In that gap
stand a CMS object (RFC 5652) and zeros that fill the room. The signed attributes and the
signer's certificate are protected by cryptography; the rest is held to its only right form:
hexadecimal in one letter case, DER (X.690), zeros to the end, one signer, known versions,
and every further certificate signed by another one of the container or by an anchor.
"""

import re
from collections.abc import Iterable

from asn1crypto import cms, parser, x509

SEQUENCE, UNIVERSAL, BOOLEAN, NULL = b"\x30", 0, 1, 5
LARGEST_TAG, DEEPEST = 30, 60
_UPPER, _LOWER = re.compile(rb"[0-9A-F]*"), re.compile(rb"[0-9a-f]*")


def gap_fault(data: bytes, byte_range: Iterable[int], content: bytes) -> str:
    """What is wrong with the gap of a signature; empty if nothing is.

    Parameters
    ----------
    data : bytes
        The file.
    byte_range : iterable of int
        /ByteRange as stated.
    content : bytes
        /Contents as the reader understood it.
    """
    numbers = [int(n) for n in byte_range]
    if len(numbers) != 4 or numbers[0] != 0 or min(numbers) < 0:
        return "the signed byte range is not of the usual form"
    start, end, length = numbers[1], numbers[2], numbers[3]
    if not start < end <= len(data) or end + length > len(data):
        return "the signed byte range lies outside the file"
    gap = data[start:end]
    if gap[:1] != b"<" or gap[-1:] != b">":
        return "the gap in the signed bytes holds more than the signature"
    digits = gap[1:-1]
    if not (_UPPER.fullmatch(digits) or _LOWER.fullmatch(digits)) or len(digits) % 2:
        return "the signature's digits are not in one canonical form"
    raw = bytes.fromhex(digits.decode("ascii"))
    if raw != content:
        return "the reader takes another signature than the one in the gap"
    size = _der_size(raw)
    if not 0 < size <= len(raw):
        return "the signature is not one DER object"
    if raw[size:].strip(b"\0"):
        return "the padding after the signature is not empty"
    return ""


def _der_size(raw: bytes) -> int:
    """Length of the sequence at the start [byte]; 0 if there is none."""
    try:
        return parser.peek(raw) if raw[:1] == SEQUENCE else 0
    except ValueError:
        return 0


def container_fault(raw: bytes, anchors: Iterable[x509.Certificate] = ()) -> str:
    """What is wrong with a CMS object (with or without padding); empty if nothing is."""
    size = _der_size(raw)
    if not size:
        return "the signature is not one DER object"
    raw = raw[:size]
    try:
        info = cms.ContentInfo.load(raw, strict=True)
        if info["content_type"].native != "signed_data":
            return "the signature is of another kind"
        signed = info["content"]
        fault = _form_fault(signed, anchors)
        if fault:
            return fault
        if not _is_der(raw):
            return "the signature is not in canonical form (DER)"
    except Exception:  # what decoders raise on hostile bytes is beyond listing
        return "the signature cannot be read"
    return ""


def _form_fault(signed: cms.SignedData, anchors: Iterable[x509.Certificate]) -> str:
    content_type = signed["encap_content_info"]["content_type"].native
    infos = signed["signer_infos"]
    if len(infos) != 1:
        return f"{len(infos)} signers in one signature; one is allowed"
    info = infos[0]
    sid = info["sid"]
    # RFC 5652, 5.1: version 1 for plain data with certificates, 3 for other content
    wanted = "v1" if content_type == "data" and sid.name == "issuer_and_serial_number" else "v3"
    if signed["version"].native != wanted:
        return "the signature's version does not fit its content"
    if info["version"].native != ("v1" if sid.name == "issuer_and_serial_number" else "v3"):
        return "the signer's version does not fit its identifier"
    stated = info["digest_algorithm"].dump()
    if [a.dump() for a in signed["digest_algorithms"]] != [stated]:
        return "the digest algorithms of signature and signer differ"
    unsigned = info["unsigned_attrs"]
    for attribute in unsigned or ():
        if attribute["type"].native != "signature_time_stamp_token":
            return "the signature carries an unsigned attribute of unknown kind"
        for token in attribute["values"]:
            fault = container_fault(token.dump(), anchors)
            if fault:
                return f"timestamp: {fault}"
    if len(signed["crls"] or ()):
        return "the signature carries revocation lists where none belong"
    return _certificates_fault(signed, info, anchors)


def _certificates_fault(signed, info, anchors: Iterable[x509.Certificate]) -> str:
    """Each certificate is the signer's or stands above it, and is signed by the next one."""
    found = [c.chosen for c in signed["certificates"]]
    if not all(isinstance(c, x509.Certificate) for c in found):
        return "the signature carries something else than certificates"
    dumps = [c.dump() for c in found]
    if len(set(dumps)) != len(dumps):
        return "a certificate stands twice in the signature"
    sid = info["sid"].chosen
    signers = [c for c in found if info["sid"].name == "issuer_and_serial_number"
               and c.issuer.dump() == sid["issuer"].dump()
               and c.serial_number == sid["serial_number"].native]
    if info["sid"].name == "issuer_and_serial_number" and len(signers) != 1:
        return "the signer's certificate is not in the signature"
    trusted = {a.dump() for a in anchors}
    pending, reached = list(signers or found[:1]), set()
    while pending:  # from the signer up
        certificate = pending.pop()
        if certificate.dump() in reached or certificate.dump() in trusted:
            reached.add(certificate.dump())
            continue
        reached.add(certificate.dump())
        issuers = [c for c in (*found, *anchors) if c.subject.dump() == certificate.issuer.dump()]
        if issuers and not any(_signed_by(certificate, issuer) for issuer in issuers):
            return "a certificate in the signature is damaged"
        if not issuers and certificate not in signers:
            return "a certificate in the signature cannot be checked: its issuer is not there"
        pending += issuers
    if not set(dumps) <= reached:
        return "a certificate in the signature belongs to nobody"
    return ""


def _signed_by(certificate: x509.Certificate, issuer: x509.Certificate) -> bool:
    """Whether one certificate signed another (RFC 5280, 4.1.1.3)."""
    from cryptography import x509 as pyca

    inner = certificate["tbs_certificate"]["signature"].dump()
    if certificate["signature_algorithm"].dump() != inner:  # RFC 5280, 4.1.1.2
        return False
    try:
        pyca.load_der_x509_certificate(certificate.dump()).verify_directly_issued_by(
            pyca.load_der_x509_certificate(issuer.dump()))
    except Exception:  # malformed, of unknown kind, or not signed by it: all the same here
        return False
    return True


def _is_der(raw: bytes, depth: int = 0) -> bool:
    """Whether every length in the objects of some bytes is written the one DER way (X.690, 10.1).

    Each object is parsed and written again. Writing the whole container again from its values
    would be too strict: certificates of real authorities spell out defaults, which DER forbids.
    """
    while raw:
        size = parser.peek(raw)
        kind, constructed, tag, _, content, end = parser.parse(raw[:size])
        if (depth > DEEPEST or end or tag > LARGEST_TAG or not raw[0]
                or parser.emit(kind, constructed, tag, content) != raw[:size]):
            return False
        if constructed:
            if not _is_der(content, depth + 1):
                return False
        elif (tag == BOOLEAN and kind == UNIVERSAL and content not in (b"\0", b"\xff")) or (
                tag == NULL and kind == UNIVERSAL and content):
            return False
        raw = raw[size:]
    return True
