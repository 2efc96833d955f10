"""STOP, its state and the verdict for pages that are files as well: the reports."""

from __future__ import annotations

import secrets

from strokebench import __version__
from strokebench.panel.pages.frame import STATIC

REPORT_POLICY = (
    "default-src 'none'; style-src 'self' 'unsafe-inline'; img-src data:; script-src 'self';"
    " connect-src 'self'; frame-ancestors 'none'; base-uri 'none'"
)
"""What a page that has its style in itself may do."""
PIECE = """
<link rel="stylesheet" href="{static}/stop.css?{version}">
<meta name="panel-page" content="{page}"><meta name="panel-role" content="watch">
<footer class="stop-bar" aria-label="Stop and control">
<div class="who"><p class="says" data-out="says" role="status">Connecting to the panel</p>
<p class="stop-state" data-stop-state role="status"></p>
<p class="verdict-line" data-verdict role="status"></p></div>
<button type="button" class="stop" data-do="stop" aria-label="STOP: drive and supply off at once">
<span>STOP</span><small>Space or Esc</small></button>
</footer>
<script type="module" src="{static}/watch.js?{version}"></script>
"""


def with_stop(html: str) -> str:
    """Return the page with the stop bar at the end of its body."""
    piece = PIECE.format(static=STATIC, version=__version__, page=secrets.token_urlsafe(12))
    before, end, after = html.rpartition("</body>")
    return before + piece + end + after if end else html + piece
