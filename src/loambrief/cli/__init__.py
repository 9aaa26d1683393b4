"""The command line: reads arguments, prints, and maps errors to exit codes. No science.

Exit codes: 0 done; 1 a case has problems or was not made, or a record is not good (the others of
many were done); 2 the command could not run or go on: wrong usage, nothing there of that name,
no right, no disk, no archive, wrong settings; 130 interrupted; 141 nobody reads the output any
more. Each command stands in a module of its own, which is imported when it is asked for, and
imports what it needs when it runs. With --json an error is a JSON object on standard error:
``{"error": {"kind", "message", "exit_code"}}``, and ``"problems"`` where a case has any.
"""

import gc
import json
import os
import sys
from collections.abc import Iterable
from contextlib import suppress
from difflib import get_close_matches
from importlib import import_module
from typing import Any, NoReturn

import click

from loambrief import __version__
from loambrief.cli.terminal import Listed, is_utf8, settle_streams
from loambrief.errors import CaseProblems, LoambriefError

COMMANDS = ("new", "workbook", "intake", "boundary", "check", "preview", "plan", "advise",
            "compare", "batch", "send", "invoice", "fieldsheet", "issue", "sign", "verify", "keys",
            "archive", "season", "calc", "sources", "selftest", "schema", "doctor", "completion")
"""In the order of a consultant's work; each stands in the module of its name."""
INTERRUPTED, UNREAD = 130, 141
"""Exit codes, as shells give them for the signals SIGINT and SIGPIPE."""
AS_JSON = "loambrief.json"
"""Key of the context: whether what is printed is for a program."""
ASKS_HELP = "loambrief.asks_help"
TRACE = "LOAMBRIEF_TRACE"
"""Environment variable: an error of the program is shown with its trace."""


SETTLED = frozenset({"new", "advise", "batch", "send", "fieldsheet", "workbook", "issue", "sign",
                     "verify", "archive", "invoice", "season"})
"""Commands whose options may be set in the settings."""
WRITING = frozenset({"supersede", "withdraw", "redact"})
"""Commands of the archive that write documents into the output folder."""


class Commands(Listed):
    """Finds commands by name and maps our errors to their exit codes, without a trace."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        return getattr(import_module(f"loambrief.cli.{cmd_name}"), cmd_name)

    def resolve_command(self, ctx: click.Context, args: list[str]):
        """As click does, with the nearest command named when there is none of that name."""
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            near = get_close_matches(args[0], COMMANDS, n=1, cutoff=0.6)
            ctx.fail(f"no such command {args[0]!r}"
                     + (f"; did you mean {near[0]!r}?" if near else ""))
        ctx.meta[AS_JSON] = "--json" in args[:args.index("--") if "--" in args else None]
        return super().resolve_command(ctx, args)

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """As click does; noted is whether only help is asked for."""
        words = args[: args.index("--")] if "--" in args else args
        ctx.meta[ASKS_HELP] = bool({"-h", "--help"} & set(words))
        return super().parse_args(ctx, args)

    def main(self, *args, **kwargs):
        settle_streams()
        of_process = not args and "args" not in kwargs
        if of_process:  # to start makes many objects, of which none is garbage
            gc.set_threshold(50_000)
        try:
            return super().main(*args, **kwargs)
        finally:
            if of_process:  # it ends: not one search for garbage more
                gc.freeze()

    def invoke(self, ctx: click.Context):
        try:
            outcome = super().invoke(ctx)
            sys.stdout.flush()  # a full disk or a reader that left is noticed here
            return outcome
        except CaseProblems as error:
            _say(ctx, error, str(error), error.exit_code,
                 problems=[problem.as_json() for problem in error.problems])
        except LoambriefError as error:
            _say(ctx, error, f"loambrief: {error}", error.exit_code)
        except BrokenPipeError:
            _let_go(sys.stdout)
            sys.exit(UNREAD)
        except OSError as error:
            where = f": {error.filename}" if error.filename else ""
            _say(ctx, error, f"loambrief: {error.strerror or error}{where}", 2)
        except KeyboardInterrupt:
            click.echo("\nloambrief: interrupted", err=True)
            sys.exit(INTERRUPTED)
        except click.ClickException as error:
            if not ctx.meta.get(AS_JSON):
                raise  # click shows it, with the usage of the command
            _say(ctx, error, error.format_message(), error.exit_code)
        except (click.exceptions.Exit, click.Abort):
            raise
        except Exception as error:
            if os.environ.get(TRACE):
                raise
            _say(ctx, error, f"loambrief: {_fault(error)}", 2)


def _say(ctx: click.Context, error: Exception, message: str, code: int,
         **more: object) -> NoReturn:
    """Print an error, for a program where --json was typed, and leave."""
    if ctx.meta.get(AS_JSON):
        said = {"kind": type(error).__name__,
                "message": message.removeprefix("loambrief: "), "exit_code": code, **more}
        message = json.dumps({"error": said}, ensure_ascii=not is_utf8(sys.stderr))
    click.echo(message, err=True)
    sys.exit(code)


def _let_go(stream) -> None:
    """Leave a pipe that nobody reads, so that nothing more is written to it at the end."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _fault(error: Exception) -> str:
    """What is said of an error that nobody foresaw."""
    at = error.__traceback__
    while at is not None and at.tb_next is not None:
        at = at.tb_next
    place = "" if at is None else (
        f", {os.path.basename(at.tb_frame.f_code.co_filename)}:{at.tb_lineno}")
    return (f"an error of the program, not of what you gave it ({type(error).__name__}: "
            f"{error}{place}). Please report it; with {TRACE}=1 before the command it is shown "
            "whole.")


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="loambrief")
@click.pass_context
def main(ctx: click.Context) -> None:
    """Field and lab evidence in; a priced, ranked, traceable crop and soil advisory out.

    Options that are not given are taken from LOAMBRIEF_<OPTION> in the environment, from
    loambrief.toml in the project's folder, or from your own settings; 'loambrief doctor' shows
    what is in force.
    """
    if ctx.invoked_subcommand in SETTLED:
        group = main.get_command(ctx, "archive") if ctx.invoked_subcommand == "archive" else None
        try:
            ctx.default_map = defaults(group.commands if isinstance(group, click.Group) else ())
        except LoambriefError as error:
            if not ctx.meta[ASKS_HELP]:
                raise
            click.echo(f"loambrief: {error}", err=True)


def defaults(archive: Iterable[str] = ()) -> dict[str, Any]:
    """What the settings say, for each command that has such an option.

    ``archive`` names the commands of the archive.

    Raises
    ------
    SettingsProblem
        A settings file has problems.
    """
    from loambrief.settings import CHOICES, SettingsProblem, in_force

    found = in_force()
    if found.problems:
        raise SettingsProblem("\n".join(found.problems))
    def those(*names: str) -> dict[str, str]:
        return {name: value for name in names if (value := found.value(name))}

    def tables(name: str) -> dict[str, str]:
        return {"settings_file": str(found.files[name])} if name in found.files else {}

    made: dict[str, dict[str, Any]] = {
        "new": those(*CHOICES, "adviser", "prices"),
        "advise": those("output", "templates"), "batch": those("output", "templates"),
        "fieldsheet": those("output"), "workbook": those("output"),
        "season": those("output"), "send": tables("mail"),
        "issue": {**those("output", "archive", "templates"), **tables("signing")},
        "sign": tables("signing"), "verify": those("archive"),
        "invoice": {**those("archive"), **tables("fees")},
    }
    made["archive"] = {name: those("archive", *(("output", "templates") if name in WRITING else ()))
                       for name in archive}
    return made
