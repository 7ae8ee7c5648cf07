"""The one rule of repairs and tests: which test came after which event, with which place open, and what still waits.

An event has a day, seldom an hour. A test of that very day came before it, since a bead must cure; only where both
have an hour the hours decide. A test without a date is neither before nor after. An event without a place may have
touched any place. A part that was sealed was not tested, though its parent was open.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time

from acquisition.records import Box, Event
from acquisition.setups import is_open, same_place
from analysis.names import list_text, path_name, setup_name
from analysis.numberwords import count_text, date_text
from analysis.results import Assessment, Repair


def moment_of(day: str) -> datetime:
    """The moment by the shop's clock from which tests came after an event: its hour, else the end of its day."""
    when = datetime.fromisoformat(day).replace(tzinfo=None)
    return when if len(day) > 10 else datetime.combine(when.date(), time.max)


def by_the_clock(started: datetime) -> datetime:
    """When a test was started by the shop's own clock."""
    return started.replace(tzinfo=None)


def came_after(started: datetime, day: str) -> bool:
    """Whether a test came after an event of that ISO date."""
    return by_the_clock(started) > moment_of(day)


def touches(event: Event, open_paths: Sequence[str], sealed: Sequence[str] = ()) -> bool:
    """Whether an event changes what a test with these paths open measures; unknown paths may be any."""
    return not event.path or not open_paths or is_open(event.path, open_paths, sealed)


def breaks_history(event: Event) -> bool:
    """Whether the box was another one before the event: repairs and changes, not remarks."""
    return event.kind in ("repair", "change")


def renews(event: Event) -> bool:
    """Whether the places an event touched start anew in a ranking.

    A change without a place (vents drilled, moved to another room) tells of no place that it touched.
    """
    return event.kind == "repair" or (event.kind == "change" and bool(event.path))


def same_epoch(one: Assessment, other: Assessment, events: Sequence[Event]) -> bool:
    """Whether no place started anew between two tests; one without a date is of no known epoch."""
    new = [event.date for event in events if renews(event)]
    if one.started is None or other.started is None:
        return not new
    return all(came_after(one.started, day) == came_after(other.started, day) for day in new)


def untested_repairs(tests: Sequence[Assessment], events: Sequence[Event]) -> tuple[Event, ...]:
    """The newest repair of each path that no usable test came after with that path open, oldest first."""
    newest: dict[str, Event] = {}
    for event in events:
        if event.kind == "repair" and event.date >= newest.get(event.path, event).date:
            newest[event.path] = event
    waiting = [event for event in newest.values() if not any(_tests(test, event) for test in tests)]
    return tuple(sorted(waiting, key=lambda event: event.date))


def _tests(test: Assessment, event: Event) -> bool:
    if test.outcome == "refused" or test.started is None or not test.open_paths:
        return False
    return came_after(test.started, event.date) and touches(event, test.open_paths, test.sealed)


def is_drilled(tests: Sequence[Assessment], box: Box | None) -> bool:
    """Whether the vents are drilled: the latest of the tests, oldest first, says so, else the box."""
    setups = [t.setup for t in tests if t.setup != "line-only"]
    if setups:
        return setups[-1] != "undrilled" or (box is not None and box.vents.count > 0)
    return box is None or box.vents.count > 0


def undated_reason(test: Assessment, events: Sequence[Event]) -> str:
    """Why a test without a date tells nothing where a place it had open was mended; empty where none was."""
    if test.started is not None:
        return ""
    event = next((e for e in events if renews(e) and touches(e, test.open_paths, test.sealed)), None)
    if event is None:
        return ""
    return (f"A test without a date is neither before nor after the {event.kind} of {day_text(event.date)}"
            f"{_place(event.path)}; write a line such as '# started: 2026-05-03T14:02' into its log.")


def undated_text(tests: Sequence[Assessment], events: Sequence[Event]) -> str:
    """What is said of tests that do not tell their day."""
    undated = [a for a in tests if a.started is None]
    if not undated:
        return ""
    told = f" Left out for want of a start date: {count_text(len(undated))}."
    why = next((reason for a in undated if (reason := undated_reason(a, events))), "")
    return f"{told} {why}" if why else told


def day_text(day: str) -> str:
    """The day of an event's ISO date in words."""
    return date_text(date.fromisoformat(day[:10]))


def _place(path: str) -> str:
    return f" ({path_name(path)})" if path else ""


def replaced_by(remark: Event, place: str, events: Sequence[Event]) -> Event | None:
    """The repair or change after which a remark on a place speaks of what was, or None."""
    later = (e for e in events if renews(e) and e.date >= remark.date)
    return next((e for e in later if not e.path or same_place(e.path, place)), None)


def named_repairs(repairs: Sequence[Event | Repair]) -> str:
    """Repairs by their places: ``the repair of the port flange``, ``the repairs of the line and the rim joint``."""
    places = list(dict.fromkeys(repair.path for repair in repairs))
    if places == [""]:
        return "the repair"
    names = list_text([f"the {path_name(path)}" if path else "a place not said" for path in places])
    return f"the repair{'s' if len(places) > 1 else ''} of {names}"


def repaired_sentence(repairs: Sequence[Event], setup: str | None = None) -> str:
    """That repairs have no test after them yet, and which test would show whether they worked.

    ``setup`` is named where no test so far had the place open.
    """
    how = "the same setup" if setup is None else setup_name(setup)
    they = "it" if len(repairs) == 1 else "they"
    return f"{repaired_text(repairs)}: hold again with {how} to see whether {they} worked."


def repaired_text(repairs: Sequence[Event]) -> str:
    """When and where it was repaired, without a full stop."""
    by_day: dict[str, list[str]] = {}
    for event in repairs:
        by_day.setdefault(day_text(event.date), []).extend([path_name(event.path)] if event.path else [])
    days = [f"{day} ({list_text(list(dict.fromkeys(p)))})" if p else day for day, p in by_day.items()]
    return f"Repaired on {list_text(days)}"
