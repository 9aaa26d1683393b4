"""`loambrief completion`: words that a shell completes with Tab."""

import click


@click.command()
@click.argument("shell", type=click.Choice(("bash", "zsh", "fish")))
def completion(shell: str) -> None:
    """Print the completion script of a shell: commands, options and files with the Tab key.

    \b
    bash, zsh: put this line into ~/.bashrc or ~/.zshrc
      eval "$(loambrief completion bash)"
    fish: run once
      loambrief completion fish > ~/.config/fish/completions/loambrief.fish

    \b
    Examples:
      loambrief completion bash
      loambrief completion zsh
    """
    from click.shell_completion import get_completion_class

    from loambrief.cli import main

    maker = get_completion_class(shell)
    assert maker is not None
    try:
        script = maker(main, {}, "loambrief", "_LOAMBRIEF_COMPLETE").source()
    except RuntimeError as error:  # an older bash than click knows how to serve
        raise click.ClickException(str(error)) from error
    click.echo(script)
