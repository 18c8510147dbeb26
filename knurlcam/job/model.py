"""What the user asks for: one knurling operation, every key with its unit.

A job is a TOML file (or the same keys in a dict). Bare lengths and feeds are in the job's
``units``; everything is held in millimetres, rev/min, mm/rev and degrees.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

from pydantic import (
    Field,
    PrivateAttr,
    ValidationError,
    model_validator,
)

from knurlcam.data.rolls import roll_sets
from knurlcam.errors import InputError
from knurlcam.job.calibration import Calibration
from knurlcam.job.fields import (
    NO_UNIT,
    InUnits,
)
from knurlcam.job.identity import identity_of
from knurlcam.job.knurl import Knurl
from knurlcam.job.load import read_table_file, refuse_names, with_lines
from knurlcam.job.press_fit import Fit
from knurlcam.job.problems import JobFileError, problems_of
from knurlcam.job.section_cache import keep_sections, kept_sections, keys_of_sections
from knurlcam.job.sections import Holding, Machine, Part, Process
from knurlcam.job.tool import Tool

if TYPE_CHECKING:
    from knurlcam.shop.fill import Shop
    from knurlcam.shop.measured import MeasuredFrom

__all__ = [
    "Job",
]


@contextmanager
def _in_words_of_a_file() -> Iterator[None]:
    """Say pydantic's errors as a job file's author is told them."""
    try:
        yield
    except ValidationError as error:
        raise JobFileError(problems_of(error, Job, None)) from None


class Job(InUnits):
    """One knurling operation."""

    part: Part = Field(description="The workpiece", json_schema_extra=NO_UNIT)
    knurl: Knurl = Field(description="The knurl", json_schema_extra=NO_UNIT)
    holding: Holding = Field(description="How the work is held", json_schema_extra=NO_UNIT)
    tool: Tool = Field(description="Tool and rolls", json_schema_extra=NO_UNIT)
    process: Process = Field(
        default_factory=dict,
        validate_default=True,
        description="Speed, feed and passes",
        json_schema_extra=NO_UNIT,
    )
    fit: Fit | None = Field(
        None, description="Press fit, only with that purpose", json_schema_extra=NO_UNIT
    )
    machine: Machine = Field(description="Lathe and control", json_schema_extra=NO_UNIT)

    _from_shop: frozenset[str] = PrivateAttr(default=frozenset())
    _rolls_chosen: str = PrivateAttr(default="")
    _shop_tool: str = PrivateAttr(default="")
    _shop_rolls: str = PrivateAttr(default="")
    _posts: tuple[Path, ...] = PrivateAttr(default=())
    _calibration: Calibration | None = PrivateAttr(default=None)

    def __init__(self, **keys: Any) -> None:
        """Validate a job's keys, as :meth:`model_validate` does.

        Raises:
            JobFileError: naming every key that is wrong, as for a file.
        """
        with _in_words_of_a_file():
            super().__init__(**keys)

    # Says that validation need not go through this constructor, which only words errors.
    __init__.__pydantic_base_init__ = True  # type: ignore[attr-defined]

    @classmethod
    def model_validate(cls, obj: Any, **options: Any) -> Self:
        """Validate a job's keys, nested as in the file.

        Raises:
            JobFileError: naming every key that is wrong, as for a file.
        """
        with _in_words_of_a_file():
            return super().model_validate(obj, **options)

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        part = self.part
        if part.knurled_diameter is None and part.blank_diameter is None and self.fit is None:
            raise InputError(
                "no diameter is given",
                key="part.knurled_diameter",
                expected="knurled_diameter (over the crests) or blank_diameter (before knurling)",
                remedy="give the one that the drawing shows",
            )
        if self.fit is not None and self.purpose != "press fit":
            raise InputError(
                "a fit is given, but the knurl is not for one",
                key="fit",
                value=self.purpose,
                expected='knurl.purpose = "press fit"',
                remedy="set the purpose or leave [fit] out",
            )
        form = self.knurl.asked.form
        # Rolls that are left out are chosen to suit the form: they cannot contradict it.
        if self.tool.rolls is not None and not self._makes(form):
            sets = [
                " ".join(s.rolls) + (" swivelled" if s.swivelled else "")
                for s in roll_sets(form)
                if len(s.rolls) == self.tool.roll_count
            ]
            raise InputError(
                f"these rolls do not make form {form}"
                + (" when swivelled" if self.tool.swivelled else ""),
                key="tool.rolls",
                value=list(self.tool.rolls),
                expected="; or ".join(sets) or f"another style: {self.tool.style} cannot make it",
                remedy="correct tool.rolls, tool.swivelled or the callout",
            )
        return self

    def _makes(self, form: str) -> bool:
        wanted = sorted(self.tool.rolls or ())
        return any(
            sorted(s.rolls) == wanted and s.swivelled == self.tool.swivelled
            for s in roll_sets(form)
        )

    @property
    def from_shop(self) -> frozenset[str]:
        """Keys, such as ``tool.station``, whose values the shop file gave."""
        return self._from_shop

    @property
    def rolls_chosen(self) -> str:
        """Which of the shop's rolls were chosen for a pitch left open, and why; else empty."""
        return self._rolls_chosen

    @property
    def shop_tool(self) -> str:
        """Name of the tool that the shop file gave; else empty."""
        return self._shop_tool

    @property
    def shop_rolls(self) -> str:
        """Name of the rolls that the shop file gave; else empty."""
        return self._shop_rolls

    @property
    def posts(self) -> tuple[Path, ...]:
        """Folders of the shop's own dialects, as the shop file names them."""
        return self._posts

    @property
    def calibration(self) -> Calibration | None:
        """What was measured with its rolls, material and tool; None where nothing was."""
        return self._calibration

    def with_calibration(self, calibration: Calibration | None) -> Self:
        """Return the job with what was measured with its rolls, material and tool.

        Args:
            calibration: What was measured; None to plan by the estimate alone.
        """
        job = self.model_copy()
        job._calibration = calibration
        return job

    @property
    def purpose(self) -> str:
        """What the knurl is for, the default filled in."""
        return self.knurl.asked.purpose or "grip"

    @cached_property
    def identity(self) -> str:
        """Twelve hex digits that tell this job from another, whatever the dialect."""
        return identity_of(self)

    @classmethod
    def load(
        cls,
        path: str | Path,
        shop: Shop | str | Path | None = None,
        *,
        measured: MeasuredFrom = None,
    ) -> Job:
        """Read a job file, with what the shop file gives.

        Args:
            path: The job file, TOML.
            shop: A shop, or a shop file; else ``KNURLCAM_SHOP``, else a ``shop.toml``
                beside the job or in a folder above it.
            measured: A log of measured parts, or what was read from one; False for none;
                None for ``measured.sqlite`` beside the shop file.

        Raises:
            JobFileError: if the file or the shop file is not what it must be.
            InputError: if the log of measured parts cannot be read.
        """
        # The one import of a later room: a shop is filled in before there is a job.
        from knurlcam.shop.fill import find_shop
        from knurlcam.shop.measured import calibrated

        data = read_table_file(path)
        found = find_shop(path, shop)
        try:
            job = cls.build(data, where=str(path), shop=found)
        except JobFileError as error:
            raise with_lines(error, path) from None
        return calibrated(job, found, measured)

    @classmethod
    def build(
        cls, data: Mapping[str, Any], *, where: str | None = None, shop: Shop | None = None
    ) -> Job:
        """Validate a job's keys, filled up from a shop, into a job.

        A section of a job that is valid already may stand for a table, whatever units
        either job is in: it is taken as it is, and a shop fills nothing into it. Jobs of
        a family are built much faster that way.

        Args:
            data: The job's keys, nested as in the file; or sections such as ``job.tool``.
            where: Name for messages, such as the file's.
            shop: The shop whose tools, machines and defaults the job may name.

        Raises:
            JobFileError: naming every key that is wrong.
        """
        from_shop: frozenset[str] = frozenset()
        rolls_chosen = tool_name = rolls_name = ""
        if shop is not None:
            data, from_shop, rolls_chosen, tool_name, rolls_name = shop.filled(data, where=where)
        else:
            refuse_names(data, where)
        keys = keys_of_sections(data)
        known = kept_sections(keys)
        try:
            job = cls.model_validate({**data, **known})
        except JobFileError as error:
            raise (error if where is None else error.at(where=where)) from None
        if from_shop:
            job._from_shop = from_shop
        if shop is not None:
            job._posts, job._rolls_chosen = shop.posts, rolls_chosen
            job._shop_tool, job._shop_rolls = tool_name, rolls_name
        if len(known) < len(keys):
            keep_sections(job, keys)
        return job
