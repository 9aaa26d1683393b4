"""What a person sees after an advisory is made: what to do first, the money, where it is."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

if TYPE_CHECKING:
    from loambrief.pipeline import Brief


def show(briefs: Sequence[Brief], written: Sequence[Path], stream: TextIO) -> None:
    """Print briefs and files: laid out on a terminal, plain lines anywhere else.

    Parameters
    ----------
    stream : text stream
        Colour follows its terminal, and ``NO_COLOR``; words never depend on it.
    """
    if not stream.isatty():
        for one in briefs:
            stream.write("".join(f"{line}\n" for line in one.lines()))
        stream.write("".join(f"wrote {path}\n" for path in written))
        return
    from rich.console import Console
    from rich.table import Table

    console = Console(file=stream, highlight=False, emoji=False, markup=False)
    for one in briefs:
        console.print()
        console.print(one.title, style="bold")
        table = Table.grid(padding=(0, 1))
        table.add_column(justify="right")
        table.add_column(overflow="fold")
        table.add_column(justify="right", no_wrap=True)
        for rank, what, cost in one.actions:
            table.add_row(f"{rank}.", what, cost)
        console.print(table)
        console.print(one.money)
        if one.warnings:
            word = "warning" if one.warnings == 1 else "warnings"
            console.print(f"{one.warnings} {word} above; accept one in the case, with a reason, "
                          "if it is right", style="italic")
    console.print()
    for path in written:
        console.print(str(path), overflow="fold", soft_wrap=True)
    console.print("Drafts, until they are issued: loambrief issue CASE --archive DIR",
                  style="dim", soft_wrap=True)
