"""What the installed program stands on: every dependency with its licence, files unchanged.

Needs no network: versions, requirements and file digests come from the installed metadata.
Known vulnerabilities are not looked up; that needs the network (``pip-audit`` does it).
Exit 1 if a requirement is not met, a file is not what its wheel recorded, or a licence is not
one of those below.
"""

from __future__ import annotations

import base64
import hashlib
import re
import sys
from importlib.metadata import Distribution, PackageNotFoundError, distribution

from packaging.requirements import Requirement

ROOT = "loambrief"
LICENCES = ("0BSD", "Apache", "BSD", "HPND", "ISC", "LGPL", "MIT", "MPL", "Mozilla", "PSF",
            "Python", "Unlicense", "Zlib")
"""Words of which one stands in the name of an accepted licence. Under the LGPL stands pebble,
which is imported as it comes and is not shipped with the program."""


def needed(name: str, found: dict[str, Distribution]) -> list[str]:
    """A distribution and all it needs here; what is missing is returned as a problem."""
    key = re.sub(r"[-_.]+", "-", name).lower()
    if key in found:
        return []
    try:
        about = found[key] = distribution(name)
    except PackageNotFoundError:
        return [f"{name}: needed, not installed"]
    problems = []
    for line in about.requires or ():
        wanted = Requirement(line)
        if wanted.marker is None or wanted.marker.evaluate({"extra": ""}):
            problems += needed(wanted.name, found)
            there = found.get(re.sub(r"[-_.]+", "-", wanted.name).lower())
            if there is not None and not wanted.specifier.contains(there.version, prereleases=True):
                problems.append(f"{about.name}: wants {wanted}, found {there.version}")
    return problems


def changed(about: Distribution) -> list[str]:
    """Files that are not what the wheel recorded."""
    wrong = []
    for file in about.files or ():
        if file.hash is None:
            continue
        try:
            digest = hashlib.new(file.hash.mode, file.locate().read_bytes()).digest()
        except OSError:
            wrong.append(f"{about.name}: {file} is missing")
            continue
        if base64.urlsafe_b64encode(digest).rstrip(b"=").decode() != file.hash.value:
            wrong.append(f"{about.name}: {file} was changed")
    return wrong


def licence(about: Distribution) -> str:
    """The licence as the metadata names it, on one line."""
    meta = about.metadata
    classes = [c.rsplit(" :: ", 1)[-1] for c in meta.get_all("Classifier", ())
               if c.startswith("License ::") and c != "License :: OSI Approved"]
    text = meta.get("License-Expression") or "; ".join(classes) or meta.get("License") or ""
    return text.strip().splitlines()[0].strip() if text.strip() else "not stated"


def main() -> int:
    found: dict[str, Distribution] = {}
    problems = needed(ROOT, found)
    for name in sorted(found):
        about = found[name]
        record = hashlib.sha256((about.read_text("RECORD") or "").encode()).hexdigest()
        print(f"{name} {about.version}  {licence(about)}  RECORD sha256 {record[:16]}")
        problems += changed(about)
        if not any(word.lower() in licence(about).lower() for word in LICENCES):
            problems.append(f"{name}: licence {licence(about)!r} is not among the known ones")
    for problem in problems:
        print(f"audit: {problem}", file=sys.stderr)
    return 1 if problems else 0


if __name__ == "__main__":
    sys.exit(main())
