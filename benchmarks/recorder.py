"""What the recorder must reach: lines a second, memory, start, kills, cable pulls, fuzzed lines.

    python benchmarks/recorder.py            everything, about three minutes
    python benchmarks/recorder.py --quick    a tenth of each

How soon a person sees a line on the page: ``benchmarks/to_page.py``.

Every figure is measured on the installed command over a real pseudo-terminal.
"""

from __future__ import annotations

import argparse
import os
import random
import resource
import select
import signal
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import tty
from collections.abc import Callable
from pathlib import Path

from acquisition.framing import LineFramer
from acquisition.gaugefile import GaugeSpec
from acquisition.lineforms import LineReader, LineSpec
from acquisition.live import LiveRecording, Wanted
from acquisition.logfile import read_log
from acquisition.records import LogHeader
from acquisition.units import GaugeUnit

BOXHOLD = [sys.executable, "-c", "import sys; from dashboard.cli import main; sys.argv[0] = 'boxhold'; main()"]
UNIT = "absolute kPa"


class Line:
    """A pseudo-terminal; the gauge's end is ours, the other is open only while a recorder listens."""

    def __init__(self) -> None:
        self.far, near = os.openpty()
        tty.setraw(self.far)
        tty.setraw(near)
        self.name = os.ttyname(near)
        os.close(near)

    def send(self, data: bytes) -> None:
        """Send bytes; waits while the line is full."""
        while data:
            data = data[os.write(self.far, data) :]

    def await_listener(self) -> None:
        """Wait until somebody has the other end open and has thrown away what waited there."""
        poll = select.poll()
        poll.register(self.far, select.POLLOUT)
        while any(event & select.POLLHUP for _, event in poll.poll(0)):
            time.sleep(0.005)
        time.sleep(0.05)

    def close(self) -> None:
        """Pull the cable."""
        os.close(self.far)


def start(port: str, out: Path, *more: str) -> subprocess.Popen[bytes]:
    """Start a recorder and wait until it listens."""
    args = [*BOXHOLD, "record", "--port", port, "--unit", UNIT, "--out", str(out), "--quiet", *more]
    process = subprocess.Popen(args, stdin=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    part = out.with_name(out.name + ".part")
    while not part.exists() and process.poll() is None:
        time.sleep(0.002)
    return process


def rss_kb(pid: int) -> int:
    """Resident memory of a process, kB."""
    return next(int(row.split()[1]) for row in Path(f"/proc/{pid}/status").read_text().splitlines() if "VmRSS" in row)


def throughput(folder: Path, seconds: float) -> str:
    """1,000 lines of 20 bytes a second for some time; none lost."""
    line, out = Line(), folder / "fast.csv"
    process = start(line.name, out)
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    memory, sent, begin = [], 0, time.monotonic()
    while (now := time.monotonic() - begin) < seconds:
        due = int(now * 1000)
        line.send(b"".join(b"P%010d %7.3f\n" % (i, 101.0 + i % 100 / 1000) for i in range(sent, due)))
        sent = max(sent, due)
        if len(memory) < now:
            memory.append(rss_kb(process.pid))
        time.sleep(0.005)
    time.sleep(0.5)
    process.send_signal(signal.SIGTERM)
    code = process.wait()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    raw = read_log(out).raw
    lost = sent - len({text for text in raw if len(text) == 19})
    line.close()
    third = memory[len(memory) // 3]
    return (
        f"{sent} lines in {seconds:.0f} s, {lost} lost, exit {code}, {100 * cpu_s / seconds:.1f} % of one core "
        f"(start and end included), memory {third / 1024:.1f} MB after a third, {memory[-1] / 1024:.1f} MB at the end"
    )


def to_the_page(folder: Path, seconds: float) -> str:
    """10 lines a second: from the byte at the port to where a page asks, at 5 Hz as a page does."""
    line, gauge = Line(), GaugeSpec(GaugeUnit("absolute", "kPa"))
    live = LiveRecording.start(Wanted(line.name, gauge, folder / "page.csv", LogHeader(gauge.unit)))
    sent: list[float] = []
    seen: list[float] = []
    begin = time.monotonic()
    while (now := time.monotonic()) - begin < seconds:
        if len(sent) < int((now - begin) * 10):
            sent.append(now)
            line.send(b"101.3\n")
        if int(now * 1000) % 200 < 3:
            seen += [now] * (live.since(0).n - len(seen))
        time.sleep(0.002)
    live.stop()
    line.close()
    waits = [b - a for a, b in zip(sent, seen, strict=False)]
    return f"median {statistics.median(waits):.3f} s, longest {max(waits):.3f} s of {len(waits)} readings"


def start_up(folder: Path, times: int) -> str:
    """From the command to the log being there, ready to hear."""
    line, spent = Line(), []
    for i in range(times):
        begin = time.monotonic()
        process = start(line.name, folder / f"start{i}.csv")
        spent.append(time.monotonic() - begin)
        process.send_signal(signal.SIGTERM)
        process.wait()
    line.close()
    return f"median {statistics.median(spent):.3f} s, longest {max(spent):.3f} s of {times}"


def kills(folder: Path, times: int, draw: random.Random) -> str:
    """Random kill -9; every line sent a second or more before it must be in the log."""
    worst_s, lost = 0.0, 0
    for i in range(times):
        line, out = Line(), folder / f"kill{i}.csv"
        process = start(line.name, out)
        sent, begin, until = [], time.monotonic(), draw.uniform(0.05, 1.6)
        while time.monotonic() - begin < until:
            line.send(b"%.3f\n" % (100 + len(sent) * 1e-3))
            sent.append(time.monotonic())
            time.sleep(0.005)
        process.kill()
        process.wait()
        killed = time.monotonic()
        kept = len(read_log(out.with_name(out.name + ".part")).raw)
        line.close()
        if kept < len(sent):
            worst_s = max(worst_s, killed - sent[kept])
            lost += killed - sent[kept] > 1.0
    return f"{times} kills, {lost} lost more than the last second; the oldest line missing was {worst_s:.3f} s old"


def pulls(folder: Path, times: int, draw: random.Random) -> str:
    """Random cable pulls under one recording; every whole line sent must be in the log."""
    link, out = folder / "gauge", folder / "pull.csv"
    line = Line()
    link.symlink_to(line.name)
    process = start(str(link), out)
    sent: list[bytes] = []
    for _ in range(times):
        for _ in range(draw.randrange(5, 30)):
            sent.append(b"%.3f kPa" % (100 + len(sent) * 1e-3))
            line.send(sent[-1] + b"\r\n")
            time.sleep(0.004)
        time.sleep(0.06)  # let the last whole line arrive; what is under way in the cable is lost with it
        line.send(b"10")
        line.close()
        line = Line()
        link.unlink()
        link.symlink_to(line.name)
        line.await_listener()
    process.send_signal(signal.SIGTERM)
    code = process.wait()
    log = read_log(out)
    kept = set(log.raw)
    missing = sum(text.decode() not in kept for text in sent)
    gaps = sum(note == "gauge lost" for note in log.note)
    false = sum(reading == reading and text not in {s.decode() for s in sent} for reading, text in zip(
        log.reading.tolist(), log.raw, strict=True))  # fmt: skip
    line.close()
    return (
        f"{times} pulls, {len(sent)} lines sent, {missing} missing, {gaps} gaps marked, {false} false readings, "
        f"exit {code}"
    )


def fuzz(count: int, draw: random.Random) -> str:
    """Fuzzed lines through the framer and six kinds of reader: no crash, no reading its pattern or checksum denies."""
    kpa = GaugeUnit("absolute", "kPa")
    specs = {
        "plain": LineSpec(), "pattern": LineSpec(pattern="P={reading} {unit}"), "json": LineSpec(json="p"),
        "list": LineSpec(separator=",", field=2, fields=3), "comma": LineSpec(decimal=","),
        "checksum": LineSpec(pattern="P,{reading}$", checksum="xor"),
    }  # fmt: skip
    readers = {name: LineReader(spec, kpa) for name, spec in specs.items()}
    framer, lines, false, readings, begin = LineFramer(), 0, 0, 0, time.monotonic()
    while lines < count:
        stream = b"".join(_fuzzed(draw) for _ in range(200))
        for heard in framer.feed(stream, time.monotonic()):
            lines += 1
            for name, reader in readers.items():
                value = reader.read(heard.raw).value
                readings += value is not None
                false += value is not None and not _holds(name, heard.raw, value)
    spent = time.monotonic() - begin
    return f"{lines} lines through {len(readers)} readers, no crash, {readings} readings, {false} false, {spent:.0f} s"


SEEDS = (b"101.30 kPa", b"85.31", b"-85.31 kPa", b"P=+0101.325 kPa T=+23.4", b'{"p":101.3,"u":"kPa"}',
         b"12.345,101.20,23.41", b"$P,101.30*61", b"9.9E37", b"nan", b"OL", b"641,20", b"1.013.250")  # fmt: skip


def _fuzzed(draw: random.Random) -> bytes:
    """One good line with bytes dropped, doubled, changed or put in, and an ending of any kind."""
    line = bytearray(draw.choice(SEEDS))
    for _ in range(draw.choice((0, 1, 1, 2, 4))):
        at = draw.randrange(len(line) + 1)
        kind = draw.randrange(4)
        if kind == 0:
            del line[at : at + 1]
        elif kind == 1:
            line[at:at] = line[at : at + draw.randrange(1, 5)]
        else:
            line[at : at + kind - 2] = bytes([draw.choice((0, 0xFF, draw.randrange(256)))])
    return bytes(line) + draw.choice((b"\r\n", b"\n", b"\r", b"\r\n\r\n", b"", b"\x00\n"))


def _holds(name: str, raw: bytes, value: float) -> bool:
    """Whether a reading is what its line says, by plain means of its own: no code of the readers is used."""
    import json
    import math
    import re

    text = raw.strip(b" \t").decode("latin-1")
    if not math.isfinite(value) or abs(value) > 4000 or re.search("[\0-\x08\x0a-\x1f\x7f\xff]", text):
        return False
    body = re.sub(r"\s*kpa(\s*\(?\s*(a|abs|absolute)\s*\)?)?$", "", text, flags=re.I)
    checks: dict[str, Callable[[], bool]] = {
        "plain": lambda: float(body.replace(" ", "")) == value and "," not in body,
        "comma": lambda: "." not in body and float(body.replace(" ", "").replace(",", ".")) == value,
        "pattern": lambda: any(_same(m, value) for m in re.findall(r"P=([^kKP]*?)\s*[kK]", text)),
        "json": lambda: json.loads(text)["p"] == value,
        "list": lambda: text.count(",") == 2 and _same(text.split(",")[1], value),
        "checksum": lambda: _xor_holds(text) and _same(text[text.rindex("P,") + 2 : -3], value),
    }
    try:
        return checks[name]()
    except (ValueError, KeyError, IndexError):
        return False


def _same(text: str, value: float) -> bool:
    try:
        return float(text.replace(" ", "")) == value
    except ValueError:
        return False


def _xor_holds(text: str) -> bool:
    body, _, total = text.removeprefix("$").rpartition("*")
    xor = 0
    for char in body:
        xor ^= ord(char)
    return int(total, 16) == xor


def main() -> None:
    """Run what is asked for and print one line each."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--only", choices=["throughput", "start", "page", "kills", "pulls", "fuzz"])
    given = parser.parse_args()
    share = 0.1 if given.quick else 1.0
    draw = random.Random(20260503)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        parts: dict[str, Callable[[], str]] = {
            "start": lambda: start_up(folder, max(3, int(20 * share))),
            "throughput": lambda: throughput(folder, 60 * share),
            "page": lambda: to_the_page(folder, 30 * share),
            "kills": lambda: kills(folder, int(100 * share), draw),
            "pulls": lambda: pulls(folder, int(100 * share), draw),
            "fuzz": lambda: fuzz(int(1_000_000 * share), draw),
        }
        for part, run in parts.items():
            if given.only in (None, part):
                print(f"{part}: {run()}", flush=True)


if __name__ == "__main__":
    assert threading.current_thread() is threading.main_thread()
    main()
