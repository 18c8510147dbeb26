"""``knurlcam schema``: the reference of a job's keys."""

from __future__ import annotations

from knurlcam.cli.output import errors_reported, print_json

__all__ = ["schema"]


def schema() -> None:
    """The JSON Schema of a job file: every key and its unit."""
    with errors_reported():
        from knurlcam.job.model import Job

        print_json(Job.model_json_schema())
