"""After a repair every page and command says the same; a bad line of ``events.csv`` hides no measurement."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from acquisition.archive import Archive
from acquisition.records import Event
from analysis.results import Ranking
from analysis.wording import NOTHING_TO_MEND
from dashboard import box_answers, commands_archive, commands_assess, numberlist, pages, rows
from dashboard.cli import run
from dashboard.flagwords import noted
from dashboard.pages import boxes, new_event
from dashboard.rows import BoxRow
from dashboard.shop import Shop, conclude
from dashboard.text_report import assessment_text, box_text
from dashboard.view import View
from tests.dashboard.made_up_shop import MAY, MM2, MadeUpShop, box, iv, made_up, over_b07, result, trial
from tests.dashboard.test_pages import spoken, view_of

SAMPLES = Path(__file__).parents[2] / "sample_logs"
HOLD = "20260121T084000-vents-taped.csv"
REPAIRED = "Repaired on 21 Jan 2026 (port flange): hold again with the same setup to see whether it worked."
BAD = "date,path,kind,text\n2026-01-20,,remark,hiss\nyesterday,port-flange,repair,new bead\n"


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


@pytest.fixture
def archive(tmp_path: Path) -> Archive:
    """One box with one test of 21 January."""
    (tmp_path / "B-03" / "logs").mkdir(parents=True)
    shutil.copy(SAMPLES / "B-03" / "box.toml", tmp_path / "B-03")
    shutil.copy(SAMPLES / "B-03" / "logs" / HOLD, tmp_path / "B-03" / "logs")
    return Archive(tmp_path)


@pytest.fixture
def shop(archive: Archive):
    made = Shop(archive.root)
    made.findings("B-03", wait_s=None)
    yield made
    made.close()


def words_of(shop: Shop, address: str) -> str:
    return plain(" ".join(spoken(pages.find(shop, View(address)).body)))


def note(archive: Archive, *words: str) -> int:
    return run(["note", "B-03", "--archive", str(archive.root), *words])


def test_after_a_repair_every_page_and_command_asks_for_its_hold(archive, capsys):
    assert note(archive, "--date", "20260121", "--path", "port-flange", "--repair", "new bead") == 0
    shop = Shop(archive.root)
    known = shop.findings("B-03", wait_s=None)
    for address in ("/", "/box/B-03", "/box/B-03/months"):
        said = words_of(shop, address)
        assert REPAIRED in said, address
        assert "Test again in a month" not in said
    shop.close()
    assert REPAIRED in plain(box_text("B-03", known.last.result, known.ranking))
    log = archive.log_paths("B-03")[0]
    for words in (["assess", log], ["rank", log], ["assess", log, "--json"], ["history", "--archive", archive.root]):
        capsys.readouterr()
        assert run([str(word) for word in words]) == 0
        assert REPAIRED in plain(capsys.readouterr().out.replace("\\u00a0", " ")), words


def test_a_box_that_waits_is_no_box_that_holds():
    known = replace(made_up()["B-12"], ranking=Ranking(
        "B-12", "ranked", None, None, (), (), (), None, (), None, ("Repaired: hold again.",),
        waiting=(Event("2026-05-03", "line", "repair", "new hose"),),
    ))  # fmt: skip
    waits, over, tight = BoxRow("C-1", known), BoxRow("B-07", over_b07()), BoxRow("C-2", made_up()["B-12"])
    assert boxes.headline([waits, tight])[0] == "C-1 was repaired; hold again."
    assert boxes.headline([over, waits, tight])[1] == "C-1 was repaired; hold again. One is within its limit."
    assert rows.what_next(waits, date(2026, 5, 4))[0] == "Hold again"
    assert rows.verdict_words(waits, "metric") == "Tight, before its repair."
    leaky = BoxRow("C-3", replace(known, trials=over_b07().trials))
    assert boxes.headline([leaky, tight])[0] == "C-3 was repaired; hold again."


@pytest.mark.parametrize(
    "address",
    ["/", *(f"/box/B-03{rest}" for rest in ("", "/months", "/sheet", "/forming", "/tests", "/tests/2026", "/event",
                                            "/tests/2026/report", "/report", "/measurements"))],
)  # fmt: skip
def test_a_bad_line_is_named_on_every_page_and_hides_no_measurement(archive, address):
    (archive.folder("B-03") / "events.csv").write_text(BAD, encoding="utf-8")
    shop = Shop(archive.root)
    shop.findings("B-03", wait_s=None)
    said = words_of(shop, address)
    shop.close()
    assert said.count("line 3: 'yesterday' is no date") == 1
    assert not any(words in said for words in ("never measured", "Nothing measured", "nothing was measured"))


@pytest.mark.parametrize("words", [["assess"], ["rank"], ["assess", "--archive", "."], ["history", "--archive", "."]])
def test_a_bad_line_is_said_once_on_the_terminal(archive, monkeypatch, capsys, words):
    shutil.copy(archive.log_paths("B-03")[0], archive.root / "B-03" / "logs" / "20260122T084000-vents-taped.csv")
    (archive.folder("B-03") / "events.csv").write_text(BAD, encoding="utf-8")
    monkeypatch.chdir(archive.root)
    logs = [] if words[0] == "history" else [str(path) for path in Path().glob("*/logs/*.csv")]
    assert run([words[0], *logs, *words[1:]]) == 3
    told = capsys.readouterr()
    (complaint,) = told.err.splitlines()
    assert "events.csv, line 3: 'yesterday' is no date; write year-month-day" in complaint
    assert "mm²" in told.out


def test_compare_says_a_bad_line_once_for_both_sides(archive, capsys):
    (archive.folder("B-03") / "events.csv").write_text(BAD, encoding="utf-8")
    log = str(archive.log_paths("B-03")[0])
    assert run(["compare", log, "--with-sheet", log]) == 3
    told = capsys.readouterr()
    assert len(told.err.splitlines()) == 1
    assert f"{log} stands on both sides" in told.out


def test_a_day_to_come_is_refused_where_it_is_written(archive, monkeypatch, capsys):
    monkeypatch.setattr(commands_archive, "today", lambda: date(2026, 1, 22))
    assert note(archive, "--date", "20260123", "--remark", "x") == 2
    assert capsys.readouterr().err == "2026-01-23 is still to come (today is 2026-01-22); write the day it was done.\n"
    assert note(archive, "--date", "2026-W04-4", "--remark", "x") == 0
    assert note(archive, "--remark", "y") == 0
    assert [event.date for event in archive.events("B-03")] == ["2026-01-22", "2026-01-22"]


def test_the_page_refuses_a_day_to_come(archive):
    class Early(Shop):
        def today(self) -> date:
            return date(2026, 1, 20)

    shop = Early(archive.root)
    try:
        assert "still to come" in new_event.kept(shop, "B-03", "2026-01-21", "remark", "", "x")
        assert new_event.kept(shop, "B-03", "20260120", "remark", "", "x").startswith("Kept.")
    finally:
        shop.close()
    assert [event.date for event in archive.events("B-03")] == ["2026-01-20"]


def test_a_next_test_that_was_due_is_overdue(tmp_path):
    tight = BoxRow("B-12", made_up()["B-12"])  # tested on 3 May 2026
    assert rows.what_next(tight, date(2026, 5, 31))[0] == "Test again in a month"
    assert plain(rows.what_next(tight, date(2026, 6, 1))[0]) == "Test again, overdue since 31 May 2026"
    assert [rows.is_overdue(tight, date(2026, 5, 31)), rows.is_overdue(tight, date(2026, 6, 1))] == [False, True]
    going_off = BoxRow("B-03", made_up()["B-03"])
    assert plain(rows.what_next(going_off, date(2026, 12, 3))[0]) == "Test again, overdue since 17 May 2026"


def test_the_months_say_since_when_a_test_is_overdue(tmp_path):
    class Later(MadeUpShop):
        def today(self) -> date:
            return date(2026, 12, 3)

    shop = Later(tmp_path)
    try:
        said = words_of(shop, "/box/B-03/months")
    finally:
        shop.close()
    assert "The next test is overdue since 17 May 2026." in said


def test_assess_says_on_paper_but_not_in_json_that_a_test_is_overdue(monkeypatch, capsys):
    log = str(SAMPLES / "B-08" / "logs" / "20260224T154000-undrilled.csv")
    monkeypatch.setattr(commands_assess, "today", lambda: date(2026, 10, 1))
    assert run(["assess", log]) == run(["assess", log, "--json"]) == 0
    out = plain(capsys.readouterr().out)
    assert "next                      Nothing to mend at that test; test again, overdue since 24 Mar 2026." in out
    assert f'"advice": "{NOTHING_TO_MEND}"' in out


def test_advice_of_a_refusal_stays_what_it_was():
    refused = replace(made_up()["B-05"].trials[0].result, advice="Open the valve.")
    event = Event("2026-06-01", "panel-edges", "repair", "new bead")
    (told,) = box_answers.advised([(refused, None, [event])], date(2026, 12, 1))
    assert told.advice == "Open the valve."


def test_a_box_without_dates_is_measured_all_the_same(tmp_path):
    undated = replace(result("B-12", "vents-taped", MAY, iv(0.2, 0.18, 0.22), "within"), started=None)
    known = conclude_of(undated, Event("2026-05-01", "panel-edges", "repair", "new bead"))
    shop = MadeUpShop(tmp_path, {"B-12": known})
    try:
        months, tests, where = (words_of(shop, f"/box/B-12{rest}") for rest in ("/months", "/tests", ""))
    finally:
        shop.close()
    neither = "A test without a date is neither before nor after the repair of 1 May 2026 (panel edges)"
    assert "No month yet: no test says its day." in months
    assert neither in months
    assert "One test; the last on a day not said." in tests
    assert neither in where
    assert "Repaired on 1 May 2026 (panel edges): hold again" in where


def conclude_of(res, *events):
    return conclude(box("B-12", "tray", (600, 400, 110)), events, (trial(res),))


def test_one_figure_is_shown_of_a_box_with_its_check_plug_open():
    own, plug = iv(0.22, 0.19, 0.25), 0.16 * MM2
    area = iv(0.38, 0.35, 0.41)
    res = replace(result("B-08", "undrilled", MAY, area, "within"), plug_area_m2=plug)
    shut = replace(res, area_m2=own, plug_area_m2=0.0)
    assert rows.result_amount(res, "metric") == rows.result_amount(shut, "metric")
    table = {label: f"{value} {more}" for label, value, more in numberlist.rows(over_b07(), res, "metric")}
    assert table["leak area"].startswith("0.22\u00a0mm²")
    assert "with the check plug open" in table["leakage rate"]
    lines = plain(assessment_text(res)).splitlines()
    figures = {line[2:].split("  ")[0]: line for line in lines[1:]}
    assert "0.58 mm, 0.54 to 0.62" in figures["like one drilled hole of"]
    assert "0.22 mm², 0.19 to 0.25" in figures["leak area"]
    assert "0.38 mm², 0.35 to 0.41" in figures["leak area with the plug"]
    assert figures["leakage rate"].endswith("(with the open check plug)")


@pytest.mark.parametrize("width", [1440, 390])
def test_sheet_page_says_why_tests_on_two_sides_of_a_repair_are_not_compared(tmp_path, width):
    known = made_up()["B-11"]
    film, *sheets = known.trials  # two hours before the sheets
    event = Event("2026-05-03T13:00", "panel-edges", "repair", "new bead")
    between = conclude(known.box, (event,), (film, *sheets))
    shop = MadeUpShop(tmp_path, {"B-11": between})
    try:
        said = plain(" ".join(spoken(pages.find(shop, View("/box/B-11/sheet", width=width)).body)))
    finally:
        shop.close()
    assert "on two sides of the repair of 3 May 2026. Hold again without a sheet." in said


def test_a_repair_written_with_its_day_tells_what_that_means(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    told = ["note", "B-07", "--archive", str(tmp_path), "--repair", "new gasket", "--path", "port-flange"]
    assert run([*told, "--date", "2026-05-03"]) == 0
    assert "A test of the same day counts as made before the repair" in capsys.readouterr().out
    assert run([*told, "--date", "2026-05-03T14:30"]) == 0
    assert "same day" not in capsys.readouterr().out


def test_a_box_whose_top_forbids_it_is_not_sent_to_its_first_test():
    thin = conclude(replace(box("T10", "tray", (900, 700, 60), baffles=0), board_mm=9.0), (), ())
    sound = conclude(box("T11", "tray", (300, 200, 60)), (), ())
    day = date(2026, 5, 4)
    assert rows.what_next(BoxRow("T10", thin), day) == ("Do not pump it down", "Measurements", "/measurements")
    assert rows.what_next(BoxRow("T11", sound), day)[0] == "Hold it once"


@pytest.mark.parametrize("page", ["/hold?box=B-12", "/hold?box=B-12&step=gauge", "/box/B-12/measurements"])
def test_a_top_that_must_not_be_pumped_down_is_said_where_its_test_is_prepared(page, tmp_path):
    shop = MadeUpShop(tmp_path)
    thin = replace(box("B-12", "tray", (900, 700, 60), baffles=0), board_mm=9.0)
    assert "do not pump it down" not in str(pages.find(shop, view_of(page)).body)
    shop.known["B-12"] = conclude(thin, (), ())
    assert "do not pump it down" in str(pages.find(shop, view_of(page)).body)


def test_recording_by_hand_says_that_a_top_must_not_be_pumped_down(tmp_path, capsys):
    top = ["--inside-mm", "900x700x60", "--wood", "bare", "--board-mm", "9"]
    run(["new-box", "T10", "--archive", str(tmp_path), *top])
    call = ["record", "--manual", "--unit", "vacuum inHg", "--box-id", "T10", "--archive", str(tmp_path)]
    capsys.readouterr()
    run([*call, "--setup", "no such"])
    assert "do not pump it down" not in capsys.readouterr().err
    run([*call, "--setup", "vents-taped"])
    assert "do not pump it down" in capsys.readouterr().err


@pytest.mark.parametrize(("behind", "told"), [("tank", True), ("pump", True), ("room", False), (None, False)])
def test_what_may_hide_a_leak_is_noted(behind, told):
    result = replace(over_b07().results[-1], behind_valve=behind, flags=())
    assert any("hides part of a leak" in words for words in noted(result)) is told
