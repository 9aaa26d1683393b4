"""Small documents, keys and a small certificate authority for the tests of signatures.

Everything is invented and fixed: keys are made once a run, dates are given, no clock is read.
"""

from __future__ import annotations

import datetime as dt
import functools
import hashlib
import json
from http.server import BaseHTTPRequestHandler

from asn1crypto import keys as asn1_keys
from asn1crypto import ocsp, tsp
from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import padding, rsa
from cryptography.hazmat.primitives.serialization import pkcs12
from cryptography.x509.oid import (
    AuthorityInformationAccessOID,
    ExtendedKeyUsageOID,
    NameOID,
)
from pyhanko.sign.timestamps import DummyTimeStamper

from loambrief.archive import sign as signing
from loambrief.archive.keys import TRIAL
from loambrief.render.pdf import render_pdf
from loambrief.report import blocks as b
from loambrief.report.page_text import page_words
from loambrief.report.parts import ADVISER_FIELD, CLIENT_FIELD, SignOff
from loambrief.report.text import Writer

NOW = dt.datetime(2026, 10, 20, 9, 30, tzinfo=dt.UTC)
LATER = dt.datetime(2026, 11, 2, 8, 0, tzinfo=dt.UTC)
BEGIN, END = dt.datetime(2026, 1, 1, tzinfo=dt.UTC), dt.datetime(2028, 1, 1, tzinfo=dt.UTC)
PASSPHRASE = "wren-under-the-eaves-41"
CASE = b"case:\n  id: lower-bench-2026\n"
DER = serialization.Encoding.DER
PEM = serialization.Encoding.PEM


def small(status: str = "issued", case: bytes = CASE, **parties: str) -> bytes:
    """One page with both fields, a case and its data attached, as small as it gets.

    ``parties``: adviser, client, contact as the data name them; none: they do not say.
    """
    words = page_words(Writer("en"))
    data = {"case_id": "lower-bench-2026", "status": status, "number": "RF-2026-0007",
            "revision": 1, "loambrief_version": "0.0.0",
            "inputs_sha256": hashlib.sha256(case).hexdigest(),
            **({"parties": parties} if parties else {})}
    sign_off = SignOff((b.Fact("Name", "R. Fennimore"),), "I prepared this.", "none", "Received.",
                       adviser_name="R. Fennimore", grower_name="T. Okonjo", field=ADVISER_FIELD,
                       client_field=CLIENT_FIELD)
    model = b.ReportModel(
        title="Trial page", case_id="lower-bench-2026", date=dt.date(2026, 10, 14), words=words,
        blocks=(b.Heading(1, "Spread 1.5 ton an acre"), b.Paragraph("Lime in autumn."), sign_off),
        author="R. Fennimore", number="RF-2026-0007", revision="rev. 1",
        status=b.DocumentStatus(status),
        attachments=(
            b.Attachment("case.yaml", case, "application/yaml", b.Relationship.SOURCE, "case"),
            b.Attachment("lower-bench-2026.json", json.dumps(data).encode(), "application/json",
                         b.Relationship.ALTERNATIVE, "data"),
        ))
    return render_pdf(model)


# Certificates ------------------------------------------------------------------------------


class Holder:
    """A key and a certificate, as pyHanko and as cryptography want them."""

    def __init__(self, name: str, issuer: Holder | None = None, *, ca: bool = False,
                 unit: str = "", stamps: bool = False, answers: bool = False, lists: str = "",
                 begin=BEGIN, end=END, bits: int = 2048):
        self.key = rsa.generate_private_key(public_exponent=65537, key_size=bits)
        parts = [x509.NameAttribute(NameOID.COMMON_NAME, name)]
        if unit:
            parts.insert(0, x509.NameAttribute(NameOID.ORGANIZATIONAL_UNIT_NAME, unit))
        self.subject = x509.Name(parts)
        above = issuer or self
        usage = x509.KeyUsage(
            digital_signature=not ca, content_commitment=not ca, key_encipherment=False,
            data_encipherment=False, key_agreement=False, key_cert_sign=ca, crl_sign=ca,
            encipher_only=False, decipher_only=False)
        builder = (
            x509.CertificateBuilder().subject_name(self.subject).issuer_name(above.subject)
            .public_key(self.key.public_key()).serial_number(x509.random_serial_number())
            .not_valid_before(begin).not_valid_after(end)
            .add_extension(x509.BasicConstraints(ca=ca, path_length=None), critical=True)
            .add_extension(usage, critical=True)
            .add_extension(x509.SubjectKeyIdentifier.from_public_key(self.key.public_key()), False)
        )
        if stamps:
            builder = builder.add_extension(
                x509.ExtendedKeyUsage([ExtendedKeyUsageOID.TIME_STAMPING]), critical=True)
        if answers:
            where = x509.AccessDescription(AuthorityInformationAccessOID.OCSP,
                                           x509.UniformResourceIdentifier("http://ocsp.invalid/"))
            builder = builder.add_extension(x509.AuthorityInformationAccess([where]), False)
        if lists:
            where = x509.DistributionPoint([x509.UniformResourceIdentifier(lists)], None, None,
                                           None)
            builder = builder.add_extension(x509.CRLDistributionPoints([where]), False)
        self.certificate = builder.sign(above.key, hashes.SHA256())

    @property
    def der(self) -> bytes:
        return self.certificate.public_bytes(DER)

    @property
    def pem(self) -> bytes:
        return self.certificate.public_bytes(PEM)

    @functools.cached_property
    def packed(self) -> bytes:
        """PKCS#12 with weak rounds, so that tests open it fast."""
        secret = (serialization.PrivateFormat.PKCS12.encryption_builder().kdf_rounds(1000)
                  .key_cert_algorithm(pkcs12.PBES.PBESv2SHA256AndAES256CBC)
                  .build(PASSPHRASE.encode()))
        return pkcs12.serialize_key_and_certificates(b"x", self.key, self.certificate, None, secret)

    def revocation_list(self, *revoked: Holder, made=NOW, when=NOW) -> bytes:
        """Revocation list of an authority (RFC 5280, 5), DER."""
        builder = (x509.CertificateRevocationListBuilder().issuer_name(self.subject)
                   .last_update(made - dt.timedelta(hours=1))
                   .next_update(made + dt.timedelta(days=30)))
        for holder in revoked:
            builder = builder.add_revoked_certificate(
                x509.RevokedCertificateBuilder().serial_number(holder.certificate.serial_number)
                .revocation_date(when).build())
        return builder.sign(self.key, hashes.SHA256()).public_bytes(DER)

    def status_of(self, holder: Holder, made=NOW) -> bytes:
        """An authority's own answer that a certificate is good (RFC 6960, 4.2.1), DER."""
        own = asn1_x509.Certificate.load(self.der)
        single = {
            "cert_id": {"hash_algorithm": {"algorithm": "sha256"},
                        "issuer_name_hash": hashlib.sha256(own.subject.dump()).digest(),
                        "issuer_key_hash": hashlib.sha256(bytes(own.public_key["public_key"]))
                        .digest(),
                        "serial_number": holder.certificate.serial_number},
            "cert_status": ocsp.CertStatus("good"),
            "this_update": made - dt.timedelta(hours=1),
            "next_update": made + dt.timedelta(days=30),
        }
        told = ocsp.ResponseData({
            "responder_id": ocsp.ResponderId("by_name", own.subject),
            "produced_at": made - dt.timedelta(hours=1), "responses": [single]})
        seal = self.key.sign(told.dump(), padding.PKCS1v15(), hashes.SHA256())
        answer = ocsp.BasicOCSPResponse({
            "tbs_response_data": told, "signature_algorithm": {"algorithm": "sha256_rsa"},
            "signature": seal, "certs": [own]})
        return ocsp.OCSPResponse({
            "response_status": "successful",
            "response_bytes": {"response_type": "basic_ocsp_response", "response": answer},
        }).dump()

    def stamper(self, at: dt.datetime = NOW, cls=DummyTimeStamper):
        """A timestamp authority in this process."""
        secret = self.key.private_bytes(DER, serialization.PrivateFormat.PKCS8,
                                        serialization.NoEncryption())
        return cls(asn1_x509.Certificate.load(self.der), asn1_keys.PrivateKeyInfo.load(secret),
                   fixed_dt=at)


@functools.cache
def adviser() -> Holder:
    return Holder("R. Fennimore", unit=TRIAL)


@functools.cache
def client() -> Holder:
    return Holder("T. Okonjo", unit=TRIAL)


@functools.cache
def named(name: str) -> Holder:
    """A trial certificate in a name, as of the parties of a shipped sample."""
    return Holder(name, unit=TRIAL)


@functools.cache
def authority() -> Holder:
    return Holder("Invented authority", ca=True)


@functools.cache
def stamp_authority() -> Holder:
    return Holder("Invented clock", authority(), stamps=True)


@functools.cache
def employee() -> Holder:
    """An adviser whose certificate an authority issued."""
    return Holder("R. Fennimore", authority())


def opened(holder: Holder, tmp_path, settings=None, timestamper=None) -> signing.Signer:
    """A signer from a holder's PKCS#12 file."""
    from loambrief.archive.keys import open_p12
    from loambrief.archive.sign_settings import SignSettings

    path = tmp_path / f"{holder.certificate.serial_number}.p12"
    path.write_bytes(holder.packed)
    return signing.Signer(open_p12(path, PASSPHRASE), settings or SignSettings(), timestamper)


class StampHandler(BaseHTTPRequestHandler):
    """A timestamp server on this machine (RFC 3161, 3.4: over HTTP)."""

    stamper = None
    revoked: bytes = b""
    answer: tuple[int, str, bytes] | None = None

    def do_GET(self):
        """A revocation list, where a certificate says that there is one."""
        self.send_response(200)
        self.send_header("Content-Type", "application/pkix-crl")
        self.send_header("Content-Length", str(len(self.revoked)))
        self.end_headers()
        self.wfile.write(self.revoked)

    def do_POST(self):
        query = tsp.TimeStampReq.load(self.rfile.read(int(self.headers["Content-Length"])))
        assert self.headers["Content-Type"] == "application/timestamp-query"
        status, kind, body = self.answer or (
            200, "application/timestamp-reply", self.stamper.request_tsa_response(query).dump())
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *args):
        """Quiet."""
