"""Levels B-B to B-LTA (ETSI EN 319 142-1, clause 6), timestamps (RFC 3161), revocation."""

from __future__ import annotations

import datetime as dt

import pytest
import sign_samples as samples
from accessible import judged, looked_at
from pyhanko.sign.timestamps import DummyTimeStamper

from loambrief.archive.errors import KeyFault, SignFault, TimestampFault
from loambrief.archive.facts import FactState
from loambrief.archive.sign import Role, open_signer, sign
from loambrief.archive.sign_settings import SignSettings, load_sign_settings
from loambrief.archive.timestamps import HttpTimeStamper
from loambrief.archive.verify_cms import container_fault

AUTHORITY = [samples.authority().der]


@pytest.fixture(scope="session")
def files(tmp_path_factory):
    """Anchor and revocation list of the invented authority, as files."""
    folder = tmp_path_factory.mktemp("authority")
    root = samples.authority()
    (folder / "root.pem").write_bytes(root.pem)
    (folder / "list.crl").write_bytes(root.revocation_list())
    return folder


def settings_for(files, level, **more):
    return SignSettings(level=level, trust=(files / "root.pem",), **more)


def made(issued, keys_folder, settings, at=samples.NOW, stamper=None, holder=None):
    signer = samples.opened(holder or samples.employee(), keys_folder, settings,
                            stamper or samples.stamp_authority().stamper(at))
    return sign(issued, signer, Role.ADVISER, now=at)


@pytest.fixture(scope="session")
def by_level(issued, keys_folder, files):
    """The small advisory at each level."""
    made_at = {}
    for level in ("B-B", "B-T", "B-LT", "B-LTA"):
        settings = settings_for(files, level, crls=(files / "list.crl",))
        result = made(issued, keys_folder, settings)
        assert (result.level, result.complete, result.shortfalls) == (level, True, ())
        made_at[level] = result.content
    return made_at


@pytest.mark.parametrize("level", ["B-B", "B-T", "B-LT", "B-LTA"])
def test_each_level_is_reached_and_recognised(by_level, look, level):
    """ensures that verify finds the level that sign reported, and every byte under a signature."""
    facts = look(by_level[level], archival=True, trust=AUTHORITY)
    (first,) = [s for s in facts["found"].signatures if s.kind == "PAdES"]
    assert first.level == level
    assert facts["bottom"] is FactState.GOOD, facts["sentence"]
    assert facts["whole"].state is FactState.GOOD
    expected = FactState.NONE if level == "B-B" else FactState.GOOD
    assert facts["timestamp", "Adviser"].state is expected
    revoked = facts["signer", "Adviser"].text
    assert ("it was not revoked" in revoked) == (level in ("B-LT", "B-LTA"))
    assert "Invented authority" in revoked


def test_signing_leaves_the_file_accessible(both, by_level, tmp_path):
    """ensures that two PDF/UA checkers find no fault in a signed file.

    A document timestamp needs a field that nobody sees; it lies outside the page, where ISO
    14289-1, 7.18.1 asks for no tag (from memory, unverified). One of the checkers wants a Form
    element all the same.
    """
    path = tmp_path / "a.pdf"
    for data, known in ((both, set()), (by_level["B-LTA"], {"FRM-003"})):
        path.write_bytes(data)
        assert {f.rule for f in looked_at(path).findings} == known
        assert not judged(path)


def test_answers_of_a_responder_serve_as_well(issued, keys_folder, files, look, tmp_path):
    """ensures that B-LT is reached with OCSP answers (RFC 6960) in place of a list."""
    root = samples.authority()
    person = samples.Holder("R. Fennimore", root, answers=True)
    clock = samples.Holder("Invented clock", root, stamps=True, answers=True)
    for number, holder in enumerate((person, clock)):
        (tmp_path / f"{number}.ocsp").write_bytes(root.status_of(holder))
    settings = settings_for(files, "B-LT", ocsps=(tmp_path / "0.ocsp", tmp_path / "1.ocsp"))
    result = made(issued, keys_folder, settings, holder=person, stamper=clock.stamper())
    assert result.level == "B-LT", result.shortfalls
    facts = look(result.content, trust=AUTHORITY)
    assert facts["bottom"] is FactState.GOOD
    assert "it was not revoked" in facts["signer", "Adviser"].text


@pytest.mark.parametrize("level", ["B-T", "B-LTA"])
def test_changed_bytes_are_found_at_higher_levels(by_level, look, level):
    """ensures that bytes of timestamps and validation data are protected like all others."""
    data = by_level[level]
    for number in range(30):
        at = int((number + 0.5) * len(data) / 30)
        changed = data[:at] + bytes([data[at] ^ 1]) + data[at + 1:]
        assert look(changed, trust=AUTHORITY)["bottom"] is not FactState.GOOD, at


def test_a_timestamp_outlives_the_certificate(issued, keys_folder, look):
    """ensures that after the signer's certificate ends, a timestamp still shows the time.

    The clock's certificate must still be valid: that is what B-LTA renews.
    """
    holder = samples.Holder("Short", samples.authority(),
                            end=samples.NOW + dt.timedelta(days=5))
    late = samples.NOW + dt.timedelta(days=60)
    assert late < samples.END
    for level, state in (("B-B", FactState.UNKNOWN), ("B-T", FactState.GOOD)):
        signer = samples.opened(holder, keys_folder, SignSettings(level=level),
                                samples.stamp_authority().stamper())
        data = sign(issued, signer, Role.ADVISER, now=samples.NOW).content
        facts = look(data, trust=AUTHORITY, now=late)
        assert facts["signer", "Adviser"].state is state, facts["signer", "Adviser"].text


@pytest.mark.parametrize("revoked_after_days,state", [(-3, FactState.BAD), (3, FactState.GOOD)])
def test_revocation_counts_from_its_date(issued, keys_folder, files, look, monkeypatch,
                                         revoked_after_days, state):
    """ensures that a certificate revoked before signing is refused, one revoked later is not.

    RFC 5280, 5.3: the entry's date. A signature with a timestamp from before stands.
    """
    from asn1crypto import crl

    data = made(issued, keys_folder, settings_for(files, "B-T")).content
    later = samples.NOW + dt.timedelta(days=5)
    known = crl.CertificateList.load(samples.authority().revocation_list(
        samples.employee(), made=later, when=samples.NOW + dt.timedelta(days=revoked_after_days)))
    monkeypatch.setattr("loambrief.archive.verify_signature.revocation_data",
                        lambda reader: ([known], []))
    facts = look(data, trust=AUTHORITY, now=later)
    assert facts["signer", "Adviser"].state is state, facts["signer", "Adviser"].text


# Shortfalls are said -------------------------------------------------------------------------


def test_no_revocation_data_gives_a_lower_level_and_says_so(issued, keys_folder, files):
    """ensures that B-LT without revocation data becomes B-T, not in silence."""
    result = made(issued, keys_folder, settings_for(files, "B-LT"))
    assert (result.level, result.asked, result.complete) == ("B-T", "B-LT", False)
    assert "B-LT not reached: no revocation data is configured" in result.shortfalls[0]


def test_revocation_data_of_another_authority_does_not_count(issued, keys_folder, files, tmp_path):
    """ensures that B-LT needs data that speak of the signer."""
    other = samples.Holder("Another authority", ca=True)
    (tmp_path / "other.crl").write_bytes(other.revocation_list())
    result = made(issued, keys_folder,
                  settings_for(files, "B-LT", crls=(tmp_path / "other.crl",)))
    assert result.level == "B-T" and result.shortfalls


def test_a_revoked_signer_reaches_no_long_term_level(issued, keys_folder, files, tmp_path):
    """ensures that revocation data that say "revoked" are not passed off as B-LT."""
    crl = tmp_path / "revoked.crl"
    crl.write_bytes(samples.authority().revocation_list(
        samples.employee(), when=samples.NOW - dt.timedelta(days=2)))
    result = made(issued, keys_folder, settings_for(files, "B-LT", crls=(crl,)))
    assert result.level == "B-T"


def test_a_trial_certificate_cannot_be_long_term(issued, keys_folder, files):
    """ensures that a certificate that nobody can revoke does not reach B-LT."""
    (files / "self.pem").write_bytes(samples.adviser().pem)
    settings = SignSettings(level="B-LTA", trust=(files / "root.pem", files / "self.pem"),
                            crls=(files / "list.crl",))
    result = made(issued, keys_folder, settings, holder=samples.adviser())
    assert result.level == "B-T"
    assert "nobody can revoke it" in " ".join(result.shortfalls)


class _Failing(DummyTimeStamper):
    async def async_request_tsa_response(self, req):
        raise TimestampFault("timestamp server clock.invalid: no answer")


def test_no_clock_gives_the_lowest_level(issued, keys_folder, files):
    """ensures that without a working timestamp server the file is B-B, and why is said."""
    broken = samples.stamp_authority().stamper(cls=_Failing)
    result = made(issued, keys_folder, settings_for(files, "B-T"), stamper=broken)
    assert result.level == "B-B"
    assert result.shortfalls == ("B-T not reached: timestamp server clock.invalid: no answer",)


# The server ----------------------------------------------------------------------------------


@pytest.mark.enable_socket
def test_a_server_is_asked_over_http(issued, keys_folder, files, look, stamp_server):
    """ensures that a timestamp comes from a server as RFC 3161, 3.4 says, on this machine."""
    url, _ = stamp_server
    key = samples.opened(samples.employee(), keys_folder).key
    signer = open_signer(settings_for(files, "B-T", timestamp_url=url), key)
    result = sign(issued, signer, Role.ADVISER, now=samples.NOW)
    assert result.complete
    facts = look(result.content, trust=AUTHORITY)
    assert "2026-10-20 09:30 UTC" in facts["timestamp", "Adviser"].text


@pytest.mark.enable_socket
def test_revocation_lists_are_fetched_when_told_to(issued, keys_folder, files, look,
                                                   stamp_server):
    """ensures that with fetch = true B-LT is reached with what the certificates point to."""
    url, handler = stamp_server
    handler.revoked = samples.authority().revocation_list()
    root = samples.authority()
    person = samples.Holder("R. Fennimore", root, lists=f"{url}list.crl")
    clock = samples.Holder("Invented clock", root, stamps=True, lists=f"{url}list.crl")
    result = made(issued, keys_folder, settings_for(files, "B-LT", fetch=True), holder=person,
                  stamper=clock.stamper())
    assert result.level == "B-LT", result.shortfalls
    assert look(result.content, trust=AUTHORITY)["bottom"] is FactState.GOOD


@pytest.mark.enable_socket
@pytest.mark.parametrize("answer,words", [
    ((500, "text/plain", b"no"), "HTTP 500"),
    ((200, "text/html", b"<p>"), "no timestamp"),
    ((200, "application/timestamp-reply", b"rubbish"), "malformed"),
    ((200, "application/timestamp-reply", b"0" * 300_000), "no timestamp"),
    ((302, "text/plain", b""), "HTTP 302"),
])
def test_bad_answers_are_refused(issued, keys_folder, files, stamp_server, answer, words):
    """ensures that errors, redirects, other content and floods end in a named shortfall."""
    url, handler = stamp_server
    handler.answer = answer
    key = samples.opened(samples.employee(), keys_folder).key
    signer = open_signer(settings_for(files, "B-T", timestamp_url=url), key)
    result = sign(issued, signer, Role.ADVISER, now=samples.NOW)
    assert result.level == "B-B" and words in result.shortfalls[0]


@pytest.mark.parametrize("url", ["file:///etc/passwd", "ftp://x/", "clock", "", "http:///x"])
def test_other_addresses_are_refused(url):
    """ensures that only http and https are asked."""
    with pytest.raises(TimestampFault, match="wanted http"):
        HttpTimeStamper(url)


def test_a_timestamp_on_something_else_is_bad(issued, keys_folder, files, look):
    """ensures that a token must fit the signature it stands on (RFC 3161, 2.4.2: imprint)."""
    class Wrong(DummyTimeStamper):
        def request_tsa_response(self, req):
            req["message_imprint"]["hashed_message"] = b"x" * 32
            return super().request_tsa_response(req)

    data = made(issued, keys_folder, settings_for(files, "B-T"),
                stamper=samples.stamp_authority().stamper(cls=Wrong)).content
    facts = look(data, trust=AUTHORITY)
    assert facts["timestamp", "Adviser"].state is FactState.BAD
    assert facts["bottom"] is FactState.BAD


@pytest.mark.parametrize("digest,bits", [("sha1", 2048), ("sha256", 1024)])
def test_weak_algorithms_and_keys_are_bad(issued, keys_folder, look, digest, bits):
    """ensures that SHA-1 and short RSA keys do not count, trusted or not (NIST SP 800-131A)."""
    import io

    from pyhanko.sign import fields, signers

    from loambrief.archive.sign import _SigningWriter

    holder = samples.Holder("R. Fennimore", samples.authority(), bits=bits)
    key = samples.opened(holder, keys_folder).key
    meta = signers.PdfSignatureMetadata(field_name="Adviser", certify=True, md_algorithm=digest,
                                        subfilter=fields.SigSeedSubFilter.PADES)
    data = signers.PdfSigner(meta, key).sign_pdf(_SigningWriter(io.BytesIO(issued)),
                                                 existing_fields_only=True).getvalue()
    facts = look(data, trust=AUTHORITY)
    assert facts["bytes", "Adviser"].state is FactState.GOOD
    assert facts["signer", "Adviser"].state is FactState.BAD, facts["signer", "Adviser"].text
    assert facts["bottom"] is FactState.BAD


def test_a_clock_nobody_vouches_for_is_not_relied_on(issued, keys_folder, files, look):
    """ensures that a timestamp by an unknown authority is told, and proves nothing."""
    clock = samples.Holder("Some clock", samples.Holder("Unknown", ca=True), stamps=True)
    data = made(issued, keys_folder, settings_for(files, "B-T"), stamper=clock.stamper()).content
    facts = look(data, trust=AUTHORITY)
    assert facts["timestamp", "Adviser"].state is FactState.UNKNOWN


def test_a_certificate_without_the_purpose_is_no_clock(issued, keys_folder, files, look):
    """ensures that only a certificate for time stamping vouches for a time (RFC 3161, 2.3)."""
    data = made(issued, keys_folder, settings_for(files, "B-T"),
                stamper=samples.employee().stamper()).content
    assert look(data, trust=AUTHORITY)["timestamp", "Adviser"].state is not FactState.GOOD


def test_stray_certificates_in_a_signature_are_refused():
    """ensures that a CMS object holds no more than it needs (RFC 5652, 10.2.3)."""
    from asn1crypto import cms, x509

    token = samples.stamp_authority().stamper()
    nonce, query = token.request_cms(b"x" * 32, "sha256")
    response = token.request_tsa_response(query)["time_stamp_token"]
    roots = [x509.Certificate.load(samples.authority().der)]
    assert container_fault(response.dump(), roots) == ""
    assert "issuer is not there" not in container_fault(response.dump())
    stray = x509.Certificate.load(samples.Holder("Stray").der)
    signed = response["content"]
    signed["certificates"].append(cms.CertificateChoices("certificate", stray))
    other = cms.ContentInfo({"content_type": "signed_data", "content": signed})
    assert nonce and container_fault(other.dump(force=True), roots)


# Many files, settings ------------------------------------------------------------------------


def test_many_files_with_one_key(issued, keys_folder, look):
    """ensures that a key that is opened once signs file after file, and that one which cannot
    be signed says why and leaves the key of use."""
    signer = samples.opened(samples.adviser(), keys_folder)
    for content in (issued, issued):
        for bad, why in ((b"rubbish", "not a PDF"), (samples.small("draft"), "draft")):
            with pytest.raises(SignFault, match=why):
                sign(bad, signer, Role.ADVISER, now=samples.NOW)
        done = sign(content, signer, Role.ADVISER, now=samples.NOW)
        assert done.level == "B-B" and look(done.content)["bottom"] is FactState.GOOD


def test_settings_are_read_beside_their_file(tmp_path):
    """ensures that every entry of [signing] is taken, with paths relative to the file."""
    path = tmp_path / "signing.toml"
    path.write_text('[signing]\nkey = "me.p12"\npassphrase_env = "P"\nlevel = "B-LT"\n'
                    'timestamp_url = "http://clock.example"\ntrust = ["root.pem"]\n'
                    'crls = ["a.crl"]\nfetch = false\n', encoding="utf-8")
    read = load_sign_settings(path)
    assert read.key == tmp_path / "me.p12" and read.trust == (tmp_path / "root.pem",)
    assert read.secret.env == "P" and read.level == "B-LT"


@pytest.mark.parametrize("text,words", [
    ("", ["no [signing] table"]),
    ("[signing]\nlevel = 'B-T'\n", ["timestamp_url: missing"]),
    ("[signing]\nlevel = 'B-X'\nkez = 1\ntrust = 'x'\nfetch = 1\n",
     ["level: found 'B-X'", "kez: unknown", "trust: found 'x'", "fetch: found 1"]),
    ("[signing]\nkey = 'a'\n[signing.token]\nmodule = 'm'\n",
     ["key and token", "token.token: missing", "token.certificate: missing"]),
    ("[signing]\npassphrase_env = 'A'\npassphrase_keyring = 'B'\n", ["give one of the two"]),
    ("[signing\n", ["signing.toml"]),
])
def test_settings_with_problems_name_them_all(tmp_path, text, words):
    """ensures that all problems of the settings are told at once."""
    path = tmp_path / "signing.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(KeyFault) as caught:
        load_sign_settings(path)
    for word in words:
        assert word in str(caught.value)


def test_a_secret_in_the_settings_is_refused_and_not_repeated(tmp_path):
    """ensures that a passphrase written into the settings is refused, without printing it."""
    path = tmp_path / "signing.toml"
    path.write_text('[signing]\npassphrase = "sparrow-77"\n', encoding="utf-8")
    with pytest.raises(KeyFault, match="no secrets in this file") as caught:
        load_sign_settings(path)
    assert "sparrow" not in str(caught.value)
