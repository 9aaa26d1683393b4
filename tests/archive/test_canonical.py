"""Canonical JSON against the examples of RFC 8785 (JSON Canonicalization Scheme, 2020)."""

import hashlib
import json
import struct

import pytest

from loambrief.archive.canonical import canonical, digest, parse

APPENDIX_B = {  # RFC 8785, appendix B: bits of a double, and how it is written
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "ffefffffffffffff": "-1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "c340000000000000": "-9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332",
    "41b3de4355555554": "333333333.33333325",
    "41b3de4355555555": "333333333.3333333",
    "41b3de4355555556": "333333333.3333334",
    "41b3de4355555557": "333333333.33333343",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}


@pytest.mark.parametrize("bits", APPENDIX_B)
def test_numbers_of_appendix_b(bits):
    """ensures that numbers are written as RFC 8785, appendix B lists them."""
    assert canonical(struct.unpack(">d", bytes.fromhex(bits))[0]).decode() == APPENDIX_B[bits]


@pytest.mark.parametrize("bits", ["7fffffffffffffff", "7ff0000000000000"])
def test_no_number(bits):
    """ensures that what is not finite is refused (RFC 8785, appendix B, last rows)."""
    with pytest.raises(ValueError):
        canonical(struct.unpack(">d", bytes.fromhex(bits))[0])


def test_primitive_example():
    """ensures that the example of RFC 8785, 3.2.2 comes out to the byte (3.2.4)."""
    value = json.loads(r'''{
      "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
      "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
      "literals": [null, true, false]
    }''')
    assert canonical(value).hex(" ") == (
        "7b 22 6c 69 74 65 72 61 6c 73 22 3a 5b 6e 75 6c 6c 2c 74 72 75 65 2c 66 61 6c 73 65 5d "
        "2c 22 6e 75 6d 62 65 72 73 22 3a 5b 33 33 33 33 33 33 33 33 33 2e 33 33 33 33 33 33 33 "
        "2c 31 65 2b 33 30 2c 34 2e 35 2c 30 2e 30 30 32 2c 31 65 2d 32 37 5d 2c 22 73 74 72 69 "
        "6e 67 22 3a 22 e2 82 ac 24 5c 75 30 30 30 66 5c 6e 41 27 42 5c 22 5c 5c 5c 5c 5c 22 2f "
        "22 7d")


def test_sorting_example():
    """ensures that names are sorted by UTF-16 code units (RFC 8785, 3.2.3)."""
    value = {
        "\u20ac": "Euro Sign", "\r": "Carriage Return",
        "\ufb33": "Hebrew Letter Dalet With Dagesh", "1": "One",
        "\U0001f600": "Emoji: Grinning Face", "\u0080": "Control",
        "\u00f6": "Latin Small Letter O With Diaeresis",
    }
    assert list(json.loads(canonical(value)).values()) == [
        "Carriage Return", "One", "Control", "Latin Small Letter O With Diaeresis", "Euro Sign",
        "Emoji: Grinning Face", "Hebrew Letter Dalet With Dagesh"]


@pytest.mark.parametrize("value", [2**53, -(2**53), float("nan"), "\ud800", {"\udfff": 1}])
def test_values_without_a_canonical_form(value):
    """ensures that what readers could take differently is refused (RFC 7493, 2.1 and 2.2)."""
    with pytest.raises(ValueError):
        canonical(value)


@pytest.mark.parametrize("value", [b"x", {1: 2}, {"a": {3}}])
def test_types_without_a_canonical_form(value):
    """ensures that only the types of JSON are taken."""
    with pytest.raises(ValueError):
        canonical(value)


@pytest.mark.parametrize("text", [
    b'{"b":1,"a":2}', b'{"a": 1}', b'{"a":1.0}', b'{"a":1,"a":1}', b"[1]", b'{"a":1}\n',
    b'{"a":"\\u0041"}', b'{"a":NaN}', b"\xff", b'{"a":' + b"[" * 5000 + b"]" * 5000 + b"}",
])
def test_only_the_canonical_text_is_read(text):
    """ensures that a second spelling of the same value is not taken for it."""
    with pytest.raises(ValueError):
        parse(text)


def test_digest_is_that_of_the_text():
    """ensures that a digest can be checked with any SHA-256 tool."""
    assert digest({"b": [1, None], "a": "é"}) == hashlib.sha256(
        '{"a":"é","b":[1,null]}'.encode()).hexdigest()
