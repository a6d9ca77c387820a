"""What the workers of a run share: made once, by one of them, and read only."""

from __future__ import annotations

import threading
import time

import pytest
from made_once import Shared


def test_two_that_ask_at_once_get_one_that_is_whole(tmp_path):
    made, seen = [], []

    def make(folder):
        made.append(folder)
        folder.mkdir()
        time.sleep(0.05)
        (folder / "last").write_text("x")

    def ask():
        folder = Shared(tmp_path / "shared").folder("station", make)
        seen.append((folder / "last").exists())

    workers = [threading.Thread(target=ask) for _ in range(4)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert len(made) == 1
    assert seen == [True] * 4


def test_what_could_not_be_made_fails_for_all_and_is_tried_once(tmp_path):
    tried = []

    def fail(folder):
        tried.append(folder)
        raise ValueError("no station")

    with pytest.raises(ValueError, match="no station"):
        Shared(tmp_path / "shared").folder("station", fail)
    with pytest.raises(pytest.fail.Exception, match="no station"):
        Shared(tmp_path / "shared").folder("station", fail)
    assert len(tried) == 1


def test_what_a_killed_worker_left_is_made_anew(tmp_path):
    def killed(folder):
        folder.mkdir()
        (folder / "half").write_text("x")
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        Shared(tmp_path / "shared").folder("station", killed)
    whole = Shared(tmp_path / "shared").folder("station", lambda folder: folder.mkdir())
    assert list(whole.iterdir()) == []


def test_a_test_that_wrote_to_what_is_shared_is_found_out(tmp_path):
    shared = Shared(tmp_path / "shared")
    folder = shared.folder("station", lambda folder: folder.mkdir())
    assert shared.changed() == []
    (folder / "mine").write_text("x")
    assert any(line.startswith("mine ") for line in shared.changed())
