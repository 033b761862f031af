"""Drawings: what is allowed comes through in one form; anything else is refused by name."""

import pytest

from app.procedures.drawings import DrawingRefused, clean_svg, inline, standalone
from tests.procedures.examples import LID, SEED

NS = 'xmlns="http://www.w3.org/2000/svg"'


def _svg(inside: str, more: str = "") -> str:
    return f'<svg {NS} viewBox="0 0 1 1" {more}>{inside}</svg>'


def test_a_plain_drawing_comes_through_with_its_title() -> None:
    clean = clean_svg(LID)
    assert clean.title == "The lid"
    assert '<path class="focus" d="M1 2L3 4z"/>' in clean.svg
    assert clean_svg(clean.svg) == clean


def test_the_same_drawing_written_otherwise_has_the_same_hash() -> None:
    other = LID.replace("><", ">\n  <").replace('d="M1 2L3 4z" ', 'd="M1  2L3 4z" ')
    prefixed = LID.replace("<", "<s:").replace("<s:/", "</s:").replace("xmlns=", "xmlns:s=")
    assert clean_svg(other).sha256 == clean_svg(LID).sha256 == clean_svg(prefixed).sha256


@pytest.mark.parametrize(
    ("text", "name"),
    [
        (_svg("<script>alert(1)</script>"), "script"),
        (_svg("<foreignObject/>"), "foreignObject"),
        (_svg("<image href='x.png'/>"), "image"),
        (_svg("<use href='#a'/>"), "use"),
        (_svg("<style>*{}</style>"), "style"),
        (_svg("<text>Words</text>"), "text"),
        (_svg("<a><path d='M0 0'/></a>"), "a"),
        (_svg("<animate/>"), "animate"),
        (_svg("<svg/>"), "svg"),
        (_svg("<path d='M0 0' onclick='x()'/>"), "onclick"),
        (_svg("", 'onload="x()"'), "onload"),
        (_svg("<path d='M0 0' style='fill:red'/>"), "style"),
        (_svg("<path d='M0 0' fill='url(http://elsewhere.example)'/>"), "fill"),
        (_svg("<path d='M0 0' id='a'/>"), "id"),
        (_svg("<g xmlns:xlink='http://www.w3.org/1999/xlink' xlink:href='javascript:x()'/>"), "href"),
        (_svg("<path d='javascript:x()'/>"), "d"),
        (_svg("<g transform='url(#a)'/>"), "transform"),
        (_svg("<h:div xmlns:h='http://www.w3.org/1999/xhtml'/>"), "div"),
        (_svg("<g>words</g>"), "words"),
        (_svg("<title><b/></title>"), "title"),
        (f"<svg {NS}/>", "viewBox"),
        ("<svg viewBox='0 0 1 1'/>", "namespace"),
        ("<html/>", "namespace"),
        ("not xml at all", "readable"),
        ("<?xml version='1.0'?><!DOCTYPE svg [<!ENTITY a 'b'>]>" + _svg("&a;"), "entities"),
        (
            "<!DOCTYPE s [<!ENTITY a 'aaaa'><!ENTITY b '&a;&a;&a;'>]>" + _svg("<title>&b;</title>"),
            "entities",
        ),
        (_svg("<g>" * 30 + "</g>" * 30), "inside one another"),
        (_svg("<g/>" * 9000), "too many elements"),
        (_svg(f"<path d='{'M0 0' * 200_000}'/>"), "512 kB"),
    ],
)
def test_anything_else_is_refused_by_name(text: str, name: str) -> None:
    with pytest.raises(DrawingRefused) as caught:
        clean_svg(text)
    assert name in caught.value.reason


def test_titles_are_escaped() -> None:
    clean = clean_svg(_svg('<title>&lt;script&gt; &amp; "more"</title>', 'aria-label="&quot;&gt;&lt;b&gt;"'))
    assert "<script>" not in clean.svg
    assert "<b>" not in clean.svg
    assert clean_svg(clean.svg) == clean


def test_comments_are_left_out() -> None:
    assert "<!--" not in clean_svg(_svg("<!-- x --><path d='M0 0'/>")).svg


def test_a_drawing_in_a_page_and_by_itself_differ_only_in_their_look() -> None:
    svg = clean_svg(LID).svg
    assert inline(svg).startswith('<svg class="drawing" xmlns=')
    assert standalone(svg).count("<style>") == 1


@pytest.mark.parametrize("path", sorted(SEED.rglob("*.svg")), ids=lambda p: f"{p.parent.name}-{p.stem}")
def test_every_drawing_of_the_demo_is_clean_and_has_a_title(path) -> None:  # type: ignore[no-untyped-def]
    assert clean_svg(path.read_text(encoding="utf-8")).title
