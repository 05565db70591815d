"""What most tests stand on: the small bench pack, worked out by hand, and the base rules that ship."""

from pathlib import Path

import pytest
from hypothesis import settings

from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.packs import base_pack, load

HERE = Path(__file__).parent
BENCH = HERE / "packs" / "bench"

settings.register_profile("long", max_examples=4_000)
"""`pytest --hypothesis-profile long tests/test_untrusted.py`: a quarter of an hour of files that nobody meant to write."""


@pytest.fixture(scope="session")
def bench() -> Knowledge:
    return load([BENCH])


@pytest.fixture(scope="session")
def base() -> Knowledge:
    return load([base_pack()])
