"""The frames' encoding in the processor's own words; a test compares it with cobs.encode_bytewise."""

import micropython


@micropython.asm_thumb
def encode(r0, r1, r2):
    """Encode n (r1) bytes from r0 into r2; return the encoded length."""
    mov(r7, r2)
    add(r1, r1, r0)
    mov(r4, r2)  # where the code of the run goes
    mov(r3, r2)
    add(r3, 1)
    b(CHECK)
    label(NEXT)
    ldrb(r5, [r0, 0])
    add(r0, 1)
    cmp(r5, 0)
    beq(ZERO)
    strb(r5, [r3, 0])
    add(r3, 1)
    sub(r6, r3, r4)
    cmp(r6, 255)
    bne(CHECK)
    strb(r6, [r4, 0])
    cmp(r0, r1)
    beq(DONE)
    mov(r4, r3)
    add(r3, 1)
    b(CHECK)
    label(ZERO)
    sub(r6, r3, r4)
    strb(r6, [r4, 0])
    mov(r4, r3)
    add(r3, 1)
    label(CHECK)
    cmp(r0, r1)
    bcc(NEXT)
    sub(r6, r3, r4)
    strb(r6, [r4, 0])
    label(DONE)
    sub(r0, r3, r7)
