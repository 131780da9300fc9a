"""What the checks of the layout share ends with them."""

from collections.abc import Iterator

import pytest

from tests.layout.tree import nodes_of


@pytest.fixture(scope="package", autouse=True)
def parsed_once() -> Iterator[None]:
    """Let go of the parsed tree, which is large, behind the last check."""
    yield
    nodes_of.cache_clear()
