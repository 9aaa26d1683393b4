"""Keys and passphrases: made safely, opened with care, and never told to anyone."""

from __future__ import annotations

import io
import logging
import stat
import sys
import traceback
import types

import pytest
import sign_samples as samples
from click.testing import CliRunner

from loambrief.archive import keys
from loambrief.archive.errors import KeyFault
from loambrief.cli import main

SENTINEL = "kestrel-over-barley-9931"


@pytest.fixture
def key_file(tmp_path):
    path = tmp_path / "me.p12"
    path.write_bytes(samples.adviser().packed)
    path.chmod(0o600)
    return path


@pytest.fixture
def logged():
    """All that anybody logs, at the lowest level."""
    text, root = io.StringIO(), logging.getLogger()
    handler, level = logging.StreamHandler(text), root.level
    root.addHandler(handler)
    root.setLevel(logging.DEBUG)
    yield text
    root.setLevel(level)
    root.removeHandler(handler)


def run(*arguments, env=None, text=None):
    return CliRunner().invoke(main, [str(a) for a in arguments], env=env, input=text)


def test_a_trial_key_says_what_it_is(tmp_path):
    """ensures that a new key is private, marked as for trial, and opens with its passphrase."""
    out = tmp_path / "me.p12"
    done = run("keys", "new", "--name", "Marta Quill", "-o", out, "--passphrase-env", "P",
               "--email", "marta@example.org", env={"P": SENTINEL})
    assert done.exit_code == 0, done.output
    assert stat.S_IMODE(out.stat().st_mode) == 0o600
    (certificate,) = keys.load_certificates(tmp_path / "me.pem")
    assert keys.is_trial(certificate)
    assert certificate.subject.native["common_name"] == "Marta Quill"
    assert certificate.key_usage_value.native == {"digital_signature", "non_repudiation"}
    assert certificate.ca is False
    assert "identity not checked" in done.output and "fingerprint" in done.output
    assert SENTINEL not in done.output
    signer = keys.open_p12(out, SENTINEL)
    assert signer.signing_cert.dump() == certificate.dump()


def test_a_key_is_never_overwritten(tmp_path):
    """ensures that neither key nor certificate takes the place of an existing file."""
    for name in ("me.p12", "me.pem"):
        (tmp_path / name).write_bytes(b"mine")
        done = run("keys", "new", "--name", "A", "-o", tmp_path / "me.p12", "--passphrase-env",
                   "P", env={"P": SENTINEL})
        assert done.exit_code == 2 and "never overwritten" in done.output
        assert (tmp_path / name).read_bytes() == b"mine"
        (tmp_path / name).unlink()
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(KeyFault, match="exists"):
        keys.write_new(_existing(tmp_path), b"x", 0o600)


def _existing(folder):
    path = folder / "there"
    path.write_bytes(b"")
    return path


@pytest.mark.parametrize("name,passphrase,words", [
    ("", SENTINEL, "1 to 64"), ("x" * 65, SENTINEL, "1 to 64"), ("a\nb", SENTINEL, "printable"),
    ("A", "wren", "shorter than 8"),
])
def test_names_and_passphrases_that_will_not_do(name, passphrase, words):
    """ensures that a bad name or a short passphrase makes no key."""
    with pytest.raises(KeyFault, match=words) as caught:
        keys.make_trial_key(name, passphrase, now=samples.NOW)
    assert passphrase not in str(caught.value) or not passphrase


@pytest.mark.parametrize("content", [None, b"", b"rubbish", b"\x30\x82\x00"])
def test_a_wrong_passphrase_is_told_nobody(key_file, content, logged, capfd):
    """ensures that an attempt with a wrong passphrase leaves it nowhere.

    Not in the error, its notes, its causes or a printed traceback; not in logs at the lowest
    level; not on either stream.
    """
    if content is not None:
        key_file.write_bytes(content)
    with pytest.raises(KeyFault) as caught:
        keys.open_p12(key_file, SENTINEL)
    error = caught.value
    assert "wrong passphrase, or not a PKCS#12 file" in str(error)
    assert error.__cause__ is None and error.__suppress_context__
    printed = io.StringIO()
    traceback.print_exception(error, file=printed)
    streams = capfd.readouterr()
    for text in (printed.getvalue(), repr(error), logged.getvalue(), streams.out, streams.err):
        assert SENTINEL not in text


@pytest.mark.usefixtures("in_process")
@pytest.mark.parametrize("way", ["env", "prompt"])
def test_the_command_tells_no_secret(tmp_path, key_file, issued, way, monkeypatch, logged):
    """ensures that `sign` with a wrong passphrase prints and logs no trace of it."""
    pdf = tmp_path / "a.pdf"
    pdf.write_bytes(issued)
    arguments = ["sign", pdf, "--key", key_file, "-o", tmp_path / "b.pdf"]
    if way == "env":
        done = run(*arguments, "--passphrase-env", "SIGN_P", env={"SIGN_P": SENTINEL})
    else:
        import click

        asked = []

        def prompt(text, **more):
            asked.append((text, more))
            return SENTINEL

        monkeypatch.setattr(click, "prompt", prompt)
        monkeypatch.setattr("loambrief.cli.signing.asker", lambda: lambda text: prompt(text))
        done = run(*arguments)
        assert asked and SENTINEL not in str(asked)
    assert done.exit_code == 2 and "wrong passphrase" in done.output
    assert SENTINEL not in done.output and SENTINEL not in logged.getvalue()
    assert not (tmp_path / "b.pdf").exists()
    assert all(SENTINEL.encode() not in p.read_bytes() for p in tmp_path.iterdir())


@pytest.mark.usefixtures("in_process")
def test_without_a_terminal_nobody_is_asked(tmp_path, key_file, issued):
    """ensures that a run without terminal and without a named place says what to do."""
    pdf = tmp_path / "a.pdf"
    pdf.write_bytes(issued)
    done = run("sign", pdf, "--key", key_file, "-o", tmp_path / "b.pdf", text="x\n")
    assert done.exit_code == 2 and "--passphrase-env" in done.output


def test_a_prompt_hides_what_is_typed(monkeypatch):
    """ensures that a passphrase is asked for without echo, and not on standard output."""
    import click

    from loambrief.cli.keys import asker

    seen = {}
    monkeypatch.setattr(click, "prompt", lambda text, **more: seen.update(more) or "x")
    monkeypatch.setattr(sys, "stdin", types.SimpleNamespace(isatty=lambda: True))
    asker()("Passphrase")
    assert seen == {"hide_input": True, "err": True}


def test_a_variable_that_is_not_set(key_file):
    """ensures that a missing variable is named."""
    with pytest.raises(KeyFault, match="NOT_THERE is not set"):
        keys.SecretPlace(env="NOT_THERE").find(None, "", {})


def test_the_keyring_is_asked_by_name(monkeypatch):
    """ensures that a keyring entry is found, a missing one named, a missing library told."""
    ring = types.ModuleType("keyring")
    ring.get_password = lambda service, user: SENTINEL if service == "sign" else None
    monkeypatch.setitem(sys.modules, "keyring", ring)
    assert keys.SecretPlace(keyring="sign", user="signing").find(None, "") == SENTINEL
    with pytest.raises(KeyFault, match="no entry 'signing'"):
        keys.SecretPlace(keyring="other", user="signing").find(None, "")
    monkeypatch.setitem(sys.modules, "keyring", None)
    with pytest.raises(KeyFault, match=r"loambrief\[keyring\]"):
        keys.SecretPlace(keyring="sign", user="signing").find(None, "")


def test_a_token_needs_its_library(monkeypatch, tmp_path):
    """ensures that without the extra a key on a token is refused with what to install."""
    monkeypatch.setitem(sys.modules, "pkcs11", None)
    with pytest.raises(KeyFault, match=r"loambrief\[pkcs11\]"):
        keys.open_token(keys.Token(tmp_path / "m.so", "card", "Signature"), SENTINEL)


def test_a_refusing_token_tells_no_pin(monkeypatch, tmp_path):
    """ensures that an error of the token's driver does not carry the PIN out."""
    monkeypatch.setitem(sys.modules, "pkcs11", types.ModuleType("pkcs11"))
    driver = types.ModuleType("pyhanko.sign.pkcs11")

    def refuse(lib_location, slot_no=None, token_criteria=None, user_pin=None):
        assert token_criteria.label == "card"  # the parameters are those of pyHanko's function
        raise RuntimeError(f"bad pin {user_pin}")

    driver.open_pkcs11_session, driver.PKCS11Signer = refuse, None
    monkeypatch.setitem(sys.modules, "pyhanko.sign.pkcs11", driver)
    with pytest.raises(KeyFault, match=r"refuses \(RuntimeError\)") as caught:
        keys.open_token(keys.Token(tmp_path / "m.so", "card", "Signature"), SENTINEL)
    assert SENTINEL not in "".join(traceback.format_exception(caught.value))


def test_a_key_without_a_private_part_is_no_key(tmp_path):
    """ensures that a PKCS#12 file with certificates only is refused."""
    from cryptography.hazmat.primitives.serialization import NoEncryption, pkcs12

    path = tmp_path / "certs.p12"
    path.write_bytes(pkcs12.serialize_key_and_certificates(
        None, None, None, [samples.authority().certificate], NoEncryption()))
    with pytest.raises(KeyFault, match=r"no key|wrong passphrase"):
        keys.open_p12(path, "")


@pytest.mark.usefixtures("in_process")
def test_a_key_that_others_can_read_is_warned_about(tmp_path, key_file, issued):
    """ensures that a key file with loose rights is used, with a warning."""
    pdf = tmp_path / "a.pdf"
    pdf.write_bytes(issued)
    key_file.chmod(0o644)
    done = run("sign", pdf, "--key", key_file, "-o", tmp_path / "b.pdf", "--passphrase-env", "P",
               env={"P": samples.PASSPHRASE})
    assert done.exit_code == 0, done.output
    assert "others on this machine can read" in done.output


@pytest.mark.parametrize("content", [b"", b"rubbish", b"-----BEGIN CERTIFICATE-----\nAAAA\n"
                                     b"-----END CERTIFICATE-----\n"])
def test_what_is_no_certificate(tmp_path, content):
    """ensures that --trust takes certificates only."""
    path = tmp_path / "c.pem"
    path.write_bytes(content)
    with pytest.raises(KeyFault, match="certificate"):
        keys.load_certificates(path)


def test_certificates_in_both_forms(tmp_path):
    """ensures that PEM with several certificates and DER are read."""
    (tmp_path / "two.pem").write_bytes(samples.adviser().pem + samples.client().pem)
    (tmp_path / "one.der").write_bytes(samples.adviser().der)
    assert len(keys.load_certificates(tmp_path / "two.pem")) == 2
    (one,) = keys.load_certificates(tmp_path / "one.der")
    assert one.dump() == samples.adviser().der
