"""A season of N made-up advisories, measured: seconds and memory of the whole command.

    python tests/benchmarks/season.py --count 10000

Makes the data of each sample case once, writes N variations of them (other clients, fields,
years and results), and runs ``loambrief season`` over the folder in a process of its own.
``--check`` ends with exit code 1 where a goal is missed: 10,000 advisories within 60 s of CPU
time and 1 GB of memory.
"""

from __future__ import annotations

import argparse
import copy
import json
import random
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
CASES = ("acid_corn_ohio/case", "saline_alfalfa_utah/case", "vegetables_new_jersey/case",
         "three_fields_indiana/creek_bottom")
SECONDS, MEGABYTES, OF = 60.0, 1000.0, 10_000
FIELDS, CLIENTS, FIRST_YEAR = 2000, 300, 2022


def originals() -> list[dict]:
    """The data of some samples."""
    from loambrief import pipeline

    return [json.loads(pipeline.make_advisory(ROOT / "sample_inputs" / f"{name}.yaml").data)
            for name in CASES]


def pattern(original: dict) -> str:
    """The data as text with marks for what differs, so that a variation is made in no time."""
    made = copy.deepcopy(original)
    made |= {"case_id": "@case", "generated_for": "@date", "tests": "@tests"}
    made["parties"]["client"] = "@client"
    made["field"] |= {"id": "@field", "name": "Field @field"}
    return json.dumps(made, indent=2, ensure_ascii=False) + "\n"


def write_season(folder: Path, count: int, seed: int = 1) -> float:
    """Write the data of ``count`` advisories, a folder each year; returns megabytes."""
    luck, size = random.Random(seed), 0
    kinds = [(pattern(original), original["tests"]) for original in originals()]
    for number in range(count):
        field, year = number % FIELDS, FIRST_YEAR + number // FIELDS
        text, tests = kinds[field % len(kinds)]
        tests = copy.deepcopy(tests)
        for test in tests:
            test["date"] = f"{year}-08-{luck.randint(1, 28):02d}"
            for layer in test["layers"]:
                for result in layer["results"].values():
                    result["value"] = round(result["value"] * luck.uniform(0.9, 1.1), 2)
        for mark, value in {"case": f"f{field:04d}-{year}", "field": f"F{field:04d}",
                            "date": f"{year}-10-{luck.randint(1, 28):02d}",
                            "client": f"Client {field % CLIENTS:03d}"}.items():
            text = text.replace(f"@{mark}", value)
        text = text.replace('"@tests"', json.dumps(tests, indent=2))
        home = folder / str(year)
        home.mkdir(parents=True, exist_ok=True)
        size += (home / f"f{field:04d}-{year}.json").write_bytes(text.encode())
    return size / 1e6


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=500)
    parser.add_argument("--folder", type=Path, help="kept; else a temporary one")
    parser.add_argument("--check", action="store_true", help="exit code 1 if a goal is missed")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        folder = given.folder or Path(temporary)
        size = write_season(folder / "in", given.count)
        print(f"{given.count} advisories, {size:.0f} MB", flush=True)
        started = time.perf_counter()
        subprocess.run([sys.executable, "-m", "loambrief.cli", "season", str(folder / "in"),
                        "-o", str(folder / "out"), "--force"], check=True)
        wall = time.perf_counter() - started
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        cpu, memory = used.ru_utime + used.ru_stime, used.ru_maxrss / 1024
        for path in sorted((folder / "out").iterdir()):
            print(f"  {path.stat().st_size / 1e6:8.1f} MB  {path.name}")
    print(f"{wall:.1f} s, {cpu:.1f} s of CPU time, at most {memory:.0f} MB")
    goals = {f"{SECONDS:.0f} s of CPU time for {OF:,}": cpu <= SECONDS * max(given.count / OF, 0.1),
             f"{MEGABYTES:.0f} MB": memory <= MEGABYTES}
    for goal, reached in goals.items():
        print(f"  {'reached' if reached else 'MISSED '}  {goal}")
    return 0 if all(goals.values()) or not given.check else 1


if __name__ == "__main__":
    sys.exit(main())
