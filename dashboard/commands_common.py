"""What the commands on logs share: their options, reading the logs of one call, assessing them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from acquisition.archive import EVENTS_FILE
from acquisition.boxfile import BOX_FILE, find_box_file, read_box
from acquisition.errors import UnreadableInput, WrongUsage
from acquisition.events import corrected, corrections_of, event_troubles, read_events
from acquisition.logfile import read_log
from acquisition.numbers import to_number
from acquisition.oddkeys import odd_box_keys, odd_header_keys
from dashboard.batch import assess_batch, usual_jobs
from dashboard.faults import DONE, FAULT_IN_THE_PROGRAM, complain

if TYPE_CHECKING:
    from acquisition.records import Box, Event, Log
    from analysis.results import Assessment

Command = TypeVar("Command", bound=Callable[..., Any])
Pair = tuple["Log", "Box | None"]


class PositiveNumber(click.types.FloatParamType):
    """A number above nought that is neither endless nor none; a decimal comma will do."""

    name = "number"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The number, or a complaint about wrong usage."""
        number = value if isinstance(value, float) else to_number(str(value))
        if not number > 0.0:
            self.fail(f"'{value}' is no number above nought.", param, ctx)
        return float(number)


POSITIVE = PositiveNumber()
_MOST_NEAR, _MOST_NAMES = 5, 8
EXISTING = click.Path(path_type=Path)
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON, one object a line.")
logs_argument = click.argument("logs", metavar="LOG...", nargs=-1, required=True, type=EXISTING)


def box_options(command: Command) -> Command:
    """Add ``--archive DIR`` and ``--box BOX.toml``, of which one call takes at most one."""
    archive = click.option("--archive", metavar="DIR", type=EXISTING, help="Look the box up in this archive.")
    box = click.option("--box", "box_file", metavar="BOX.toml", type=EXISTING,
                       help="The box's file. Without it: box.toml in the log's folder or the one above.")  # fmt: skip
    return archive(box(command))


def today() -> date:
    """The day it is."""
    return date.today()


def near_names(wanted: str, names: Sequence[str]) -> str:
    """The boxes that ``wanted`` may have meant, to stand after "there is no box": the likest, else the first few."""
    near = get_close_matches(wanted, names, n=_MOST_NEAR, cutoff=0.6) or list(names[:_MOST_NAMES])
    more = "" if len(near) == len(names) else f" (of {len(names)} boxes)"
    return f"; there is {', '.join(near)}{more}"


def check_archive(folder: Path) -> None:
    """See to it that a command that reads an archive, or adds to one, makes none of a name misspelt.

    Raises
    ------
    UnreadableInput
        There is no such folder.
    """
    if folder.is_dir():
        return
    beside = [path.name for path in folder.absolute().parent.glob("*/") if path.is_dir()]
    near = "".join(f" (is it {name}?)" for name in get_close_matches(folder.name, beside, n=1))
    raise UnreadableInput(
        f"no such archive folder{near}; give the folder that holds the boxes' folders, or begin one"
        f" with 'boxhold new-box NAME --archive {folder}'.",
        folder,
    )


@dataclass(frozen=True)
class Gathered:
    """The logs of one call that could be read, each with its box, and the exit code of those that could not."""

    pairs: tuple[Pair, ...]
    code: int


class BoxFinder:
    """Finds each log's box by the call's options; reads every box file once."""

    def __init__(self, archive: Path | None, box_file: Path | None) -> None:
        if archive is not None and box_file is not None:
            raise WrongUsage("Take either --archive or --box, not both.")
        if archive is not None:
            check_archive(archive)
        self._archive = archive
        self._box_file = box_file
        self._read: dict[Path, Box] = {}

    def box_of(self, log: Log) -> Box | None:
        """The log's box, or None where no file describes it.

        Raises
        ------
        WrongUsage
            ``--box`` describes another box than the log names.
        UnreadableInput
            A box file that is there cannot be read.
        """
        if self._box_file is not None:
            return self._named_by_option(log, self._box_file)
        name = log.header.box
        if name is None or log.path is None:
            return None
        if self._archive is None:
            return self._beside(log.path, name)
        return self._of_archive(self._archive, name)

    def _beside(self, log_path: Path, name: str) -> Box | None:
        found = find_box_file(log_path, name)
        return None if found is None else self._box(found)

    def _named_by_option(self, log: Log, box_file: Path) -> Box:
        box = self._box(box_file)
        if log.header.box not in (None, box.name):
            raise WrongUsage(f"{log.path}: the log is of box {log.header.box}, but {box_file} describes {box.name}.")
        return box

    def _of_archive(self, archive: Path, name: str) -> Box | None:
        # Only a name that is one folder's name may lead anywhere: a log from elsewhere could hold "../..".
        place = next((folder for folder in archive.iterdir() if folder.name == name), archive) / BOX_FILE
        return self._box(place) if place.is_file() else None

    def _box(self, path: Path) -> Box:
        if path not in self._read:
            self._read[path] = read_box(path)
            for slip in odd_box_keys(self._read[path], path):
                complain(slip)
        return self._read[path]


def gather(
    logs: Sequence[Path], archive: Path | None, box_file: Path | None, said: set[str] | None = None
) -> Gathered:
    """Read the logs of one call in the order given; one that cannot be read is complained of and left out.

    So is, once, each line of their boxes' events that cannot count; not those ``said`` before.

    Raises
    ------
    WrongUsage
        The options do not fit together, or ``--box`` describes another box than a log names.
    """
    finder = BoxFinder(archive, box_file)
    pairs: list[Pair] = []
    code = 0
    for path in logs:
        try:
            pairs.append(_read_pair(path, finder))
        except UnreadableInput as error:
            complain(str(error))
            code = error.exit_code
    files = [_events_file(_folders_of(path)) for path in logs]
    files += [_events_beside_box(log, archive, box_file) for log, _ in pairs]
    return Gathered(tuple(pairs), _tell_troubles(files, set() if said is None else said) or code)


def _tell_troubles(files: Sequence[Path | None], said: set[str]) -> int:
    """Complain once of each line of these events that cannot count; the exit code."""
    every = {file.resolve(): file for file in files if file is not None}
    troubles = dict.fromkeys(trouble for file in every.values() for trouble in event_troubles(file))
    for trouble in troubles:
        if trouble not in said:
            complain(trouble)
    said.update(troubles)
    return UnreadableInput.exit_code if troubles else DONE


def _read_pair(path: Path, finder: BoxFinder) -> Pair:
    log = read_log(path)
    log = corrected(log, corrections_of(_events_in(_events_file(_folders_of(path))), path.name))
    for slip in odd_header_keys(log.header, path):
        complain(slip)
    return log, finder.box_of(log)


def _folders_of(log_path: Path) -> tuple[Path, ...]:
    folder = log_path.absolute().parent
    return folder, folder.parent


def _events_file(folders: Sequence[Path]) -> Path | None:
    """The events of the first of the folders that has a file of them."""
    return next((folder / EVENTS_FILE for folder in folders if (folder / EVENTS_FILE).is_file()), None)


def _events_in(file: Path | None) -> tuple[Event, ...]:
    return () if file is None else read_events(file)


def _events_beside_box(log: Log, archive: Path | None, box_file: Path | None) -> Path | None:
    """The events of a log's box: beside the box's file, which is where the box was looked up."""
    if box_file is not None:
        return _events_file([box_file.absolute().parent])
    if log.header.box is None:
        return None
    if archive is not None:
        return _events_file([folder for folder in archive.iterdir() if folder.name == log.header.box])
    return _events_file(_folders_of(log.path or Path("log")))


def events_of(log: Log, archive: Path | None, box_file: Path | None) -> tuple[Event, ...]:
    """Events of a log's box; none where the log names no box and no file is given."""
    return _events_in(_events_beside_box(log, archive, box_file))


def events_of_all(pairs: Sequence[Pair], archive: Path | None, box_file: Path | None) -> tuple[Event, ...]:
    """Events of the one box that the logs are of."""
    name = one_box(pairs)
    log = next((log for log, _ in pairs if log.header.box == name), None)
    return () if log is None else events_of(log, archive, box_file)


def one_box(pairs: Sequence[Pair]) -> str | None:
    """Name of the one box the logs are of, or None where no log names one.

    Raises
    ------
    WrongUsage
        The logs are of more than one box.
    """
    names = sorted({log.header.box for log, _ in pairs if log.header.box is not None})
    if len(names) > 1:
        raise WrongUsage(f"These logs are of {len(names)} boxes ({', '.join(names)}); give those of one box at a time.")
    return names[0] if names else None


def assess_all(pairs: Sequence[Pair], jobs: int | None = None) -> tuple[list[Assessment | None], int]:
    """Assess the logs of one call, linked ones together, so that one log stops no other.

    Parameters
    ----------
    pairs
        Logs and their boxes.
    jobs
        How many processes; None takes one for few logs, else one a core.

    Returns
    -------
    list of Assessment or None
        One for each pair, in the order given; None where a fault, which has been complained of, kept the log
        from an answer.
    int
        0, or the exit code of such a fault.
    """
    results: list[Assessment | None] = []
    for (log, _), outcome in zip(pairs, assess_batch(pairs, jobs or usual_jobs(len(pairs))), strict=True):
        if isinstance(outcome, str):
            complain(f"{log.path}: {outcome}")
        results.append(None if isinstance(outcome, str) else outcome)
    return results, FAULT_IN_THE_PROGRAM if None in results else DONE
