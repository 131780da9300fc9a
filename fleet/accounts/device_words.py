"""What a browser says of itself, in plain words: the program and the system, never the maker or model of a machine."""

import re

MAX_AGENT_LENGTH = 400
A_BROWSER, A_PROGRAM, UNKNOWN = "A browser", "A program", "Unknown device"
# Tried in this order: each of the later ones is also named by one before it.
_BROWSERS = (
    (re.compile(r"\bEdgA?/|\bEdgiOS/"), "Edge"),
    (re.compile(r"\bOPR/"), "Opera"),
    (re.compile(r"\b(Firefox|FxiOS)/"), "Firefox"),
    (re.compile(r"\b(Chrome|CriOS|Chromium)/"), "Chrome"),
    (re.compile(r"\bVersion/[\d.]+.*\bSafari/"), "Safari"),
    (re.compile(r"^Mozilla/"), A_BROWSER),
)
_SYSTEMS = (
    (re.compile(r"\bAndroid\b"), "Android"),
    (re.compile(r"\blike Mac OS X\b"), "iOS"),
    (re.compile(r"\bMac OS X\b"), "macOS"),
    (re.compile(r"\bWindows\b"), "Windows"),
    (re.compile(r"\bCrOS\b"), "ChromeOS"),
    (re.compile(r"\bLinux\b|\bX11\b"), "Linux"),
)


def describe_device(user_agent: str) -> str:
    """Return words such as “Firefox on Windows” for a User-Agent header."""
    text = user_agent[:MAX_AGENT_LENGTH]
    if not text.strip():
        return UNKNOWN
    browser = next((name for pattern, name in _BROWSERS if pattern.search(text)), A_PROGRAM)
    system = next((name for pattern, name in _SYSTEMS if pattern.search(text)), "")
    return f"{browser} on {system}" if system else browser
