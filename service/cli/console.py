"""Standard output for results, standard error for progress and complaints."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any, TypeVar

from rich.console import Console
from rich.markup import escape
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from rich.text import Text

Item = TypeVar("Item")
_FILE_WIDTH = 130
"""Columns of tables that go to a file or a pipe, where no terminal gives its width."""


def out() -> Console:
    """Console on standard output; made at each use so that a redirected stream is met."""
    terminal = sys.stdout.isatty()
    return Console(
        file=sys.stdout,
        highlight=False,
        soft_wrap=not terminal,
        width=None if terminal else _FILE_WIDTH,
    )


def err() -> Console:
    """Console on standard error."""
    return Console(file=sys.stderr, highlight=False, soft_wrap=True)


def say(text: str) -> None:
    """One line of result; brackets in it stay brackets."""
    out().print(escape(text))


def say_code(lines: str) -> None:
    """A code for a camera, dark on light whatever the terminal's colours."""
    console = out()
    style = "black on white" if console.is_terminal else ""
    console.print(Text(lines, style=style, no_wrap=True), soft_wrap=True)


def note(text: str) -> None:
    """One line beside the result, on standard error."""
    err().print(escape(text), style="dim")


def complain(text: str) -> None:
    """One line of refusal on standard error, whatever line breaks the cause holds."""
    line = " ".join(text.split())
    console = err()
    console.print(f"[bold red]error:[/] {escape(line)}")


def print_json(data: Mapping[str, Any]) -> None:
    """One JSON object on one line of standard output, at once."""
    sys.stdout.write(json.dumps(data, ensure_ascii=False, allow_nan=False) + "\n")
    sys.stdout.flush()


@contextmanager
def steps(total: int, words: str) -> Iterator[Progress | None]:
    """A progress display on standard error while a terminal looks; None otherwise."""
    console = err()
    if not console.is_terminal or total < 2:
        yield None
        return
    columns = (
        TextColumn("{task.description}"),
        BarColumn(bar_width=32),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
    )
    with Progress(*columns, console=console, transient=True) as progress:
        progress.add_task(words, total=total)
        yield progress


def tracked(items: Sequence[Item], words: str) -> Iterator[Item]:
    """Iterate with a progress bar on standard error where that is a terminal."""
    with steps(len(items), words) as progress:
        for item in items:
            yield item
            if progress is not None:
                progress.advance(progress.task_ids[0])
