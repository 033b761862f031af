"""Writing a procedure in a real browser: it saves itself, places are tapped, a second person publishes it."""

import re

import pytest
from playwright.sync_api import FilePayload, Page, expect

from app.people.actions import add_person
from app.people.models import Role
from app.platform import clock
from app.procedures.queries import drafts
from tests.browser.conftest import DESK, LANDSCAPE, SignedIn, Site, violations


def stored(site: Site) -> drafts.DraftDetail:
    """The draft as it is stored."""
    with site.db.read() as session:
        return drafts.draft(session, 1)


def saved(page: Page, version: int) -> None:
    """Wait until the page says that this version is saved."""
    expect(page.locator("#save-state")).to_contain_text(f"version {version}.")


@pytest.mark.browser
def test_a_step_saves_itself_and_its_places_are_tapped(sign_in: SignedIn, site: Site) -> None:
    page = sign_in("supervisor", LANDSCAPE)
    page.goto("/procedures/drafts")
    assert violations(page) == []
    page.get_by_role("button", name="Write the next revision").click()
    expect(page.locator("h1")).to_contain_text("Field recorder")
    assert violations(page) == []

    page.get_by_role("link", name="Unplug the cell").click()
    page.locator("form[data-autosave]").wait_for()
    step = page.url
    page.get_by_label("Title", exact=True).first.fill("Take the back off at last")
    saved(page, 2)
    assert stored(site).document["steps"][3]["title"] == "Take the back off at last"
    page.get_by_label("Title", exact=True).first.fill("")
    saved(page, 3)
    expect(page.locator("#save-state")).to_contain_text("to mend here")
    page.get_by_label("Title", exact=True).first.fill("Take the back off")
    saved(page, 4)
    expect(page.locator("#save-state")).to_contain_text("Nothing to mend here")

    page.get_by_text("Add a fixing").click()
    page.locator("[name=releases-1-part]").press_sequentially("f-31")
    expect(page.locator("#part-options option[value='F-310']")).to_be_attached()
    page.locator("[name=releases-1-part]").fill("")
    expect(page.locator("#save-state")).to_contain_text("Nothing to mend here")
    version = stored(site).version

    drawing = (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 64 48"><title>Plug</title>'
        '<rect x="4" y="4" width="56" height="40"/></svg>'
    )
    picture: FilePayload = {"name": "plug.svg", "mimeType": "image/svg+xml", "buffer": drawing.encode()}
    page.locator("#f-picture").set_input_files(files=[picture])
    page.get_by_role("button", name="Add the picture").click()
    page.locator("svg.tap-places").wait_for()
    page.locator("[data-tap]").first.click()
    box = page.locator("svg.tap-places").bounding_box()
    assert box is not None
    for x, y in ((0.25, 0.25), (0.75, 0.25), (0.5, 0.75)):
        page.mouse.click(box["x"] + x * box["width"], box["y"] + y * box["height"])
    expect(page.locator(".tap-place")).to_have_count(3)
    page.mouse.click(box["x"] + 0.5 * box["width"], box["y"] + 0.75 * box["height"])
    expect(page.locator(".tap-place")).to_have_count(2)
    expect(page.locator("#save-state")).not_to_contain_text("Not saved")
    page.wait_for_function(
        "v => Number(document.querySelector('#save-state [name=version]').value) >= v", arg=version + 2
    )
    places = stored(site).document["steps"][3]["releases"][0]["places"]
    assert all(abs(float(p["x"]) - x) < 0.01 for p, x in zip(places, (0.25, 0.75), strict=True))
    assert violations(page) == []
    page.goto(step)
    expect(page.locator(".tap-place")).to_have_count(2)


@pytest.mark.browser
def test_a_draft_is_written_with_the_keyboard_and_published_by_a_second_person(sign_in: SignedIn, site: Site) -> None:
    with site.db.write() as session:
        add_person(session, "Edda Korvin", Role.SUPERVISOR, "nine brass bells ringing", clock.now())
    page = sign_in("supervisor", DESK, "dark")
    page.goto("/procedures/drafts")
    page.get_by_role("button", name="Write the next revision").press("Enter")
    first, second = (page.locator(".draft-steps tbody tr").nth(n).locator("a.row-link").inner_text() for n in (0, 1))
    page.get_by_role("button", name="Move step 1 down").press("Enter")
    expect(page.locator(".draft-steps a.row-link").first).to_have_text(second)
    # By a click: after a move the focus follows the step, and a key pressed at that moment would move it once more.
    page.get_by_role("button", name="Undo the last save").click()
    expect(page.locator(".draft-steps a.row-link").first).to_have_text(first)
    page.get_by_role("link", name="Write the heading").press("Enter")
    assert violations(page) == []
    page.get_by_label("Summary").fill("How the recorder comes apart.")
    page.get_by_role("button", name="Save and go to the draft").press("Enter")
    page.get_by_role("button", name="Send to be checked").press("Enter")
    expect(page.locator("main")).to_contain_text("another supervisor checks it")
    assert violations(page) == []
    page.context.clear_cookies()
    page.goto("/sign-in")
    page.fill("input[name=name]", "Edda Korvin")
    page.fill("input[name=secret]", "nine brass bells ringing")
    page.locator("main form button.button").first.click()
    page.wait_for_url(lambda url: "/sign-in" not in url)
    page.goto("/procedures/drafts/1")
    page.get_by_role("link", name="What changed since revision 1").click()
    expect(page.locator("main")).to_contain_text("How the recorder comes apart.")
    assert violations(page) == []
    page.goto("/procedures/drafts/1")
    page.get_by_role("button", name="Publish as revision 2").click()
    page.wait_for_url(re.compile("/procedures/field-recorder/2$"))
    expect(page.locator("main")).to_contain_text("How the recorder comes apart.")
