"""Canonical JSON is that of RFC 8785, checked against the rfc8785 package (Trail of Bits) on random content."""

from datetime import date
from decimal import Decimal

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from app.platform.submissions import canonical, content_hash

_keys = st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=8)
_leaves = st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | st.text(max_size=12)
_content = st.recursive(
    _leaves, lambda c: st.lists(c, max_size=4) | st.dictionaries(_keys, c, max_size=4), max_leaves=12
)


@given(_content)
def test_it_gives_the_bytes_of_the_standard(content: object) -> None:
    if not _has_surrogate(content):
        assert canonical(content) == rfc8785.dumps(content)  # type: ignore[arg-type]


def _has_surrogate(content: object) -> bool:
    return any("\ud800" <= c <= "\udfff" for c in str(content))


def test_decimals_dates_and_bytes_are_text_and_key_order_does_not_matter() -> None:
    assert content_hash({"a": Decimal("1.50"), "b": date(2026, 3, 1)}) == content_hash({"b": "2026-03-01", "a": "1.50"})
    assert content_hash([b"x"]) != content_hash([b"y"])


def test_not_a_number_is_refused() -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        canonical([float("nan")])
