"""Turns whatever goes wrong in a command into one plain sentence on standard error and an exit code."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from traceback import extract_tb

import click

from acquisition.errors import BoxholdError, OutsideWorldFailed, WrongUsage

DONE = 0
FAULT_IN_THE_PROGRAM = 1
TRACEBACK_WANTED = "BOXHOLD_TRACEBACK"
"""Environment variable with which developers see the traceback behind a fault's sentence."""


def complain(sentence: str) -> None:
    """One plain sentence on standard error."""
    click.echo(sentence, err=True)


def complain_about(error: BaseException) -> int:
    """Say what went wrong, and return the exit code for it."""
    if isinstance(error, BrokenPipeError):
        return _leave_quietly()
    sentence, code = _sentence_and_code(error)
    complain(sentence)
    return code


def _sentence_and_code(error: BaseException) -> tuple[str, int]:
    if isinstance(error, BoxholdError):
        return str(error), error.exit_code
    if isinstance(error, click.ClickException):
        return _usage_sentence(error), WrongUsage.exit_code
    if isinstance(error, click.Abort | KeyboardInterrupt):
        return "Stopped before the end.", OutsideWorldFailed.exit_code
    if isinstance(error, OSError):
        return outside_sentence(error), OutsideWorldFailed.exit_code
    return fault_sentence(error), FAULT_IN_THE_PROGRAM


def outside_sentence(error: OSError) -> str:
    """One sentence for a refusal of the operating system."""
    where = f"{error.filename}: " if error.filename else ""
    return f"{where}{error.strerror or error}."


def fault_sentence(error: BaseException) -> str:
    """One sentence for a fault in the program itself, with the place for whoever mends it."""
    frames = extract_tb(error.__traceback__)
    place = f" at {Path(frames[-1].filename).name} line {frames[-1].lineno}" if frames else ""
    words = " ".join(f"{type(error).__name__} {error}".split())
    return f"A fault in boxhold itself{place} ({words}); please report it with the file that caused it."


def _usage_sentence(error: click.ClickException) -> str:
    sentence = " ".join(error.format_message().split())
    context = getattr(error, "ctx", None)
    return sentence if context is None else f"{sentence} See: {context.command_path} --help"


def _leave_quietly() -> int:
    """The reader of our output (``| head``) has had enough: nothing is wrong, and nothing more can be said."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return DONE
