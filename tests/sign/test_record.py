"""From case to verified signature: the commands, the attached case, the record."""

from __future__ import annotations

import hashlib
import io
import json
import subprocess
from dataclasses import replace
from types import SimpleNamespace

import pikepdf
import pytest
import sign_samples as samples
import yaml
from click.testing import CliRunner
from sample_reports import short_text

from loambrief import pipeline
from loambrief.archive.errors import SignFault
from loambrief.archive.facts import FactState, FileFact, Inspection, bottom_line
from loambrief.archive.names import same_name
from loambrief.archive.sign import Role, SignWords, sign
from loambrief.archive.store import Store, StoredFile
from loambrief.archive.verify_pdf import inspect
from loambrief.cli import main
from loambrief.record import verify as verifying
from loambrief.record.issue import issue

ENV = {"SIGN_P": samples.PASSPHRASE}


def run(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments], env=ENV)


def _in_two_files(folder):
    """The sample with its adviser in a profile beside it."""
    raw = yaml.safe_load(short_text())
    for name in ("case", "profiles"):
        (folder / name).mkdir()
    (folder / "profiles" / "me.yaml").write_text(
        yaml.safe_dump(raw["adviser"], sort_keys=False, allow_unicode=True), encoding="utf-8")
    raw["adviser"] = {"file": "../profiles/me.yaml"}
    path = folder / "case" / "case.yaml"
    path.write_text("\ufeff" + yaml.safe_dump(raw, sort_keys=False, allow_unicode=True),
                    encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def work(tmp_path_factory):
    """A folder with an archive, an issued advisory of a sample, keys and certificates.

    The sample is put together from two files, and starts with a byte-order mark.
    """
    folder = tmp_path_factory.mktemp("work")
    with Store.create(folder / "records", clock=lambda: samples.NOW) as store:
        made = issue(_in_two_files(folder), store)
    for name, content in made.files.items():
        (folder / name).write_bytes(content)
    for name, holder in (("adviser", samples.named("Ilse Varga")),
                         ("client", samples.named("Odessa Pruett"))):
        (folder / f"{name}.p12").write_bytes(holder.packed)
        (folder / f"{name}.p12").chmod(0o600)
        (folder / f"{name}.pem").write_bytes(holder.pem)
    (folder / "issued.pdf").write_bytes(made.files[f"{made.number}-r1.pdf"])
    with pytest.MonkeyPatch.context() as patch:  # the client signs with a process apart
        patch.setattr("loambrief.archive.verify_apart.inspect_apart", inspect)
        done = run("sign", folder / "issued.pdf", "--key", folder / "adviser.p12",
                   "--passphrase-env", "SIGN_P", "-o", folder / "signed.pdf")
    assert done.exit_code == 0, done.output
    assert f"wrote {folder / 'signed.pdf'}, signed as adviser, PAdES B-B\n" in done.output
    return folder


@pytest.fixture
def small(tmp_path, issued, signed, in_process):
    """The same with the small advisory."""
    (tmp_path / "issued.pdf").write_bytes(issued)
    (tmp_path / "signed.pdf").write_bytes(signed)
    for name, holder in (("adviser", samples.adviser()), ("client", samples.client())):
        (tmp_path / f"{name}.p12").write_bytes(holder.packed)
        (tmp_path / f"{name}.p12").chmod(0o600)
        (tmp_path / f"{name}.pem").write_bytes(holder.pem)
    return tmp_path


def test_signed_verified_and_known_to_the_record(work, apart):
    """ensures that an issued sample, signed by both, is good in every respect.

    poppler's pdfsig is the second witness that both signatures hold.
    """
    both = work / "both.pdf"
    done = run("sign", work / "signed.pdf", "--as", "client", "--key", work / "client.p12",
               "--passphrase-env", "SIGN_P", "-o", both, "--json")
    assert json.loads(done.output) == {"file": str(both), "as": "client", "level": "B-B",
                                       "asked": "B-B", "shortfalls": []}
    done = run("verify", both, "--trust", f"adviser={work / 'adviser.pem'}", "--trust",
               f"client={work / 'client.pem'}",
               "--archive", work / "records", "--json")
    (verdict,) = json.loads(done.output)
    assert verdict["good"] and done.exit_code == 0, verdict["sentence"]
    facts = {(f["id"], f["about"]): f for f in verdict["facts"]}
    assert facts["again", ""]["state"] == "good" and "byte for byte" in facts["again", ""]["text"]
    assert facts["record", ""]["state"] == "good"
    assert facts["annex", ""]["state"] == "good"
    assert facts["archival", ""]["state"] == "good"
    assert facts["named", "Adviser"]["state"] == facts["named", "Client"]["state"] == "good"
    assert [s["field"] for s in verdict["signatures"]] == ["Adviser", "Client"]
    assert all(s["trial"] for s in verdict["signatures"])
    assert "trial certificate" in facts["signer", "Adviser"]["text"]
    shown = subprocess.run(["pdfsig", "-nocert", both], capture_output=True, text=True)
    assert shown.stdout.count("Signature is Valid") == len(apart) == 2
    assert "Total document signed" in shown.stdout


def test_the_printed_answer(small, tmp_path):
    """ensures that people read the bottom line first, and what nobody could know is said."""
    done = run("verify", small / "signed.pdf", "--no-render")
    assert done.exit_code == 1
    first = done.output.splitlines()[0]
    assert "Not shown to be good: nothing says that the signer is" in first
    assert "Adviser: R. Fennimore, for trial; B-B; says 20" in done.output
    assert " ? " in done.output and "BAD" not in done.output
    quiet = run("verify", small / "signed.pdf", "--no-render", "-q", "--trust",
                f"adviser={small / 'adviser.pem'}")
    assert (quiet.exit_code, quiet.output) == (0, "")
    quiet = run("verify", small / "signed.pdf", "--no-render", "-q")
    assert quiet.exit_code == 1 and quiet.output.splitlines() == [first]


def test_an_archive_that_does_not_know_the_file(small, tmp_path):
    """ensures that a file that was never entered is bad, however well it is signed."""
    with Store.create(tmp_path / "other", clock=lambda: samples.NOW):
        pass
    done = run("verify", small / "signed.pdf", "--no-render", "--trust",
               f"adviser={small / 'adviser.pem'}",
               "--archive", tmp_path / "other")
    assert done.exit_code == 1 and "does not know this advisory" in done.output


# Who signed -----------------------------------------------------------------------------------


@pytest.mark.parametrize("one,other,same", [
    ("José Muñoz-Gil", "JOSE  MUNOZ GIL", True), ("O'Hara, Ann", "OHara Ann", True),
    ("Ⅳ Ann", "iv ann", True), ("Ann Reed", "Reed Ann", False), ("A. Reed", "Ann Reed", False),
    ("Ann Reed Jr", "Ann Reed", False), ("", "", False), ("...", "-", False),
])
def test_when_two_names_are_one(one, other, same):
    """ensures that spelling is forgiven and nothing else: no order, initials, additions, blanks."""
    assert same_name(one, other) is same_name(other, one) is same


def test_another_name_needs_a_reason_and_is_never_good(tmp_path, in_process):
    """ensures that a signature in another name is refused, or tells its reason and is not good.

    The certificate is trusted all the same; the page of a document names who may sign it.
    """
    (tmp_path / "a.pdf").write_bytes(samples.small(adviser="R. Fennimore", client="Okonjo Farm",
                                                   contact="T. Okonjo"))
    for name, holder in (("other", samples.named("Nell Ashby")), ("right", samples.adviser()),
                         ("client", samples.client())):
        (tmp_path / f"{name}.p12").write_bytes(holder.packed)
        (tmp_path / f"{name}.p12").chmod(0o600)
        (tmp_path / f"{name}.pem").write_bytes(holder.pem)
    command = ("sign", tmp_path / "a.pdf", "--key", tmp_path / "other.p12", "--passphrase-env",
               "SIGN_P", "-o", tmp_path / "b.pdf")
    done = run(*command)
    assert done.exit_code == 1 and not (tmp_path / "b.pdf").exists()
    assert "'Nell Ashby'" in done.output and "'R. Fennimore' as its adviser" in done.output
    assert run(*command, "--name-differs", "She stands in while he is away").exit_code == 0
    assert b"She stands in while he is away" in (tmp_path / "b.pdf").read_bytes()
    done = run("verify", tmp_path / "b.pdf", "--no-render", "--trust",
               f"adviser={tmp_path / 'other.pem'}")
    assert done.exit_code == 1 and "Not good: the document names 'R. Fennimore'" in done.output
    right = run("sign", tmp_path / "a.pdf", "--key", tmp_path / "right.p12", "--passphrase-env",
                "SIGN_P", "-o", tmp_path / "c.pdf")
    assert right.exit_code == 0
    client = ("sign", tmp_path / "c.pdf", "--as", "client", "--passphrase-env", "SIGN_P", "-o",
              tmp_path / "d.pdf", "--key")
    done = run(*client, tmp_path / "other.p12")
    assert done.exit_code == 1 and "'Okonjo Farm' or 'T. Okonjo' as its client" in done.output
    assert run(*client, tmp_path / "client.p12").exit_code == 0


def test_trust_is_given_for_a_role(small, tmp_path):
    """ensures that who may vouch for a client or a clock does not vouch for the adviser."""
    file = small / "signed.pdf"
    for role in ("client", "time"):
        done = run("verify", file, "--no-render", "--trust", f"{role}={small / 'adviser.pem'}")
        assert done.exit_code == 1 and "trusted for the adviser" in done.output
    done = run("verify", file, "--no-render", "--trust", small / "adviser.pem")
    assert done.exit_code == 2 and "adviser=CERT" in done.output


def test_verify_reads_the_archive_from_the_environment(small, tmp_path):
    """ensures that LOAMBRIEF_ARCHIVE holds for verify as it does for the other commands."""
    Store.create(tmp_path / "other", clock=lambda: samples.NOW).close()
    done = CliRunner().invoke(
        main, ["verify", str(small / "signed.pdf"), "--no-render"],
        env={"LOAMBRIEF_ARCHIVE": str(tmp_path / "other")})
    assert done.exit_code == 1 and "The archive does not know this advisory" in done.output


def test_role_name_and_archive_hold_for_both_documents(work, tmp_path, in_process):
    """ensures that an annex is as good as its advisory: by the role of the trust, the signer's
    name, the archive of the environment, and only as it was issued."""
    (annex,) = work.glob("*.annex.pdf")
    (tmp_path / "other.p12").write_bytes(samples.named("Nell Ashby").packed)
    (tmp_path / "other.p12").chmod(0o600)
    (tmp_path / "other.pem").write_bytes(samples.named("Nell Ashby").pem)
    named = tmp_path / "named.pdf"
    assert run("sign", work / "issued.pdf", "--key", tmp_path / "other.p12", "--passphrase-env",
               "SIGN_P", "-o", named, "--name-differs", "He is away").exit_code == 0
    Store.create(tmp_path / "empty", clock=lambda: samples.NOW).close()
    changed = tmp_path / annex.name
    changed.write_bytes(annex.read_bytes() + b" ")
    right = f"adviser={work / 'adviser.pem'}"

    def states(file, beside, trust, records):
        done = CliRunner().invoke(
            main, ["verify", str(file), str(beside), "--no-render", "--trust", trust, "--json"],
            env={"LOAMBRIEF_ARCHIVE": str(records)})
        found = json.loads(done.stdout)
        assert done.exit_code == (0 if all(v["good"] for v in found) else 1)
        return [v["good"] for v in found], {
            f["id"] for f in found[0]["facts"] if f["state"] == "bad"}

    signed, records = work / "signed.pdf", work / "records"
    assert states(signed, annex, right, records) == ([True, True], set())
    client = f"client={work / 'adviser.pem'}"
    assert states(signed, annex, client, records)[0] == [False, False]
    assert states(named, annex, f"adviser={tmp_path / 'other.pem'}", records) == (
        [False, False], {"named"})
    assert states(signed, annex, right, tmp_path / "empty") == ([False, False], {"record"})
    assert states(signed, changed, right, records) == ([False, False], {"annex"})


@pytest.mark.parametrize("which,role,words", [
    ("draft", Role.ADVISER, "this is a draft"),
    ("signed", Role.ADVISER, "the adviser has signed already"),
    ("issued", Role.CLIENT, "the adviser has not signed yet"),
    ("both", Role.CLIENT, "the client has signed already"),
    ("withdrawn", Role.ADVISER, "'withdrawn'"),
    ("other", Role.ADVISER, "not an advisory of this program"),
    ("rubbish", Role.ADVISER, "not a PDF"),
])
def test_what_is_not_signed(which, role, words, signed, both, issued, keys_folder):
    """ensures that drafts, doubles, wrong orders and other files are refused."""
    import io

    import pikepdf

    other = io.BytesIO()
    with pikepdf.new() as empty:
        empty.add_blank_page()
        empty.save(other)
    data = {"signed": signed, "both": both, "issued": issued, "rubbish": b"rubbish",
            "other": other.getvalue()}.get(which) or samples.small(which)
    with pytest.raises(SignFault, match=words):
        sign(data, samples.opened(samples.adviser(), keys_folder), role, now=samples.NOW)


def test_a_draft_is_signed_on_trial_only(small, tmp_path):
    """ensures that a draft is not signed by default, that --trial shows, and that it never counts.

    Nothing is written where nothing is signed, and no file is replaced.
    """
    draft, out = tmp_path / "draft.pdf", tmp_path / "out.pdf"
    draft.write_bytes(samples.small("draft"))
    command = ("sign", draft, "--key", small / "adviser.p12", "--passphrase-env", "SIGN_P",
               "-o", out)
    done = run(*command)
    assert done.exit_code == 1 and "this is a draft" in done.output and not out.exists()
    assert run(*command, "--trial").exit_code == 0
    found = inspect(out.read_bytes(), [samples.adviser().der], now=samples.LATER, archival=False)
    assert found.state("status") is FactState.BAD and found.state("signed") is FactState.GOOD
    assert b"Trial signature on a draft" in out.read_bytes()
    again = run(*command, "--trial")
    assert again.exit_code == 2 and "never overwritten" in again.output


def test_a_damaged_file_is_not_signed_by_the_client(small, tmp_path):
    """ensures that the client's key is not used on a file whose first signature is broken."""
    data = bytearray((small / "signed.pdf").read_bytes())
    data[5000] ^= 1
    path = tmp_path / "broken.pdf"
    path.write_bytes(data)
    done = run("sign", path, "--as", "client", "--key", small / "client.p12", "--passphrase-env",
               "SIGN_P", "-o", tmp_path / "out.pdf")
    assert done.exit_code == 1 and "is not signed" in done.output
    assert not (tmp_path / "out.pdf").exists()


@pytest.mark.enable_socket
def test_a_level_that_is_not_reached_ends_in_one(small, tmp_path):
    """ensures that a shortfall is printed and shown in the exit code, and the file is kept."""
    config = tmp_path / "signing.toml"
    config.write_text('[signing]\nlevel = "B-T"\ntimestamp_url = "http://127.0.0.1:9/"\n',
                      encoding="utf-8")
    out = tmp_path / "out.pdf"
    done = run("sign", small / "issued.pdf", "--key", small / "adviser.p12", "--settings", config,
               "--passphrase-env", "SIGN_P", "-o", out)
    assert done.exit_code == 1 and out.exists()
    assert "PAdES B-B" in done.output and "B-T not reached" in done.output


def test_changed_bytes_of_the_full_sample_are_found(found):
    """ensures that size does not matter: 12 places of the whole advisory, spread evenly."""
    _, data = found
    for number in range(12):
        at = int((number + 0.5) * len(data) / 12)
        changed = data[:at] + bytes([data[at] ^ 4]) + data[at + 1:]
        seen = inspect(changed, [samples.named("Ilse Varga").der], now=samples.LATER,
                       archival=False)
        assert bottom_line(seen.facts)[0] is FactState.BAD, at


@pytest.mark.parametrize(("checksum", "state", "words"), [
    (b"x" * 16, FactState.BAD, "case.yaml differs from its own checksum"),
    (b"", FactState.GOOD, "is the one the attached data were made from"),
])
def test_a_file_is_held_against_its_own_checksum(work, checksum, state, words):
    """ensures that an attached file which is not what its checksum says is named, and that one
    without a checksum is judged by the recorded digest alone."""
    out = io.BytesIO()
    with pikepdf.open(work / "issued.pdf") as pdf:
        about = pdf.attachments["case.yaml"].obj["/EF"]["/F"]["/Params"]
        if checksum:
            about["/CheckSum"] = pikepdf.String(checksum)
        else:
            del about["/CheckSum"]
        pdf.save(out)
    seen = inspect(out.getvalue(), [], now=samples.LATER, archival=False)
    fact = next(f for f in seen.facts if f.id == "data")
    assert fact.state is state and words in fact.text


@pytest.mark.parametrize("language,begins", [("en", "Digitally signed by {}"),
                                             ("es-MX", "Firmado digitalmente por {}"),
                                             ("xx", "Digitally signed by {}")])
def test_words_on_the_signature_follow_the_document(language, begins):
    """ensures that a signature speaks the document's language, and English where it must."""
    words = SignWords(**pipeline.sign_words(language))
    assert words.signed_by == begins


@pytest.mark.parametrize("name", ["José Ñandú Müller-Őri", "王 小麦", "A" * 64])
def test_names_of_any_kind_are_drawn(name, issued, keys_folder):
    """ensures that accents are drawn, missing signs marked, long names cut; all stays PDF/A."""
    import io

    import pikepdf

    from loambrief.archive.verify_pdf import archival_faults

    signer = samples.opened(samples.Holder(name), keys_folder)
    data = sign(issued, signer, Role.ADVISER, now=samples.NOW).content
    assert archival_faults(data) == []
    with pikepdf.open(io.BytesIO(data)) as pdf:
        look = pdf.pages[0].obj.Annots[0].AP.N
        sizes = [float(x) for x in look.read_bytes().split(b" Tf")[0].split()[-1:]]
    assert sizes and min(sizes) >= 6


# The attached case, rendered again ------------------------------------------------------------


@pytest.fixture(scope="module")
def found(work):
    """Facts of the signed sample, and its bytes."""
    data = (work / "signed.pdf").read_bytes()
    return inspect(data, [samples.named("Ilse Varga").der], now=samples.LATER,
                   archival=False), data


def again(found, data, monkeypatch, pdf=None, made=None, **stated):
    """The fact about rendering again, with a given outcome of rendering."""
    seen = replace(found, stated={**found.stated, **stated})
    if pdf is not None:
        monkeypatch.setattr(verifying, "render_again", lambda seen: (pdf, made))
    return verifying._again(seen, data)


def test_rendering_again_gives_the_same_bytes(found):
    """ensures that case, profile and data in the file are enough to make the file again."""
    seen, data = found
    assert {"../profiles/me.yaml"} <= set(seen.described.values())
    pdf, made = verifying.render_again(seen)
    assert data.startswith(pdf) and made == seen.attached[seen.stated["file"]]


@pytest.mark.parametrize("pages,advice,stated,state,words", [
    ("same", "same", {}, FactState.GOOD, "byte for byte"),
    ("other", "same", {}, FactState.BAD, "the pages differ"),
    ("other", "other", {}, FactState.BAD, "the advice differs"),
    ("cut", "same", {}, FactState.BAD, "the pages differ"),
    ("other", "same", {"loambrief_version": "0.0.9"}, FactState.UNKNOWN, "version 0.0.9"),
    ("other", "other", {"tables_sha256": "0"}, FactState.UNKNOWN, "other tables"),
    ("other", "same", {"made_with": {"reportlab": "3.0"}}, FactState.UNKNOWN, "fonttools None"),
    ("same", "same", {"loambrief_version": "0.0.9"}, FactState.GOOD, "byte for byte"),
])
def test_what_rendering_again_shows(found, monkeypatch, pages, advice, stated, state, words):
    """ensures that another program is an excuse, and the same program is none."""
    seen, data = found
    issued = data[:seen.ends[0]]
    pdf = {"same": issued, "other": b"%PDF-1.7 other", "cut": issued[:-7]}[pages]
    made = seen.attached[seen.stated["file"]] if advice == "same" else b"{}"
    fact = again(seen, data, monkeypatch, pdf, made, **stated)
    assert fact.state is state and words in fact.text, fact.text


def test_a_case_that_cannot_be_rendered(found, monkeypatch):
    """ensures that an attached case with problems is bad, unless another version made it."""
    seen, data = found
    broken = replace(seen, attached={**seen.attached, "case.yaml": b"case: {}\n"})
    assert again(broken, data, monkeypatch).state is FactState.BAD
    assert again(broken, data, monkeypatch, loambrief_version="9").state is FactState.UNKNOWN
    escape = replace(seen, attached={**seen.attached, "x": b"a"},
                     described={**seen.described, "x": "../../../etc/x"})
    fact = again(escape, data, monkeypatch)
    assert fact.state is FactState.BAD and "leads out" in fact.text


def test_a_bad_file_is_not_rendered(found, monkeypatch):
    """ensures that the case of a file that does not hold is left alone."""
    seen, data = found
    worse = replace(seen, facts=(*seen.facts, FileFact("bytes", FactState.BAD, "x")))
    monkeypatch.setattr(verifying, "render_again", None)
    assert verifying._again(worse, data).state is FactState.UNKNOWN


# The record -----------------------------------------------------------------------------------


@pytest.mark.parametrize("number,revision,status,state,words", [
    ("RF-2026-0007", 1, "issued", FactState.GOOD, "line 4 of the log"),
    ("RF-2026-0007", 1, "superseded", FactState.BAD, "which is superseded"),
    ("RF-2026-0007", 1, "withdrawn", FactState.BAD, "which is withdrawn"),
    ("RF-2026-0008", 1, "issued", FactState.BAD, "the file says RF-2026-0007"),
    (None, None, "", FactState.BAD, "does not know"),
])
def test_what_the_record_says(signed, issued, number, revision, status, state, words):
    """ensures that the issued file inside a signed one is found, and its standing told."""
    entry = StoredFile(hashlib.sha256(issued).hexdigest(), "a.pdf", "pdf", 4,
                       "2026-10-20T09:30:00Z", "issue", "0" * 64, number, revision, status)
    seen = inspect(signed, now=samples.LATER, archival=False)
    record = SimpleNamespace(fault="", find=lambda d: entry if d == entry.sha256 else None)
    fact = verifying._record(seen, signed, record)
    assert fact.state is state and words in fact.text


def test_a_record_that_does_not_hold_vouches_for_nothing(work, tmp_path):
    """ensures that a broken chain, a lying index and a changed card are all found."""
    import shutil
    import sqlite3

    issued = (work / "issued.pdf").read_bytes()
    digest = hashlib.sha256(issued).hexdigest()
    whole = tmp_path / "whole"
    shutil.copytree(work / "records", whole)
    with Store.open(whole) as store:
        record = verifying.TrustedRecord(store)
        assert not record.fault and record.find(digest).number == "IV-2026-0001"
        assert record.find("0" * 64) is None
        row = sqlite3.connect(whole / "index.sqlite")
        row.execute("UPDATE files SET sha256 = ? WHERE sha256 = ?", ("1" * 64, digest))
        row.commit()
        row.close()
        assert store.find_digest("1" * 64) is not None
        assert verifying.TrustedRecord(store).find("1" * 64) is None
    log = whole / "log.jsonl"
    log.write_text(log.read_text(encoding="utf-8").replace("IV-2026-0001", "IV-2026-0002"),
                   encoding="utf-8")
    with Store.open(whole) as store:
        broken = verifying.TrustedRecord(store)
    fact = verifying._record(Inspection(()), issued, broken)
    assert fact.state is FactState.BAD and "does not hold" in fact.text


# The bottom line ------------------------------------------------------------------------------


@pytest.mark.parametrize("facts,state,words", [
    ([], FactState.UNKNOWN, "nothing was checked"),
    ([("signed", FactState.GOOD)], FactState.GOOD, "Good."),
    ([("signed", FactState.GOOD), ("again", FactState.UNKNOWN)], FactState.GOOD,
     "Not known: again."),
    ([("signed", FactState.GOOD), ("signer", FactState.UNKNOWN)], FactState.UNKNOWN, "Not shown"),
    ([("signed", FactState.GOOD), ("again", FactState.BAD), ("bytes", FactState.BAD)],
     FactState.BAD, "1 more"),
    ([("signed", FactState.GOOD), ("record", FactState.NONE)], FactState.GOOD, "Good."),
])
def test_the_bottom_line_follows_from_the_facts(facts, state, words):
    """ensures that one bad fact is enough, and a needed unknown one keeps a file from good."""
    found, sentence = bottom_line([FileFact(name, s, f"The {name}.") for name, s in facts])
    assert found is state and words in sentence


def test_unread_files_have_no_more_facts(tmp_path):
    """ensures that a file that cannot be read is judged by that alone."""
    verdict = verifying.verify(b"rubbish", "x", now=samples.NOW)
    assert not verdict.good and [f.id for f in verdict.inspection.facts] == ["readable"]
    assert Inspection(()).state("bytes") is FactState.NONE
