"""What each defect's name means to a person, and what to look at next. Common practice of the trade."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Defect:
    """``name`` in plain words, ``meaning`` one sentence, ``check`` what to do next."""

    name: str
    meaning: str
    check: str


DEFECTS: dict[str, Defect] = {
    "binding": Defect(
        "Binding at one place",
        "The part needs more current to pass one place than on either side of it, again and again.",
        "Look there for deposits, a damaged gear tooth or a bent shaft; clean and measure again.",
    ),
    "sticky": Defect(
        "Sticky over the whole travel",
        "Friction is too high everywhere, so this is dirt or dry bearings rather than one damaged place.",
        "Clean what moves and its guides; measure again. If it stays, bearings, guides or gear are worn.",
    ),
    "weak_spring": Defect(
        "Weak return spring",
        "The spring pushes back with too little force.",
        "Look for a broken, slipped or tired spring. The part may fail to return: do not refit it.",
    ),
    "weak_rest_spring": Defect(
        "Weak spring on the closing side",
        "Pressed shut, the part is pushed back to its rest position with too little force.",
        "Look for a broken or slipped spring at the rest position's lever.",
    ),
    "carbon_seat": Defect(
        "Does not shut: something on its seat",
        "With all that shuts it the valve still stands open, so gas leaks past it at idle.",
        "Look for carbon on pintle and seat, clean both, and measure again.",
    ),
    "sticky_seat": Defect(
        "Sticks in its seat",
        "Leaving the seat takes much more current than moving anywhere else.",
        "Clean carbon and tar from pintle and seat; measure again.",
    ),
    "stuck_shut": Defect(
        "Stuck shut",
        "Current flows and the sensor lives, but the part does not leave its rest.",
        "Look for carbon, rust or a broken drive; do not force it with more current.",
    ),
    "jammed": Defect(
        "Jammed",
        "The motor takes the current of a standing motor at once and does not turn.",
        "Look for something in the way, a seized shaft or a broken gear; do not force it with more current.",
    ),
    "travel_long": Defect(
        "Travel too long",
        "The motor turns further from stop to stop than such a part can.",
        "Look for a broken stop or a slipping gear, and whether the profile fits this part.",
    ),
    "uneven_travel": Defect(
        "Travel differs from stroke to stroke",
        "The part does not come to the same stops each time.",
        "Look for a slipping or jumping gear, and for something loose in the way.",
    ),
    "stuck_closed": Defect(
        "Plunger stuck pulled in",
        "The coil's inductance is that of a pulled-in plunger from the start, and no current makes it move.",
        "Look for dirt, rust or a broken spring in the valve; replace it.",
    ),
    "leaky_freewheel": Defect(
        "Current flows beside the coil",
        "Part of the current starts at once with the voltage, so it does not go through the coil.",
        "Look at the freewheel diode or resistor in plug or valve, and for water in the plug.",
    ),
    "stuck_open": Defect(
        "Stuck open",
        "Current flows and the sensor lives, but the part stands open and stays there.",
        "Look for something in the way, a seized shaft or pintle; do not refit it.",
    ),
    "no_return": Defect(
        "Does not return by itself",
        "Released, the part stays away from its rest position.",
        "Look at friction and spring above; do not refit it.",
    ),
    "worn_track": Defect(
        "Worn sensor track",
        "The position signal drops out or jumps at one place while the part moves steadily.",
        "Check the connector and the wiring by moving them during a sweep; else replace the sensor.",
    ),
    "track_dead": Defect(
        "Dead sensor track",
        "The track gives next to nothing while the part moves.",
        "Check feed, ground and signal wire at the connector; else replace the sensor.",
    ),
    "track_shorted": Defect(
        "Sensor track shorted to its feed",
        "The track stands at the feed voltage while the part moves.",
        "Check for a short between signal and feed in plug and wiring; else replace the sensor.",
    ),
    "track_mismatch": Defect(
        "Sensor tracks disagree",
        "The two tracks tell different positions.",
        "Check the plug for corrosion and the sensor for a loose fit; else replace the sensor.",
    ),
    "track_range": Defect(
        "Sensor range too wide",
        "The track moves further than its nominal end voltages.",
        "Check the sensor feed and whether the profile fits this part.",
    ),
    "open_winding": Defect(
        "No current flows",
        "The motor takes no current at any drive: winding, brushes, lead or plug are open.",
        "Measure the motor at its own pins; move the plug and leads while measuring.",
    ),
    "shorted_turns": Defect(
        "Shorted winding turns",
        "Resistance, inductance or motor constant are too low: part of the winding is bridged.",
        "Replace the motor or the part; a driver stage that fed it may have suffered.",
    ),
    "weak_motor": Defect(
        "Weak motor",
        "The motor gives too little torque for its current.",
        "Look at resistance and inductance above; if they are good, the magnets are weak or cracked.",
    ),
    "lead_resistance": Defect(
        "Resistance in leads, plug or brushes",
        "The loop has more resistance than the winding of such a part can have.",
        "Clean the plug and check crimps and leads with a loaded voltage-drop test; then the brushes.",
    ),
    "weak_battery": Defect(
        "Weak supply",
        "The supply sags too much under load: battery, its clamps or the supply leads.",
        "Charge or change the battery, clean the clamps, use shorter leads; then measure the part again.",
    ),
    "short_travel": Defect(
        "Travel too short",
        "The part does not cover its whole way between the stops.",
        "Look for something in the way, or a gear that jumped.",
    ),
    "stop_shifted": Defect(
        "End stop out of place",
        "The sensor's voltage at a stop is far from nominal.",
        "Look for deposits at the stop, or a sensor that has turned on its shaft.",
    ),
    "rest_shifted": Defect(
        "Rest position out of place",
        "Without power the part rests in the wrong place.",
        "Look at spring and lever; clean the seat.",
    ),
    "passage_blocked": Defect(
        "Gas passage blocked",
        "The valve opens but the engine does not notice: no exhaust gas comes through.",
        "Take pipe, cooler and ports off and look for carbon; clean them and test again.",
    ),
    "seat_leaks": Defect(
        "Does not seal when shut",
        "The sensor says shut, but the engine still runs as if gas came in.",
        "Look for carbon or a notch on pintle and seat; blank the valve off to make sure of it.",
    ),
    "slow": Defect(
        "Slow",
        "The part takes too long to get there.",
        "Look at friction, spring, supply and leads above.",
    ),
}


def defect(name: str) -> Defect:
    """Return the defect called ``name``; one without an entry is described by its bare name."""
    from strokebench.diagnose.defects_turning import TURNING_DEFECTS

    return (
        DEFECTS.get(name)
        or TURNING_DEFECTS.get(name)
        or Defect(name.replace("_", " ").capitalize(), "A finding is out of its limits.", "See the findings.")
    )
