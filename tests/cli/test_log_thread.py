"""The log's thread: in order, never in the way, and honest about what it dropped. Real pipes."""

from __future__ import annotations

import logging
import os
from collections.abc import Iterator

import pytest

from helpers_process import full_pipe
from matwarden.log_thread import BOUND, LogThread, logged_to


@pytest.fixture
def pipe() -> Iterator[tuple[int, int]]:
    reading, writing = full_pipe()
    yield reading, writing
    os.close(writing)


def _record(text: str) -> logging.LogRecord:
    return logging.LogRecord("matwarden", logging.INFO, "", 0, text, (), None)


def test_lines_come_in_order_and_are_all_written_at_the_end() -> None:
    """What was logged is there when `finish` returns, errors with their traceback."""
    reading, writing = os.pipe()
    with os.fdopen(reading) as reader:
        handler = LogThread(writing)
        for number in range(100):
            handler.handle(_record(f"line {number}"))
        try:
            raise ValueError("a bug")
        except ValueError as error:
            info = (type(error), error, error.__traceback__)
        handler.handle(logging.LogRecord("matwarden", logging.ERROR, "", 0, "internal error", (), info))
        assert handler.finish(30.0)
        os.close(writing)
        lines = reader.read().splitlines()
    assert lines[:100] == [f"INFO line {number}" for number in range(100)]
    assert lines[100] == "ERROR internal error"
    assert lines[-1] == "ValueError: a bug"


def test_with_a_full_pipe_logging_and_the_end_return(pipe: tuple[int, int]) -> None:
    """Nobody reads: a thousand lines more than may wait are taken at once, and `finish` gives up in time."""
    reading, writing = pipe
    handler = LogThread(writing)
    for number in range(2 * BOUND):
        handler.handle(_record(f"line {number}"))
    assert not handler.finish(0.1)
    os.close(reading)
    assert handler.finish(30.0)


def test_dropped_lines_are_counted_once_somebody_reads_again(pipe: tuple[int, int]) -> None:
    """The log says how many are missing, and each line is written once or counted."""
    reading, writing = pipe
    handler = LogThread(writing)
    for number in range(2 * BOUND):
        handler.handle(_record(f"line {number}"))
    with os.fdopen(reading) as reader:
        first, told = reader.readline(), reader.readline()
        assert told.startswith("WARNING ")
        assert "lines of this log were dropped" in told
        kept = [first.strip("x"), *(reader.readline() for _ in range(2 * BOUND - 1 - int(told.split()[1])))]
        assert handler.finish(30.0)
    numbers = [int(line.removeprefix("INFO line ")) for line in kept]
    assert numbers == sorted(set(numbers))
    assert BOUND <= len(numbers) <= BOUND + 1


def test_a_reader_that_is_gone_is_no_error(pipe: tuple[int, int]) -> None:
    """EPIPE on every line: nothing is raised, nothing hangs."""
    reading, writing = pipe
    os.close(reading)
    handler = LogThread(writing)
    handler.handle(_record("to nobody"))
    assert handler.finish(30.0)


def test_a_line_with_wrong_arguments_is_still_told() -> None:
    """A mistake in a log call is told in the log, and is no error for whoever logs."""
    reading, writing = os.pipe()
    with os.fdopen(reading) as reader:
        handler = LogThread(writing)
        handler.handle(logging.LogRecord("matwarden", logging.INFO, "", 0, "%d tubs", ("four",), None))
        handler.finish(30.0)
        os.close(writing)
        assert "a line of the log cannot be made: '%d tubs'" in reader.read()


def test_a_stream_is_written_to_only_meanwhile() -> None:
    """What is logged after the end of `logged_to` does not come to the stream, and what was logged before has."""
    reading, writing = os.pipe()
    log = logging.getLogger("matwarden.test")
    with os.fdopen(reading) as reader, os.fdopen(writing, "w") as stream:
        with logged_to(stream):
            log.info("within")
        log.info("after")
        stream.close()
        assert reader.read() == "INFO within\n"
