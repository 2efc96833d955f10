"""The stretches of a recording in which somebody just switched a part on, found in its current.

Such a recording comes from an oscilloscope or a logger; neither drive nor procedure is known.

============= =============================================================================================
label         what it has to be
============= =============================================================================================
rest          no current, before the first switch-on; tells the current's zero and noise
switched_on   from the first rise out of the noise until the current is gone again; its kind is ``start``
              when the rise itself was recorded, else ``running``
steady        the last settled part of the longest of them
switched_off  from the end of a switched_on until the next, half a second at most
============= =============================================================================================
"""

from __future__ import annotations

REST = "rest"
SWITCHED_ON = "switched_on"
STEADY = "steady"
SWITCHED_OFF = "switched_off"

START = "start"
RUNNING = "running"

RECORDING = "recording"
"""Label of a burst that is the current of the recording itself, as captured; one for each piece without a
gap."""
