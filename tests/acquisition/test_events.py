"""``events.csv``: what was done to a box, and corrections of its logs' headers."""

from __future__ import annotations

import csv
import tempfile
import threading
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquisition.errors import UnreadableInput, WrongUsage
from acquisition.events import (
    append_event,
    corrected,
    corrections_of,
    event_troubles,
    parse_correction,
    read_events,
)
from acquisition.logfile import read_log_bytes
from acquisition.records import Event, Uncertain

LOG = b"# boxhold log: 1\n# box: B-07\n# wood: bare\n# gauge: absolute kPa\n# sealed: line\nelapsed_s,reading\n0,101\n"
REPAIR = Event("2026-05-03", "port-flange", "repair", 'new bead, "black" silicone')
HISS = Event("2026-05-04", "", "remark", "hiss heard at the front left corner")


def test_no_file_means_no_events(tmp_path: Path) -> None:
    assert read_events(tmp_path / "events.csv") == ()


def test_events_come_back_in_order(tmp_path: Path) -> None:
    path = tmp_path / "new" / "events.csv"
    for event in (REPAIR, HISS):
        append_event(path, event)
    assert read_events(path) == (REPAIR, HISS)
    with path.open(encoding="utf-8", newline="") as file:
        assert next(csv.reader(file)) == ["date", "path", "kind", "text"]


texts = st.text(st.characters(blacklist_categories=("Cs", "Cc", "Zl", "Zp")), min_size=1).map(str.strip).filter(bool)


past = st.dates(date(1900, 1, 1), date(2026, 5, 3)).map(str)


@given(st.lists(st.builds(Event, past, st.sampled_from(["", "line", "panel-edges/back"]),
                          st.sampled_from(["repair", "change", "remark"]), texts), max_size=4))
def test_any_events_come_back(events: list[Event]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        for event in events:
            append_event(Path(folder) / "events.csv", event)
        assert read_events(Path(folder) / "events.csv") == tuple(events)


def test_what_a_person_wrote_by_hand_stays_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "events.csv"
    by_hand = "\ufeffDate;Kind;Text;Path;Who\r\n2026-05-03;remark;was dropped;;Jo"
    path.write_text(by_hand, encoding="utf-8", newline="")
    append_event(path, REPAIR)
    assert path.read_bytes().startswith(by_hand.encode())
    assert read_events(path) == (Event("2026-05-03", "", "remark", "was dropped"), REPAIR)


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("yesterday,,remark,x", "line 3: 'yesterday' is no date"),
        ("0001-01-01,,remark,x", "line 3: '0001-01-01' is no date"),
        ("2026-05-03,door,remark,x", "line 3: 'door' is no leak path"),
        ("2026-05-03,,gossip,x", "line 3: 'gossip' is no kind of event"),
        ("2026-05-03,,remark,", "line 3: an event needs a text"),
        ("2026-05-03,,correction,volume_L: 3", "line 3: 'volume_L: 3' is no correction"),
        ("2026-05-03,,correction,a.csv volume_L: big", "line 3: 'volume_L' is 'big'"),
        ("2026-05-03,,correction,a.csv gauge:", "line 3: a log cannot be without its gauge"),
    ],
)
def test_a_row_that_is_no_event_is_named_by_its_line_and_left_untouched(tmp_path: Path, row: str, words: str) -> None:
    path = tmp_path / "events.csv"
    text = f"date,path,kind,text\n2026-05-01,,remark,fine\n{row}\n"
    path.write_text(text, encoding="utf-8")
    (told,) = event_troubles(path)
    assert f"{path}, {words}" in told
    assert told.endswith("; until then it does not count.")
    assert read_events(path) == (Event("2026-05-01", "", "remark", "fine"),)
    with pytest.raises(UnreadableInput, match="line 3"):
        append_event(path, HISS)
    assert path.read_text(encoding="utf-8") == text


def test_a_file_with_other_columns_is_refused(tmp_path: Path) -> None:
    (tmp_path / "events.csv").write_text("when,what\n", encoding="utf-8")
    assert read_events(tmp_path / "events.csv") == ()
    (told,) = event_troubles(tmp_path / "events.csv")
    assert "line 1: the first line must name the columns" in told


@pytest.mark.parametrize("day", ["20260124", "2026-W04-6", "2026-01-24"])
def test_every_iso_date_is_kept_as_year_month_day(tmp_path: Path, day: str) -> None:
    path = tmp_path / "events.csv"
    path.write_text(f"date,path,kind,text\n{day},line,repair,new hose\n", encoding="utf-8")
    append_event(path, Event(day, "line", "repair", "tee sealed"))
    assert [event.date for event in read_events(path)] == ["2026-01-24", "2026-01-24"]
    assert path.read_text(encoding="utf-8").splitlines()[-1].startswith("2026-01-24,")


def test_an_hour_stays_with_its_date_by_the_shops_own_clock(tmp_path: Path) -> None:
    path = tmp_path / "events.csv"
    append_event(path, Event("2026-05-03 14:00:30+02:00", "line", "repair", "new hose"))
    assert [event.date for event in read_events(path)] == ["2026-05-03T14:00"]


def test_a_row_from_days_to_come_is_left_out_and_said(tmp_path: Path) -> None:
    path = tmp_path / "events.csv"
    path.write_text("date,path,kind,text\n2026-05-03,,remark,now\n2026-05-04,,remark,too early\n", encoding="utf-8")
    today = date(2026, 5, 3)
    assert [event.text for event in read_events(path, today)] == ["now"]
    (told,) = event_troubles(path, today)
    assert "line 3: 2026-05-04 is still to come (today is 2026-05-03)" in told
    assert event_troubles(path, date(2026, 5, 4)) == ()


@pytest.mark.parametrize("cut", ['2026-05-02,,remark,"cut off', '2026-05-02,,remark,"two\nlines"'])
def test_an_open_quote_swallows_no_other_event(tmp_path: Path, cut: str) -> None:
    path = tmp_path / "events.csv"
    text = f"date,path,kind,text\n{cut}\n2026-05-03,port-flange,repair,new bead\n"
    path.write_text(text, encoding="utf-8")
    assert [event.text for event in read_events(path)] == ["new bead"]
    assert "line 2: a quote is opened and not closed" in event_troubles(path)[0]
    with pytest.raises(UnreadableInput, match="line 2"):
        append_event(path, HISS)
    assert path.read_text(encoding="utf-8") == text


def test_a_quote_within_a_cell_is_only_an_inch_mark(tmp_path: Path) -> None:
    path = tmp_path / "events.csv"
    path.write_text('date,path,kind,text\n2026-05-02,,remark,3/4" hose\n', encoding="utf-8")
    assert [event.text for event in read_events(path)] == ['3/4" hose']


def test_nothing_is_appended_that_would_not_read_back(tmp_path: Path) -> None:
    path = tmp_path / "events.csv"
    odd = b"who\x0csays,date,path,kind,text\nJo,2026-05-02,,remark,creaks\n"
    path.write_bytes(odd)
    with pytest.raises(UnreadableInput, match="would not read back"):
        append_event(path, HISS)
    assert path.read_bytes() == odd


@pytest.mark.parametrize(
    "event",
    [Event("03.05.2026", "", "remark", "x"), Event("2026-05-03", "door", "remark", "x"),
     Event("2026-05-03", "", "remark", "  ")],
)
def test_an_event_that_cannot_be_read_is_not_written(tmp_path: Path, event: Event) -> None:
    with pytest.raises(WrongUsage):
        append_event(tmp_path / "events.csv", event)
    assert not (tmp_path / "events.csv").exists()


def test_two_writers_lose_nothing(tmp_path: Path) -> None:
    path = tmp_path / "events.csv"

    def write(who: int) -> None:
        for i in range(20):
            append_event(path, Event("2026-05-03", "", "remark", f"{who}-{i}"))

    writers = [threading.Thread(target=write, args=(who,)) for who in range(3)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    assert sorted(event.text for event in read_events(path)) == sorted(f"{w}-{i}" for w in range(3) for i in range(20))


def correction(text: str) -> Event:
    return Event("2026-05-05", "", "correction", text)


def test_a_correction_says_log_key_and_value() -> None:
    assert parse_correction("a volume_l: 30 +- 1") == ("a.csv", "volume_L", "30 +- 1")
    assert parse_correction("a.csv operator: Jo: the elder") == ("a.csv", "operator", "Jo: the elder")


def test_the_latest_correction_of_a_log_wins() -> None:
    events = [correction("a room_C: 20"), correction("b room_C: 30"), correction("a.csv room_C: 21"), REPAIR]
    assert corrections_of(events, "a.csv") == {"room_C": "21"}


def test_a_corrected_log_has_the_new_header_and_the_old_table() -> None:
    log = read_log_bytes(LOG)
    fixed = corrected(log, {
        "volume_L": "30 +- 1", "gauge": "vacuum inHg", "sealed": "", "wood": "", "operator": "Jo",
        "started": "2026-05-03T14:00:00Z",
    })
    assert (str(fixed.header.gauge), fixed.header.volume_L) == ("vacuum inHg", Uncertain(30.0, 1.0))
    assert (fixed.header.sealed, fixed.header.wood, fixed.header.extra) == ((), None, {"operator": "Jo"})
    assert fixed.header.started == datetime(2026, 5, 3, 14, tzinfo=UTC)
    assert fixed.elapsed_s is log.elapsed_s
    assert log.header.volume_L is None


def test_correcting_unknown_wood_takes_the_old_word_away() -> None:
    log = read_log_bytes(LOG.replace(b"bare", b"birch"))
    fixed = corrected(log, {"wood": "coated"})
    assert (fixed.header.wood, dict(fixed.header.extra)) == ("coated", {})
