"""A visitor without a browser engine: opens pages, fills in the forms they really have, follows redirects."""

from typing import Any
from urllib.parse import urlencode, urljoin

from bs4 import BeautifulSoup, Tag
from fastapi import FastAPI
from httpx2 import Response
from starlette.testclient import TestClient

# The cookie of the tablet that the test databases have enrolled: PINs are taken on enrolled tablets alone.
TABLET_TOKEN = "the-tablet-of-the-test-bench"


class Page:
    """One page as the visitor got it."""

    def __init__(self, visitor: "Visitor", response: Response) -> None:
        self.visitor = visitor
        self.response = response
        self.status = response.status_code
        self.path = response.url.path
        self.text = response.text
        self.soup = BeautifulSoup(response.text, "html.parser")

    @property
    def words(self) -> str:
        """The page's text with white space folded."""
        return " ".join(self.soup.get_text(" ").split())

    def form(self, action: str, n: int = 0) -> "FormFiller":
        """Return the n-th form whose action ends with ``action``."""
        forms = self.soup.find_all("form")
        found = [f for f in forms if str(f.get("action") or self.path).split("?")[0].endswith(action)]
        assert len(found) > n, f"no form for {action} on {self.path} ({self.status}): {self.words[:600]}"
        return FormFiller(self, found[n])

    def link(self, text: str) -> "Page":
        """Follow the first link with this text in it."""
        for anchor in self.soup.find_all("a"):
            if text in " ".join(anchor.get_text(" ").split()):
                return self.visitor.open(urljoin(self.path, str(anchor["href"])))
        raise AssertionError(f"no link {text!r} on {self.path}: {self.words[:600]}")


class FormFiller:
    """A form of a page, prefilled as a browser would send it."""

    def __init__(self, page: Page, form: Tag) -> None:
        self.page = page
        self.action = urljoin(page.path, str(form.get("action") or page.path))
        self.method = str(form.get("method", "get")).lower()
        self.values: dict[str, list[str]] = {}
        for control in form.find_all(["input", "select", "textarea"]):
            self._read(control)

    def _read(self, control: Tag) -> None:
        name = control.get("name")
        if not name or control.has_attr("disabled"):
            return
        kind = str(control.get("type", "text"))
        if control.name == "select":
            options = control.find_all("option")
            for option in [o for o in options if o.has_attr("selected")] or options[:1]:
                self._add(str(name), str(option.get("value", option.get_text())))
        elif control.name == "textarea":
            self._add(str(name), control.get_text())
        elif kind in ("checkbox", "radio"):
            if control.has_attr("checked"):
                self._add(str(name), str(control.get("value", "on")))
        elif kind not in ("submit", "file", "button"):
            self._add(str(name), str(control.get("value", "")))

    def _add(self, name: str, value: str) -> None:
        self.values.setdefault(name, []).append(value)

    def submit(self, files: Any = None, **changed: Any) -> Page:
        """Send the form with some fields changed; a list sends several values, None leaves a field out."""
        values = dict(self.values)
        for name, value in changed.items():
            key = name.replace("__", "-") if name.replace("__", "-") in values else name
            if value is None:
                values.pop(key, None)
            else:
                values[key] = [str(v) for v in value] if isinstance(value, list | tuple) else [str(value)]
        visitor = self.page.visitor
        if self.method == "get":
            return visitor.open(f"{self.action}?{urlencode(values, doseq=True)}")
        return visitor.post(self.action, values, files)


class Visitor:
    """A client with cookies that behaves like a browser's navigation, on the enrolled test tablet or on another."""

    def __init__(self, app: FastAPI, tablet: str | None = TABLET_TOKEN) -> None:
        self.client = TestClient(app, base_url="http://testserver", raise_server_exceptions=True)
        self.client.headers["sec-fetch-site"] = "same-origin"
        if tablet is not None:
            self.client.cookies.set("countback-tablet", tablet, domain="testserver.local", path="/")

    def open(self, path: str, **headers: str) -> Page:
        """GET a page and follow redirects."""
        return Page(self, self.client.get(path, headers=headers, follow_redirects=True))

    def post(self, path: str, values: dict[str, Any], files: dict[str, Any] | None = None) -> Page:
        """POST fields as a form and follow redirects."""
        return Page(self, self.client.post(path, data=values, files=files, follow_redirects=True))

    def sign_in(self, name: str, secret: str) -> Page:
        """Sign in through the sign-in page."""
        return self.open("/sign-in").form("/sign-in").submit(name=name, secret=secret)
