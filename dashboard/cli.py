"""The command ``boxhold``: finds the sub-command, and turns whatever goes wrong into one plain sentence.

Sub-commands are loaded only when they are called, so that ``boxhold record`` starts without the libraries
that only a fit or a page needs.
"""

from __future__ import annotations

try:
    import importlib
    import os
    import signal
    import sys
    import warnings
    from collections.abc import Sequence
    from glob import glob
    from types import FrameType

    import click

    from acquisition.errors import OutsideWorldFailed
    from dashboard.faults import DONE, TRACEBACK_WANTED, complain_about
except KeyboardInterrupt:  # Ctrl-C before there was a program: nothing was begun
    raise SystemExit(4) from None

COMMANDS: dict[str, str] = {
    "demo": "dashboard.commands_show:demo",
    "assess": "dashboard.commands_assess:assess",
    "rank": "dashboard.commands_rank:rank",
    "compare": "dashboard.commands_rank:compare",
    "history": "dashboard.commands_archive:history",
    "note": "dashboard.commands_archive:note",
    "plan": "dashboard.commands_plan:plan",
    "volume": "dashboard.commands_plan:volume",
    "pump": "dashboard.commands_pump:pump",
    "new-box": "dashboard.commands_box:new_box",
    "record": "dashboard.commands_record:record",
    "gauges": "dashboard.commands_record:gauges",
    "replay": "dashboard.commands_replay:replay",
    "import": "dashboard.commands_import:import_logs",
    "serve": "dashboard.commands_show:serve",
}


class LazyGroup(click.Group):
    """A group that imports a sub-command's module only when that sub-command is wanted."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the table."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The sub-command of that name, or None."""
        place = COMMANDS.get(cmd_name)
        if place is None:
            return None
        module, attribute = place.split(":")
        command = getattr(importlib.import_module(module), attribute)
        assert isinstance(command, click.Command)
        return command


@click.command(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="boxhold", message="boxhold %(version)s")
def boxhold() -> None:
    """How much air a home-made vacuum box lets in, and where, from the pressure after the valve is shut.

    Start with:  boxhold demo

    Results go to standard output, complaints to standard error. Exit codes: 0 done (an answer that no area
    can be given is one too), 2 wrong usage, 3 a file is missing or cannot be read, 4 a port, a disk or the
    network failed, 1 a fault in boxhold itself.
    """


def run(args: Sequence[str] | None = None) -> int:
    """Run one command line and return its exit code; only a wished-for traceback gets out.

    Parameters
    ----------
    args
        Words after ``boxhold``; None takes the process's own.
    """
    words = _own_words() if args is None else list(args)
    try:
        with boxhold.make_context("boxhold", words or ["--help"]) as context:
            result = boxhold.invoke(context)
        sys.stdout.flush()
    except click.exceptions.Exit as ended:
        return ended.exit_code
    except (Exception, KeyboardInterrupt) as error:
        if TRACEBACK_WANTED in os.environ:
            raise
        return complain_about(error)
    return result if isinstance(result, int) else DONE


def _own_words() -> list[str]:
    """The process's words; where the shell leaves stars alone, as on Windows, the files they stand for."""
    words = sys.argv[1:]
    if os.name != "nt":
        return words
    return [found for word in words for found in (sorted(glob(word)) if "*" in word else []) or [word]]


def main() -> None:
    """Entry point of the installed command."""
    if not sys.warnoptions:
        warnings.simplefilter("ignore")  # a library's notes to programmers are no help at the bench
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")  # a terminal without the letter must not stop the answer
    signal.signal(signal.SIGTERM, _interrupt)
    try:
        code = run()
    except KeyboardInterrupt:  # pressed once more while the first was being told
        code = OutsideWorldFailed.exit_code
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # all is done; what is left must not end in a traceback
    sys.exit(code)


def _interrupt(number: int, frame: FrameType | None) -> None:
    """SIGTERM ends a command as Ctrl-C does: what it has made for a while is taken away."""
    raise KeyboardInterrupt
