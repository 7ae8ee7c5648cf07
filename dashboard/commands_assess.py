"""``boxhold assess``: how much air a box lets in, from each log."""

from __future__ import annotations

from pathlib import Path

import click

from dashboard.box_answers import advised
from dashboard.commands_common import assess_all, box_options, events_of, gather, json_option, logs_argument, today


@click.command(short_help="How much air gets in, from each log.")
@logs_argument
@box_options
@click.option("--jobs", metavar="N", type=click.IntRange(1, 256),
              help="Processes side by side; without it one a core when there are more than eight logs.")
@json_option
def assess(
    logs: tuple[Path, ...], archive: Path | None, box_file: Path | None, jobs: int | None, as_json: bool
) -> int:  # fmt: skip
    """How much air gets in: the leak area of each LOG, its law and its limit.

    Logs are answered in the order given. A log that cannot be read is named on standard error and stops no
    other.
    """
    gathered = gather(logs, archive, box_file)
    answers, fault = assess_all(gathered.pairs, jobs)
    told = [(answer, box, events_of(log, archive, box_file))
            for (log, box), answer in zip(gathered.pairs, answers, strict=True) if answer is not None]  # fmt: skip
    results = advised(told, None if as_json else today())
    if as_json:
        from dashboard.contracts import as_line, assessment_record

        for result in results:
            click.echo(as_line(assessment_record(result)))
    elif results:
        from dashboard.text_report import assessment_text

        click.echo("\n\n".join(assessment_text(result) for result in results))
    return gathered.code or fault
