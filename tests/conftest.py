"""What most tests stand on: the small bench pack, worked out by hand, and the base rules that ship."""

from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from diagnose.case.state import CaseState
from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.packs import base_pack, load
from diagnose.planning.examine import Examined, examine
from diagnose.shell import sitting

HERE = Path(__file__).parent
BENCH = HERE / "packs" / "bench"

with suppress(ImportError):  # some tests run where there is only pytest
    from hypothesis import settings

    settings.register_profile("long", max_examples=4_000)


@pytest.fixture(scope="session", autouse=True)
def nothing_of_the_user(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """What a start keeps for the next one is not kept among the files of whoever runs the tests."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        yield


@pytest.fixture(scope="session")
def bench() -> Knowledge:
    return load([BENCH])


@pytest.fixture(scope="session")
def base() -> Knowledge:
    return load([base_pack()])


@pytest.fixture(scope="module")
def examined_once() -> Iterator[None]:
    """Some tests go the same way many times; what follows from the same answers is worked out once."""
    known: dict[object, Examined] = {}

    def once(knowledge: Knowledge, state: CaseState, learned: object = None) -> Examined:
        answers = frozenset((name, given.answer) for name, given in state.findings.items())
        key = (id(knowledge), answers, frozenset(state.unknown), state.asked_again, state.put_aside, state.repairs)
        if key not in known:
            known[key] = examine(knowledge, state)
        return known[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sitting, "examine", once)
        yield


@pytest.fixture(params=["file", "server"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Where a book can be: every test of the book that takes one is a test of both."""
    from books import NO_SERVER, SERVER, place_on_server  # the database library is for these tests alone

    if request.param == "file":
        yield str(tmp_path / "book.sqlite")
    elif not SERVER:
        pytest.skip(NO_SERVER)
    else:
        yield from place_on_server()
