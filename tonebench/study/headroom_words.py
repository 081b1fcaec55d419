# SPDX-License-Identifier: GPL-3.0-or-later
"""One sentence where the real unit would clip on a take and the clip doesn't.

A render is linear: it holds what an op-amp on a battery can't. Whoever renders says so.
"""

from tonebench.audio.take import Take
from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import Chain
from tonebench.study.take_peaks import take_peaks
from tonebench.units import format_value


def clipping_notice(
    take: Take, chain: Chain, changes: Settings, volts: float | None = None
) -> str:
    """Return a sentence if a calibrated take makes the real unit clip, else nothing.

    Parameters
    ----------
    take : Take
        What is rendered; of one that isn't calibrated nothing can be said.
    chain : Chain
        The circuit with its hook-up.
    changes : mapping
        Positions of controls; those left out stand where they start.
    volts : float, optional
        What the battery gives now; default: the circuit's supply.
    """
    if take.full_scale_v is None:
        return ""
    peaks = take_peaks(take, chain, changes, volts, is_bound_enough=True)
    clipped = [peak for peak in peaks if peak.is_clipped]
    if not clipped:
        return ""
    worst = max(clipped, key=lambda p: p.peak_v / max(p.swing_v, 1e-9))
    name = chain.circuit.name
    supply = chain.circuit.supply
    on = f" on {supply.volts if volts is None else volts:.3g} V" if supply else ""
    return (
        f"a real {name}{on} would clip on this take and the clip doesn't: {worst.ref} "
        f"would need {format_value(worst.peak_v, 'V', 3)} and swings "
        f"{format_value(worst.swing_v, 'V', 3)}"
    )
