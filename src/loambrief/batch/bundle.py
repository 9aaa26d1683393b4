"""Advisories put together: one file for each client, and one to print.

Both are the finished advisories, page for page, after a page of contents. The bundle of a
client is for reading: bookmarks, links and tags are kept, and the annexes follow the
advisories. The print pack holds advisories only, unless annexes are asked for; it is for a printer
that prints on both sides: each advisory starts on a right-hand page, and readers show the
case id before the page number. Long packs come in volumes.
"""

import datetime as dt
from collections.abc import Iterator, Sequence
from itertools import accumulate, groupby
from pathlib import Path

from loambrief.batch.cover import Setting
from loambrief.batch.folder_names import file_stem
from loambrief.batch.output_folder import OutputFolder
from loambrief.batch.request import CaseEntry
from loambrief.batch.work import Options
from loambrief.findings.model import say
from loambrief.pipeline import annex_name
from loambrief.render.join import BookPart, join, page_count
from loambrief.render.pdf import render_pdf
from loambrief.report import blocks as b
from loambrief.report.page_text import page_words

MOST_PAGES = 2000
"""Sheets a volume of the print pack may fill, on one side; no advisory is divided."""


def bundles(entries: Sequence[CaseEntry], store: OutputFolder,
            options: Options) -> Iterator[tuple[str, bytes]]:
    """Name and content of each client's bundle; the entries have figures and reading order."""
    for (_, client), group in groupby(entries, key=lambda e: (e.folder, e.made.client)):
        own = list(group)
        yield (f"{own[0].folder}/_bundle-{own[0].folder}.pdf",
               _bundle(client, own, store, options))


def _bundle(client: str, entries: Sequence[CaseEntry], store: OutputFolder,
            options: Options) -> bytes:
    setting = _setting(entries, options)
    title = _word(setting, "bundle_title", client=client, count=len(entries))
    parts = [BookPart(_name(entry), _advisory(entry, store).read_bytes) for entry in entries]
    second = _word(setting, "annex")
    apart = [e for e in entries if _annex(e, store).is_file()]
    parts += [BookPart(f"{_name(e)}: {second}", _annex(e, store).read_bytes) for e in apart]
    pages = [1, *accumulate((page_count(part.pdf()) for part in parts), initial=1)][1:]
    starts = [str(page) for page in pages[:len(entries)]]
    annexes = dict(zip((e.outcome.case_id for e in apart), map(str, pages[len(entries):]),
                       strict=False))
    front = _contents(title, client, entries, starts, setting, by_client=False,
                      annexes=[annexes.get(e.outcome.case_id, "–") for e in entries]
                      if annexes else ())
    return join(render_pdf(front), parts)


def print_packs(entries: Sequence[CaseEntry], store: OutputFolder,
                options: Options, annexes: bool = False) -> Iterator[tuple[str, bytes]]:
    """Name and content of each volume of the print pack, with ``annexes`` or without; other
    arguments as :func:`bundles`."""
    volumes: list[list[CaseEntry]] = [[]]
    pages = 0
    for entry in entries:
        count = sum(n + n % 2 for n in (page_count(path.read_bytes())
                                        for path in _files(entry, store, annexes)))
        if volumes[-1] and pages + count > MOST_PAGES:
            volumes.append([])
            pages = 0
        volumes[-1].append(entry)
        pages += count
    digits = len(str(len(volumes)))
    for number, volume in enumerate(volumes, 1):
        name = "print-pack.pdf" if len(volumes) == 1 else f"print-pack-{number:0{digits}d}.pdf"
        yield name, _pack(volume, number, len(volumes), store, options, annexes)


def _pack(entries: Sequence[CaseEntry], number: int, of: int, store: OutputFolder,
          options: Options, annexes: bool) -> bytes:
    setting = _setting(entries, options)
    title = _word(setting, "pack_title", count=len(entries), number=number, of=of)
    starts = [f"{e.outcome.case_id} 1" for e in entries]
    front = _contents(title, _word(setting, "pack_head", number=number, of=of), entries, starts,
                      setting, by_client=True)
    second = _word(setting, "annex")
    parts = []
    for e in entries:
        title = f"{e.made.client}, {_name(e)}"
        parts.append(BookPart(title, _advisory(e, store).read_bytes, e.outcome.case_id))
        parts += [BookPart(f"{title}: {second}", path.read_bytes, f"{e.outcome.case_id} A")
                  for path in _files(e, store, annexes)[1:]]
    return join(render_pdf(front), parts, right_hand=True)


def _contents(title: str, head: str, entries: Sequence[CaseEntry], starts: Sequence[str],
              setting: Setting, *, by_client: bool, annexes: Sequence[str] = ()) -> b.ReportModel:
    """The page in front: every advisory with the page it starts on."""
    writer = setting.writer
    figures = [e.made for e in entries]
    columns = [b.Column(_word(setting, "column_field"), weight=2.6),
               b.Column(_word(setting, "column_crop"), weight=1.6),
               b.Column(_word(setting, "column_date"), weight=2.2),
               b.Column(_word(setting, "column_page"), "right", weight=2.4 if by_client else 0.9)]
    if by_client:
        columns.insert(0, b.Column(_word(setting, "column_client"), weight=2.6))
    if annexes:
        columns.append(b.Column(_word(setting, "annex"), "right", weight=1.2))
    rows = []
    for number, (f, start) in enumerate(zip(figures, starts, strict=True)):
        cells = (f.field, writer.term(f.crop), writer.day(dt.date.fromisoformat(f.date)), start,
                 *annexes[number:number + 1])
        rows.append(b.Row((f.client, *cells) if by_client else cells))
    intro = "pack_intro" if by_client else "bundle_intro"
    blocks: tuple[b.Block, ...] = (
        b.Heading(1, title, anchor="contents"),
        b.Paragraph(_word(setting, intro)),
        b.Table(tuple(columns), tuple(rows), row_headers=True),
    )
    return b.ReportModel(
        title=title,
        case_id="",
        date=max(dt.date.fromisoformat(f.date) for f in figures),
        words=page_words(writer),
        blocks=blocks,
        author=writer.listed(sorted({f.adviser for f in figures})),
        status=b.DocumentStatus.ISSUED,
        language=writer.language,
        paper=setting.paper,
        running_head=head,
        units=setting.units,
    )


def _setting(entries: Sequence[CaseEntry], options: Options) -> Setting:
    return Setting.of([e.made for e in entries], **options.overrides())


def _word(setting: Setting, name: str, /, **params: object) -> str:
    return setting.writer.write(say(f"batch.{name}", **params))


def _name(entry: CaseEntry) -> str:
    return f"{entry.made.field} ({entry.outcome.case_id})"


def _advisory(entry: CaseEntry, store: OutputFolder) -> Path:
    return store.path(f"{entry.folder}/{file_stem(entry.outcome.case_id)}.pdf")


def _annex(entry: CaseEntry, store: OutputFolder) -> Path:
    return store.path(f"{entry.folder}/{annex_name(file_stem(entry.outcome.case_id))}")


def _files(entry: CaseEntry, store: OutputFolder, annexes: bool) -> list[Path]:
    """The advisory of a case, and its annex if it is wanted and apart."""
    first, second = _advisory(entry, store), _annex(entry, store)
    return [first, second] if annexes and second.is_file() else [first]
