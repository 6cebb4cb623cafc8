"""``crookline completion``: what the shell needs to complete commands and options."""

from __future__ import annotations

import click
from click.shell_completion import get_completion_class


@click.command(epilog='Example: eval "$(crookline completion bash)"')
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
@click.pass_context
def completion(ctx: click.Context, shell: str) -> None:
    """Print the completion script for a shell."""
    kind = get_completion_class(shell)
    root = ctx.find_root()
    if kind is None:
        raise click.UsageError(f"no completion for {shell}")
    click.echo(kind(root.command, {}, "crookline", "_CROOKLINE_COMPLETE").source())
