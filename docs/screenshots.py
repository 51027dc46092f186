"""The pictures of the documentation, taken of the sample's report.

Goes in: ``reports/sample`` (``make report``) and ``reports/example/dossier.html``. Comes out:
``docs/images``, one PNG a picture, colours reduced to keep it small. Run it anew whenever the report looks
different: ``python docs/screenshots.py``. It needs the Chromium of the system.
"""

from __future__ import annotations

import io
import shutil
from collections.abc import Callable
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright

ROOT = Path(__file__).resolve().parent.parent
IMAGES = ROOT / "docs" / "images"
INDEX = ROOT / "reports" / "sample" / "index.html"
UNIT = ROOT / "reports" / "sample" / "units" / "ZZRU4314001.html"
HANDOVER = ROOT / "reports" / "sample" / "handover.html"
DOSSIER = ROOT / "reports" / "example" / "dossier.html"
WIDE = (1440, 900)
PHONE = (390, 844)
PAPER = (1123, 794)
SHEET = (1040, 900)
COLOURS = 96
SETTLED = 1500
"""Time for the charts to be drawn. [ms]"""


def main() -> None:
    """Take every picture."""
    IMAGES.mkdir(exist_ok=True)
    chromium = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        take(browser, "first_screen", INDEX)
        take(browser, "first_screen_dark", INDEX, dark=True)
        take(browser, "phone", INDEX, size=PHONE)
        take(browser, "unit", UNIT)
        take(browser, "unit_answered", UNIT, before=answer_yes)
        take(browser, "unit_phone_dark", UNIT, size=PHONE, dark=True)
        take(browser, "chart", UNIT, before=lambda page: to_top(page, "figure"))
        take(browser, "fleet", INDEX, place="#fleet", before=lambda page: to_top(page, "#days"))
        take(browser, "ship", INDEX, place="#ship")
        take(browser, "handover", HANDOVER, size=SHEET)
        take(browser, "printed", INDEX, size=PAPER, printed=True)
        take(browser, "dossier", DOSSIER, size=SHEET)
        browser.close()


def take(
    browser: Browser,
    name: str,
    address: Path,
    *,
    place: str = "",
    size: tuple[int, int] = WIDE,
    dark: bool = False,
    printed: bool = False,
    before: Callable[[Page], object] = lambda page: None,
) -> None:
    """Open a page, let ``before`` bring it to where the picture is of, and keep what is seen."""
    narrow = size == PHONE
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]},
        color_scheme="dark" if dark else "light",
        device_scale_factor=2 if narrow else 1,
        has_touch=narrow,
        is_mobile=narrow,
        locale="en-GB",
        timezone_id="UTC",
    )
    page = context.new_page()
    page.goto(address.as_uri() + place)
    if printed:
        page.emulate_media(media="print")
    page.wait_for_timeout(SETTLED)
    before(page)
    page.wait_for_timeout(SETTLED)
    image = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    context.close()
    path = IMAGES / f"{name}.png"
    image.quantize(COLOURS, dither=Image.Dither.NONE).save(path, optimize=True)
    print(f"{path.relative_to(ROOT)}: {image.width} × {image.height}, {path.stat().st_size / 1000:.0f} kB")


def answer_yes(page: Page) -> None:
    """Answer the first check of a unit's page."""
    page.locator('button[data-seen="yes"]:visible').first.click()


def to_top(page: Page, place: str) -> None:
    """Scroll until this part of the page begins at the top."""
    page.locator(place).first.evaluate("part => part.scrollIntoView()")


if __name__ == "__main__":
    main()
