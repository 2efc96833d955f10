"""What a trial's estimates are laid beside: the truth of each finding, as far as a plant knows it.

A finding is compared with what its estimator's docstring claims; :data:`MEANS` says in a sentence what that
is. A finding without a row there has no truth apart from the recording (a current or voltage read off a
channel, a flicker, a count of samples), or is a share of noise.
"""

from __future__ import annotations

from typing import Any

from strokebench.data.findings import Finding
from strokebench.data.run import RunData
from strokebench.parts.profile import Profile
from strokebench.sim.truth import coils, common, movers, rotors, sensor
from strokebench.sim.truth.common import Specimen

MEANS = {
    "supply": common.MEANS,
    "coils": coils.MEANS,
    "movers": movers.MEANS,
    "parts with a sensor": sensor.MEANS,
    "turning parts and wiring": rotors.MEANS,
}
"""Kind of part -> finding -> what is taken as its truth."""
UNKNOWN = {
    "open_winding": ("",),
    "open_wire": ("",),
    "lead_resistance": ("winding_resistance", "loop_resistance", "opening_voltage"),
}
"""Defect -> findings that it leaves without a truth of their own; an empty name: all but the supply's."""


def true_values(specimen: Specimen, name: str) -> dict[str, float]:
    """Return the truth by finding, in the finding's unit; ``name`` is the injected defect or "good"."""
    plant, found = specimen.plant, common.supply(specimen)
    if "" in UNKNOWN.get(name, ()):
        return found
    if hasattr(plant, "mover"):
        found |= movers.truths(specimen)
    elif hasattr(plant, "coil"):
        found |= coils.truths(specimen)
    elif hasattr(plant, "turner"):
        found |= rotors.truths(specimen)
    elif hasattr(plant, "circuit"):
        found |= rotors.wires(specimen)
    return {key: value for key, value in found.items() if key not in UNKNOWN.get(name, ())}


def beside(
    findings: list[Finding], run: RunData, plant: Any, profile: Profile, name: str
) -> dict[str, tuple[float, float, float]]:
    """Return value, standard uncertainty and truth of each finding that was found and has a truth."""
    known = {finding.key: finding for finding in findings if finding.known}
    truth = true_values(Specimen(plant, profile, run, known, plant.seen), name)
    return {key: (known[key].value, known[key].u, true) for key, true in truth.items() if key in known}


def errors(found: dict[str, tuple[float, float, float]]) -> dict[str, float]:
    """Return each estimate's error as a share of the truth."""
    return {key: value / true - 1 for key, (value, _, true) in found.items() if true}


def place_error(findings: list[Finding], place: float | str) -> dict[str, float]:
    """Return by how many % of travel the found place of a binding spot is off."""
    found = next((finding for finding in findings if finding.key == "binding" and finding.known), None)
    return (
        {"place": found.place - 100 * float(place)} if found is not None and found.place is not None else {}
    )
