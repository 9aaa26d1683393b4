"""What one advisory costs, stage by stage: run it with ``python tests/benchmarks/advisory.py``.

Prints the median CPU time of each stage in one warmed process, the wall time of a cold run
of the command and of ``--help``, the size and length of the file, and how much memory the
process gained from the first case to the last. ``--json`` gives the same to a program.
"""

from __future__ import annotations

import argparse
import io
import json
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).parents[2]
CASE = ROOT / "sample_inputs" / "acid_corn_ohio" / "case.yaml"
STAGES = ("read", "findings", "plan", "report model", "layout", "charts", "file", "total")


def stages(case: Path) -> dict[str, float]:
    """CPU seconds of each stage of one advisory; charts are part of neither neighbour."""
    from loambrief import pipeline
    from loambrief.actions.plan import make_plan
    from loambrief.agronomy.guides import from_data, with_guides
    from loambrief.agronomy.registry import recording
    from loambrief.case.load import load_case
    from loambrief.charts import build
    from loambrief.render import figures, pdf
    from loambrief.topics.assess import assess

    spent = dict.fromkeys(STAGES, 0.0)

    def timed(name: str, work: Callable, *arguments):
        start = time.process_time()
        made = work(*arguments)
        spent[name] += time.process_time() - start
        return made

    def charted(work: Callable) -> Callable:
        return lambda *arguments: timed("charts", work, *arguments)

    build.cache_clear()
    loaded = timed("read", load_case, case)
    own = [from_data(guide.name, guide.data, own=True) for guide in loaded.guides]
    with recording() as trace, with_guides(*own):
        diagnosis = timed("findings", assess, loaded.case)
        plan = timed("plan", make_plan, loaded.case, diagnosis.findings)
    advice = pipeline.Advice(loaded, diagnosis, plan, tuple(trace.results))
    report, _ = timed("report model", pipeline._paper, advice)
    real = figures.figure_size, figures.draw_chart, pdf.archive_file
    figures.figure_size, figures.draw_chart = charted(real[0]), charted(real[1])
    pdf.archive_file = lambda *a, **k: timed("file", lambda: real[2](*a, **k))
    try:
        timed("layout", pdf.render_pdf, report.model)
    finally:
        figures.figure_size, figures.draw_chart, pdf.archive_file = real
    spent["layout"] -= spent["charts"] + spent["file"]
    spent["total"] = sum(spent[name] for name in STAGES if name != "total")
    return spent


def warm(case: Path, runs: int) -> dict[str, float]:
    """Median of each stage over so many runs, after two that count for nothing."""
    for _ in range(2):
        stages(case)
    measured = [stages(case) for _ in range(runs)]
    return {name: statistics.median(run[name] for run in measured) for name in STAGES}


def _wall(*arguments: str, runs: int) -> float:
    """Median wall time of a command in a process of its own [s]."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        subprocess.run([sys.executable, "-m", "loambrief.cli", *arguments], check=True,
                       capture_output=True)
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def measure(case: Path = CASE, runs: int = 15, cold_runs: int = 5) -> dict:
    """Everything the script prints."""
    import pypdf

    from loambrief import pipeline

    made = warm(case, 1) and warm(case, runs)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    for _ in range(10):
        advisory = pipeline.make_advisory(case)
    gained = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    with tempfile.TemporaryDirectory() as folder:
        cold = _wall("advise", str(case), "-o", folder, "-q", runs=cold_runs)
    return {
        "warm_cpu_s": made,
        "cold_wall_s": cold,
        "help_wall_s": _wall("--help", runs=cold_runs),
        "pdf_bytes": len(advisory.pdf),
        "pages": len(pypdf.PdfReader(io.BytesIO(advisory.pdf)).pages),
        "memory_gained_kib_in_10": gained,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("case", nargs="?", type=Path, default=CASE)
    parser.add_argument("--runs", type=int, default=15)
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    found = measure(options.case, options.runs)
    if options.json:
        print(json.dumps(found, indent=2))
        return
    total = found["warm_cpu_s"]["total"]
    print("stage          CPU ms   share")
    for name, seconds in found["warm_cpu_s"].items():
        print(f"{name:13} {1000 * seconds:7.1f}  {100 * seconds / total:5.1f} %")
    print(f"cold advise   {found['cold_wall_s']:.2f} s wall")
    print(f"--help        {found['help_wall_s']:.2f} s wall")
    print(f"file          {found['pdf_bytes'] / 1000:.0f} kB, {found['pages']} pages")
    print(f"memory        {found['memory_gained_kib_in_10']} KiB more after 10 advisories")


if __name__ == "__main__":
    main()
