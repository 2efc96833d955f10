"""Pages without scripts: the one that asks for the one-time token, and the one that says sorry."""

from __future__ import annotations

from html import escape

from strokebench.panel.pages.frame import STATIC
from strokebench.panel.pages.stop import with_stop
from strokebench.panel.security import ENTER

PAGE = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>strokebench: enter</title>
<style>{style}</style>
</head>
<body>
<main class="sheet">
<h1>This panel moves a part</h1>
<p>Type the token that the panel's program has printed. Each token works once, for one browser.</p>
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


def enter_page(style: str, *, wrong: bool = False) -> str:
    """Return the page; ``style`` is put into it, for nothing else may be fetched without a session."""
    return PAGE.format(style=style, enter=ENTER, problem=WRONG if wrong else "")


SORRY = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>strokebench: not found</title>
<link rel="stylesheet" href="{static}/panel.css">
</head>
<body>
<main class="sheet">
<h1>Not found</h1>
<p>{sentence}</p>
<p><a href="/">To the bench</a> <a href="/book">To the job book</a></p>
</main>
</body>
</html>
"""


def sorry_page(sentence: str) -> str:
    """Return a page that says what is not there, and where to go on, with STOP as on every page."""
    return with_stop(SORRY.format(static=STATIC, sentence=escape(sentence)))
