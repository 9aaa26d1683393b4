"""A folder name for each client: readable, safe on every system, and never shared."""

import hashlib
import re
import unicodedata
from collections import Counter
from collections.abc import Iterable, Mapping

LONGEST = 60
RESERVED = frozenset(
    ["con", "prn", "aux", "nul", "conin$", "conout$"]
    + [f"{kind}{n}" for kind in ("com", "lpt") for n in (*range(10), "¹", "²", "³")])
"""Names that some systems keep for devices, whatever follows a dot."""
_NOT_SPELLED_OUT = str.maketrans({"ß": "ss", "ø": "o", "æ": "ae", "œ": "oe", "ł": "l", "đ": "d",
                                  "ð": "d", "þ": "th", "ı": "i"})
_GAP = re.compile(r"[\W_]+")


def plain_name(name: str) -> str:
    """A name in small letters, digits and hyphens; letters without a Latin form stay.

    It holds no dot, slash, backslash or leading hyphen, so it can name no other place; it may
    be empty.
    """
    text = unicodedata.normalize("NFKD", name.casefold()).translate(_NOT_SPELLED_OUT)
    text = "".join(c for c in text if not unicodedata.combining(c))
    text = unicodedata.normalize("NFC", text).replace("'", "").replace("’", "")
    return _GAP.sub("-", text).strip("-")[:LONGEST].rstrip("-")


def marked_name(name: str) -> str:
    """The plain name with a mark of its own, worked out from the exact name."""
    mark = hashlib.sha256(name.encode("utf-8")).hexdigest()[:6]
    return f"{plain_name(name) or 'client'}-{mark}"


def folder_names(clients: Iterable[str], taken: Mapping[str, str]) -> dict[str, str]:
    """A folder for each client.

    A client keeps the folder it had. Clients whose plain names are the same, or no name a
    system allows, get a mark; it does not matter in which order they come.

    Parameters
    ----------
    clients : iterable of str
        Exact names.
    taken : mapping of str to str
        Folders of earlier runs by client.

    Returns
    -------
    dict of str to str
        Of all clients, those of ``taken`` included.
    """
    names = dict(taken)
    new = sorted({client for client in clients if client not in names})
    used = {folder.casefold() for folder in names.values()}
    plain = {client: plain_name(client) for client in new}
    count = Counter(plain.values())
    for client in new:
        folder = plain[client]
        free = folder and count[folder] == 1 and folder not in used
        if not free or folder in RESERVED or len(folder) == LONGEST:
            folder = marked_name(client)
        names[client] = folder
    return names


def file_stem(case_id: str) -> str:
    """The case id as the beginning of a file name; a device's name gets a hyphen."""
    return f"{case_id}-" if case_id.split(".")[0].casefold() in RESERVED else case_id
