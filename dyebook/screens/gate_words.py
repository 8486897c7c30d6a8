"""The few words that are told before anybody is let in; nothing of the book is among them."""

__all__ = ["FRAME", "LINK_IS_OVER", "NOT_PAIRED", "PAIR", "SIGN_IN", "TOO_OFTEN", "WRONG_NAME"]

FRAME = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>dyebook</title>
<meta name="viewport" content="width=device-width, initial-scale=1"><meta name="robots" content="noindex">
<style>
:root {{ color-scheme: light dark }}
body {{ font: 1.1rem/1.5 system-ui, sans-serif; max-width: 30rem; margin: 3rem auto; padding: 0 1rem }}
button {{ font: inherit; padding: 1rem 2rem; width: 100% }}
</style></head>
<body><main>{body}</main></body></html>
"""
# the empty action posts to the link itself, so that it is written nowhere else
PAIR = """<h1>Pair this phone?</h1>
<p>It can then see and change the book at this bench until it is let go at the desk, or for 16 hours.</p>
<form method="post" action=""><button>Pair this phone</button></form>"""
NOT_PAIRED = """<h1>This phone is not paired</h1>
<p>At the desk, press <b>Phone</b> and point this phone's camera at the code.</p>
<p>Paired already? <a href="">Open the page once more</a>.</p>"""
LINK_IS_OVER = """<h1>This link does not pair</h1>
<p>A link works once and for ten minutes. At the desk, press <b>Phone</b> for a fresh one.</p>"""
TOO_OFTEN = """<h1>Too many tries</h1><p>Wait a minute, then take a fresh code at the desk.</p>"""
WRONG_NAME = """<h1>Nothing here by that name</h1><p>Open the address that the app told when it started.</p>"""
SIGN_IN = """<h1>Sign in first</h1><p><a href="/">To the app</a></p>"""
