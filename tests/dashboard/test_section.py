"""The drawn box: this very box's proportions, and each mark at its own gap."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest

from acquisition.records import Baffles, Box, Port, Rim, Vents
from acquisition.setups import PATHS, SETUPS
from dashboard import marks, svg
from dashboard.places import GAPS, Place, gaps, section
from dashboard.plan import plan, seam_of
from dashboard.section import Frame, baffle_places, frame_for, port_mm, small, turned, vent_grid

BOX = Box("B-07", (610.0, 406.0, 127.0), board_mm=18.0, baffles=Baffles(2, 1, 18.0), rim=Rim("steel", 4.0),
          port=Port(335.0, 160.0, 38.0, 90.0), vents=Vents(96, 1.0, 40.0))  # fmt: skip


def frame() -> Frame:
    return frame_for(BOX, 640, 104, 48)


def test_inside_has_the_proportions_of_the_box() -> None:
    f = frame()
    assert (f.right - f.left) / (f.floor - f.top) == pytest.approx(610 / 127)


def test_board_is_to_scale_but_at_least_eight_px() -> None:
    assert frame().wall == pytest.approx(max(8.0, 18 * frame().scale))
    thin = frame_for(Box("thin", (2000.0, 400.0, 100.0), board_mm=6.0), 640, 104, 48)
    assert thin.wall == 8.0


def test_box_fits_its_drawing() -> None:
    x0, _, x1, _ = frame().outer
    assert x0 + 0.01 >= 104
    assert x1 <= 640 - 104 + 0.01


def test_a_box_longer_across_is_turned_so_that_its_length_fits_the_width() -> None:
    box = Box("t", (300.0, 500.0, 100.0), port=Port(100.0, 400.0))
    assert turned(box) == (500.0, 300.0, 100.0)
    assert port_mm(box) == (400.0, 100.0)
    assert seam_of(Place("panel-edges/front"), box) == "right"
    assert seam_of(Place("panel-edges/front"), BOX) == "front"


def test_port_stands_where_the_box_file_says() -> None:
    f = frame()
    assert (f.port_x - f.left) / f.scale == pytest.approx(335.0)


def test_baffles_part_the_length_evenly() -> None:
    assert baffle_places(600.0, 2) == [200.0, 400.0]


@pytest.mark.parametrize("count", [1, 4, 48, 96, 117])
def test_vent_grid_holds_all_vents_inside_the_box(count: int) -> None:
    columns, rows, pitch = vent_grid(Box("v", (610.0, 406.0, 127.0), vents=Vents(count, 1.0, 40.0)))
    assert columns * rows >= count
    assert (columns - 1) * pitch <= 610
    assert (rows - 1) * pitch <= 406


@pytest.mark.parametrize("path", GAPS)
def test_wedge_points_touch_the_box_and_open_outwards(path: str) -> None:
    f = frame()
    x0, y0, x1, y1 = f.outer
    for (x, y), (dx, dy) in gaps(f, path, "vents-taped"):
        assert x0 - 8 <= x <= x1 + 8
        assert y0 - f.lip - 8 <= y <= y1 + 8
        out = (x + 40 * dx, y + 40 * dy)
        assert not (x0 < out[0] < x1 and y0 < out[1] < y1)


def test_panel_edges_are_marked_at_the_four_joints() -> None:
    f = frame()
    assert sorted(p for p, _ in gaps(f, "panel-edges", None)) == sorted(
        [(f.outer[0], f.top), (f.outer[0], f.floor), (f.outer[2], f.top), (f.outer[2], f.floor)])  # fmt: skip


def test_line_and_valve_seat_have_words_only() -> None:
    assert gaps(frame(), "line", None) == []
    drawn = section(BOX, 640, [Place("valve-seat", "open", 0.0, "valve seat takes out 0.03\u00a0mm²")])
    assert "valve seat takes" in drawn
    assert "out 0.03 mm²" in drawn


def test_sealed_place_carries_a_patch_and_no_wedge() -> None:
    open_, sealed = (section(BOX, 640, [Place("port-flange", s)]) for s in ("open", "sealed"))  # type: ignore[arg-type]
    assert open_.count("<polygon") == sealed.count("<polygon") + 1


def test_likely_place_is_hatched_by_its_chance() -> None:
    assert "url(#air-3)" in section(BOX, 640, [Place("panel-edges", "likely", 0.94, "edges 94")])
    assert "url(#air-1)" in section(BOX, 640, [Place("panel-edges", "likely", 0.2, "edges 20")])


@pytest.mark.parametrize("setup", SETUPS)
@pytest.mark.parametrize("width", [390.0, 640.0])
def test_every_setup_is_well_formed_xml_without_nan(setup: str, width: float) -> None:
    places = [Place(p, "open", 0.01, p) for p in PATHS]
    for text in (section(BOX, width, places, setup=setup), plan(BOX, width, places), small(BOX, 150, setup=setup)):
        assert ET.fromstring(text) is not None
        assert "nan" not in text


def test_box_without_sizes_is_drawn_all_the_same() -> None:
    assert ET.fromstring(section(Box("?"), 640, [])) is not None


def test_names_of_users_cannot_break_the_drawing() -> None:
    text = section(Box('<b>"&'), 640, [Place("closure", "open", None, '<script>"&')], label='"><script>')
    assert "<script" not in text
    assert ET.fromstring(text) is not None


def test_setups_differ_on_the_drawing() -> None:
    drawn = {setup: section(BOX, 640, (), setup=setup) for setup in SETUPS}
    assert len(set(drawn.values())) == len(SETUPS)


def test_not_drilled_has_no_vents() -> None:
    def vents(setup: str) -> int:
        return len(re.findall(r'stroke-width="0.7"', section(BOX, 640, (), setup=setup)))

    assert vents("undrilled") == 0
    assert vents("vents-taped") > 5


def test_jaws_without_a_low_end_run_off_to_a_point() -> None:
    assert marks.jaws(0, None, 50, 20, open_left=True).count("<line") == 1
    assert marks.jaws(10, 30, 50, 20).count("<line") == 2


@pytest.mark.parametrize("kind", marks.VERDICT_WORDS)
def test_every_verdict_has_a_mark_of_its_own(kind: str) -> None:
    others = [marks.verdict(k) for k in marks.VERDICT_WORDS if k != kind]
    assert marks.verdict(kind) not in others


@pytest.mark.parametrize(
    ("chance", "fill"), [(0.05, "paper"), (0.1, "url(#air-1)"), (0.3, "url(#air-2)"), (0.6, "url(#air-3)")]
)
def test_hatch_grows_denser_with_chance(chance: float, fill: str) -> None:
    assert svg.by_chance(chance) == fill


def test_a_drawing_has_room_for_its_lowest_words() -> None:
    drawn = ET.fromstring(section(BOX, 480, [Place("valve-seat", "open", 0.0, "valve seat takes out 0.03\u00a0mm²")]))
    lowest = max(float(one.get("y", 0.0)) for one in drawn.iter() if one.tag.endswith(("text", "tspan")))
    assert lowest + 2.0 <= float(drawn.get("viewBox", "").split()[3])
