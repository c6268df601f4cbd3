"""The further out, the sooner: the inverse-time rule of IEC 60255-151, over a varying deviation. Pure.

`M` is how many times the pickup a value is out. At a steady `M` above 1 the rule operates after
`t = TMS * (k / (M ** alpha - 1) + c)`; while `M` varies it operates when the integral of `dt / t(M(t))` reaches 1.
That sum is called the dose here. At `M` of 1 and below it decays, evenly, a whole dose in `reset_s`.
"""

from __future__ import annotations

from matwarden.terms import InverseTime

__all__ = ["FULL_DOSE", "VERY_INVERSE", "dose_after", "operate_time_s"]

FULL_DOSE = 1.0

# Curve B of IEC 60255-151 with its k of 13.5 read as minutes: 2 pickups out ring after 13.5 min, 5 after 3.4 min. The
# pickup of 1 K and the decay over an hour are ours: a tub that is opened for feeding must not ring.
VERY_INVERSE = InverseTime(pickup_k=1.0, k_s=13.5 * 60.0, c_s=0.0, alpha=1.0, reset_s=3600.0)


def operate_time_s(curve: InverseTime, multiple: float, multiplier: float = 1.0) -> float:
    """Seconds until the rule operates at a steady `multiple` of the pickup; infinite at 1 and below.

    Args:
        multiplier: TMS, the time multiplier setting.
    """
    if multiple <= 1.0:
        return float("inf")
    try:
        excess = multiple**curve.alpha - 1.0
    except OverflowError:
        excess = float("inf")
    # So little above 1 that the power is 1 again: as good as never.
    return multiplier * (curve.k_s / excess + curve.c_s) if excess > 0.0 else float("inf")


def dose_after(dose: float, curve: InverseTime, deviation_k: float, dt_s: float) -> float:
    """The dose after `dt_s` more seconds, `deviation_k` outside the band (0 or less: inside); from 0 to `FULL_DOSE`."""
    multiple = deviation_k / curve.pickup_k
    if multiple <= 1.0:
        return max(0.0, dose - dt_s / curve.reset_s) if dose else 0.0
    needed_s = operate_time_s(curve, multiple)
    # A curve may give no time at all, far out.
    return FULL_DOSE if needed_s <= 0.0 else min(FULL_DOSE, dose + dt_s / needed_s)
