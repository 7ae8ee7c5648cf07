"""``boxhold new-box``: describe a box once, so that every test of it knows volume, pump and parts."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from acquisition.boxfile import BOX_FILE, check_box_name, write_box
from acquisition.errors import WrongUsage
from dashboard.box_questions import QUESTIONS, box_from, read_answer
from dashboard.cautions import top_caution
from dashboard.faults import complain


def _question_options(command: Callable[..., Any]) -> Callable[..., Any]:
    for question in reversed(QUESTIONS):
        text = f"{question.text[0].upper()}{question.text[1:]}. Such as {question.sample}."
        command = click.option(question.flag, question.name, metavar="TEXT", help=text)(command)
    return command


@click.command("new-box", short_help="Describe a box: inside, wood, baffles, pump.")
@click.argument("name", required=False)
@click.option("--out", type=click.Path(path_type=Path), metavar="BOX.toml", help="Where to write; else box.toml.")
@click.option("--archive", type=click.Path(path_type=Path), metavar="DIR", help="Write to DIR/NAME/box.toml instead.")
@_question_options
def new_box(name: str | None, out: Path | None, archive: Path | None, **given: str | None) -> int:
    """Describe the box NAME in a file: inside, wood, baffles, rim, vents, pump.

    On a terminal it asks for what the options leave out; Enter skips a question. A file that exists is left
    untouched.
    """
    if out is not None and archive is not None:
        raise WrongUsage("Take either --out or --archive, not both.")
    asking = sys.stdin.isatty()
    name = name or (click.prompt("Name of the box") if asking else None)
    if not name:
        raise WrongUsage("Give the box a name: boxhold new-box NAME.")
    if asking:
        _ask_for_missing(given)
    answers = {q.name: read_answer(q, text) for q in QUESTIONS if (text := given[q.name])}
    target = out or (archive / check_box_name(name) if archive else Path()) / BOX_FILE
    begun = " (a new archive)" if archive and not archive.is_dir() else ""
    box = box_from(name, answers)
    write_box(box, target, overwrite=False)
    click.echo(f"Written: {target}{begun}")
    if box.inside_mm is None and box.volume_L is None:
        complain(f"Its logs will give no area before {target} says inside_mm = [length, width, height] or volume_L.")
    if caution := top_caution(box):
        click.echo(f"Caution: {caution}")
    return 0


def _ask_for_missing(given: dict[str, str | None]) -> None:
    for question in QUESTIONS:
        while given[question.name] is None:
            text = click.prompt(f"{question.text} [{question.sample}; Enter skips]", default="", show_default=False)
            try:
                given[question.name] = text
                if text:
                    read_answer(question, text)
            except WrongUsage as refusal:
                click.echo(str(refusal), err=True)
                given[question.name] = None
