"""What a shop keeps once: tools, rolls, machines and default process values by name.

A job names them (``tool = "twin 20"``, ``machine = "lathe 2"``) and overrides what it must; a
job that names no tool gets the first of the shop's that can do it.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

from knurlcam.errors import InputError, nearest
from knurlcam.job.model import Job
from knurlcam.job.problems import JobFileError
from knurlcam.shop.file import Rolls, read_shop_file
from knurlcam.shop.match import Asked, RollMatch, Trial, pick, refuse_own_faults, trials
from knurlcam.shop.open_pitch import choose_rolls, leaves_pitch_open

__all__ = ["SHOP_FILE", "SHOP_VARIABLE", "Filled", "Shop", "find_shop", "load_shop"]

SHOP_FILE = "shop.toml"
"""Name of the shop file that is looked for beside a job and above it."""

SHOP_VARIABLE = "KNURLCAM_SHOP"
"""Environment variable that names the shop file."""

OWN_TOOL = "the job's own tool"
"""What a tool is called that the job says all of."""


class Filled(NamedTuple):
    """A job's keys, filled up.

    Attributes:
        data: All keys.
        given: Dotted names of those that the shop gave.
        rolls_chosen: Which rolls were chosen for a pitch that was left open, and why; empty
            where the job gives its pitch.
        tool_name: Name of the tool that the shop gave; else empty.
        rolls_name: Name of the rolls that it gave; else empty.
    """

    data: dict[str, Any]
    given: frozenset[str]
    rolls_chosen: str = ""
    tool_name: str = ""
    rolls_name: str = ""


@dataclass(frozen=True)
class Shop:
    """A shop file, read and validated.

    Attributes:
        path: The file.
        tools: Tools by name, quantities as text with their unit.
        rolls: Rolls by name.
        machines: Machines by name.
        process: Default process values.
        dialects: Folder of the shop's own dialects, from the shop file on; None without one.
    """

    path: str
    tools: Mapping[str, Mapping[str, Any]]
    machines: Mapping[str, Mapping[str, Any]]
    process: Mapping[str, Any]
    rolls: Mapping[str, Rolls] = field(repr=False)
    dialects: str | None = None

    @property
    def dialect_folder(self) -> Path | None:
        """The folder of the shop's own dialects, whether it is there or not; None without one."""
        if self.dialects is None:
            return None
        # Absolute, for it is kept: a process may go to another folder.
        return Path(os.path.abspath(Path(self.path).parent / self.dialects))

    @property
    def posts(self) -> tuple[Path, ...]:
        """Folders of the shop's own dialects: one or none.

        Raises:
            JobFileError: if the folder that the shop file names is not there.
        """
        folder = self.dialect_folder
        if folder is None:
            return ()
        if not folder.is_dir():
            problem = InputError(
                "is not a folder of dialects",
                where=self.path,
                key="dialects",
                value=self.dialects,
                expected="a folder with one folder a dialect in it, from the shop file on",
                remedy="make it with knurlcam dialect new, or correct the key",
            )
            raise JobFileError((problem,))
        return (folder,)

    def fill(
        self, data: Mapping[str, Any], where: str | None = None
    ) -> tuple[dict[str, Any], frozenset[str]]:
        """Fill a job's keys up with what the shop keeps.

        Args:
            data: The job's keys, as in the file.
            where: The job's name for messages.

        Returns:
            All keys, and the dotted names of those that the shop gave.

        Raises:
            JobFileError: if a name is unknown or the job is not valid.
            CannotBeDoneError: if none of the shop's tools can do the job.
        """
        filled = self.filled(data, where)
        return filled.data, filled.given

    def filled(self, data: Mapping[str, Any], where: str | None = None) -> Filled:
        """Fill a job's keys up with what the shop keeps, and say which rolls were chosen.

        Args:
            data: The job's keys, as in the file.
            where: The job's name for messages.

        Raises:
            JobFileError: if a name is unknown or the job is not valid.
            CannotBeDoneError: if none of the shop's tools can do the job.
        """
        filled = dict(data)
        given: set[str] = set()
        machine, own = self._named(data, "machine", self.machines, where)
        if "machine" not in data and self.machines:
            machine = self._only_machine(where)
        self._merge(filled, "machine", machine, own, given)
        own_process = data.get("process", {})
        if isinstance(own_process, Mapping):
            self._merge(filled, "process", self._process_for(own_process), own_process, given)
        return self._fill_tool(Filled(filled, frozenset(given)), data, where)

    def rolls_for(self, job: Job) -> tuple[RollMatch, ...]:
        """Return for each tool and its rolls whether they can make a job's callout."""
        data = job.model_dump(mode="json", exclude={"tool"}, exclude_none=True)
        asked = Asked(data, {}, self.path, self.path)
        return tuple(trial.match for trial in trials(asked, self.tools, self.rolls))

    def _named(
        self,
        data: Mapping[str, Any],
        key: str,
        known: Mapping[str, Mapping[str, Any]],
        where: str | None,
    ) -> tuple[Mapping[str, Any] | None, Mapping[str, Any]]:
        """Return what a section names and what it says itself."""
        section = data.get(key)
        name: object = None
        own: Mapping[str, Any] = {}
        if isinstance(section, str):
            name = section
        elif isinstance(section, Mapping):
            own = {k: v for k, v in section.items() if k != "name"}
            name = section.get("name")
        if name is None:
            return None, own
        if not isinstance(name, str) or name not in known:
            raise JobFileError(
                (
                    InputError(
                        f"no {key} of that name in {self.path}",
                        where=where,
                        key=key,
                        value=name,
                        expected="a name of the shop file",
                        remedy=nearest(str(name), known) if known else "the shop file has none",
                    ),
                )
            )
        return known[name], own

    def _only_machine(self, where: str | None) -> Mapping[str, Any]:
        """Return the shop's one machine, for a job that names none."""
        if len(self.machines) > 1:
            problem = InputError(
                f"is missing, and {self.path} has more than one machine",
                where=where,
                key="machine",
                expected="one of " + ", ".join(map(repr, self.machines)),
                remedy="name the one that the job runs on",
            )
            raise JobFileError((problem,))
        return next(iter(self.machines.values()))

    def _process_for(self, own: Mapping[str, Any]) -> Mapping[str, Any] | None:
        """Return the default process values that a job has a use for."""
        kept = dict(self.process)
        # A job without a trial strip refuses these keys, and did not ask for them.
        if not {**kept, **own}.get("trial_strip", False):
            for key in ("trial_length", "trial_stop"):
                kept.pop(key, None)
        return kept or None

    @staticmethod
    def _merge(
        filled: dict[str, Any],
        key: str,
        kept: Mapping[str, Any] | None,
        own: Mapping[str, Any],
        given: set[str],
    ) -> None:
        if kept is None:
            return
        filled[key] = {**kept, **own}
        given.update(f"{key}.{name}" for name in kept if name not in own)

    def _fill_tool(self, so_far: Filled, data: Mapping[str, Any], where: str | None) -> Filled:
        """Fill in the tool and its rolls, and their names."""
        section = data.get("tool")
        tool, own = self._named(data, "tool", self.tools, where)
        is_open = leaves_pitch_open(data) and bool(self.rolls)
        says_all = tool is None and section is not None
        named = str(own.get("roll")) in self.rolls
        if says_all and not is_open and not named:
            return so_far  # the job says all of it itself
        if not says_all and not self.tools:
            return so_far  # the job's own check says that the tool is missing
        among = {OWN_TOOL: {}} if says_all else self.tools
        if tool is not None:
            name = section if isinstance(section, str) else section["name"]  # type: ignore[index]
            among = {name: tool}
        rolls = self.rolls
        if named:
            rolls = {own["roll"]: rolls[own["roll"]]}
            own = {k: v for k, v in own.items() if k != "roll"}
        base = {k: v for k, v in so_far.data.items() if k != "tool"}
        asked = Asked(base, own, where, self.path, named)
        if is_open:
            chosen = choose_rolls(asked, among, rolls)
            knurl = {k for k in chosen.knurl if base["knurl"].get(k) is None}
            so_far = so_far._replace(
                data={**so_far.data, "knurl": chosen.knurl},
                given=so_far.given | {f"knurl.{k}" for k in knurl},
                rolls_chosen=chosen.why,
            )
            return _with_tool(so_far, chosen.trial, own)
        if not says_all:
            # First, or a job's own error would be said once for each tool that was tried.
            refuse_own_faults(asked)
        return _with_tool(so_far, pick(asked, among, rolls, named=tool is not None), own)


def _with_tool(so_far: Filled, trial: Trial, own: Mapping[str, Any]) -> Filled:
    """Return a job's keys with a tool that was tried."""
    tool_name = "" if trial.match.tool == OWN_TOOL else trial.match.tool
    return so_far._replace(
        data={**so_far.data, "tool": trial.tool},
        given=so_far.given | {f"tool.{k}" for k in trial.tool if k not in own},
        tool_name=tool_name,
        rolls_name=trial.match.rolls,
    )


def load_shop(path: str | Path) -> Shop:
    """Read a shop file.

    Raises:
        JobFileError: naming file, key, value, what was expected and what to do.
    """
    return Shop(path=str(path), **read_shop_file(path)._asdict())


def find_shop(job: str | Path, shop: Shop | str | Path | None = None) -> Shop | None:
    """Find the shop file for a job.

    Args:
        job: The job file.
        shop: A shop, or a shop file; else ``KNURLCAM_SHOP``, else a ``shop.toml`` beside
            the job or in a folder above it.

    Returns:
        The shop, or None where there is no shop file.

    Raises:
        JobFileError: if a file that was named or found is not a shop file.
    """
    if isinstance(shop, Shop):
        return shop
    named = shop or os.environ.get(SHOP_VARIABLE)
    if named:
        return load_shop(named)
    own = Path(job).resolve()
    for folder in own.parents:
        file = folder / SHOP_FILE
        # A job may itself be called shop.toml; it does not fill itself up.
        if file.is_file() and file != own:
            return load_shop(file)
    return None
