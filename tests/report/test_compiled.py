"""Compiled templates: kept where it is safe, never needed, never trusted blindly."""

from __future__ import annotations

import os
from functools import cache

import pytest

from loambrief.findings.model import say
from loambrief.report import text
from loambrief.report.compiled import compiled_templates
from loambrief.report.text import Writer

MESSAGE = say("glossary.heading")


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """An empty cache folder, and no templates compiled yet; other tests keep theirs."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.setattr(text, "_modules", cache(text._modules.__wrapped__))
    return tmp_path / "loambrief"


def test_kept_and_used_again(folder):
    """ensures that a second process would find the templates compiled, and writes the same."""
    first = Writer().write(MESSAGE)
    kept = {p.name: p.read_bytes() for p in folder.iterdir()}
    assert kept and all(name.startswith("message-") for name in kept)
    text._modules.cache_clear()
    assert Writer().write(MESSAGE) == first
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == kept


def test_spoiled_files_are_compiled_anew(folder):
    """ensures that a cut or foreign file in the cache changes nothing that is written."""
    first = Writer().write(MESSAGE)
    for path in folder.iterdir():
        path.write_bytes(path.read_bytes()[:40])
    text._modules.cache_clear()
    assert Writer().write(MESSAGE) == first
    for path in folder.iterdir():
        path.write_bytes(b"not a template")
    text._modules.cache_clear()
    assert Writer().write(MESSAGE) == first


def test_a_folder_that_others_may_write_to_is_not_used(folder):
    """ensures that compiled code is never read from a place that somebody else can write to."""
    folder.mkdir()
    folder.chmod(0o777)
    assert compiled_templates() is None
    assert Writer().write(MESSAGE)
    assert not list(folder.iterdir())


def test_no_place_for_a_cache(tmp_path, monkeypatch):
    """ensures that templates are compiled each time where no folder can be made."""
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "file"))
    assert compiled_templates() is None


def test_nothing_reader_specific_is_kept(folder):
    """ensures that templates compiled for one reader's units serve another's."""
    us = Writer(system="us").write(say("report.chart_penetration_note", limit=300.0, digits=0))
    text._modules.cache_clear()
    si = Writer(system="si").write(say("report.chart_penetration_note", limit=300.0, digits=1))
    assert "psi" in us and "MPa" in si
    assert os.path.isdir(folder)


@pytest.mark.parametrize("first, second", [("si", "us"), ("us", "si")])
def test_no_amount_is_worked_out_while_compiling(folder, first, second):
    """ensures that a depth written out in a message is in each reader's units."""
    shown = {}
    for units in (first, second):
        text._modules.cache_clear()
        shown[units] = Writer("es", units).write(say("stratification.missing_surface", where="x"))
    assert "0-2 pulg" in shown["us"] and "0-5 cm" in shown["si"], shown
