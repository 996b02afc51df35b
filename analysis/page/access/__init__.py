"""Who may look: the pass phrase, sessions, tokens, throttled log-in, and the guard before it all.

Until a pass phrase is set the page listens on this machine only. What attackers on other web sites
can make a browser do is refused throughout: a wrong Host (DNS rebinding), a request from another
origin, a form without its token.
"""
