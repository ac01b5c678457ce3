"""A browser whose own camera shows a film of a still."""

from contextlib import contextmanager
from shutil import which

import cv2
from page_kit import CHROMIUM_ARGUMENTS
from playwright.sync_api import sync_playwright

from vision.still import decode_still


def film(path, *pictures, rate_hz=10):
    """A video of pictures that a browser plays as its camera, again and again."""
    high, wide = pictures[0].shape[:2]
    with path.open("wb") as file:
        file.write(f"YUV4MPEG2 W{wide} H{high} F{rate_hz}:1 Ip A1:1 C420jpeg\n".encode())
        for shown in pictures:
            file.write(b"FRAME\n" + cv2.cvtColor(shown, cv2.COLOR_BGR2YUV_I420).tobytes())
    return path


def picture(path):
    """A still's pixels."""
    return decode_still(path.read_bytes())


@contextmanager
def browser_with_camera(video):
    """Chromium whose camera shows that video."""
    arguments = [*CHROMIUM_ARGUMENTS, "--use-fake-device-for-media-stream"]
    arguments.append(f"--use-file-for-fake-video-capture={video}")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=which("chromium"), args=arguments)
        yield browser
        browser.close()
