"""``boxhold history`` and ``boxhold note``: a box over the months, and what was done to it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from acquisition.archive import EVENTS_FILE, Archive
from acquisition.errors import UnreadableInput, WrongUsage
from acquisition.events import DAY_SIGNS, SAME_DAY, check_event, check_not_ahead
from acquisition.records import Box, Event
from dashboard.commands_common import EXISTING, json_option, near_names, today
from dashboard.faults import DONE, complain

if TYPE_CHECKING:
    from analysis.results import HistoryLine


@click.command(short_help="One box over the months: tests, repairs, trend.")
@click.option("--archive", "folder", metavar="DIR", required=True, type=EXISTING, help="The archive.")
@click.option("--box-id", metavar="ID", help="Only this box.")
@json_option
def history(folder: Path, box_id: str | None, as_json: bool) -> int:
    """How each box's leak area goes over the months: tests, repairs and the trend, one line a box and setup."""
    archive = Archive(folder)
    troubles: list[str] = []
    for name in _names(archive, folder, box_id):
        _print_lines(_history_of(archive, name, troubles), as_json)
    for trouble in troubles:
        complain(trouble)
    return UnreadableInput.exit_code if troubles else DONE


def _names(archive: Archive, folder: Path, box_id: str | None) -> Sequence[str]:
    names = archive.boxes()
    if not names:
        raise UnreadableInput("there is no box in this archive; name the folder that holds the boxes' folders.", folder)
    if box_id is not None and box_id not in names:
        raise WrongUsage(f"There is no box {box_id} in {folder}{near_names(box_id, names)}.")
    return names if box_id is None else (box_id,)


def _history_of(archive: Archive, name: str, troubles: list[str]) -> Sequence[HistoryLine]:
    from analysis.history import history as over_the_months
    from dashboard.kept_results import assess_box

    troubles.extend(archive.event_troubles(name))
    try:
        results = assess_box(archive, name, troubles.append)
        return over_the_months(results, archive.events(name), archive.box(name) or Box(name))
    except UnreadableInput as trouble:
        troubles.append(str(trouble))
        return ()


def _print_lines(lines: Sequence[HistoryLine], as_json: bool) -> None:
    from dashboard.contracts import as_line, history_record
    from dashboard.text_report import history_text

    for line in lines:
        click.echo(as_line(history_record(line)) if as_json else f"{history_text(line)}\n")


@click.command(short_help="Write down a repair of a box, or a remark on it.")
@click.argument("box_id", metavar="ID")
@click.option("--archive", "folder", metavar="DIR", required=True, type=EXISTING, help="The archive.")
@click.option("--date", "day", metavar="D", help="When: 2026-05-03, or 2026-05-03T14:30; today if not said.")
@click.option("--path", metavar="PATH", default="", help="The leak path it was done to, such as port-flange.")
@click.option("--repair", metavar="TEXT", help="What was mended.")
@click.option("--remark", metavar="TEXT", help="What was noticed.")
def note(box_id: str, folder: Path, day: str | None, path: str, repair: str | None, remark: str | None) -> int:
    """Write down a repair of the box ID, or a remark on it, so that its history shows it.

    A test of the same day counts as made before a repair, as a bead must cure, unless --date gives the hour.
    """
    if (repair is None) == (remark is None):
        raise WrongUsage("Say either --repair TEXT or --remark TEXT.")
    archive = Archive(folder)
    known, names = archive.folder(box_id).is_dir(), archive.boxes()
    if not known and names:
        describe = f"describe it first with 'boxhold new-box {box_id} --archive {folder}'"
        raise WrongUsage(f"There is no box {box_id} in {folder}{near_names(box_id, names)}; {describe}.")
    when = today().isoformat() if day is None else day
    event = Event(when, path, "remark", remark or "") if repair is None else Event(when, path, "repair", repair)
    archive.add_event(box_id, check_not_ahead(check_event(event), today()))
    click.echo(f"Written: {archive.folder(box_id) / EVENTS_FILE}{'' if known else ' (a new box in this archive)'}")
    if repair is not None and len(when) <= DAY_SIGNS:
        click.echo(SAME_DAY)
    return DONE
