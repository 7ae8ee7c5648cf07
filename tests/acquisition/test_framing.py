"""Lines out of bytes: every fault of a stream that serial gauges are known for."""

from __future__ import annotations

import random

import pytest

from acquisition.framing import HeardLine, LineFramer, Whole


def heard(framer: LineFramer, *pieces: bytes) -> list[bytes]:
    return [line.raw for i, piece in enumerate(pieces) for line in framer.feed(piece, i * 0.01)]


@pytest.mark.parametrize("ending", [b"\r", b"\n", b"\r\n", b"\n\r", b"\r\r\n", b"\r\n\r\n", b"\n\n"])
def test_every_ending_ends_one_line(ending: bytes) -> None:
    assert heard(LineFramer(), b"101.3" + ending + b"101.2" + ending) == [b"101.3", b"101.2"]


def test_endings_may_be_mixed_in_one_stream() -> None:
    assert heard(LineFramer(), b"1\r2\n3\r\n4\r\n\r\n5\n") == [b"1", b"2", b"3", b"4", b"5"]


@pytest.mark.parametrize("seed", range(20))
def test_pieces_cut_anywhere_give_the_same_lines(seed: int) -> None:
    draw = random.Random(seed)
    wanted = [f"{draw.uniform(0, 200):.3f} kPa".encode() for _ in range(50)]
    stream = b"".join(line + draw.choice([b"\r", b"\n", b"\r\n", b"\r\n\r\n"]) for line in wanted)
    cuts = sorted(draw.sample(range(len(stream)), 40))
    pieces = [stream[a:b] for a, b in zip([0, *cuts], [*cuts, len(stream)], strict=True)]
    assert heard(LineFramer(), *pieces) == wanted


def test_only_the_first_line_is_in_doubt() -> None:
    lines = LineFramer().feed(b"5.31\r\n85.31\r\n", 0.0)
    assert [(line.raw, line.whole) for line in lines] == [(b"5.31", Whole.FIRST), (b"85.31", Whole.WHOLE)]


def test_a_stream_that_begins_with_an_ending_has_no_line_in_doubt() -> None:
    assert LineFramer().feed(b"\n85.31\r\n", 0.0) == [HeardLine(0.0, b"85.31", Whole.WHOLE)]


def test_half_a_line_is_never_handed_out_as_whole() -> None:
    framer = LineFramer(pause_s=0.5)
    framer.feed(b"101.3\r\n", 0.0)
    assert framer.feed(b"10", 0.1) == []
    assert framer.tick(0.5) == []
    assert [(line.raw, line.whole) for line in framer.tick(0.7)] == [(b"10", Whole.CUT)]
    assert [(line.raw, line.whole) for line in framer.feed(b"99.8\r\n101.2\r\n", 3.0)] == [
        (b"99.8", Whole.TAIL), (b"101.2", Whole.WHOLE)]  # fmt: skip


def test_a_pause_shorter_than_the_limit_does_not_tear_a_line() -> None:
    framer = LineFramer(pause_s=0.5)
    framer.feed(b"10", 0.0)
    assert [line.raw for line in framer.feed(b"1.3\n", 0.4)] == [b"101.3"]


def test_a_gauge_without_line_endings_is_cut_by_its_pauses() -> None:
    framer = LineFramer(pause_s=0.1, pause_ends=True)
    framer.expect_whole()
    assert framer.feed(b"853.1", 0.0) == []
    assert framer.tick(0.2) == [HeardLine(0.2, b"853.1", Whole.WHOLE)]


def test_an_endless_line_is_cut_and_stays_bounded() -> None:
    framer = LineFramer(most_bytes=64)
    lines = [line for i in range(1000) for line in framer.feed(b"1234567890", i * 0.001)]
    assert sum(len(line.raw) for line in lines) + len(framer.pending) == 10_000
    assert len(framer.pending) <= 64
    assert {line.whole for line in lines} == {Whole.CUT, Whole.TAIL}
    after = framer.feed(b"\r\n101.3\r\n", 1.0)
    assert (after[-1].raw, after[-1].whole) == (b"101.3", Whole.WHOLE)


def test_noise_at_power_up_is_kept_with_the_line_it_came_in() -> None:
    assert heard(LineFramer(), b"\xff\xff\xff\x00\xff101.3\r\n101.2\r\n") == [b"\xff\xff\xff\x00\xff101.3", b"101.2"]


def test_lines_of_one_gulp_are_spread_over_the_time_since_the_last() -> None:
    lines = LineFramer().feed(b"101.3\r\n101.2\r\n", 2.0, since_s=1.0)
    assert [line.t_s for line in lines] == [1.5, 2.0]


def test_what_is_unfinished_at_the_end_is_told() -> None:
    framer = LineFramer()
    framer.feed(b"101.3\r\n101.", 0.0)
    assert [(line.raw, line.whole) for line in framer.finish(1.0)] == [(b"101.", Whole.CUT)]
