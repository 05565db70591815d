"""Packs that were read are kept for the next start: the very same, or not at all."""

import os
import pickle
import shutil
from pathlib import Path

import pytest

from diagnose.case.state import CaseState, Given
from diagnose.knowledge.kept import ENDING, KEPT, load_kept
from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.packs import base_pack, load
from diagnose.knowledge.source import FaultyFiles
from diagnose.planning.examine import examine

PACK = """- finding: bolts
  ask: Are the carburettor bolts tight?
  why: Shaking walks them back.
  minutes: 2
  answers:
    tight: {say: tight, seen: usually}
    loose: {say: loose, seen: rarely}
"""


@pytest.fixture
def pack(tmp_path: Path) -> Path:
    folder = tmp_path / "pack"
    folder.mkdir()
    (folder / "pack.yaml").write_text("pack: shed\nname: A pack\nversion: 1.0\nauthor: somebody\n")
    (folder / "findings.yaml").write_text(PACK)
    return folder


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    return tmp_path / "kept"


def files(kept: Path) -> list[Path]:
    return sorted(kept.glob(f"*{ENDING}"))


def shelves(knowledge: Knowledge) -> dict[str, object]:
    return {name: getattr(knowledge, name) for name in knowledge.__dataclass_fields__}


def test_the_base_rules_taken_up_again_are_the_base_rules(base: Knowledge, kept: Path) -> None:
    load_kept([base_pack()], kept)
    again = load_kept([base_pack()], kept)
    assert shelves(again) == shelves(base)
    causes = [(cause.id.place, cause.place, cause.fix.steps[0].do.place) for cause in again.causes.values()]
    assert causes == [(cause.id.place, cause.place, cause.fix.steps[0].do.place) for cause in base.causes.values()]
    surging = CaseState(findings={"machine": Given("helicopter"), "under-load": Given("surges"), "bolts": Given("loose")})
    assert examine(again, surging).standing.causes == examine(base, surging).standing.causes
    with pytest.raises(TypeError):
        again.causes["carb-bolts-loose"] = None  # type: ignore[index]


def test_it_is_taken_up_and_not_read(pack: Path, kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    load_kept([pack], kept)
    monkeypatch.setattr("diagnose.knowledge.kept.load", lambda folders: pytest.fail("read anew"))
    assert list(load_kept([pack], kept).findings) == ["bolts"]


def test_a_changed_word_is_read_anew(pack: Path, kept: Path) -> None:
    load_kept([pack], kept)
    (pack / "findings.yaml").write_text(PACK.replace("tight, seen", "tidy, seen"))
    assert load_kept([pack], kept).findings["bolts"].answers["tight"].say == "tidy"


def test_places_are_those_of_where_one_stands(pack: Path, kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from_elsewhere = load_kept([pack], kept).findings["bolts"].place.file
    monkeypatch.chdir(pack.parent)
    assert load_kept([pack], kept).findings["bolts"].place.file == os.path.join("pack", "findings.yaml") != from_elsewhere


@pytest.mark.parametrize("spoilt", [b"", b"\x80", b"not a pickle", pickle.dumps({"causes": 1})])
def test_what_is_spoilt_is_read_anew_and_kept_well(pack: Path, kept: Path, spoilt: bytes) -> None:
    load_kept([pack], kept)
    [file] = files(kept)
    whole = file.read_bytes()
    for content in (spoilt, whole[: len(whole) // 2]):
        file.write_bytes(content)
        assert list(load_kept([pack], kept).findings) == ["bolts"]
        assert file.read_bytes() == whole


class _Calls:
    """A pickle of this asks for a call when it is taken up."""

    def __init__(self, function: object, *arguments: object) -> None:
        self.asked = (function, arguments)

    def __reduce__(self) -> tuple[object, ...]:
        return self.asked


def test_nothing_in_a_kept_file_is_called(pack: Path, kept: Path, tmp_path: Path) -> None:
    load_kept([pack], kept)
    [file] = files(kept)
    trace = tmp_path / "trace"
    for hostile in (_Calls(os.mkdir, str(trace)), _Calls(load, [pack]), _Calls(shutil.copytree, str(pack), str(trace))):
        file.write_bytes(pickle.dumps(hostile))
        assert list(load_kept([pack], kept).findings) == ["bolts"]
        assert not trace.exists()


def test_a_pack_with_a_mistake_is_never_kept(pack: Path, kept: Path) -> None:
    (pack / "findings.yaml").write_text(PACK.replace("usually", "mostly"))
    for _ in range(2):
        with pytest.raises(FaultyFiles, match="mostly"):
            load_kept([pack], kept)
    assert not files(kept)


def test_a_file_exchanged_for_a_link_out_of_the_pack_is_refused(pack: Path, kept: Path) -> None:
    load_kept([pack], kept)
    outside = pack.parent / "findings.yaml"
    (pack / "findings.yaml").rename(outside)
    (pack / "findings.yaml").symlink_to(outside)
    with pytest.raises(FaultyFiles, match="leads out of the pack"):
        load_kept([pack], kept)


def test_a_pack_written_to_while_it_is_read_is_not_kept(pack: Path, kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def written_to(folders: list[Path]) -> Knowledge:
        read = load(folders)
        (pack / "findings.yaml").write_text(PACK.replace("loose", "slack"))
        return read

    monkeypatch.setattr("diagnose.knowledge.kept.load", written_to)
    load_kept([pack], kept)
    assert not files(kept)


def test_where_nothing_can_be_kept_it_is_read(pack: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    assert list(load_kept([pack], tmp_path / "file" / "kept").findings) == ["bolts"]


def test_only_the_newest_are_kept(pack: Path, kept: Path) -> None:
    for number in range(KEPT + 3):
        (pack / "findings.yaml").write_text(PACK.replace("tight, seen", f"tight {number}, seen"))
        load_kept([pack], kept)
    assert len(files(kept)) == KEPT
