# SPDX-License-Identifier: GPL-3.0-or-later
"""tonebench: what one preamp circuit does to an instrument that another does not.

The names below are the way in for programs; each is loaded when it is first used, so
that ``import tonebench`` costs nothing.

>>> import tonebench
>>> circuit = tonebench.read_circuit("tern")
>>> hookup = tonebench.Hookup(load_ohm=1e6)
>>> curve = tonebench.curves(tonebench.join(circuit, hookup), [{"tilt": 5}])[0]
>>> abs(float(curve.gain_db[240])) < 0.1
True
>>> tonebench.traits(tonebench.join(circuit, hookup)).controls["tilt"].kind
'both'
"""

from importlib import import_module
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tonebench.circuit.files import read_circuit, read_pickup
    from tonebench.circuit.hookup import Hookup, join
    from tonebench.digital.cascade import design
    from tonebench.digital.runner import Runner
    from tonebench.network.nodal import Network
    from tonebench.network.response import response
    from tonebench.network.roots import find_roots
    from tonebench.plan.comparison import Side
    from tonebench.plan.files import read_comparison
    from tonebench.plan.take_files import read_take_file
    from tonebench.render.offline import render_take
    from tonebench.report.comparison import write_comparison
    from tonebench.report.delivery import write_delivery
    from tonebench.study.against import against
    from tonebench.study.build import build
    from tonebench.study.curves import curves
    from tonebench.study.explain import explain
    from tonebench.study.feature_map import feature_map
    from tonebench.study.harmonics import note_levels
    from tonebench.study.nearest import nearest
    from tonebench.study.notes import circuit_notes
    from tonebench.study.traits import traits

__all__ = [
    "Hookup",
    "Network",
    "Runner",
    "Side",
    "__version__",
    "against",
    "build",
    "circuit_notes",
    "curves",
    "design",
    "explain",
    "feature_map",
    "find_roots",
    "join",
    "nearest",
    "note_levels",
    "read_circuit",
    "read_comparison",
    "read_pickup",
    "read_take_file",
    "render_take",
    "response",
    "traits",
    "write_comparison",
    "write_delivery",
]

_HOMES = {
    "Hookup": "circuit.hookup",
    "Network": "network.nodal",
    "Runner": "digital.runner",
    "Side": "plan.comparison",
    "against": "study.against",
    "build": "study.build",
    "circuit_notes": "study.notes",
    "curves": "study.curves",
    "design": "digital.cascade",
    "explain": "study.explain",
    "feature_map": "study.feature_map",
    "find_roots": "network.roots",
    "join": "circuit.hookup",
    "nearest": "study.nearest",
    "note_levels": "study.harmonics",
    "read_circuit": "circuit.files",
    "read_comparison": "plan.files",
    "read_pickup": "circuit.files",
    "read_take_file": "plan.take_files",
    "render_take": "render.offline",
    "response": "network.response",
    "traits": "study.traits",
    "write_comparison": "report.comparison",
    "write_delivery": "report.delivery",
}

try:
    __version__ = version("tonebench")
except PackageNotFoundError:  # a bare checkout on the path
    __version__ = "0+unknown"


def __getattr__(name: str) -> Any:
    """Load one of the names in ``__all__`` from where it lives."""
    if name not in _HOMES:
        raise AttributeError(f"module 'tonebench' has no attribute '{name}'")
    return getattr(import_module(f"tonebench.{_HOMES[name]}"), name)
