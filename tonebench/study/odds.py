# SPDX-License-Identifier: GPL-3.0-or-later
"""How far chance alone explains a listener's answers: exact, by counting outcomes.

Every answer is one of two, and by guessing each comes with one half whatever the
listener does, since the order is drawn by fair and independent bits. Knows nothing of
clips, sessions or words.
"""

from collections.abc import Sequence
from fractions import Fraction
from math import comb

from tonebench.errors import RequestError

_HALF = Fraction(1, 2)


def _at_least(right: int, trials: int, share: Fraction) -> Fraction:
    """Return the chance of `right` or more out of `trials`, each with a chance."""
    if not 0 <= right <= trials:
        raise RequestError(f"right answers must be from 0 to {trials}, got {right}")
    if not 0 <= share <= 1:
        raise RequestError(f"a chance must be from 0 to 1, got {float(share):g}")
    hit, miss, whole = share.numerator, share.denominator, share.denominator**trials
    miss -= hit
    ways = sum(
        comb(trials, k) * hit**k * miss ** (trials - k)
        for k in range(right, trials + 1)
    )
    return Fraction(ways, whole)


def _exact(share: float) -> Fraction:
    """Return a share as it is written: 0.7 is seven tenths."""
    return Fraction(str(share))


def at_least_by_guessing(right: int, trials: int) -> float:
    """Return the probability of so many right answers, or more, by guessing.

    The upper tail of the binomial distribution, P = 2⁻ⁿ·Σ C(n, k), k = right … n.

    Parameters
    ----------
    right, trials : int
        Right answers, and answers in all.

    Raises
    ------
    RequestError
        If `right` isn't from 0 to `trials`.

    Examples
    --------
    >>> round(at_least_by_guessing(12, 16), 4)
    0.0384
    """
    return float(_at_least(right, trials, _HALF))


def least_right(trials: int, level: float) -> int | None:
    """Return the least number of right answers that guessing reaches at most so often.

    Parameters
    ----------
    trials : int
        Answers in all.
    level : float
        The probability that is allowed, such as 0.05.

    Returns
    -------
    int or None
        None if even all right comes more often by guessing.

    Examples
    --------
    >>> least_right(16, 0.05), least_right(4, 0.05)
    (12, None)
    """
    allowed = _exact(level)
    for right in range(trials + 1):
        if _at_least(right, trials, _HALF) <= allowed:
            return right
    return None


def power(trials: int, level: float, ability: float) -> float:
    """Return how probably a listener of an ability reaches `least_right`.

    Parameters
    ----------
    trials : int
        Answers in all.
    level : float
        The probability that is allowed by guessing.
    ability : float
        The share of trials that the listener truly gets right, guesses included.

    Examples
    --------
    >>> round(power(16, 0.05, 0.8), 3)
    0.798
    """
    needed = least_right(trials, level)
    if needed is None:
        return 0.0
    return float(_at_least(needed, trials, _exact(ability)))


def sign_test(a: int, b: int) -> float:
    """Return the probability of votes so uneven, either way, without a preference.

    The exact two-sided sign test: twice the upper tail of the larger number, at most 1.

    Examples
    --------
    >>> sign_test(5, 0), sign_test(3, 3)
    (0.0625, 1.0)
    """
    return min(1.0, 2 * at_least_by_guessing(max(a, b), a + b))


def least_preferred(trials: int, level: float) -> int | None:
    """Return the least votes for one side that show a preference; None if none do.

    Examples
    --------
    >>> least_preferred(16, 0.05), least_preferred(5, 0.05)
    (13, None)
    """
    return least_right(trials, float(_exact(level) / 2))


def power_of_preference(trials: int, level: float, share: float) -> float:
    """Return how probably a preference is shown if one side truly has a share of votes.

    Examples
    --------
    >>> round(power_of_preference(16, 0.05, 0.8), 3)
    0.598
    """
    needed = least_preferred(trials, level)
    if needed is None:
        return 0.0
    true = _exact(share)
    return float(_at_least(needed, trials, true) + _at_least(needed, trials, 1 - true))


def holm(probabilities: Sequence[float]) -> tuple[float, ...]:
    """Return probabilities corrected for looking at several listeners (Holm).

    Sorted upwards, the i-th of m is multiplied by m − i + 1, never falls below the one
    before it, and stays at most 1 (Holm 1979, the step-down procedure). A listener is
    singled out if the corrected one is within the level: the chance that anyone is
    wrongly singled out is then within it too.

    Examples
    --------
    >>> holm([0.04, 0.01])
    (0.04, 0.02)
    """
    order = sorted(range(len(probabilities)), key=lambda k: probabilities[k])
    corrected, highest = [0.0] * len(probabilities), 0.0
    for rank, k in enumerate(order):
        highest = max(highest, (len(order) - rank) * probabilities[k])
        corrected[k] = min(1.0, highest)
    return tuple(corrected)
