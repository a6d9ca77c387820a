"""The build folder: lock, switch, history."""

from __future__ import annotations

import datetime as dt
import os

import pytest
from queen_outcomes.base import folders
from queen_outcomes.base.errors import LockError, UsageError

NOW = dt.datetime(2026, 7, 1, 8, 30, tzinfo=dt.UTC)


def finished(place, second: int, number: int | None = None) -> str:
    run_id = folders.new_run_id(NOW + dt.timedelta(seconds=second))
    folder = place / run_id
    (folder / "tables").mkdir(parents=True)
    (folder / "dashboard").mkdir()
    (folder / "station.duckdb").write_text("x", encoding="utf-8")
    told = {"as_of": "2026-07-01"}
    folders.write_run(folder, told if number is None else told | {"number": number})
    return run_id


def test_run_ids_sort_by_time():
    first = folders.new_run_id(NOW)
    later = folders.new_run_id(NOW + dt.timedelta(microseconds=1))
    assert first < later
    assert first.startswith("20260701T083000000000Z-")


def test_a_second_holder_is_told_who_holds_the_lock(tmp_path):
    with (
        folders.hold(tmp_path, NOW),
        pytest.raises(LockError) as refused,
        folders.hold(tmp_path, NOW),
    ):
        pass
    assert f"process {os.getpid()}" in refused.value.found
    assert "2026-07-01T08:30:00" in refused.value.found


def test_the_lock_is_free_again_after_a_failure(tmp_path):
    with pytest.raises(ValueError, match="broken"), folders.hold(tmp_path, NOW):
        raise ValueError("broken")
    with folders.hold(tmp_path, NOW):
        assert (tmp_path / ".lock").exists()


def test_switching_moves_latest_in_one_rename(tmp_path):
    first, second = finished(tmp_path, 1), finished(tmp_path, 2)
    folders.switch(tmp_path, first)
    folders.switch(tmp_path, second)
    assert folders.latest(tmp_path).name == second
    assert not list(tmp_path.glob(".latest-*"))


def test_a_retired_build_keeps_its_journal_and_tables_only(tmp_path):
    run_id = finished(tmp_path, 1)
    folders.retire(tmp_path, tmp_path / run_id)
    kept = sorted(path.name for path in (tmp_path / "history" / run_id).iterdir())
    assert kept == ["run.json", "tables"]


def test_leftovers_of_a_dead_build_are_removed(tmp_path):
    current = finished(tmp_path, 1)
    folders.switch(tmp_path, current)
    dead = tmp_path / folders.new_run_id(NOW + dt.timedelta(seconds=5))
    dead.mkdir()
    (tmp_path / ".latest-dead").symlink_to("nowhere")
    folders.prepare(tmp_path, "new")
    assert not dead.exists()
    assert not (tmp_path / ".latest-dead").is_symlink()
    assert folders.latest(tmp_path).name == current


def test_a_build_killed_before_it_was_trimmed_goes_to_the_history(tmp_path):
    old, current = finished(tmp_path, 1), finished(tmp_path, 2)
    folders.switch(tmp_path, current)
    folders.prepare(tmp_path, "new")
    assert (tmp_path / "history" / old / "run.json").is_file()


def test_a_finished_build_that_never_was_the_latest_goes_to_the_history(tmp_path):
    current, unswitched = finished(tmp_path, 1), finished(tmp_path, 2)
    folders.switch(tmp_path, current)
    folders.prepare(tmp_path, "new")
    assert folders.latest(tmp_path).name == current
    assert (tmp_path / "history" / unswitched / "run.json").is_file()


def test_a_build_whose_journal_was_never_whole_is_a_dead_one(tmp_path):
    current, torn = finished(tmp_path, 1), finished(tmp_path, 2)
    folders.switch(tmp_path, current)
    (tmp_path / torn / "run.json").write_text('{"as_of": "2026-0', encoding="utf-8")
    folders.prepare(tmp_path, "new")
    assert not (tmp_path / torn).exists()
    assert not (tmp_path / "history").exists()


@pytest.fixture(params=["lost", "dangling"])
def without_latest(request):
    """Take away what `latest` says."""

    def spoil(build):
        (build / "latest").unlink(missing_ok=True)
        if request.param == "dangling":
            (build / "latest").symlink_to("20260701T083059000000Z-abcdef")

    return spoil


def test_without_the_link_the_last_complete_build_is_kept_whole(
    tmp_path, without_latest
):
    old, last = finished(tmp_path, 1), finished(tmp_path, 2)
    dead = tmp_path / folders.new_run_id(NOW + dt.timedelta(seconds=5))
    dead.mkdir()
    without_latest(tmp_path)
    assert folders.latest(tmp_path).name == last
    folders.prepare(tmp_path, "new")
    assert folders.mend(tmp_path).name == last
    assert (tmp_path / "latest").readlink().name == last
    assert (tmp_path / last / "station.duckdb").is_file()
    assert (tmp_path / "history" / old / "run.json").is_file()
    assert not dead.exists()
    assert folders.mend(tmp_path) is None  # nothing is amiss any more


def test_where_the_last_build_itself_is_gone_the_history_is_compared_with(
    tmp_path, without_latest
):
    runs = [finished(tmp_path, second) for second in range(2)]
    for run_id in runs:
        folders.retire(tmp_path, tmp_path / run_id)
    without_latest(tmp_path)
    folders.prepare(tmp_path, "new")
    assert folders.mend(tmp_path) is None
    assert folders.latest(tmp_path) is None
    assert folders.before(tmp_path).name == runs[1]


def test_a_first_build_has_nothing_before_it(tmp_path):
    folders.prepare(tmp_path, "new")
    assert folders.mend(tmp_path) is None
    assert folders.before(tmp_path) is None
    assert not (tmp_path / "latest").is_symlink()


def test_other_folders_are_left_alone(tmp_path):
    (tmp_path / "notes").mkdir()
    folders.prepare(tmp_path, "new")
    assert (tmp_path / "notes").is_dir()


def test_a_folder_in_the_place_of_the_link_is_refused(tmp_path):
    (tmp_path / "latest").mkdir()
    with pytest.raises(UsageError, match="where a link should be"):
        folders.prepare(tmp_path, "new")


def test_the_history_keeps_the_most_recent(tmp_path):
    runs = [finished(tmp_path, second) for second in range(4)]
    for run_id in runs:
        folders.retire(tmp_path, tmp_path / run_id)
    folders.prune(tmp_path, 2)
    left = sorted(path.name for path in (tmp_path / "history").iterdir())
    assert left == runs[2:]


def test_what_else_lies_in_the_history_takes_no_build_s_place(tmp_path):
    runs = [finished(tmp_path, second) for second in range(2)]
    for run_id in runs:
        folders.retire(tmp_path, tmp_path / run_id)
    (tmp_path / "history" / "notes").mkdir()
    folders.prune(tmp_path, 2)
    left = sorted(path.name for path in (tmp_path / "history").iterdir())
    assert left == [*runs, "notes"]


def test_the_fingerprint_sees_a_changed_record_and_no_lock_file(station):
    before = folders.fingerprint(station)
    (station / "records" / "~$book.xlsx").write_text("lock", encoding="utf-8")
    assert folders.fingerprint(station) == before
    (station / "records" / "checks.csv").write_text("a", encoding="utf-8")
    assert set(folders.fingerprint(station)) - set(before) == {"records/checks.csv"}


def test_a_clock_that_went_back_orders_no_history(tmp_path):
    # the third build was made on a machine whose clock stood a year ahead
    seconds = [0, 10, 31_536_000, 20, 30]
    runs = [finished(tmp_path, at, n) for n, at in enumerate(seconds, start=1)]
    assert folders.latest(tmp_path).name == runs[4]
    assert folders.next_number(tmp_path) == 6
    for run_id in runs:
        folders.retire(tmp_path, tmp_path / run_id)
    assert folders.before(tmp_path).name == runs[4]
    assert folders.next_number(tmp_path) == 6
    folders.prune(tmp_path, 2)
    assert {path.name for path in (tmp_path / "history").iterdir()} == set(runs[3:])


def test_builds_without_a_number_are_older_than_those_with_one(tmp_path):
    unnumbered, first = finished(tmp_path, 50), finished(tmp_path, 1, 1)
    assert folders.latest(tmp_path).name == first
    folders.retire(tmp_path, tmp_path / unnumbered)
    assert folders.next_number(tmp_path) == 2


def test_a_kill_between_switch_and_retiring_loses_nothing(tmp_path):
    old, new = finished(tmp_path, 1, 1), finished(tmp_path, 2, 2)
    folders.switch(tmp_path, old)
    folders.switch(tmp_path, new)  # killed here: the one before was not retired
    (tmp_path / old / "station.duckdb").unlink()  # or half of it was
    folders.prepare(tmp_path, "next")
    assert folders.latest(tmp_path).name == new
    kept = sorted(path.name for path in (tmp_path / "history" / old).iterdir())
    assert kept == ["run.json", "tables"]


def test_everything_is_on_the_disk_before_anything_leads_there(tmp_path, monkeypatch):
    done = []
    sync = os.fsync

    def synced(handle):
        done.append(("sync", str(folders.Path(f"/proc/self/fd/{handle}").readlink())))
        sync(handle)

    monkeypatch.setattr(os, "fsync", synced)
    rename = folders.Path.replace

    def renamed(path, target):
        done.append(("rename", str(target)))
        return rename(path, target)

    monkeypatch.setattr(folders.Path, "replace", renamed)
    run_id = finished(tmp_path, 1)
    folders.switch(tmp_path, run_id)
    switched = done.index(("rename", str(tmp_path / "latest")))
    folder = tmp_path / run_id
    before = [what for how, what in done[:switched] if how == "sync"]
    for path in (folder / "station.duckdb", folder / "tables", folder, tmp_path):
        assert str(path) in before
    assert ("sync", str(tmp_path)) in done[switched:]
