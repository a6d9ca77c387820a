"""Where a named file may not go, and that what is written is whole or absent."""

from __future__ import annotations

import errno
import os
import stat
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from queen_outcomes.base import outputs
from queen_outcomes.base.errors import UsageError
from queen_outcomes.base.outputs import KEPT, refuse_kept_places


@pytest.mark.parametrize("name", KEPT)
def test_nothing_named_goes_where_the_station_keeps_its_own(name, tmp_path):
    beside = tmp_path / "week.csv"
    refuse_kept_places(tmp_path, None, beside)
    refuse_kept_places(tmp_path)
    for place in (tmp_path / name, tmp_path / name / "deep" / "week.csv"):
        with pytest.raises(UsageError, match=f"nothing is written into {name}/"):
            refuse_kept_places(tmp_path, None, beside, place)
    # a link from outside leads there too
    (tmp_path / name).mkdir()
    (tmp_path / "door").symlink_to(tmp_path / name)
    with pytest.raises(UsageError, match=name):
        refuse_kept_places(tmp_path, tmp_path / "door" / "week.csv")


def test_another_station_is_as_safe(tmp_path):
    other = tmp_path / "other"
    (other / "records").mkdir(parents=True)
    (other / "station.toml").write_text("", encoding="utf-8")
    with pytest.raises(UsageError, match="nothing is written into records/"):
        refuse_kept_places(tmp_path / "mine", other / "records" / "due.csv")
    refuse_kept_places(tmp_path / "mine", other / "due.csv")


def test_a_folder_that_is_not_there_is_named(tmp_path):
    with pytest.raises(UsageError, match="not there") as refused:
        refuse_kept_places(tmp_path, tmp_path / "typo" / "due.csv")
    assert str(tmp_path / "typo") in refused.value.found


def left(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_files_are_written_with_their_bytes_and_rights(tmp_path):
    one, two = tmp_path / "one.csv", tmp_path / "two.pdf"
    one.write_text("before", encoding="utf-8")
    one.chmod(0o640)
    assert outputs.write_files({one: "a\r\n", two: b"\x00"}) == [one, two]
    assert (one.read_bytes(), two.read_bytes()) == (b"a\r\n", b"\x00")
    assert stat.S_IMODE(one.stat().st_mode) == 0o640
    outputs.write_files({two: "secret"}, mode=0o600)
    assert stat.S_IMODE(two.stat().st_mode) == 0o600
    assert left(tmp_path) == ["one.csv", "two.pdf"]


def test_links_are_followed_and_pipes_written_to(tmp_path):
    (tmp_path / "there").mkdir()
    (tmp_path / "link.csv").symlink_to(tmp_path / "there" / "real.csv")
    outputs.write_files({tmp_path / "link.csv": "a"})
    assert (tmp_path / "link.csv").is_symlink()
    assert (tmp_path / "there" / "real.csv").read_text("utf-8") == "a"
    os.mkfifo(tmp_path / "pipe")
    said = []
    reader = threading.Thread(
        target=lambda: said.append((tmp_path / "pipe").read_bytes())
    )
    reader.start()
    outputs.write_files({tmp_path / "pipe": "b"})
    reader.join()
    assert said == [b"b"]


def test_a_full_disk_changes_no_file_and_names_the_user_s(tmp_path, monkeypatch):
    one, two = tmp_path / "one.csv", tmp_path / "two.csv"
    one.write_text("before", encoding="utf-8")
    synced, count = os.fsync, []

    def full(handle):
        count.append(handle)
        if len(count) == 2:
            raise OSError(errno.ENOSPC, "No space left on device")
        synced(handle)

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space left") as failed:
        outputs.write_files({one: "after", two: "after"})
    assert failed.value.filename == str(two)
    assert one.read_text("utf-8") == "before"
    assert left(tmp_path) == ["one.csv"]


def test_an_error_names_the_place_that_the_user_named(tmp_path):
    place = tmp_path / "gone" / "out"
    with pytest.raises(FileNotFoundError) as failed:
        outputs.write_files({place: "text"})
    assert failed.value.filename == str(place)
    with pytest.raises(FileNotFoundError) as failed, outputs.new_folder(place):
        pass
    assert failed.value.filename == str(place)
    # so does one that names nothing; one about another file keeps that file's name
    place, other = tmp_path / "out", tmp_path / "other"
    for named, told in ((None, place), (str(other), other)):
        with pytest.raises(OSError, match="full") as failed, outputs.new_folder(place):
            raise OSError(errno.ENOSPC, "full", named)
        assert failed.value.filename == str(told)


@pytest.mark.parametrize("before", ["nothing", "empty", "full"])
def test_a_folder_takes_its_place_whole_or_not_at_all(tmp_path, before):
    place = tmp_path / "out"
    if before != "nothing":
        place.mkdir()
        place.chmod(0o750)
    if before == "full":
        (place / "old").write_text("old", encoding="utf-8")

    def fill(*, fails):
        with outputs.new_folder(place) as made:
            (made / "deep").mkdir()
            (made / "deep" / "new").write_text("new", encoding="utf-8")
            if fails:
                raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        fill(fails=True)
    assert place.exists() == (before != "nothing")
    assert before != "full" or left(place) == ["old"]
    fill(fails=False)
    assert left(place) == ["deep"]
    assert before == "nothing" or stat.S_IMODE(place.stat().st_mode) == 0o750
    assert left(tmp_path) == ["out"]


def test_a_disk_s_own_folder_is_filled(tmp_path, monkeypatch):
    (tmp_path / "old").write_text("old", encoding="utf-8")
    monkeypatch.setattr(Path, "is_mount", lambda path: path == tmp_path)
    before = tmp_path.stat().st_ino
    with outputs.new_folder(tmp_path) as made:
        (made / "new").mkdir()
    assert left(tmp_path) == ["new"]
    assert tmp_path.stat().st_ino == before


def test_who_stands_in_a_folder_that_is_gone_writes_elsewhere(tmp_path, monkeypatch):
    gone, place = tmp_path / "gone", tmp_path / "place"
    gone.mkdir()
    place.mkdir()
    (place / "old").write_text("old", encoding="utf-8")
    monkeypatch.chdir(gone)
    gone.rmdir()
    with outputs.new_folder(place) as folder:
        (folder / "new").write_text("new", encoding="utf-8")
    assert [path.name for path in place.iterdir()] == ["new"]


def test_who_stands_in_a_folder_still_stands_in_it(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "old").write_text("old", encoding="utf-8")
    with outputs.new_folder(Path()) as made:
        (made / "new").write_text("new", encoding="utf-8")
    assert os.listdir() == ["new"]  # noqa: PTH208 - of the folder that we stand in
    assert Path.cwd() == tmp_path


KILLED = """
import os, sys
from pathlib import Path
from queen_outcomes.base import outputs
place, at = Path(sys.argv[1]), sys.argv[2]
take, count = os.rename, []
def counting(*words, **more):
    count.append(words)
    if f"rename {len(count)}" == at:
        os.kill(os.getpid(), 9)
    return take(*words, **more)
os.rename = os.replace = counting
with outputs.new_folder(place) as made:
    (made / "new").write_text("new")
    if at == "filling":
        os.kill(os.getpid(), 9)
"""


@pytest.mark.parametrize("at", ["filling", "rename 1", "rename 2"])
def test_what_a_killed_command_left_is_cleared_by_the_next(tmp_path, at):
    place = tmp_path / "out"
    place.mkdir()
    (place / "old").write_text("old", encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-c", KILLED, str(place), at], check=False, cwd=tmp_path
    )
    assert done.returncode == -9
    assert len(left(tmp_path)) == 2
    outputs.clear_leftovers(tmp_path)
    assert left(tmp_path) == ["out"]
    assert left(place) == ["old"]


def test_what_is_being_written_is_no_leftover(tmp_path):
    other = subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE)
    others = tmp_path / f".queen-outcomes-{outputs._HOST}-{other.pid}-0"
    others.mkdir()
    elsewhere = tmp_path / ".queen-outcomes-00000000-1-0"  # of another machine
    elsewhere.mkdir()
    try:
        with outputs.new_folder(tmp_path / "out") as made:
            outputs.clear_leftovers(tmp_path)
            assert made.is_dir()
            assert others.is_dir()
    finally:
        other.communicate(b"\n")
    outputs.clear_leftovers(tmp_path)
    assert left(tmp_path) == [elsewhere.name, "out"]


def test_a_scratch_folder_is_gone_afterwards_and_a_dead_one_s_too(tmp_path, monkeypatch):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    dead = tmp_path / f".queen-outcomes-{outputs._HOST}-{2**22 + 1}-ab_cd"
    dead.mkdir()
    with outputs.scratch_folder() as folder:
        assert stat.S_IMODE(folder.stat().st_mode) == 0o700
        assert left(tmp_path) == [folder.name]
    assert left(tmp_path) == []
