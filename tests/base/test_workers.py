"""Work beside the build: the same results by any number of workers, and clear ends."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time

import numpy as np
import pytest
from queen_outcomes.base.workers import THREADS, Workers, one_thread_each


@pytest.mark.parametrize("count", [1, 3])
def test_results_stand_in_the_order_they_were_asked_for(count):
    arrays = [np.arange(float(n)) for n in range(1, 9)]
    with Workers(count) as workers:
        tasks = [workers.submit(np.mean, array) for array in arrays]
        assert workers.results(tasks) == [array.mean() for array in arrays]


def test_workers_that_rest_end_and_start_again_with_the_next_task():
    with Workers(2) as workers:
        gone = workers.submit(os.getpid).result()
        assert gone != os.getpid()
        for _ in range(100):  # it is idle a moment after its result is there
            workers.rest()
            if workers._pool is None:
                break
            time.sleep(0.05)
        with pytest.raises(ProcessLookupError):
            os.kill(gone, 0)
        assert workers.submit(os.getpid).result() not in (gone, os.getpid())


def test_a_worker_that_is_at_work_does_not_rest():
    with Workers(2) as workers:
        task = workers.submit(sorted, range(10))
        waiting = [workers.submit(time.sleep, 0.5) for _ in range(2)]
        workers.rest()
        assert task.result() == list(range(10))
        workers.results(waiting)


def test_no_more_are_at_work_than_may_be():
    with Workers(4) as workers:
        first = [workers.submit(time.sleep, 0.5) for _ in range(3)]
        workers.at_most(1)
        later = [workers.submit(os.getpid) for _ in range(4)]
        assert not any(task._future.running() for task in later)
        ran = [task._future.result() for task in later]
        assert os.getpid() not in ran
        workers.results(first)
        assert (workers.count, workers._idle) == (2, 1)
        workers.at_most(3)  # it does not bring any back
        assert workers.count == 2


def test_what_is_asked_for_goes_before_what_waits():
    with Workers(2) as workers:
        begun = workers.submit(time.sleep, 0.3)
        waits = workers.submit(time.monotonic_ns)
        asked = [workers.submit(time.monotonic_ns), workers.submit(time.sleep, 1.0)]
        # the long one is worked out here, the other beside once that is free
        now, _ = workers.results(asked)
        begun.result()
        assert now < waits._future.result()


def test_nothing_is_worked_out_before_it_is_asked_for_without_workers():
    asked = []
    with Workers(1) as workers:
        task = workers.submit(asked.append, "one")
        assert asked == []
        task.result()
        task.result()
    assert asked == ["one"]


def test_a_worker_is_spawned_and_holds_nothing_of_its_parent():
    with Workers(3) as workers:
        tasks = [workers.submit(os.getpid) for _ in range(2)]
        (one, _) = [task._future.result() for task in tasks]
        assert one != os.getpid()


def test_a_workers_error_is_raised_where_its_result_is_asked_for():
    with Workers(3) as workers:
        task = workers.submit(int, "x")
        with pytest.raises(ValueError, match="invalid literal"):
            task.result()


def test_a_worker_that_was_ended_is_told_as_what_ends_them():
    with Workers(2) as workers:
        busy = workers.submit(os.kill, *(workers.submit(os.getpid)._future.result(), 9))
        while not busy._future.done():  # until it has run, or would run here
            pass
        with pytest.raises(MemoryError, match="worker"):
            busy.result()


def test_one_thread_whatever_the_environment_says(monkeypatch):
    for name in THREADS:
        monkeypatch.setenv(name, "7")
    one_thread_each()
    assert {os.environ[name] for name in THREADS} == {"1"}


@pytest.mark.slow
def test_workers_end_with_the_process_that_was_killed():
    code = (
        "import os, time\n"
        "from queen_outcomes.base.workers import Workers\n"
        "if __name__ == '__main__':\n"
        "    workers = Workers(2)\n"
        "    print(workers.submit(os.getpid)._future.result(), flush=True)\n"
        "    time.sleep(60)\n"
    )
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE) as run:
        worker = int(run.stdout.readline())
        run.send_signal(signal.SIGKILL)
        run.wait()
        for _ in range(200):
            try:
                os.kill(worker, 0)
            except ProcessLookupError:
                return
            subprocess.run(["sleep", "0.05"], check=True)
    pytest.fail("the worker lived on")
