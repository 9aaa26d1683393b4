"""Settings of sending: every fault at once, and never a secret in them."""

import sys
import types

import pytest

from loambrief.mail.settings import MailSettings, SettingsFault, load_mail_settings, password

GOOD = '[mail]\nhost = "smtp.example.org"\nuser = "me"\npassword_env = "PW"\n'


def write(tmp_path, text):
    path = tmp_path / "settings.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize("security, port", [("starttls", 587), ("tls", 465)])
def test_ports_follow_the_kind_of_line(tmp_path, security, port):
    """ensures the registered ports: submission 587 (RFC 6409), submissions 465 (RFC 8314)."""
    found = load_mail_settings(write(tmp_path, GOOD + f'security = "{security}"\n'))
    assert (found.port, found.security) == (port, security)


def test_every_fault_at_once(tmp_path):
    """ensures that one run names all that is wrong."""
    text = ('[mail]\nprot = 1\nport = "x"\nsecurity = "plain"\npassword_env = "A"\n'
            'password_keyring = "B"\nattempts = 0\n')
    with pytest.raises(SettingsFault) as caught:
        load_mail_settings(write(tmp_path, text))
    for part in ("prot: unknown", "port: found", "host: missing", "security: found",
                 "one of the two", "user: missing", "attempts: found"):
        assert part in str(caught.value)


@pytest.mark.parametrize("text, part", [
    ('[mail]\nhost = "smtp.example.org"\nsecurity = "none"\n', "on this machine"),
    ('[mail]\nhost = "127.0.0.1"\nsecurity = "none"\nuser = "me"\n', "in the clear"),
    ("[other]\n", "no [mail] table"),
    ("[mail\n", "settings.toml"),
])
def test_unsafe_or_unreadable_settings_are_refused(tmp_path, text, part):
    """ensures that no password and no advisory crosses a network in the clear (RFC 8314)."""
    with pytest.raises(SettingsFault) as caught:
        load_mail_settings(write(tmp_path, text))
    assert part in str(caught.value)


def test_password_from_environment_or_keyring(monkeypatch):
    """ensures that the password comes from where the settings say, and is missed by name."""
    settings = MailSettings("h", 587, user="me", password_env="PW")
    assert password(settings, {"PW": "s3cret"}) == "s3cret"
    with pytest.raises(SettingsFault, match="PW is not set"):
        password(settings, {})
    ring = types.ModuleType("keyring")
    ring.get_password = lambda service, user: {("loam", "me"): "from the ring"}.get((service, user))
    monkeypatch.setitem(sys.modules, "keyring", ring)
    found = MailSettings("h", 587, user="me", password_keyring="loam")
    assert password(found) == "from the ring"
    with pytest.raises(SettingsFault, match="no entry 'me' of service 'other'"):
        password(MailSettings("h", 587, user="me", password_keyring="other"))
    with pytest.raises(SettingsFault, match="without"):
        password(MailSettings("h", 587, user="me"))
    monkeypatch.setitem(sys.modules, "keyring", None)
    with pytest.raises(SettingsFault, match=r"loambrief\[keyring\]"):
        password(found)
