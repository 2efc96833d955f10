"""A bench as an instrument on the network: SCPI-1999 and IEEE 488.2 over a raw TCP socket.

The panel's one thread keeps the bench; here is what turns program messages into its orders.
"""
