"""Which small part is near which pin on both boards alike: their sheets give these parts the same names."""

from __future__ import annotations

PLUGS_AND_ENABLE = (
    ("J501.4", "F501"),
    ("J503.1", "R509 R510 C508"),
    ("J502.1", "R507 R508 C507"),
    ("J503.1", "U503 C509"),
    ("U201.2", "C203"),
    ("U202.14", "C202"),
    ("U204.14", "C204"),
    ("U203.15", "C201 R203"),
    ("U204.12", "Q201 R204 R205"),
    ("U202.1", "R202"),
    ("J201.2", "R201"),
)
"""Sensor and stop plugs, then the enable chain."""

STOP_AND_PICO = (
    ("J504.1", "R511 C510 D504 R512 Q501 R515"),
    ("J504.2", "R514"),
    ("A601.4", "R206"),
    ("A601.5", "R207"),
    ("A601.6", "R208"),
    ("A601.7", "R209"),
    ("A601.9", "R210"),
    ("A601.11", "R606"),
    ("A601.12", "R211"),
    ("A601.15", "R212"),
    ("A601.16", "R213"),
    ("A601.17", "R214"),
    ("A601.19", "R605"),
    ("A601.2", "R603"),
    ("A601.1", "R604"),
)
"""The stop button's loop, then the lines of the Pico."""

PICO_SUPPLY = (
    ("A601.36", "C602 C603"),
    ("A601.29", "R601"),
    ("A601.22", "R602"),
    ("A601.26", "R607"),
)
"""The Pico's supplies and straps."""

SIGNAL_PORT = (
    ("D505.2", "R513"),
    ("U601.6", "C604"),
    ("U601.2", "R611"),
    ("U601.7", "R612 Q601 R613"),
    ("JP602.2", "R614 D602"),
    ("JP603.1", "Q602 D604 R617 R616"),
    ("J601.1", "D603"),
    ("J601.2", "D605 R618 D606 R619 R620 C606 D607 U602 C607 R621"),
)
"""The lamp of the stop loop, then the signal port."""
