"""What a browser says of itself becomes plain words, without the maker or model of any machine."""

import pytest

from fleet.accounts.device_words import describe_device

WEBKIT = "AppleWebKit/537.36 (KHTML, like Gecko)"
CHROME, SAFARI = f"{WEBKIT} Chrome/140.0.0.0", "AppleWebKit/605.1.15 Version/18.0"
AGENTS = {
    f"Mozilla/5.0 (Windows NT 10.0; Win64; x64) {CHROME} Safari/537.36 Edg/140.0.0.0": "Edge on Windows",
    f"Mozilla/5.0 (Windows NT 10.0; Win64; x64) {CHROME} Safari/537.36": "Chrome on Windows",
    f"Mozilla/5.0 (Linux; Android 10; K) {CHROME} Mobile Safari/537.36": "Chrome on Android",
    f"Mozilla/5.0 (Linux; Android 10; K) {CHROME} Mobile Safari/537.36 OPR/90.0": "Opera on Android",
    "Mozilla/5.0 (X11; Linux x86_64; rv:140.0) Gecko/20100101 Firefox/140.0": "Firefox on Linux",
    f"Mozilla/5.0 (Phone; CPU OS 18_0 like Mac OS X) {SAFARI} Mobile/1 Safari/604.1": "Safari on iOS",
    f"Mozilla/5.0 (Desk; Mac OS X 10_15_7) {SAFARI} Safari/605.1.15": "Safari on macOS",
    "Mozilla/5.0 (Something; else)": "A browser",
    "curl/8.5.0": "A program",
    "": "Unknown device",
    "   ": "Unknown device",
    "\x00<script>": "A program",
}


@pytest.mark.parametrize("agent", AGENTS)
def test_a_browser_is_told_in_plain_words(agent: str) -> None:
    assert describe_device(agent) == AGENTS[agent]


def test_the_words_always_fit_their_column_however_long_the_header_is() -> None:
    assert len(describe_device("Mozilla/5.0 " + "Chrome/1 Android " * 10_000)) <= 60
