"""The lowest versions that pyproject.toml admits: install just those, and use the program.

Makes an environment in which every dependency stands at its stated lower bound, and runs
``tests/smoke.py`` in it: a case to all its documents, a batch, a signature made and verified,
an archive. Takes some minutes, most of it for the installation, and needs the package index;
so it is not part of ``.ci/run`` but run when a dependency or a bound changes::

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
BOUND = re.compile(r"([A-Za-z0-9._-]+)(\[[^]]*\])?\s*>=\s*([0-9][0-9.]*)(?:,.*)?")
WITH = ("pytest", "pytest-socket", "aiosmtpd")
"""Tools of the smoke suite, from the dev extra, each at its own lower bound too."""


def lowest() -> list[str]:
    """Every run-time dependency, and the tools of the suite, at their lower bounds.

    Raises
    ------
    SystemExit
        A dependency states no lower bound.
    """
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    tools = [line for line in project["optional-dependencies"]["dev"]
             if line.split(">=")[0] in WITH]
    pins = []
    for line in (*project["dependencies"], *tools):
        found = BOUND.fullmatch(line)
        if found is None:
            raise SystemExit(f"{line!r}: no lower bound")
        name, extra, version = found.groups()
        pins.append(f"{name}{extra or ''}=={version}")
    return pins


def main(folder: Path) -> int:
    pins = lowest()
    subprocess.run([sys.executable, "-m", "venv", folder], check=True)
    python = folder / "bin" / "python"
    subprocess.run([python, "-m", "pip", "install", "-q", *pins, "-e", str(ROOT)], check=True)
    subprocess.run([python, "-m", "pip", "check"], check=True)
    return subprocess.run([python, "-m", "pytest", "-q", "-n", "0", "tests/smoke.py"]
                          if "pytest-xdist" in WITH else
                          [python, "-m", "pytest", "-q", "-o", "addopts=", "tests/smoke.py"],
                          cwd=ROOT, check=False).returncode


if __name__ == "__main__":
    if len(sys.argv) > 1:
        sys.exit(main(Path(sys.argv[1])))
    with tempfile.TemporaryDirectory() as made:
        sys.exit(main(Path(made)))
