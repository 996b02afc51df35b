"""What every answer tells the browser to refuse.

No script and no style that is not a file of this page: nothing that stands in a name or a note can
become either. `style-src-attr` is the one door, and none of our templates uses it: the plot
library writes a few `style` attributes into its own drawing (text that it measures), and an
attribute can colour and place, but load nothing here, since every source but this page is closed.
"""

from __future__ import annotations

CONTENT = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data: blob:",  # the plot as a picture to keep
        "connect-src 'self'",
        "manifest-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)

ALWAYS = (
    ("content-security-policy", CONTENT),
    ("x-content-type-options", "nosniff"),
    ("x-frame-options", "DENY"),
    ("referrer-policy", "same-origin"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    ("permissions-policy", "camera=(), geolocation=(), microphone=(), payment=(), usb=()"),
    ("cache-control", "no-store"),
)
"""Where an answer has its own, that stands."""
