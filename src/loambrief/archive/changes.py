"""What was added to a file with a signature and after it (ISO 32000-1, 12.8.2.2 and 12.8.4).

pyHanko compares revisions and says to which kind each change belongs. On top of it, this
module allows less: only the fields that may be signed next, no annotation, and of the
metadata only dates.
"""

from dataclasses import dataclass

from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.diff_analysis import (
    DEFAULT_DIFF_POLICY,
    CatalogModificationRule,
    DiffResult,
    ModificationLevel,
    StandardDiffPolicy,
    SuspiciousModification,
)
from pyhanko.sign.diff_analysis.constants import ROOT_EXEMPT_STRICT_COMPARISON
from pyhanko.sign.validation.pdf_embedded import EmbeddedPdfSignature

from loambrief.archive.pdf_parts import look
from loambrief.archive.xmp import read_xmp

_DATES = {"/ModDate", "xmp:ModifyDate", "xmp:MetadataDate"}
_FIRST = StandardDiffPolicy(
    global_rules=[CatalogModificationRule(ROOT_EXEMPT_STRICT_COMPARISON | {"/Perms"}),
                  *DEFAULT_DIFF_POLICY.global_rules[1:]],
    form_rule=DEFAULT_DIFF_POLICY.form_rule)
"""For the revision that certifies: it writes the permissions into the catalog."""


@dataclass(frozen=True)
class LaterChanges:
    """Changes in words; either may be empty."""

    allowed: str = ""
    forbidden: str = ""


def changes_after(reader: PdfFileReader, signature: EmbeddedPdfSignature,
                  may_sign: set[str]) -> LaterChanges:
    """Changes in the revisions after the one a signature covers.

    Parameters
    ----------
    may_sign : set of str
        Fields that may be filled in afterwards.
    """
    last = reader.xrefs.total_revisions - 1
    if signature.signed_revision >= last:
        return LaterChanges()
    result = DEFAULT_DIFF_POLICY.review_file(
        reader, signature.signed_revision, field_mdp_spec=signature.fieldmdp,
        doc_mdp=signature.docmdp_level)
    return _judge(reader, result, signature.signed_revision, last, may_sign)


def changes_before(reader: PdfFileReader, signature: EmbeddedPdfSignature) -> str:
    """What came in a signature's own revision and is not part of signing; empty if nothing."""
    own = signature.signed_revision
    if own == 0:
        return ""
    result: DiffResult | SuspiciousModification
    try:
        result = _FIRST.apply(reader.get_historical_resolver(own - 1),
                              reader.get_historical_resolver(own))
    except SuspiciousModification as error:
        result = error
    return _judge(reader, result, own - 1, own, {signature.field_name}).forbidden


def _judge(reader: PdfFileReader, result: DiffResult | SuspiciousModification, old: int,
           new: int, may_sign: set[str]) -> LaterChanges:
    if not isinstance(result, DiffResult):
        return LaterChanges(forbidden=_short(result))
    stamps = {s.field_name for s in reader.embedded_timestamp_signatures}
    fields = result.changed_form_fields - stamps
    if fields - may_sign:
        return LaterChanges(forbidden=f"field {sorted(fields - may_sign)[0]!r} was changed")
    if result.modification_level.value > ModificationLevel.FORM_FILLING.value:
        return LaterChanges(forbidden="annotations were added or changed")
    if result.modification_level is ModificationLevel.FORM_FILLING and not fields:
        return LaterChanges(forbidden="the form was changed")
    unsigned = {name for name in fields if not _signed(reader, name, new)}
    if unsigned:
        return LaterChanges(forbidden=f"field {sorted(unsigned)[0]!r} looks signed but is not")
    metadata = _metadata(reader, old, new)
    if metadata:
        return LaterChanges(forbidden=metadata)
    said = [f"signature in field {name!r}" for name in sorted(fields)]
    if result.changed_form_fields & stamps:
        said.append("a timestamp")
    if result.modification_level is ModificationLevel.LTA_UPDATES and not said:
        said.append("validation data")
    return LaterChanges(allowed=" and ".join(said))


def _signed(reader: PdfFileReader, name: str, revision: int) -> bool:
    return any(s.field_name == name and s.signed_revision <= revision
               for s in reader.embedded_signatures)


def _metadata(reader: PdfFileReader, old: int, new: int) -> str:
    """What of the metadata differs between two revisions but for dates."""
    first, second = (reader.get_historical_resolver(r) for r in (old, new))
    before, after = _said_in(first), _said_in(second)
    for key in sorted(before.keys() | after.keys()):
        if key not in _DATES and before.get(key) != after.get(key):
            return f"the metadata say something else ({key.lstrip('/')})"
    return ""


def _said_in(revision) -> dict[str, str]:
    trailer = revision.trailer_view
    reference = trailer.raw_get("/Info") if "/Info" in trailer else None
    info = revision.get_object(reference.reference) if reference is not None else {}
    found = {key: str(info[key]) for key in info}
    stream = look(revision.root, "/Metadata")
    if stream is not None:
        try:
            found |= read_xmp(stream.data)
        except ValueError as error:
            found["metadata"] = str(error)
    return found


def _short(error: BaseException) -> str:
    """A reason that names no internal numbers."""
    text = " ".join(str(error).split())
    for sign, words in (("unexplained xrefs", "content was replaced or added"),
                        ("annot", "annotations were added or changed"),
                        ("deleted", "a field or signature was removed"),
                        ("/Names", "attachments were changed"),
                        ("/AF", "attachments were changed"),
                        ("/Root", "the document's catalog was changed")):
        if sign.lower() in text.lower():
            return words
    return text[:120].rstrip(".") or "content was changed"
