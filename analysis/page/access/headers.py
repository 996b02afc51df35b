"""What every answer tells the browser to refuse.

No script and no style that is not a file of this page: nothing that stands in a name or a note can
become either. The plot library would write a style sheet into the page; it does not where it finds
one that is marked as its own, and ours is (`plot.css`, in the head of the screens that have plots).
"""

from __future__ import annotations

CONTENT = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data:",
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
