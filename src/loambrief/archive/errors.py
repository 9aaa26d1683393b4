"""Errors of keys and signatures."""

from loambrief.errors import LoambriefError


class KeyFault(LoambriefError):
    """A key, its passphrase or a certificate cannot be used; the text holds no secret."""


class SignFault(LoambriefError):
    """A file cannot be signed as asked."""

    exit_code = 1


class TimestampFault(LoambriefError):
    """The timestamp server did not answer as RFC 3161 wants."""
