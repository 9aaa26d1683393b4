"""What comes after the issue: revisions, withdrawal, copies, export, erasure."""

import datetime as dt
import io
import json
import re
import zipfile

import pypdf
import pytest
from pdf_text import page_texts
from record_builders import (
    CLIENT,
    NUMBER,
    PERSONAL,
    SAMPLE,
    WHOLE,
    case_file,
    clock,
    told,
    unprinted,
)

from loambrief.archive.canonical import sha256
from loambrief.archive.check import check
from loambrief.archive.index import fold
from loambrief.archive.queries import due, find
from loambrief.archive.store import Store
from loambrief.case.load import load_case
from loambrief.errors import ArchiveBroken, ImpossibleInput, RecordRefused, UnknownName
from loambrief.record.export import export_client, safe_name, zipped
from loambrief.record.issue import issue
from loambrief.record.redact import (
    must_be_clean,
    names_in,
    redact,
    redacted_case,
    strings_of,
)
from loambrief.record.rerender import render_again, rerender
from loambrief.record.retention import add, erase, hold, release, scope_of
from loambrief.record.supersede import supersede
from loambrief.record.withdraw import withdraw
from loambrief.report.blocks import DocumentStatus
from loambrief.report.text import Writer


def text_of(pdf, pages=None):
    return "\n".join(page_texts(pdf, pages))


def test_revision_tells_what_changed(second):
    """ensures that a revision names what it replaces, the reason, and each changed value."""
    made = second[1]
    assert (made.number, made.revision) == (NUMBER, 2)
    data = json.loads(made.files[f"{NUMBER}-r2.json"])
    changes = data["changes"]
    assert changes["replaces"] == 1 and changes["reason"] == "The lab corrected a pH."
    inputs = {row[0]: row[1:] for row in changes["inputs"]}
    assert inputs["budget.amount"] == ["9000", "4000"]
    assert inputs["samples[N].increments[0-6 in].ph"] == ["5.6", "5.5"]
    assert set(inputs) == {"budget.amount", "samples[N].increments[0-6 in].ph", "case.purpose"}
    assert ["spent", "$4,332"] in [row[:2] for row in changes["money"]]
    assert changes["actions"] and changes["findings"]
    first, page = page_texts(made.files[f"{NUMBER}-r2.pdf"], 2)
    assert "revision 2 replaces revision 1" in first
    for words in ("What changed", "The lab corrected a pH.", "5.5", "$9,000", "$4,000", "rev. 2"):
        assert words in page


def test_old_revision_stays(replaced):
    """ensures that a replaced revision keeps its bytes and is marked in the index alone."""
    assert [(r.revision, r.status) for r in find(replaced)] == [(1, "superseded"), (2, "issued")]
    assert check(replaced).good
    with pytest.raises(RecordRefused, match="superseded"):
        issue(SAMPLE, replaced)


def test_revision_renders_again(second, replaced):
    """ensures that a revision with its page of changes is made again from what was frozen."""
    assert rerender(replaced, NUMBER).same
    assert issue(second[2], replaced).again


def test_superseding_refuses(replaced, second, tmp_path):
    """ensures that a revision has other inputs, the same client, a reason, and a number."""
    path = second[2]
    with pytest.raises(RecordRefused, match="same inputs"):
        supersede(NUMBER, path, replaced, reason="again")
    with pytest.raises(RecordRefused, match="same inputs"):  # no zone of it is drawn
        supersede(NUMBER, path, replaced, reason="again", rate_map=True)
    other = case_file(tmp_path / "other", client="  name: Somebody Else\n")
    with pytest.raises(RecordRefused, match="another client"):
        supersede(NUMBER, other, replaced, reason="again")
    with pytest.raises(ImpossibleInput):
        supersede(NUMBER, path, replaced, reason=" \n")
    with pytest.raises(ImpossibleInput):
        supersede(NUMBER, path, replaced, reason="again", kind="whim")
    with pytest.raises(UnknownName):
        supersede("IV-2026-0009", path, replaced, reason="again")
    assert replaced.head[0] == 3


def test_withdrawal(replaced):
    """ensures that a withdrawal makes a notice, and that later copies bear the mark."""
    made = withdraw(NUMBER, replaced, reason="Samples of two fields were swapped.",
                    notice="Do not spread lime.")
    (name, pdf), = made.files.items()
    assert name == f"{NUMBER}-r2-withdrawn.pdf"
    page = text_of(pdf)
    for words in ("is withdrawn", "Samples of two fields were swapped.", "Do not spread lime.",
                  "6 November 2026", "Ilse Varga", "555-0177", NUMBER):
        assert words in page.replace("\u00a0", " ")
    assert len(pypdf.PdfReader(io.BytesIO(pdf)).pages) == 1
    assert [r.status for r in find(replaced)] == ["superseded", "withdrawn"]
    assert check(replaced).good
    for again in (lambda: withdraw(NUMBER, replaced, reason="again"),
                  lambda: supersede(NUMBER, SAMPLE, replaced, reason="again")):
        with pytest.raises(RecordRefused):
            again()
    marked = render_again(replaced, NUMBER, status=DocumentStatus.WITHDRAWN)
    assert text_of(marked.pdf, 3).count("Withdrawn: do not use") == 2 * 3  # above and below
    assert due(replaced, dt.date(2027, 4, 20)) == []


def test_holds_and_erasure(replaced):
    """ensures that a hold keeps a client, and an erasure leaves no byte of them in the folder."""
    scope = scope_of(replaced, client="PRUETT & daughters grain")
    one = scope_of(replaced, number=NUMBER)
    hold(replaced, one, "Claim 18-4")
    for held in (scope, one):
        with pytest.raises(RecordRefused, match="hold"):
            erase(replaced, held, reason="asked to")
    with pytest.raises(RecordRefused):
        hold(replaced, one, "Claim 18-4")
    release(replaced, one, "Claim settled")
    with pytest.raises(RecordRefused, match=r"revision 2 is to be kept until 2034.*needs a reason"):
        erase(replaced, scope)
    with pytest.raises(RecordRefused, match="no names"):
        erase(replaced, scope, reason="Odessa Pruett wants it")
    gone = erase(replaced, scope, reason="The client asked for it by law.")
    assert (gone.records, gone.left) == (4, ())  # the reasons of the hold too
    root = replaced.disk.root
    content = b"\n".join(p.name.encode() + p.read_bytes() for p in root.rglob("*") if p.is_file())
    assert not [word for word in PERSONAL if word.encode() in content.lower()]
    report = check(replaced)
    assert report.good and report.erased == 4
    with pytest.raises(ArchiveBroken, match="erased"):
        rerender(replaced, NUMBER)
    with pytest.raises(UnknownName):
        scope_of(replaced, client=CLIENT)
    with pytest.raises(RecordRefused):
        erase(replaced, one)


def test_retention_must_be_over(store):
    """ensures that retention is no cause to erase before it is over, by the archive's clock."""
    one = scope_of(store, number=NUMBER)
    with pytest.raises(RecordRefused, match="kept until 2034-04-30"):
        erase(store, one, cause="retention")
    store.clock = lambda: dt.datetime(2034, 5, 1, tzinfo=dt.UTC)
    assert erase(store, one, cause="retention").records == 1
    assert check(store).good


def test_erasure_names_what_others_share(store, tmp_path):
    """ensures that a shared file that still names an erased client is pointed out."""
    shared = tmp_path / "results.csv"
    shared.write_text(f"{CLIENT},5.6\nBram Tolliver,6.1\n")
    add(store, [shared], role="lab", number=NUMBER)
    add(store, [shared], role="lab", client="Bram Tolliver")
    gone = erase(store, scope_of(store, client=CLIENT), reason="asked to")
    digest = sha256(shared.read_bytes())
    assert gone.left == (f"objects/{digest[:2]}/{digest[2:]}",)
    assert check(store).good


def test_added_files(store, tmp_path):
    """ensures that a signed copy joins its advisory once, and a link is not followed."""
    signed = tmp_path / "signed.pdf"
    signed.write_bytes(b"%PDF signed")
    add(store, [signed], role="signed", number=NUMBER)
    entry = store.find_digest(sha256(b"%PDF signed"))
    assert (entry.number, entry.revision, entry.role, entry.status) == (NUMBER, 1, "signed",
                                                                       "issued")
    with pytest.raises(RecordRefused):
        add(store, [signed], role="signed", number=NUMBER)
    link = tmp_path / "link.pdf"
    link.symlink_to("/etc/hostname")
    with pytest.raises(ArchiveBroken):
        add(store, [link], number=NUMBER)
    assert check(store).good


def test_export(replaced, tmp_path):
    """ensures that a client gets everything, listed, the same bytes each time."""
    note = tmp_path / "letter.txt"
    note.write_text("with the advisory")
    add(replaced, [note], role="delivery", number=NUMBER, note="by hand")
    files = export_client(replaced, CLIENT)
    assert zipped(files) == zipped(export_client(replaced, CLIENT))
    manifest = json.loads(files["manifest.json"])
    assert manifest["client"] == CLIENT and manifest["log"]["head"] == replaced.head[1]
    assert [e["what"] for e in manifest["events"]] == ["issue", "supersede", "add"]
    for listed in manifest["files"]:
        assert sha256(files[listed["path"]]) == listed["sha256"]
    old = f"{NUMBER}-r1/"
    assert text_of(files[f"{old}{NUMBER}-r1-superseded.pdf"], 1).count("Replaced: use the latest")
    assert "Replaced" not in text_of(files[f"{old}original/{NUMBER}-r1.pdf"], 1)
    assert files[f"{old}inputs/case.yaml"] == SAMPLE.read_bytes()
    with zipfile.ZipFile(io.BytesIO(zipped(files))) as packed:
        assert packed.namelist()[0] == "manifest.json" and packed.testzip() is None
        assert all(i.external_attr >> 16 == 0o600 for i in packed.infolist())


@pytest.mark.parametrize("name", ["../../etc/passwd", "/etc/passwd", "..\\..\\x", "a/../../b",
                                  "....//x", "\x00", ".ssh", "c:\\x", "..", ""])
def test_exported_names_stay_inside(name, tmp_path):
    """ensures that no name in a record can be unpacked outside the folder."""
    safe = safe_name(name)
    assert (tmp_path / safe).resolve().parent == tmp_path.resolve()
    assert safe.isprintable() and safe not in (".", "..", "")


def test_redacted_copy(redacted):
    """ensures that a copy for others names neither client, place nor field, anywhere in it."""
    made = redacted.copy
    pdf = made.files[f"{NUMBER}-r1-redacted.pdf"]
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    everything = [text_of(pdf), str(reader.metadata),
                  reader.xmp_metadata.stream.get_data().decode(),
                  made.files[f"{NUMBER}-r1-redacted.json"].decode(),
                  *(content[0].decode() for content in reader.attachments.values()),
                  *reader.attachments, json.dumps(reader.outline, default=str)]
    found = "\n".join(everything).casefold()
    assert not [word for word in PERSONAL if word in found]
    assert not re.search(r"\be40\b", found)  # the field's id; digests may hold its letters
    signer = load_case(SAMPLE).case.adviser
    for said in (signer.name, *signer.name.split(), signer.business, signer.phone, signer.email,
                 signer.credential.number, "Millrace", "MR-26-1881"):
        assert said.casefold() not in found, said
    assert "adviser (name removed)" in found and "laboratory 1" in found
    assert all("Redacted copy" in text for text in page_texts(pdf))
    assert "Lime: 1.75 ton/ac" in text_of(pdf).replace("\u00a0", " ")  # the advice is the same
    with Store.open(redacted.folder) as store:
        entry = store.find_digest(sha256(pdf))  # known again when it comes back
        assert (entry.role, entry.number) == ("redacted", NUMBER)
        with pytest.raises(ArchiveBroken):
            store.content(sha256(pdf))  # but not kept


def test_redacted_copy_leaves_no_place_landmark_or_number(redacted):
    """ensures that places, waters, prose and numbers of a case are gone from every part of a copy.

    What no rule can know (a quarry in a product's name) is shown by the preview, and struck by
    the user's own list.
    """
    stays = redacted.shown.stays
    assert "Hobday" not in str(stays) and "0142" not in str(stays)
    assert ("materials[0].name", "Calcitic agricultural lime, Deller quarry") in stays
    assert redacted.copy.seq == redacted.lines + 1
    for name, content in redacted.copy.files.items():
        for where, said in strings_of(name, content):
            assert not re.search(r"hobday|ferry lane|gallows|deller|kesh|0142|0190|\be40\b", said,
                                 re.IGNORECASE), (name, where)


@pytest.mark.parametrize("place", ["page", "attachments", "metadata", "objects",
                                   "document information"])
def test_every_part_of_a_copy_is_searched(place):
    """ensures that a name in text, attachment, metadata or an alternative text stops the copy."""
    from loambrief.render.pdf import render_pdf
    from loambrief.report import blocks as b
    from loambrief.report.page_text import page_words

    def page(**more):
        model = b.ReportModel(**{"title": "A page", "case_id": "x", "date": dt.date(2026, 1, 2),
                                 "words": page_words(Writer()),
                                 "blocks": (b.Heading(1, "A page"), b.Paragraph("Plain words")),
                                 **more})
        return render_pdf(model)

    attached = b.Attachment("a.txt", b"by Zebedee", "text/plain", b.Relationship.DATA, "d")
    data = {"page": lambda: page(blocks=(b.Heading(1, "A page"), b.Paragraph("by Zebe\u0301dee"))),
            "attachments": lambda: page(attachments=(attached,)),
            "metadata": lambda: page(author="Zebedee"),
            "document information": lambda: page(author="Zebedee"),
            "objects": lambda: page(title="Zebedee")}[place]()
    assert must_be_clean(frozenset({"Zebedee"}), frozenset(), "x.pdf", page()) is None
    with pytest.raises(RecordRefused, match="zebedee"):
        must_be_clean(frozenset({"Zebedee"}), frozenset(), "x.pdf", data)
    found = {where.split()[0] for where, said in strings_of("x.pdf", data)
             if "zebe" in fold(said)}
    assert place.split()[0] in found


def test_redacting_reaches_earlier_cases(tmp_path):
    """ensures that earlier cases of the field are struck too, and still count."""
    source = WHOLE.parents[1] / "history_beans_michigan"
    with unprinted(), Store.create(tmp_path / "records", clock=clock()) as store:
        made = issue(source / "case.yaml", store)
        copy = redact(made.number, store)
    data = [json.loads(next(c for n, c in files.items() if n.endswith(".json")))
            for files in (made.files, copy.files)]
    assert [a["rate"] for a in data[0]["actions"]] == [a["rate"] for a in data[1]["actions"]]
    names = r"halvorsen|petra|sugarbush|mill corner|ellery"
    assert len(set(re.findall(names, str(made.files), re.IGNORECASE))) >= 5
    assert not re.search(names, str(copy.files), re.IGNORECASE)
    advisory = next(c for n, c in copy.files.items() if n.endswith("-redacted.pdf"))
    assert all(f"Attachment(name='earlier-{n}.yaml'" in told(advisory) for n in (1, 2))


def test_redacting_strikes_what_stands_in_texts(tmp_path):
    """ensures that names, mail and coordinates inside other texts are struck as well."""
    from loambrief.record.completeness import case_source

    path = case_file(tmp_path, goal=(
        "  yield_goal:\n    value: 185 bu/ac\n    basis: as Odessa said, o.p@x.example, "
        "41.12345, -83.54321 and 41°07'24\"N\n"))
    source = case_source(path.read_bytes(), "case.yaml", tmp_path)
    names = names_in(source)
    raw = redacted_case(source, "copy", names, Writer())
    basis = json.loads(raw)["field"]["yield_goal"]["basis"]
    assert basis.count("[removed]") >= 4
    for part in ("Odessa", "o.p@", "41.1", "83.5", "41°"):
        assert part not in basis
    assert {"Pruett", "Odessa", CLIENT} <= set(names) and "Grain" not in names
