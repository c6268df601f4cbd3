"""What a commissioned mat can hold, from the file that commissioning has left: on the standard library alone.

`commissioned.py` reads all of it and needs the analysis libraries for that. This much is for the digest, which is made
without them.
"""

from __future__ import annotations

import json
from pathlib import Path

from matwarden.core.tonight import Holds

__all__ = ["holds_of"]


def holds_of(directory: Path, enclosure: str) -> Holds | None:
    """Of a tub's newest commissioning; None: there is none, it cannot be read, or it did not find out.

    Args:
        directory: of the record.
    """
    found = sorted((directory / "commissioned" / enclosure).glob("*Z/tub.json"))
    if not found:
        return None
    try:
        document = json.loads(found[-1].read_text(encoding="utf-8"))
        room = document["findings"]["coldest_room"]
        return Holds(float(document["band_c"][0]), float(room["low"]), float(room["high"]))
    except (KeyError, OSError, TypeError, ValueError, IndexError):
        # Whoever judges what became of the tub says that its file is damaged; here there is only less to tell.
        return None
