"""When the name on a certificate is the name in a document."""

import re
import unicodedata
from collections.abc import Mapping

_GAP = re.compile(r"[\W_]+")


def plain(name: str) -> str:
    """A name for comparing: compatibility forms resolved (NFKD), accents, case and punctuation
    dropped, one space between words.

    Nothing else is forgiven: not another order, initials, titles or left-out words. An ASCII
    certificate of "José Muñoz-Gil" fits; one of "J. Muñoz" does not.
    """
    text = unicodedata.normalize("NFKD", name)
    bare = "".join(c for c in text if not unicodedata.combining(c)).casefold()
    return _GAP.sub(" ", bare.replace("'", "").replace("’", "")).strip()


def same_name(one: str, other: str) -> bool:
    """Whether two names are one, and there is a name at all."""
    return bool(plain(one)) and plain(one) == plain(other)


def named_for(stated: Mapping, role: str) -> tuple[str, ...]:
    """Who may sign in a role by the attached data: the adviser; the client or its contact.

    Parameters
    ----------
    stated : mapping
        From :func:`loambrief.archive.pdf_parts.stated_in`.
    role : str
        "adviser" or "client".

    Returns
    -------
    tuple of str
        Empty if the data do not say, as before version 0.4.
    """
    parties = stated.get("parties")
    if not isinstance(parties, Mapping):
        return ()
    keys = ("adviser",) if role == "adviser" else ("client", "contact")
    return tuple(str(parties[k]) for k in keys if parties.get(k))
