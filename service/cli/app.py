"""The application object, its entry point and how refusals leave it.

Exit codes: 0 done, 1 something could not be read or was refused, 2 wrong usage. Every refusal
is one line on standard error; no traceback.
"""

from __future__ import annotations

import functools
import sys
from collections.abc import Callable, Sequence
from typing import ParamSpec

import typer

from calibration.errors import RestmarkError

from .console import complain

OK, REFUSED, USAGE = 0, 1, 2
Params = ParamSpec("Params")

# The library's usage errors under whichever name this release keeps them.
_UsageError = typer.BadParameter.__mro__[1]

app = typer.Typer(
    name="restmark",
    help="Where the cue ball stopped against where you meant it to stop, from a camera above "
    "the table. Lengths are millimetres of the table frame: x from the head nose line to the "
    "foot nose line, y from the lower long nose line upward, head end on the left.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


@app.callback()
def _root() -> None:
    """Where the cue ball stopped against where you meant it to stop."""


def guarded(command: Callable[Params, None]) -> Callable[Params, None]:
    """Turn a refusal inside a command into its line and exit code 1."""

    @functools.wraps(command)
    def run(*args: Params.args, **kwargs: Params.kwargs) -> None:
        try:
            command(*args, **kwargs)
        except RestmarkError as refused:
            complain(refused.detail)
            raise typer.Exit(REFUSED) from None
        except BrokenPipeError:
            # whoever read our output has gone; Python would complain again on closing
            sys.stdout = None
            raise typer.Exit(OK) from None
        except OSError as wrong:
            complain(
                f"{wrong.filename or 'a file'}: {wrong.strerror or wrong}; allowed: what is there, "
                "may be read and written, and lies on a disk with room. Look at it, and give the "
                "command again."
            )
            raise typer.Exit(REFUSED) from None

    return run


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line; returns the exit code."""
    try:
        code = app(
            args=None if arguments is None else list(arguments),
            standalone_mode=False,
            prog_name="restmark",
        )
    except typer.Exit as left:
        return left.exit_code
    except typer.Abort:
        complain("stopped")
        return 130
    except KeyboardInterrupt:
        complain("stopped")
        return 130
    except Exception as wrong:
        if not isinstance(wrong, _UsageError):
            raise
        context = getattr(wrong, "ctx", None)
        if type(wrong).__name__ == "NoArgsIsHelpError":
            typer.echo(str(wrong))
            return USAGE
        where = context.command_path if context is not None else "restmark"
        message = wrong.format_message().rstrip(".")  # type: ignore[attr-defined]
        complain(f"{message}. See `{where} --help`.")
        return USAGE
    return code if isinstance(code, int) else OK
