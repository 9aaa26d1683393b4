"""Names as they are compared."""

import unicodedata


def unaccented(name: str) -> str:
    """A name without its accents: "maíz" and "maiz" are the same."""
    if name.isascii():
        return name
    return "".join(c for c in unicodedata.normalize("NFKD", name) if not unicodedata.combining(c))


def fold(name: str) -> str:
    """Name without capitals, accents, hyphens and doubled blanks."""
    return " ".join(unaccented(name.lower()).replace("-", " ").replace("_", " ").split())
