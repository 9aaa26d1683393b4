"""The lowest versions that pyproject.toml admits: install just those, and use the program.

Makes an environment in which every dependency stands at its stated lower bound, and runs in
it what a practitioner does: a case to its documents, a signature made and verified, a month's
cases at once, here and on a cluster, sheets of a laboratory, a rate map. Takes about ten
minutes and needs the package index; so it is not part of ``.ci/run`` but run when a dependency
or a bound changes::

    python3 .ci/lowest.py [FOLDER]

The environment is left in FOLDER if one is given. Exit 1 if something does not hold.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
BOUND = re.compile(r"([A-Za-z0-9._-]+)(\[[^]]*\])?>=([0-9][0-9.]*)(?:,.*)?")
TOOLS = ("hypothesis", "outloud", "pdfua", "pypdfium2", "pytest", "pytest-socket")
"""Of the dev extra, what the tests below need; at their lower bounds too."""
EXTRAS = ("cluster", "keyring", "parquet", "preview", "sheets")
"""Extras that need nothing but Python."""
TESTS = ("tests/test_advisory.py", "tests/sign/test_levels.py", "tests/sign/test_attacks.py",
         "tests/batch/test_batch_command.py", "tests/case/test_intake_kinds.py",
         "tests/case/test_boundary_read.py::test_a_shapefile_becomes_zones",
         "tests/season/test_season_tables.py",
         "tests/batch/test_cluster.py::test_the_bytes_are_those_made_here")


def lowest() -> list[str]:
    """Every run-time dependency, the extras and the tools, at their lower bounds.

    Raises
    ------
    SystemExit
        A dependency states no lower bound.
    """
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    tools = [line for line in project["optional-dependencies"]["dev"]
             if line.split(">=")[0] in TOOLS]
    pins = []
    extras = [line for name in EXTRAS for line in project["optional-dependencies"][name]]
    for line in (*project["dependencies"], *extras, *tools):
        found = BOUND.fullmatch(line)
        if found is None:
            raise SystemExit(f"{line!r}: no lower bound")
        name, extra, version = found.groups()
        pins.append(f"{name}{extra or ''}=={version}")
    return pins


def main(folder: Path) -> int:
    subprocess.run([sys.executable, "-m", "venv", folder], check=True)
    python = folder / "bin" / "python"
    for command in (["pip", "install", "-q", *lowest(), "-e", str(ROOT)], ["pip", "check"],
                    ["pytest", "-q", "-o", "addopts=--allow-unix-socket",
                     "-o", "filterwarnings=default", *TESTS]):
        done = subprocess.run([python, "-m", *command], cwd=ROOT, check=False)
        if done.returncode:
            return 1
    return 0


if __name__ == "__main__":
    if len(sys.argv) > 1:
        sys.exit(main(Path(sys.argv[1])))
    with tempfile.TemporaryDirectory() as made:
        sys.exit(main(Path(made)))
