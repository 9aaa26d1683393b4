"""Folder names of clients: safe on every system, never shared, whatever the names."""

import random
import re

from hypothesis import given
from hypothesis import strategies as st

from loambrief.batch.folder_names import RESERVED, file_stem, folder_names, plain_name

NAMES = st.text(max_size=80)


def test_readable_names():
    """ensures that ordinary names become what one would type."""
    assert plain_name("Pruett & Daughters Grain") == "pruett-daughters-grain"
    assert plain_name("Señora Núñez, S.A.") == "senora-nunez-s-a"
    assert plain_name("Groß-Östmann GbR") == "gross-ostmann-gbr"
    assert plain_name("O'Hara’s Dairy") == "oharas-dairy"
    assert plain_name("Ørsted Æble") == "orsted-aeble"


def test_names_lead_nowhere_else():
    """ensures that a client cannot name a folder above or beside the output."""
    for name in ("../../etc", "..", ".", "/", "C:\\x", "a/b", "\x00", "~root", ".loambrief"):
        folder = folder_names([name], {})[name]
        assert re.fullmatch(r"[^\W_]+(-[^\W_]+)*", folder), (name, folder)


def test_reserved_and_empty_names_get_a_mark():
    """ensures that device names and names without letters are usable."""
    names = folder_names(["CON", "nul", "LPT1", "!!!", ""], {})
    assert len(set(names.values())) == 5
    assert not RESERVED & set(names.values())
    assert names["!!!"].startswith("client-")


def test_different_clients_never_share():
    """ensures that names which look alike get folders of their own, in any order."""
    alike = ["Muller", "Müller", "MULLER", "Muller."]
    wanted = folder_names(alike, {})
    assert len(set(wanted.values())) == 4
    random.Random(5).shuffle(alike)
    assert folder_names(alike, {}) == wanted


def test_a_client_keeps_its_folder():
    """ensures that a newcomer with a like name does not move the client who was there."""
    before = folder_names(["Müller"], {})
    after = folder_names(["Muller", "Müller"], before)
    assert after["Müller"] == before["Müller"] == "muller"
    assert after["Muller"].startswith("muller-")


def test_device_names_as_case_ids():
    """ensures that a case called like a device gets a file name that works."""
    assert file_stem("con") == "con-"
    assert file_stem("com1.old") == "com1.old-"
    assert file_stem("conrad-7") == "conrad-7"


@given(st.lists(NAMES, max_size=12, unique=True))
def test_any_names_are_safe_and_apart(names):
    """ensures that any set of names gives safe folders that differ beyond capitals."""
    folders = folder_names(names, {})
    assert len({f.casefold() for f in folders.values()}) == len(names)
    for folder in folders.values():
        assert 0 < len(folder) <= 67
        assert not set(folder) & set('/\\:*?"<>|.\0') and not folder.startswith("-")
        assert folder not in RESERVED
