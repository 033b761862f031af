"""The way in, in a real browser, on the demo workshop."""

from tests.browser.conftest import violations
from tests.browser.demo import DemoSite, OpenPage, Theme, sign_in_as


def test_a_technician_signs_in_with_a_pin(open_page: OpenPage, demo_site: DemoSite) -> None:
    """Name and PIN lead to the first page, which names the person."""
    page = open_page()
    sign_in_as(page, demo_site)
    assert "Solvei Tangerud" in page.content()


def test_the_sign_in_page_has_no_barriers_in_either_theme(open_page: OpenPage, demo_site: DemoSite) -> None:
    """Axe finds nothing, light and dark, held across and upright."""
    looks: tuple[tuple[tuple[int, int], Theme], ...] = (
        ((1180, 820), "light"),
        ((820, 1180), "dark"),
        ((1440, 900), "light"),
    )
    for size, theme in looks:
        page = open_page(size, theme)
        page.goto(f"{demo_site.url}/sign-in")
        assert violations(page) == [], (size, theme)
