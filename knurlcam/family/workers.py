"""Processes that make programs: started afresh, and gone when their parent is."""

from __future__ import annotations

import gc
import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager, suppress
from multiprocessing import resource_tracker
from multiprocessing.context import SpawnContext, SpawnProcess

__all__ = ["cores", "executor_of"]

LOOK_S = 1.0
"""How often workers are looked at [s]."""

REPORTED_S = 3.0
"""How long a pool may take to report by itself that a worker has died [s]."""


@contextmanager
def _interrupt_deferred() -> Iterator[None]:
    """Take a terminal's interrupt when the block is over; processes that begin here get none.

    It reaches all processes of a terminal: without this a worker that is just starting would
    show a traceback, and so would one whose parent breaks off before it has sent it what to do.
    """
    if sys.platform == "win32" or threading.current_thread() is not threading.main_thread():
        yield
        return
    resource_tracker.ensure_running()  # it would lift the block when it starts
    came: list[int] = []
    # The mask is what a new process inherits. It does not keep the interrupt from this one:
    # another thread may take the signal, and Python then runs the handler in this thread.
    handler = signal.signal(signal.SIGINT, lambda number, _: came.append(number))
    before = signal.pthread_sigmask(signal.SIG_BLOCK, (signal.SIGINT,))
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
        signal.signal(signal.SIGINT, handler)
    if came:
        signal.raise_signal(signal.SIGINT)


class _UninterruptedProcess(SpawnProcess):
    """A process whose parent is the one to stop."""

    def start(self) -> None:
        with _interrupt_deferred():
            super().start()


class _Context(SpawnContext):
    """Processes started afresh (`spawn`) on every system.

    A forked one would be a copy of this one, with its locks and buffers half way through.
    """

    Process = _UninterruptedProcess


@contextmanager
def executor_of(own: Executor | None, count: int) -> Iterator[Executor | None]:
    """Yield an executor for a run.

    Args:
        own: The caller's executor, which is used if there is one.
        count: Processes to start otherwise; for one, none is started and None is yielded.
    """
    if own is not None or count == 1:
        yield own
        return
    with ProcessPoolExecutor(count, mp_context=_Context(), initializer=_begin_worker) as pool:
        with _interrupt_deferred():
            for _ in range(count):
                pool.submit(cores)  # anything: what matters is that all workers begin now
        over = threading.Event()
        threading.Thread(target=_watch, args=(pool, over), daemon=True).start()
        try:
            yield pool
        finally:
            over.set()


def _watch(pool: ProcessPoolExecutor, over: threading.Event) -> None:
    """Break a pool that waits for ever for the rest of what a dead worker was sending.

    A pool notices by itself that a worker has died, but not while it reads a result: if the
    worker was killed in the middle of one, the rest never comes, and the pipe stays open as
    long as any process holds its other end. The pool has no public way to let go of it.
    """
    while not over.wait(LOOK_S):
        workers = list((pool._processes or {}).values())
        if all(worker.exitcode is None for worker in workers) or over.wait(REPORTED_S):
            continue
        for worker in workers:
            worker.kill()
        with suppress(AttributeError, OSError):
            pool._result_queue._writer.close()  # type: ignore[attr-defined]
        return


def cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _begin_worker() -> None:
    """Make a worker go when its parent does, however that ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # Rows leave hardly any cycles, and looking for them takes a noticeable part of a row's time.
    gc.set_threshold(100_000, 50, 50)
    parent = multiprocessing.parent_process()

    def leave_with_parent() -> None:
        if parent is not None:
            parent.join()
            os._exit(1)  # at once: nobody is left to send a result to

    threading.Thread(target=leave_with_parent, daemon=True).start()
