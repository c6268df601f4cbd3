"""Words for the guard's tests: what a probe says, a tub whose clock is jumped, and one example for each rule.

The tub is oak's: band 22.2-27.8 C (72-82 F, common practice, no source), setpoint 25.0 C, hysteresis 1.0 K.
"""

from __future__ import annotations

from typing import NamedTuple

from matwarden.core import guard
from matwarden.core.guard import GuardLimits, GuardMemory, Observation
from matwarden.terms import Quality, Reason, Seen, Verdict

LIMITS = GuardLimits(
    demand_on_c=24.5,
    demand_off_c=25.5,
    limiter_c=28.0,
    cut_out_c=30.0,
    differential_k=1.5,
    minimum_on_s=60.0,
    minimum_off_s=120.0,
    memory_s=600.0,
    prove_n=3,
    stale_s=30.0,
)


class Good(NamedTuple):
    """A good reading, by default long proven and just taken."""

    value_c: float
    run: int = 99
    age_s: float = 0.0


class Doubt(NamedTuple):
    """A doubtful reading."""

    value_c: float
    age_s: float = 0.0


# What one probe says: a number is a good reading, None is a missing one.
Said = float | Good | Doubt | None
Role = Said | list[Said]


def seen_by(said: Said, now_s: float) -> Seen:
    """One probe's word as the guard gets it."""
    match said:
        case None:
            return Seen(Quality.MISSING, None, now_s, 0, "no answer")
        case Doubt(value_c, age_s):
            return Seen(Quality.DOUBTFUL, value_c, now_s - age_s, 0, "changed too fast")
        case Good(value_c, run, age_s):
            return Seen(Quality.GOOD, value_c, now_s - age_s, run, "")
        case _:
            return Seen(Quality.GOOD, said, now_s, 99, "")


class Look(NamedTuple):
    """What is seen `after_s` later. An empty list is a role without probes; see `Said` for the rest."""

    wall: Role = 25.0
    air: Role = 25.0
    other: Role = []  # noqa: RUF012
    after_s: float = 1.0
    relay_agrees: bool = True

    def at(self, now_s: float) -> Observation:
        """The observation at an instant."""
        wall, air, other = (
            tuple(seen_by(said, now_s) for said in (role if isinstance(role, list) else [role]))
            for role in (self.wall, self.air, self.other)
        )
        return Observation(now_s, wall, air, other, self.relay_agrees)


COLD = Look(wall=26.0, air=24.0)
BETWEEN = Look(wall=26.0, air=25.0)
WARM = Look(wall=27.0, air=25.5)


class Tub:
    """A tub under guard. Its clock moves only when somebody looks."""

    def __init__(self, memory: GuardMemory | None = None, limits: GuardLimits = LIMITS, now_s: float = 0.0) -> None:
        self.now_s = now_s
        self.limits = limits
        self.memory = guard.start(now_s) if memory is None else memory

    def see(self, look: Look, after_s: float | None = None) -> Verdict:
        """Jump the clock, look, and hear the verdict."""
        self.now_s += look.after_s if after_s is None else after_s
        self.memory, verdict = guard.step(self.memory, look.at(self.now_s), self.limits)
        return verdict

    def reset(self, look: Look) -> str:
        """A person presses reset while this is seen; why it was refused, or nothing."""
        self.memory, refused = guard.reset(self.memory, look.at(self.now_s), self.limits)
        return refused

    def hold(self, for_s: float) -> None:
        """A person opens the lid."""
        self.memory = guard.hold(self.memory, self.now_s + for_s)


def heating(limits: GuardLimits = LIMITS) -> Tub:
    """A tub whose mat has just been allowed, proven and rested."""
    tub = Tub(limits=limits)
    assert tub.see(COLD, after_s=limits.minimum_off_s).allowed
    return tub


def tripped() -> Tub:
    """A tub whose mat ran away a second ago."""
    tub = heating()
    assert tub.see(Look(wall=30.0, air=24.0)) == Verdict(False, Reason.CUT_OUT)
    return tub


class Example(NamedTuple):
    """One rule at work: what is seen, in order, from a start, and the verdict on the last look.

    Attributes:
        over: the rule that holds at the same time and must lose, where the order can be seen.
    """

    rule: int
    over: int | None
    story: str
    looks: tuple[Look, ...]
    reason: Reason
    was_tripped: bool = False
    was_relay_fault: bool = False
    heated_s: float | None = None
    hold_until_s: float | None = None

    def verdict(self) -> Verdict:
        """Play the story from the start."""
        memory = guard.start(
            0.0,
            tripped=self.was_tripped,
            relay_fault=self.was_relay_fault,
            heated_s=self.heated_s,
            hold_until_s=self.hold_until_s,
        )
        tub = Tub(memory)
        return [tub.see(look) for look in self.looks][-1]


RESTED = COLD._replace(after_s=120.0)
ALLOWS = (Reason.BELOW_SETPOINT, Reason.COASTING, Reason.MINIMUM_ON)

EXAMPLES = (
    Example(
        1,
        None,
        "the relay does not follow, twice running",
        (RESTED, COLD._replace(relay_agrees=False), COLD._replace(relay_agrees=False)),
        Reason.RELAY_FAULT,
    ),
    Example(
        1,
        2,
        "a relay fault is told before a trip",
        (RESTED,),
        Reason.RELAY_FAULT,
        was_tripped=True,
        was_relay_fault=True,
    ),
    Example(2, None, "a trip outlives the heat that made it", (RESTED, RESTED), Reason.TRIPPED, was_tripped=True),
    Example(
        2,
        3,
        "a second cut-out on top of a trip is the same trip",
        (Look(wall=30.0, air=24.0),),
        Reason.TRIPPED,
        was_tripped=True,
        heated_s=0.0,
    ),
    Example(3, None, "the wall runs away while heated", (RESTED, Look(wall=30.0, air=24.0)), Reason.CUT_OUT),
    Example(
        3,
        5,
        "a runaway is a trip, whatever else is doubtful",
        (RESTED, Look(wall=[30.0, Doubt(31.0)])),
        Reason.CUT_OUT,
    ),
    Example(4, None, "a heat wave, with the mat long cut", (Look(wall=30.0, air=30.0),), Reason.HOT_ROOM),
    Example(4, 5, "a hot room with a probe in doubt", (Look(wall=30.0, air=[30.0, Doubt(31.0)]),), Reason.HOT_ROOM),
    Example(
        5,
        None,
        "one wall probe jumps up, the other is fine",
        (RESTED, Look(wall=[26.0, Doubt(28.0)], air=24.0)),
        Reason.DOUBTFUL_HEAT,
    ),
    Example(5, 6, "the only wall probe jumps up", (RESTED, Look(wall=Doubt(28.0), air=24.0)), Reason.DOUBTFUL_HEAT),
    Example(6, 7, "the wall falls silent", (RESTED, Look(wall=None, air=24.0)), Reason.BLIND),
    Example(
        6,
        8,
        "the air falls silent while held",
        (Look(wall=26.0, air=None),),
        Reason.BLIND,
        hold_until_s=999.0,
    ),
    Example(7, 11, "two good readings are not three", (Look(wall=26.0, air=Good(24.0, run=2)),), Reason.PROVING),
    Example(
        7,
        8,
        "proving goes on under a hold",
        (Look(wall=Good(26.0, run=2), air=24.0),),
        Reason.PROVING,
        hold_until_s=999.0,
    ),
    Example(8, None, "the lid is open", (RESTED,), Reason.HELD, hold_until_s=999.0),
    Example(
        8,
        9,
        "a hold is told before the limiter",
        (Look(wall=28.0, air=24.0),),
        Reason.HELD,
        hold_until_s=999.0,
    ),
    Example(9, None, "the wall reaches the limiter", (RESTED, Look(wall=28.0, air=24.0)), Reason.LIMITER),
    Example(9, 10, "the limiter is told before warmth", (Look(wall=28.0, air=26.0),), Reason.LIMITER),
    Example(10, None, "warm for long", (WARM._replace(after_s=999.0),), Reason.WARM_ENOUGH),
    Example(10, 11, "warm from the start", (WARM,), Reason.WARM_ENOUGH),
    Example(11, None, "cold just after a start", (COLD,), Reason.RESTING),
    Example(12, None, "cold, rested, proven", (RESTED,), Reason.BELOW_SETPOINT),
    Example(12, None, "on the way up", (RESTED, BETWEEN), Reason.COASTING),
    Example(12, None, "warm before the minimum on time is over", (RESTED, WARM), Reason.MINIMUM_ON),
)


def broken() -> list[Example]:
    """The examples that the guard, as it is now, gets wrong."""
    return [e for e in EXAMPLES if e.verdict() != Verdict(e.reason in ALLOWS, e.reason)]
