"""What a bare word means: the core schema of YAML 1.2, less its octal and hexadecimal."""

import math
import pickle

import pytest

from loambrief.case.scalars import NotFinite, TypedFloat, TypedInt, as_written, resolve


@pytest.mark.parametrize(
    ("text", "value"),
    [
        # YAML 1.2.2 specification, section 10.3.2, example 10.9 (from memory, unverified)
        ("", None), ("null", None), ("~", None),
        ("true", True), ("True", True), ("FALSE", False),
        ("0", 0), ("7", 7), ("-19", -19), ("+12", 12),
        ("0.", 0.0), ("-0.0", 0.0), (".5", 0.5), ("+12e03", 12000.0), ("-2E+05", -200000.0),
    ],
)
def test_core_schema(text, value):
    """ensures that the words of the YAML 1.2 core schema mean what it says."""
    got = resolve(text)
    assert got == value
    assert isinstance(got, type(value)) or value is None


@pytest.mark.parametrize("text", ["yes", "No", "on", "off", "y", "2026-02-30", "2026-10-14",
                                  "10:30", "190:20:30", "0x1F", "0o14", "1_000", "0-6 in",
                                  "1,250", "tRUE", "nil", "=1+1", "1e", "--1", "."])
def test_everything_else_is_text(text):
    """ensures that words of older YAML (yes, dates, base 60) stay the text that was typed."""
    assert resolve(text) == text
    assert type(resolve(text)) is str


@pytest.mark.parametrize("text", [".inf", "-.inf", "+.INF", ".nan", ".NaN", "1e400", "-9e999"])
def test_not_finite_is_refused(text):
    """ensures that infinity and not-a-number never become a value."""
    with pytest.raises(NotFinite):
        resolve(text)


def test_numbers_remember_how_they_were_written():
    """ensures that leading zeros survive where text is wanted, also across processes."""
    for text, kind in (("00123", TypedInt), ("1.50", TypedFloat)):
        got = pickle.loads(pickle.dumps(resolve(text)))
        assert isinstance(got, kind)
        assert as_written(got) == text
    assert as_written(True) is True
    assert math.isclose(resolve("1.50"), 1.5)


def test_long_runs_of_digits_are_text():
    """ensures that an account number is not turned into a number nor costs quadratic time."""
    assert type(resolve("9" * 41)) is str
    assert type(resolve("9" * 500_000)) is str
