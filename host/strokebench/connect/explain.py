"""Which wirings explain what the bench read, the least wrong ones, in sentences."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from strokefw import faults

from strokebench.connect import model, plug
from strokebench.connect.readings import Readings

if TYPE_CHECKING:
    from strokebench.parts.profile import Profile

SENSOR_V = 0.45
"""Room between a nominal part at rest and the one on the bench; engineering judgement."""
LOOSE_V = 0.7
"""The same with a lead on a wrong pin: what is read then depends on the ohms of the tracks, which nobody
knows.
"""
LEG_SHARE = 0.12
FAR_OHM = 400.0
"""More than a winding reads here, brushes included; less than a sensor's tracks. Common practice, no
published source."""
LEGS = (faults.LEG_HIGH, faults.LEG_LOW, faults.LEG_DIFFER)
MOST_NAMED = 3


def explaining(profile: Profile, seen: Readings) -> list[dict[str, str]]:
    """Return the wirings with the fewest wrong leads that would read like this; empty when none does."""
    part = model.part_of(profile)
    found: list[dict[str, str]] = []
    fewest = math.inf
    for wrong, wiring in model.wirings(profile):
        if wrong > fewest:
            break
        room_v = SENSOR_V if _sensor_is_drawn(profile, wiring) else LOOSE_V
        if _sensors_agree(profile, seen, model.idle(part, wiring, seen.bus_v), room_v) and agrees(
            seen, model.predict(part, wiring, seen.bus_v)
        ):
            found.append(wiring)
            fewest = wrong
    return found


def _sensor_is_drawn(profile: Profile, wiring: dict[str, str]) -> bool:
    return all(wiring[each.lead] == each.pin for each in plug.drawn(profile) if each.pin not in plug.POWER)


def alike(profile: Profile, seen: Readings) -> list[dict[str, str]]:
    """Return all wirings, each lead on a pin, that read like this at rest; only motion tells them apart."""
    part = model.part_of(profile)
    return [
        wiring
        for _wrong, wiring in model.wirings(profile)
        if all(wiring.values())
        and _sensors_agree(profile, seen, model.idle(part, wiring, seen.bus_v), SENSOR_V)
        and agrees(seen, model.predict(part, wiring, seen.bus_v))
    ]


def _sensors_agree(profile: Profile, seen: Readings, like: tuple[float, float, float], room_v: float) -> bool:
    pairs = [(seen.a_v, like[1])] if "a" in profile.tracks else []
    pairs += [(seen.b_v, like[2])] if "b" in profile.tracks else []
    return all(abs(first - second) <= room_v for first, second in pairs)


def agrees(seen: Readings, like: Readings) -> bool:
    """Tell whether the self-test came as far, and read the same, as with the nominal network."""
    if _stage(seen) != _stage(like):
        return False
    if _stage(seen) == "leg":
        return _apart(seen.leg_a, like.leg_a) < LEG_SHARE and _apart(seen.leg_b, like.leg_b) < LEG_SHARE
    if _stage(seen) == "loop":
        return (like.loop_ohm > FAR_OHM) == (seen.loop_ohm > FAR_OHM)
    return True


def _apart(first: float, second: float) -> float:
    """Return how far two shares are apart; 0 where the self-test did not get so far."""
    return 0.0 if math.isnan(first) or math.isnan(second) else abs(first - second)


def _stage(readings: Readings) -> str:
    """Return how far the self-test came: feed, leg, open, short, loop."""
    if readings.code in LEGS:
        return "leg"
    return {faults.REFERENCE: "feed", faults.OPEN_LOAD: "open", faults.SHORTED_LOAD: "short"}.get(
        readings.code, "loop"
    )


def symptoms(profile: Profile, seen: Readings) -> list[str]:
    """Return what was read that is not as it should be, a sentence each."""
    said = []
    stage = _stage(seen)
    if stage == "feed":
        said.append(f"The sensor's 5 V feed reads {seen.feed_v:.2f} V. Something pulls it down.")
    elif stage == "leg":
        said.append(
            f"With the bridge off, the outputs are at {_percent(seen.leg_a)} and {_percent(seen.leg_b)}"
            " of the supply. They should be at 41 %. An output is connected to another lead, or to the case."
        )
    elif stage == "open":
        said.append("No current flows between outputs A and B.")
    elif stage == "short":
        said.append("Outputs A and B are shorted.")
    elif seen.loop_ohm > FAR_OHM:
        said.append(
            f"The resistance from output A to B is {_ohm(seen.loop_ohm)}. That is too much for a winding."
        )
    part = model.part_of(profile)
    for track, value in (("a", seen.a_v), ("b", seen.b_v)):
        if track in part.shares and abs(value - 5 * part.shares[track]) > SENSOR_V:
            wanted = 5 * part.shares[track]
            said.append(
                f"Sensor input {track.upper()} reads {value:.2f} V. At rest it should read {wanted:.2f} V."
            )
    return said


def _percent(share: float) -> str:
    return "an unknown share" if math.isnan(share) else f"{100 * share:.0f} %"


def _ohm(ohm: float) -> str:
    return "more than 1000 ohm" if not ohm < 1000 else f"{ohm:.0f} ohm"


def differences(profile: Profile, found: list[dict[str, str]]) -> list[str]:
    """Return what differs from the drawing, in a string for each wiring that explains the readings."""
    if not found:
        return ["Compare every lead with the drawing. An open, shorted or worn part can read like this too."]
    if len(found) > MOST_NAMED:
        always = _always(profile, found)
        if always:
            return [f"{len(found)} wirings explain these readings. All of them have this in common: {always}"]
        return [f"{len(found)} wirings explain these readings. Compare every lead with the drawing."]
    return [f"{'Or: ' if number else ''}{sentence(profile, wiring)}" for number, wiring in enumerate(found)]


def is_drawn(profile: Profile, wiring: dict[str, str]) -> bool:
    """Tell whether every lead is where it is drawn."""
    return wrong_leads(profile, wiring) == 0


def wrong_leads(profile: Profile, wiring: dict[str, str]) -> int:
    """Return how many leads are not where they are drawn."""
    return sum(wiring[each.lead] != each.pin for each in plug.drawn(profile))


def _always(profile: Profile, found: list[dict[str, str]]) -> str:
    """Return what all of these wirings have in common, a sentence a lead; empty when nothing."""
    common = {lead: pin for lead, pin in found[0].items() if all(wiring[lead] == pin for wiring in found)}
    right = {each.lead: each.pin for each in plug.drawn(profile)}
    wrong = [lead for lead in right if all(wiring[lead] != right[lead] for wiring in found)]
    return " ".join(
        _placed(profile, lead, common[lead])
        if lead in common
        else f"{_upper(plug.LEADS[lead])} is on a wrong pin."
        for lead in wrong
    )


def sentence(profile: Profile, wiring: dict[str, str]) -> str:
    """Return how a wiring differs from the drawing, a sentence a lead."""
    right = {each.lead: each.pin for each in plug.drawn(profile)}
    wrong = [lead for lead in right if wiring[lead] != right[lead]]
    if not wrong:
        return "All leads are where they are drawn."
    if len(wrong) == 2 and wiring[wrong[0]] == right[wrong[1]] and wiring[wrong[1]] == right[wrong[0]]:
        first, second = (plug.LEADS[lead] for lead in wrong)
        return f"{_upper(first)} and {second} are swapped."
    return " ".join(_placed(profile, lead, wiring[lead]) for lead in wrong)


def _placed(profile: Profile, lead: str, pin: str) -> str:
    names = {each.pin: each.name for each in plug.drawn(profile)}
    if pin:
        return f"{_upper(plug.LEADS[lead])} is on the pin of {names[pin]}."
    return f"{_upper(plug.LEADS[lead])} has no contact with a pin, or the part is open behind its pin."


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]
