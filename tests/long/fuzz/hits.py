"""What a hit is: how one input is run, and what counts against it."""

from __future__ import annotations

import io
import re
import resource
import sys
import tempfile
import time
import traceback
import unicodedata
from collections.abc import Callable, Iterable, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

from knurlcam.errors import KnurlcamError

MOST_SECONDS = 1.0
"""Of processor time for one input."""

MOST_GROWTH_MB = 200
"""That a process may grow by, over what it takes once its seeds are through."""

MOST_CHARACTERS = 5_000
"""Of a message: nobody reads more."""

ROOM_MB = 600
"""Address space that a child is given beside what it has: a runaway ends in a MemoryError."""


class UntoldError(AssertionError):
    """A message that would harm or flood a terminal."""


@dataclass(frozen=True)
class Target:
    """One kind of input.

    Attributes:
        run: Takes what *prepare* made; raises what the package raises.
        prepare: Puts an input's bytes where the package reads them, such as into a file of
            the folder that it is given; not timed.
        seeds: Good inputs to begin with.
        words: Texts that a mutation puts in the place of others.
        lines: Whole lines, each a key and its value, that a mutation sets.
        largest: Most bytes of an input [byte]
        in_files: Whether *prepare* needs a folder.
    """

    run: Callable[[Any], None]
    prepare: Callable[[bytes, Path], Any]
    seeds: Callable[[], Sequence[bytes]]
    words: Sequence[bytes] = ()
    lines: Sequence[bytes] = ()
    largest: int = 20_000
    in_files: bool = True


class Hit(NamedTuple):
    """What was found with one input.

    Attributes:
        kind: ``raised``, ``slow``, ``memory``, ``message`` or ``hangs``.
        key: What tells it from other hits: one fault is reported once.
        story: Traceback, message or figures.
    """

    kind: str
    key: str
    story: str


class Ran(NamedTuple):
    """How one input ran.

    Attributes:
        seconds: Processor time [s]
        hit: What counts against it, or None.
    """

    seconds: float
    hit: Hit | None


def run_one(target: Target, data: bytes, *, most_seconds: float | None = None) -> Ran:
    """Run one input and say what counts against it.

    Args:
        target: What takes it.
        data: The input.
        most_seconds: Processor time that it may take; not judged unless given [s]
    """
    with _folder_for(target) as folder:
        ready = target.prepare(data, Path(folder))
        began = time.process_time()
        hit = None
        try:
            target.run(ready)
        except KnurlcamError as error:
            seconds = time.process_time() - began
            hit = what_is_wrong_with(str(error), f"{type(error).__name__} {place_of(error)}")
            return Ran(seconds, hit or _slow(seconds, most_seconds, place_of(error)))
        except UntoldError as error:
            hit = Hit("message", place_of(error), str(error))
        except Exception as error:  # whatever else comes out is a hit
            story = "".join(traceback.format_exception(error, limit=-12))
            hit = Hit("raised", f"{type(error).__name__} {place_of(error)}", story[-6000:])
        seconds = time.process_time() - began
        return Ran(seconds, hit or _slow(seconds, most_seconds, ""))


IN_MEMORY = Path("/dev/shm")
"""Where it is there, files cost nothing."""


def _folder_for(target: Target) -> AbstractContextManager[str]:
    if not target.in_files:
        return nullcontext("")
    place = IN_MEMORY if IN_MEMORY.is_dir() else None
    return tempfile.TemporaryDirectory(prefix="fuzz-", dir=place)


def _slow(seconds: float, most: float | None, where: str) -> Hit | None:
    if most is None or seconds <= most:
        return None
    return Hit("slow", f"slow {where}", f"{seconds:.2f} s of processor time {where}")


def place_of(error: BaseException) -> str:
    """Return the last place in the package that an exception came through."""
    frames = traceback.extract_tb(error.__traceback__)
    own = [f for f in frames if "/knurlcam/" in f.filename]
    last = (own or frames or [None])[-1]
    return "" if last is None else f"{Path(last.filename).name}:{last.lineno}"


def what_is_wrong_with(message: str, key: str) -> Hit | None:
    """Return what speaks against showing a message to a person, or None."""
    unseen = sorted({c for c in message if c != "\n" and unicodedata.category(c)[0] == "C"})
    if unseen:
        return Hit("message", f"unseen {key}", f"holds {unseen[:5]!a}: {message[:400]!a}")
    if len(message) > MOST_CHARACTERS:
        text = f"{len(message)} characters: {message[:300]!a}...{message[-100:]!a}"
        return Hit("message", f"long {key}", text)
    for encoding, errors in (("utf-8", "strict"), ("ascii", "backslashreplace")):
        print(message, file=io.TextIOWrapper(io.BytesIO(), encoding=encoding, errors=errors))
    return None


def must_be_told(messages: Iterable[str]) -> None:
    """Hold texts that people see, and that are no errors, to what messages are held to.

    Raises:
        UntoldError: for the first that could not be shown.
    """
    for message in messages:
        hit = what_is_wrong_with(message, "")
        if hit is not None:
            raise UntoldError(hit.story)


_STATUS, _MEMORY = Path("/proc/self/status"), Path("/proc/self/statm")


def peak_mb() -> float:
    """Return the most memory that this process ever had [MB]."""
    if _STATUS.exists():
        # The system's own count goes on from that of the process which started this one.
        found = re.search(r"VmHWM:\s+(\d+) kB", _STATUS.read_text(encoding="ascii"))
        if found:
            return int(found[1]) / 1e3
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1e6 if sys.platform == "darwin" else 1e3)


def limit_memory() -> None:
    """Let a runaway of this process end in a MemoryError, where its size can be told."""
    if not _MEMORY.exists():
        return
    pages = int(_MEMORY.read_text(encoding="ascii").split()[0])
    room = pages * resource.getpagesize() + ROOM_MB * 1_000_000
    resource.setrlimit(resource.RLIMIT_AS, (room, resource.getrlimit(resource.RLIMIT_AS)[1]))
