"""Which tub a drill is made on: the commissioned one; the file's own where it is a simulation; or a stock tub."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

from matwarden.commissioned_holds import COMMISSIONED, FOUND
from matwarden.core.units import difference_text
from matwarden.drill_settings import fitted_twin, stock_twin
from matwarden.report.units import date_text
from matwarden.settings.resolved import FittedTwin, Settings, Twin
from matwarden.terms import Enclosure

if TYPE_CHECKING:
    from matwarden.commissioned import Commissioned

__all__ = ["DrillTub", "DrillTubError", "drill_tub"]

_NEEDS = "drills on your own tub, which was commissioned, need matwarden[analysis]: pip install 'matwarden[analysis]'"
_Z = 1.645


class DrillTubError(Exception):
    """What is kept of the tub cannot be used, in words."""


class DrillTub(NamedTuple):
    """A tub to be simulated.

    Attributes:
        told: what it is, for a person. own: it is this very tub.
        usual_room_c: of its record; None: not known.
        made: the tub at the start, in a room of so many degrees.
        ends: the same at both ends of what is known of it; none where nothing is estimated.
    """

    told: str
    own: bool
    usual_room_c: float | None
    made: Callable[[float], Twin | FittedTwin]
    ends: Callable[[float], tuple[FittedTwin, ...]]


def drill_tub(settings: Settings, enclosure: Enclosure) -> DrillTub:
    """What is known of this tub.

    Raises:
        DrillTubError: it was commissioned, and what is kept of it cannot be read; or numpy and scipy are not there.
    """
    if enclosure.mat is not None and any((settings.store.directory / COMMISSIONED / enclosure.id).glob(f"*Z/{FOUND}")):
        try:
            from matwarden.commissioned import CommissionedError, latest
        except ModuleNotFoundError as error:
            raise DrillTubError(_NEEDS) from error
        try:
            kept = latest(settings.store.directory, enclosure.id)
        except CommissionedError as error:
            raise DrillTubError(str(error)) from error
        if kept is not None:
            return _commissioned(settings, enclosure, kept)
    simulated = () if settings.simulation is None else settings.simulation.twins
    named = next((twin for twin in simulated if twin.enclosure == enclosure.id), None)
    if named is not None:
        return DrillTub("the one that these settings simulate", True, None, lambda room_c: named, lambda room_c: ())
    stock = stock_twin(enclosure)
    what = "" if enclosure.mat is None else f" with a mat of {stock.mat_w:g} W"
    advice = "" if enclosure.mat is None else f" For your own: matwarden commission {enclosure.id}."
    told = (
        f"NOT YOURS: a made-up tub of six litres{what}. Times and temperatures are only of the kind you would see."
        f"{advice}"
    )
    return DrillTub(told, False, None, lambda room_c: stock, lambda room_c: ())


def _commissioned(settings: Settings, enclosure: Enclosure, kept: Commissioned) -> DrillTub:
    from matwarden.analysis.network import steady

    network = kept.found.network
    zone = ZoneInfo(settings.zone)
    day = date_text(datetime.fromtimestamp(kept.made_wall_s, UTC).astimezone(zone).date())
    rise = kept.findings.rise_wall
    sure = ""
    if rise.value is not None and rise.low is not None and rise.high is not None:
        texts = [difference_text(each, settings.unit) for each in (rise.value, rise.low, rise.high)]
        sure = f": {texts[0]} ({texts[1]} to {texts[2]}) at the wall over the room at full heat"
    nodes = "1 node" if network.shape.order == 1 else f"{network.shape.order} nodes"
    told = f"yours, as commissioned on {day}{sure}; {nodes}, off by {kept.rms_k[1]:.2f} K inside"

    def made(room_c: float) -> FittedTwin:
        return _at(enclosure, kept, network, room_c, 0.0)

    def ends(room_c: float) -> tuple[FittedTwin, ...]:
        from matwarden.analysis.consequences import STRUCTURE, draws

        rising = sorted(draws(kept.found), key=lambda each: float(steady(each, 1.0)[0]))
        low, high = rising[round(0.05 * (len(rising) - 1))], rising[round(0.95 * (len(rising) - 1))]
        # What no network of this kind gets right is put on top, as mat.
        more = _Z * STRUCTURE["K"]
        return _at(enclosure, kept, low, room_c, -more), _at(enclosure, kept, high, room_c, more)

    return DrillTub(told, True, kept.rooms.usual_c, made, ends)


def _at(enclosure: Enclosure, kept: Commissioned, network: object, room_c: float, more: float) -> FittedTwin:
    """The tub in the rhythm that its settings hold it to in such a room. `more`: part by which its mat is stronger."""
    from dataclasses import replace

    from matwarden.analysis.control import share_for
    from matwarden.analysis.network import WALL, Network, steady

    assert isinstance(network, Network)
    assert enclosure.mat is not None
    network = replace(network, power_w=network.power_w * (1.0 + more))
    node = WALL if kept.control.by_wall else network.shape.inside
    offset_k = network.wall_offset_k if node == WALL else network.inside_offset_k
    share = share_for(network, node, enclosure.mat.setpoint_c - offset_k - room_c)
    share = max(
        0.0, min(1.0, share, share_for(network, WALL, enclosure.mat.limiter_c - network.wall_offset_k - room_c))
    )
    nodes_c = tuple(room_c + float(over_k) for over_k in steady(network, share))
    return fitted_twin(enclosure, network, nodes_c, share)
