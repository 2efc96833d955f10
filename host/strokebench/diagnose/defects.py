"""The defects: what each name means to a person, what to look at next, and which findings it explains.

Common practice of the trade.
"""

from __future__ import annotations

from dataclasses import dataclass

STOPS = ("short_travel", "stop_shifted")
LOADS = ("unbalanced", "dragging", "clogged", "worn", "obstructed")
ALL = "*"
"""Stands for all defects but those that have the explaining one as a consequence."""


@dataclass(frozen=True)
class Defect:
    """``name`` in plain words, ``meaning`` one sentence, ``check`` what to do next.

    ``explains``: defects that findings failing beside it point to, but which follow from it and are none of
    their own.
    """

    name: str
    meaning: str
    check: str
    explains: tuple[str, ...] = ()


DEFECTS: dict[str, Defect] = {
    "open_winding": Defect(
        "No current flows",
        "The part takes no current at any drive: winding, brushes, lead or plug are open.",
        "Measure the resistance at the part's own pins. Move its plug and leads while you measure.",
        (ALL,),
    ),
    "shorted_part": Defect(
        "Short circuit in the part",
        "The part lets far more current through than its winding can: it is shorted.",
        "Replace the part. Check the fuse, the relay and the vehicle's control unit that fed it: the short"
        " may have damaged them.",
        (ALL,),
    ),
    "feed_shorted": Defect(
        "Sensor pulls its feed down",
        "With this sensor plugged in, its 5 V feed is out of range: the sensor or its wiring is shorted.",
        "Unplug the sensor. Measure the ohms from its feed pin to its ground and signal pins."
        " Near zero: replace the sensor. Otherwise look for a short in its plug and leads.",
        (ALL,),
    ),
    "wrong_way": Defect(
        "Moves the wrong way",
        "The part shuts when it is driven open, or its sensor reads the wrong way round.",
        "Compare its plug with the wiring diagram: motor wires or sensor wires may be swapped. Check too"
        " that the profile is of this part.",
        (ALL,),
    ),
    # a winding behind a bad lead gets less voltage than its figures are reckoned with
    "lead_resistance": Defect(
        "Resistance in leads, plug or brushes",
        "The circuit has more resistance than the winding of such a part can have.",
        "Clean the plug. Measure the voltage drop of crimps and leads under load. Then check the brushes.",
        ("shorted_turns", "stuck_shut", "stuck_open", "slow", "slow_start", "weak_spring", *STOPS),
    ),
    "shorted_turns": Defect(
        "Shorted winding turns",
        "Resistance, inductance or motor constant are too low: part of the winding is bridged.",
        "Replace the motor or the part. Check the output of the vehicle's control unit that fed it: it may"
        " be damaged too.",
        ("weak_motor", "weak_spring", "sticky", "slow", "no_return", "short_travel"),
    ),
    "open_wire": Defect(
        "Open circuit",
        "No current flows.",
        "Check fuse, plugs and wire for continuity.",
        (ALL,),
    ),
    "blocked": Defect(
        "Blocked rotor",
        "The motor takes current but does not turn: it makes no back-EMF.",
        "Switch the power off. Turn the rotor by hand if you can reach it, and look for something in the"
        " way. Do not try again under power. A closed pump can only be replaced.",
        (ALL,),
    ),
    "bad_crimp": Defect(
        "Bad crimp",
        "The resistance flickers under load: a joint makes and breaks.",
        "Switch the load on and measure the voltage drop along the wire with a meter. Wiggle plugs and"
        " crimps one by one. The reading jumps at the bad one: replace it.",
        ("supply_resistance", "ground_resistance"),
    ),
    # an open coil also takes its share from the mean back-EMF
    "bad_segment": Defect(
        "Bad commutator segment or coil",
        "The current dips each time a brush passes one place of the commutator.",
        "Replace the motor or the part: its commutator is worn out or damaged.",
        ("lead_resistance", "shorted_turns", "worn_brush", "weak_magnet", "slow_start", *LOADS),
    ),
    "worn_brush": Defect(
        "Worn or bouncing brushes",
        "The current flickers at random while it turns.",
        "Check the shaft for play, which makes brushes bounce. Replace the motor or the part.",
        ("lead_resistance", "shorted_turns", "slow_start", *LOADS),
    ),
    "weak_magnet": Defect(
        "Weak magnets",
        "The motor makes too little voltage for its speed: its magnets are weak, so it takes more current.",
        "Replace the motor or the part. Ask whether it was run too hot.",
        ("slow_start", "high_inrush"),
    ),
    "weak_motor": Defect(
        "Weak motor",
        "The motor gives too little torque for its current.",
        "Look at the findings on winding resistance and inductance. If both are good, the magnets are weak or"
        " cracked: replace the motor or the part.",
        ("weak_spring", "weak_rest_spring", "sticky", "slow"),
    ),
    "track_shorted": Defect(
        "Sensor track shorted to its feed",
        "The track stays at the feed voltage while the part moves.",
        "Check plug and wiring for a short between signal and feed. If there is none, replace the sensor.",
        ("track_dead", "worn_track", "track_mismatch", "track_range", *STOPS),
    ),
    "track_dead": Defect(
        "Dead sensor track",
        "The track gives next to nothing while the part moves.",
        "Check feed, ground and signal wire at the connector. If that is good, replace the sensor.",
        ("worn_track", "track_mismatch", "track_range", *STOPS),
    ),
    "leaky_freewheel": Defect(
        "Current flows beside the coil",
        "Part of the current starts at once with the voltage, so it does not go through the coil.",
        "Look at the freewheel diode or resistor in plug or valve, and for water in the plug.",
        ("shorted_turns", "sticky"),
    ),
    "jammed": Defect(
        "Jammed",
        "The motor takes the current of a motor that stands still, and does not turn.",
        "Look for something in the way, a seized shaft or a broken gear. Do not force it with more current.",
        (ALL,),
    ),
    "stuck_closed": Defect(
        "Plunger stuck pulled in",
        "The coil's inductance is that of a pulled-in plunger from the start, and no current makes it move.",
        "Look for dirt, rust or a broken spring in the valve. Replace it.",
        (ALL,),
    ),
    "stuck_shut": Defect(
        "Stuck shut",
        "Current flows and the sensor works, but the part does not leave its rest.",
        "Look for carbon, rust or a broken drive. Do not force it with more current.",
        (ALL,),
    ),
    "stuck_open": Defect(
        "Stuck open",
        "Current flows and the sensor works, but the part stays open.",
        "Look for something in the way, a seized shaft or pintle. Do not refit it.",
        (ALL,),
    ),
    "worn_track": Defect(
        "Worn sensor track",
        "The position signal drops out or jumps at one place while the part moves steadily.",
        "Start `strokebench watch` and move plug and wiring by hand. If the sensor's volts jump, repair plug"
        " or wiring. If they stay steady, replace the sensor.",
        ("track_mismatch", "track_range", "binding", *STOPS),
    ),
    "weak_battery": Defect(
        "Weak supply",
        "The supply sags too much under load: battery, its clamps or the supply leads.",
        "Charge or change the battery, clean the clamps, use shorter leads. Then measure the part again.",
        ("slow", "slow_start", *STOPS),
    ),
    "charger_ripple": Defect(
        "Charger on the supply",
        "The supply ripples at the mains frequency or twice that: a charger is connected to it.",
        "Disconnect the charger. Let the battery rest for some minutes. Then measure the part again.",
    ),
    "dry": Defect(
        "Runs dry",
        "The load is too small: the pump moves nothing, or only foam.",
        "Stop at once. Check tank or circuit, strainer and suction line. Bleed the system. Then measure"
        " again.",
        ("worn", "clogged", "unbalanced"),
    ),
    "dragging": Defect(
        "Dragging bearing",
        "Friction that does not depend on speed is too high, so it is in the bearings or something rubs.",
        "Switch the power off. Turn the rotor by hand if you can reach it, and listen. Look for a rubbing"
        " rotor or impeller, or bad bearings. A closed pump can only be replaced.",
        ("slow_start", "clogged", "obstructed"),
    ),
    "broken_blade": Defect(
        "Blade broken or missing",
        "The load varies with every turn, or there is too little of it.",
        "Stop the fan. Look at every blade and at the hub. Do not run the fan again before it is replaced.",
        ("obstructed", "slow_start"),
    ),
    "worn": Defect(
        "Worn pump",
        "At low speed it builds up too little pressure: it leaks inside.",
        "Measure pressure and delivery by the vehicle maker's procedure. Replace the pump.",
        ("clogged", "slow_start"),
    ),
    "clogged": Defect(
        "Outlet, filter or impeller clogged",
        "The load grows too much with speed.",
        "Check filter, lines and outlet for a restriction. Look for dirt in the impeller.",
        ("slow_start",),
    ),
    "obstructed": Defect(
        "Air flow obstructed",
        "The load grows too much with speed.",
        "Look for something in the way of the air, blades that touch, a dirty radiator or a wrong fan.",
        ("slow_start",),
    ),
    "carbon_seat": Defect(
        "Does not shut: something on its seat",
        "Something keeps the valve from shutting fully, so gas leaks past it at idle.",
        "Look for carbon on pintle and seat. Clean both. Measure again.",
        ("no_return", "sticky_seat", "slow", "rest_shifted", "track_range", *STOPS),
    ),
    "sticky_seat": Defect(
        "Sticks in its seat",
        "Leaving the seat takes much more current than moving anywhere else.",
        "Clean carbon and tar from pintle and seat. Measure again.",
        ("no_return", "sticky", "weak_spring", "slow", "rest_shifted"),
    ),
    "binding": Defect(
        "Binding at one place",
        "The part needs more current to pass one place than the places beside it, in several sweeps.",
        "Look there for deposits, a damaged gear tooth or a bent shaft. Clean and measure again.",
        ("sticky", "weak_rest_spring", "no_return", "slow", "rest_shifted", "track_range", *STOPS),
    ),
    "sticky": Defect(
        "Sticky over the whole travel",
        "Friction is too high everywhere. So this is dirt or dry bearings rather than one damaged place.",
        "Clean the moving parts and their guides. Measure again. If it is still sticky, bearings, guides"
        " or gear are worn.",
        ("weak_rest_spring", "no_return", "slow", "rest_shifted", "low_friction", *STOPS),
    ),
    "weak_spring": Defect(
        "Weak return spring",
        "The spring pushes back with too little force.",
        "Look for a broken, slipped or tired spring. The part may fail to return: do not refit it.",
        ("no_return", "slow", "rest_shifted", "sticky", "low_friction"),
    ),
    "weak_rest_spring": Defect(
        "Weak spring on the closing side",
        "After the part was pressed shut, its spring pushes it back to rest with too little force.",
        "Look for a broken or slipped spring: the one that holds the rest position.",
        ("no_return", "slow", "rest_shifted"),
    ),
    "no_return": Defect(
        "Does not return by itself",
        "Released, the part stays away from its rest position.",
        "Look at the findings on friction and spring. Do not refit the part.",
        ("rest_shifted", "slow"),
    ),
    "short_travel": Defect(
        "Travel too short",
        "The part does not cover its whole way between the stops.",
        "Look for something in the way, or a gear that jumped.",
        ("stop_shifted", "track_range", "rest_shifted", "slow"),
    ),
    "track_mismatch": Defect(
        "Sensor tracks disagree",
        "The two tracks report different positions.",
        "Check the plug for corrosion and the sensor for a loose fit. If that is good, replace the sensor.",
        ("stop_shifted", "track_range"),
    ),
    "track_range": Defect(
        "Sensor range too wide",
        "The track moves further than its nominal end voltages.",
        "Check the sensor feed and whether the profile fits this part.",
        ("stop_shifted",),
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
    "stop_shifted": Defect(
        "End stop out of place",
        "The sensor's voltage at a stop is far from nominal.",
        "Look for deposits at the stop, or a sensor that has turned on its shaft.",
    ),
    "rest_shifted": Defect(
        "Rest position out of place",
        "Without power the part rests in the wrong place.",
        "Look at the return spring and what it pulls on. Clean the stop on which the part rests (of a valve,"
        " its seat).",
    ),
    "passage_blocked": Defect(
        "Gas passage blocked",
        "The valve opens but the engine does not notice: no exhaust gas comes through.",
        "Take pipe, cooler and ports off and look for carbon. Clean them and test again.",
    ),
    "seat_leaks": Defect(
        "Does not seal when shut",
        "The sensor says shut, but the engine still runs as if gas came in.",
        "Look for carbon or a notch on pintle and seat. To make sure, close off the valve with a blank"
        " plate and test again.",
    ),
    "slow": Defect(
        "Slow",
        "The part takes too long to get there.",
        "Look at the other findings that failed: friction, spring or load, supply, resistance. They show"
        " the cause.",
    ),
    "unbalanced": Defect(
        "Uneven turn",
        "The load varies with every turn.",
        "Look for a bent shaft, a damaged impeller or rotor, or play in the bearings.",
    ),
    "high_inrush": Defect(
        "Inrush too high",
        "The start takes more current than such a part can need.",
        "Look at the findings on resistance and motor constant. They show the cause.",
    ),
    "slow_start": Defect(
        "Starts slowly",
        "It takes too long until the current has settled.",
        "Look at the findings on load, supply and resistance. They show the cause.",
    ),
    "supply_resistance": Defect(
        "Resistance in the supply side",
        "Under load the supply side loses more than its wire can.",
        "Measure the loss piece by piece, from the battery to the load: fuse, relay, plugs, joints.",
    ),
    "ground_resistance": Defect(
        "Resistance in the ground side",
        "Under load the ground side loses more than its wire can.",
        "Clean the ground point and its bolt. Measure the loss piece by piece.",
    ),
    "chafed_ground": Defect(
        "Second way to ground",
        "The ground side loses less than its wire must: current goes another way.",
        "Look for chafed insulation or a load that touches the body.",
    ),
}
"""Name of a defect -> what it is; deepest first: what explains much stands before what follows from it."""


def defect(name: str) -> Defect:
    """Return the defect called ``name``; one without an entry is described by its bare name."""
    return DEFECTS.get(name) or Defect(
        name.replace("_", " ").capitalize(), "A finding is out of its limits.", "See the findings."
    )
