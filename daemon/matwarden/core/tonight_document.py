"""The coming night as JSON-able values: degrees Celsius, RFC 3339 times in UTC. Pure."""

from __future__ import annotations

from typing import Any

from matwarden.core.tonight import Tonight
from matwarden.core.units import rfc3339_z

__all__ = ["tonight_document"]


def tonight_document(tonight: Tonight) -> dict[str, Any]:
    """For the digest's document."""
    return {
        "night": tonight.night,
        "from": rfc3339_z(tonight.from_wall_s),
        "until": rfc3339_z(tonight.until_wall_s),
        "places": [
            {
                "place": place.id,
                "name": place.name,
                **place.interval._asdict(),
                "held": place.record.held,
                "nights": place.record.nights,
                "told": place.record.earned,
            }
            for place in tonight.places
        ],
        "scored": [
            {
                "place": id,
                "night": each.night,
                **each.interval._asdict(),
                "came_c": round(each.came_c, 3),
                "held": each.held,
            }
            for id, each in tonight.scored
        ],
    }
