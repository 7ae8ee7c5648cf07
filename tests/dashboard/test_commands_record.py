"""``record``, ``gauges``, ``replay`` and ``record --manual`` as a person calls them, on real device files."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from acquisition.gaugefile import read_gauge_file
from acquisition.logfile import read_log
from dashboard.cli import run
from tests.acquisition.ptys import Pty, pty, wait_until

pytestmark = pytest.mark.pty

COMMAND = [sys.executable, "-c", "import sys; from dashboard.cli import main; main()"]
UNIT = ("--unit", "absolute kPa")


@contextmanager
def recorder(port: str, out: Path, *more: str) -> Iterator[subprocess.Popen[str]]:
    """A recorder in a process of its own, listening when the block begins; killed if it is still there at the end."""
    args = [*COMMAND, "record", "--port", port, *UNIT, "--out", str(out), *more]
    pipe = subprocess.PIPE
    process = subprocess.Popen(args, stdin=subprocess.DEVNULL, stdout=pipe, stderr=pipe, text=True)
    part = out.with_name(out.name + ".part")
    try:
        wait_until(lambda: (part.exists() and part.stat().st_size > 0) or process.poll() is not None)
        yield process
    finally:
        if process.poll() is None:
            process.kill()
        process.communicate()


def rows(out: Path) -> int:
    part = out.with_name(out.name + ".part")
    return read_log(part).elapsed_s.size if part.exists() else 0


def send(line: Pty, out: Path, *texts: bytes) -> None:
    """Send lines and wait until they stand in the log."""
    before = rows(out)
    for text in texts:
        line.send(text + b"\r\n")
    wait_until(lambda: rows(out) >= before + len(texts))


@pytest.mark.parametrize("described", [True, False])
def test_a_box_that_no_file_describes_is_said_once_and_recorded(tmp_path: Path, described: bool) -> None:
    out = tmp_path / "a.csv"
    if described:
        (tmp_path / "box.toml").write_text('name = "B-99"\n', encoding="utf-8")
    with pty() as line, recorder(line.name, out, "--box-id", "B-99", "--setup", "vents-taped") as process:
        send(line, out, b"101.3", b"101.2")
        process.send_signal(signal.SIGTERM)
        _, complaints = process.communicate(timeout=30)
    assert process.returncode == 0
    assert complaints.count("Box B-99 is not described") == (0 if described else 1)
    assert read_log(out).elapsed_s.size == 2


@pytest.mark.parametrize("sign", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_closes_the_log(tmp_path: Path, sign: signal.Signals) -> None:
    out = tmp_path / "a.csv"
    with pty() as line, recorder(line.name, out, "--box-id", "B-07", "--setup", "vents-taped", "--sealed",
                                 "port-flange,line") as process:  # fmt: skip
        send(line, out, b"101.3", b"101.2 kPa", b"nan", b"9.9E37", b"101.3 psi", b"101.3,23", b"inf", b"-0.5")
        process.send_signal(sign)
        stdout, _ = process.communicate(timeout=10)
    assert process.returncode == 0
    assert stdout.strip() == str(out)
    log = read_log(out)
    assert log.raw == ("101.3", "101.2 kPa", "nan", "9.9E37", "101.3 psi", "101.3,23", "inf", "-0.5")
    assert [None if r != r else r for r in log.reading.tolist()] == [101.3, 101.2, None, None, None, None, None, -0.5]
    assert (log.header.box, log.header.setup, log.header.sealed) == ("B-07", "vents-taped", ("port-flange", "line"))
    assert log.header.started is not None
    assert log.header.started.utcoffset() is not None
    assert str(log.header.gauge) == "absolute kPa"
    assert sorted(os.listdir(tmp_path)) == ["a.csv"]


def test_a_recording_ends_by_itself(tmp_path: Path) -> None:
    out = tmp_path / "a.csv"
    with pty() as line, recorder(line.name, out, "--for", "0.5", "--quiet") as process:
        line.send(b"101.3\r\n101.2\r\n")
        stdout, stderr = process.communicate(timeout=10)
    assert (process.returncode, stdout, stderr) == (0, "", "")
    assert read_log(out).reading.tolist() == [101.3, 101.2]


def test_what_was_heard_survives_a_kill_and_the_next_start_closes_it(tmp_path: Path) -> None:
    out = tmp_path / "a.csv"
    with pty() as line:
        with recorder(line.name, out) as process:
            send(line, out, b"101.3", b"101.2", b"101.1")
            process.kill()
            process.wait()
        assert read_log(tmp_path / "a.csv.part").reading.tolist() == [101.3, 101.2, 101.1]
        with recorder(line.name, out, "--for", "0.3") as process:
            _, stderr = process.communicate(timeout=10)
    assert process.returncode == 0
    assert "a-2.csv" in stderr
    assert read_log(tmp_path / "a-2.csv").reading.tolist() == [101.3, 101.2, 101.1]
    assert sorted(os.listdir(tmp_path)) == ["a-2.csv", "a.csv"]


def test_a_second_recorder_is_refused_on_the_log_and_on_the_port(tmp_path: Path) -> None:
    out = tmp_path / "a.csv"
    with pty() as line, pty() as other, recorder(line.name, out) as process:
        for port, name in ((other.name, "a.csv"), (line.name, "b.csv")):
            with recorder(port, tmp_path / name, "--for", "5") as second:
                _, stderr = second.communicate(timeout=10)
            assert second.returncode == 4
            assert "another" in stderr
            assert len(stderr.strip().splitlines()) == 1
        send(line, out, b"101.3", b"101.2")
        process.send_signal(signal.SIGTERM)
        process.communicate(timeout=10)
    assert read_log(out).reading.tolist() == [101.3, 101.2]
    assert sorted(os.listdir(tmp_path)) == ["a.csv"]


def test_a_pulled_cable_is_marked_and_the_recording_goes_on(tmp_path: Path) -> None:
    out, link = tmp_path / "a.csv", tmp_path / "gauge"
    with pty() as first, pty() as second:
        link.symlink_to(first.name)
        with recorder(str(link), out) as process:
            send(first, out, b"101.3", b"101.2")
            link.unlink()
            first.pull()
            wait_until(lambda: "gauge lost" in read_log(out.with_name("a.csv.part")).note)
            link.symlink_to(second.name)
            wait_until(lambda: "gauge heard again" in read_log(out.with_name("a.csv.part")).note)
            send(second, out, b"100.9", b"100.8")
            process.send_signal(signal.SIGTERM)
            process.communicate(timeout=10)
    assert process.returncode == 0
    log = read_log(out)
    assert [r for r in log.reading.tolist() if r == r] == [101.3, 101.2, 100.9, 100.8]
    assert log.note[2:4] == ("gauge lost", "gauge heard again")


def test_a_log_is_filed_in_the_archive(tmp_path: Path) -> None:
    with pty() as line:
        args = ["record", "--port", line.name, *UNIT, "--box-id", "B-07", "--setup", "film-on-rim",
                "--archive", str(tmp_path), "--for", "0.2", "--quiet"]  # fmt: skip
        assert run(args) == 0
    (log,) = (tmp_path / "B-07" / "logs").glob("*.csv")
    assert log.name.endswith("-film-on-rim.csv")
    assert read_log(log).header.box == "B-07"


def test_a_log_cut_off_in_the_archive_is_closed_under_its_own_name(tmp_path: Path) -> None:
    logs = tmp_path / "B-07" / "logs"
    logs.mkdir(parents=True)
    head = "# boxhold log: 1\n# box: B-07\n# gauge: absolute kPa\nelapsed_s,reading,raw,note\n"
    text = head + '0.5,101.3,"101.3",\n0.9,1'
    (logs / "20260503T140211-undrilled.csv.part").write_text(text)
    with pty() as line:
        args = ["record", "--port", line.name, *UNIT, "--box-id", "B-07", "--setup", "undrilled",
                "--archive", str(tmp_path), "--for", "0.2", "--quiet"]  # fmt: skip
        assert run(args) == 0
    assert read_log(logs / "20260503T140211-undrilled.csv").reading.tolist() == [101.3]
    assert len(list(logs.glob("*.csv"))) == 2


@pytest.mark.parametrize(
    ("args", "code", "words"),
    [
        (["--port", "/dev/none", *UNIT, "--out", "{}/a.csv"], 4, "There is no port /dev/none"),
        (["--port", "/dev/none", *UNIT, "--out", "{}/taken.csv"], 2, "exists already"),
        (["--port", "/dev/none", "--out", "{}/a.csv"], 2, "what the gauge counts"),
        (["--port", "/dev/none", "--unit", "kPa", "--out", "{}/a.csv"], 2, "absolute, vacuum or gauge"),
        (["--port", "/dev/none", "--gauge", "{}/none.toml", "--out", "{}/a.csv"], 3, "no such gauge file"),
        (["--port", "/dev/none", *UNIT, "--gauge", "{}/g.toml", "--out", "{}/a.csv"], 2, "not both"),
        (["--port", "/dev/none", *UNIT], 2, "--out LOG.csv, or --archive DIR"),
        (["--port", "/dev/none", *UNIT, "--out", "{}/a.csv", "--archive", "{}"], 2, "--out LOG.csv, or --archive DIR"),
        (["--port", "/dev/none", *UNIT, "--archive", "{}"], 2, "--box-id and --setup"),
        ([*UNIT, "--out", "{}/a.csv"], 2, "boxhold gauges"),
        (["--port", "/dev/none", *UNIT, "--out", "{}/a.csv", "--setup", "vents-tapped"], 2, "no setup"),
        (["--port", "/dev/none", *UNIT, "--out", "{}/a.csv", "--sealed", "roof"], 2, "no leak path"),
        (["--port", "/dev/none", *UNIT, "--out", "{}/a.csv", "--set", "room_C"], 2, "KEY=VALUE"),
        (["--port", "/dev/none", *UNIT, "--out", "{}/a.csv", "--set", "gauge=gauge kPa"], 2, "with --unit or --gauge"),
        (["--port", "/dev/none", *UNIT, "--out", "{}/a.csv", "--box-id", "../x"], 2, "no box name"),
        (["--port", "/dev/none", *UNIT, "--out", "/proc/a.csv"], 4, "/proc takes no new files"),
        (["--port", "/dev/none", *UNIT, "--out", "{}/a.csv", "--baud", "3"], 2, "no speed"),
        (["--port", "/dev/none", *UNIT, "--out", "{}/a.csv", "--for", "0"], 2, "--for"),
        (["--port", "ftp://x", *UNIT, "--out", "{}/a.csv"], 2, "no address of a port"),
    ],
)
def test_what_does_not_fit_is_one_sentence_and_its_exit_code(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], args: list[str], code: int, words: str
) -> None:
    (tmp_path / "taken.csv").write_text("mine")
    assert run(["record", *(a.replace("{}", str(tmp_path)) for a in args), "--quiet"]) == code
    captured = capsys.readouterr()
    assert words in captured.err
    assert captured.out == ""
    assert len(captured.err.strip().splitlines()) == 1
    assert "Traceback" not in captured.err
    assert os.listdir(tmp_path) == ["taken.csv"]
    assert (tmp_path / "taken.csv").read_text() == "mine"


def test_a_recorder_starts_without_the_heavy_libraries() -> None:
    env = {**os.environ, "PYTHONPROFILEIMPORTTIME": "1"}
    args = [*COMMAND, "record", "--port", "/dev/none", *UNIT, "--out", "/nowhere/a.csv", "--quiet"]
    done = subprocess.run(args, capture_output=True, text=True, env=env, check=False)
    loaded = {line.split("|")[-1].strip().partition(".")[0] for line in done.stderr.splitlines() if "|" in line}
    assert done.returncode == 4
    assert {"serial", "click", "numpy"} <= loaded
    assert not loaded & {"scipy", "pandas", "plotly", "dash", "sqlalchemy", "flask", "rich", "minimalmodbus"}


def test_a_log_played_again_gives_the_same_log(tmp_path: Path) -> None:
    source, out = tmp_path / "source.csv", tmp_path / "again.csv"
    times = [0.0, 1.0, 2.5, 4.0, 5.0]
    lines = ["101.30 kPa", "90.10 kPa", "OL", "80.00 kPa", "79.95 kPa"]
    body = "".join(f'{t:.3f},{x.split()[0] if "kPa" in x else ""},"{x}"\n' for t, x in zip(times, lines, strict=True))
    source.write_text("# boxhold log: 1\n# gauge: absolute kPa\nelapsed_s,reading,raw\n" + body)
    args = [*COMMAND, "replay", str(source), "--speed", "2"]
    with subprocess.Popen(args, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as player:
        assert player.stdout is not None
        address = player.stdout.readline().strip()
        with recorder(address, out) as process:
            wait_until(lambda: rows(out) >= 5)
            process.send_signal(signal.SIGTERM)
            process.communicate(timeout=10)
        player.terminate()
        player.communicate(timeout=10)
    log = read_log(out)
    assert log.raw[:5] == tuple(lines)
    assert log.header.extra["replayed"] == "source.csv"
    assert log.header.extra["replay_speed"] == "2"
    spread = log.elapsed_s[1:5] - log.elapsed_s[0]
    assert spread == pytest.approx([1.0, 2.5, 4.0, 5.0], abs=1.0)  # half a second of ours


def test_a_simulated_gauge_is_marked_as_such_and_may_stand_on_a_socket(tmp_path: Path) -> None:
    out = tmp_path / "made.csv"
    args = [*COMMAND, "replay", "--simulate", "speed=20,interval_s=1", "--tcp", "0"]
    with subprocess.Popen(args, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as player:
        assert player.stdout is not None
        address = player.stdout.readline().strip()
        assert address.startswith("socket://127.0.0.1:")
        with recorder(address, out) as process:
            wait_until(lambda: rows(out) >= 25)
            process.send_signal(signal.SIGTERM)
            process.communicate(timeout=10)
        player.terminate()
        player.communicate(timeout=10)
    log = read_log(out)
    assert log.header.extra["simulated"] == "yes"
    assert 100.0 < log.reading[0] < 103.0


@pytest.mark.parametrize(
    ("args", "code", "words"),
    [
        ([], 2, "Give a log to play"),
        (["{}/none.csv"], 3, "no such file"),
        (["--simulate", "colour=red"], 2, "no 'colour'"),
        (["--simulate", "leak_mm2=big"], 2, "not a number"),
    ],
)
def test_what_cannot_be_played_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], args: list[str], code: int, words: str
) -> None:
    assert run(["replay", *(a.replace("{}", str(tmp_path)) for a in args)]) == code
    assert words in capsys.readouterr().err


def test_a_gauge_is_found_and_its_file_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "gauge.toml"
    args = ["gauges", "--port", "simulated:interval_s=0.1", "--seconds", "0.8", "--out", str(out)]
    assert run(args) == 0
    shown = capsys.readouterr().out
    assert "kPa" in shown
    assert "no unit is assumed" in shown
    assert not out.exists()
    assert run([*args, "--unit", "absolute mbar", "--yes"]) == 2
    assert "The lines name kPa" in capsys.readouterr().err
    assert run([*args, "--unit", "absolute kPa", "--yes"]) == 0
    spec = read_gauge_file(out)
    assert (str(spec.unit), spec.resolution, spec.port.baud) == ("absolute kPa", 0.01, 9600)
    assert run([*args, "--unit", "absolute kPa", "--yes"]) == 2  # never written over


def test_a_port_where_nothing_speaks_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    with pty() as line:
        assert run(["gauges", "--port", line.name, "--baud", "9600", "--seconds", "0.2"]) == 4
    captured = capsys.readouterr()
    assert "nothing heard" in captured.out
    assert "--ask" in captured.err


def test_readings_by_eye_become_a_log(tmp_path: Path) -> None:
    out = tmp_path / "hand.csv"
    hold = "".join(f"{21 - i * 0.25} 0:{5 * i:02d}\n" for i in range(1, 11))
    typed = f"0\npump\n21 1:00\nshut\n{hold}what\ndone\n"
    args = [*COMMAND, "record", "--manual", "--unit", "vacuum inHg", "--set", "resolution=0.25", "--out", str(out)]
    done = subprocess.run(args, input=typed, capture_output=True, text=True, check=False)
    assert done.returncode == 0
    assert done.stdout.strip() == str(out)
    assert "'what' is neither a reading nor a word" in done.stderr
    log = read_log(out)
    assert log.reading.tolist() == [0.0, 21.0, *(21 - i * 0.25 for i in range(1, 11))]
    assert log.note[1:3] == ("pump-down", "hold")
    assert log.header.extra["by_hand"] == "yes"
    assert log.header.resolution == 0.25


@pytest.mark.parametrize("entries", ["0\npump\n21 1:00\n", ""])
def test_a_log_by_hand_that_was_cut_off_is_closed_by_the_next(tmp_path: Path, entries: str) -> None:
    out = tmp_path / "hand.csv"
    args = [*COMMAND, "record", "--manual", "--unit", "vacuum inHg", "--out", str(out)]
    pipe = subprocess.PIPE
    first = subprocess.Popen(args, stdin=pipe, stdout=pipe, stderr=pipe, text=True)
    assert first.stdin is not None
    first.stdin.write(entries)
    first.stdin.flush()
    part = tmp_path / "hand.csv.part"
    # The mark has a row of its own until the reading after it comes.
    wait_until(lambda: part.exists() and np.isfinite(read_log(part).reading).sum() == entries.count("1:00") * 2)
    first.kill()
    first.communicate()
    done = subprocess.run(args, input="0\npump\n20 1:00\ndone\n", capture_output=True, text=True, check=False)
    assert done.returncode == 0
    assert "cut off is closed as" in done.stderr
    assert read_log(out).reading.tolist() == [0.0, 20.0]
    assert read_log(tmp_path / "hand-2.csv").reading.tolist() == ([0.0, 21.0] if entries else [])
