"""One cast over many processes: those of this machine, or the workers of a cluster. Results are the same either way.

A few tasks more than there are processes are under way at any time, and what comes back is some bytes each: a thousand
characters are never held at once.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from importlib import import_module
from typing import Any, Final

from instep.delivery.cast_member import CastTask, Outcome, failed, rig_member, write_record
from instep.errors import ClusterError, OutputError

RENEWED: Final = 32
"""Characters after which a process makes way for a new one: what a library keeps for itself is given back."""

THREADS: Final = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
"""Each process computes in one thread: the processes are the parallel part."""

ENDED: Final = "the process that worked on it ended, mostly for want of memory"

Work = Callable[[CastTask], Outcome]


def on_processes(tasks: Sequence[CastTask], workers: int, work: Work = rig_member) -> Iterator[Outcome]:
    """Outcomes as they come, from processes of this machine. A process that is ended by the system takes no other
    character with it: those under way are tried once more, each alone. Raises OutputError where no record can be
    written."""
    waiting = list(reversed(tasks))
    while waiting:
        under_way: dict[Future[Outcome], CastTask] = {}
        lost: list[CastTask] = []
        with _single_threaded(), _pool(workers) as pool:
            try:
                while waiting or under_way:
                    while waiting and len(under_way) < workers + 2:
                        task = waiting.pop()
                        under_way[_submitted(pool, work, task)] = task
                    done, _ = wait(under_way, return_when=FIRST_COMPLETED)
                    for future in done:
                        task = under_way.pop(future)
                        outcome = _outcome(future)
                        if outcome is None:
                            lost.append(task)
                        else:
                            yield outcome
                    if lost:
                        lost += under_way.values()
                        break
            except BaseException:
                pool.shutdown(wait=True, cancel_futures=True)
                raise
        for task in lost:
            yield _alone(task, work)


def _pool(workers: int, renewed: int = RENEWED) -> ProcessPoolExecutor:
    context = multiprocessing.get_context("spawn")
    return ProcessPoolExecutor(workers, mp_context=context, max_tasks_per_child=renewed)


def _submitted(pool: ProcessPoolExecutor, work: Work, task: CastTask) -> Future[Outcome]:
    try:
        return pool.submit(work, task)
    except BrokenProcessPool as error:
        broken: Future[Outcome] = Future()
        broken.set_exception(error)
        return broken


def _outcome(future: Future[Outcome]) -> Outcome | None:
    """What a task came to; None where its process ended without a word."""
    try:
        return future.result()
    except BrokenProcessPool:
        return None


def _alone(task: CastTask, work: Work) -> Outcome:
    """A task in a process of its own."""
    with _single_threaded(), _pool(1) as pool:
        outcome = _outcome(_submitted(pool, work, task))
    return outcome if outcome is not None else told_as_ended(task)


def told_as_ended(task: CastTask) -> Outcome:
    """The record of a character whose process ended, and its outcome."""
    write_record(task, failed(task, "ProcessEnded", ENDED, lasting=False))
    return Outcome(task.member.name, "failed")


@contextmanager
def _single_threaded() -> Iterator[None]:
    """New processes compute in one thread each; one's own environment is put back."""
    before = {name: os.environ.get(name) for name in THREADS}
    os.environ.update(dict.fromkeys(THREADS, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


def on_cluster(tasks: Sequence[CastTask], address: str, work: Work = rig_member) -> Iterator[Outcome]:
    """Outcomes as they come, from the workers of a Dask scheduler. They must see the same folders by the same paths.

    Raises ClusterError where `dask.distributed` is not installed, nobody answers at `address`, or it has no workers;
    OutputError where no record can be written.
    """
    client = _client(address)
    try:
        room = sum(client.nthreads().values())
        if not room:
            raise ClusterError(
                "the scheduler has no workers",
                where=address,
                expected="one or more",
                cure="Start workers there: dask worker ADDRESS --nthreads 1",
            )
        waiting = list(reversed(tasks))
        under_way: dict[Any, CastTask] = {}
        finished = import_module("distributed").as_completed(loop=client.loop)
        while waiting or under_way:
            while waiting and len(under_way) < room + 2:
                task = waiting.pop()
                future = client.submit(work, task, pure=False)
                under_way[future] = task
                finished.add(future)
            future = next(finished)
            task = under_way.pop(future)
            if future.status == "finished":
                yield future.result()
            elif isinstance(error := future.exception(), OutputError):
                raise error
            else:
                yield told_as_ended(task)
            future.release()
    finally:
        client.close()


def _client(address: str) -> Any:
    try:
        distributed = import_module("distributed")
    except ImportError:
        raise ClusterError(
            "the package dask.distributed is not installed",
            expected="it, for --cluster",
            cure='Install it with Instep: pip install "instep[cluster]"',
        ) from None
    try:
        return distributed.Client(address, timeout="10s", set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        raise ClusterError(
            f"no scheduler answers ({type(error).__name__})",
            where=address,
            expected="the address of a Dask scheduler, such as tcp://10.0.0.5:8786",
            cure="Start one there with: dask scheduler",
        ) from error
