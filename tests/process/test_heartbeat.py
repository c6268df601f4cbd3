"""The heartbeat of the real program, in a process of its own, against a real HTTP server on the loopback."""

from __future__ import annotations

import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from helpers_process import Daemon, eventually, shelf_text

SECRET = "s3cr3t-0a1b2c"


def test_a_station_at_work_is_felt_and_its_address_is_in_no_log(tmp_path: Path) -> None:
    """The address is asked for once the loop runs; neither log nor status shows it."""
    asked: list[str] = []

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_response(500)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *_: Any) -> None:
            """Nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, args=(0.05,))
    thread.start()
    url = tmp_path / "url"
    url.write_text(f"http://127.0.0.1:{server.server_address[1]}/{SECRET}\n", encoding="utf-8")
    url.chmod(0o600)
    daemon = Daemon(tmp_path, shelf_text(more='\n[heartbeat]\nurl_file = "url"\n'))
    try:
        eventually(lambda: asked == [f"/{SECRET}"], f"a heartbeat: {daemon.log}")
        eventually(lambda: "The heartbeat did not reach its address" in daemon.log, "the notice")
        daemon.until_answering()
        assert SECRET not in str(daemon.status())
        assert daemon.stop() == 0
        assert SECRET not in daemon.log
    finally:
        daemon.kill()
        server.shutdown()
        thread.join()
        server.server_close()
