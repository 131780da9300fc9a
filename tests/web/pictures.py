"""A picture of every screen, phone and desk, light and dark: `python -m tests.web.pictures FOLDER [USER:PASSWORD ...]`.

Starts the demonstration in a folder of its own, signs in, follows the first link to each kind of thing, and stops it
again. USER: whoever is to look, by default the manager of Sorrelgate Homes; somebody of another portfolio looks once
it is loaded whole. Of several each gets a folder. The pictures are for looking at: nothing is compared.
"""

import shutil
import signal
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import product
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

from tests.management.machine import CLEAN, ROOT, eventually, free_port, roomy
from tests.servers import chromium

ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
LOOKS = list(product(("light", "dark"), (("desk", 1280, 900), ("phone", 320, 720))))
FIXED = {
    "board": "/",
    "wall": "/wall/",
    "alerts": "/alerts/",
    "deficiencies": "/deficiencies/",
    "jobs": "/jobs/",
    "job-new": "/jobs/new/",
    "figures": "/figures/",
    "register": "/register/",
    "account": "/account/",
    "naming-visits": "/visits/that-name-me/",
    "self-check": "/self-check/",
    "calculator": "/calculator/",
    "calculation": "/calculator/ladder/",
    "sources": "/sources/",
}
# Kind → the page whose first link of that form leads to one.
FOUND = {
    "boiler": ("/", "/boilers/"),
    "building": ("/wall/", "/buildings/"),
    "deficiency": ("/deficiencies/", "/deficiencies/"),
    "register-building": ("/register/", "/register/buildings/"),
}
MINUTES = 4
MANAGER = "ines:copper-ladle-42"
PORTFOLIOS = 2  # that load behind the site


@contextmanager
def demonstration(*, whole: bool) -> Iterator[str]:
    """A running demonstration's address; `whole`: once everything in it is loaded."""
    data, port = roomy() / "pictures", free_port()
    printed = data.parent / "printed"
    argv = [sys.executable, "manage.py", "demo", "--data", str(data), "--port", str(port)]
    with printed.open("w") as out:
        process = subprocess.Popen(argv, cwd=ROOT, env=CLEAN, stdout=out, start_new_session=True)
    address = f"http://127.0.0.1:{port}"
    try:
        if not eventually(lambda: urllib.request.urlopen(f"{address}/sign-in/", timeout=2).status == 200, 60 * MINUTES):
            raise SystemExit("The demonstration did not come up.")
        if whole and not eventually(lambda: printed.read_text().count(": done, ") == PORTFOLIOS, 60 * 5 * MINUTES):
            raise SystemExit("The demonstration did not become whole.")
        yield address
    finally:
        process.send_signal(signal.SIGINT)
        process.wait(60)
        shutil.rmtree(data.parent, ignore_errors=True)


def signed_in(page: Page, address: str, who: str) -> None:
    """As somebody, whose name and password are parted by a colon."""
    user, _, password = who.partition(":")
    page.goto(f"{address}/sign-in/")
    page.get_by_label("User name").fill(user)
    page.get_by_label("Password").fill(password)
    page.keyboard.press("Enter")
    page.wait_for_url(f"{address}/")


def places(page: Page, address: str) -> dict[str, str]:
    """Every screen's path; of what has many the first that is linked."""
    found = dict(FIXED)
    for name, (start, form) in FOUND.items():
        page.goto(address + start)
        link = page.locator(f'main a[href^="{form}"]:not([href*="?"])').first
        if link.count():
            found[name] = str(link.get_attribute("href")).partition("#")[0]
    if "boiler" in found:
        page.goto(address + found["boiler"])
        link = page.locator('a[href^="/visits/"]').first
        if link.count():
            found["visit"] = str(link.get_attribute("href")).partition("#")[0]
    return found


def pictures(browser: Browser, address: str, folder: Path, who: str) -> int:
    """Make them all; return how many."""
    paths: dict[str, str] = {}
    for theme, (place, width, height) in LOOKS:
        context = browser.new_context(color_scheme=theme, viewport={"width": width, "height": height})
        page = context.new_page()
        page.goto(f"{address}/sign-in/")
        page.screenshot(path=folder / f"sign-in-{place}-{theme}.png", full_page=True)
        signed_in(page, address, who)
        paths = paths or places(page, address)
        for name, path in paths.items():
            page.goto(address + path, wait_until="networkidle" if name == "figures" else "load")
            page.screenshot(path=folder / f"{name}-{place}-{theme}.png", full_page=True)
        context.close()
    return (len(paths) + 1) * len(LOOKS)


def main() -> None:
    """Make the pictures in the folder that is named."""
    folder, people = Path(sys.argv[1]), sys.argv[2:]
    with demonstration(whole=bool(people)) as address, sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium(), args=ARGUMENTS)
        for who in people or [MANAGER]:
            place = folder / who.partition(":")[0] if people else folder
            place.mkdir(parents=True, exist_ok=True)
            print(f"{pictures(browser, address, place, who)} pictures in {place}")
        browser.close()


if __name__ == "__main__":
    main()
