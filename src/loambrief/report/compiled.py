"""Compiled templates kept between runs, in the user's cache folder.

Compiling all messages takes about as long as the rest of a first advisory. What is kept is
named after the program's version and the template's place, and checked against its text, so
a changed template is compiled anew. Nothing depends on it: without a cache folder, with one
that cannot be written or that somebody else may write to, templates are compiled each time.
"""

from __future__ import annotations

import os
import stat
from pathlib import Path
from pickle import UnpicklingError

from jinja2 import FileSystemBytecodeCache, nodes
from jinja2.bccache import Bucket
from jinja2.compiler import CodeGenerator, Frame

from loambrief import __version__

PRIVATE = 0o700


class ForEveryReader(CodeGenerator):
    """Compiles without working anything out: ``{{ "0-2 in"|place }}`` depends on the reader.

    Turning off jinja2's optimizer does not do: what is printed is worked out all the same.
    """

    def _output_child_to_const(self, node: nodes.Expr, frame: Frame, finalize) -> str:
        if not isinstance(node, nodes.TemplateData):
            raise nodes.Impossible
        return super()._output_child_to_const(node, frame, finalize)


class CompiledTemplates(FileSystemBytecodeCache):
    """A cache that may fail at any time without harm."""

    def load_bytecode(self, bucket: Bucket) -> None:
        try:
            super().load_bytecode(bucket)
        except (OSError, EOFError, ValueError, TypeError, UnpicklingError):
            bucket.reset()

    def dump_bytecode(self, bucket: Bucket) -> None:
        try:
            super().dump_bytecode(bucket)
        except OSError:
            return


def compiled_templates() -> CompiledTemplates | None:
    """The user's cache of compiled templates; None if there is no safe place for one.

    The place is ``loambrief`` in ``XDG_CACHE_HOME``, else in ``~/.cache``; it must belong to
    the user, and nobody else may write to it.
    """
    try:
        base = os.environ.get("XDG_CACHE_HOME", "")
        folder = (Path(base) if os.path.isabs(base) else Path.home() / ".cache") / "loambrief"
        folder.mkdir(mode=PRIVATE, parents=True, exist_ok=True)
        found = folder.stat()
    except (OSError, RuntimeError):
        return None
    if hasattr(os, "getuid") and (
            found.st_uid != os.getuid() or found.st_mode & (stat.S_IWGRP | stat.S_IWOTH)):
        return None
    return CompiledTemplates(str(folder), f"message-{__version__}-%s.cache")
