"""Settings of all tests: nothing rests on luck, on the clock or on how the tests were started.

The order is random (pytest-randomly); what a test draws is not. Property tests take the same
examples every time. ``--hypothesis-profile=search`` draws new ones, many more, and prints what
reproduces a failure.

A test that names ``max_examples`` keeps its number in a search, with new examples. Limits of
time are in CPU time where the work is done in the process, with room for slow machines; where a
test waits for another process, the limit only tells "ended" from "waited for ever".
"""

import compileall
import gc
import hashlib
import json
import os
import pickle
import random
import re
import shutil
import signal
import sys
import zlib
from functools import cache
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis.internal.conjecture import providers
from pikepdf.pdfa._schemas import SchemaSet

import loambrief
from loambrief.archive import canonical, check, log, store
from loambrief.render import pdf, pdfa
from loambrief.resources import templates_dir

# how fast examples are drawn depends on who else uses the machine
ALWAYS = {"deadline": None, "database": None, "suppress_health_check": [HealthCheck.too_slow]}
settings.register_profile("fixed", derandomize=True, max_examples=60, **ALWAYS)
settings.register_profile("search", derandomize=False, max_examples=2000, print_blob=True, **ALWAYS)
settings.load_profile("fixed")
MEMORY, ROOM = "/dev/shm", 4 * 2**30
"""A folder in memory on Linux, and what it must have left to be used [bytes]: a run takes less
than a tenth of it."""


def pytest_configure(config):
    """Started by nohup or in the background, a process ignores Ctrl-C, and so would its tests.

    The program is compiled once, as an installation does it: where Python may not write what it
    compiles (PYTHONDONTWRITEBYTECODE), each command of a test would compile all of it again, and
    each run all tests. So it would all templates in each home that a test makes up, and list the
    typefaces.

    Folders of tests are in memory where the machine has such a place: archives are written there
    and thrown away by the thousand. They go with their test, unless it failed (pyproject.toml).

    Hypothesis would read every module that happens to be loaded, for constants to try: that takes
    seconds, and other examples come whenever other tests are collected. Only a search does.

    Garbage is looked for seldom: tests hold many documents, and walking over all of them each
    time that 700 objects are new took a tenth of the whole run. (Nothing is frozen for good: the
    program itself counts what an advisory leaves as old, if nothing is; see `uncollected`.)
    """
    if (os.access(MEMORY, os.W_OK) and shutil.disk_usage(MEMORY).free > ROOM
            and not os.statvfs(MEMORY).f_flag & os.ST_NOEXEC):
        os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", MEMORY)
    if config.getoption("hypothesis_profile", None) != "search":
        providers._get_local_constants = lambda: providers._local_constants
    gc.set_threshold(100_000, 20, 50)
    config.option.randomly_reset_seed = False  # each test is given its chance below
    signal.signal(signal.SIGINT, signal.default_int_handler)
    os.environ.setdefault("XDG_CACHE_HOME", str(Path.home() / ".cache"))
    sys.dont_write_bytecode = False
    if not hasattr(config, "workerinput"):
        compileall.compile_dir(Path(loambrief.__file__).parent, quiet=2)


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_pyfunc_call(pyfuncitem):
    """Chance is the same in each run of a test, whatever the seed of the order."""
    random.seed(zlib.crc32(pyfuncitem.nodeid.encode()))
    return (yield)


def pytest_unconfigure():
    """Pytest looks five times for garbage at its end, through all that this process ever made:
    once is enough to hear of files left open, the other times find nothing to walk over."""
    gc.collect()
    gc.freeze()


DRAW = pdf.render_pdf
"""The function that draws a document, as it is in the program."""


@pytest.hookimpl(wrapper=True)
def pytest_runtestloop(session):
    """What takes long and gives the same is done once, for all tests and processes of a run.
    (A hook, not a fixture of the session: that costs as much in every test as a small test.)"""
    folder = session.config._tmp_path_factory.getbasetemp()
    kept = (folder.parent if hasattr(session.config, "workerinput") else folder) / "drawn"
    kept.mkdir(exist_ok=True)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(pdfa, "_check", files_checked_once(pdfa._check))
        patch.setattr(SchemaSet, "check", objects_judged_once(SchemaSet.check))
        patch.setattr(pdf, "render_pdf", drawn_once(kept))
        parse = held_once(canonical.parse)
        for module in (canonical, log, store, check):
            patch.setattr(module, "parse", parse)
        patch.setattr(log, "read_line", cache(log.read_line))
        return (yield)


def files_checked_once(real):
    """The archive check of the same bytes is made once: it takes longer than making them."""
    passed = set()

    def check(data, *more):
        digest = hashlib.sha256(data).digest()
        if digest not in passed:
            real(data, *more)
            passed.add(digest)

    return check


def held_once(real):
    """The same line of a log and the same card are held against their canonical form once."""
    passed = set()

    def parse(text):
        digest = hashlib.sha256(text).digest()
        if digest in passed:
            return json.loads(text)
        value = real(text)
        passed.add(digest)
        return value

    return parse


def drawn_once(kept):
    """The program draws the same pages once, for all tests and processes of a run.

    Only for the program's own calls, only with its own templates: tests of the drawing call it
    themselves, and tests that look at how it is done, or for how long, ask for ``drawn_anew``.
    """
    own = templates_dir()

    def draw(model, *, checked=None):
        if templates_dir() != own:
            return DRAW(model, checked=checked)
        name = hashlib.sha256(pickle.dumps((model, checked), 5)).hexdigest()
        try:
            return (kept / name).read_bytes()
        except FileNotFoundError:
            made = DRAW(model, checked=checked)
            part = kept / f"{name}.{os.getpid()}"
            part.write_bytes(made)
            part.replace(kept / name)
            return made

    return draw


@pytest.fixture
def drawn_anew(monkeypatch):
    """Every document is drawn."""
    monkeypatch.setattr(pdf, "render_pdf", DRAW)


WHEREVER = frozenset({"/Contents", "/Dest", "/Next", "/P", "/Parent", "/Prev", "/Rect",
                      "/StructParent", "/Title"})
"""Keys of links and bookmarks of which the rules know only the kind of value."""


def kinds(value):
    """A value with each number, text and reference in it as good as another of its kind."""
    if isinstance(value, list):
        return [kinds(item) for item in value]
    if isinstance(value, dict):
        return {key: kinds(item) for key, item in value.items()}
    if isinstance(value, str):
        return value[:2] if value[:2] in ("u:", "b:") else re.sub(r"^\d+ \d+ R$", "R", value)
    return type(value).__name__


def objects_judged_once(real):
    """Of two objects of a PDF with the same keys and values, the archive check judges one.

    Of two links or bookmarks also where they differ in nothing but text and place. Only objects
    without a fault are passed over the second time. What spans objects (fonts, colours, page
    content, references) is looked at in each file.
    """
    passed = set()

    def check(self, role, shallow, context, where):
        told = shallow
        if role in ("Annot", "LinkAnnot", "OutlineItem"):
            told = {key: kinds(value) if key in WHEREVER else value
                    for key, value in shallow.items()}
        key = self.flavour, role, repr(told)
        good = key in passed or real(self, role, shallow, context, where)
        if good:
            passed.add(key)
        return good

    return check
