"""Tables as they come with knurlcam."""

from __future__ import annotations

from knurlcam.data.folders import data_folder


def shipped(name: str) -> str:
    return (data_folder("shared") / name).read_text(encoding="utf-8")
