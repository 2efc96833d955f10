"""What the defects of pumps, fans and wiring mean to a person, and what to look at next. Common practice."""

from __future__ import annotations

from strokebench.diagnose.defects import Defect

TURNING_DEFECTS: dict[str, Defect] = {
    "blocked": Defect(
        "Blocked rotor",
        "The motor takes current as if it stood: it makes no back-EMF.",
        "Turn it by hand with the power off; look for something in the way. Do not try again under power.",
    ),
    "dragging": Defect(
        "Dragging bearing",
        "Friction that does not depend on speed is too high, so it is in the bearings or something rubs.",
        "Turn it by hand and listen; look for a rubbing rotor or impeller, dry or worn bearings.",
    ),
    "bad_segment": Defect(
        "Bad commutator segment or coil",
        "The current dips each time a brush passes one place of the commutator.",
        "The motor is at the end of its life; replace motor or part.",
    ),
    "worn_brush": Defect(
        "Worn or bouncing brushes",
        "The current flickers at random while it turns.",
        "Replace the motor or the part; feel for play of the shaft.",
    ),
    "weak_magnet": Defect(
        "Weak motor",
        "The motor makes too little voltage for its speed: it has lost flux, and takes more current.",
        "Replace the motor or the part; ask whether it was run too hot.",
    ),
    "dry": Defect(
        "Runs dry",
        "There is too little to turn: the pump moves nothing, or only foam.",
        "Stop at once; check tank or circuit, strainer and suction line, bleed it; then measure again.",
    ),
    "worn": Defect(
        "Worn pump",
        "At low speed it builds up too little pressure: it leaks inside.",
        "Measure pressure and delivery by the vehicle maker's procedure; replace the pump.",
    ),
    "clogged": Defect(
        "Outlet, filter or impeller clogged",
        "The load grows too much with speed.",
        "Check filter, lines and outlet for a restriction, the impeller for foreign matter.",
    ),
    "obstructed": Defect(
        "Air flow obstructed",
        "The load grows too much with speed.",
        "Look for something in the air's way, blades that touch, a radiator full of dirt, a wrong fan.",
    ),
    "broken_blade": Defect(
        "Blade broken or missing",
        "The load varies with every turn, or there is too little of it.",
        "Stop it, look at every blade and at the hub; do not run it again before it is replaced.",
    ),
    "unbalanced": Defect(
        "Uneven turn",
        "The load varies with every turn.",
        "Look for a bent shaft, a damaged impeller or rotor, play of the bearings.",
    ),
    "high_inrush": Defect(
        "Inrush too high",
        "The start takes more current than such a part can need.",
        "Look at resistance and motor constant above.",
    ),
    "slow_start": Defect(
        "Starts slowly",
        "It takes too long until the current has settled.",
        "Look at friction, supply and leads above.",
    ),
    "supply_resistance": Defect(
        "Resistance in the supply side",
        "Under load the supply side loses more than its wire can.",
        "Measure the loss piece by piece, from the battery to the load: fuse, relay, plugs, joints.",
    ),
    "ground_resistance": Defect(
        "Resistance in the ground side",
        "Under load the ground side loses more than its wire can.",
        "Clean the ground point and its bolt; measure the loss piece by piece.",
    ),
    "bad_crimp": Defect(
        "Bad crimp",
        "The resistance flickers under load: a joint makes and breaks.",
        "Wiggle plugs and crimps one by one under load and watch the reading; make the bad one new.",
    ),
    "open_wire": Defect(
        "Open circuit",
        "No current flows.",
        "Check fuse, plugs and wire for continuity.",
    ),
    "chafed_ground": Defect(
        "Second way to ground",
        "The ground side loses less than its wire must: current goes another way.",
        "Look for chafed insulation or a load that touches the body.",
    ),
}
