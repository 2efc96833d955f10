"""A million mutated frames through the parser (minutes; `-m long`)."""

import pytest
from test_link_abuse import play


@pytest.mark.long
def test_a_million_mutations():
    decoder, came = play(1_000_000, 20)
    assert decoder.bad_frames > 250_000 and came > 250_000
