"""A box as a file: everything comes back, the unknown too, and faults are said in one sentence."""

from __future__ import annotations

import tempfile
import tomllib
from datetime import UTC, date, datetime, time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquisition.boxfile import box_text, check_box_name, find_box_file, read_box, write_box
from acquisition.errors import UnreadableInput, WrongUsage
from acquisition.records import Baffles, Box, Port, Pump, Rim, Tank, Uncertain, Vents
from acquisition.tomltext import toml_text

FULL = """\
name = "B-07"
label = "mask box"
inside_mm = [600, 600.5, 90]
wood = "coated"
board_mm = 18
volume_L = "31.4 +- 0.9"
line_volume_L = 2
working_kPa = 20
bought = 2026-01-02
[baffles]
count_x = 2
count_y = 2
board_mm = 12
[rim]
lip = "steel"
proud_mm = 4
glue = "epoxy"
[port]
x_mm = 300
y_mm = 300
bore_mm = 38
flange_mm = 90
[vents]
count = 120
drill = "fine"
drill_mm = 1
[pump]
points = [[101.3, 1.5], [8, 0], [20, 1.1]]
[tank]
volume_L = 100
working_kPa = 12
[[shelf]]
place = "left"
"""


def test_a_full_box_is_read(tmp_path: Path) -> None:
    path = tmp_path / "box.toml"
    path.write_text(FULL, encoding="utf-8")
    box = read_box(path)
    assert box == Box(
        name="B-07", label="mask box", inside_mm=(600.0, 600.5, 90.0), wood="coated", board_mm=18.0,
        volume_L=Uncertain(31.4, 0.9), line_volume_L=Uncertain(2.0, 0.1), working_kPa=20.0,
        baffles=Baffles(2, 2, 12.0), rim=Rim("steel", 4.0), port=Port(300.0, 300.0, 38.0, 90.0),
        vents=Vents(120, 1.0, 25.0), pump=Pump(points=((8.0, 0.0), (20.0, 1.1), (101.3, 1.5))), tank=Tank(100.0, 12.0),
        extra={"bought": date(2026, 1, 2), "shelf": [{"place": "left"}], "rim": {"glue": "epoxy"},
               "vents": {"drill": "fine"}},
    )
    write_box(box, tmp_path / "again.toml")
    assert read_box(tmp_path / "again.toml") == box
    again = tomllib.loads((tmp_path / "again.toml").read_text(encoding="utf-8"))
    assert (again["rim"]["glue"], again["bought"], again["shelf"]) == ("epoxy", date(2026, 1, 2), [{"place": "left"}])


def test_unknown_wood_is_kept_and_counts_as_unknown(tmp_path: Path) -> None:
    path = tmp_path / "box.toml"
    path.write_text('name = "A"\nwood = "birch"\n', encoding="utf-8")
    box = read_box(path)
    assert box.wood is None
    assert 'wood = "birch"' in box_text(box)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "the box has no name"),
        ("name = ", "this is no TOML"),
        ('name = "../x"', "'name' is ../x: use letters, digits"),
        ('name = ".."', "'name' is ..: use letters"),
        ("name = 7", "write the box's name as text"),
        ('name = "A"\ninside_mm = [1, 2]', "'inside_mm' is [1, 2]: write [length, width, height] in mm"),
        ('name = "A"\ninside_mm = [1, 2, -3]', "'inside_mm'"),
        ('name = "A"\ninside_mm = [1, 2, nan]', "'inside_mm'"),
        ('name = "A"\nboard_mm = true', "'board_mm'"),
        ('name = "A"\nboard_mm = 1' + "0" * 400, "'board_mm'"),
        ('name = "A"\nboard_mm = 1' + "0" * 5000, "this is no TOML"),
        ('name = "A"\nvolume_L = "big"', "'volume_L' is big"),
        ('name = "A"\nvolume_L = 0', "'volume_L'"),
        ('name = "A"\nrim = 3', "'rim' must be a table"),
        ('name = "A"\n[rim]\nlip = "brass"', "[rim] 'lip' is brass: write one of steel, none"),
        ('name = "A"\n[vents]\ncount = 1.5', "[vents] 'count'"),
        ('name = "A"\n[pump]\nultimate_kPa = 5', "[pump] has neither speed_L_s nor points"),
        ('name = "A"\n[pump]\npoints = [[1, 2]]', "two or more points"),
        ('name = "A"\n[pump]\npoints = [[1, 2], [1, 3]]', "each at another pressure"),
        ('name = "A"\n[pump]\npoints = [1, 2]', "write [[kPa, L/s], ...]"),
        ('name = "A"\n[tank]\nworking_kPa = 12', "[tank] has no volume_L"),
    ],
)
def test_a_faulty_box_file_says_so_in_one_sentence(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "box.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(UnreadableInput) as caught:
        read_box(path)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith(str(path))


def test_what_is_no_text_or_not_there(tmp_path: Path) -> None:
    (tmp_path / "box.toml").write_bytes(b'name = "\xff"')
    with pytest.raises(UnreadableInput, match="UTF-8"):
        read_box(tmp_path / "box.toml")
    with pytest.raises(UnreadableInput, match="no such file"):
        read_box(tmp_path / "none.toml")


@pytest.mark.parametrize("name", ["B-07", "a.b_c", "...x", "0"])
def test_box_names(name: str) -> None:
    assert check_box_name(name) == name


@pytest.mark.parametrize("name", ["", ".", "..", "...", "a/b", "a\\b", "a b", "B\n", "Büste", "x" * 101])
def test_what_is_no_box_name(name: str) -> None:
    with pytest.raises(WrongUsage, match="no box name"):
        check_box_name(name)


def test_a_box_is_found_beside_the_log_or_one_above(tmp_path: Path) -> None:
    (tmp_path / "logs" / "deep").mkdir(parents=True)
    write_box(Box("B-07"), tmp_path / "box.toml")
    assert find_box_file(tmp_path / "a.csv", "B-07") == tmp_path / "box.toml"
    assert find_box_file(tmp_path / "logs" / "a.csv", "B-07") == tmp_path / "box.toml"
    assert find_box_file(tmp_path / "logs" / "deep" / "a.csv", "B-07") is None
    assert find_box_file(tmp_path / "a.csv", "B-08") is None
    assert find_box_file(tmp_path / "a.csv", None) is None


def test_a_nearer_file_of_another_box_does_not_hide_the_one_above(tmp_path: Path) -> None:
    write_box(Box("B-07"), tmp_path / "box.toml")
    write_box(Box("other"), tmp_path / "logs" / "box.toml")
    assert find_box_file(tmp_path / "logs" / "a.csv", "B-07") == tmp_path / "box.toml"


def test_a_box_file_is_not_written_over_unasked(tmp_path: Path) -> None:
    write_box(Box("A"), tmp_path / "box.toml")
    with pytest.raises(WrongUsage, match="exists already"):
        write_box(Box("B"), tmp_path / "box.toml", overwrite=False)
    assert read_box(tmp_path / "box.toml").name == "A"


positive = st.floats(0.001, 1e4)
toml_keys = st.text(st.characters(blacklist_categories=("Cs",)), min_size=1, max_size=8)
toml_values = st.recursive(
    st.text(st.characters(blacklist_categories=("Cs",)), max_size=10)
    | st.booleans() | st.integers(-(2**63), 2**63 - 1) | st.floats(allow_nan=False)
    | st.dates() | st.times() | st.datetimes(timezones=st.none() | st.just(UTC)),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(toml_keys, inner, max_size=3),
    max_leaves=8,
)


@given(st.dictionaries(toml_keys, toml_values, max_size=5))
def test_whatever_toml_holds_is_written_and_read_alike(document: dict[str, object]) -> None:
    assert tomllib.loads(toml_text(document)) == document


def test_dates_and_times_are_written_as_toml_has_them() -> None:
    document = {"d": date(2026, 5, 3), "t": time(14, 2), "dt": datetime(2026, 5, 3, 14, 2, tzinfo=UTC)}
    assert toml_text(document) == "d = 2026-05-03\nt = 14:02:00\ndt = 2026-05-03T14:02:00+00:00\n"


def test_what_toml_has_no_word_for_is_refused() -> None:
    with pytest.raises(WrongUsage, match="NoneType"):
        toml_text({"a": [None]})


boxes = st.builds(
    Box,
    name=st.from_regex(r"[A-Za-z0-9][A-Za-z0-9._-]{0,8}", fullmatch=True),
    inside_mm=st.none() | st.tuples(positive, positive, positive),
    wood=st.sampled_from([None, "bare", "coated", "none"]),
    volume_L=st.none() | st.builds(Uncertain, positive, st.floats(0, 10)),
    working_kPa=st.none() | st.floats(1, 100),
    label=st.none() | st.text(st.characters(blacklist_categories=("Cs",)), max_size=10),
    baffles=st.builds(Baffles, st.integers(0, 9), st.integers(0, 9), st.none() | positive),
    rim=st.builds(Rim, st.sampled_from(["steel", "none"]), st.floats(0, 9)),
    pump=st.none() | st.builds(Pump, speed_L_s=positive, ultimate_kPa=st.floats(0, 50)),
    tank=st.none() | st.builds(Tank, positive, st.floats(0, 50)),
    extra=st.dictionaries(st.from_regex(r"x_[a-z]{1,5}", fullmatch=True), toml_values, max_size=3),
)


@given(boxes)
def test_every_box_comes_back(box: Box) -> None:
    document = tomllib.loads(box_text(box))
    assert document["name"] == box.name
    with tempfile.TemporaryDirectory() as folder:
        write_box(box, Path(folder) / "box.toml")
        assert read_box(Path(folder) / "box.toml") == box
