"""A page in the browser at a size and in a theme, its pixels, and what the browser logged."""

import base64
import io

from PIL import Image

SIZES = ((1400, 900), (1024, 768), (390, 844))
THEMES = ("light", "dark")


def set_size(browser, width, height):
    """Give the page a window of this size."""
    wanted = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 500}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", wanted)


def set_theme(browser, theme):
    """Let the page be light or dark."""
    features = [{"name": "prefers-color-scheme", "value": theme}]
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})


def reset(browser):
    """Return to the browser's own window and theme."""
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})


def opened(browser, page):
    """Open a page anew, and wait until it is painted."""
    browser.get("about:blank")
    browser.get_log("browser")
    browser.get(page)
    painted(browser)


def painted(browser):
    """Wait for the next two frames."""
    frame = "requestAnimationFrame"
    browser.execute_async_script(f"const done = arguments[0]; {frame}(() => {frame}(() => done()))")


def overflow(browser):
    """Return by how many pixels the page is wider than its window."""
    return browser.execute_script("return document.documentElement.scrollWidth - innerWidth")


def errors(browser):
    """Return what the browser logged of the page as errors."""
    return [said["message"] for said in browser.get_log("browser") if said["level"] == "SEVERE"]


def pixels(browser):
    """Return what is seen of the page, as rows of red, green and blue."""
    shot = io.BytesIO(base64.b64decode(browser.get_screenshot_as_base64()))
    return Image.open(shot).convert("RGB")


def luminance(colour):
    """Return the relative luminance of a colour (WCAG 2.2, definition of relative luminance)."""
    parts = [value / 255 for value in colour]
    linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    """Return the contrast ratio of two colours (WCAG 2.2, definition of contrast ratio).

    It depends on luminance alone, so it is the same in greyscale.
    """
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)
