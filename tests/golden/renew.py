"""Writes the golden files anew: ``python tests/golden/renew.py [SAMPLE...]``.

Prints what changed. Look at it (``git diff tests/golden``) before you commit it. A picture that
still shows the same page is left as it is, so that a new rasteriser changes no file.
"""

from __future__ import annotations

import io
import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent)]


def main(wanted: list[str]) -> int:
    """Renew the files of some samples, or of all; 2 for an unknown name."""
    import golden
    from PIL import Image

    unknown = sorted(set(wanted) - set(golden.names()))
    if unknown:
        print(f"no sample {', '.join(unknown)}; known: {', '.join(golden.names())}")
        return 2
    kept: set[str] = set()
    for name in wanted or golden.names():
        for file, content in golden.files(name).items():
            kept.add(file)
            path = HERE / file
            before = path.read_bytes() if path.exists() else None
            if before is not None and file.endswith(".png") and before != content:
                old, new = (Image.open(io.BytesIO(data)) for data in (before, content))
                if old.size == new.size and golden.alike(old, new):
                    continue
            if before != content:
                path.write_bytes(content)
                print(f"{'changed' if before else 'new'}: {file}")
    if not wanted:
        for path in sorted(HERE.iterdir()):
            if path.suffix in (".jsonl", ".txt", ".png") and path.name not in kept:
                path.unlink()
                print(f"removed: {path.name}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
