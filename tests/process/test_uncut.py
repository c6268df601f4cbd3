"""A relay that is not known to be cut when the program ends is told: by the log and by the exit code."""

from __future__ import annotations

from pathlib import Path

from helpers_process import Daemon, shelf_text

_FAULT = '\n[[fault]]\nkind = "relay-readback-wrong"\nsubject = "oak"\nat_h = 0.0\n'


def test_a_line_that_does_not_read_back_as_cut_is_told_at_the_end(tmp_path: Path) -> None:
    """Of two mats it names the one, and does not say that every mat is cut."""
    daemon = Daemon(tmp_path, shelf_text("oak", "alder", more=_FAULT))
    try:
        daemon.until_answering()
        assert daemon.stop() == 3
    finally:
        daemon.kill()
    assert "oak: its line does not read back as cut. UNPLUG ITS MAT" in daemon.log
    assert "alder: its line" not in daemon.log
    assert "every mat is cut\n" not in daemon.log.replace("until its probes", "")
