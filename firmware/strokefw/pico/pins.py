"""Pico GPIO numbers and net names: the one table that firmware, schematics and documents share.

A net in hardware/kicad and hardware/kicad_small has exactly the name given here, and tests/hardware
compares them. There is one gate input per MOSFET, so that the self-test can pulse each one alone:

  drive > 0   leg A switches: A_HIGH = duty, A_LOW = its complement; B_LOW on, B_HIGH off
  drive < 0   leg B switches: B_HIGH = duty, B_LOW = its complement; A_LOW on, A_HIGH off
  drive = 0   A_LOW and B_LOW on (brake)
  BRIDGE_ENABLE low: all four off (coast), whatever the gate inputs say

The gate driver adds the dead time. Both channels of a leg sit in one PWM slice (GPIO2/3: slice 1, GPIO4/5:
slice 2), so that one 32-bit write of the compare register changes high and low side in the same period.

The beginner's bench (channels.FEW) has less: no external converter, no fine current, no latch. There
GPIO27 is sensor A, and GPIO15 is high while the emergency-stop loop is closed. Its modules take A_HIGH and
B_HIGH alone.
"""

OUT = 0
IN = 1
ANALOG = 2

# (GPIO, net, direction, level at rest = what the board's pull resistor gives while the Pico is in reset, use)
TABLE = (
    (0, "UART_TX", OUT, 1, "option: isolated serial link instead of USB, 3.3 V level"),
    (1, "UART_RX", IN, 1, "option: isolated serial link instead of USB, 3.3 V level"),
    (2, "A_HIGH", OUT, 0, "gate input, leg A high side (PWM slice 1 A)"),
    (3, "A_LOW", OUT, 0, "gate input, leg A low side (PWM slice 1 B, inverted)"),
    (4, "B_HIGH", OUT, 0, "gate input, leg B high side (PWM slice 2 A)"),
    (5, "B_LOW", OUT, 0, "gate input, leg B low side (PWM slice 2 B, inverted)"),
    (6, "BRIDGE_ENABLE", OUT, 0, "high lets the gates switch; a PIO program drops it on TRIP_N"),
    (7, "TRIP_N", IN, 1, "low while |motor current| is above TRIP_LEVEL (window comparator, open drain)"),
    (8, "TRIP_LEVEL", OUT, 0, "PWM (slice 4 A), smoothed: threshold of the cycle-by-cycle limit"),
    (9, "LATCH_ARM", OUT, 0, "rising edge sets the hard latch; level does nothing"),
    (10, "LATCH_OK", IN, 0, "hard latch: high = set; falls on hard over-current, heat or low 3.3 V"),
    (11, "WATCHDOG", OUT, 0, "each rising edge keeps the gates alive for about 10 ms"),
    (12, "PRECHARGE", OUT, 0, "high: bridge supply through a resistor, if latch and watchdog agree"),
    (13, "MAIN_SWITCH", OUT, 0, "high: main switch on, if latch and watchdog agree"),
    (14, "NTC_SELECT", OUT, 0, "analog switch in front of converter channel 5: low heatsink, high loose NTC"),
    (15, "ESTOP_OPEN", IN, 1, "high: the emergency-stop loop is open (the gates are off without firmware)"),
    (16, "CONV_DOUT", IN, 0, "converter data out"),
    (17, "CONV_CS_N", OUT, 1, "converter chip select, active low (GPIO17 and 18 adjacent: PIO side-set)"),
    (18, "CONV_CLK", OUT, 0, "converter clock, 1 MHz"),
    (19, "CONV_DIN", OUT, 0, "converter data in"),
    (20, "LED", OUT, 0, "fault lamp on the front: tens as long, units as short flashes"),
    (21, "CHOPPER_ON", IN, 0, "high while the brake chopper conducts (regeneration)"),
    (
        22,
        "BOARD_KIND",
        IN,
        0,
        "strap: low = reference, high = small, LED = beginner's, floating = bare board",
    ),
    (26, "I_COARSE", ANALOG, 0, "motor current, shunt gain 20 (converter 0 of the chip)"),
    (27, "I_FINE", ANALOG, 0, "motor current, shunt gain 200, for bursts (converter 1 of the chip)"),
    (28, "BUS_SENSE", ANALOG, 0, "bridge supply, 180k/27k, buffered (converter 2 of the chip)"),
)

BOARD_LED = 25  # on the Pico itself; repeats LED

# Channels of the external 8-channel SPI converter (MCP3208 class): index = channel, value = net.
CONVERTER = ("SENSOR_A", "SENSOR_B", "I_FINE_SLOW", "LEG_A", "LEG_B", "NTC", "VIN_SENSE", "FEED_SENSE")


def gpio(net):
    """GPIO number of a net name; KeyError for a name that is not in the table."""
    for row in TABLE:
        if row[1] == net:
            return row[0]
    raise KeyError(net)
