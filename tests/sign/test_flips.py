"""Every byte counts: changes of single bytes, and of what no digest protects."""

from __future__ import annotations

import datetime as dt
import random
import re

import pytest
import sign_samples as samples

from loambrief.archive.facts import FactState
from loambrief.archive.verify_cms import container_fault, gap_fault


def gaps(data):
    """(start, end) of the gaps that hold signatures, by their own byte ranges."""
    return [(int(m[1]), int(m[2])) for m in
            re.finditer(rb"/ByteRange \[0 (\d+) (\d+) \d+\]", data)]


def flipped(data, at, value):
    return data[:at] + bytes([value]) + data[at + 1:]


def test_an_untouched_file_is_good(signed, both, look):
    """ensures that both samples are good to begin with: the flips below are what breaks them."""
    for data in (signed, both):
        facts = look(data, archival=True)
        assert facts["bottom"] is FactState.GOOD, facts["sentence"]


@pytest.mark.parametrize("which,signatures", [("signed", 1), ("both", 2)])
def test_every_byte_is_under_a_digest_or_in_a_gap(which, signatures, request):
    """ensures that signed ranges begin with the file, end with their revision, and leave out
    nothing but the digits of their own signature: with that, one digest covers every byte.
    """
    data = request.getfixturevalue(which)
    found = [[int(n) for n in m.groups()] for m in
             re.finditer(rb"/ByteRange \[(\d+) (\d+) (\d+) (\d+)\]", data)]
    assert len(found) == signatures
    for first, length, second, rest in found:
        assert first == 0 and data[:second + rest].endswith(b"%%EOF\n")
        assert set(data[length:second]) <= set(b"<0123456789abcdefABCDEF>")
    assert max(second + rest for _, _, second, rest in found) == len(data)


@pytest.mark.parametrize("which,count", [("signed", 120), ("both", 60)])
def test_every_changed_byte_is_found(which, count, request, look):
    """ensures that a change of any one byte makes the file not good.

    180 seeded places, spread evenly: header, objects, cross-reference table, trailer, signature
    and its padding. The first and last bytes are among them.
    """
    data = request.getfixturevalue(which)
    rng = random.Random(20261020)
    places = [0, len(data) - 1, *(int((i + rng.random()) * len(data) / count)
                                  for i in range(count))]
    for at in places:
        value = data[at] ^ (1 << rng.randrange(8))
        facts = look(flipped(data, at, value))
        assert facts["bottom"] is not FactState.GOOD, f"byte {at} changed to {value} is not noticed"


def test_every_byte_of_the_signature_itself_counts(signed, anchors):
    """ensures that no byte in the gap of the signed bytes can be changed, padding included.

    The gap (ISO 32000-1, 12.8.1) is under no digest. Bits of a hexadecimal digit's letter
    case, of zero padding and of the certificates are the likely places to hide something.
    """
    from asn1crypto import x509
    from pyhanko.sign.validation.generic_cms import validate_sig_integrity

    ((start, end),) = gaps(signed)
    trusted = [x509.Certificate.load(a) for a in anchors]
    digest = None
    rng = random.Random(7)
    for at in range(start, end):
        old = signed[at:at + 1]
        choices = b"0123456789ABCDEFabcdef<> \n\0"
        new = rng.choice([c for c in choices if bytes([c]) != old])
        if at % 3 == 0 and old.isalpha():
            new = old.swapcase()[0]
        changed = flipped(signed, at, new)
        try:
            content = bytes.fromhex(changed[start + 1:end - 1].decode("latin-1"))
        except ValueError:
            content = b""
        byte_range = [0, start, end, len(signed) - end]
        fault = gap_fault(changed, byte_range, content) or container_fault(content, trusted)
        if fault:
            continue
        digest = digest or _digest(signed, start, end)
        assert not _holds(content, digest, validate_sig_integrity), f"byte {at} is not noticed"


def _digest(data, start, end):
    import hashlib

    return hashlib.sha256(data[:start] + data[end:]).digest()


def _holds(content, digest, validate):
    from asn1crypto import cms
    from pyhanko.sign.general import extract_certificate_info

    try:
        signed = cms.ContentInfo.load(content)["content"]
        certificate = extract_certificate_info(signed).signer_cert
        return all(validate(signed["signer_infos"][0], certificate, "data", digest))
    except Exception:  # whatever stops the library from validating it
        return False


@pytest.mark.parametrize("what,change", [
    ("padding filled", lambda d, s, e: d[:e - 3] + b"41" + d[e - 1:]),
    ("letter case mixed", lambda d, s, e: d[:s + 1] + d[s + 1:s + 99].lower() + d[s + 99:]),
    ("a space in the digits", lambda d, s, e: d[:e - 3] + b" 0" + d[e - 1:]),
])
def test_the_gap_has_one_form(signed, look, what, change):
    """ensures that other spellings of the same signature are refused."""
    ((start, end),) = gaps(signed)
    facts = look(change(signed, start, end))
    assert facts["bottom"] is FactState.BAD, what


def test_time_of_the_check_is_given(signed, look):
    """ensures that a certificate is judged at the moment given, not at the clock's."""
    before = look(signed, now=samples.BEGIN - dt.timedelta(days=1))
    after = look(signed, now=samples.END + dt.timedelta(days=1))
    assert before["signer", "Adviser"].state is FactState.BAD
    assert after["signer", "Adviser"].state is FactState.UNKNOWN
    assert after["bottom"] is FactState.UNKNOWN
