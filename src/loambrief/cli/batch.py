"""`loambrief batch`: the advisories of many cases, and the documents about all of them."""

import re
import sys
from pathlib import Path

import click

from loambrief.cli import INTERRUPTED
from loambrief.cli.shared import (
    FILES,
    OUTPUT,
    PLACE,
    QUIET,
    TEMPLATES,
    not_told,
    own_words,
    show_json,
    warn,
)
from loambrief.errors import ClusterFault


@click.command()
@click.argument("places", nargs=-1, required=True, type=PLACE, metavar="PLACE...")
@click.option("-o", "--output", type=OUTPUT, required=True,
              help="Folder for all that is made: <client>/<case id>.pdf, .annex.pdf and .json, "
                   "summary, cover.")
@click.option("--workers", type=click.IntRange(1, 256), help="Processes; all cores if left out.")
@click.option("--cluster", metavar="ADDRESS",
              help="Make the cases on a Dask cluster: its scheduler, tcp://HOST:PORT or "
                   "tls://HOST:PORT. Whoever reaches it can run programs on all its machines "
                   "and on this one: use tls:// outside a network you trust.")
@click.option("--shared", metavar="URL",
              help="With --cluster: workers hand finished files over in this storage, such as "
                   "file:///mnt/share or s3://bucket/folder, rather than through the scheduler.")
@click.option("--as-you-go", is_flag=True,
              help="Make each case as soon as it is read, instead of checking all first.")
@click.option("--force", is_flag=True,
              help="Make unchanged cases anew, and replace files the batch did not make.")
@click.option("--only-failed", is_flag=True, help="Only cases that failed last time.")
@click.option("--time-limit", type=click.FloatRange(0), default=60.0, show_default=True,
              metavar="SECONDS", help="A case may take this long; 0: as long as it wants.")
@click.option("--bundle", is_flag=True,
              help="Also one PDF of all advisories for each client, with contents.")
@click.option("--print-pack", is_flag=True,
              help="Also one PDF of everything, for printing on both sides.")
@click.option("--annexes", is_flag=True,
              help="With --print-pack: also the technical annexes.")
@FILES
@click.option("--mail", is_flag=True,
              help="Also a letter to each client, as a file; see loambrief send.")
@click.option("--month", metavar="YYYY-MM",
              help="Month of the cover; that of the latest case if left out.")
@click.option("--no-cover", is_flag=True, help="Make no month cover.")
@click.option("--units", type=click.Choice(["us", "si"]), help="Instead of the cases' own.")
@click.option("--paper", type=click.Choice(["letter", "a4"]), help="Instead of the cases' own.")
@click.option("--language", type=click.Choice(["en", "es", "es-US", "es-MX", "es-ES"]),
              help="Instead of the cases' own.")
@click.option("--html", is_flag=True, help="Also <case id>.html of each case.")
@click.option("--text", is_flag=True, help="Also <case id>.txt of each case.")
@TEMPLATES
@click.option("--json", "as_json", is_flag=True, help="Print what became of each case as JSON.")
@QUIET
def batch(places: tuple[str, ...], output: Path, workers: int | None, as_you_go: bool,
          force: bool, only_failed: bool, time_limit: float, bundle: bool, print_pack: bool,
          mail: bool, month: str | None, no_cover: bool, units: str | None, paper: str | None,
          language: str | None, html: bool, text: bool, templates: Path | None, as_json: bool,
          quiet: bool, cluster: str | None, shared: str | None, annexes: bool,
          files_as: str) -> None:
    """Make the advisories of many cases side by side.

    A PLACE is a folder (searched with its subfolders), a pattern in quotes, a case file, or a
    list: a .txt file with one place a line. A case that another one names under history: is not
    advised again, unless it is named here itself. All cases are checked first, and one that has
    problems never stops the rest. Run it again and only what changed is made. Ctrl-C finishes
    the cases in work and leaves whole files.

    Exit code 0: all made; 1: a case failed; 2: the batch could not go on; 130: interrupted.

    \b
    Examples:
      loambrief batch cases/2026-10 -o output/2026-10
      loambrief batch 'cases/*/2026-10*.yaml' -o output/2026-10 --workers 2
      loambrief batch clients.txt -o output/2026-10 --bundle --print-pack
      loambrief batch cases -o output/2026-10 --mail
      loambrief batch cases -o output/2026-10 --only-failed
      loambrief batch cases -o output/2026-10 --cluster tls://10.0.0.5:8786
    """
    from loambrief.batch.case_finder import find_cases
    from loambrief.batch.month import run_month
    from loambrief.batch.progress import progress_for
    from loambrief.batch.request import Request, WantedDocuments
    from loambrief.batch.run_report import as_data, failure_table, headline, stages, warned
    from loambrief.batch.work import Options

    if month and not re.fullmatch(r"\d{4}-(0[1-9]|1[0-2])", month):
        raise click.BadParameter(f"{month!r} is no month such as 2026-10", param_hint="--month")
    if cluster and workers:
        raise click.UsageError("--workers is for this machine; a cluster has workers of its own")
    if shared and not cluster:
        raise click.UsageError("--shared goes with --cluster")
    if annexes and not print_pack:
        raise click.UsageError("--annexes goes with --print-pack")
    words = own_words(templates)
    found = find_cases(places, without=output)
    twins = tuple(ending for ending, wanted in (("html", html), ("txt", text)) if wanted)
    request = Request(found.cases, output, Options(units, paper, language, twins,
                                                   words.files if words else (), files_as),
                      as_you_go, force, only_failed, time_limit or None)
    progress = progress_for(sys.stderr, quiet=quiet or as_json)
    if found.left_aside:
        count = len(found.left_aside)
        progress.say("1 YAML file is no case and was left aside" if count == 1 else
                     f"{count} YAML files are no cases and were left aside")
    if found.earlier:
        count = len(found.earlier)
        progress.say("1 earlier case is read with the case that names it, and not advised again"
                     if count == 1 else
                     f"{count} earlier cases are read with the cases that name them, and not "
                     "advised again")
    done = run_month(request, WantedDocuments(not no_cover, bundle, print_pack, mail, month or "",
                                              annexes),
                     workers=workers, progress=progress,
                     executor=_executor(cluster, shared, progress.say))
    result = done.result
    if as_json:
        show_json(as_data(done))
    else:
        failure_table(done, sys.stderr)
        warn(not_told(done.no_letter, frozenset() if quiet else result.told))
        if result.damaged:
            click.echo(f"{result.damaged} lines of the ledger could not be read; the cases they "
                       "were about count as never made", err=True)
        if not quiet:
            click.echo(headline(done))
            if line := warned(done):
                click.echo(line)
            for line in stages(done):
                click.echo(line)
            for path in done.documents:
                click.echo(f"wrote {path}")
    if result.disk:
        click.echo(f"loambrief: stopped: {result.disk}; run the batch again to make the rest",
                   err=True)
        sys.exit(2)
    if result.interrupted:
        click.echo("loambrief: interrupted; run the batch again to make the rest", err=True)
        sys.exit(INTERRUPTED)
    if result.failures:
        sys.exit(1)


def _executor(cluster: str | None, shared: str | None, say):
    """What works off the cases: processes on this machine, or a cluster."""
    if cluster is None:
        from loambrief.batch.pool import Pool

        return Pool
    try:
        from loambrief.batch.cluster import Cluster
    except ImportError as error:
        raise ClusterFault("a cluster needs further packages: pip install 'loambrief[cluster]'"
                           ) from error
    return lambda readers: Cluster(cluster, shared=shared, readers=readers, say=say)
