"""A disk that was read-only at the start and can be written again: the record goes on without a restart."""

from __future__ import annotations

import errno
import subprocess
import sys
from pathlib import Path

import pytest

from faults.spoiler import NoCompilerError, Spoiler
from helpers_process import environment

# What a daemon does that was killed, so that the log lies beside the file.
_KILLED = """
import os, sys
from pathlib import Path
from matwarden.sinks.store_file import open_store
store = open_store(Path(sys.argv[1]), 1e9)
store.write(lambda c: c.execute("INSERT INTO memory (key, json) VALUES ('before', '1')"), 1e9)
os._exit(0)
"""
# And what the next one does on a disk that is made writable while it runs (a line on its input).
_NEXT = """
import sys
from pathlib import Path
from matwarden.sinks.store_file import open_store
from matwarden.sinks.store_schema import StoreError
store = open_store(Path(sys.argv[1]), 1e9)
print(sorted(store.remembered()), flush=True)
def write():
    try:
        store.write(lambda c: c.execute("INSERT INTO memory (key, json) VALUES ('after', '1')"), 1e9)
    except StoreError as error:
        return str(error)
    return "written"
print(write(), flush=True)
sys.stdin.readline()
print(write(), flush=True)
"""


def test_a_record_that_was_read_only_at_the_start_is_written_once_it_can_be(tmp_path: Path) -> None:
    """SQLite opens it for reading without a word; what is remembered is there, and writing begins when it goes."""
    data = tmp_path / "data"
    try:
        spoiler = Spoiler(tmp_path, data)
    except NoCompilerError:
        pytest.skip("needs a C compiler")
    subprocess.run([sys.executable, "-c", _KILLED, str(data)], check=True, env=environment())
    assert (data / "matwarden.db-wal").stat().st_size > 0
    spoiler.refuse(errno.EROFS)
    with subprocess.Popen(
        [sys.executable, "-c", _NEXT, str(data)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env={**environment(), **spoiler.environment},
    ) as running:
        assert running.stdin is not None
        assert running.stdout is not None
        remembered, refused = running.stdout.readline(), running.stdout.readline()
        spoiler.refuse(0)
        running.stdin.write("\n")
        running.stdin.flush()
        written = running.stdout.readline()
    assert remembered.strip() == "['before']"
    assert "read-only disk" in refused
    assert written.strip() == "written"
