"""The one search by halving: where a condition turns from true to false."""

from __future__ import annotations

from collections.abc import Callable

__all__ = ["falling_root", "turning_point"]

MOST_HALVINGS = 200
"""Halvings after which no search goes on, whatever it is asked: nothing runs for ever [-]."""


def turning_point(
    holds: Callable[[float], bool],
    low: float,
    high: float,
    *,
    within: float = 0.0,
    share: float = 0.0,
    halvings: int = MOST_HALVINGS,
) -> tuple[float, float]:
    """Return two values, as near to each other as wanted, between which a condition turns.

    It is taken to hold at *low* and not to hold at *high*; neither is tried.

    Args:
        holds: The condition [-]
        low: Where it holds, in any unit [-]
        high: Where it does not, above *low* [-]
        within: How near they are to come, in the same unit [-]
        share: ... or over the upper one [-]
        halvings: At most so many halvings, 1 to 200 [-]

    Returns:
        The last value at which it holds and the first at which it does not [-]

    Example:
        >>> low, high = turning_point(lambda x: x * x < 2.0, 1.0, 2.0, within=1e-3)
        >>> low < 2.0**0.5 < high, high - low <= 1e-3
        (True, True)

    Sources:
        [1] Bisection.
    """
    for _ in range(min(halvings, MOST_HALVINGS)):
        if high - low <= max(within, share * high):
            break
        middle = (low + high) / 2.0
        if holds(middle):
            low = middle
        else:
            high = middle
    return low, high


def falling_root(f: Callable[[float], float], low: float, high: float, within: float) -> float:
    """Return where a falling function is zero.

    By false position, halving the weight of an end that stays (the Illinois rule): a kink
    between the ends costs a few looks more.

    Args:
        f: The function, not below 0 at *low* and not above 0 at *high* [-]
        low: Lower end, in any unit [-]
        high: Upper end [-]
        within: How near to 0 the function is to come, in its unit [-]

    Returns:
        The root, or the end that is nearer where both have one sign [-]

    Example:
        >>> round(falling_root(lambda x: 2.0 - x * x, 1.0, 2.0, 1e-9), 6)
        1.414214

    Sources:
        [1] Regula falsi with the Illinois rule (from memory).
    """
    at_low, at_high = f(low), f(high)
    if at_low <= within:
        return low
    if at_high >= -within:
        return high
    kept = 0
    for _ in range(MOST_HALVINGS):
        x = (low * at_high - high * at_low) / (at_high - at_low)
        here = f(x)
        if abs(here) <= within or not low < x < high:
            return x
        if here > 0.0:
            low, at_low = x, here
            at_high *= 0.5 if kept > 0 else 1.0
            kept = 1
        else:
            high, at_high = x, here
            at_low *= 0.5 if kept < 0 else 1.0
            kept = -1
    return x
