"""The three PIO programs: the gate keeper of the bridge, the reader of the external converter, the packer of
bursts.

docs/decisions/pwm-and-trip.md tells why the PWM slices make the duty and the PIO only holds the enable line.
"""

import rp2

PERIOD_IRQ = 4  # PIO interrupt flag that DMA sets at each wrap of the PWM


@rp2.asm_pio(set_init=rp2.PIO.OUT_LOW)
def keeper():
    """BRIDGE_ENABLE (set pin) follows TRIP_N (in pin and jmp pin, low = over-current), cycle by cycle.

    Waits, bridge off, for a word from the firmware: how many cut periods it will stand. Then each PWM period
    begins with the bridge on, unless TRIP_N is low already, and a low TRIP_N ends it, at once and for the
    rest of the period. Each cut pushes a word, which DMA takes away and so counts. When the allowance is
    used up the program stops where it began: off until the firmware sends another word.
    """
    pull(block)
    mov(x, osr)
    label("period")
    irq(clear, 4)
    wait(1, irq, 4)
    jmp(pin, "on")
    jmp("cut")
    label("on")
    set(pins, 1)
    wait(0, pin, 0)
    label("cut")
    set(pins, 0)
    push(noblock)
    jmp(x_dec, "period")


# side-set: bit 0 CONV_CS_N, bit 1 CONV_CLK. 50 cycles a conversion: at 2 MHz one takes 25 us, its clock is 1
# MHz.
@rp2.asm_pio(
    sideset_init=(rp2.PIO.OUT_HIGH, rp2.PIO.OUT_LOW),
    out_init=rp2.PIO.OUT_LOW,
    out_shiftdir=rp2.PIO.SHIFT_LEFT,
    in_shiftdir=rp2.PIO.SHIFT_LEFT,
    autopush=True,
    push_thresh=14,
)
def converter():
    """One conversion of an MCP3208-class converter per word pulled; the word's top five bits are the command.

    The chip takes its input at the rising clock edge and changes its output at the falling one (datasheet
    DS21298, figure 5-1). Pushes 14 bits: one undefined, the null bit, twelve bits of the result.
    """
    pull(block).side(0b01)[7]
    set(x, 4).side(0b01)[1]
    nop().side(0b00)
    label("command")
    out(pins, 1).side(0b00)
    jmp(x_dec, "command").side(0b10)
    set(x, 13).side(0b00)
    label("result")
    in_(pins, 1).side(0b10)
    jmp(x_dec, "result").side(0b00)


@rp2.asm_pio(out_shiftdir=rp2.PIO.SHIFT_RIGHT, in_shiftdir=rp2.PIO.SHIFT_RIGHT, autopush=True, push_thresh=32)
def packer():
    """Twelve bits of each word pulled, one after the other, lowest first: eight readings in three words."""
    pull(block)
    out(x, 4)
    in_(x, 4)
    out(x, 4)
    in_(x, 4)
    out(x, 4)
    in_(x, 4)
