"""``boxhold rank`` and ``boxhold compare``: where the air gets in, from several tests of one box."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from dashboard.commands_common import (
    EXISTING,
    assess_all,
    box_options,
    events_of_all,
    gather,
    json_option,
    logs_argument,
    one_box,
)

if TYPE_CHECKING:
    from acquisition.records import Event
    from analysis.results import Assessment


@click.command(short_help="Where the air gets in, from several tests of one box.")
@logs_argument
@box_options
@json_option
def rank(logs: tuple[Path, ...], archive: Path | None, box_file: Path | None, as_json: bool) -> int:
    """Where the air likely gets in: the leak paths of one box, from tests with different paths open.

    Give the logs of one box, with any setups and any paths sealed. One test alone tells how much, not where.
    """
    gathered = gather(logs, archive, box_file)
    one_box(gathered.pairs)
    answers, fault = assess_all(gathered.pairs)
    results = [answer for answer in answers if answer is not None]
    if not results:
        return gathered.code or fault
    from dashboard.box_answers import rank_box

    box = next((box for _, box in gathered.pairs if box is not None), None)
    events = events_of_all(gathered.pairs, archive, box_file)
    ranking = rank_box(results, box, events)
    if as_json:
        from dashboard.contracts import as_line, ranking_record

        click.echo(as_line(ranking_record(ranking)))
    else:
        from dashboard.text_report import ranking_text

        click.echo(ranking_text(ranking))
    return gathered.code or fault


@click.command(short_help="What a formed sheet changes.")
@click.argument("without", metavar="WITHOUT.csv...", nargs=-1, required=True, type=EXISTING)
@click.option("--with-sheet", metavar="WITH.csv", multiple=True, required=True, type=EXISTING,
              help="A log with a formed sheet; may be given several times.")  # fmt: skip
@box_options
@json_option
def compare(
    without: tuple[Path, ...], with_sheet: tuple[Path, ...], archive: Path | None, box_file: Path | None, as_json: bool
) -> int:
    """What a formed sheet changes: the leak area with it minus the one without, and what that means.

    Film on the rim against a formed sheet is the pair that isolates the sheet's edge. Several logs of a setup
    are pooled.
    """
    said: set[str] = set()
    sides = [gather(side, archive, box_file, said) for side in (without, with_sheet)]
    pairs = [pair for side in sides for pair in side.pairs]
    one_box(pairs)
    answers, fault = assess_all(pairs)
    cut = len(sides[0].pairs)
    bare, sheeted = ([answer for answer in part if answer is not None] for part in (answers[:cut], answers[cut:]))
    code = max(side.code for side in sides) or fault
    if not bare or not sheeted:
        return code
    _print_comparison(bare, sheeted, events_of_all(pairs, archive, box_file), as_json)
    return code


def _print_comparison(
    bare: Sequence[Assessment], sheeted: Sequence[Assessment], events: Sequence[Event], as_json: bool
) -> None:
    from analysis.compare import compare_sheet

    result = compare_sheet(bare, sheeted, events=events)
    if as_json:
        from dashboard.contracts import as_line, comparison_record

        click.echo(as_line(comparison_record(result)))
    else:
        from dashboard.text_report import comparison_text

        click.echo(comparison_text(result))
