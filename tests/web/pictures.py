"""A picture of every screen, phone and desk, light and dark: `python -m tests.web.pictures FOLDER`.

Starts the demonstration in a folder of its own, signs in as the manager, follows the first link to each kind of thing,
and stops it again. The pictures are for looking at: nothing is compared.
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
    "self-check": "/self-check/",
    "calculator": "/calculator/",
    "calculation": "/calculator/ladder/",
}
# Kind → the page whose first link of that form leads to one.
FOUND = {
    "boiler": ("/", "/boilers/"),
    "building": ("/wall/", "/buildings/"),
    "deficiency": ("/deficiencies/", "/deficiencies/"),
    "register-building": ("/register/", "/register/buildings/"),
}
MINUTES = 4


@contextmanager
def demonstration() -> Iterator[str]:
    """A running demonstration's address."""
    data, port = roomy() / "pictures", free_port()
    argv = [sys.executable, "manage.py", "demo", "--data", str(data), "--port", str(port)]
    process = subprocess.Popen(argv, cwd=ROOT, env=CLEAN, stdout=subprocess.DEVNULL, start_new_session=True)
    address = f"http://127.0.0.1:{port}"
    try:
        if not eventually(lambda: urllib.request.urlopen(f"{address}/sign-in/", timeout=2).status == 200, 60 * MINUTES):
            raise SystemExit("The demonstration did not come up.")
        yield address
    finally:
        process.send_signal(signal.SIGINT)
        process.wait(60)
        shutil.rmtree(data.parent, ignore_errors=True)


def signed_in(page: Page, address: str) -> None:
    """As the manager."""
    page.goto(f"{address}/sign-in/")
    page.get_by_label("User name").fill("ines")
    page.get_by_label("Password").fill("copper-ladle-42")
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


def pictures(browser: Browser, address: str, folder: Path) -> int:
    """Make them all; return how many."""
    paths: dict[str, str] = {}
    for theme, (place, width, height) in LOOKS:
        context = browser.new_context(color_scheme=theme, viewport={"width": width, "height": height})
        page = context.new_page()
        page.goto(f"{address}/sign-in/")
        page.screenshot(path=folder / f"sign-in-{place}-{theme}.png", full_page=True)
        signed_in(page, address)
        paths = paths or places(page, address)
        for name, path in paths.items():
            page.goto(address + path, wait_until="networkidle" if name == "figures" else "load")
            page.screenshot(path=folder / f"{name}-{place}-{theme}.png", full_page=True)
        context.close()
    return (len(paths) + 1) * len(LOOKS)


def main() -> None:
    """Make the pictures in the folder that is named."""
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    with demonstration() as address, sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium(), args=ARGUMENTS)
        print(f"{pictures(browser, address, folder)} pictures in {folder}")
        browser.close()


if __name__ == "__main__":
    main()
