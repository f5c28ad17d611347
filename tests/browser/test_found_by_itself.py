"""Two photos, nothing drawn by hand: the teeth are found, the advice and its direction follow."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from pattern.cli.demo import PHOTOS
from tests.browser import steps
from tests.browser.conftest import Server

pytestmark = pytest.mark.browser


def test_the_demo_pair_is_read_and_the_shallow_pinion_sent_deeper(
    server: Server, visit: Callable[..., Page]
) -> None:
    # the pair is rendered with the pinion 0.010 in too shallow (sample pair rowan)
    page = visit(server.url, "phone")
    steps.start_job(page)
    steps.describe_axle(page)
    steps.on_to(page, "roll")
    for side in ("drive", "coast"):
        card = steps.add_photo(page, side, PHOTOS / f"{side}.jpg")
        _, profile = steps.reading(card)
        assert profile > 0.55
    steps.fill(page, "Backlash now (in)", "0.0105")
    steps.on_to(page, "outline")
    steps.on_to(page, "advice")
    expect(page.locator(".verdict")).to_be_visible()
    expect(page.get_by_text("Pinion deeper").first).to_be_visible()
