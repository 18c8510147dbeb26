"""The one search by halving: where a condition turns from true to false."""

from __future__ import annotations

from collections.abc import Callable

__all__ = ["turning_point"]

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
