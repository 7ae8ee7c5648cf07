"""Forms on pages in inches: what is typed is kept in the files' units, what is left alone stays as it was."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from acquisition.archive import Archive
from acquisition.records import Box, Uncertain
from analysis.forming import Cure, case_of
from analysis.results import Interval
from analysis.wording import System
from dashboard import boxform, pages
from dashboard.figures_forming import cure_bars
from dashboard.pages import forming, measurements
from tests.dashboard.made_up_shop import MadeUpShop, box, made_up
from tests.dashboard.test_pages import spoken, view_of

KEYS = [f.key for f in boxform.FIELDS]


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[MadeUpShop]:
    made = MadeUpShop(tmp_path)
    yield made
    made.close()


def texts(described: Box, system: System, **typed: str) -> list[str]:
    """What stands in the fields, some of it typed anew."""
    values = boxform.values_of(described)
    shown = {f.key: f.measure.shown(values[f.key], system) for f in boxform.FIELDS}
    return [typed.get(key, shown[key]) for key in KEYS]


def filed(shop: MadeUpShop, name: str) -> Box:
    return Archive(shop.archive_dir).box(name)


def test_a_form_left_alone_in_inches_changes_nothing() -> None:
    old = box("B-07", "fender", (610, 406, 127))
    values, troubles = boxform.read_fields(old, texts(old, "inch"), "inch")
    assert troubles == ()
    assert values == boxform.values_of(old)


def test_what_is_typed_in_inches_is_filed_as_if_typed_in_metric(shop: MadeUpShop) -> None:
    known = made_up()["B-17"].box
    typed = {"length": "24", "height": "4 1/2", "board": "3/4", "line": "0.5", "measured": "8", "pump": "3",
             "working": "25", "ultimate": "27", "tank": "40"}  # fmt: skip
    said = measurements.kept(shop, {"name": "B-17", "units": "inch"}, texts(known, "inch", **typed), "bare", None)
    assert said.startswith("Kept.")
    new = filed(shop, "B-17")
    assert known.inside_mm is not None
    assert new.inside_mm == (609.6, known.inside_mm[1], 114.3)
    assert (new.board_mm, new.wood) == (19.05, "bare")
    # A US gallon is 3.785411784 L, a cubic foot 28.316846592 L, 1 inHg 3.386389 kPa, the standard room 101.325 kPa.
    assert new.tank is not None
    assert new.pump is not None
    assert new.volume_L is not None
    assert new.line_volume_L is not None
    assert new.tank.volume_L == pytest.approx(40 * 3.785411784, abs=1e-5)
    assert new.volume_L.value == pytest.approx(8 * 3.785411784, abs=1e-5)
    assert new.line_volume_L.value == pytest.approx(0.5 * 3.785411784, abs=1e-5)
    assert new.pump.speed_L_s == pytest.approx(3 * 28.316846592 / 60, abs=1e-5)
    assert new.working_kPa == pytest.approx(101.325 - 25 * 3.386389, abs=1e-4)
    assert new.pump.ultimate_kPa == pytest.approx(101.325 - 27 * 3.386389, abs=1e-4)


def test_a_volume_left_alone_keeps_its_uncertainty() -> None:
    old = Box("B-05", (800.0, 800.0, 95.0), "bare", 18.0, volume_L=Uncertain(59.5, 2.0))
    values, _ = boxform.read_fields(old, texts(old, "inch", length="31"), "inch")
    assert boxform.box_with(old, values).volume_L == Uncertain(59.5, 2.0)


def test_a_new_box_in_inches_begins_with_round_inches_and_is_filed_in_mm(shop: MadeUpShop) -> None:
    begun = boxform.NEW_BOX["inch"]
    form = {"name": "", "units": "inch"}
    assert texts(begun, "inch")[:4] == ["24", "16", "4.5", "0.75"]
    assert measurements.kept(shop, form, texts(begun, "inch", width="18"), "coated", "N-02").startswith("Kept.")
    assert filed(shop, "N-02").inside_mm == (609.6, 457.2, 114.3)


def test_what_cannot_be_read_is_told_and_not_kept(shop: MadeUpShop) -> None:
    form = {"name": "", "units": "inch"}
    texts_typed = texts(boxform.NEW_BOX["inch"], "inch", length="two", working="35")
    said = measurements.kept(shop, form, texts_typed, "coated", "N-03")
    assert said.startswith("Not kept. Inside length: 'two' is no number")
    assert "Working vacuum: '35' is more vacuum than there can be" in said
    assert not (shop.archive_dir / "N-03").exists()


@pytest.mark.parametrize("address", ["/box/B-17/measurements", "/box/new", "/box/B-11/forming", "/help",
                                     "/hold?box=B-17", "/box/B-17/sheet", "/box/B-17/event?kind=repair"])  # fmt: skip
@pytest.mark.parametrize(("units", "foreign"), [("inch", r"mm\b|mm²|kPa|tonnes|\bL\b|L/s|°C"),
                                                ("metric", r"\d\s*in\b|^in$|^inHg$|\bgal$|cfm|lb\b")])  # fmt: skip
@pytest.mark.parametrize("width", [1440, 390])
def test_a_page_speaks_one_system(shop: MadeUpShop, address: str, units: str, foreign: str, width: int) -> None:
    body = pages.find(shop, view_of(address, units=units, width=width)).body
    assert [s for s in spoken(body) if re.search(foreign, s)] == []


@pytest.mark.parametrize("system", ["metric", "inch"])
def test_sliders_left_alone_are_what_the_box_has(system: System) -> None:
    known = made_up()["B-11"]
    case = case_of(known.box)
    assert case is not None
    settings = forming.as_it_is(known, case)
    values = [float(s.measure.shown(settings[s.key], system)) for s in forming.SLIDERS]
    assert forming.settings_of(values, settings, system) == settings


def test_sliders_in_inches_stand_for_the_same_forming() -> None:
    known = made_up()["B-11"]
    case = case_of(known.box)
    assert case is not None
    moved = ["1", 2.0, 40.0, 4.0, 0.75, 96.0, 20.0, 30.0]
    told = forming.settings_of(moved, forming.as_it_is(known, case), "inch")
    # A thousandth of a square inch is 0.64516 mm²; 20 inHg under 101.325 kPa leave 33.597 kPa.
    assert told == pytest.approx({"edge": 0.64516, "walls": 1.29032, "tank": 151.416471, "pump": 1.887790,
                                  "hose": 19.05, "vents": 96.0, "needs": 33.597220, "set": 30.0}, abs=1e-4)  # fmt: skip


@pytest.mark.parametrize(("system", "told"), [("metric", "at most 0.5"), ("inch", "at most 0.15")])
def test_little_given_back_is_as_little_in_both_systems(system: System, told: str) -> None:
    # 0.5 kPa is 0.148 inHg
    none = Interval(100.0, 50.0, 490.0)
    cure = Cure("walls", "The box, sealed", True, none, Interval(600.0, 580.0, 620.0))
    assert f">{told}<" in cure_bars((cure,), (0.0, 0.0), system, 420)
    assert cure_bars((cure,), (0.0, 0.0), system, 420).count("at most") == 1


def test_the_gauges_step_gives_its_caution_in_inches(shop: MadeUpShop) -> None:
    shop.known["B-12"] = replace(shop.known["B-12"], box=replace(shop.known["B-12"].box, wood="none"))
    text = " ".join(spoken(pages.find(shop, view_of("/hold?box=B-12&step=gauge", units="inch")).body))
    assert "first pull in steps of 7, 15 and 24\u00a0inHg" in text
    assert "80\u00a0kPa" not in text
