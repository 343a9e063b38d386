"""What a page must look like on every screen, asked of the browser itself."""

from __future__ import annotations

import base64
from dataclasses import dataclass, field

from playwright.sync_api import ConsoleMessage, Page

LAPTOP = (1280, 800)
PHONE = (390, 844)
#: Smallest press for a wet hand, in CSS pixels; a border may take half a pixel.
PRESS_PX = 47.5

_WIDER_THAN_SCREEN = """() => document.documentElement.scrollWidth - document.documentElement.clientWidth"""
_SMALL_PRESSES = """(least) => [...document.querySelectorAll(
    'button, select, textarea, summary, nav a, .press, .entry[href], label:has(input[type=radio]), '
    + 'label:has(input[type=checkbox]), input:not([type=hidden]):not([type=radio]):not([type=checkbox])')]
  .map((each) => [each, each.getBoundingClientRect()])
  .filter(([, box]) => box.width > 0 && (box.height < least || box.width < least))
  .map(([each, box]) => `${each.tagName} ${each.textContent.trim().slice(0, 20)} ${box.width}x${box.height}`)"""
_BRIGHT_PIXELS = """async (png) => {
  const image = await createImageBitmap(await (await fetch(`data:image/png;base64,${png}`)).blob());
  const canvas = new OffscreenCanvas(image.width, image.height);
  const drawing = canvas.getContext('2d');
  drawing.drawImage(image, 0, 0);
  const bytes = drawing.getImageData(0, 0, image.width, image.height).data;
  const linear = (v) => (v / 255 <= 0.04045 ? v / 255 / 12.92 : ((v / 255 + 0.055) / 1.055) ** 2.4);
  let brightest = 0, notRed = 0;
  for (let i = 0; i < bytes.length; i += 4) {
    const [r, g, b] = [bytes[i], bytes[i + 1], bytes[i + 2]];
    brightest = Math.max(brightest, 0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b));
    if (g > 0.5 * r + 8 || b > 0.5 * r + 8) notRed += 1;
  }
  return [brightest, notRed];
}"""


@dataclass
class Watch:
    """Notes what a page complains about while it is used."""

    complaints: list[str] = field(default_factory=list)

    def on(self, page: Page) -> Page:
        """Listen to a page."""
        page.on("console", self._console)
        page.on("pageerror", lambda error: self.complaints.append(f"script: {error}"))
        return page

    def _console(self, message: ConsoleMessage) -> None:
        # A refused form answers 422, which the browser also writes to its console; the tests look at it themselves.
        if message.type in ("error", "warning") and "status of 4" not in message.text:
            self.complaints.append(f"{message.type}: {message.text}")


def dress(page: Page, address: str, size: tuple[int, int], theme: str) -> None:
    """Give a page its size, and the theme as the server will know it from the first byte."""
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.context.add_cookies([{"name": "theme", "value": theme, "url": address}])


def misfits_of(page: Page) -> list[str]:
    """Return what does not fit the screen or the hand, on the page as it stands with its styles."""
    page.wait_for_load_state("load")
    wider = page.evaluate(_WIDER_THAN_SCREEN)
    found = [f"{wider} px wider than the screen"] if wider > 0 else []
    found += [f"small: {words}" for words in page.evaluate(_SMALL_PRESSES, PRESS_PX)]
    return [f"{page.url}: {misfit}" for misfit in found]


def brightness_of(page: Page) -> tuple[float, int]:
    """Return the luminance of the brightest pixel (white is 1), and how many pixels are not red."""
    picture = base64.b64encode(page.screenshot(full_page=True)).decode()
    blank = page.context.new_page()
    try:
        brightest, not_red = blank.evaluate(_BRIGHT_PIXELS, picture)
    finally:
        blank.close()
    return float(brightest), int(not_red)
