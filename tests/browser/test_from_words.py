"""A procedure from a pasted narration to a published revision and a ticked job, in a real browser."""

import base64
import time

import pytest
from playwright.sync_api import Locator, Page, expect

from app.people.actions import add_person
from app.people.models import Role
from app.platform import clock
from app.procedures import queries as procedures
from tests.browser.conftest import SignedIn, Site, violations
from tests.jobs.bench_shop import BenchShop

NARRATION = """\
WEBVTT

00:00:00.000 --> 00:00:01.200
Undo the two T5 screws in the back plate.

00:00:01.200 --> 00:00:02.000
Now lift out the speaker.
"""
# Two seconds of a square that moves, recorded by the browser itself.
FILM = """async () => {
  const canvas = Object.assign(document.createElement("canvas"), { width: 320, height: 180 });
  const pen = canvas.getContext("2d");
  const recorder = new MediaRecorder(canvas.captureStream(25), { mimeType: "video/webm;codecs=vp8" });
  const parts = [];
  recorder.ondataavailable = (event) => parts.push(event.data);
  const done = new Promise((stop) => (recorder.onstop = stop));
  recorder.start();
  const begun = performance.now();
  while (performance.now() - begun < 2200) {
    pen.fillStyle = "#ddd";
    pen.fillRect(0, 0, 320, 180);
    pen.fillStyle = "#246";
    pen.fillRect(((performance.now() - begun) / 10) % 280, 60, 40, 40);
    await new Promise((next) => setTimeout(next, 40));
  }
  recorder.stop();
  await done;
  const bytes = new Uint8Array(await new Blob(parts).arrayBuffer());
  return btoa(Array.from(bytes, (byte) => String.fromCharCode(byte)).join(""));
}"""


def _played(clip: Locator, patience_s: float = 60.0) -> float:
    """Wait until a clip plays and return where it is, in seconds. It is looked up anew: a page may renew it."""
    deadline = time.monotonic() + patience_s
    while time.monotonic() < deadline:
        at: float = clip.evaluate("video => video.paused ? 0 : video.currentTime")
        if at > 0:
            return at
        clip.page.wait_for_timeout(100)
    raise AssertionError("the clip does not play")


def _write_step(page: Page, number: int, seconds: str, refit: str) -> None:
    page.locator("a.row-link").nth(number).click()
    for name, value in (
        ("time_s", seconds), ("refit-title", refit), ("refit-do", f"{refit}, until it sits flat."),
        ("refit-time_s", "30"),
    ):  # fmt: skip
        page.locator(f"[name='{name}']").fill(value)
    page.get_by_role("button", name="Save and go to the draft").click()
    expect(page.get_by_role("heading", name="Heading and tests")).to_be_visible()


@pytest.mark.slow
def test_from_a_pasted_narration_to_a_published_revision_and_a_ticked_job(site: Site, sign_in: SignedIn) -> None:
    with site.db.write() as session:
        add_person(session, "Edda Korvin", Role.SUPERVISOR, "nine brass bells ringing", clock.now())
    page = sign_in("supervisor")
    film = base64.b64decode(page.evaluate(FILM))
    page.goto("/procedures/drafts")
    page.get_by_role("link", name="Draft from words").click()
    page.get_by_label("Title").fill("Harbour horn, exchange of the speaker")
    page.get_by_label("Words", exact=False).first.fill(NARRATION)
    page.set_input_files("[name=video]", {"name": "horn.webm", "mimeType": "video/webm", "buffer": film})
    assert violations(page) == []
    page.get_by_role("button", name="Read the words").click()

    expect(page.get_by_role("heading", name="What was read")).to_be_visible()
    expect(page.locator(".read-items").first).to_contain_text("2 × T5 screws (screw)")
    expect(page.locator(".read-items q").first).to_contain_text("two T5 screws")
    assert violations(page) == []
    page.get_by_label("Kind of that device").fill("horn")
    page.get_by_label("What the device is like").fill("A small horn for the foredeck.")
    page.locator("[name='a-units-0-part']").fill("F-110")
    page.get_by_role("button", name="Make the draft").click()

    expect(page.get_by_role("heading", name="Open questions")).to_be_visible()
    assert violations(page) == []
    draft = page.url
    _write_step(page, 0, "60", "Put the back plate on")
    _write_step(page, 1, "45", "Lay the speaker in")
    while page.get_by_role("button", name="Settled").count():
        page.get_by_role("button", name="Settled").first.click()
    page.get_by_role("button", name="Send to be checked").click()
    expect(page.get_by_role("heading", name="To be checked")).to_be_visible()

    checker = page.context.browser.new_page(base_url=site.url)  # type: ignore[union-attr]
    checker.goto("/sign-in")
    checker.fill("input[name=name]", "Edda Korvin")
    checker.fill("input[name=secret]", "nine brass bells ringing")
    checker.locator("main form button.button").first.click()
    checker.wait_for_url(lambda url: "/sign-in" not in url)
    checker.goto(draft)
    checker.get_by_role("button", name="Publish as revision 1").click()
    expect(checker.locator("main")).to_contain_text("by Edda Korvin")
    checker.context.close()

    with site.db.write() as session:
        model = next(m for m in procedures.device_models(session) if m.name.startswith("Harbour horn"))
        number = BenchShop(session, model.id).kitted(("speaker",), "HH-1")
    bench = sign_in("technician")
    bench.goto(f"/jobs/{number}/bench")
    if bench.locator('form[action$="/bench/open"]').count():
        bench.locator('form[action$="/bench/open"] button').click()
    clip = bench.locator(".bench-drawing > figure.clip video")
    assert 0 <= _played(clip) <= 2.2, "it plays by itself, muted"
    assert clip.evaluate("video => [video.muted, video.controls]") == [True, False]
    bench.get_by_role("button", name="Pause the clip").click()
    expect(bench.get_by_role("button", name="Play the clip")).to_be_visible()
    assert clip.evaluate("video => video.paused")
    assert violations(bench) == []
    bench.locator(".tick").click()
    expect(bench.locator("#step-title")).to_have_text("Lift out the speaker")
    expect(bench.locator(".bench-drawing > figure.clip")).to_have_attribute("data-from", "1.2")


def test_a_clip_stands_still_where_less_motion_is_wanted_and_is_a_note_without_the_network(
    site: Site, sign_in: SignedIn
) -> None:
    page = sign_in("supervisor")
    film = base64.b64decode(page.evaluate(FILM))
    page.goto("/procedures/drafts/from-words")
    page.get_by_label("Words", exact=False).first.fill(NARRATION)
    page.set_input_files("[name=video]", {"name": "horn.webm", "mimeType": "video/webm", "buffer": film})
    page.get_by_role("button", name="Read the words").click()
    page.get_by_label("Title").fill("Horn")
    page.locator("[name=code]").fill("horn")
    page.get_by_role("button", name="Make the draft").click()
    page.locator("a.row-link").first.click()
    clip = page.locator("figure.clip")
    assert clip.locator("video").evaluate("video => video.readyState") == 0, "nothing is fetched before it plays"
    page.context.set_offline(True)
    clip.get_by_role("button", name="Play the clip").click()
    expect(clip.locator(".clip-away")).to_be_visible()
    expect(clip.locator("video")).to_be_hidden()
    page.context.set_offline(False)
    expect(clip.locator(".clip-away")).to_be_hidden()
    clip.get_by_role("button", name="Play the clip").click()
    assert _played(clip.locator("video")) <= 2.2
    page.emulate_media(reduced_motion="reduce")
    expect(clip.get_by_role("button", name="Play the clip")).to_be_visible()
    assert clip.locator("video").evaluate("video => video.paused")
