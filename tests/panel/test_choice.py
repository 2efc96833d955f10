"""What the panel connects to, and when not."""

from __future__ import annotations

import pytest
from strokebench.errors import LinkError, UsageError
from strokebench.parts import load_part


def test_the_panel_connects_to_nothing_before_the_box_is_ticked() -> None:
    pytest.importorskip("nicegui")
    from strokebench.panel.choice import Choice, open_choice

    profile, port = load_part("fuel-pump"), "/dev/no-such-bench"
    with pytest.raises(UsageError, match="must be acknowledged"):
        open_choice(Choice("fuel-pump", simulated=False, port=port), profile, lambda: None)
    ticked = Choice("fuel-pump", simulated=False, port=port, acknowledged=True)
    with pytest.raises(LinkError, match="no-such-bench"):  # it went on to the port
        open_choice(ticked, profile, lambda: None)
