"""Facts about one signature of a file: its bytes, its signer, its time, what came after it.

Standards: ISO 32000-1, 12.8; ETSI EN 319 142-1 (PAdES); RFC 5652 (CMS); RFC 3161
(timestamps); RFC 5280 and 6960 (certificates, revocation).
"""

import asyncio
import datetime as dt
from dataclasses import dataclass, field

from asn1crypto import x509
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.fields import MDPPerm
from pyhanko.sign.validation.pdf_embedded import (
    EmbeddedPdfSignature,
    async_validate_pdf_signature,
    async_validate_pdf_timestamp,
)
from pyhanko.sign.validation.settings import KeyUsageConstraints
from pyhanko.sign.validation.status import SignatureCoverageLevel
from pyhanko_certvalidator import ValidationContext

from loambrief.archive.changes import changes_after, changes_before
from loambrief.archive.facts import TRUST, FactState, FileFact, SignatureFound
from loambrief.archive.keys import is_trial
from loambrief.archive.levels import has_timestamp, level_of, revocation_data, store_of
from loambrief.archive.names import named_for, same_name
from loambrief.archive.pdf_parts import look
from loambrief.archive.verify_cms import container_fault, gap_fault
from loambrief.report.parts import ADVISER_FIELD, CLIENT_FIELD

GOOD, BAD, UNKNOWN, NONE = FactState


@dataclass
class Pass:
    """One pass over a file; collects facts."""

    data: bytes
    anchors: dict[str, list[x509.Certificate]]
    now: dt.datetime
    facts: list[FileFact] = field(default_factory=list)
    signatures: list[SignatureFound] = field(default_factory=list)
    stated: dict = field(default_factory=dict)

    def trusted(self, *roles: str) -> list[x509.Certificate]:
        """Certificates that may vouch in one of some roles."""
        return [c for role in roles for c in self.anchors[role]]

    def say(self, name: str, state: FactState, text: str, about: str = "") -> None:
        # no strings tied to the file
        self.facts.append(FileFact(name, state, str(text), str(about)))


def _context(seen: Pass, role: str, moment: dt.datetime, known: tuple[list, list, list],
             strict: bool = False) -> ValidationContext:
    """Anchors of a role and the file's own certificates and revocation data, at one moment.

    ``strict``: every certificate must be shown not to be revoked.
    """
    lists, answers, others = known
    return ValidationContext(trust_roots=seen.trusted(role), other_certs=others, crls=lists,
                             ocsps=answers, allow_fetching=False,
                             revocation_mode="require" if strict else "soft-fail",
                             moment=moment, best_signature_time=moment,
                             retroactive_revinfo=True)


def _known(reader: PdfFileReader) -> tuple[list, list, list]:
    """Revocation lists, answers and certificates in the file; none if they are malformed."""
    try:
        store = store_of(reader)
        return *revocation_data(reader), list(store.load_certs()) if store else []
    except Exception:  # what parsers raise on a hostile file is beyond listing
        return [], [], []


def timestamps(seen: Pass, reader: PdfFileReader,
                found: list[EmbeddedPdfSignature]) -> list[tuple[int, dt.datetime]]:
    """Document timestamps: their facts, and (revision, time) of those that can be relied on."""
    relied = []
    for signature in found:
        if signature.sig_object_type != "/DocTimeStamp":
            continue
        name = signature.field_name
        context = _context(seen, "time", seen.now, _known(reader))
        status = asyncio.run(async_validate_pdf_timestamp(signature, context, skip_diff=True))
        _container(seen, signature)
        _list(seen, signature, status.timestamp, "document timestamp", "timestamp")
        _integrity(seen, signature, status)
        _time_fact(seen, status, name)
        _coverage(seen, signature, status.coverage)
        if status.intact and status.valid and status.trusted:
            relied.append((signature.signed_revision, status.timestamp))
    return relied


def one_signature(seen: Pass, reader: PdfFileReader, signature: EmbeddedPdfSignature,
         times: list[tuple[int, dt.datetime]]) -> None:
    """Every fact about one signature."""
    name = signature.field_name
    role = "client" if name == CLIENT_FIELD else "adviser"
    usage = KeyUsageConstraints(key_usage={"non_repudiation", "digital_signature"},
                                match_all_key_usages=False)

    known = _known(reader)

    def validate(moment: dt.datetime, strict: bool = False):
        return asyncio.run(async_validate_pdf_signature(
            signature, _context(seen, role, moment, known, strict),
            _context(seen, "time", seen.now, known),
            key_usage_settings=usage, skip_diff=True))

    status = validate(seen.now)
    stamped = [t for revision, t in times if revision >= signature.signed_revision]
    token = status.timestamp_validity
    if token is not None and token.intact and token.valid and token.trusted:
        stamped.append(token.timestamp)
    if stamped:
        status = validate(min(stamped))
    unrevoked = False
    if known[0] or known[1]:
        strict = validate(min(stamped, default=seen.now), strict=True)
        unrevoked = strict.trusted
        if strict.trusted or strict.revoked:
            status = strict
    _list(seen, signature, signature.self_reported_timestamp, level_of(reader, signature), "PAdES")
    _container(seen, signature)
    _integrity(seen, signature, status)
    _signer(seen, signature, status, min(stamped, default=None), unrevoked)
    if token is not None:
        _time_fact(seen, token, name)
    elif stamped:
        seen.say("timestamp", GOOD, f"A document timestamp covers it, of {_day(min(stamped))}.",
                 name)
    elif has_timestamp(signature):
        seen.say("timestamp", BAD, "Its timestamp cannot be read.", name)
    else:
        seen.say("timestamp", NONE, "It has no timestamp: the time of signing is the signer's "
                 "word.", name)
    _coverage(seen, signature, status.coverage)
    _changes(seen, reader, signature)
    _named(seen, reader, signature, role)


def _list(seen: Pass, signature: EmbeddedPdfSignature, moment: dt.datetime | None, level: str,
          kind: str) -> None:
    certificate = signature.signer_cert
    when = "" if moment is None else moment.astimezone(dt.UTC).isoformat(timespec="seconds")
    seen.signatures.append(SignatureFound(
        str(signature.field_name), called(certificate), when, level, kind,
        certificate.sha256.hex(), is_trial(certificate)))


def _container(seen: Pass, signature: EmbeddedPdfSignature) -> None:
    fault = (gap_fault(seen.data, signature.byte_range, signature.pkcs7_content)
             or container_fault(signature.pkcs7_content, seen.trusted(*TRUST)))
    if fault:
        seen.say("container", BAD, f"{fault[:1].upper()}{fault[1:]}.", signature.field_name)
    else:
        seen.say("container", GOOD, "The signature's own bytes are in their only right form.",
                 signature.field_name)


def _integrity(seen: Pass, signature: EmbeddedPdfSignature, status) -> None:
    name = signature.field_name
    seen.say("bytes", GOOD if status.intact else BAD,
             "The signed bytes are as they were when signed." if status.intact
             else "The signed bytes have been changed.", name)
    seen.say("signature", GOOD if status.valid else BAD,
             "The signature fits the signer's certificate." if status.valid
             else "The signature does not fit the signer's certificate.", name)


def _signer(seen: Pass, signature: EmbeddedPdfSignature, status, moment: dt.datetime | None,
            unrevoked: bool) -> None:
    """Whether an anchor vouches for the signer, at the time that can be shown."""
    name, certificate = signature.field_name, signature.signer_cert
    who = called(certificate)
    trial = " It is a trial certificate: whoever made it chose the name." if is_trial(
        certificate) else ""
    role = "client" if name == CLIENT_FIELD else "adviser"
    if not seen.trusted(role):
        seen.say("signer", UNKNOWN, f"Nothing says that the signer is {who!r}: no certificate was "
                 f"trusted for the {role} (--trust {role}=CERT).{trial}", name)
        return
    at_time = certificate.not_valid_before <= (moment or seen.now) <= certificate.not_valid_after
    if status.trusted and at_time:  # of an anchor the library does not ask the dates
        anchor = _anchor(status)
        own = certificate.subject == certificate.issuer
        revocation = ("" if own else " By the data in the file it was not revoked." if unrevoked
                      else " Whether it was revoked is not known.")
        at = f" at {_day(moment)}" if moment else ""
        voucher = ("its own certificate is trusted" if own
                   else f"{anchor!r} vouches for it")
        seen.say("signer", GOOD, f"The signer is {who!r}; {voucher}{at}.{revocation}{trial}",
                 name)
        return
    problem = getattr(status.trust_problem_indic, "name", "")
    if status.revoked:
        seen.say("signer", BAD, f"The certificate of {who!r} had been revoked.", name)
    elif not status.valid:
        seen.say("signer", BAD, "The signature does not fit, so it shows no signer.", name)
    elif "CRYPTO" in problem or "ALGORITHM" in problem:
        seen.say("signer", BAD, f"The signature of {who!r} uses an algorithm or a key that is no "
                 "longer safe.", name)
    elif certificate.not_valid_after < (moment or seen.now) or "EXPIRED" in problem:
        seen.say("signer", UNKNOWN if moment is None else BAD,
                 f"The certificate of {who!r} ended on {_day(certificate.not_valid_after)}"
                 + ("; without a timestamp nothing shows that it was used before." if moment is None
                    else ", before the time of the timestamp."), name)
    elif certificate.not_valid_before > (moment or seen.now):
        seen.say("signer", BAD, f"The certificate of {who!r} begins only on "
                 f"{_day(certificate.not_valid_before)}.", name)
    else:
        seen.say("signer", UNKNOWN, f"None of the trusted certificates vouches for {who!r}"
                 f"{f' ({problem.lower()})' if problem else ''}.{trial}", name)


def _time_fact(seen: Pass, token, name: str) -> None:
    """A timestamp token (RFC 3161): its seal, and who vouches for its clock."""
    when = _day(token.timestamp)
    if not (token.intact and token.valid):
        seen.say("timestamp", BAD, "The timestamp does not fit what it stands on.", name)
    elif token.trusted:
        anchor = _anchor(token)
        seen.say("timestamp", GOOD, f"It existed at {when}, by a clock that {anchor!r} "
                 "vouches for.", name)
    else:
        seen.say("timestamp", UNKNOWN, f"A timestamp says {when}; no trusted certificate vouches "
                 "for its clock.", name)


def called(certificate: x509.Certificate) -> str:
    """Name of a certificate's holder: common name and organisation, or all there is."""
    subject = certificate.subject.native
    parts = [str(subject[k]) for k in ("common_name", "organization_name") if k in subject]
    return ", ".join(parts) or certificate.subject.human_friendly


def _anchor(status) -> str:
    """Name of the trusted certificate at the top of a path."""
    name = status.validation_path.trust_anchor.authority.name.native
    return str(name.get("common_name", status.validation_path.trust_anchor.authority.name
                        .human_friendly))


def _day(moment: dt.datetime) -> str:
    return f"{moment.astimezone(dt.UTC):%Y-%m-%d %H:%M} UTC"


def _coverage(seen: Pass, signature: EmbeddedPdfSignature, level) -> None:
    name = signature.field_name
    if level == SignatureCoverageLevel.ENTIRE_FILE:
        seen.say("coverage", GOOD, "It covers the whole file.", name)
    elif level == SignatureCoverageLevel.ENTIRE_REVISION:
        seen.say("coverage", GOOD, "It covers the whole file as it was then; more was added "
                 "later.", name)
    else:
        seen.say("coverage", BAD, "It does not cover the whole file as it was then.", name)


def _changes(seen: Pass, reader: PdfFileReader, signature: EmbeddedPdfSignature) -> None:
    """What came with the signature, and what came after it."""
    name = signature.field_name
    if name == ADVISER_FIELD:
        if signature.docmdp_level not in (MDPPerm.FILL_FORMS, MDPPerm.NO_CHANGES):
            seen.say("certified", UNKNOWN, "It does not certify the file: readers may allow "
                     "more changes than this check does.", name)
        else:
            seen.say("certified", GOOD, "It certifies the file: only the client's signature, "
                     "validation data and timestamps may follow.", name)
    allowed = {CLIENT_FIELD} if name == ADVISER_FIELD else set()
    broken = [f for f in seen.facts if f.about == name and f.id in ("bytes", "signature")
              and f.state is BAD]
    if broken:
        seen.say("changes", UNKNOWN, "What was changed is not looked into: the signature does not "
                 "hold.", name)
        return
    first = not any(f.id == "changes" for f in seen.facts)
    before = changes_before(reader, signature) if first else ""  # else judged with the first
    after = changes_after(reader, signature, allowed)
    if before:
        seen.say("changes", BAD, f"More than a signature was added with it: {before}.", name)
    elif after.forbidden:
        seen.say("changes", BAD, f"The file was changed after it was signed: {after.forbidden}.",
                 name)
    elif after.allowed:
        seen.say("changes", GOOD, f"Added since, and allowed: {after.allowed}.", name)
    else:
        seen.say("changes", GOOD, "Nothing was changed since.", name)


def _named(seen: Pass, reader: PdfFileReader, signature: EmbeddedPdfSignature, role: str) -> None:
    """Whether the certificate is in the name of the party that the document names."""
    names = named_for(seen.stated, role)
    if not names and role == "adviser":  # made before the data named the parties
        names = tuple(filter(None, [str(look(reader.trailer_view, "/Info", "/Author") or "")]))
    signer = str(signature.signer_cert.subject.native.get("common_name", ""))
    listed = " or ".join(map(repr, names))
    about = signature.field_name
    if not names:
        seen.say("named", UNKNOWN, f"The document does not say who its {role} is; the certificate "
                 f"is in the name of {signer!r}.", about)
    elif any(same_name(signer, name) for name in names):
        seen.say("named", GOOD, f"The document names {signer!r} as its {role}, too.", about)
    else:
        seen.say("named", BAD, f"The document names {listed} as its {role}, the certificate "
                 f"is in the name of {signer!r}.", about)
