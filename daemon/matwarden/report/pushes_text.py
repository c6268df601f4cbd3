"""What `matwarden pushes` prints: each push, and what became of it at each target."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from zoneinfo import ZoneInfo

from matwarden.core.units import duration_text, rfc3339_z
from matwarden.report.units import local_day_and_clock
from matwarden.sinks.outbox_read import Delivery, KeptPush
from matwarden.sinks.push_terms import PushTarget

__all__ = ["push_document", "pushes_text"]


def pushes_text(pushes: Sequence[KeptPush], targets: Sequence[PushTarget], zone: ZoneInfo) -> str:
    """The pushes, one after the other. `targets`: those of the settings, for what was not tried yet."""
    if not pushes:
        return "No push was ever asked."
    return "\n".join(line for push in pushes for line in _lines(push, targets, zone))


def push_document(push: KeptPush, targets: Sequence[PushTarget]) -> dict[str, Any]:
    """The same for scripts. `state` is `delivered`, `given-up` or `waiting`."""
    return {
        "key": push.key,
        "title": push.title,
        "body": push.body,
        "priority": push.priority.value,
        "recipients": push.recipients.value,
        "queued": rfc3339_z(push.queued_wall_s),
        "finished": push.finished,
        "targets": [_delivery_document(each) for each in _deliveries(push, targets)],
    }


def _deliveries(push: KeptPush, targets: Sequence[PushTarget]) -> list[Delivery]:
    known = {each.target for each in push.deliveries}
    untried = [
        Delivery(target.name, 0, None, None, None, None)
        for target in targets
        if not push.finished and target.name not in known and target.takes(push.priority, push.recipients)
    ]
    return [*push.deliveries, *untried]


def _lines(push: KeptPush, targets: Sequence[PushTarget], zone: ZoneInfo) -> list[str]:
    told = [f"  {each.target}: {_became(each, push, zone)}" for each in _deliveries(push, targets)]
    asked = local_day_and_clock(push.queued_wall_s, zone)
    return [f"{asked}  {push.priority.value:<6}  {push.title}", *(told or ["  for no target of the settings"])]


def _became(delivery: Delivery, push: KeptPush, zone: ZoneInfo) -> str:
    tries = "1 try" if delivery.tries == 1 else f"{delivery.tries} tries"
    why = f": {delivery.error}" if delivery.error else ""
    if delivery.delivered_wall_s is not None:
        when = local_day_and_clock(delivery.delivered_wall_s, zone)
        after = "" if delivery.took_s is None else f" after {duration_text(delivery.took_s)}"
        return f"delivered {when},{after} with {tries}" if after else f"delivered {when} with {tries}"
    if delivery.given_up_wall_s is not None:
        return f"given up {local_day_and_clock(delivery.given_up_wall_s, zone)} after {tries}{why}"
    if push.finished:
        return f"no longer tried, after {tries}{why}"
    return f"waits after {tries}{why}" if delivery.tries else "waits, not tried yet"


def _delivery_document(delivery: Delivery) -> dict[str, Any]:
    wall_s = delivery.delivered_wall_s or delivery.given_up_wall_s
    state = "delivered" if delivery.delivered_wall_s else "given-up" if delivery.given_up_wall_s else "waiting"
    return {
        "target": delivery.target,
        "state": state,
        "at": None if wall_s is None else rfc3339_z(wall_s),
        "tries": delivery.tries,
        "latency_s": delivery.took_s,
        "last_error": delivery.error,
    }
