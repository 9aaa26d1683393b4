"""Sign an advisory: PAdES baseline signatures in the sign-off block's own fields.

ETSI EN 319 142-1 (PAdES), ISO 32000-1, 12.8. The adviser signs first and certifies the file
(DocMDP, permission 2): afterwards only the prepared field of the client may be filled in, and
validation data and timestamps added. The client's field carries a lock on everything, so
nothing may follow it but validation data and timestamps. Certification is used rather than an
approval signature with FieldMDP alone, because FieldMDP binds form fields only: pages and
attachments would rest on the reader's own rules.

Validation data (B-LT) go into the same revision as the signature, so that every byte of the
file is under a signature.
"""

import datetime as dt
import logging
from dataclasses import dataclass, field
from enum import StrEnum
from io import BytesIO

from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign import signers
from pyhanko.sign.fields import InvisSigSettings, MDPPerm, SigSeedSubFilter
from pyhanko.sign.general import SigningError
from pyhanko.sign.signers.pdf_signer import (
    DSSContentSettings,
    PdfTimeStamper,
    SigDSSPlacementPreference,
)
from pyhanko.sign.timestamps import TimeStamper
from pyhanko_certvalidator import ValidationContext
from pyhanko_certvalidator.errors import PathBuildingError, PathValidationError

from loambrief.archive.errors import KeyFault, SignFault, TimestampFault
from loambrief.archive.keys import is_trial, load_certificates
from loambrief.archive.levels import revocation_of
from loambrief.archive.names import named_for, same_name
from loambrief.archive.pdf_parts import attachments, look, open_pdf, stated_in
from loambrief.archive.sign_look import SignatureLook
from loambrief.archive.sign_settings import LEVELS, SignSettings
from loambrief.archive.timestamps import HttpTimeStamper
from loambrief.report.parts import ADVISER_FIELD, CLIENT_FIELD

for _name in ("pyhanko", "pyhanko_certvalidator", "fontTools"):
    logging.getLogger(_name).addHandler(logging.NullHandler())  # else they print to stderr

DIGEST = "sha256"
_TROUBLE = (SigningError, PathBuildingError, PathValidationError, TimestampFault, OSError)


class Role(StrEnum):
    """Who signs; the value is also the field's name in lower case."""

    ADVISER = "adviser"
    CLIENT = "client"

    @property
    def field(self) -> str:
        """Name of the signature field."""
        return ADVISER_FIELD if self is Role.ADVISER else CLIENT_FIELD


@dataclass(frozen=True)
class SignWords:
    """Words on and in a signature, in the document's language.

    ``{}`` in ``signed_by`` is the signer's name, in ``name_differs`` the reason.
    """

    signed_by: str = "Digitally signed by {}"
    trial: str = "Trial certificate: identity not checked"
    draft: str = "Trial signature on a draft"
    reason_adviser: str = "I prepared this advisory."
    reason_client: str = "I have received this advisory."
    name_differs: str = "The certificate is in another name: {}"


@dataclass(frozen=True)
class Signer:
    """An opened key with what it takes to reach a level; made once, used for many files."""

    key: signers.Signer
    settings: SignSettings = field(default_factory=SignSettings)
    timestamper: TimeStamper | None = None

    @property
    def name(self) -> str:
        return str(self.key.subject_name)

    @property
    def trial(self) -> bool:
        return is_trial(self.key.signing_cert)


@dataclass(frozen=True)
class Signed:
    """A signed file, the level it reached, and why a higher one that was asked for was not."""

    content: bytes
    level: str
    asked: str
    shortfalls: tuple[str, ...] = ()

    @property
    def complete(self) -> bool:
        return self.level == self.asked


def open_signer(settings: SignSettings, key: signers.Signer) -> Signer:
    """A signer for one run; the timestamp server is not asked yet.

    Raises
    ------
    TimestampFault
        The server's address will not do.
    """
    url = settings.timestamp_url
    wanted = url and settings.level != "B-B"
    return Signer(key, settings, HttpTimeStamper(url) if wanted else None)


def sign(pdf: bytes, signer: Signer, role: Role, *, now: dt.datetime,
         words: SignWords = SignWords(), trial: bool = False, name_differs: str = "") -> Signed:
    """Sign one file.

    Parameters
    ----------
    pdf : bytes
        An advisory of this program. The result begins with these very bytes.
    role : Role
        The adviser signs first; the client's is the last signature.
    now : datetime
        Time of signing as the signer claims it, with time zone.
    trial : bool
        Let a draft be signed; the signature says so.
    name_differs : str
        Why the certificate is in another name than the document; it stands in the signature.

    Returns
    -------
    Signed
        At the highest level up to the one asked for that could be reached.

    Raises
    ------
    SignFault
        A draft without ``trial``, a wrong order of signatures, no field to sign in, not an
        advisory of this program, or another name without ``name_differs``.
    """
    draft, names = _check(pdf, role, trial)
    differs = bool(names) and not any(same_name(signer.name, name) for name in names)
    if differs and not name_differs.strip():
        raise SignFault(f"the certificate is in the name of {signer.name!r}, the document names "
                        f"{' or '.join(map(repr, names))} as its {role}; --name-differs REASON "
                        "signs all the same, and 'verify' will not call the file good")
    asked = signer.settings.level
    shortfalls: list[str] = []
    lines = [words.signed_by.replace("{}", signer.name),
             f"{now.astimezone(dt.UTC):%Y-%m-%d %H:%M} UTC"]
    if draft or signer.trial:
        lines.append(words.draft if draft else words.trial)
    reason = words.reason_adviser if role is Role.ADVISER else words.reason_client
    if draft:
        reason = f"{words.draft}. {reason}"
    if differs:
        reason = f"{reason} {words.name_differs.replace('{}', ' '.join(name_differs.split()))}"
    for level in LEVELS[LEVELS.index(asked)::-1]:
        try:
            content = _sign_at(pdf, signer, role, level, now, tuple(lines), reason)
        except _TROUBLE as error:
            if level == "B-B":
                raise SignFault(f"not signed: {_why(error)}") from None
            shortfalls.append(f"{level} not reached: {_why(error)}")
            continue
        return Signed(content, level, asked, tuple(shortfalls))
    raise SignFault("not signed: no level was tried")


def language_of(pdf: bytes) -> str:
    """Language tag of a document; "en" if it has none.

    Raises
    ------
    SignFault
        Not a readable PDF.
    """
    return str(look(open_pdf(pdf).root, "/Lang") or "en")


def _check(pdf: bytes, role: Role, trial: bool) -> tuple[bool, tuple[str, ...]]:
    """Whether it is a draft that is signed, and who should; refuses what must not be signed."""
    reader = open_pdf(pdf)
    try:
        stated = stated_in(attachments(reader.root))
        status, names = stated["status"], named_for(stated, role)
        filled = [s.field_name for s in reader.embedded_regular_signatures]
        fields = {str(f.get_object()["/T"]) for f in reader.root["/AcroForm"]["/Fields"]}
    except Exception as error:  # what a parser raises on a hostile file is beyond listing
        raise SignFault("not an advisory of this program: no attached data or no signature "
                        f"field ({type(error).__name__})") from None
    if role.field not in fields:
        raise SignFault(f"the file has no field {role.field!r}")
    if status not in ("issued", "draft"):
        raise SignFault(f"this file is no issued advisory: its data say {status!r}")
    if status == "draft" and not trial:
        raise SignFault("this is a draft; issue it first (loambrief issue), or sign it with "
                        "--trial")
    if role.field in filled:
        raise SignFault(f"the {role} has signed already")
    if role is Role.ADVISER and filled:
        raise SignFault(f"signed already by {', '.join(filled)}; the adviser signs first")
    if role is Role.CLIENT and ADVISER_FIELD not in filled:
        raise SignFault("the adviser has not signed yet; the client signs last")
    return status != "issued", names


class _SigningWriter(IncrementalPdfFileWriter):
    """Leaves the metadata as they are: the file's dates are the case's, not today's."""

    def _update_meta(self):
        pass


class _AtTime(signers.PdfSigner):
    """Signs at a given time instead of the clock's."""

    moment: dt.datetime

    def init_signing_session(self, pdf_out, existing_fields_only=False):
        session = super().init_signing_session(pdf_out, existing_fields_only)
        session.system_time = self.moment
        return session


def _sign_at(pdf: bytes, signer: Signer, role: Role, level: str, now: dt.datetime,
             lines: tuple[str, ...], reason: str) -> bytes:
    """The file signed at one level, or one of ``_TROUBLE``."""
    with_time = level != "B-B"
    if with_time and signer.timestamper is None:
        raise TimestampFault("no timestamp server is configured")
    context = None
    if level in ("B-LT", "B-LTA"):
        context = _validation(signer.settings, now)
    meta = signers.PdfSignatureMetadata(
        field_name=role.field,
        md_algorithm=DIGEST,
        subfilter=SigSeedSubFilter.PADES,
        reason=reason,
        name=signer.name,
        certify=role is Role.ADVISER,
        docmdp_permissions=(MDPPerm.FILL_FORMS if role is Role.ADVISER else MDPPerm.NO_CHANGES),
        embed_validation_info=context is not None,
        validation_context=context,
        dss_settings=DSSContentSettings(
            include_vri=False, placement=SigDSSPlacementPreference.TOGETHER_WITH_SIGNATURE),
    )
    maker = _AtTime(meta, signer.key, timestamper=signer.timestamper if with_time else None,
                    stamp_style=SignatureLook(border_width=0, lines=lines))
    maker.moment = now
    out = BytesIO()
    maker.sign_pdf(_SigningWriter(BytesIO(pdf)), existing_fields_only=True, output=out)
    if level == "B-LTA":
        assert signer.timestamper is not None  # without a clock no such level is chosen
        stamp = PdfTimeStamper(signer.timestamper, field_name=f"Timestamp after {role.field}",
                               invis_settings=InvisSigSettings(box_out_of_bounds=True))
        signed, out = out.getvalue(), BytesIO()
        stamp.timestamp_pdf(_SigningWriter(BytesIO(signed)), DIGEST, output=out)
    content = out.getvalue()
    if context is not None:
        missing = revocation_of(open_pdf(content), role.field)
        if missing:
            raise SigningError(f"no revocation data for {missing}")
    return content


def _validation(settings: SignSettings, now: dt.datetime) -> ValidationContext:
    """Anchors and revocation data for long-term levels, as far as they are configured."""
    if not settings.trust:
        raise SigningError("no trust anchor is configured (trust = [...])")
    if not (settings.crls or settings.ocsps or settings.fetch):
        raise SigningError("no revocation data is configured (crls, ocsps or fetch)")
    try:
        return ValidationContext(
            trust_roots=[c for file in settings.trust for c in load_certificates(file)],
            other_certs=[c for file in settings.chain for c in load_certificates(file)],
            crls=[_der(file.read_bytes()) for file in settings.crls],
            ocsps=[file.read_bytes() for file in settings.ocsps],
            allow_fetching=settings.fetch, revocation_mode="require", moment=now)
    except (KeyFault, ValueError, TypeError) as error:
        raise SigningError(f"revocation data or anchors cannot be read: {error}") from None


def _der(content: bytes) -> bytes:
    from asn1crypto import pem

    return pem.unarmor(content)[2] if pem.detect(content) else content


def _why(error: BaseException) -> str:
    """The innermost reason, in one line."""
    cause = error.__cause__ or error
    return " ".join(str(cause or error).split())[:300]
