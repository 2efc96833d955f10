"""Coming in from another device: the page that asks for a token, and the one that makes it, as a QR code."""

from __future__ import annotations

from strokebench.panel.pages.frame import frame, written
from strokebench.panel.security import ENTER, ROLES
from strokebench.panel.tags import tag

PAGE = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>strokebench: enter</title>
<style>{style}</style>
<script>{script}</script>
</head>
<body>
<main class="sheet">
<h1>This panel moves a part</h1>
<p>Type the token that the panel's program has printed, or that its page <em>Join by phone</em> shows.
Each token works once, for one browser.</p>
{problem}
<form method="post" action="{enter}">
<div class="field"><label for="token">Token</label>
<input type="text" id="token" name="token" autocomplete="off" autocapitalize="characters" spellcheck="false"
 required></div>
<button class="main" type="submit">Enter</button>
</form>
</main>
</body>
</html>
"""
WRONG = '<p role="alert"><strong>That was not the token.</strong> Wait a second, then try again.</p>'
SCRIPT = """addEventListener("DOMContentLoaded", () => {
  const token = new URLSearchParams(location.hash.slice(1)).get("token");
  if (!token) return;
  history.replaceState(null, "", location.pathname);
  document.getElementById("token").value = token;
});"""
"""A token from a QR code comes behind the address's ``#``, which no browser sends, and is taken out of it."""
ROLE_WORDS = {
    "watch": "Watch: the device sees everything and has STOP. It drives nothing.",
    "drive": "Drive: the device may take the controls while nothing moves.",
}


def enter_page(style: str, *, wrong: bool = False) -> str:
    """Return the page; ``style`` is put into it, for nothing else may be fetched without a session."""
    return PAGE.format(style=style, script=SCRIPT, enter=ENTER, problem=WRONG if wrong else "")


def join_page(url: str, token: str = "", role: str = "", *, spaced: str = "") -> str:
    """Return the page that lets another device join, with a ``token`` its QR code; no ``url``: none can."""
    with frame("/join", "Join by phone") as page, tag("div", classes="sheet"):
        tag("h1", "Join by phone")
        if not url:
            tag("p", "This panel listens on this computer only, so no other device can join.")
            tag("p", "Start it with --listen 0.0.0.0, on a network that you trust or with --tls.")
            return written(page)
        if token:
            _code(url, token, role, spaced)
        with tag("form", classes="join", method="post", action="/join"):
            for name in ROLES:
                with tag("div", classes="check"):
                    tag(
                        "input",
                        type="radio",
                        name="role",
                        id=f"r-{name}",
                        value=name,
                        checked=name == "watch",
                    )
                    tag("label", ROLE_WORDS[name], for_=f"r-{name}")
            tag("button", "Make a code for one device", "main", type="submit")
    return written(page)


def _code(url: str, token: str, role: str, spaced: str) -> None:
    import segno

    code = segno.make(f"{url.rstrip('/')}{ENTER}#token={token}", error="m")
    with tag("section", classes="card code"):
        tag("h2", f"One device may {role}")
        image = tag("img", alt="QR code of the panel's address with the token", classes="qr")
        image.props["src"] = code.svg_data_uri(scale=6, border=4, dark="#000", light="#fff")
        tag("p", f"Or open {url} and type {spaced}.")
        tag("p", "The code works once. A new one makes it void.", "hint")
