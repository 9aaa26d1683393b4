"""Compiled templates kept between runs, in the user's cache folder.

Compiling all messages takes about as long as the rest of a first advisory. What is kept is
named after the program's version and the template's place, and checked against its text, so
a changed template is compiled anew. Nothing depends on it: without a cache folder, with one
that cannot be written or that somebody else may write to, templates are compiled each time.
"""

import marshal
import os
import stat
from pathlib import Path

from jinja2 import BytecodeCache, nodes
from jinja2.bccache import Bucket, bc_magic
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


class CompiledTemplates(BytecodeCache):
    """A cache that may fail at any time without harm.

    jinja2's own reads the code piece by piece from the file, five times as slowly.
    """

    def __init__(self, folder: Path):
        self.folder = folder

    def _file(self, bucket: Bucket) -> Path:
        return self.folder / f"message-{__version__}-{bucket.key}.cache"

    def load_bytecode(self, bucket: Bucket) -> None:
        head = _head(bucket)
        try:
            kept = self._file(bucket).read_bytes()
            if kept.startswith(head):
                bucket.code = marshal.loads(kept[len(head):])
        except (OSError, EOFError, ValueError, TypeError):
            return

    def dump_bytecode(self, bucket: Bucket) -> None:
        file = self._file(bucket)
        temporary = file.with_suffix(f".{os.getpid()}")
        try:
            temporary.write_bytes(_head(bucket) + marshal.dumps(bucket.code))
            os.replace(temporary, file)
        except OSError:
            return


def _head(bucket: Bucket) -> bytes:
    """What code is kept under: versions of Python and jinja2, and the text it was made of."""
    return bc_magic + bucket.checksum.encode()


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
    return CompiledTemplates(folder)
