"""Sending to a real SMTP server on this machine's loopback (aiosmtpd), with TLS."""

import datetime as dt
import email
import json
import socket
import ssl
from email.policy import SMTP
from pathlib import Path

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult
from click.testing import CliRunner
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec

from loambrief.cli import main
from loambrief.mail.send import SendFault, send_letters
from loambrief.mail.settings import MailSettings

pytestmark = [pytest.mark.enable_socket]
NOW = dt.datetime(2026, 11, 2, 9, 30, tzinfo=dt.UTC)
SECRET = "correct-horse-7731"
OHIO = Path(__file__).parents[2] / "sample_inputs" / "acid_corn_ohio" / "case.yaml"


def run(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


class Inbox:
    """Keeps what arrives; answers as told."""

    def __init__(self):
        self.messages, self.answers, self.drop = [], [], False

    async def handle_DATA(self, server, session, envelope):
        if self.answers:
            answer = self.answers.pop(0)
            if answer == "drop":
                server.transport.abort()
                return "250 never heard"
            if not answer.startswith("250"):
                return answer
        self.messages.append(envelope)
        return "250 taken"


@pytest.fixture(scope="module")
def certificate(tmp_path_factory):
    """A certificate for 127.0.0.1, made here, and its key."""
    from ipaddress import ip_address

    folder = tmp_path_factory.mktemp("tls")
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "test server")])
    made = (x509.CertificateBuilder().subject_name(name).issuer_name(name)
            .public_key(key.public_key()).serial_number(7)
            .not_valid_before(dt.datetime(2020, 1, 1)).not_valid_after(dt.datetime(2049, 1, 1))
            .add_extension(x509.SubjectAlternativeName([x509.IPAddress(ip_address("127.0.0.1"))]),
                           critical=False)
            .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
            .sign(key, hashes.SHA256()))
    (folder / "cert.pem").write_bytes(made.public_bytes(serialization.Encoding.PEM))
    (folder / "key.pem").write_bytes(key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption()))
    return folder


@pytest.fixture
def server(certificate):
    """A running server that asks for STARTTLS and a password."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate / "cert.pem", certificate / "key.pem")
    inbox = Inbox()

    def authenticate(_server, _session, _envelope, _mechanism, login):
        return AuthResult(success=login.password == SECRET.encode(), handled=False)

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        inbox.port = free.getsockname()[1]
    controller = Controller(inbox, hostname="127.0.0.1", port=inbox.port, tls_context=context,
                            require_starttls=True, auth_required=True, authenticator=authenticate)
    controller.start()
    yield inbox
    controller.stop()


def settings(inbox, certificate, **keys):
    return MailSettings("127.0.0.1", inbox.port, user="me", password_env="PW",
                        ca_file=certificate / "cert.pem", timeout_s=10, **keys)


def send(folder, using, **keys):
    keys.setdefault("secret", SECRET)
    return send_letters(folder, using, now=NOW.isoformat, pause=lambda _: None,
                        date=lambda: email.utils.format_datetime(NOW), **keys)


def log_of(folder):
    path = folder / "sent.jsonl"
    return [json.loads(line) for line in path.read_text().splitlines()] if path.exists() else []


def test_dry_run_sends_and_writes_nothing(outbox):
    """ensures that without settings nothing leaves and no log is begun."""
    assert {s.outcome for s in send(outbox, None)} == {"would send"}
    assert not log_of(outbox)


def test_letters_arrive_once(outbox, server, certificate):
    """ensures that each letter arrives whole, over TLS, with a date, and only once."""
    first = send(outbox, settings(server, certificate, copy_to="office@fieldnotes.example"))
    assert [s.outcome for s in first] == ["sent", "sent"]
    assert [e["state"] for e in log_of(outbox)] == ["started", "sent"] * 2
    message = email.message_from_bytes(server.messages[0].content, policy=SMTP)
    original = email.message_from_bytes((outbox / "a" / "letter.eml").read_bytes(), policy=SMTP)
    assert message["Date"].datetime == NOW and message["X-Unsent"] is None
    assert message["Message-ID"] == original["Message-ID"]
    sent_pdf, kept_pdf = (next(m.iter_attachments()).get_content() for m in (message, original))
    assert sent_pdf == kept_pdf
    assert server.messages[0].rcpt_tos == ["ana@tarrow.example", "office@fieldnotes.example"]
    assert b"office@fieldnotes" not in server.messages[0].content
    second = send(outbox, settings(server, certificate))
    assert {s.outcome for s in second} == {"already sent"} and len(server.messages) == 2


def test_refused_letter_is_logged_and_can_be_tried_again(outbox, server, certificate):
    """ensures that a permanent answer fails one letter, not the rest (RFC 5321, 4.2.1)."""
    server.answers = ["550 no such place"]
    first = send(outbox, settings(server, certificate))
    assert [s.outcome for s in first] == ["failed", "sent"] and "550" in first[0].detail
    assert [s.outcome for s in send(outbox, settings(server, certificate))] == [
        "sent", "already sent"]


def test_busy_server_is_asked_again(outbox, server, certificate):
    """ensures that a transient answer is retried, and given up after the set attempts."""
    server.answers = ["451 later", "250", "451 later", "451 later"]
    assert [s.outcome for s in send(outbox, settings(server, certificate, attempts=2))] == [
        "sent", "failed"]


def test_broken_line_leaves_the_letter_unclear(outbox, server, certificate):
    """ensures that a letter that may have arrived is not sent again unasked."""
    server.answers = ["drop"]
    assert [s.outcome for s in send(outbox, settings(server, certificate))] == ["unclear", "sent"]
    again = send(outbox, settings(server, certificate))
    assert [s.outcome for s in again] == ["unclear", "already sent"] and len(server.messages) == 1
    asked = send(outbox, settings(server, certificate), again=True)
    assert [s.outcome for s in asked] == ["sent", "already sent"] and len(server.messages) == 2


def test_wrong_password_is_refused_without_printing_it(outbox, server, certificate):
    """ensures that the password is in no message and no letter is marked as begun."""
    with pytest.raises(SendFault) as caught:
        send(outbox, settings(server, certificate), secret="wrong-horse-99")
    assert "wrong-horse-99" not in str(caught.value) and "535" in str(caught.value)
    assert not log_of(outbox)


def test_unknown_certificate_is_refused(outbox, server):
    """ensures that a server that cannot prove its name gets no letter (RFC 8314)."""
    untrusted = MailSettings("127.0.0.1", server.port, user="me", password_env="PW", timeout_s=10)
    with pytest.raises(SendFault, match=r"(?i)certificate"):
        send(outbox, untrusted)
    assert not server.messages and not log_of(outbox)


def test_no_server_at_all(outbox, server, certificate):
    """ensures that a server that does not answer is one plain line."""
    gone = MailSettings("127.0.0.1", 1, timeout_s=5)
    with pytest.raises(SendFault, match=r"127\.0\.0\.1:1"):
        send(outbox, gone)


def test_torn_last_line_of_the_log(outbox, server, certificate):
    """ensures that a log whose last line broke off is read, and a damaged one refused."""
    send(outbox, settings(server, certificate))
    path = outbox / "sent.jsonl"
    path.write_bytes(path.read_bytes() + b'{"at": "20')
    assert {s.outcome for s in send(outbox, settings(server, certificate))} == {"already sent"}
    path.write_bytes(b"not json\n" + path.read_bytes())
    with pytest.raises(Exception, match=r"sent.jsonl:1"):
        send(outbox, settings(server, certificate))


def test_from_batch_to_inbox(tmp_path, server, certificate, monkeypatch):
    """ensures that a batch writes letters, and that send delivers them from the command line.

    The password is in the environment and in no output; without --really nothing leaves.
    """
    (tmp_path / "cases").mkdir()
    text = OHIO.read_text(encoding="utf-8")
    (tmp_path / "cases" / "a.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "cases" / "b.yaml").write_text(
        text.replace("id: tarrow-east-40", "id: nomail").replace(
            "name: Pruett & Daughters Grain", "name: Beech Hollow").replace(
            "  email: odessa@pruett-grain.example\n", ""), encoding="utf-8")
    out = tmp_path / "out"
    made = run("batch", tmp_path / "cases", "-o", out, "--workers", 1, "--mail", "--no-cover")
    assert made.exit_code == 0, made.output
    assert made.stderr.count("no letter to Beech Hollow: the case gives no e-mail address") == 1
    (letter,) = out.rglob("*.eml")
    assert letter.parent.joinpath("tarrow-east-40.pdf").exists()

    dry = run("send", out)
    assert dry.exit_code == 0 and "would send" in dry.output and not (out / "sent.jsonl").exists()
    assert run("send", out, "--really").exit_code == 2
    (tmp_path / "settings.toml").write_text(
        f'[mail]\nhost = "127.0.0.1"\nport = {server.port}\nuser = "me"\n'
        f'password_env = "LETTER_PASSWORD"\nca_file = "{certificate / "cert.pem"}"\n')
    monkeypatch.setenv("LETTER_PASSWORD", SECRET)
    really = ("send", out, "--settings", tmp_path / "settings.toml", "--really")
    sent = run(*really, "--json")
    assert sent.exit_code == 0, sent.output
    assert [one["outcome"] for one in json.loads(sent.stdout)] == ["sent"]
    assert SECRET not in sent.output + (out / "sent.jsonl").read_text()
    assert "already sent" in run(*really).output and len(server.messages) == 1
    again = run("batch", tmp_path / "cases", "-o", out, "--workers", 1, "--mail", "--no-cover")
    assert again.exit_code == 0 and "already sent" in run(*really).output


def test_nothing_to_send(tmp_path):
    """ensures that a folder without letters is said so, exit 2."""
    result = run("send", tmp_path)
    assert result.exit_code == 2 and "no letters" in result.stderr
