"""`loambrief archive`: the record of what was issued."""

import click

from loambrief.cli import archive_read as read
from loambrief.cli import archive_write as write
from loambrief.cli.terminal import Listed

COMMANDS = (write.init, write.set_, write.add, read.list_, read.find, read.show, read.render,
            read.export, write.redact, write.supersede, write.withdraw, write.hold,
            write.release, read.check, read.head, read.due, write.rebuild, write.erase)
"""In the order of the help: a record's life from its beginning to its end."""


@click.group(cls=Listed)
def archive() -> None:
    """The record: what was issued, found again, checked, replaced, withdrawn, erased.

    \b
    Examples:
      loambrief archive init --archive records --keep advisory=10
      loambrief archive find --archive records --material lime --since 2026-01-01
      loambrief archive check --archive records
    """


for command in COMMANDS:
    archive.add_command(command)
