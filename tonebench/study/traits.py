# SPDX-License-Identifier: GPL-3.0-or-later
"""What the knobs do: every control, every feature, how they meddle, and the card.

One call for all that ``tonebench traits`` says. Says nothing in words.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import Chain
from tonebench.study.card import Card, result_card
from tonebench.study.interaction import Interaction, interactions
from tonebench.study.knobs import KnobTrait, knob_trait
from tonebench.study.stability import require_stable
from tonebench.study.tracked import TrackedFeature, track_features
from tonebench.study.turned import Turned


@dataclass(frozen=True, slots=True)
class Traits:
    """What the knobs and switches of a chain do, and what it does by itself.

    Attributes
    ----------
    chain : Chain
    setting : mapping
        Where every control stands that isn't turned.
    controls : mapping
        By name, what each knob and switch does.
    features : tuple of TrackedFeature
        Peaks, dips, roll-offs and shelves, and whether they stay at every setting.
    interactions : tuple of Interaction
        Which control changes what another one does, the greatest first.
    card : Card
        The figures that builders compare.
    """

    chain: Chain
    setting: Settings
    controls: Mapping[str, KnobTrait]
    features: tuple[TrackedFeature, ...]
    interactions: tuple[Interaction, ...]
    card: Card


def traits(chain: Chain, changes: Settings | None = None) -> Traits:
    """Return what the knobs of a circuit do with its hook-up.

    Parameters
    ----------
    chain : Chain
        The circuit with its hook-up.
    changes : mapping, optional
        Where controls stand that aren't turned; those left out stand where they start.

    Raises
    ------
    RequestError
        For a control that isn't there, or a position out of range.
    CircuitError
        If no setting has an answer, or the circuit is unstable where it stands.

    Examples
    --------
    >>> from tonebench.circuit.files import read_circuit
    >>> from tonebench.circuit.hookup import join
    >>> traits(join(read_circuit("tern"))).controls["tilt"].kind
    'both'
    """
    turned = Turned(chain, changes or {})
    require_stable(chain, turned.start)
    controls = {
        control.name: knob_trait(turned, control) for control in turned.controls
    }
    return Traits(
        chain=chain,
        setting=turned.start,
        controls=controls,
        features=track_features(turned),
        interactions=interactions(turned),
        card=result_card(turned, tuple(controls.values())),
    )
