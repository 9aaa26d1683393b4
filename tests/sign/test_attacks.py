"""Changes made after signing, as published attacks make them: each must be found.

Incremental saving, shadow (hide, replace, hide and replace) and signature wrapping attacks
follow the classes of Mladenov et al. (2019) and Mainka et al. (2021), "Shadow attacks"; from
memory, unverified. The rule they break is ISO 32000-1, 12.8.2.2 (DocMDP, permission 2).
"""

from __future__ import annotations

import io
import re

import pikepdf
import pytest
import sign_samples as samples
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.generic import pdf_name
from pyhanko.sign import fields, signers

from loambrief.archive.facts import FactState
from loambrief.archive.sign import Role, _SigningWriter, sign


def updated(data, change):
    """The file with an incremental update; the metadata stay as they are unless changed."""
    writer = _SigningWriter(io.BytesIO(data))
    change(writer)
    out = io.BytesIO()
    writer.write(out)
    assert out.getvalue().startswith(data)
    return out.getvalue()


def page_of(writer, number=0):
    return writer.find_page_for_modification(number)[0].get_object()


def overlay(writer):
    """Paint over the page."""
    ink = writer.add_object(generic.StreamObject(stream_data=b"q 1 g 0 0 600 800 re f Q"))
    writer.add_stream_to_page(0, ink)


def replace_content(writer):
    """Other content in the place of the page's own."""
    page = page_of(writer)
    other = writer.add_object(generic.StreamObject(stream_data=b"BT ET"))
    page["/Contents"] = other
    writer.update_container(page)


def overwrite_stream(writer):
    """Another stream under the number of the page's own content."""
    page = page_of(writer)
    stream = page["/Contents"]
    stream = stream[0].get_object() if isinstance(stream, generic.ArrayObject) else stream
    stream._data = stream.data.replace(b"Tj", b"Tj ") + b" "
    stream._encoded_data = None
    writer.update_container(stream)


def annotate(writer):
    """A note that covers the rate."""
    page = page_of(writer)
    note = writer.add_object(generic.DictionaryObject({
        pdf_name("/Type"): pdf_name("/Annot"), pdf_name("/Subtype"): pdf_name("/FreeText"),
        pdf_name("/Contents"): generic.pdf_string("15 ton an acre"),
        pdf_name("/DA"): generic.pdf_string("/Helv 12 Tf"), pdf_name("/F"): generic.NumberObject(4),
        pdf_name("/Rect"): generic.ArrayObject(map(generic.NumberObject, (50, 700, 400, 720)))}))
    page["/Annots"].append(note)
    writer.update_container(page["/Annots"])


def field_of(writer, name):
    return next(f.get_object() for f in writer.root["/AcroForm"]["/Fields"]
                if f.get_object()["/T"] == name)


def fake_signature(writer):
    """The grower's field looks signed, but is not."""
    look = generic.StreamObject({
        pdf_name("/Type"): pdf_name("/XObject"), pdf_name("/Subtype"): pdf_name("/Form"),
        pdf_name("/BBox"): generic.ArrayObject(map(generic.NumberObject, (0, 0, 200, 30)))},
        stream_data=b"q 0 g 0 0 100 20 re f Q")
    field = field_of(writer, "Client")
    field["/AP"] = generic.DictionaryObject({pdf_name("/N"): writer.add_object(look)})
    writer.update_container(field)


def move_field(writer):
    """The adviser's signature somewhere else on the page."""
    field = field_of(writer, "Adviser")
    field["/Rect"] = generic.ArrayObject(map(generic.NumberObject, (50, 700, 400, 740)))
    writer.update_container(field)


def remove_signature(writer):
    """The adviser's signature taken out of its field."""
    field = field_of(writer, "Adviser")
    del field["/V"]
    writer.update_container(field)


def remove_form(writer):
    """No form any more, so no signature that a reader would show."""
    del writer.root["/AcroForm"]
    writer.update_root()


def swap_attachment(writer):
    """Another case in the place of the attached one."""
    names = writer.root["/Names"]["/EmbeddedFiles"]["/Names"]
    stream = names[1].get_object()["/EF"]["/F"]
    stream._data, stream._encoded_data = b"case: {id: another}\n", None
    writer.update_container(stream)


def add_attachment(writer):
    """One more file."""
    names = writer.root["/Names"]["/EmbeddedFiles"]["/Names"]
    names += [generic.pdf_string("zz"), names[1]]
    writer.update_container(names)


def edit_xmp(writer):
    """Another title in the metadata."""
    stream = writer.root["/Metadata"]
    packet = stream.data.replace(b"Trial page", b"Other page")
    other = generic.StreamObject({pdf_name("/Type"): pdf_name("/Metadata"),
                                  pdf_name("/Subtype"): pdf_name("/XML")}, stream_data=packet)
    writer.root["/Metadata"] = writer.add_object(other)
    writer.update_root()


def edit_info(writer):
    """Another number in the information dictionary."""
    info = writer._info.get_object()
    info["/Keywords"] = generic.pdf_string("RF-2026-0008")
    writer.mark_update(writer._info)


def add_script(writer):
    """A script that runs when the file is opened."""
    writer.root["/OpenAction"] = generic.DictionaryObject({
        pdf_name("/S"): pdf_name("/JavaScript"), pdf_name("/JS"): generic.pdf_string("1")})
    writer.update_root()


def other_language(writer):
    """A small entry of the catalog."""
    writer.root["/Lang"] = generic.pdf_string("fr")
    writer.update_root()


def other_root(writer):
    """Hide and replace: the trailer names another catalog."""
    copy = generic.DictionaryObject(writer.root)
    pages = generic.DictionaryObject(writer.root["/Pages"])
    kept = [writer.prev.root["/Pages"]["/Kids"][0]]
    pages["/Kids"] = generic.ArrayObject(kept)
    copy["/Pages"] = writer.add_object(pages)
    writer._root = writer.add_object(copy)


UPDATES = (overlay, replace_content, overwrite_stream, annotate, fake_signature, move_field,
           remove_signature, remove_form, swap_attachment, add_attachment, edit_xmp, edit_info,
           add_script, other_language, other_root)


@pytest.mark.parametrize("change", UPDATES, ids=lambda f: f.__name__)
@pytest.mark.parametrize("which", ["signed", "both"])
def test_updates_after_signing_are_found(change, which, request, look):
    """ensures that an incremental update that is not signing makes the file bad."""
    facts = look(updated(request.getfixturevalue(which), change))
    assert facts["bottom"] is FactState.BAD, change.__doc__
    if change not in (remove_signature, remove_form):
        changed = [f for k, f in facts.items() if k[0] == "changes" and f.state is FactState.BAD]
        assert changed or facts["readable"].state is FactState.BAD


def test_nothing_in_the_tests_above_is_bad_by_itself(signed, look):
    """ensures that the attacks are found for what they change, not for how they are written.

    An update that changes nothing but repeats an object is allowed by ISO 32000-1; it is
    harmless, yet its bytes are under no signature.
    """
    def repeat(writer):
        writer.update_container(page_of(writer))

    facts = look(updated(signed, repeat))
    assert facts["changes", "Adviser"].state is FactState.GOOD
    assert facts["bottom"] is not FactState.GOOD


@pytest.mark.parametrize("change", [
    lambda d: d + b"\n", lambda d: d + b"%%EOF\n", lambda d: d + b"% a comment\n",
    lambda d: d + b"garbage " * 40, lambda d: d + d, lambda d: b"\n" + d,
    lambda d: d[:-1], lambda d: d[:-200], lambda d: d[:len(d) // 2], lambda d: d[:20],
    lambda d: b"", lambda d: d.replace(b"%PDF-1.7", b"%PDF-1.6", 1),
    lambda d: d.replace(b"/ETSI.CAdES.detached", b"/ETSI.CAdES.detacheX"),
], ids=["newline", "second EOF", "comment", "garbage", "doubled", "before", "one less", "cut",
        "half", "header only", "empty", "version", "kind"])
@pytest.mark.parametrize("which", ["signed", "both"])
def test_damage_is_found(change, which, request, look):
    """ensures that appended, prepended and missing bytes make the file not good."""
    assert look(change(request.getfixturevalue(which)))["bottom"] is FactState.BAD


def test_a_signature_cut_off_is_missed(issued, signed, both, look):
    """ensures that going back to an earlier revision shows as what it is."""
    assert both.startswith(signed) and signed.startswith(issued)
    facts = look(issued)
    assert facts["signed"].state is FactState.BAD and facts["bottom"] is FactState.BAD
    assert look(signed)["bottom"] is FactState.GOOD
    assert "client" not in look(signed)["signed"].text


def test_wrapping_is_found(signed, look):
    """ensures that the room in the gap cannot be used for other content.

    Signature wrapping keeps the signed ranges and moves what lies between them.
    """
    (match,) = re.finditer(rb"/ByteRange \[0 (\d+) (\d+) \d+\]", signed)
    start, end = int(match[1]), int(match[2])
    digits = signed[start:end].rstrip(b"0>")
    room = end - start - len(digits)
    inside = b"00>" + b"/X (" + b"y" * (room - 20) + b")"
    wrapped = signed[:start] + digits + inside.ljust(room) + signed[end:]
    assert len(wrapped) == len(signed)
    assert look(wrapped)["bottom"] is FactState.BAD
    moved = signed[:match.start()] + match[0].replace(match[2], b"%d" % (end + 1)) + \
        signed[match.end():]
    assert look(moved)["bottom"] is FactState.BAD


def test_a_stranger_cannot_sign_in_a_new_field(signed, look, tmp_path):
    """ensures that a third party's signature, seen or unseen, makes the file bad."""
    stranger = samples.opened(samples.Holder("Somebody else"), tmp_path)
    for box in (None, (50, 650, 300, 700)):
        writer = _SigningWriter(io.BytesIO(signed))
        spec = fields.SigFieldSpec("Stranger", box=box)
        out = signers.PdfSigner(
            signers.PdfSignatureMetadata(field_name="Stranger",
                                         subfilter=fields.SigSeedSubFilter.PADES),
            stranger.key, new_field_spec=spec).sign_pdf(writer)
        facts = look(out.getvalue())
        assert facts["signed"].state is FactState.BAD and facts["bottom"] is FactState.BAD


def test_another_persons_signature_is_not_the_advisers(issued, look, tmp_path):
    """ensures that a file signed anew by someone else is not good, whatever its other facts."""
    stranger = samples.opened(samples.Holder("R. Fennimore"), tmp_path)
    forged = sign(issued, stranger, Role.ADVISER, now=samples.NOW).content
    facts = look(forged)
    assert facts["bytes", "Adviser"].state is FactState.GOOD
    assert facts["signer", "Adviser"].state is FactState.UNKNOWN
    assert facts["bottom"] is FactState.UNKNOWN
    assert "none of the trusted certificates" in facts["sentence"]


def test_change_within_the_signing_revision_is_found(issued, look, keys_folder):
    """ensures that the revision that signs adds nothing but the signature.

    The signer itself could change a page in the same step; then the file no longer is the
    advisory that was issued, though its signature holds.
    """
    signer = samples.opened(samples.adviser(), keys_folder)
    writer = _SigningWriter(io.BytesIO(issued))
    overlay(writer)
    out = signers.PdfSigner(
        signers.PdfSignatureMetadata(field_name="Adviser", certify=True,
                                     subfilter=fields.SigSeedSubFilter.PADES),
        signer.key).sign_pdf(writer, existing_fields_only=True).getvalue()
    facts = look(out)
    assert facts["bytes", "Adviser"].state is FactState.GOOD
    assert facts["changes", "Adviser"].state is FactState.BAD


def test_approval_without_certification_is_held_to_the_same_rule(issued, look, keys_folder):
    """ensures that a signature made elsewhere, without DocMDP, forbids changes all the same."""
    signer = samples.opened(samples.adviser(), keys_folder)
    out = signers.PdfSigner(
        signers.PdfSignatureMetadata(field_name="Adviser",
                                     subfilter=fields.SigSeedSubFilter.PADES),
        signer.key).sign_pdf(_SigningWriter(io.BytesIO(issued)),
                             existing_fields_only=True).getvalue()
    facts = look(out)
    assert facts["certified", "Adviser"].state is FactState.UNKNOWN
    assert facts["bottom"] is FactState.GOOD
    assert look(updated(out, annotate))["bottom"] is FactState.BAD


class _Dated(_SigningWriter):
    """Writes its date into both kinds of metadata, as many programs do."""

    def _update_meta(self):
        self._info.get_object()["/ModDate"] = generic.pdf_string("D:20261021080000Z")
        self.mark_update(self._info)
        packet = re.sub(rb"(ModifyDate>|MetadataDate>)[^<]*<", rb"\g<1>2026-10-21T08:00:00Z<",
                        self.root["/Metadata"].data)
        self.root["/Metadata"] = self.add_object(generic.StreamObject(
            {pdf_name("/Type"): pdf_name("/Metadata"), pdf_name("/Subtype"): pdf_name("/XML")},
            stream_data=packet))
        self.update_root()


def test_dates_in_the_metadata_may_change(signed, look, keys_folder):
    """ensures that a client may sign with a program that writes its date into the metadata."""
    signer = samples.opened(samples.client(), keys_folder)
    out = signers.PdfSigner(
        signers.PdfSignatureMetadata(field_name="Client",
                                     docmdp_permissions=fields.MDPPerm.NO_CHANGES,
                                     subfilter=fields.SigSeedSubFilter.PADES),
        signer.key).sign_pdf(_Dated(io.BytesIO(signed)), existing_fields_only=True).getvalue()
    facts = look(out)
    assert b"2026-10-21T08:00:00Z" not in signed
    assert facts["changes", "Adviser"].state is FactState.GOOD, facts["changes", "Adviser"].text
    assert facts["bottom"] is FactState.GOOD


@pytest.mark.parametrize("break_it,word", [
    (lambda pdf: pdf.Root.AcroForm.__setattr__("NeedAppearances", True), "appearance"),
    (lambda pdf: pdf.pages[0].obj.Annots[0].__setattr__("F", 2), "hidden"),
    (lambda pdf: pdf.pages[0].obj.Annots[0].__setattr__(
        "AA", pikepdf.Dictionary(U=pikepdf.Dictionary(S=pikepdf.Name.Named,
                                                      N=pikepdf.Name.NextPage))), "action"),
    (lambda pdf: pdf.docinfo.__setitem__("/Title", "Another"), "Title"),
    (lambda pdf: pdf.pages[0].obj.Annots[0].AP.N.__setattr__(
        "Resources", pikepdf.Dictionary(Font=pikepdf.Dictionary(F1=pikepdf.Dictionary(
            Type=pikepdf.Name.Font, Subtype=pikepdf.Name.Type1,
            BaseFont=pikepdf.Name.Helvetica)))) or pdf.pages[0].obj.Annots[0].AP.N.write(
                b"BT /F1 9 Tf (x) Tj ET"), ""),
    (lambda pdf: pdf.pages[0].obj.Annots[0].AP.N.__setattr__(
        "Group", pikepdf.Dictionary(S=pikepdf.Name.Transparency, CS=pikepdf.Name.DeviceCMYK)),
     ""),
], ids=["reader's look", "hidden", "action", "metadata differ", "font not embedded",
        "transparency"])
def test_archival_faults_are_found(signed, break_it, word):
    """ensures that what ISO 19005-3 forbids in a form is found, and what it allows is not."""
    from loambrief.archive.verify_pdf import archival_faults

    assert archival_faults(signed) == []
    with pikepdf.open(io.BytesIO(signed)) as pdf:
        break_it(pdf)
        out = io.BytesIO()
        pdf.save(out)
    faults = archival_faults(out.getvalue())
    assert faults and word in " ".join(faults)
