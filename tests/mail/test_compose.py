"""Letters: one per client, the same bytes each time, nothing smuggled into a header."""

import email
import re
from dataclasses import replace
from email.policy import SMTP

import html5lib
import pytest

from loambrief.mail.compose import LetterFault, compose, letters


def parsed(letter):
    return email.message_from_bytes(letter.content, policy=SMTP)


def told(finished, **facts):
    """The advisory with other facts."""
    enclosed = replace(finished.enclosed, facts=replace(finished.facts, **facts))
    return replace(finished, enclosed=enclosed)


def test_letter_carries_the_advisory(finished):
    """ensures that subject, both bodies and the PDF arrive whole through a MIME parser."""
    message = parsed(compose([finished]))
    assert message["To"].addresses[0].addr_spec == "ana@tarrow.example"
    assert finished.facts.field in message["Subject"]
    pdf, annex = message.iter_attachments()
    assert annex.get_content() == finished.annex
    assert annex.get_filename() == finished.name.replace(".pdf", ".annex.pdf")
    assert pdf.get_content() == finished.pdf and pdf.get_filename() == finished.name
    plain = message.get_body(("plain",)).get_content()
    chosen = set(finished.enclosed.data["budget"]["chosen"])
    first = [a for a in finished.enclosed.data["actions"] if a["id"] in chosen][:3]
    for action in first:
        assert action["title"] in plain.replace("\r\n", "\n")
    assert "read the advisory before you buy" in plain
    assert "draft" in plain and message["Date"] is None


def test_both_bodies_say_the_same(finished):
    """ensures that the HTML body is valid and holds the words of the plain one.

    Checked with html5lib in strict mode (the parsing rules of the HTML standard).
    """
    message = parsed(compose([finished]))
    html = message.get_body(("html",)).get_content()
    tree = html5lib.HTMLParser(strict=True).parse(html)
    body = tree.find(".//{http://www.w3.org/1999/xhtml}body")
    words = re.findall(r"\w+", " ".join(body.itertext()))
    plain = re.findall(r"\w+", message.get_body(("plain",)).get_content())
    assert words == plain


def test_same_advisories_same_bytes(finished):
    """ensures that a letter made again, in any order of cases, is the same letter."""
    second = replace(finished, enclosed=replace(finished.enclosed, file="second.pdf"))
    assert compose([finished]).content == compose([finished]).content
    one, two = letters([finished, second])[0], letters([second, finished])[0]
    assert one == two and len(one) == 1 and len(list(parsed(one[0]).iter_attachments())) == 4
    other = replace(finished, pdf=finished.pdf + b"%")
    assert parsed(compose([other]))["Message-ID"] != parsed(compose([finished]))["Message-ID"]


def test_clients_are_kept_apart(finished):
    """ensures that no client gets another's advisory."""
    other = told(finished, client="Beech Hollow", client_email="office@beech.example")
    made, refused = letters([finished, other])
    assert {letter.recipient for letter in made} == {"office@beech.example", "ana@tarrow.example"}
    assert not refused
    assert all(len(list(parsed(letter).iter_attachments())) == 2 for letter in made)


@pytest.mark.parametrize("address", ["", "nobody", "a@b@c.example", "a@localhost",
                                     "x@ex.example, y@ex.example", "ñ@ex.example",
                                     "a@ex.example\r\nBcc: z@ex.example"])
def test_no_letter_without_a_usable_address(finished, address):
    """ensures that an address is never guessed and nothing is smuggled in with it."""
    made, refused = letters([told(finished, client_email=address)])
    assert not made
    assert refused[0].client == finished.facts.client and "e-mail address" in refused[0].reason


def test_two_addresses_of_one_client_are_a_problem(finished):
    """ensures that a client with two addresses is asked about, not chosen for."""
    with pytest.raises(LetterFault, match="different"):
        compose([finished, told(finished, client_email="else@tarrow.example")])


def test_names_cannot_add_headers(finished):
    """ensures that line breaks in names stay out of the headers (RFC 5322, section 2.2)."""
    hostile = told(finished, contact="A\r\nBcc: z@ex.example", field="East\r\nX-Other: 1")
    message = parsed(compose([hostile]))
    assert message["Bcc"] is None and message["X-Other"] is None


def test_markup_in_names_stays_text(finished):
    """ensures that a name with markup is shown, not interpreted."""
    hostile = told(finished, farm="<script>alert(1)</script> & Sons")
    html = parsed(compose([hostile])).get_body(("html",)).get_content()
    assert "<script>" not in html and "&lt;script&gt;alert(1)&lt;/script&gt; &amp; Sons" in html


def test_spanish_letter(finished):
    """ensures that the letter follows the language of the case."""
    plain = parsed(compose([told(finished, language="es")])
                   ).get_body(("plain",)).get_content()
    assert "Lea el informe" in plain and "Kind regards" not in plain


def test_too_large_a_letter_is_named(finished, monkeypatch):
    """ensures that a letter no server would take is not written."""
    monkeypatch.setattr("loambrief.mail.compose.MOST_BYTES", 1000)
    assert "MB" in letters([finished])[1][0].reason
