"""Work done beside the build, in processes of their own, without a changed byte.

Workers are spawned, never forked: a fork takes the threads' locks of an open store along
and not the threads. They take plain arguments and give plain results; whoever asks alone
writes, in its own order. Work is cut by what it is about, never by how many cores there
are, so that their number changes when a result comes and nothing else.
"""

from __future__ import annotations

import math
import os
import signal
import sys
import threading
from collections import deque
from collections.abc import Callable, Iterable
from functools import partial
from typing import TYPE_CHECKING, Any

from queen_outcomes.base.memory import collect_seldom, give_back

if TYPE_CHECKING:
    from concurrent.futures import Future, ProcessPoolExecutor

THREADS = (
    "OPENBLAS_NUM_THREADS",
    "OMP_NUM_THREADS",
    "MKL_NUM_THREADS",
    "BLIS_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
    "NUMEXPR_NUM_THREADS",
)


def one_thread_each() -> None:
    """Let linear algebra use one thread, here and in workers; before numpy is imported.

    How sums are cut among threads changes their last digits, whatever the environment
    says of it; and these threads spin against each other, DuckDB's and the workers.
    """
    os.environ.update(dict.fromkeys(THREADS, "1"))


def cores() -> int:
    """Give how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


class Task:
    """Something to be worked out, here or beside."""

    def __init__(
        self, future: Future | None, function: Callable[..., Any], arguments: tuple
    ) -> None:
        self._future, self._function, self._arguments = future, function, arguments
        self._done: tuple[Any] | None = None

    def result(self) -> Any:
        """Give the result: a worker's, or worked out here if none has begun on it.

        Raises
        ------
        MemoryError
            A worker was ended from outside, as a system does that runs out of memory.
        """
        if self._done is None:
            if self._future is None or self._future.cancel():
                self._done = (self._function(*self._arguments),)
            else:
                self._done = (_awaited(self._future),)
            self._future, self._arguments = None, ()
        return self._done[0]

    def hand_to(self, pool: ProcessPoolExecutor) -> Future | None:
        """Hand it to a pool; None: it is being worked out already."""
        future = self._future
        if future is None or not future.set_running_or_notify_cancel():
            return None
        return pool.submit(_work_out, self._function, *self._arguments)

    def settle(self, done: Future) -> None:
        """Take over what a pool made of it."""
        future, error = self._future, done.exception()
        if future is None:
            return
        if error is None:
            future.set_result(done.result())
        else:
            future.set_exception(error)


def _awaited(future: Future) -> Any:
    from concurrent.futures.process import BrokenProcessPool

    try:
        return future.result()
    except BrokenProcessPool:
        raise MemoryError("a worker of the build was ended") from None


class Workers:
    """Processes that take tasks, one fewer than cores: whoever waits works too.

    Parameters
    ----------
    count : int or None
        Cores to use, this process's own among them; 1: everything is worked out here,
        when it is asked for. None: all there are.
    memory : float
        Bytes that the processes may take together, for whoever asks how many that lets
        work at once.

    Notes
    -----
    A process is started with the first task that finds no idle one. It is handed a task
    when it is idle and none in advance: what waits in a pool's own queue cannot be taken
    back, so that whoever asks for it would stand idle.
    """

    def __init__(self, count: int | None = None, memory: float = math.inf) -> None:
        self.count = max(cores() if count is None else count, 1)
        self.memory = memory
        self._pool: ProcessPoolExecutor | None = None
        self._waiting: deque[Task] = deque()
        self._idle = self.count - 1
        self._turn = threading.RLock()

    def submit(self, function: Callable[..., Any], *arguments: Any) -> Task:
        """Hand over a task: a function of a module, with arguments that can be copied."""
        if self.count == 1:
            return Task(None, function, arguments)
        from concurrent.futures import Future

        task = Task(Future(), function, arguments)
        self._waiting.append(task)
        self._hand_over()
        return task

    def _hand_over(self) -> None:
        """Give those that are idle the first tasks that nobody has begun on."""
        with self._turn:
            while self._idle > 0 and self._waiting:
                task = self._waiting.popleft()
                future = task.hand_to(self._opened())
                if future is not None:
                    self._idle -= 1
                    future.add_done_callback(partial(self._finished, task))

    def _opened(self) -> ProcessPoolExecutor:
        if self._pool is None:
            import multiprocessing
            from concurrent.futures import ProcessPoolExecutor

            self._pool = ProcessPoolExecutor(
                self.count - 1,
                multiprocessing.get_context("spawn"),
                initializer=_begin,
            )
        return self._pool

    def _finished(self, task: Task, future: Future) -> None:
        from concurrent.futures.process import BrokenProcessPool

        if future.cancelled():  # closed in the meantime: nobody waits for it
            return
        task.settle(future)
        # of a broken pool none is idle again: the rest is worked out where it is asked for
        if not isinstance(future.exception(), BrokenProcessPool):
            with self._turn:
                self._idle += 1
            self._hand_over()

    def results(self, tasks: Iterable[Task]) -> list[Any]:
        """Give the results of tasks in their order, working on the last ones here.

        They go before whatever else waits: that is asked for later, and fills the time in
        which nothing can be handed over.
        """
        listed = list(tasks)
        with self._turn:
            asked = set(map(id, listed))
            waiting = sorted(self._waiting, key=lambda task: id(task) not in asked)
            self._waiting = deque(waiting)
        for task in reversed(listed):
            task.result()
        return [task.result() for task in listed]

    def at_most(self, processes: int) -> None:
        """Let no more processes than so many be at work from now on."""
        with self._turn:
            fewer = max(self.count - 1 - processes, 0)
            self.count -= fewer
            self._idle -= fewer  # below 0 until as many have done what they are at

    def rest(self) -> None:
        """Let workers that nothing is asked of end; another task starts them again."""
        with self._turn:
            is_idle = self._idle == self.count - 1 and not self._waiting
            pool, self._pool = (self._pool, None) if is_idle else (None, self._pool)
        if pool is not None:
            pool.shutdown(wait=True)

    def close(self) -> None:
        """Let the workers end; what none has begun on is left."""
        self._waiting.clear()
        if self._pool is not None:
            self._pool.shutdown(wait=True, cancel_futures=True)
            self._pool = None

    def stop(self) -> None:
        """End the workers, whatever they are at: nobody waits for it any more."""
        if self._pool is not None:
            import multiprocessing

            for child in multiprocessing.active_children():
                child.terminate()
        self.close()

    def __enter__(self) -> Workers:
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        self.close() if kind is None else self.stop()


def _work_out(function: Callable[..., Any], *arguments: Any) -> Any:
    """Work out a task in a worker, which may then be idle for long."""
    found = function(*arguments)
    give_back()
    return found


def _begin() -> None:
    """Make a worker end with its parent, and at once where somebody presses Ctrl-C."""
    import multiprocessing
    from multiprocessing import util

    signal.signal(signal.SIGINT, signal.SIG_DFL)
    collect_seldom()
    # its last results are written by then
    util.Finalize(None, _end, exitpriority=0)
    parent = multiprocessing.parent_process()
    if parent is not None:
        watch = threading.Thread(target=_end_with, args=(parent,), daemon=True)
        watch.start()


def _end() -> None:
    """End without taking thousands of modules apart, which whoever closes would wait for."""
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(0)


def _end_with(parent: Any) -> None:
    from multiprocessing import connection

    connection.wait([parent.sentinel])
    os._exit(1)
